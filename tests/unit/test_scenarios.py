"""What if, and the other way round: what must be done for a wanted hour."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.dough.forecast import outlook
from monitor.dough.outlook import Cause, State
from monitor.dough.scenarios import air_for, out_of_cold_for
from monitor.dough.temperature import AirStep
from monitor.dough.track import EMPTY, Series, Track
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel, level_mm, volume_ml

START = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
TUB = Vessel(Shape.RECTANGULAR, (300.0, 60.0), (300.0, 60.0), 250.0, 300.0)  # narrow: it cools within two hours
BATCH = Batch(BatchId(1), "Oat loaf", Stage.FIRST_RISE, START, TUB, Target(100.0))
NOW = START + timedelta(minutes=25)


def sensor(t_s, value):
    return Series(t_s, np.full(t_s.size, value) if np.isscalar(value) else value, np.full(t_s.size, np.nan))


@pytest.fixture(scope="module")
def track():
    t_s = np.arange(0.0, 1501.0, 30.0)
    rise = 0.2 * 0.35 * np.logaddexp(0.0, (t_s / 3600.0 - 0.4) / 0.2)
    distance = 300.0 - level_mm(TUB, volume_ml(TUB, 70.0) * (1.0 + rise))
    return Track(sensor(t_s, 24.0), EMPTY, sensor(t_s, 24.0), sensor(t_s, distance))


def hours_to_ready(track, *ahead):
    ready = outlook(BATCH, track, NOW, horizon=timedelta(hours=48), ahead=ahead).ready.p50
    return np.inf if ready is None else (ready - NOW).total_seconds() / 3600.0


def test_warmer_is_sooner_and_cold_is_late(track):
    as_now = hours_to_ready(track)
    assert hours_to_ready(track, AirStep(NOW, 30.0)) < as_now < hours_to_ready(track, AirStep(NOW, 18.0))
    night = (AirStep(NOW, 4.0), AirStep(NOW + timedelta(hours=8), 24.0))
    assert as_now + 3.0 < hours_to_ready(track, *night) < as_now + 9.0


def test_air_as_now_changes_nothing(track):
    assert hours_to_ready(track, AirStep(NOW, 24.0)) == pytest.approx(hours_to_ready(track), abs=0.01)


def test_the_air_for_a_wanted_hour_brings_it_there(track):
    wanted_at = NOW + timedelta(hours=hours_to_ready(track)) + timedelta(minutes=30)
    scenario = air_for(BATCH, track, NOW, wanted_at)
    assert scenario is not None
    assert 10.0 < scenario.air_temp_c < 24.0
    assert abs(scenario.outlook.ready.p50 - wanted_at) <= timedelta(minutes=2)
    assert scenario.outlook.ready.p05 < wanted_at < scenario.outlook.ready.p95


def test_an_hour_no_air_can_meet_is_said(track):
    assert air_for(BATCH, track, NOW, NOW + timedelta(minutes=5)) is None


def test_out_of_the_refrigerator_for_breakfast(track):
    wanted_at = NOW + timedelta(hours=11)
    scenario = out_of_cold_for(BATCH, track, NOW, wanted_at, in_at=NOW, cold_c=4.0, room_c=24.0)
    assert scenario is not None
    assert NOW < scenario.out_at < wanted_at
    assert abs(scenario.outlook.ready.p50 - wanted_at) <= timedelta(minutes=2)


@pytest.mark.parametrize(
    ("temp_c", "yeast_g", "hours", "cause"),
    [(5.0, 10.0, 5.0, Cause.TOO_COLD), (27.0, 1.0, 3.5, Cause.LITTLE_YEAST), (27.0, 10.0, 3.5, Cause.NO_LIVE_YEAST)],
)
def test_no_rise_has_a_likely_cause(temp_c, yeast_g, hours, cause):
    t_s = np.arange(0.0, hours * 3600.0 + 1.0, 60.0)
    flat = Track(sensor(t_s, temp_c), EMPTY, sensor(t_s, temp_c), sensor(t_s, 230.0 + 0.3 * np.sin(t_s)))
    formula = Formula(flour_g=1000.0, water_g=650.0, salt_g=20.0, instant_yeast_g=yeast_g)
    batch = Batch(BatchId(2), "Flat loaf", Stage.FIRST_RISE, START, TUB, Target(100.0), formula)
    found = outlook(batch, flat, START + timedelta(hours=hours))
    assert found.state is State.NOT_RISING
    assert found.cause is cause
    assert found.state_chance > 0.5
