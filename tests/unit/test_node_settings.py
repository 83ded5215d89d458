"""What a board is told: written, read back, kept private, faults named."""

import stat
from dataclasses import fields, replace
from enum import StrEnum
from pathlib import Path

import click
import pytest
from serial.tools.list_ports_common import ListPortInfo

from firmware_sim.node import settings as on_board
from monitor.cli import main
from monitor.commands.node import setup
from monitor.commands.node.options import ADDRESSES, BOARDS, JOBS
from monitor.errors import ConfigError
from monitor.node.boards import found_boards
from monitor.node.profiles import Board, Job, profile_of
from monitor.node.settings import (
    AIR_ADDRESSES,
    AirSensor,
    Link,
    NodeSettings,
    Probe,
    Ranger,
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
    mqtt_tls=1, mqtt_port=8883, mqtt_ca="ca.der", mqtt_password="geheim", ntp_host="10.0.0.3", sensor_height_mm=300.5,
    pin_battery=35, battery_ratio=3.2, pin_light=23, pin_buzzer=32, pin_button=33, pin_shut=4, keep_min=30,
)  # fmt: skip
PICO = replace(
    FULL,
    board=Board.PICO_W,
    pin_battery=26,
    pin_light=16,
    pin_buzzer=17,
    pin_button=18,
    pin_shut=19,
    probe_id="28ff641e8316043a",
    site="Straße 5",
)
ASLEEP = replace(FULL, sleep_min=2, pin_light=None, pin_buzzer=None, pin_button=None)


@pytest.mark.parametrize("settings", [NodeSettings(NODE), FULL, PICO, ASLEEP])
def test_what_was_written_reads_back_the_same(settings: NodeSettings, tmp_path: Path) -> None:
    write_settings(tmp_path, "tub-3", settings)
    assert read_settings(tmp_path, "tub-3") == settings


def test_the_board_reads_every_key_as_it_was_meant(tmp_path: Path) -> None:
    path = write_settings(tmp_path, "tub-3", FULL)
    found = on_board.read(str(path))
    for item in fields(FULL):
        value = getattr(FULL, item.name)
        if value not in (None, "") and item.name != "air_address":
            assert found[item.name] == str(value)
    assert int(found["air_address"], 16) == FULL.air_address
    profile = profile_of(FULL.board)
    own = {Job.BATTERY: 35, Job.LIGHT: 23, Job.BUZZER: 32, Job.BUTTON: 33, Job.SHUT: 4}
    assert {job: int(found[f"pin_{job}"]) for job in Job} == {**profile.wired, **own}
    assert (int(found["i2c"]), int(found["uart"])) == (profile.i2c, profile.uart)


def test_a_pin_of_ones_own_reaches_the_board_and_the_others_are_those_of_its_class() -> None:
    own = settings_from_text(f"name={NODE}\npin_sda=33\npin_scl=22\nuart=1\nair_address=0x45\n", "x")
    lines = config_text(own).splitlines()
    assert {"pin_sda=33", "pin_scl=22", "pin_probe=27", "uart=1", "i2c=0", "air_address=0x45"} < set(lines)
    keys = [line.partition("=")[0] for line in lines]
    assert len(set(keys)) == len(keys), "the last of a key given twice counts on the board"
    other = replace(own, board=Board.ESP32_S3, pin_sda=8)
    assert {"pin_sda=8", "pin_scl=9", "pin_probe=4"} < set(config_text(other).splitlines())


def test_the_board_of_an_earlier_version_is_a_pico() -> None:
    assert settings_from_text(f"name={NODE}\nboard=rp2040\npin_sda=4\n", "x").board is Board.PICO_W


@pytest.mark.parametrize("board", list(Board))
def test_every_board_can_carry_every_sensor_as_it_is(board: Board) -> None:
    profile = profile_of(board)
    for ranger in (Ranger.TOF, Ranger.ULTRASONIC):
        settings = NodeSettings(NODE, board=board, distance=ranger, pin_battery=profile.wired[Job.BATTERY])
        assert profile.cautions(settings.pins()) == []
    own = {Job.LIGHT, Job.BUZZER, Job.BUTTON, Job.SHUT}  # which take any pin
    assert len(set(profile.wired.values())) == len(profile.wired) == len(set(Job) - own)


@pytest.mark.parametrize(
    ("board", "change", "said"),
    [
        (
            Board.ESP32_S3,
            {"pin_scl": 22},
            "pin_scl: GPIO 22 does not exist on the ESP32-S3; free ones are 1, 2, 5, 6, 7, 9",
        ),
        (Board.ESP32_C3, {"pin_scl": 22}, "GPIO 22 does not exist on the ESP32-C3"),
        (Board.ESP32_C3, {"uart": 2}, "uart: the ESP32-C3 has no free serial line 2; it has 1"),
        (Board.ESP32_C3, {"i2c": 1}, "i2c: the ESP32-C3 has no bus 1; it has 0"),
        (Board.ESP32, {"pin_probe": 6}, "GPIO 6 holds the program's memory on the ESP32"),
        (Board.ESP32, {"pin_tx": 1}, "GPIO 1 is the line that you copy by on the ESP32"),
        (Board.ESP32, {"pin_probe": 34}, "GPIO 34 can only hear on the ESP32"),
        (Board.ESP32, {"pin_battery": 4}, "GPIO 4 measures no voltage on the ESP32 while its radio is on"),
        (Board.ESP32_C6, {"pin_battery": 18}, "GPIO 18 measures no voltage on the ESP32-C6"),
        (Board.ESP32_C6, {"pin_sda": 12}, "GPIO 12 is the USB plug on the ESP32-C6"),
        (Board.PICO_W, {"pin_sda": 23}, "GPIO 23 belongs to the radio on the Pico W"),
        (Board.PICO_W, {"pin_sda": 6}, "GPIO 6 is not a pin of i2c 0 on the Pico W; free ones are 0, 4, 12, 16, 20"),
        (Board.PICO_2_W, {"pin_tx": 12}, "GPIO 12 is not a pin of uart 1 on the Pico 2 W; free ones are 8"),
        (Board.PICO_2_W, {"pin_probe": 4}, "pin_probe: GPIO 4 is wired as pin_sda already"),
        (Board.ESP32, {"air_address": 0x40}, "air_address: 0x40 must be one of 0x44, 0x45, 0x46"),
    ],
)
def test_what_a_board_cannot_do_is_told_with_what_it_can(board: Board, change: dict[str, int], said: str) -> None:
    with pytest.raises(ConfigError) as refused:
        NodeSettings(NODE, board=board, **change)  # type: ignore[arg-type]
    assert said in str(refused.value)


def test_only_pins_in_use_can_be_in_each_others_way() -> None:
    NodeSettings(NODE, distance=Ranger.ULTRASONIC, pin_probe=19)
    with pytest.raises(ConfigError, match="GPIO 19 is wired as pin_probe already"):
        NodeSettings(NODE, distance=Ranger.TOF, pin_probe=19)


def test_defaults_are_the_boards_own() -> None:
    lines = dict(line.split("=", 1) for line in config_text(NodeSettings(NODE)).splitlines() if "=" in line)
    for key, value in on_board.DEFAULTS.items():
        assert lines.get(key, "") == value
    assert Board(lines["board"]) is Board.ESP32


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


SLEEPER = NodeSettings(
    NODE, link=Link.MQTT, wifi_name="Ofen 5", mqtt_host="10.0.0.2", distance=Ranger.VL53L1X, sleep_min=4
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sleep_min": 5}, "sleep_min: must be from 1 to 4 minutes, or 0 for never"),
        ({"sleep_min": -1}, "sleep_min: must be from 1 to 4 minutes, or 0 for never"),
        ({"board": Board.ESP32_S3}, "the ESP32-S3 does not wake by itself for sure; one that does: ESP32"),
        ({"board": Board.PICO_W}, "the Pico W does not wake by itself for sure; one that does: ESP32"),
        ({"link": Link.SERIAL}, "only a node with --mqtt sleeps"),
        ({"pin_buzzer": 32, "pin_button": 33}, "take away its buzzer, button: --pin buzzer=usual --pin button=usual"),
        ({"period_s": 300}, "must be one pack at least"),
        ({"period_s": 1}, "fill half of the room for 240 at most"),
    ],
)
def test_a_node_that_cannot_sleep_so_is_told_why(change: dict[str, object], said: str) -> None:
    with pytest.raises(ConfigError) as refused:
        replace(SLEEPER, **change)  # type: ignore[arg-type]
    assert said in str(refused.value)


def test_a_node_that_sleeps_says_what_that_costs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_settings(tmp_path, "tub-3", replace(SLEEPER, sleep_min=0))
    assert main(["node", "configure", "tub-3", "--sleep", "4", "--data-dir", str(tmp_path)]) == 0
    assert "note: it sleeps: its readings, and so forecasts and calls, come up to 4 min late" in capsys.readouterr().out
    assert read_settings(tmp_path, "tub-3") == SLEEPER
    assert main(["node", "configure", "tub-3", "--board", "pico-w", "--data-dir", str(tmp_path)]) == 2
    assert "the Pico W does not wake by itself for sure" in capsys.readouterr().err
    assert main(["node", "configure", "tub-3", "--sleep", "0", "--data-dir", str(tmp_path)]) == 0
    assert "it sleeps" not in capsys.readouterr().out


@pytest.mark.parametrize("label", ["", "..", "a/b", "tub 3", "x" * 41, "tüb"])
def test_a_label_is_a_safe_file_name(label: str, tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="letters, digits"):
        read_settings(tmp_path, label)


def test_drawn_names_are_names_and_differ() -> None:
    names = {drawn_name() for _ in range(50)}
    assert len(names) == 50
    assert all(NODE_NAME.fullmatch(name) and len(name) == len(NODE) for name in names)


# -- the command --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("option", "classes"), [("board", Board), ("air", AirSensor), ("probe", Probe), ("distance", Ranger)]
)
def test_the_command_offers_every_class_of_board_and_sensor(option: str, classes: type[StrEnum]) -> None:
    kinds = {each.name: each.type for each in setup.params}
    choice = kinds[option]
    assert isinstance(choice, click.Choice)
    assert list(choice.choices) == [each.value for each in classes]


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


def test_pins_are_chosen_by_option_and_given_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    chosen = ("--board", "esp32-c3", "--pin", "sda=8", "--pin", "battery=0", "--air-address", "0x46", "--uart", "1")
    assert configure(tmp_path, *chosen) == 0
    assert "note: GPIO 8 decides how the ESP32-C3 starts" in capsys.readouterr().out
    settings = read_settings(tmp_path, "tub-3")
    assert settings is not None
    assert (settings.pin_sda, settings.pin_battery, settings.air_address) == (8, 0, 0x46)
    assert configure(tmp_path, "--pin", "sda=usual") == 0
    again = read_settings(tmp_path, "tub-3")
    assert again == replace(settings, pin_sda=None)
    capsys.readouterr()
    for wrong in ("sda", "sda=", "sda=x", "lamp=3"):
        assert configure(tmp_path, "--pin", wrong) == 2
        assert "write it as sda=8 or sda=usual" in capsys.readouterr().err


def test_the_drawing_shows_the_chosen_pins_and_parts(tmp_path: Path) -> None:
    assert (
        configure(tmp_path, "--pin", "sda=33", "--distance", "none", "--pin", "battery=35", "--battery-ratio", "3") == 0
    )
    drawing = tmp_path / "tub-3.svg"
    assert main(["node", "wiring", "tub-3", "--out", str(drawing), "--data-dir", str(tmp_path)]) == 0
    text = drawing.read_text()
    assert "GPIO 33" in text
    assert "200 kΩ" in text
    assert "Distance" not in text
    assert main(["node", "wiring", "tub-3", "--out", str(tmp_path / "no" / "x.svg"), "--data-dir", str(tmp_path)]) == 2


def test_the_options_name_what_there_is() -> None:
    assert tuple(Board) == BOARDS
    assert tuple(Job) == JOBS
    assert tuple(int(text, 16) for text in ADDRESSES) == AIR_ADDRESSES


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


def test_plain_mqtt_is_for_a_network_of_ones_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PROOFING_WIFI_PASSWORD", "w1f1")
    options = ("--mqtt", "mqtt://10.0.0.2", "--wifi", "Ofen 5", "--ntp", "10.0.0.9")
    assert configure(tmp_path, *options) == 2
    assert "allow_plain_mqtt = true" in capsys.readouterr().err
    (tmp_path / "config.toml").write_text("allow_plain_mqtt = true\n")
    assert configure(tmp_path, *options) == 0
    settings = read_settings(tmp_path, "tub-3")
    assert settings is not None
    assert (settings.mqtt_tls, settings.mqtt_port, settings.ntp_host) == (0, 1883, "10.0.0.9")


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


def test_the_machines_own_lines_are_no_boards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """``/dev/ttyS0`` was offered, and `node copy` tried it fifteen times."""
    own = ListPortInfo("/dev/ttyS0", skip_link_detection=True)
    board = ListPortInfo("/dev/ttyACM0", skip_link_detection=True)
    board.vid, board.pid, board.serial_number = 0x1209, 1, "a7"
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [own])
    assert main(["node", "boards", "--data-dir", str(tmp_path)]) == 1
    assert configure(tmp_path) == 0
    assert main(["node", "copy", "tub-3", "--data-dir", str(tmp_path)]) == 2
    assert "no board is plugged in" in capsys.readouterr().err
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [own, board])
    assert [found.path for found in found_boards()] == ["/dev/ttyACM0"]
    copied: list[str] = []
    monkeypatch.setattr("monitor.node.boards.copy_firmware", lambda port, *_: copied.append(port))
    assert main(["node", "copy", "tub-3", "--data-dir", str(tmp_path)]) == 0
    assert copied == ["/dev/ttyACM0"]


def test_a_node_nobody_configured_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for action in (["copy", "tub-9"], ["calibrate", "tub-9", "empty"], ["readings", "tub-9"]):
        assert main(["node", *action, "--data-dir", str(tmp_path)]) == 2
        assert "tub-9" in capsys.readouterr().err
