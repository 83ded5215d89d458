"""How long doughs take by dose, inoculum, stage and warmth: what schools and bakers say, before any reading.

Each row asks that the 90 % interval of the forecast contains the whole range, that its ends are at most a factor 2.5
apart, and that its middle lies in the range or within a quarter of it. Where honest doubt is wider, the row says why.
Rows marked as fitted test the code, not the law behind it: that was set on the same figures.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from fact import Seen

from monitor.dough.forecast import outlook
from monitor.dough.gassing import leavening, osmotic_factor, osmotic_pressure_atm
from monitor.dough.heat import dough_temp_from_air
from monitor.dough.kinetics import GASSING, equivalent_hours, relative_rate
from monitor.dough.prior import prior_of
from monitor.dough.track import Series, Track
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
BUCKET = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 220.0)
TIN = Vessel(Shape.RECTANGULAR, (200.0, 100.0), (220.0, 115.0), 110.0)
MOST_APART = 2.5
HALF, DOUBLE, PEAK = 50.0, 100.0, None

PRACTICE = "common practice, no source"
SCHOOL = "French Culinary Institute, Fundamental Techniques of Classic Bread Baking, preferment table; a class quiz"
RYE = "instructions of a baking instructor for rye sours in one stage"
PAN = "Freilich 1949, Dubois & Vetter 1987, quoted by Siffring & Bruinsma 1993, Cereal Chem. 70, 351"
CELLS = "handbook findings on a teaching page: cell counts in dough at 27 C"
STRAINS = "leavening capacity of a control strain, Appl. Environ. Microbiol., table"


def wheat(**grams: float) -> Formula:
    """A kilogram of flour, 65 % water, 2 % salt, and what leavens it."""
    return Formula(**({"flour_g": 1000.0, "water_g": 650.0, "salt_g": 20.0} | grams))


def feed(ratio: float, water: float = 1.0) -> Formula:
    """A starter fed with ``ratio`` times its weight of flour, and water on the flour."""
    return Formula(flour_g=100.0, water_g=100.0 * water, sourdough_g=100.0 / ratio)


def steady(value: float) -> Series:
    return Series(np.array([0.0]), np.array([value]), np.array([np.nan]))


def hours_of(
    formula: Formula, stage: Stage, target_pct: float | None, dough_c: float, air_c: float, vessel: Vessel = BUCKET
) -> tuple[float, float, float]:
    """Hours until ready, by the formula and one temperature alone: 5, 50 and 95 %."""
    batch = Batch(BatchId(1), "row", stage, START, vessel, Target(target_pct), formula)
    track = Track(air_temp_c=steady(air_c), dough_temp_c=steady(dough_c))
    ready = outlook(batch, track, START, horizon=timedelta(hours=72)).ready
    low, middle, high = (
        np.inf if at is None else (at - START).total_seconds() / 3600.0 for at in (ready.p05, ready.p50, ready.p95)
    )
    return low, middle, high


@dataclass(frozen=True)
class Row:
    """A range of hours that somebody gives for a dough at one temperature."""

    what: str
    formula: Formula
    stage: Stage
    target_pct: float | None
    temp_c: float
    least_h: float
    most_h: float
    source: str
    seen: Seen = Seen.JUDGEMENT


FIRST, FINAL, PREFERMENT = Stage.FIRST_RISE, Stage.FINAL_PROOF, Stage.PREFERMENT
ROWS = [
    Row("1 % instant doubles", wheat(instant_yeast_g=10.0), FIRST, DOUBLE, 24.0, 1.3, 2.1, PRACTICE),
    Row("0.1 % instant doubles", wheat(instant_yeast_g=1.0), FIRST, DOUBLE, 21.0, 9.0, 13.0, PRACTICE),
    # A warm room, 21 to 24 C, is taken at its middle: the range is that of the room as well. Fitted.
    Row("poolish, 0.1 % fresh", Formula(500.0, 500.0, fresh_yeast_g=0.5), PREFERMENT, PEAK, 22.5, 11.0, 16.0, SCHOOL,
        Seen.SEEN),
    Row("poolish, 0.24 % fresh", Formula(500.0, 500.0, fresh_yeast_g=1.2), PREFERMENT, PEAK, 22.5, 10.0, 14.0,
        "Forkish 2012: 0.08 % instant, 27 C water, room overnight, 12 to 14 h; and school times", Seen.SEEN),
    Row("poolish, 1.5 % fresh", Formula(500.0, 500.0, fresh_yeast_g=7.5), PREFERMENT, PEAK, 27.0, 2.5, 4.0,
        "school times, warm room of 24 to 27 C", Seen.MEMORY),
    # Ripe there is maturity, not height: the peak is made to stand for it, half as fast and long at its height.
    Row("biga, 47 % water, 1 % fresh", Formula(500.0, 235.0, fresh_yeast_g=5.0), PREFERMENT, PEAK, 18.0, 14.0, 20.0,
        "school time of a stiff preferment: 16 to 18 h", Seen.MEMORY),
    Row("starter 1:1:1", feed(1.0), PREFERMENT, PEAK, 24.0, 4.0, 5.5, PRACTICE),  # this and the next five: fitted
    Row("starter 1:5:5", feed(5.0), PREFERMENT, PEAK, 24.0, 8.0, 11.0, PRACTICE),
    Row("starter 1:10:10", feed(10.0), PREFERMENT, PEAK, 24.0, 11.0, 14.5, PRACTICE),
    Row("20 % starter, up by half, cool", wheat(sourdough_g=200.0), FIRST, HALF, 21.0, 7.0, 9.0, PRACTICE),
    Row("20 % starter, up by half", wheat(sourdough_g=200.0), FIRST, HALF, 24.0, 5.0, 6.5, PRACTICE),
    Row("20 % starter, up by half, warm", wheat(sourdough_g=200.0), FIRST, HALF, 28.0, 3.5, 5.5, PRACTICE),
    Row("5 % starter, up by half, cool", wheat(sourdough_g=50.0), FIRST, HALF, 21.0, 12.0, 16.0, PRACTICE),
    # Their ripeness is acid as much as height, and rye is not told from wheat: 2 % is forecast a tenth early.
    Row("rye sour, 2 % seed", feed(50.0, 1.1), PREFERMENT, PEAK, 29.0, 20.0, 24.0, RYE, Seen.SEEN),
    Row("rye sour, 5 % seed", feed(20.0, 1.1), PREFERMENT, PEAK, 29.0, 15.0, 18.0, RYE, Seen.SEEN),
    Row("rye sour, 10 % seed", feed(10.0, 1.1), PREFERMENT, PEAK, 29.0, 12.0, 14.0, RYE, Seen.SEEN),
    # The form of the yeast is not said; with fresh yeast its bulk of 2 h would not half raise it. To +75 %: judgement.
    Row("final proof, 1.1 % yeast", wheat(instant_yeast_g=11.0), FINAL, 75.0, 24.0, 0.8, 1.3,
        "formula of a flour maker: bulk of 2 h at 24 C, then about an hour", Seen.SEEN),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.what)
def test_the_time_that_is_given(row: Row) -> None:
    low, middle, high = hours_of(row.formula, row.stage, row.target_pct, row.temp_c, row.temp_c)
    assert low <= row.least_h, (row.source, low)
    assert high >= row.most_h, (row.source, high)
    assert high <= MOST_APART * low, (row.source, low, high)
    assert 0.75 * row.least_h <= middle <= 1.25 * row.most_h, (row.source, middle)


def test_half_the_yeast_takes_less_than_twice_as_long() -> None:
    """Computed from the law: 1 to 0.5 % at 24 C 1.7 to 2 times, 0.1 to 0.05 % at 21 C 1.25 to 1.5 times."""

    def middle(pct: float, temp_c: float) -> float:
        return hours_of(wheat(instant_yeast_g=10.0 * pct), FIRST, DOUBLE, temp_c, temp_c)[1]

    assert 1.7 <= middle(0.5, 24.0) / middle(1.0, 24.0) <= 2.0
    assert 1.25 <= middle(0.05, 21.0) / middle(0.1, 21.0) <= 1.5


def tin_loaf(fresh_pct: float) -> Formula:
    """510 g in a tin; 6 % sugar and 61 % water as such loaves have (judgement: the sources do not say)."""
    return Formula(300.0, 183.0, salt_g=6.0, sugar_g=18.0, fresh_yeast_g=3.0 * fresh_pct)


@pytest.mark.parametrize(
    ("air_c", "least_min", "most_min"), [(13.0, 270.0, 270.0), (43.0, 41.0, 65.0), (57.0, 36.0, 36.0)]
)
def test_tin_loaves_in_boxes_of_all_warmths(air_c: float, least_min: float, most_min: float) -> None:
    """270 min at 13 C, 41 to 65 at the usual 40 to 46 C, 36 at 57 C, to one height, dose and height not given (PAN).

    With 4 % fresh yeast to double all three lie in the interval; with 3 % 57 C misses by six minutes. In the cold and
    the heat the doubt is wider than a factor of 2.5 on purpose: sources disagree about what is left of the rate.
    """
    low, _, high = hours_of(tin_loaf(4.0), FINAL, DOUBLE, 27.0, air_c, TIN)
    assert low <= least_min / 60.0, PAN
    assert high >= most_min / 60.0, PAN


def test_no_cliff_in_a_hot_box() -> None:
    """From 43 to 57 C of air the middle goes by minutes: a loaf is done before it is as hot as its air (PAN)."""
    middles = [hours_of(tin_loaf(3.0), FINAL, DOUBLE, 27.0, air_c, TIN)[1] for air_c in np.arange(43.0, 57.5, 2.0)]
    assert max(middles) < 1.1 * min(middles)


@pytest.mark.parametrize(("fresh_pct", "counted"), [(0.5, 1.88), (1.67, 1.35), (2.0, 1.29)])
def test_yeast_grows_as_cells_were_counted(fresh_pct: float, counted: float) -> None:
    """Times as many cells after 6 h at 27 C (CELLS, seen); of 1.67 %, 26 and 9 % more, of which count is not said."""
    batch = Batch(BatchId(1), "row", FIRST, START, BUCKET, Target(DOUBLE), wheat(fresh_yeast_g=10.0 * fresh_pct))
    prior = prior_of(batch)
    growth_per_h, sd = np.exp(prior.mean[3]), np.sqrt(prior.covariance[3, 3])
    low, middle, high = np.exp(6.0 * growth_per_h * np.exp(sd * np.array([-1.645, 0.0, 1.645])))
    assert low < counted < high, CELLS
    assert middle == pytest.approx(counted, rel=0.05), CELLS
    assert high < 5.0, "no yeast in dough becomes sixty times as much in six hours"


def test_sugar_holds_plain_yeast_back() -> None:
    """CO2 in 2 h over that of plain dough (STRAINS, seen): 0.80 with 5 % glucose, 0.30 with 10 % sucrose.

    60 % water and 2 % salt are taken, and 1.5 times as much gas from twice the yeast as in the same table.
    """

    def factor(**sugar: float) -> float:
        return osmotic_factor(osmotic_pressure_atm(wheat(water_g=600.0, **sugar)))

    assert factor(sugar_g=50.0 * 342.0 / 360.0) == pytest.approx(0.80, abs=0.05), STRAINS
    assert factor(sugar_g=100.0) == pytest.approx(0.30, abs=0.05), STRAINS
    # Nobody says which yeast it is: one that bears sugar loses about a quarter of what a plain one does (judgement).
    sweet, plain = (leavening(wheat(water_g=600.0, instant_yeast_g=10.0, sugar_g=grams)) for grams in (100.0, 0.0))
    assert sweet is not None
    assert plain is not None
    assert np.log(0.75) < np.log(sweet.rate_per_h / plain.rate_per_h) + 2.0 * sweet.rate_sd_log


def test_a_piece_goes_on_rising_while_it_cools() -> None:
    """750 g in still air, time constant 150 min, from 24 C into 4 C: at 6 C after 4 to 6.5 h, worth 1.3 to 2.0 h at
    24 C (computed from a half-round piece at 6 W/m2K)."""
    t_s = np.arange(0.0, 24 * 3600.0, 60.0)
    dough_c = dough_temp_from_air(t_s, np.full(t_s.size, 4.0), 24.0, 150.0 * 60.0)
    cold = int(np.argmax(dough_c <= 6.0))
    assert 4.0 <= t_s[cold] / 3600.0 <= 6.5
    banked_h = float(equivalent_hours(t_s[: cold + 1], dough_c[: cold + 1], GASSING)[-1])
    assert 1.3 <= banked_h / float(relative_rate(24.0)) <= 2.0
