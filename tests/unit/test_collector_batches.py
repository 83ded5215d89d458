"""Batches in the loop: which is worked, when, on what, and how the loop goes on after a fault."""

import logging
import queue
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from collector_bench import KEY, NODE, Bench, StepClock, batch, pack, pass_minutes
from harness import START, SetClock

from monitor.alerts.dough import Alert, AlertKind, Rules, Subject
from monitor.collector.batch_step import STEP_FAULT
from monitor.collector.loop import Collector
from monitor.dough.outlook import Band, Moments, NoForecast, Outlook, State
from monitor.dough.track import Track
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, Event, EventKind
from monitor.recipe.calibration import Calibration, Comparison
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wire.readings import Channel
from monitor.wording.reader import Reader


@pytest.fixture
def bench(store: Store) -> Bench:
    return Bench(store, StepClock())


def test_an_outlook_comes_at_most_once_a_dough_minute(bench: Bench) -> None:
    bench.store.batches.add(batch())
    bench.turn()
    assert len(bench.asked) == 1
    bench.clock.advance(seconds=59)
    bench.turn(3)
    assert len(bench.asked) == 1
    bench.clock.advance(seconds=1)
    bench.turn(3)
    assert [at for _, _, at in bench.asked] == [START, START + timedelta(minutes=1)]


def test_a_batch_waits_for_its_start(bench: Bench) -> None:
    bench.store.batches.add(batch(started_at=START + timedelta(hours=1)))
    bench.turn(2)
    assert bench.asked == []
    bench.clock.advance(hours=1)
    bench.turn()
    assert len(bench.asked) == 1


def test_a_logged_event_is_worked_at_once(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.turn()
    bench.clock.advance(seconds=10)
    fold = Event(bench.clock.now(), EventKind.FOLD)
    bench.store.batches.add_event(running.id, fold)
    bench.turn()
    assert bench.asked[-1][0].events == (fold,)
    assert bench.asked[-1][2] == START + timedelta(seconds=10)


def test_an_event_to_come_is_not_known_yet(bench: Bench) -> None:
    fold = Event(START + timedelta(minutes=30), EventKind.FOLD)
    bench.store.batches.add(batch(events=(fold,)))
    bench.turn()
    assert bench.asked[-1][0].events == ()
    bench.clock.advance(minutes=30)
    bench.turn()
    assert bench.asked[-1][0].events == (fold,)


def test_a_level_read_by_eye_is_worked_at_once(bench: Bench) -> None:
    running = bench.store.batches.add(batch(nodes=()))
    bench.turn()
    bench.clock.advance(seconds=5)
    bench.store.readings.add_level(running.id, bench.clock.now(), 90.0, 3.0)
    bench.turn()
    assert list(bench.asked[-1][1].level_mm.value) == [90.0]


def test_late_and_disordered_readings_give_the_track_of_ordered_ones(bench: Bench) -> None:
    bench.store.batches.add(batch())
    bench.clock.advance(minutes=10)
    for seq, age_s in ((3, 60.0), (1, 300.0)):
        bench.frame(pack(seq, age_s=age_s))
    bench.turn()
    bench.clock.advance(minutes=1)
    bench.frame(pack(2, age_s=240.0))
    bench.turn()
    assert list(bench.asked[-1][1].air_temp_c.t_s) == [300.0, 420.0, 540.0]


def test_a_calibration_sets_right_what_was_read_before_it_too_and_is_worked_at_once(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.frame(pack(1))
    bench.turn(2)
    assert bench.asked[-1][1].distance_mm.value.tolist() == [210.0]
    now = bench.clock.now()
    bench.store.calibrations.add(Calibration(NODE, Channel.DISTANCE, 1.5, 0.4, now, Comparison.EMPTY))
    bench.frame(pack(2))
    bench.turn(2)
    asked, track, _ = bench.asked[-1]
    assert asked.id == running.id
    assert asked.sensor_sd_mm == 0.4
    assert track.distance_mm.value.tolist() == [211.5, 211.5]


def test_readings_from_before_the_start_are_not_the_batchs(bench: Bench) -> None:
    bench.frame(pack(1, age_s=60.0))
    bench.turn()
    bench.store.batches.add(batch())
    bench.turn()
    assert bench.asked[-1][1].last_t_s is None


def test_one_turn_works_one_batch_the_longest_due_first(bench: Bench) -> None:
    bench.clock.advance(minutes=10)
    late = bench.store.batches.add(batch(name="late", started_at=START + timedelta(minutes=5)))
    early = bench.store.batches.add(batch(name="early"))
    bench.turn()
    assert [asked.id for asked, _, _ in bench.asked] == [early.id]
    bench.turn()
    assert [asked.id for asked, _, _ in bench.asked] == [early.id, late.id]


@pytest.mark.parametrize("hours", [1, 24, -1, -24], ids=lambda hours: f"{hours:+d} h")
def test_clock_that_was_set_over_a_restart_rings_nothing(bench: Bench, hours: int) -> None:
    """Readings come every minute; the dough is never near ready; the machine starts again on another hour."""
    bench.store.batches.add(batch(started_at=START - timedelta(days=2)))
    bench.answer = lambda asked, track, at: Outlook(at, State.RISING, ready=Moments(*[at + timedelta(hours=9)] * 5))
    pass_minutes(bench, 15, each=lambda minute: bench.frame(pack(minute + 1)))
    bench.clock.advance(hours=hours)
    bench.collector = bench.another()
    pass_minutes(bench, 15, each=lambda minute: bench.frame(pack(minute + 100)))
    assert bench.store.outbox.messages() == []


def test_clock_of_1970_at_boot_judges_no_batch(bench: Bench) -> None:
    bench.store.batches.add(batch())
    bench.clock.put(datetime(1970, 1, 1, tzinfo=UTC))
    pass_minutes(bench, 15)
    assert bench.asked == []
    bench.clock.put(START + timedelta(minutes=1))  # the network tells the time
    pass_minutes(bench, 9)
    assert bench.store.outbox.messages() == []


def test_machine_that_slept_has_not_listened(bench: Bench) -> None:
    """The dough's clock goes on while the machine sleeps; that nothing was heard then is no silence."""
    bench.store.batches.add(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.RISING, ready=Moments(*[at + timedelta(hours=9)] * 5))
    pass_minutes(bench, 3, each=lambda minute: bench.frame(pack(minute + 1)))
    bench.clock.advance(hours=3)
    pass_minutes(bench, 9)
    assert bench.store.outbox.messages() == []
    pass_minutes(bench, 3)
    assert [message.kind for message in bench.store.outbox.messages()] == [AlertKind.NODE_SILENT]


def test_new_readings_are_worked_without_waiting_for_the_minute(bench: Bench) -> None:
    bench.store.batches.add(batch())
    bench.turn()
    for seq in range(1, 5):
        bench.clock.advance(seconds=10)
        bench.clock.second += 10.0
        bench.frame(pack(seq))
        bench.turn()
    assert [round((at - START).total_seconds()) for _, _, at in bench.asked] == [0, 10, 20, 30, 40]


def test_a_batch_that_ends_is_worked_once_more_at_its_end(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.turn()
    bench.clock.advance(seconds=30)
    bench.store.batches.add_event(running.id, Event(bench.clock.now(), EventKind.END))
    bench.clock.advance(seconds=5)
    bench.turn()
    assert [outlook.at for outlook in bench.store.outlooks.of(running.id)] == [START, START + timedelta(seconds=30)]
    bench.clock.advance(minutes=10)
    bench.turn(3)
    assert len(bench.asked) == 2


def test_a_restart_goes_on_where_the_store_stands(bench: Bench) -> None:
    bench.store.batches.add(batch())
    bench.frame(pack())
    bench.turn()
    bench.collector = bench.another()
    bench.clock.advance(seconds=30)
    bench.turn(2)
    assert len(bench.asked) == 1, "its next outlook is due a minute after the last one, not at the start"
    bench.clock.advance(seconds=30)
    bench.turn()
    assert bench.asked[-1][1].air_temp_c.t_s.size == 1


@pytest.mark.parametrize("answer", ["raise", "nan"])
def test_a_fault_in_one_batchs_step_leaves_the_others_and_the_readings_alone(
    bench: Bench, caplog: pytest.LogCaptureFixture, answer: str
) -> None:
    bad = bench.store.batches.add(batch(name="bad"))
    good = bench.store.batches.add(batch(name="good"))

    def estimate(asked: Batch, track: Track, at: datetime) -> Outlook:
        if asked.id == bad.id and answer == "raise":
            raise ZeroDivisionError("a fault of the estimator")
        nan = float("nan")
        return Outlook(at, State.RISING, rise_pct=Band(nan, nan, nan) if asked.id == bad.id else None)

    bench.answer = estimate
    with caplog.at_level(logging.ERROR):
        for seq in range(1, 4):
            bench.frame(pack(seq))
            bench.turn(2)
            bench.clock.advance(minutes=1)
    outlook = bench.store.outlooks.latest(bad.id)
    assert outlook is not None
    assert outlook.why == NoForecast.NOT_ESTIMATED
    assert len(bench.store.outlooks.of(good.id)) == 3
    assert len(bench.store.readings.of(bad)) == 6
    assert bench.faults()[f"batch {bad.id}", STEP_FAULT] == 3
    assert len([record for record in caplog.records if record.exc_info]) == 1


def test_a_fault_of_the_store_ends_the_collector(bench: Bench) -> None:
    bench.store.batches.add(batch())
    bench.frame(pack())
    bench.store.close()
    with pytest.raises(StoreError):
        bench.turn()


def test_the_loop_ends_when_told_and_takes_in_what_waits(tmp_path: Path, clock: SetClock) -> None:
    inbox: queue.Queue[Item] = queue.Queue()
    acknowledged: list[bytes] = []
    stop = threading.Event()
    stop.set()
    inbox.put(Frame(pack(), clock.now(), "line", KEY, acknowledged.append))
    with Store(tmp_path / "loop.sqlite") as store:
        Collector(
            store, inbox, clock, lambda batch, track, at: Outlook(at, State.RISING), rules=Rules(), reader=Reader(UTC)
        ).run(stop)
        assert len(acknowledged) == 1
        assert len(store.nodes.all()) == 1


def test_what_called_for_a_batch_that_was_taken_back_is_closed(bench: Bench) -> None:
    kept = bench.store.batches.add(batch(events=()))
    bench.turn()
    now = bench.clock.now()
    bench.store.alerts.save([Alert(Subject.batch(kept.id), AlertKind.READY, 1, now, now)], [], [], now)
    bench.store.batches.take_back(kept.id, now)
    bench.turn()
    assert bench.store.alerts.open_of_ended() == []
    assert bench.store.alerts.active() == []
