"""A dough that does not rise: when that is said, why, and what is said no more."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from made_up import batch_of

from monitor.dough.curve import Timeline
from monitor.dough.forecast import outlook
from monitor.dough.outlook import Cause, Moments, Outlook, State
from monitor.dough.patience import in_a_room
from monitor.dough.track import EMPTY, Series, Track
from monitor.recipe.batch import Batch, Event, EventKind, Stage, Target
from monitor.recipe.formula import Formula

HOURS = 20
LEAN = Formula(flour_g=500.0, water_g=350.0, salt_g=10.0, instant_yeast_g=5.0)
STRAIGHT = replace(batch_of("Hazel loaf"), formula=LEAN)
STARTER = replace(
    batch_of("Rye starter"),
    stage=Stage.PREFERMENT,
    target=Target(None),
    formula=Formula(flour_g=100.0, water_g=100.0, sourdough_g=40.0),
)


def looked_at(
    batch: Batch, hours: float, *, temp_c: float = 24.0, drift_mm_per_h: float = 0.0, moved_mm: float = 0.0
) -> Outlook:
    """A dough that stands at 70 mm for hours, as a sensor that drifts or is moved sees it."""
    t_s = np.arange(0.0, HOURS * 3600.0 + 1.0, 60.0)
    noise = np.random.default_rng(3).normal(0.0, 0.8, t_s.size)
    drift_mm = np.clip(drift_mm_per_h * t_s / 3600.0, -3.0, 3.0)

    def sensor(values: np.ndarray) -> Series:
        return Series(t_s, values, np.full(t_s.size, np.nan))

    temp = sensor(np.full(t_s.size, temp_c))
    track = Track(temp, EMPTY, temp, sensor(230.0 - drift_mm + noise - moved_mm * (t_s > 3600.0)))
    return outlook(batch, track, batch.started_at + timedelta(hours=hours))


def test_a_dough_without_live_yeast_gets_no_time() -> None:
    found = looked_at(STRAIGHT, 4.0)
    assert (found.state, found.cause) == (State.NOT_RISING, Cause.NO_LIVE_YEAST)
    assert found.ready == found.peak == Moments()
    assert found.fan == ()


@pytest.mark.parametrize("drift_mm_per_h", [-1.0, 1.0, 3.0])
def test_a_sensor_that_drifts_does_not_bring_it_to_life(drift_mm_per_h: float) -> None:
    for hours in np.arange(4.0, 9.0):
        found = looked_at(STRAIGHT, float(hours), drift_mm_per_h=drift_mm_per_h)
        assert (found.state, found.ready.p50) == (State.NOT_RISING, None)


def test_nor_does_a_moved_tub() -> None:
    assert looked_at(STRAIGHT, 5.0, moved_mm=10.0).state is State.NOT_RISING


def test_patience_goes_by_what_is_in_the_dough() -> None:
    little = replace(LEAN, instant_yeast_g=0.5)
    waited_h = {
        name: next(h for h in np.arange(0.5, HOURS, 0.5) if looked_at(batch, float(h)).state is State.NOT_RISING)
        for name, batch in (
            ("straight", STRAIGHT),
            ("little", replace(STRAIGHT, formula=little)),
            ("starter", STARTER),
            ("unweighed", replace(STRAIGHT, formula=None)),
        )
    }
    assert waited_h["straight"] < 2.5 < waited_h["starter"]
    assert waited_h["straight"] < 2.5 < waited_h["little"]
    assert waited_h["unweighed"] > 5.0, "it may be a sourdough"


def test_a_little_yeast_is_told_from_none_that_lives() -> None:
    little = replace(STRAIGHT, formula=replace(LEAN, instant_yeast_g=0.5))
    unweighed = replace(STRAIGHT, formula=None)
    none = replace(STRAIGHT, formula=replace(LEAN, instant_yeast_g=0.0))
    causes = {batch: looked_at(batch, HOURS).cause for batch in (little, STRAIGHT, unweighed, none)}
    assert causes == {
        little: Cause.LITTLE_YEAST, STRAIGHT: Cause.NO_LIVE_YEAST, unweighed: Cause.NO_LIVE_YEAST,
        none: Cause.NO_LIVE_YEAST,
    }  # fmt: skip


def test_a_starter_in_its_lag_is_left_in_peace() -> None:
    assert {looked_at(STARTER, hours).state for hours in (0.5, 1.0, 2.0)} == {State.NO_RISE}


def test_a_cold_dough_is_cold_and_keeps_its_time() -> None:
    found = looked_at(STRAIGHT, 4.5, temp_c=8.0)
    assert (found.state, found.cause) == (State.NOT_RISING, Cause.TOO_COLD)
    assert found.ready.p25 is not None
    assert looked_at(replace(STRAIGHT, stage=Stage.RETARD), 4.5, temp_c=8.0).state is not State.NOT_RISING


def test_a_room_is_as_warm_for_a_leaven_as_that_leaven_takes_it() -> None:
    cold = Timeline(np.arange(4.0), np.full(3, -5.0), np.zeros((3, 1)), np.empty(0, dtype=np.intp))
    by_yeast, by_sourdough = (in_a_room(cold, formula).log_gamma for formula in (LEAN, STARTER.formula))
    assert np.all(by_yeast > cold.log_gamma)
    assert np.all(by_yeast < 0.0), "a room is cooler than the 27 C that rates are relative to"
    assert not np.any(by_yeast == by_sourdough)


def test_a_dough_that_is_not_seen_is_not_given_up() -> None:
    t_s = np.arange(0.0, 6 * 3600.0, 60.0)
    nan = np.full(t_s.size, np.nan)
    temp = Series(t_s, np.full(t_s.size, 24.0), nan)
    lidded = np.where(t_s > 1800.0, 46.0, 230.0) + np.random.default_rng(3).normal(0.0, 0.3, t_s.size)
    track = Track(temp, EMPTY, temp, Series(t_s, lidded, nan))
    assert outlook(STRAIGHT, track, STRAIGHT.started_at + timedelta(hours=5)).state is not State.NOT_RISING


def test_a_fold_brings_it_no_rise() -> None:
    folded = replace(STRAIGHT, events=(Event(STRAIGHT.started_at + timedelta(hours=1), EventKind.FOLD),))
    assert looked_at(folded, 6.0).state is State.NOT_RISING


def proof_of_a_ball(hours: float, *, is_live: bool, ball_mm: float) -> Outlook:
    """A shaped piece that sinks to the wall as fast as it rises, seen until some hours after it was put down."""
    batch = replace(STRAIGHT, stage=Stage.FINAL_PROOF)
    t_s = np.arange(0.0, 6 * 3600.0, 60.0)
    nan = np.full(t_s.size, np.nan)
    temp = Series(t_s, np.full(t_s.size, 22.0), nan)
    rise_mm = 30.0 * (t_s / 3600.0) if is_live else 0.0
    level_mm = 50.0 + rise_mm + ball_mm * np.exp(-t_s / 3000.0)
    noise = np.random.default_rng(3).normal(0.0, 0.5, t_s.size)
    track = Track(temp, EMPTY, temp, Series(t_s, 300.0 - level_mm + noise, nan))
    return outlook(batch, track, batch.started_at + timedelta(hours=hours))


@pytest.mark.parametrize("ball_mm", [30.0, 60.0, 80.0])
def test_a_ball_that_sinks_as_it_rises_is_not_given_up(ball_mm: float) -> None:
    found = {proof_of_a_ball(hours, is_live=True, ball_mm=ball_mm).state for hours in (1.02, 1.25, 1.5, 2.0)}
    assert State.NOT_RISING not in found


def test_a_piece_that_sinks_a_little_and_no_more_is_given_up() -> None:
    found = proof_of_a_ball(2.0, is_live=False, ball_mm=5.0)
    assert (found.state, found.ready) == (State.NOT_RISING, Moments())


def test_a_lid_does_not_bring_it_back_to_life() -> None:
    t_s = np.arange(0.0, 8 * 3600.0, 60.0)
    nan = np.full(t_s.size, np.nan)
    temp = Series(t_s, np.full(t_s.size, 24.0), nan)
    noise = np.random.default_rng(3).normal(0.0, 0.8, t_s.size)
    lidded = np.where(t_s > 5 * 3600.0, 46.0, 230.0) + noise
    track = Track(temp, EMPTY, temp, Series(t_s, lidded, nan))
    for hours in (4.5, 6.0, 7.5):
        found = outlook(STRAIGHT, track, STRAIGHT.started_at + timedelta(hours=hours))
        assert (found.state, found.ready) == (State.NOT_RISING, Moments())
