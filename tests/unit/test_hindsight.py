"""The lesson of a finished batch: what it must hold, and when there is none."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from made_up import batch_of, readings_of

from monitor.dough.curve import SHAPE_NAMES
from monitor.dough.hindsight import lesson_of
from monitor.dough.learning import PEAK, READY, Lesson, learned_from
from monitor.dough.track import EMPTY, Track, track_from_readings
from monitor.recipe.batch import Batch, Event, EventKind

RATE = SHAPE_NAMES.index("log_rate")


def track_of(batch: Batch, **how: float) -> Track:
    return track_from_readings(batch, readings_of(batch, **how))


def taught(day: int = 0, earlier=(), **how: float) -> Lesson:
    batch = batch_of("Hazel loaf", day=day, hours=3.0)
    found = lesson_of(batch, track_of(batch, seed=day + 1, **how), batch.ended_at, earlier)
    assert found is not None
    return found


def test_a_lesson_knows_the_dough_better_than_the_prior_it_came_from():
    found = taught()
    assert found.recipe == "hazel loaf"
    assert found.is_understood
    after, before = (np.diag(np.array(each)) for each in (found.covariance, found.prior_covariance))
    assert after[RATE] < 0.2 * before[RATE]
    assert np.linalg.eigvalsh(np.array(found.covariance))[0] > 0.0


def test_a_quicker_dough_teaches_a_quicker_pace():
    slow, quick = (learned_from([taught(per_h=per_h)], batch_of("Hazel loaf", day=1)) for per_h in (0.5, 1.0))
    assert quick.speed > 1.3 * slow.speed


def test_the_forecasts_made_at_the_time_are_held_against_what_came():
    found = taught()
    ready = [miss for miss in found.misses if miss.what == READY]
    assert [miss.share for miss in ready] == [0.25, 0.50, 0.75]
    assert all(miss.is_held == (abs(miss.off) <= 1.0) for miss in ready)


def test_the_same_batch_teaches_the_same_whatever_came_after_it_and_in_whatever_order():
    batch = batch_of("Hazel loaf", hours=2.5)
    readings = readings_of(batch, hours=4.0)
    whole = lesson_of(batch, track_from_readings(batch, readings[::-1]), batch.ended_at)
    during = [reading for reading in readings if reading.measured_at <= batch.ended_at]
    assert whole == lesson_of(batch, track_from_readings(batch, during), batch.ended_at)


def test_earlier_lessons_shape_the_forecasts_but_not_what_the_dough_was():
    first = [taught(day) for day in range(3)]
    alone, after = taught(5), taught(5, first)
    assert alone.mean == after.mean
    assert alone.covariance == after.covariance
    assert [miss.off for miss in alone.misses] != [miss.off for miss in after.misses]


def test_a_batch_that_was_not_over_when_this_one_began_did_not_shape_its_forecasts():
    later = replace(taught(4), ended_at=batch_of("x", day=5).started_at + timedelta(hours=1))
    assert taught(5) == taught(5, [later])


def test_a_batch_taken_before_it_was_ready_has_a_lesson_without_that_miss():
    batch = batch_of("Hazel loaf", hours=1.5)
    found = lesson_of(batch, track_of(batch), batch.ended_at)
    assert found is not None
    assert found.misses == ()


@pytest.mark.parametrize("how", [{"per_h": 0.001}, {"hours": 0.2}])
def test_a_dough_that_hardly_rose_has_no_lesson(how):
    batch = batch_of("Hazel loaf", hours=3.0)
    assert lesson_of(batch, track_of(batch, **how), batch.ended_at) is None


def test_without_heights_there_is_no_lesson():
    batch = batch_of("Hazel loaf", hours=3.0)
    track = replace(track_of(batch), distance_mm=EMPTY)
    assert lesson_of(batch, track, batch.ended_at) is None


def test_forecasts_from_before_the_last_fold_are_not_held_against_it():
    batch = batch_of("Hazel loaf", hours=3.0)
    fold = Event(batch.started_at + timedelta(minutes=80), EventKind.FOLD)
    found = lesson_of(replace(batch, events=(fold,)), track_of(batch), batch.ended_at)
    assert found is not None
    assert all(miss.what != PEAK for miss in found.misses)
    assert len(found.misses) <= 3
