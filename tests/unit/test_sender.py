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


def test_a_node_is_sent_when_something_of_it_has_changed(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sending, "STANDING_S", 0.0)
    store.nodes.note(NODE, "serial bench", START)
    turns = sender_of(store).turns(store)
    for _ in range(3):
        next(turns)
    assert FakeLink.taken.count(("node", 1)) == 1
    store.nodes.note(NODE, "serial bench", START + timedelta(minutes=1))
    next(turns)
    assert FakeLink.taken.count(("node", 1)) == 2


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


def test_a_late_reading_is_told_apart_from_what_is_of_now(store: Store) -> None:
    fill(store, 10)
    long_ago = START - timedelta(hours=5)
    store.readings.add([Reading(NODE, "0b0b0b0b", 1, Channel.AIR_TEMP, 25.0, long_ago, START)])
    next(sender_of(store).turns(store))
    assert FakeLink.taken == [("reading", 11), ("delivery", 2)]


def test_metrics_tell_how_many_rows_wait() -> None:
    def samples(metrics: PulseMetrics) -> dict[str, float]:
        return {metric.name: metric.samples[0].value for metric in metrics.collect() if metric.samples}

    pulse = Pulse(SetClock())
    assert samples(PulseMetrics(pulse, lambda: 0, lambda: 0, lambda: 7))["proofing_unsent_rows"] == 7.0
    assert "proofing_unsent_rows" not in samples(PulseMetrics(pulse, lambda: 0, lambda: 0))
