"""Whether each sensor of a node is right, by what comes of it first and by what the node says of itself."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
import tomlkit

from monitor.errors import ConfigError
from monitor.node.first_readings import first_verdicts, verdicts
from monitor.node.profiles import Board, board_of
from monitor.node.settings import NodeSettings, Probe, Ranger
from monitor.remote_access.settings_files import add_port
from monitor.settings.config import load_config
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wire.reports import NodeReport, SensorReport
from monitor.wording.node_report import read_text
from monitor.wording.reader import Reader

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
SETTINGS = NodeSettings(NODE, dough=Probe.NONE)
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
READER = Reader(UTC)


def reading(channel: Channel, value: float, flag: Flag = Flag.OK, node: NodeId = NODE) -> Reading:
    return Reading(node, "0a1b2c3d", 1, channel, value, NOON, NOON, flag=flag)


AIR = (reading(Channel.AIR_TEMP, 25.31), reading(Channel.HUMIDITY, 76.2))
FAR = reading(Channel.DISTANCE, 298.0)


def report(up_s: int, **faults: dict[str, int]) -> NodeReport:
    sensors = {which: SensorReport(found) for which, found in faults.items()}
    return NodeReport(NODE, "0a1b2c3d", up_s, 30, "power", "0.1.0", 60_000, None, sensors)


def test_a_sensor_that_is_read_is_right_and_one_that_nobody_chose_is_not_asked_for() -> None:
    air, distance = verdicts(SETTINGS, (*AIR, FAR), None)
    assert (air.sensor, air.pins, air.is_right) == ("air", (21, 22), True)
    assert (distance.sensor, distance.is_right) == ("distance", True)
    assert read_text("air", air.pins, air.readings, READER) == (
        "the air sensor on pins 21, 22 is right: 25.31 °C, 76.20 %"
    )


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ((), "nothing was read of it"),
        ((reading(Channel.DISTANCE, 5900.0, Flag.OUT_OF_RANGE),), "no working sensor says that"),
        ((reading(Channel.DISTANCE, 20.0),), "nearer than it can see"),  # the least that the ranger sees
    ],
)
def test_what_no_working_sensor_says_is_wrong(found: tuple[Reading, ...], words: str) -> None:
    verdict = verdicts(SETTINGS, (*AIR, *found), None)[1]
    assert not verdict.is_right
    assert words in read_text("distance", verdict.pins, verdict.readings, READER)


def test_the_nodes_own_word_is_taken_for_a_sensor_that_is_not_read() -> None:
    said = report(3, air={"bus": 1, "checksum": 3}, distance={"checksum": 1})
    air, distance = verdicts(SETTINGS, (FAR,), said)
    assert (air.fault, air.times, air.is_right) == ("checksum", 3, False)
    assert (distance.fault, distance.is_right) == (None, True)  # it failed once, and is read


class ScriptedEar:
    """Says one thing after the other, a second each."""

    def __init__(self, *said: "tuple[Reading, ...] | NodeReport") -> None:
        self.said = list(said)
        self.second = 0.0
        self.newest: NodeReport | None = None

    def real_s(self) -> float:
        return self.second

    def hear(self, until_s: float) -> tuple[Reading, ...]:
        self.second += 1.0
        item = self.said.pop(0) if self.said else ()
        if isinstance(item, NodeReport):
            self.newest = item
            return ()
        return item

    def report(self) -> NodeReport | None:
        return self.newest

    def explanation(self) -> str:
        return ""


def listened(ear: ScriptedEar) -> list[bool]:
    found = first_verdicts(ear, SETTINGS, ear, 90.0, lambda pack: None)  # type: ignore[arg-type]  # it is its own clock
    return [each.is_right for each in found]


def test_listening_ends_when_all_is_known() -> None:
    right = ScriptedEar(AIR, (FAR,), AIR)
    assert (listened(right), right.second) == ([True, True], 2.0)
    early = report(3, air={"bus": 1})  # perhaps only its start
    mended = ScriptedEar((FAR,), early, AIR)
    assert (listened(mended), mended.second) == ([True, True], 3.0)
    broken = ScriptedEar((FAR,), early, report(65, air={"bus": 3}))
    assert (listened(broken), broken.second) == ([False, True], 3.0)
    nobody = ScriptedEar()
    assert (listened(nobody), nobody.second) == ([False, False], 90.0)


def test_another_nodes_readings_are_not_taken_for_its_own() -> None:
    other = NodeId("urn:dev:mac:020000fffe5e0002")
    strange = tuple(replace(each, node=other) for each in (*AIR, FAR))
    assert listened(ScriptedEar(strange, replace(report(65, air={"bus": 9}), node=other))) == [False, False]


@pytest.mark.parametrize(
    ("machine", "board"),
    [
        ("Generic ESP32 module with ESP32", Board.ESP32),
        ("ESP32C3 module with ESP32C3", Board.ESP32_C3),
        ("Raspberry Pi Pico W with RP2040", Board.PICO_W),
        ("Raspberry Pi Pico 2 W with RP2350", Board.PICO_2_W),
        ("BBC micro:bit with nRF51822", None),
        ("", None),
    ],
)
def test_a_board_is_known_by_what_its_micropython_calls_it(machine: str, board: Board | None) -> None:
    assert board_of(machine) is board


def test_a_port_comes_into_the_settings_and_nothing_else_changes(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    assert add_port(tmp_path, "hwid:1209:0001:a7")
    assert load_config(tmp_path, {}).serial == ("hwid:1209:0001:a7",)
    path.write_text('# ours\nclock = "12"  # as we like it\n\n[alerts]\nsilence_min = 12\n')
    assert add_port(tmp_path, "/dev/ttyUSB0")
    assert add_port(tmp_path, "/dev/ttyUSB1")
    assert not add_port(tmp_path, "/dev/ttyUSB0")
    config = load_config(tmp_path, {})
    assert config.serial == ("/dev/ttyUSB0", "/dev/ttyUSB1")
    assert config.rules.silence_min == 12
    assert "# as we like it" in path.read_text()
    assert tomlkit.parse(path.read_text())["clock"] == "12"
    path.write_text('serial = "/dev/ttyUSB0"\n')
    with pytest.raises(ConfigError, match="must be a list"):
        add_port(tmp_path, "/dev/ttyUSB1")


def test_a_distance_sensor_that_is_not_there_has_no_verdict() -> None:
    assert [each.sensor for each in verdicts(replace(SETTINGS, distance=Ranger.NONE), AIR, None)] == ["air"]
