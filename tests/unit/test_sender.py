"""What sends to a central store holds one page, waits longer and longer, and says what keeps it."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import islice
from pathlib import Path
from types import TracebackType
from typing import Self

import pytest
from harness import START, SetClock

from monitor.alerts.troubles import CentralGetsNothing, CentralLate, CentralRefusesRows
from monitor.errors import CentralError, CentralKind
from monitor.health.counters import Pulse
from monitor.health.metrics import PulseMetrics
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.shops import Centre
from monitor.shops import influx as lines
from monitor.shops import sender as sending
from monitor.shops.points import Point
from monitor.shops.sender import LAST_RETRY_S, LATE, TURN_S, Sender
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

TUB = Batch(
    BatchId(0),
    "Linden loaf",
    Stage.FIRST_RISE,
    START,
    Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0),
    Target(75.0),
)
NODE = NodeId("urn:dev:mac:020000fffe5e0001")


class FakeLink:
    """Takes everything, or fails as it is told to."""

    fault: CentralError | None = None
    taken: list[tuple[str, int]]

    def __init__(self, *_: object) -> None:
        pass

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        pass

    def write(self, measurement: str, points: Sequence[Point]) -> None:
        if FakeLink.fault is not None:
            raise FakeLink.fault
        FakeLink.taken.append((measurement, len(points)))


@pytest.fixture(autouse=True)
def fake_link(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "Link", FakeLink)
    FakeLink.fault, FakeLink.taken = None, []


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


def fill(store: Store, n: int) -> None:
    moments = (START + timedelta(seconds=k) for k in range(n))
    store.readings.add(Reading(NODE, "0a0a0a0a", k, Channel.AIR_TEMP, 25.0, at, at) for k, at in enumerate(moments, 1))


def sender_of(store: Store, clock: SetClock | None = None, page_rows: int = 1000) -> Sender:
    return Sender(store.path, Centre("http://127.0.0.1:1"), None, "rye", clock or SetClock(), page_rows)


def test_no_more_than_a_page_is_held_however_much_waits(store: Store) -> None:
    fill(store, 20_500)
    waits = list(islice(sender_of(store).turns(store), 22))
    readings = [n for measurement, n in FakeLink.taken if measurement == "reading"]
    assert (sum(readings), max(readings)) == (20_500, 1000)
    assert waits[-1] == TURN_S
    assert not any(waits[:21])


def test_it_waits_longer_and_longer_while_nobody_answers_and_then_goes_on_at_once(store: Store) -> None:
    fill(store, 1)
    turns = sender_of(store).turns(store)
    FakeLink.fault = CentralError("does not answer", CentralKind.AWAY)
    assert list(islice(turns, 8)) == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, LAST_RETRY_S, LAST_RETRY_S]
    FakeLink.fault = None
    assert next(turns) == 0.0
    FakeLink.fault = CentralError("does not answer", CentralKind.AWAY)
    fill(store, 2)
    assert next(turns) == 1.0


def test_settings_that_are_wrong_are_told_sooner_than_a_line_that_is_away(store: Store) -> None:
    fill(store, 1)
    sender = sender_of(store)
    turns = sender.turns(store)
    told = {}
    for kind in (CentralKind.AWAY, CentralKind.SHUT):
        FakeLink.fault = CentralError("because", kind, status=503, detail=kind.value)
        next(turns)
        (symptom,) = sender.troubles()
        assert symptom.trouble == CentralGetsNothing("http://127.0.0.1:1", kind, kind.value, 503)
        told[kind] = symptom.after_s
    assert told[CentralKind.SHUT] < 300 < told[CentralKind.AWAY]


def test_being_hours_behind_is_a_trouble_and_being_minutes_behind_is_none(store: Store) -> None:
    fill(store, 3000)
    clock = SetClock(START + LATE / 2)
    sender = sender_of(store, clock)
    next(sender.turns(store))
    assert list(sender.troubles()) == []
    assert sender.waiting == 2000
    clock.put(START + 2 * LATE)
    assert [symptom.trouble for symptom in sender.troubles()] == [CentralLate(2000)]


def test_how_the_shop_stands_is_said_when_it_changes_and_anyhow_each_minute(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.nodes.note(NODE, "serial bench", START)
    clock = SetClock()
    real_s = 0.0
    monkeypatch.setattr(clock, "real_s", lambda: real_s)
    turns = sender_of(store, clock).turns(store)

    def said(after_s: float) -> list[tuple[str, int]]:
        nonlocal real_s
        FakeLink.taken = []
        real_s += after_s
        clock.advance(seconds=after_s)
        next(turns)
        return FakeLink.taken

    assert said(0.0) == [("shop", 1), ("health", 2)]
    assert said(sending.LOOK_S + 1.0) == []
    store.batches.add(TUB)
    assert said(1.0) == []  # not before the next look
    assert said(sending.LOOK_S) == [("shop", 1)]
    assert said(sending.SAY_S) == [("shop", 1), ("health", 2)]


def test_a_server_that_takes_no_summary_is_sent_all_the_rest(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    class TakesNoSummary(FakeLink):
        def write(self, measurement: str, points: Sequence[Point]) -> None:
            if measurement == "shop":
                raise CentralError("refused", CentralKind.POINTS)
            super().write(measurement, points)

    monkeypatch.setattr(lines, "Link", TakesNoSummary)
    fill(store, 3000)
    sender = sender_of(store)
    assert list(islice(sender.turns(store), 4)) == [0.0, 0.0, 0.0, TURN_S]
    assert list(sender.troubles()) == []


def test_a_row_that_makes_no_point_is_set_aside_and_the_rest_goes_on(store: Store) -> None:
    store.batches.add(TUB)
    with store.writing() as connection:
        connection.execute("INSERT INTO outlook VALUES (1, 5, '{', '[]')")
        connection.execute(
            'INSERT INTO outlook VALUES (1, 6, \'{"at":"2026-03-02T05:40:00Z","state":"no rise yet"}\', \'[]\')'
        )
    sender = sender_of(store)
    next(sender.turns(store))
    assert ("outlook", 1) in FakeLink.taken
    (symptom,) = sender.troubles()
    assert isinstance(symptom.trouble, CentralRefusesRows)
    assert symptom.trouble.rows == 1


def test_a_store_of_which_no_summary_can_be_made_is_sent_all_the_rest(store: Store) -> None:
    batch = store.batches.add(TUB)
    with store.writing() as connection:
        connection.execute("INSERT INTO outlook VALUES (?, 5, '{', '[]')", (batch.id,))
    fill(store, 3000)
    assert list(islice(sender_of(store).turns(store), 4)) == [0.0, 0.0, 0.0, TURN_S]
    assert sum(n for measurement, n in FakeLink.taken if measurement == "reading") == 3000


def test_rows_that_were_refused_are_tried_once_more_at_the_start_and_set_aside_again(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    class RefusesReadings(FakeLink):
        is_well = False

        def write(self, measurement: str, points: Sequence[Point]) -> None:
            if measurement == "reading" and any(point.fields["value"] == 0.0 for point in points) and not self.is_well:
                raise CentralError("refused", CentralKind.POINTS, detail="no such type")
            super().write(measurement, points)

    monkeypatch.setattr(lines, "Link", RefusesReadings)
    at = START
    bad = [Reading(NODE, "0b0b0b0b", k, Channel.AIR_TEMP, 0.0, at, at) for k in range(2 * sending.ALL_ALIKE)]
    fill(store, 100)
    store.readings.add(bad)
    for _ in range(2):
        sender = sender_of(store)
        next(sender.turns(store))
        (symptom,) = sender.troubles()
        assert isinstance(symptom.trouble, CentralRefusesRows)
        assert symptom.trouble.rows == len(bad)
    RefusesReadings.is_well = True
    sender = sender_of(store)
    next(sender.turns(store))
    assert list(sender.troubles()) == []


def test_metrics_tell_how_many_rows_wait() -> None:
    def samples(metrics: PulseMetrics) -> dict[str, float]:
        return {metric.name: metric.samples[0].value for metric in metrics.collect() if metric.samples}

    pulse = Pulse(SetClock())
    assert samples(PulseMetrics(pulse, lambda: 0, lambda: 0, lambda: 7))["proofing_unsent_rows"] == 7.0
    assert "proofing_unsent_rows" not in samples(PulseMetrics(pulse, lambda: 0, lambda: 0))
