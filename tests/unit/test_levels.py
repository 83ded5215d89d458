"""From distances to levels: what hands disturb is left out, to the second, and the dome is taken off, not put on."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from made_up import FIRST_DAY, TUB, batch_of

from monitor.dough.observations import Observations, observations
from monitor.dough.track import Series, Track
from monitor.recipe.batch import Event, EventKind
from monitor.recipe.vessel import volume_ml

LEVEL_MM = 80.0
DOME_MM = 0.5
TOUCHED_S = 1800.0


def seen(t_s: np.ndarray, level_mm: np.ndarray, kind: EventKind | None = None) -> Observations:
    """What a sensor says of levels, in a batch that was touched at ``TOUCHED_S`` in some way."""
    events = () if kind is None else (Event(FIRST_DAY + timedelta(seconds=TOUCHED_S), kind),)
    batch = replace(batch_of("Hazel loaf"), events=events)
    distance = 300.0 - level_mm - DOME_MM  # the sensor sees the top of the dome
    found = observations(batch, Track(distance_mm=Series(t_s, distance, np.full(t_s.size, np.nan))), float(t_s[-1]))
    assert found is not None
    return found


def test_a_level_is_the_mean_of_a_dome_whose_middle_is_seen() -> None:
    t_s = np.arange(0.0, 900.0, 15.0)
    found = seen(t_s, np.full(t_s.size, LEVEL_MM))
    assert found.start_volume_ml == pytest.approx(float(volume_ml(TUB, LEVEL_MM)), rel=1e-9)


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
