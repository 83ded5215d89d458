"""A node says how it is: made on the board, read here, told with what helps."""

import tomllib
from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from collector_bench import KEY, NODE, Bench, StepClock, pass_minutes
from harness import START
from paper_board import BOOT, URN, PaperBoard, PaperLink

from dashboard.sensors import words
from firmware_sim.node import report as on_board
from firmware_sim.node.instruments import Instruments
from firmware_sim.node.main import Node
from firmware_sim.node.ring import Ring
from monitor.alerts.kinds import AlertKind
from monitor.cli import main
from monitor.errors import WireError
from monitor.health.supervisor import Notice, Supervisor
from monitor.sources.intake import Report
from monitor.store.store import Store
from monitor.wire.reports import MAX_BYTES, NodeReport, SensorReport, decode_report
from monitor.wording.node_report import missing_texts, running_text, sensors_text
from monitor.wording.reader import Reader
from monitor.wording.troubles import notice_text

READER = Reader(UTC)
FAULTS = {("air", "bus"): 120, ("dough", "power-on"): 118, ("dough", "checksum"): 2, ("distance", "no target"): 1}
SENSORS = (("air", "21,22", None, FAULTS), ("dough", "4", 3600, FAULTS), ("distance", "", 12, FAULTS))
LINE = on_board.line(BOOT, URN, 3700, 30, ("watchdog", 41_000, -91, 900_000), SENSORS)
REPORT = decode_report(LINE)


def test_a_report_reads_as_the_board_meant_it() -> None:
    assert (REPORT.node, REPORT.boot, REPORT.up_s, REPORT.period_s) == (URN, BOOT, 3700, 30)
    assert (REPORT.cause, REPORT.heap_bytes, REPORT.signal_dbm) == ("watchdog", 41_000, -61)
    assert REPORT.sensors["dough"] == SensorReport({"power-on": 118, "checksum": 2}, 3600, (4,))
    assert REPORT.flash_bytes == 900_000
    assert REPORT.missing == {"air": "bus", "dough": "power-on"}
    project = Path(__file__).parents[2] / "pyproject.toml"
    assert REPORT.version == tomllib.loads(project.read_text())["project"]["version"]


def test_the_longest_report_is_no_longer_than_one_may_be() -> None:
    kinds = ("silent", "checksum", "not ready", "power-on", "no target", "nonsense", "bus", "pins")
    faults = {(which, kind): 10**9 for which in ("air", "dough", "distance") for kind in kinds}
    sensors = tuple((which, "40,48", 10**9, faults) for which in ("air", "dough", "distance"))
    urn = "urn:dev:" + "x" * 120
    assert len(on_board.line(BOOT, urn, 10**9, 3600, ("watchdog", 10**9, -100, 10**9), sensors)) <= MAX_BYTES


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (LINE[:-1] + b"0", "checksum"),
        (LINE.replace(b'"up"', b'"vp"'), "checksum"),
        (b"=", "frame"),
        (b"=" + b"x" * MAX_BYTES, "too long"),
    ],
)
def test_what_is_no_report_is_refused(line: bytes, reason: str) -> None:
    with pytest.raises(WireError) as refused:
        decode_report(line)
    assert refused.value.reason == reason


def test_a_report_on_another_nodes_topic_is_refused() -> None:
    assert decode_report(LINE, KEY).node == NODE
    with pytest.raises(WireError, match="name"):
        decode_report(LINE, "mac-020000fffe5e0002")


class ReportingBoard(PaperBoard):
    """A board that says how it is."""

    def condition(self) -> tuple[str, int, int | None, int | None]:
        return ("power", 60_000, None, None)


def test_an_hour_without_any_sensor_is_told_each_minute() -> None:
    """The fault that was seen: no frame for an hour, 840 faults counted, nobody told."""

    class Dead:
        CONVERT_MS = 1

        def read(self, *_: Any) -> None:
            raise OSError(19)

        start = read

    board, link = ReportingBoard(), PaperLink()
    board.sensors = Instruments(Dead(), Dead(), Dead())
    node = Node(board, link, 30_000, Ring(6))
    for _ in range(36_000):
        node.turn()
        board.real_ms += 100
        board.dough_ms += 100
    assert not [line for line in link.sent if line.startswith(b"@")]
    reports = [decode_report(line) for line in link.sent if line.startswith(b"=")]
    assert len(reports) == 12 + 59  # in the first minute each five seconds
    assert reports[-1].missing == {"air": "bus", "dough": "bus", "distance": "bus"}
    assert reports[-1].up_s == pytest.approx(3540, abs=60)


def test_a_board_that_cannot_tell_reports_nothing() -> None:
    board, link = PaperBoard(), PaperLink()
    node = Node(board, link, 30_000, Ring(6))
    for _ in range(1000):
        node.turn()
        board.real_ms += 100
    assert not [line for line in link.sent if line.startswith(b"=")]


@pytest.mark.parametrize(
    ("sensor", "up_s", "period_s", "fault"),
    [
        (SensorReport({"bus": 1}), 30, 30, None),  # it has only begun
        (SensorReport({"bus": 4}), 90, 30, "bus"),
        (SensorReport({"pins": 1}), 5, 30, "pins"),
        (SensorReport({}), 9000, 30, None),
        (SensorReport({"checksum": 9}, 20), 9000, 30, None),  # it is read, in between
        (SensorReport({"checksum": 9}, 400), 9000, 30, "checksum"),
        (SensorReport({"checksum": 9}, 400), 9000, 600, None),  # it is not due yet
    ],
)
def test_a_sensor_is_missing_when_it_should_have_been_read(
    sensor: SensorReport, up_s: int, period_s: int, fault: str | None
) -> None:
    assert sensor.missing_fault(up_s, period_s) == fault


def test_what_is_wrong_is_said_with_what_helps() -> None:
    air, dough = missing_texts(REPORT, READER)
    assert air == (
        "the air sensor on pins 21, 22 was never read: nobody answers on the two wires; check SDA and SCL, "
        "its supply, and its address (120 times)"
    )
    assert dough == (
        "the dough probe on pin 4 has not been read for 1 h: it answers 85 °C: it has no power on its third wire "
        "(118 times)"
    )
    assert missing_texts(replace(REPORT, sensors={"air": SensorReport({"bus": 3})}), READER)[0].startswith(
        "the air sensor was never read"
    )
    assert "it hung, and its watchdog started it anew; firmware 1.0.0, 41 kB free, 900 kB for files" in running_text(
        REPORT, READER
    )
    assert sensors_text(replace(REPORT, sensors={"air": SensorReport({}, 4)}), READER) == "all are read"
    odd = replace(REPORT, cause="lightning", sensors={"lamp": SensorReport({"dark": 2})})
    assert "lightning" in running_text(odd, READER)
    assert missing_texts(odd, READER) == ["the lamp was never read: dark (2 times)"]


# -- through the collector --------------------------------------------------------------------------------------------


def heard(store: Store, line: bytes = LINE, node_key: str | None = KEY) -> Bench:
    bench = Bench(store, StepClock())
    bench.inbox.put(Report(line, bench.clock.now(), "line", node_key))
    bench.turn()
    return bench


def test_a_report_is_kept_with_its_node_and_told_on_the_screen(store: Store) -> None:
    heard(store)
    (row,) = store.nodes.all()
    assert (row.node, row.report, row.report_at) == (NODE, REPORT, START)
    sensors, itself = words.report_words(row, READER, START + timedelta(minutes=1))
    assert "third wire" in sensors
    assert itself.startswith("running for 1 h 2 min")
    later = words.report_words(row, READER, START + timedelta(hours=3))
    assert all(each.endswith("(3 h ago)") for each in later)
    assert words.report_words(replace(row, report=None), READER, START) == ("not told", "not told")


def test_a_report_that_cannot_be_read_is_counted(store: Store) -> None:
    bench = heard(store, LINE[:-1] + b"0")
    assert bench.faults() == {(NODE, "checksum"): 1}
    assert store.nodes.all() == []


def test_a_report_on_a_line_comes_to_its_node(store: Store) -> None:
    heard(store, node_key=None)
    assert [row.report for row in store.nodes.all()] == [REPORT]


# -- what is told of it -----------------------------------------------------------------------------------------------


class Told:
    """A collector and a supervisor that share the watch over the nodes, and what the keeper is told."""

    def __init__(self, store: Store) -> None:
        self.bench = Bench(store, StepClock())
        self.notices: list[str] = []
        watch = self.bench.collector._node_watch
        self.supervisor = Supervisor([watch.troubles], self._tell, self.bench.clock, self.bench.trouble_log)

    def _tell(self, notice: Notice) -> bool:
        self.notices.append(notice_text(notice.trouble, READER, is_over=notice.is_over))
        return True

    def minutes(self, n: int, report: NodeReport | None) -> list[str]:
        """What is told in so many minutes in which a node says this of itself."""
        before = len(self.notices)
        for minute in range(n):
            if report is not None:
                self.bench.inbox.put(Report(said(report, minute), self.bench.clock.now(), "line", KEY))
            pass_minutes(self.bench, 1)
            self.supervisor.go_round()
        return self.notices[before:]


def said(report: NodeReport, later_min: int = 0) -> bytes:
    """The line in which a node says it, a while later."""
    sensors = [
        (which, ",".join(map(str, each.pins)), each.age, {(which, kind): n for kind, n in each.faults.items()})
        for which, each in report.sensors.items()
    ]
    dbw = None if report.signal_dbm is None else report.signal_dbm - 30
    condition = (report.cause, report.heap_bytes, dbw, report.flash_bytes)
    up_s = report.up_s + 60 * later_min
    return bytes(on_board.line(report.boot, report.node, up_s, report.period_s, condition, sensors))


WELL = replace(REPORT, sensors={which: SensorReport({}, 5) for which in ("air", "dough", "distance")})
PROBE_OUT = replace(WELL, sensors={**WELL.sensors, "dough": SensorReport({"power-on": 118}, 600, (4,))})


def test_a_sensor_that_the_node_cannot_read_is_told_once_and_its_end_too(store: Store) -> None:
    told = Told(store)
    assert told.minutes(3, WELL) == []
    (notice,) = told.minutes(30, PROBE_OUT)
    assert notice == (
        f"Node {NODE} says: the dough probe on pin 4 has not been read for 10 min: it answers 85 °C: it has no power "
        f"on its third wire (118 times). What to do: unplug the node, see to that, and plug it in again; "
        f"`proofing-monitor node readings {NODE}` shows whether it is read."
    )
    (alert,) = [each for each in store.alerts.of_surroundings() if each.kind is AlertKind.TROUBLE]
    assert alert.is_firing
    (over,) = told.minutes(5, WELL)
    assert over.startswith(f"No longer so: node {NODE} says: the dough probe on pin 4")
    assert not any(each.is_firing for each in store.alerts.of_surroundings())


def test_a_sensor_that_never_answered_is_told(store: Store) -> None:
    never = replace(WELL, sensors={"air": SensorReport({"bus": 120}, None, (21, 22))})
    (notice,) = Told(store).minutes(10, never)
    assert "the air sensor on pins 21, 22 was never read: nobody answers on the two wires" in notice


def test_a_node_that_falls_silent_has_not_mended_its_sensor(store: Store) -> None:
    told = Told(store)
    assert len(told.minutes(10, PROBE_OUT)) == 1
    assert told.minutes(30, None) == []
    assert told.supervisor.troubles == []
    assert not any(each.is_firing for each in store.alerts.of_surroundings() if each.kind is AlertKind.TROUBLE)
    assert len(told.minutes(10, PROBE_OUT)) == 1  # it is back, and as it was


def test_a_weak_signal_is_told_when_it_lasts_and_ends_when_it_is_clearly_better(store: Store) -> None:
    told = Told(store)
    assert told.minutes(10, replace(WELL, signal_dbm=-84)) == []
    assert told.minutes(3, replace(WELL, signal_dbm=-60)) == []
    (notice,) = told.minutes(20, replace(WELL, signal_dbm=-84))
    assert notice.startswith(f"Node {NODE} hardly hears its network: -84 dBm.")
    assert told.minutes(5, replace(WELL, signal_dbm=-79)) == []
    assert told.minutes(2, replace(WELL, signal_dbm=-75)) == [
        f"No longer so: node {NODE} hardly hears its network: -79 dBm."
    ]


def test_a_full_flash_is_told(store: Store) -> None:
    (notice,) = Told(store).minutes(2, replace(WELL, flash_bytes=4096))
    assert f"the memory for files on node {NODE} is nearly full: 4 kB are free" in notice[:1].lower() + notice[1:]


def test_a_node_that_only_reports_and_starts_again_and_again_is_told_with_the_cause(store: Store) -> None:
    told = Told(store)
    for boot in range(8):
        told.minutes(1, replace(WELL, boot=f"{boot:08x}"))
    (notice,) = told.notices
    assert "5 times within 15 minutes; the last time it hung, and its watchdog started it anew" in notice


def test_check_tells_of_a_sensor_that_is_not_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = StepClock()
    monkeypatch.setattr("monitor.deploy.checks.clock_of", lambda store: clock)
    with Store(tmp_path / "proofing.sqlite") as store:
        heard(store)
    (tmp_path / "config.toml").write_text(f'serial = ["{tmp_path}"]\n')
    assert main(["check", "--data-dir", str(tmp_path)]) == 1
    said = capsys.readouterr().out
    assert f"WRONG  node {NODE}: running for 1 h 2 min" in said
    assert "what to do: the air sensor on pins 21, 22 was never read" in said
    clock.advance(minutes=20)
    assert main(["check", "--data-dir", str(tmp_path)]) == 0


def test_check_tells_of_a_weak_signal_and_a_full_flash(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = StepClock()
    monkeypatch.setattr("monitor.deploy.checks.clock_of", lambda store: clock)
    with Store(tmp_path / "proofing.sqlite") as store:
        heard(store, said(replace(WELL, signal_dbm=-84, flash_bytes=9000)))
    (tmp_path / "config.toml").write_text(f'serial = ["{tmp_path}"]\n')
    assert main(["check", "--data-dir", str(tmp_path)]) == 1
    told = capsys.readouterr().out
    assert f"WRONG  node {NODE}: running for 1 h 2 min" in told
    assert "hardly hears its network: -84 dBm: bring node and access point nearer" in told
    assert "nearly full: 9 kB are free: take files that are not of this program off" in told


def test_node_readings_says_what_the_node_says_of_its_sensors(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Ear:
        def hear(self, until_s: float) -> tuple[()]:
            clock.second = until_s
            return ()

        def report(self) -> NodeReport | None:
            return REPORT

        def explanation(self) -> str:
            return "nothing came"

    clock = StepClock()
    monkeypatch.setattr("monitor.store.pace.clock_of", lambda store: clock)
    monkeypatch.setattr("monitor.node.live_readings.listening", lambda *_: _Held(Ear()))
    assert main(["node", "readings", NODE, "--wait", "1m", "--data-dir", str(tmp_path)]) == 2
    captured = capsys.readouterr()
    assert captured.out.count("no power on its third wire") == 1
    assert "the node is there and reads nothing" in captured.err


class _Held(SimpleNamespace):
    """Gives what it was made of to whoever enters it."""

    def __init__(self, what: object) -> None:
        super().__init__(what=what)

    def __enter__(self) -> object:
        return self.what

    def __exit__(self, *_: object) -> None:
        pass
