"""What a board is told: written, read back, kept private, faults named."""

import stat
from dataclasses import fields, replace
from pathlib import Path

import pytest

from firmware_sim.boards import hal_sim
from firmware_sim.node import settings as on_board
from monitor.cli import main
from monitor.errors import ConfigError
from monitor.node.settings import (
    PINS,
    Board,
    Link,
    NodeSettings,
    config_text,
    drawn_name,
    read_settings,
    settings_from_text,
    write_settings,
)
from monitor.recipe.toml_tables import NODE_NAME
from monitor.wire.readings import NodeId

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
FULL = NodeSettings(
    NODE, site="Backstube, shelf 2", link=Link.MQTT, wifi_name="Ofen 5", wifi_password="a=b #c", mqtt_host="10.0.0.2",
    mqtt_tls=1, mqtt_port=8883, mqtt_ca="ca.der", mqtt_password="geheim", sensor_height_mm=300.5,
    pin_battery=35, battery_ratio=3.2,
)  # fmt: skip


@pytest.mark.parametrize("settings", [NodeSettings(NODE), FULL, replace(FULL, board=Board.RP2040, site="Straße 5")])
def test_what_was_written_reads_back_the_same(settings: NodeSettings, tmp_path: Path) -> None:
    write_settings(tmp_path, "tub-3", settings)
    assert read_settings(tmp_path, "tub-3") == settings


def test_the_board_reads_every_key_as_it_was_meant(tmp_path: Path) -> None:
    path = write_settings(tmp_path, "tub-3", FULL)
    found = on_board.read(str(path))
    for item in fields(FULL):
        value = getattr(FULL, item.name)
        assert found[item.name] == str(PINS[FULL.board][item.name] if value is None else value)
    assert {key: int(found[key]) for key in PINS[Board.ESP32]} == PINS[Board.ESP32]


def test_a_pin_of_ones_own_reaches_the_board_and_the_others_are_those_of_its_class() -> None:
    own = settings_from_text(f"name={NODE}\npin_sda=33\npin_scl=22\n", "x")
    assert {"pin_sda=33", "pin_scl=22", "pin_probe=27"} < set(config_text(own).splitlines())
    other = replace(settings_from_text(config_text(own), "x"), board=Board.RP2040)
    assert {"pin_sda=33", "pin_scl=5", "pin_probe=15"} < set(config_text(other).splitlines())
    with pytest.raises(ConfigError, match="pin_tx: must be from 0 to 48"):
        replace(own, pin_tx=49)


def test_defaults_are_the_boards_own() -> None:
    lines = dict(line.split("=", 1) for line in config_text(NodeSettings(NODE)).splitlines() if "=" in line)
    for key, value in on_board.DEFAULTS.items():
        assert lines.get(key, "") == value


def test_only_its_owner_reads_the_file_even_when_it_is_written_again(tmp_path: Path) -> None:
    for _ in range(2):
        path = write_settings(tmp_path, "tub-3", FULL)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        path.chmod(0o644)


def test_no_password_in_its_text_form() -> None:
    assert "geheim" not in repr(FULL)
    assert "a=b" not in repr(FULL)


def test_unknown_keys_and_comments_are_ignored() -> None:
    assert settings_from_text(f"# a=b\n\nname={NODE}\ncolour=red\n", "x") == NodeSettings(NODE)


def test_a_value_that_is_not_understood_names_its_key_but_no_password() -> None:
    with pytest.raises(ConfigError, match="period_s=often is not understood"):
        settings_from_text(f"name={NODE}\nperiod_s=often\n", "x")
    with pytest.raises(ConfigError, match="mqtt_password: must be printable") as caught:
        settings_from_text(f"name={NODE}\nmqtt_password=ge\theim\n", "x")
    assert "heim" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": NodeId("tub")}, "name: must look like"),
        ({"period_s": 0}, "period_s"),
        ({"room": 3}, "room"),
        ({"link": Link.MQTT}, "mqtt_host: is missing"),
        ({"site": "a\nb"}, "site: must be printable"),
        ({"site": " a"}, "site: must be printable"),
        ({"site": "a" * 300}, "site: is too long"),
        ({"sensor_height_mm": 0.0}, "sensor_height_mm"),
        ({"sensor_height_mm": float("nan")}, "sensor_height_mm"),
    ],
)
def test_faults_are_named(change: dict[str, object], said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        replace(NodeSettings(NODE), **change)  # type: ignore[arg-type]


@pytest.mark.parametrize("label", ["", "..", "a/b", "tub 3", "x" * 41, "tüb"])
def test_a_label_is_a_safe_file_name(label: str, tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="letters, digits"):
        read_settings(tmp_path, label)


def test_drawn_names_are_names_and_differ() -> None:
    names = {drawn_name() for _ in range(50)}
    assert len(names) == 50
    assert all(NODE_NAME.fullmatch(name) and len(name) == len(NODE) for name in names)


def test_pins_are_those_of_the_board_file() -> None:
    text = (Path(hal_sim.__file__).parent / "hal_board.py").read_text()
    table = text[text.index("PINS = {") : text.index("UARTS")]
    space: dict[str, dict[str, dict[str, int]]] = {}
    exec(table, {}, space)
    for board in Board:
        assert {f"pin_{name}": pin for name, pin in space["PINS"][board].items()} == PINS[board]


# -- the command --------------------------------------------------------------------------------------------------


def configure(tmp_path: Path, *options: str) -> int:
    return main(["node", "configure", "tub-3", "--data-dir", str(tmp_path), *options])


def test_configuring_again_changes_only_what_is_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROOFING_WIFI_PASSWORD", "w1f1")
    assert configure(tmp_path, "--mqtt", "mqtts://10.0.0.2", "--wifi", "Ofen 5", "--site", "left") == 0
    first = read_settings(tmp_path, "tub-3")
    assert first is not None
    assert first.mqtt_password
    monkeypatch.delenv("PROOFING_WIFI_PASSWORD")
    assert configure(tmp_path, "--site", "right", "--period", "10s") == 0
    assert read_settings(tmp_path, "tub-3") == replace(first, site="right", period_s=10)


def test_passwords_are_drawn_or_taken_but_never_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PROOFING_WIFI_PASSWORD", "w1f1-secret")
    configure(tmp_path, "--mqtt", "mqtts://10.0.0.2", "--wifi", "Ofen 5")
    settings = read_settings(tmp_path, "tub-3")
    assert settings is not None
    assert settings.wifi_password == "w1f1-secret"
    said = "".join(capsys.readouterr())
    assert settings.mqtt_password not in said
    assert "w1f1-secret" not in said
    assert "mac-02" in said  # what the broker must know


def test_nobody_is_asked_when_nobody_is_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert configure(tmp_path, "--mqtt", "mqtts://10.0.0.2", "--wifi", "Ofen 5") == 2
    assert "PROOFING_WIFI_PASSWORD" in capsys.readouterr().err
    assert read_settings(tmp_path, "tub-3") is None


def test_a_network_is_needed_for_a_broker(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert configure(tmp_path, "--mqtt", "mqtts://10.0.0.2") == 2
    assert "name the wireless network with --wifi" in capsys.readouterr().err


def test_without_a_board_it_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert main(["node", "boards", "--data-dir", str(tmp_path)]) == 1
    assert "dialout" in capsys.readouterr().out
    assert configure(tmp_path) == 0
    assert main(["node", "copy", "tub-3", "--data-dir", str(tmp_path)]) == 2
    assert "no board is plugged in" in capsys.readouterr().err


def test_a_node_nobody_configured_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for action in (["copy", "tub-9"], ["calibrate", "tub-9", "empty"], ["readings", "tub-9"]):
        assert main(["node", *action, "--data-dir", str(tmp_path)]) == 2
        assert "tub-9" in capsys.readouterr().err
