"""What bakers are used to, against what the formula and the temperature alone lead to expect, before any reading.

Each figure is common practice, no source: the usual must be possible, and where a range is given likely.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.dough.forecast import outlook
from monitor.dough.heat import vessel_time_constant_s
from monitor.dough.outlook import Outlook, State
from monitor.dough.track import EMPTY, Series, Track
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
BUCKET = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 220.0)

# All its flour, a third of it from a preferment with 0.5 % instant yeast, which has doubled (as recipes count it): to
# 0.6 % comes as much again as went into the preferment.
LEAN = Formula(flour_g=1000.0, water_g=650.0, salt_g=20.0, instant_yeast_g=7.7)
STIFF = Formula(flour_g=1000.0, water_g=600.0, instant_yeast_g=5.0)
LIQUID = Formula(flour_g=1000.0, water_g=1000.0, instant_yeast_g=5.0)

COMMON_PRACTICE = "common practice, no source"


def steady(value: float, seconds: float) -> Series:
    t_s = np.arange(0.0, seconds + 1.0, 20.0)
    return Series(t_s, np.full(t_s.size, value), np.full(t_s.size, np.nan))


def expected(formula: Formula, stage: Stage, target_pct: float | None, temp_c: float) -> Outlook:
    """A minute after the start, dough and air at one temperature, no height read."""
    batch = Batch(BatchId(1), "usual", stage, START, BUCKET, Target(target_pct), formula)
    track = Track(air_temp_c=steady(temp_c, 60.0), dough_temp_c=steady(temp_c, 60.0))
    return outlook(batch, track, START + timedelta(minutes=1), horizon=timedelta(hours=48))


def refrigerated(formula: Formula, start_c: float, air_c: float, hours: float) -> Outlook:
    """After some hours in a refrigerator, cooling as a dough of its mass does in its vessel, no height read."""
    batch = Batch(BatchId(1), "usual", Stage.PREFERMENT, START, BUCKET, Target(None), formula)
    t_s = np.arange(0.0, hours * 3600.0 + 1.0, 60.0)
    cooling_c = air_c + (start_c - air_c) * np.exp(-t_s / vessel_time_constant_s(BUCKET, formula.dough_g))
    track = Track(EMPTY, EMPTY, Series(t_s, cooling_c, np.full(t_s.size, np.nan)))
    return outlook(batch, track, START + timedelta(hours=hours), horizon=timedelta(days=14))


def risen_pct(found: Outlook, minutes: float) -> tuple[float, float, float]:
    """The rise after so many minutes: 5, 50 and 95 %."""
    at_min = [(point.at - START).total_seconds() / 60.0 for point in found.fan]
    bands = [[getattr(point, name) for point in found.fan] for name in ("p05", "p50", "p95")]
    low, middle, high = (float(np.interp(minutes, at_min, band)) for band in bands)
    return low, middle, high


@pytest.mark.parametrize("temp_c", [24.0, 25.5, 27.0])
def test_ninety_minutes_for_a_first_rise(temp_c: float) -> None:
    """Common practice, no source: 90 minutes bring a lean dough to a usable first rise, 60 to 120 %.

    A third of its flour comes from a day-old preferment, it has about 0.6 % instant yeast and leaves the mixer at 24 to
    27 C. The middle is to lie in that range or within a quarter of it.
    """
    _, middle, _ = risen_pct(expected(LEAN, Stage.FIRST_RISE, 100.0, temp_c), 90.0)
    assert 0.75 * 60.0 <= middle <= 1.25 * 120.0, COMMON_PRACTICE


@pytest.mark.parametrize(
    ("room_c", "minutes"), [(20.0, 90.0), (20.0, 120.0), (22.0, 90.0), (22.0, 120.0), (24.0, 90.0)]
)
def test_an_hour_and_a_half_to_two_hours_for_the_final_proof(room_c: float, minutes: float) -> None:
    """Common practice, no source: the same dough, shaped, proofs 90 to 120 minutes at room temperature, to 50 to 75 %.

    A compendium has 30 to 90 minutes (seen), and so has the law: half to three quarters of the time to double. The
    usual rise is to be possible after either time. Two hours at 24 C, its warmest and longest, are by the law too long:
    they bring it to 80 to 190 %.
    """
    low, _, high = risen_pct(expected(LEAN, Stage.FINAL_PROOF, 75.0, room_c), minutes)
    assert low <= 75.0, COMMON_PRACTICE
    assert high >= 50.0, COMMON_PRACTICE


@pytest.mark.parametrize("formula", [STIFF, LIQUID], ids=["stiff", "liquid"])
@pytest.mark.parametrize("start_c", [22.0, 25.0])
@pytest.mark.parametrize("air_c", [4.0, 5.0])
def test_a_day_in_the_refrigerator_for_a_preferment(air_c: float, start_c: float, formula: Formula) -> None:
    """Common practice, no source: with 0.5 % instant yeast it is ripe after 24 h in the cold, and not yet spent.

    Ripe: past half of the rise that it would come to in the warm. Not spent: its peak not surely over. Both must be
    possible within the 90 % interval.

    Here practice and sources part. A culinary reference has fermentation virtually stop below 10 C (seen), and the
    cardinal card of gas production, whose least temperature of 2 C is a judgement, leaves 1 to 2 % of the rate at
    27 C. So the prior's middle course has such a preferment at some 40 to 70 % of rise after a day, most of it from the
    time it took to cool, and its peak days away; its very peak after a day lies outside the interval where it is cold.
    A small one cools sooner: of 300 g flour in this bucket at 4 C even the half is missed. The card was not bent to
    meet the practice.
    """
    warm = expected(formula, Stage.PREFERMENT, None, 25.0)
    full_pct = max(point.p50 for point in warm.fan)
    found = refrigerated(formula, start_c, air_c, 24.0)
    assert found.rise_pct is not None
    assert found.rise_pct.p95 >= 0.5 * full_pct, COMMON_PRACTICE
    assert found.past_peak_chance < 0.95, COMMON_PRACTICE
    assert found.state is not State.PAST_PEAK
