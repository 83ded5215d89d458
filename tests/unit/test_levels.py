"""From distances to levels: what hands disturb is left out, to the second; a sensor and an eye see a dome otherwise."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from made_up import FIRST_DAY, TUB, batch_of, rise_frac

from monitor.dough.forecast import outlook
from monitor.dough.gassing import MIXED_VOID_FRAC, start_volume_ml
from monitor.dough.observations import (
    BALL_OVER,
    LASTING_SD_MM,
    WHOLE_BALL_FRAC,
    Observations,
    _spans,
    _start_error,
    observations,
    step_sd_mm,
)
from monitor.dough.track import Series, Track
from monitor.recipe.batch import Event, EventKind
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import level_mm, volume_ml, width_mm

LEVEL_MM = 80.0
TOUCHED_S = 1800.0


def seen(t_s: np.ndarray, levels_mm: np.ndarray, kind: EventKind | None = None) -> Observations:
    """What a sensor says of levels, in a batch that was touched at ``TOUCHED_S`` in some way."""
    events = () if kind is None else (Event(FIRST_DAY + timedelta(seconds=TOUCHED_S), kind),)
    batch = replace(batch_of("Hazel loaf"), events=events)
    distance = 300.0 - levels_mm
    found = observations(batch, Track(distance_mm=Series(t_s, distance, np.full(t_s.size, np.nan))), float(t_s[-1]))
    assert found is not None
    return found


def test_a_dome_lifts_what_a_sensor_sees_and_lowers_what_an_eye_does() -> None:
    t_s = np.arange(0.0, 900.0, 15.0)
    by_sensor = Series(t_s, np.full(t_s.size, 300.0 - LEVEL_MM), np.full(t_s.size, np.nan))
    by_eye = Series(np.array([600.0]), np.array([LEVEL_MM]), np.array([2.0]))
    found = observations(batch_of("Hazel loaf"), Track(distance_mm=by_sensor, level_mm=by_eye), 900.0)
    assert found is not None
    assert found.start_volume_ml == pytest.approx(float(volume_ml(TUB, LEVEL_MM)), rel=1e-9)
    # the middle of a paraboloid stands half the dome over its mean level, the edge half of it below
    area_mm2 = 1000.0 * (volume_ml(TUB, LEVEL_MM + 0.5) - volume_ml(TUB, LEVEL_MM - 0.5))
    worth = 0.5 * width_mm(TUB, LEVEL_MM) * area_mm2 / (1000.0 * found.start_volume_ml)
    is_by_eye = found.t_s == 600.0
    assert np.count_nonzero(is_by_eye) == 1
    assert found.dome_frac[is_by_eye] == pytest.approx(-worth)
    assert found.dome_frac[~is_by_eye] == pytest.approx(np.full(found.t_s.size - 1, worth))


@pytest.mark.parametrize("kind", [EventKind.FOLD, EventKind.POKE, EventKind.LID])
@pytest.mark.parametrize("disturbed_s", [(-44.0, -30.0), (-15.0, 0.0), (1.0, 30.0), (100.0, 149.0)])
def test_hands_around_an_event_are_left_out(kind: EventKind, disturbed_s: tuple[float, float]) -> None:
    t_s = np.arange(0.0, 2700.0, 1.0)
    since_s = t_s - TOUCHED_S
    is_disturbed = (since_s >= disturbed_s[0]) & (since_s <= disturbed_s[1])
    # of the rest of what is left out only a second in sixty, so that the hands would be a span's median
    kept = is_disturbed | (since_s < -46.0) | (since_s > 151.0)
    found = seen(t_s[kept], np.where(is_disturbed, LEVEL_MM + 20.0, LEVEL_MM)[kept], kind)
    assert np.max(np.abs(found.rise_frac)) < 1e-9
    between = (found.t_s > TOUCHED_S - 45.0) & (found.t_s < TOUCHED_S + 150.0)
    assert not np.any(between)


@pytest.mark.parametrize("since_s", [-46.0, 151.0])
def test_what_lies_just_outside_is_believed(since_s: float) -> None:
    t_s = np.concatenate([np.arange(0.0, 1500.0, 15.0), [TOUCHED_S + since_s]])
    found = seen(t_s, np.full(t_s.size, LEVEL_MM), EventKind.POKE)
    assert found.t_s[-1] == TOUCHED_S + since_s


def test_a_tub_that_is_moved_hides_nothing() -> None:
    t_s = np.arange(0.0, TOUCHED_S + 1.0, 15.0)
    assert seen(t_s, np.full(t_s.size, LEVEL_MM), EventKind.MOVE).t_s[-1] > TOUCHED_S - 60.0


@pytest.mark.parametrize("sd_mm", [0.3, 0.4, 0.5, 1.0])
def test_what_averaging_leaves_of_a_sensors_steps(sd_mm: float) -> None:
    """Against the mean of many noisy readings rounded to whole millimetres, over where the level may stand."""
    steps = np.arange(-8.0, 9.0)
    level = np.linspace(0.0, 1.0, 200, endpoint=False)
    noise = np.linspace(-5.0, 5.0, 4001)
    weights = np.exp(-0.5 * noise**2) / np.sum(np.exp(-0.5 * noise**2))
    lasting = np.round(level[:, np.newaxis] + sd_mm * noise) @ weights - level
    assert step_sd_mm(steps, sd_mm) == pytest.approx(float(np.sqrt(np.mean(lasting**2))), rel=0.05, abs=0.002)


def test_a_span_doubts_its_level_by_the_noise_that_is_in_it() -> None:
    noise = np.random.default_rng(5).normal(0.0, 4.0, 60 * 60)
    _, levels, sds = _spans(np.arange(noise.size) * 1.0, noise, 0.8)
    assert float(np.mean(sds)) == pytest.approx(float(np.hypot(np.std(levels), LASTING_SD_MM)), rel=0.1)


def test_a_ball_stands_over_its_start_the_more_the_more_of_a_ball_it_was() -> None:
    batch = replace(batch_of("Hazel loaf"), formula=None)
    flat, half, whole, more = (
        _start_error(batch, 2000.0, 0.0, share * WHOLE_BALL_FRAC, 0.0) for share in (0.0, 0.5, 1.0, 3.0)
    )
    assert (flat[0], half[0], whole[0]) == pytest.approx((0.0, 0.5 * BALL_OVER[0], BALL_OVER[0]))
    assert flat[1] < half[1] < whole[1]
    assert more == whole


STIFF = Formula(flour_g=1000.0, water_g=550.0, salt_g=20.0, instant_yeast_g=10.0)


def test_a_dough_that_never_sank_started_where_it_was_first_seen() -> None:
    batch = replace(batch_of("Hazel loaf"), formula=STIFF)
    weighed_ml = start_volume_ml(STIFF, MIXED_VOID_FRAC)
    at_once, late = (_start_error(batch, 1.2 * weighed_ml, seen_s, 0.0, 0.0) for seen_s in (150.0, 3600.0))
    assert at_once[0] < 0.1  # half way between what the scale says and what was seen
    assert at_once[1] < 0.05
    assert 0.15 < late[0] < 0.2  # by then it had risen
    assert late[1] > at_once[1]
    ball = _start_error(batch, 1.2 * weighed_ml, 150.0, WHOLE_BALL_FRAC, 0.0)
    assert ball[0] == pytest.approx(0.2)  # its height says little


def test_a_dome_to_come_does_not_move_the_start() -> None:
    """A dough that lies flat and then domes: at its target it is told neither higher nor lower than it stands."""
    batch = replace(batch_of("Hazel loaf"), formula=STIFF)
    t_s = np.arange(0.0, 9000.0, 60.0)
    rise = rise_frac(t_s, per_h=0.55)
    level = np.array(level_mm(TUB, start_volume_ml(STIFF, MIXED_VOID_FRAC) * (1.0 + rise)))
    dome_mm = 0.14 * width_mm(TUB, level) * np.tanh(rise / 0.3)
    distance_mm = 300.0 - level - 0.5 * dome_mm + np.random.default_rng(2).normal(0.0, 0.8, t_s.size)
    unsaid = np.full(t_s.size, np.nan)
    air = Series(t_s, np.full(t_s.size, 27.0), unsaid)
    track = Track(distance_mm=Series(t_s, distance_mm, unsaid), air_temp_c=air)
    found = outlook(batch, track, batch.started_at + timedelta(seconds=float(t_s[-1])))
    assert found.start_volume_ml == pytest.approx(start_volume_ml(STIFF, MIXED_VOID_FRAC), rel=0.03)
