"""Lamp, buzzer and button: what a board shows, what it is told, and what a push does at the collector."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from collector_bench import KEY, NODE, Bench, StepClock, batch, pack
from fake_board import FakeBoard
from harness import START
from paper_board import BOOT, URN, PaperBoard, PaperLink

from firmware_sim.node import report as on_board
from firmware_sim.node import signals
from firmware_sim.node.main import Node
from firmware_sim.node.ring import Ring
from monitor.alerts.alert import Alert, Phase, Sort, Subject
from monitor.alerts.calls import CallRules, QuietHours
from monitor.alerts.kinds import AlertKind
from monitor.collector.signals import ANSWER_S, BoardSignals
from monitor.node.calibration import set_to_zero
from monitor.node.settings import NodeSettings, read_settings, write_settings
from monitor.recipe.batch import BatchId
from monitor.sources.intake import Frame, Report
from monitor.store.store import Store
from monitor.wire.asides import call_line
from monitor.wire.readings import Channel, Reading
from monitor.wire.reports import decode_report
from monitor.wording.reader import Reader

READER = Reader(UTC)


class Pin:
    """A lamp, a buzzer or a button of paper."""

    def __init__(self) -> None:
        self.level = False
        self.down = False

    def on(self, level: bool) -> None:
        self.level = level

    def is_down(self) -> bool:
        return self.down


class Panel:
    """Signals with time that is put on by hand."""

    def __init__(self) -> None:
        self.lamp, self.buzzer, self.button = Pin(), Pin(), Pin()
        self.signals = signals.Signals(self.lamp, self.buzzer, self.button)
        self.link = PaperLink()
        self.now_ms = 0

    def turn(self, **how: Any) -> bool:
        self.now_ms += 20
        told = {"silent_ms": 0, "is_missing": False, **how}
        return bool(self.signals.turn(self.now_ms, told["silent_ms"], self.link, told["is_missing"]))

    def shows(self, which: str = "lamp", ms: int = 20_000, **how: Any) -> tuple[int, ...]:
        """For how long it is on each time, in the order of time and to a fiftieth of a second."""
        found, was = [0], False
        for _ in range(ms // 20):
            self.turn(**how)
            level = getattr(self, which).level
            found += [0] if level and not was else []
            found[-1] += 20 if level else 0
            was = level
        return tuple(found[1:])

    def called(self, word: str) -> None:
        self.signals.hear(call_line(BOOT, word), BOOT)


def test_each_state_has_a_pattern_of_its_own() -> None:
    panel = Panel()
    assert panel.shows(ms=10_000) == (60, 60)
    assert len(panel.shows(ms=10_000, is_missing=True)) > 10
    panel.link.is_up = False
    assert set(panel.shows(ms=10_000)) == {500}
    panel.link.fault = "refused by the broker, code 5"  # type: ignore[attr-defined]
    assert set(panel.shows(ms=9700)) == {120}
    assert panel.shows("buzzer") == ()


def test_what_is_called_is_shown_and_sounds_until_it_is_over() -> None:
    panel = Panel()
    panel.called("note")
    assert (panel.shows("buzzer", 5000), set(panel.shows(ms=5000))) == ((), {200})
    panel.called("dough")
    assert set(panel.shows("buzzer", 9600)) == {200}
    panel.called("monitor")
    assert set(panel.shows("buzzer", 8400)) == {700}
    panel.called("later-version")
    assert set(panel.shows("buzzer", 9600)) == {200}
    panel.called("none")
    assert panel.shows("buzzer") == ()


@pytest.mark.parametrize(
    "line",
    [
        call_line("ffffffff", "dough"),
        call_line(BOOT, "dough")[:-1] + b"z",
        call_line(BOOT, "dough").replace(b"call", b"tell"),
        b"",
    ],
)
def test_what_is_not_for_this_boot_or_damaged_is_passed_over(line: bytes) -> None:
    panel = Panel()
    panel.signals.hear(line, BOOT)
    assert panel.shows("buzzer") == ()


def test_no_answer_for_ten_minutes_has_its_own_sound_whatever_was_called() -> None:
    panel = Panel()
    panel.called("dough")
    assert set(panel.shows("buzzer", 9600, silent_ms=599_000)) == {200}
    assert set(panel.shows("buzzer", 30_000, silent_ms=601_000)) == {1000}


def held(panel: Panel, ms: int) -> list[bool]:
    panel.button.down = True
    news = [panel.turn() for _ in range(ms // 20)]
    panel.button.down = False
    return [*news, *(panel.turn() for _ in range(5))]


def test_a_push_silences_at_once_and_is_told_once() -> None:
    panel = Panel()
    panel.called("dough")
    assert held(panel, 200).count(True) == 1
    assert (panel.signals.seen, panel.signals.zero) == (1, 0)
    assert panel.shows("buzzer") == ()
    held(panel, 20)  # a bounce
    assert panel.signals.seen == 1


def test_a_long_push_is_told_while_it_is_held_and_is_no_seen() -> None:
    panel = Panel()
    news = held(panel, 6000)
    assert news.count(True) == 1
    assert news.index(True) == 3000 // 20
    assert (panel.signals.seen, panel.signals.zero) == (0, 1)


# -- through the node's loop ------------------------------------------------------------------------------------------


def test_the_loop_reports_a_push_at_once_and_hears_the_call_beside_the_acknowledgement() -> None:
    class Board(PaperBoard):
        wanted = ("air", "dough", "distance")

        def __init__(self) -> None:
            super().__init__()
            self.pins: dict[str, str] = {}
            self.faults: dict[tuple[str, str], int] = {}

        def condition(self) -> tuple[str, int, None, None]:
            return ("power", 60_000, None, None)

    board, link, panel = Board(), PaperLink(), Panel()
    board.signals = panel.signals  # type: ignore[attr-defined]
    node = Node(board, link, 30_000, Ring(6))

    def turns(seconds: float) -> None:
        for _ in range(round(seconds * 50)):
            assert node.turn() <= 20
            board.real_ms += 20
            board.dough_ms += 20

    def reports() -> list[bytes]:
        return [line for line in link.sent if line.startswith(b"=")]

    turns(70)
    assert decode_report(reports()[-1]).seen == 0
    before = len(reports())
    panel.button.down = True
    turns(0.2)
    panel.button.down = False
    turns(0.2)
    assert len(reports()) == before + 1
    assert decode_report(reports()[-1]).seen == 1
    link.acknowledge([line for line in link.sent if line.startswith(b"@")][-1])
    link.heard.append(call_line(BOOT, "dough"))
    turns(0.5)
    assert panel.signals._call == "dough"
    turns(599)  # the collector has died
    assert panel.signals._showing[2] == signals._CALLS["dough"][1]
    turns(2)
    assert panel.signals._showing[2] == signals._ALONE
    board.dough = None
    turns(60)
    assert node._tubs[0].missed >= 2


# -- the collector's side ---------------------------------------------------------------------------------------------


class Bakery:
    """A collector with a node that has lamp, buzzer and button."""

    def __init__(self, store: Store, rules: CallRules | None = None) -> None:
        self.bench = Bench(store, StepClock())
        self.zeroed: list[str] = []
        self.is_still = True
        self.signals = BoardSignals(
            store, self.bench.clock, rules=rules or CallRules(), zone=UTC, set_to_zero=self._zero
        )
        self.bench.collector._signals = self.signals
        self.answers: list[bytes] = []
        self.seq = 0

    def _zero(self, node: str) -> bool:
        self.zeroed.append(node)
        return self.is_still

    def report(self, seen: int | None, zero: int = 0, boot: str = BOOT) -> None:
        pushed = None if seen is None else (seen, zero)
        line = on_board.line(boot, URN, 100, 30, ("power", 60_000, None, None), (), pushed)
        self.bench.inbox.put(Report(bytes(line), self.bench.clock.now(), "line", KEY))
        self.bench.turn()

    def told(self) -> list[bytes]:
        """What the node hears beside the acknowledgement of its next pack."""
        self.seq += 1
        answers: list[bytes] = []
        self.bench.inbox.put(Frame(pack(self.seq), self.bench.clock.now(), "line", KEY, answers.append))
        self.bench.turn(2)
        assert answers[0].split()[1] == str(self.seq).encode()
        return [line.split()[2] for line in answers[1:]]

    def alert(self, kind: AlertKind, subject: Subject) -> None:
        alert = Alert(subject, kind, 1, START, fired_at=START, called_at=START)
        self.bench.store.alerts.save([alert], [], [], self.bench.clock.now())
        self.bench.clock.second += 2.0


DOUGH, ROUND = Subject.batch(BatchId(1)), Subject(Sort.MONITOR, "disk")


def test_a_node_without_lamp_and_buzzer_is_only_acknowledged(store: Store) -> None:
    bakery = Bakery(store)
    assert bakery.told() == []
    bakery.report(None)
    assert bakery.told() == []


def test_what_is_called_goes_with_the_answers_and_a_push_counts_as_seen(store: Store) -> None:
    bakery = Bakery(store)
    bakery.report(0)
    assert bakery.told() == [b"none"]
    bakery.alert(AlertKind.TROUBLE, ROUND)
    assert bakery.told() == [b"monitor"]
    bakery.report(1)
    assert bakery.told() == [b"none"]
    (alert,) = store.alerts.of_surroundings()
    assert alert.phase is Phase.ACKNOWLEDGED
    assert [change.by for change in store.alerts.history()] == [NODE]


def test_a_push_from_before_this_collector_and_of_the_boot_before_are_told_apart(store: Store) -> None:
    bakery = Bakery(store)
    bakery.bench.turn()
    bakery.alert(AlertKind.TROUBLE, ROUND)
    bakery.report(7)  # nobody knows what those were about
    assert bakery.told() == [b"monitor"]
    bakery.report(1, boot="00000009")  # started anew, and pushed since
    assert bakery.told() == [b"none"]


def test_what_can_wait_is_shown_without_a_sound_and_not_in_quiet_hours(store: Store) -> None:
    night = CallRules(quiet=QuietHours(time(0, 0), time(23, 59)))
    for rules, word in ((CallRules(), b"note"), (night, b"none")):
        bakery = Bakery(store, rules)
        bakery.report(0)
        bakery.alert(AlertKind.SENSOR_SILENT, Subject(Sort.NODE, "urn:dev:mac:0200000000000009"))
        assert bakery.signals.word_for(NODE) == word.decode()


def test_a_held_button_sets_to_zero_and_is_answered_for_a_minute(store: Store) -> None:
    bakery = Bakery(store)
    bakery.report(0)
    bakery.report(0, 1)
    assert bakery.zeroed == [NODE]
    assert bakery.told() == [b"zeroed"]
    bakery.is_still = False
    bakery.report(0, 2)
    assert bakery.told() == [b"refused"]
    bakery.bench.clock.second += ANSWER_S
    assert bakery.told() == [b"none"]


def measured(store: Store, *values_mm: float, at: datetime = START) -> None:
    for seq, value in enumerate(values_mm, 1):
        when = at - timedelta(seconds=30 * (len(values_mm) - seq))
        store.readings.add((Reading(NODE, BOOT, seq, Channel.DISTANCE, value, when, when),))


def test_the_empty_tub_is_taken_for_zero_when_it_held_still(store: Store, tmp_path: Path) -> None:
    def zero() -> bool:
        return set_to_zero(NODE, store, tmp_path, START, READER)

    measured(store, 400.0, 298.0, 299.0, 298.0, 297.0)  # the first was of before
    assert not zero()  # a node of which nobody said how it is made
    write_settings(tmp_path, "tub-3", NodeSettings(NODE))
    assert zero()
    settings = read_settings(tmp_path, "tub-3")
    assert settings is not None
    assert settings.sensor_height_mm == 298.0
    assert [each.channel for each in store.calibrations.all(NODE)] == [Channel.DISTANCE]


def test_what_moves_or_holds_a_dough_is_not_taken_for_zero(store: Store, tmp_path: Path) -> None:
    write_settings(tmp_path, "tub-3", NodeSettings(NODE))
    measured(store, 298.0, 250.0, 310.0, 280.0)
    assert not set_to_zero(NODE, store, tmp_path, START, READER)
    later = START + timedelta(hours=1)
    store.batches.add(replace(batch(), nodes=((Channel.DISTANCE, NODE),)))
    measured(store, 298.0, 298.0, 299.0, 298.0, at=later)
    assert not set_to_zero(NODE, store, tmp_path, later, READER)
    assert store.calibrations.all(NODE) == []


# -- on the board -----------------------------------------------------------------------------------------------------


def test_the_board_opens_only_what_it_was_told_of_and_goes_on_without_a_pin_that_is_not_there() -> None:
    board = FakeBoard()
    with board.running() as hal:
        assert hal.signals_of({"pin_sda": "21"}) is None
        made = hal.signals_of({"pin_light": "23", "pin_buzzer": "99", "pin_button": "32"})
        made._light.on(True)
        assert board.levels[23] == [(0, 0), (0, 1)]
        assert made._buzzer is None
        assert not made._button.is_down()
        board.held.add(32)
        assert made._button.is_down()
        assert hal.signals_of({"pin_buzzer": "99"}) is None
