"""Learning beside the collector: once for each ended batch, the same after a restart, forgotten for good."""

import logging
import queue
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from harness import SetClock, wait_until
from made_up import FIRST_DAY, batch_of, readings_of

from monitor.alerts.dough import Rules
from monitor.collector.learner import LESSON_FAULT, SETTLED, Learner, learn_next
from monitor.collector.loop import Collector
from monitor.dough.curve import SHAPE_NAMES
from monitor.dough.hindsight import lesson_of
from monitor.dough.learning import Lesson, RecipeExperience
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch, Event, EventKind
from monitor.store.store import Store
from monitor.wording.reader import Reader

LATER = FIRST_DAY + timedelta(days=100)


def finished(store: Store, name: str = "Hazel loaf, tub 1", *, day: int = 0, hours: float = 2.5) -> Batch:
    """A batch that rose, was measured and has ended."""
    batch = batch_of(name, day=day)
    store.readings.add(readings_of(batch, hours=hours, seed=day + 1))
    kept = store.batches.add(batch)
    return store.batches.add_event(kept.id, Event(batch.started_at + timedelta(hours=hours), EventKind.END))


def told(batch: Batch, track: object, ended_at: datetime, earlier: object) -> Lesson:
    """A lesson that costs nothing."""
    return Lesson(
        batch.recipe_key, batch.stage, batch.name, batch.started_at, ended_at,
        SHAPE_NAMES, (0.0,) * 9, ((0.0,) * 9,) * 9, (0.0,) * 9, ((0.0,) * 9,) * 9, 0.8, None,
    )  # fmt: skip


def test_an_ended_batch_is_learned_from_once(store: Store) -> None:
    batch = finished(store)
    looked_at = learn_next(store, LATER)
    assert looked_at is not None
    assert looked_at.id == batch.id
    assert [lesson.name for lesson in store.lessons.all("hazel loaf")] == ["Hazel loaf, tub 1"]
    assert learn_next(store, LATER) is None


def test_a_lesson_comes_back_from_the_store_as_it_was(store: Store) -> None:
    finished(store)
    made: list[Lesson | None] = []

    def teach(batch, track, ended_at, earlier):
        made.append(lesson_of(batch, track, ended_at, earlier))
        return made[0]

    learn_next(store, LATER, teach)
    assert store.lessons.all() == made


def test_readings_still_on_their_way_are_waited_for(store: Store) -> None:
    batch = finished(store)
    assert batch.ended_at is not None
    assert learn_next(store, batch.ended_at + SETTLED - timedelta(seconds=1), told) is None
    assert learn_next(store, batch.ended_at + SETTLED, told) is not None


def test_running_batches_teach_nothing_yet(store: Store) -> None:
    store.batches.add(batch_of("Hazel loaf"))
    assert learn_next(store, LATER, told) is None


def test_a_fault_in_learning_is_counted_once_and_the_next_batch_is_learned_from(
    store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    first, second = finished(store, day=0), finished(store, day=1)

    def teach(batch, track, ended_at, earlier):
        if batch.id == first.id:
            raise ZeroDivisionError("invented")
        return told(batch, track, ended_at, earlier)

    with caplog.at_level(logging.CRITICAL):
        for _ in range(3):
            learn_next(store, LATER, teach)
    assert [(fault.reason, fault.count) for fault in store.nodes.faults()] == [(LESSON_FAULT, 1)]
    assert [lesson.started_at for lesson in store.lessons.all()] == [second.started_at]


def test_what_was_forgotten_is_not_learned_again(store: Store) -> None:
    finished(store, "Hazel loaf", day=0)
    finished(store, "Walnut loaf", day=1)
    while learn_next(store, LATER, told) is not None:
        pass
    finished(store, "Hazel loaf", day=2)  # ended, not learned from yet: forgotten as well
    assert store.lessons.forget("hazel loaf") == 1
    assert learn_next(store, LATER, told) is None
    assert [lesson.recipe for lesson in store.lessons.all()] == ["walnut loaf"]
    finished(store, "Hazel loaf", day=3)
    assert learn_next(store, LATER, told) is not None
    assert store.lessons.forget() == 2
    assert store.lessons.all() == []


def test_lessons_about_another_curve_are_learned_anew(store: Store) -> None:
    finished(store)
    learn_next(store, LATER, told)
    with sqlite3.connect(store.path) as connection:
        connection.execute("UPDATE lesson SET curve = 'of an older version'")
    connection.close()
    assert store.lessons.all() == []
    assert learn_next(store, LATER, told) is not None
    assert len(store.lessons.all()) == 1


def test_a_batch_is_helped_by_those_that_were_over_when_it_began(store: Store) -> None:
    finished(store, day=0)
    finished(store, day=2)
    while learn_next(store, LATER, told) is not None:
        pass
    between = batch_of("hazel LOAF , tub 9", day=1)
    assert [lesson.started_at for lesson in store.lessons.before(between)] == [FIRST_DAY]
    assert len(store.lessons.before(replace(between, started_at=LATER))) == 2
    assert store.lessons.before(batch_of("Walnut loaf", day=9)) == ()


def test_the_collector_hands_what_was_learned_to_the_estimator(store: Store) -> None:
    finished(store)
    learn_next(store, LATER)
    running = store.batches.add(batch_of("Hazel loaf, tub 2", day=1))
    clock = SetClock(running.started_at + timedelta(minutes=5))
    asked: list[RecipeExperience | None] = []

    def estimate(batch, track, at, *, learned=None):
        asked.append(learned)
        return Outlook(at, State.RISING)

    def turned() -> RecipeExperience | None:
        collector = Collector(store, queue.Queue(), clock, estimate, rules=Rules(), reader=Reader(UTC))
        clock.advance(minutes=2)
        collector.turn(0.0)
        collector.turn(0.0)
        return asked[-1]

    first, restarted = turned(), turned()
    assert first is not None
    assert restarted is not None
    assert first.n_batches == restarted.n_batches == 1
    assert (first.prior.mean == restarted.prior.mean).all()
    store.lessons.forget()
    assert turned() is None


def test_the_learner_works_beside_the_collector(tmp_path: Path) -> None:
    with Store(tmp_path / "proofing.sqlite") as store:
        finished(store)
        learner = Learner(store.path, SetClock(LATER))
        learner.start()
        try:
            wait_until(lambda: len(store.lessons.all()) == 1, "the lesson")
        finally:
            learner.stop()
