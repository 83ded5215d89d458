"""Several tubs on one board: read by the file that goes on it, checked before, and each a node to the collector."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from collector_bench import Bench, StepClock
from fake_board import FakeBoard, RangersOnOneBus, lived, wired

from firmware_sim.bench.chips import (
    EchoModule,
    I2cBus,
    OneWireBus,
    ProbeChip,
    RangerChip,
    SensorClock,
    TofModule,
    WireFaults,
)
from firmware_sim.boards.wiring import plan_of, svg
from firmware_sim.node import settings as on_board
from monitor.cli import main
from monitor.errors import ConfigError, WireError
from monitor.node.profiles import Board
from monitor.node.settings import (
    AirSensor,
    Link,
    NodeSettings,
    Probe,
    Ranger,
    config_text,
    read_settings,
    write_settings,
)
from monitor.node.sights import sight_of
from monitor.node.tubs import board_with, next_name, tubs_on
from monitor.sources.intake import Frame, Status
from monitor.store.store import Store
from monitor.wire.asides import time_line
from monitor.wire.frames import decode, first_tub, require_topic
from monitor.wire.readings import Channel, NodeId
from monitor.wire.reports import decode_report

FIRST = NodeId("urn:dev:mac:020000fffe5e0001")
SECOND, THIRD, FOURTH = (NodeId(f"{FIRST}_{place}") for place in "234")
IDS = [ProbeChip(SensorClock(lambda: 0), WireFaults(), lambda: 0, serial).rom.hex() for serial in (1, 2)]
TUBS = {
    "tub-1": NodeSettings(
        FIRST, link=Link.MQTT, wifi_name="Ofen 5", mqtt_host="192.0.2.20", watchdog=1,
        distance=Ranger.VL53L1X, pin_shut=32, probe_id=IDS[0],
    ),
    "tub-2": NodeSettings(SECOND, air=AirSensor.NONE, distance=Ranger.VL53L1X, pin_shut=33, probe_id=IDS[1]),
    "tub-3": NodeSettings(THIRD, air=AirSensor.NONE, distance=Ranger.TOF, pin_probe=14),
    "tub-4": NodeSettings(FOURTH, air=AirSensor.NONE, dough=Probe.NONE, distance=Ranger.ULTRASONIC, room=100),
}  # fmt: skip
READ = {  # what stands under each: probe [0.01 C], distance [0.1 mm]
    FIRST: (2400, 2110), SECOND: (2500, 2220), THIRD: (2600, 2330), FOURTH: (None, 2440),
}  # fmt: skip


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    for label, settings in TUBS.items():
        write_settings(tmp_path, label, settings)
    return tmp_path


def a_board_of_four(folder: Path) -> tuple[FakeBoard, list[RangerChip]]:
    """A board with four tubs, told of them as `node copy` does."""
    first, *beside = TUBS.values()
    (folder / "config.txt").write_text(config_text(first, ["2", "3", "4"]))
    for place, tub in zip("234", beside, strict=True):
        (folder / f"config_{place}.txt").write_text(config_text(tub))
    board = wired(Board.ESP32)
    clock, faults = SensorClock(lambda: board.now_ms), WireFaults()
    rangers = [RangerChip(clock, faults, lambda node=node: READ[node][1]) for node in (FIRST, SECOND)]
    probes = [ProbeChip(clock, faults, lambda node=node: READ[node][0], at) for at, node in enumerate(READ, 1)]
    board.lines = {
        ("i2c", 0): RangersOnOneBus(rangers, board.buses.i2c(), lambda at: board.is_low((32, 33)[at])),
        ("onewire", 27): OneWireBus(probes[:2], faults),
        ("onewire", 14): OneWireBus(probes[2:3], faults),
        ("uart", 2): TofModule(clock, faults, lambda: READ[THIRD][1]),
        ("pins", 26): EchoModule(faults, lambda: READ[FOURTH][1], lambda: 25.3),
    }
    return board, rangers


def test_four_tubs_on_one_board_are_four_nodes_and_each_reading_comes_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    board, rangers = a_board_of_four(tmp_path)

    def drop_supply(_: int) -> None:
        if board.now_ms > 900_000 and rangers[1].address != 0x29 and not board.troubles.called["dropped"]:
            board.troubles.call("dropped")
            rangers[1].power_on()

    board.on_sleep = drop_supply
    node = lived(board, 0.5)
    packs = {(pack.boot, pack.seq): pack for pack in map(decode, board.broker.frames)}
    assert len(board.broker.frames) > len(packs), "answers were lost, and the packs sent again"
    assert node.freed == len(packs)
    assert sum(len(tub.ring) for tub in node._tubs) == 0
    assert len({boot for boot, _ in packs}) == 4, "numbers of its own for each, so that no answer is for another"
    came = Counter(pack.node for pack in packs.values())
    assert came.keys() == READ.keys()
    assert all(count == pytest.approx(60, abs=2) for count in came.values())
    for pack in packs.values():
        values = dict(pack.values)
        dough, distance = READ[pack.node]
        assert (Channel.AIR_TEMP in values) == (pack.node == FIRST)
        assert values.get(Channel.DOUGH_TEMP) == (None if dough is None else dough / 100)
        if Channel.DISTANCE in values:
            assert values[Channel.DISTANCE] == pytest.approx(distance / 10, abs=0.6)
    seen = Counter(pack.node for pack in packs.values() if Channel.DISTANCE in dict(pack.values))
    assert all(came[each] - seen[each] <= (each == SECOND) for each in READ), "one that lost its supply is back at once"
    assert board.troubles.called["dropped"] == 1
    reports = {report.node: report for report in map(decode_report, board.broker.reports)}
    assert reports.keys() == READ.keys()
    assert all(report.missing == {} for report in reports.values())
    assert board.watchdog_ms is not None
    assert board.longest_unfed_ms < board.watchdog_ms


def test_a_named_probe_that_is_gone_is_not_replaced_by_its_neighbour(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    board, _ = a_board_of_four(tmp_path)
    clock = SensorClock(lambda: board.now_ms)
    board.lines["onewire", 27] = OneWireBus([ProbeChip(clock, WireFaults(), lambda: 2500, 2)], WireFaults())
    lived(board, 0.1)
    values = {pack.node: dict(pack.values) for pack in map(decode, board.broker.frames)}
    assert Channel.DOUGH_TEMP not in values[FIRST]
    assert values[SECOND][Channel.DOUGH_TEMP] == 25.0
    reports = {report.node: report.missing for report in map(decode_report, board.broker.reports)}
    assert (reports[FIRST], reports[SECOND]) == ({"dough": "silent"}, {})


def test_a_first_tub_that_is_never_read_keeps_no_board_from_the_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Answers come beside acknowledgements, and a tub without readings sends nothing to acknowledge."""
    monkeypatch.chdir(tmp_path)
    board, _ = a_board_of_four(tmp_path)
    board.lines["onewire", 27] = OneWireBus([], WireFaults())
    board.lines["i2c", 0] = I2cBus({}, WireFaults())
    board.troubles.raising["settime"] = [OSError(110, "ETIMEDOUT")] * 9
    told = board.broker.beside

    def beside(boot: str) -> list[bytes]:
        """As the collector does: to the tub that asked, with its pack."""
        asked = [report for report in map(decode_report, board.broker.reports) if report.boot == boot]
        if not asked or asked[-1].ask is None:
            return told(boot)
        return [*told(boot), time_line(boot, datetime(2026, 3, 2, 6, tzinfo=UTC), asked[-1].ask, "")]

    board.broker.beside = beside  # type: ignore[method-assign]
    lived(board, 0.1)
    packs = [decode(frame) for frame in board.broker.frames]
    assert FIRST not in {pack.node for pack in packs}
    assert board.date_is_set


# -- what is checked before -------------------------------------------------------------------------------------------


def test_tubs_that_fit_together_are_let_through(data_dir: Path) -> None:
    assert list(board_with(data_dir, "tub-3", TUBS["tub-3"])) == list(TUBS)
    assert list(tubs_on(data_dir, FOURTH)) == list(TUBS)
    assert [first_tub(tub.name) for tub in TUBS.values()] == [FIRST] * 4
    with pytest.raises(ConfigError, match="take another board"):
        next_name(TUBS)
    assert next_name({"tub-1": TUBS["tub-1"], "tub-3": TUBS["tub-3"]}) == SECOND


@pytest.mark.parametrize(
    ("label", "change", "said"),
    [
        ("tub-3", {"pin_probe": 27, "probe_id": ""}, "its probe hangs on the wire of that of tub-1"),
        ("tub-2", {"probe_id": IDS[0]}, "say which is which with --probe-id"),
        ("tub-2", {"pin_shut": None}, "tub-2: several rangers on one bus wake at the same address"),
        ("tub-2", {"pin_shut": 32}, "tub-2: pin_shut: GPIO 32 is wired for tub-1 already; free ones are 4, 13, 23"),
        ("tub-2", {"distance": Ranger.TOF}, "tub-3: serial line 2 is that of tub-2; the ESP32 has 1, 2"),
        ("tub-4", {"pin_battery": 35}, "tub-4: pin_battery is the board's; give it to tub-1"),
        ("tub-4", {"room": 1500}, "keep 2220 packs together; at most 2000"),
        ("tub-1", {"board": Board.ESP32_S3}, "GPIO 32"),
    ],
)
def test_tubs_in_each_others_way_are_told_with_what_would_do(
    data_dir: Path, label: str, change: dict[str, Any], said: str
) -> None:
    with pytest.raises(ConfigError) as refused:
        board_with(data_dir, label, replace(TUBS[label], **change))
    assert said in str(refused.value)


def test_an_address_of_a_probe_is_one() -> None:
    with pytest.raises(ConfigError, match="`node probes` shows them"):
        NodeSettings(FIRST, probe_id="28ff")


def test_a_tub_is_put_beside_another_by_one_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def configure(label: str, *options: str) -> int:
        return main(["node", "configure", label, *options, "--data-dir", str(tmp_path)])

    assert configure("tub-1", "--period", "20s", "--name", FIRST) == 0
    pins = ("--pin", "probe=14", "--pin", "tx=4", "--pin", "rx=13")
    assert configure("tub-2", "--beside", "tub-1", *pins) == 2
    assert "serial line 2 is that of tub-1" in capsys.readouterr().err
    assert configure("tub-2", "--beside", "tub-1", *pins, "--uart", "1", "--least-distance", "55") == 0
    assert "node copy tub-1" in capsys.readouterr().out
    tub = read_settings(tmp_path, "tub-2")
    assert tub is not None
    assert (tub.name, tub.period_s, tub.air, tub.uart) == (SECOND, 20, AirSensor.NONE, 1)
    sight = sight_of(tmp_path, SECOND)
    assert sight is not None
    assert sight.least_mm == 55.0
    assert configure("tub-1", "--period", "40s") == 0
    changed = read_settings(tmp_path, "tub-2")
    assert changed is not None
    assert changed.period_s == 40, "the board measures all of its tubs at once"
    assert configure("tub-2", "--mqtt", "mqtt://127.0.0.1") == 2
    assert "--mqtt is the board's; give it to tub-1" in capsys.readouterr().err
    assert configure("tub-3", "--beside", "tub-9") == 2


def test_the_board_gets_a_file_for_each_tub_whichever_is_copied(
    data_dir: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copied: dict[str, str] = {}

    def taking(arguments: Sequence[str], within_s: float) -> str:
        copied.update({Path(name).name: Path(name).read_text() for name in arguments if name.endswith(".txt")})
        return ""

    monkeypatch.setattr("monitor.node.boards._mpremote", taking)
    assert main(["node", "copy", "tub-3", "--port", "/dev/ttyBoard", "--data-dir", str(data_dir)]) == 0
    assert sorted(copied) == ["config.txt", "config_2.txt", "config_3.txt", "config_4.txt"]
    assert "beside=2,3,4" in copied["config.txt"].splitlines()
    assert f"name={FOURTH}" in copied["config_4.txt"].splitlines()


def test_the_probes_on_a_wire_are_listed_with_whose_they_are(
    data_dir: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def answering(arguments: Sequence[str], within_s: float) -> str:
        is_shared = "Pin(27)" in arguments[-1]
        return "".join(f"probe {each} {25 + at}.0\r\n" for at, each in enumerate(IDS)) if is_shared else ""

    monkeypatch.setattr("monitor.node.boards._mpremote", answering)
    assert main(["node", "probes", "tub-2", "--port", "/dev/ttyBoard", "--data-dir", str(data_dir)]) == 0
    found = capsys.readouterr().out.splitlines()
    assert found[0].startswith("GPIO 14: no probe answers")
    assert [(line.split()[2], line.split()[-1]) for line in found[1:]] == [(IDS[0], "tub-1"), (IDS[1], "tub-2")]


def test_the_picture_shows_each_tub_on_its_pins() -> None:
    found = []
    for tub in TUBS.values():
        lines = (line.split("=", 1) for line in config_text(tub).splitlines() if "=" in line)
        found.append({**on_board.DEFAULTS, **dict(lines)})
    drawn = svg(plan_of(found))
    for words in ("2: dough probe", "3: distance, by light", "4: distance, by sound", "XSHUT", "GPIO 33", "GPIO 14"):
        assert words in drawn
    assert drawn.count("4.7 kΩ") == 2, "one for each wire, not for each probe"


# -- to the collector -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("node", "key", "is_let_in"),
    [
        (SECOND, "mac-020000fffe5e0001", True),
        (FIRST, "mac-020000fffe5e0001", True),
        (NodeId(f"{FIRST}_5"), "mac-020000fffe5e0001", False),
        (SECOND, "mac-020000fffe5e0002", False),
        (FIRST, "mac-020000fffe5e0001_2", False),
    ],
)
def test_a_board_speaks_for_its_own_tubs_and_for_nobody_else(node: NodeId, key: str, is_let_in: bool) -> None:
    if is_let_in:
        require_topic(node, key)
    else:
        with pytest.raises(WireError, match="came on the topic"):
            require_topic(node, key)


def test_a_board_that_is_gone_takes_all_of_its_tubs_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, store: Store
) -> None:
    monkeypatch.chdir(tmp_path)
    board, _ = a_board_of_four(tmp_path)
    lived(board, 0.02)
    bench, key = Bench(store, StepClock()), "mac-020000fffe5e0001"
    for frame in board.broker.frames:
        bench.inbox.put(Frame(frame, bench.clock.now(), "broker", key, lambda line: None))
    bench.turn()
    for is_online in (True, False):
        bench.inbox.put(Status("broker", key, is_online, datetime(2026, 3, 2, 6, 0, tzinfo=UTC)))
        bench.turn()
        assert {row.node: row.is_online for row in store.nodes.all()} == dict.fromkeys(READ, is_online)
