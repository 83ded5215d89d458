"""Simulated nodes for practice: faults by rate, recordings said again, passwords, boards that lose their supply."""

import random
import stat
import threading
from collections.abc import Mapping
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from firmware_sim import __main__ as simulators
from firmware_sim.bench.faults import Faults, FaultyLink, FaultySensors, episodes, faults_named
from firmware_sim.bench.power import Power
from firmware_sim.bench.replay import ReplayedSensors, read_recording
from firmware_sim.boards.hal_sim import DoughTime
from firmware_sim.node.packet import crc32
from firmware_sim.practice import nodes
from firmware_sim.practice.nodes import (
    Practice,
    PracticeNode,
    PracticeSettings,
    collect_command,
    kept_passwords,
    key_at,
    urn_of,
)
from monitor.wire.reports import decode_report

EPOCH = datetime(2026, 3, 2, 5, tzinfo=UTC)


class Fixed:
    """Sensors that always say the same."""

    wanted = ("air", "dough", "distance")
    pins: Mapping[str, str] = {}
    faults: Mapping[tuple[str, str], int] = {}

    def start(self) -> int:
        return 0

    def read_air(self) -> tuple[int, int]:
        return 2500, 7000

    def read_dough(self) -> int:
        return 2600

    def read_distance(self) -> int:
        return 2100


class Link:
    """A link that takes everything down."""

    def __init__(self) -> None:
        self.is_up = True
        self.broke = False
        self.sent: list[bytes] = []
        self.reports: list[bytes] = []
        self.closed = 0

    def poll(self, now_ms: int) -> None:
        self.is_up = True

    def send(self, frame: bytes) -> bool:
        self.sent.append(frame)
        return True

    def send_report(self, line: bytes) -> bool:
        self.reports.append(line)
        return True

    def take_acks(self) -> list[bytes]:
        return []

    def close(self, now_ms: int) -> None:
        self.is_up = False
        self.closed += 1


class Time(DoughTime):
    """Dough time that a test sets."""

    def __init__(self) -> None:
        super().__init__(EPOCH, 1.0)
        object.__setattr__(self, "at", [0.0])

    def now_s(self) -> float:
        return float(self.at[0])  # type: ignore[attr-defined]


def wanted(**changes: object) -> PracticeSettings:
    usual: dict[str, object] = {
        "count": 1, "seed": 1, "pace": DoughTime(EPOCH, 1.0), "every_s": 30.0, "dough": "lean", "room": "steady:24",
        "noise": "usual", "faults": Faults(),
    }  # fmt: skip
    return PracticeSettings(**{**usual, **changes})  # type: ignore[arg-type]


def test_faults_are_named_by_kind_and_rate() -> None:
    assert faults_named(["hand=2", "corrupt=0.01"]) == Faults(hand=2.0, corrupt=0.01)
    assert faults_named([]) == Faults()


@pytest.mark.parametrize("text", ["hand", "hand=often", "fire=1", "corrupt=2", "hand=-1", "reboot=nan"])
def test_a_fault_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="fault"):
        faults_named([text])


def test_episodes_come_as_often_as_they_were_ordered() -> None:
    found = episodes(random.Random(1), 2.0, (60.0, 120.0), (0.0, 1.0))
    assert 70 < len(found) < 125  # two an hour for 48 hours: 96, standard deviation 10
    assert all(60.0 <= one.end_s - one.start_s <= 120.0 for one in found)
    assert episodes(random.Random(1), 0.0, (1.0, 2.0), (0.0, 1.0)) == []


def through_a_day(senses: FaultySensors, now: list[float]) -> list[tuple[object, object, object]]:
    said = []
    for minute in range(24 * 60):
        now[0] = 60.0 * minute
        said.append((senses.read_air(), senses.read_dough(), senses.read_distance()))
    return said


def test_hands_shorten_distances_and_nothing_else() -> None:
    now = [0.0]
    said = through_a_day(FaultySensors(Fixed(), Faults(hand=2.0), random.Random(1), lambda: now[0]), now)
    assert {(air, dough) for air, dough, _ in said} == {((2500, 7000), 2600)}
    short = [distance for _, _, distance in said if distance != 2100]
    assert 20 < len(short) < 200
    assert all(isinstance(distance, int) and 350 <= distance <= 900 for distance in short)


def test_dropouts_silence_every_sensor_together() -> None:
    now = [0.0]
    said = through_a_day(FaultySensors(Fixed(), Faults(dropout=0.5), random.Random(1), lambda: now[0]), now)
    silent = [one for one in said if None in one]
    assert 0 < len(silent) < len(said) / 2
    assert set(silent) == {(None, None, None)}


def test_a_pulled_cable_breaks_once_and_comes_back() -> None:
    now = [0.0]
    inner = Link()
    link = FaultyLink(inner, Faults(unplug=1.0), random.Random(1), lambda: now[0])
    ups, breaks = [], 0
    for second in range(0, 24 * 3600, 10):
        now[0] = float(second)
        link.poll(1000 * second)
        ups.append(link.is_up)
        breaks += link.broke
    assert 0.4 < sum(ups) / len(ups) < 0.95
    assert breaks == sum(before and not after for before, after in pairwise(ups)) == inner.closed


def test_corrupt_frames_fail_their_checksum_and_stay_one_line() -> None:
    inner = Link()
    link = FaultyLink(inner, Faults(corrupt=0.25), random.Random(1), lambda: 0.0)
    head = b"@0a1b2c3d 1 []"
    frame = head + b" %08x" % crc32(head)
    for _ in range(400):
        link.send(frame)
    changed = [sent for sent in inner.sent if sent != frame]
    assert 60 < len(changed) < 140
    assert all(len(sent) == len(frame) and sent[:1] == b"@" and b"\n" not in sent for sent in changed)
    assert all(sum(a != b for a, b in zip(sent, frame, strict=True)) == 1 for sent in changed)


@pytest.mark.long
def test_a_practice_node_says_how_it_is_as_a_real_one_does() -> None:
    time, link = Time(), Link()
    faults, power = Faults(dropout=0.2), Power(signal_dbm=-82.0)
    node = PracticeNode("mac-020001fffe000000", Fixed(), lambda: link, wanted(pace=time, faults=faults), power)
    reports = []
    for period in range(24 * 120):
        time.at[0] = 30.0 * period  # type: ignore[attr-defined]
        node._node._tubs[0].report_ms = None  # a report each period, whatever the wall clock says
        node.turn()
    reports = [decode_report(line) for line in link.reports]
    assert reports[0].cause == "power"
    assert reports[0].signal_dbm == pytest.approx(-82, abs=4)
    assert reports[0].missing == {}
    assert {"air": "silent", "dough": "silent", "distance": "silent"} in [report.missing for report in reports]


def test_a_reboot_is_another_boot_that_counts_from_one() -> None:
    time, links = Time(), []

    def make_link() -> Link:
        links.append(Link())
        return links[-1]

    node = PracticeNode("mac-020001fffe000000", Fixed(), make_link, wanted(pace=time, faults=Faults(reboot=1.0)))
    for minute in range(300):
        time.at[0] = 60.0 * minute  # type: ignore[attr-defined]
        node.turn()
    assert node.boots == len(links) > 2
    heads = [frame.split(b" ")[:2] for link in links for frame in link.sent]
    assert len({boot for boot, _ in heads}) == len(links)
    assert all(link.sent[0].split(b" ")[1] == b"1" for link in links)
    assert node.made > len(links)


def test_a_jumping_clock_changes_ages_and_nothing_that_was_measured() -> None:
    time = Time()
    inner = Link()
    node = PracticeNode("mac-020001fffe000000", Fixed(), lambda: inner, wanted(pace=time, faults=Faults(clock=6.0)))
    for minute in range(240):
        time.at[0] = 60.0 * minute  # type: ignore[attr-defined]
        node.turn()
    assert len(inner.sent) > 8
    assert all(b'"v":0.2100' in frame for frame in inner.sent)


RECORDING = """time,air_temp_c,humidity_pct,dough_temp_c,distance_mm
2026-03-02T05:00:00Z,24.50,70.00,26.10,212.3
2026-03-02T05:01:00Z,24.60,,26.20,
2026-03-02T05:02:00Z,24.70,72.00,26.30,208.0
"""


def test_a_recording_is_said_again_at_its_own_times(tmp_path: Path) -> None:
    path = tmp_path / "READINGS.csv"
    path.write_text(RECORDING)
    now = [0.0]
    senses = ReplayedSensors(read_recording(path), lambda: now[0])

    def said(at_s: float) -> tuple[object, object, object]:
        now[0] = at_s
        senses.start()
        return senses.read_air(), senses.read_dough(), senses.read_distance()

    assert said(0.0) == ((2450, 7000), 2610, 2123)
    assert said(75.0) == (None, 2620, None)
    assert said(120.0) == ((2470, 7200), 2630, 2080)
    assert said(600.0) == (None, None, None)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("a,b\n1,2\n", "no column 'time'"),
        ("time,dough_temp_c\n", "no row"),
        ("time,dough_temp_c\n2026-03-02T05:00:00Z,warm\n", "row 2"),
        ("time,dough_temp_c\nsoon,26\n", "row 2"),
        ("time,dough_temp_c\n2026-03-02T05:00:00,26\n", "offset"),
    ],
)
def test_a_recording_that_is_none_is_named(text: str, why: str, tmp_path: Path) -> None:
    path = tmp_path / "READINGS.csv"
    path.write_text(text)
    with pytest.raises(ValueError, match=why):
        read_recording(path)


def test_passwords_are_made_once_and_for_the_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "secrets.json"
    made = kept_passwords(path, 3, 7)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert set(made) == {"collector", *(key_at(7, index) for index in range(3))}
    assert kept_passwords(path, 9, 7) == made
    path.write_text('["x"]')
    with pytest.raises(ValueError, match="JSON object"):
        kept_passwords(path, 3, 7)


def test_names_of_many_nodes_differ() -> None:
    keys = {key_at(seed, index) for seed in range(3) for index in range(500)}
    assert len(keys) == 1500
    assert urn_of(key_at(1, 0)) == "urn:dev:mac:020001fffe000000"


def test_a_port_never_takes_the_place_of_a_file(tmp_path: Path) -> None:
    path = tmp_path / "precious"
    path.write_text("x")
    with pytest.raises(ValueError, match="is there already"):
        Practice(wanted(serial=(path,)))
    assert path.read_text() == "x"


@pytest.mark.parametrize(
    ("changes", "why"),
    [({}, "name a broker"), ({"mqtt": ("127.0.0.1", 1), "dough": "stone"}, "not known")],
)
def test_what_could_not_run_is_said(changes: dict[str, object], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        Practice(wanted(**changes))


def test_the_advice_names_what_the_nodes_use(tmp_path: Path) -> None:
    port = tmp_path / "tty"
    assert collect_command(wanted(serial=(port,))) == f"proofing-monitor collect --serial {port}"
    fast = wanted(count=2, serial=(port,), mqtt=("10.0.0.2", 1883), pace=DoughTime(EPOCH, 60.0))
    assert collect_command(fast).endswith(
        f"--mqtt mqtt://collector@10.0.0.2:1883 --serial {port} --epoch 2026-03-02T05:00:00Z --speed 60"
    )


@pytest.mark.parametrize("epoch", ["2026-03-02T05:00:00+00:00", None], ids=["chosen outside", "now"])
def test_dough_time_begins_when_whoever_starts_the_nodes_says(
    epoch: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    started: list[PracticeSettings] = []
    monkeypatch.setattr(simulators, "_stop_event", threading.Event)
    monkeypatch.setattr(nodes, "run_nodes", lambda settings, is_stopped, report: started.append(settings))
    options = [] if epoch is None else ["--epoch", epoch]
    before = datetime.now(UTC)
    assert simulators.main(["practice", "--serial", str(tmp_path / "tty"), "--speed", "60", *options]) == 0
    (settings,) = started
    if epoch is None:
        assert before <= settings.pace.epoch <= datetime.now(UTC)
    else:
        assert settings.pace.epoch == datetime.fromisoformat(epoch)
    assert collect_command(settings) in capsys.readouterr().out
