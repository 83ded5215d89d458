"""What is thought of a dough before it is looked at: Gaussian priors of the numbers of its curve.

Where the formula says what leavens the dough, rate and growth are centred on that, by kind of leaven: baker's yeast,
sourdough, or a preferment. Where it does not, they are wide mixtures, by stage and target. A stage that follows another
begins awake and full of dissolved gas.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import AIR_FRAC, N_SHAPE, SHAPE_NAMES
from monitor.dough.gassing import (
    LEAST_HYDRATION_PCT,
    LIKELY_HYDRATION_PCT,
    MIXED_VOID_FRAC,
    STARTER_GAS,
    Leavening,
    dissolved_co2_limit_ml,
    leavening,
    start_volume_ml,
    starter_share,
)
from monitor.dough.kinetics import REFERENCE_TEMP_C
from monitor.recipe.batch import Batch, Stage
from monitor.recipe.formula import Formula

Array = NDArray[np.float64]

# Everything here that has no source beside it is judgement. A number is a median and the standard deviation of its
# logarithm.
Number = tuple[float, float]
WAKING, SHARPNESS, PEAK, COLLAPSE = (0.45, 0.40), (3.2, 0.55), (1.1, 0.25), (0.35, 0.60)
TEMP_EXPONENT = (1.0, 0.06)  # by itself, not its logarithm; most of the doubt is the card's own, see kinetics
UPTAKE_SD_LOG = 0.30  # CO2 dissolved in dough was worked out and measured 2.5 times apart (handbook chapter, seen)

# -- without a formula: baker's yeast, quick and high, and sourdough, slow and lower, whose yeast grows
UNKNOWN: dict[Stage, dict[str, Number]] = {
    Stage.FIRST_RISE: {
        "rate": (0.60, 0.75), "lag_h": (0.25, 0.75), "growth": (0.22, 0.80),
        "uptake": (0.27, 0.30), "dome": (0.04, 0.75),
    },
    Stage.FINAL_PROOF: {
        "rate": (0.55, 0.70), "lag_h": (0.04, 0.80), "growth": (0.12, 0.80),
        "uptake": (0.05, 0.80), "dome": (0.06, 0.70),
    },
    Stage.RETARD: {
        "rate": (0.50, 0.75), "lag_h": (0.05, 0.90), "growth": (0.12, 0.80),
        "uptake": (0.15, 0.70), "dome": (0.06, 0.70),
    },
    Stage.PREFERMENT: {
        "rate": (0.25, 0.90), "lag_h": (0.20, 0.90), "growth": (0.22, 0.50),
        "uptake": (0.30, 0.40), "dome": (0.02, 0.90),
    },
}  # fmt: skip
OVER_LEAST = (0.8, 0.60)  # what a dough nobody described can rise beyond the least thought possible
UNKNOWN_CORRELATION = {("rate", "ceiling"): 0.5, ("rate", "lag_h"): -0.4, ("rate", "growth"): -0.4}

# -- lags of what has just been mixed, at 27 C
BOUGHT_LAG_H, SOUR_LAG_H = (0.25, 0.50), (0.15, 0.90)

# -- ceilings: the rise at the peak. V/V0 of 3 to 4.5 for strong white dough, 2 to 3 for whole grain, 1.5 to 2.5 for a
# mature sourdough (memory); a shaped piece holds bubbles already
BOUGHT_CEILING_FRAC, SOUR_CEILING_FRAC = 1.8, 1.0
SHAPED_BOUGHT_CEILING_FRAC, SHAPED_SOUR_CEILING_FRAC = 1.45, 0.85
CEILING_SD_LOG = 0.45
LEAST_OVER_FRAC = 0.35  # a baker's target is not the very last that a dough can do
KNOWN_CORRELATION = {("rate", "ceiling"): 0.3}

# -- preferments
POOLISH_CEILING_FRAC, STIFF_CEILING_FRAC = 1.35, 1.1
PREFERMENT_CEILING_SD_LOG = 0.15  # V/V0 of 2.2 to 3, stiff 2 to 2.5
STARTER_CEILING_SD_LOG = 0.25  # V/V0 of 2.2 to 3.5 for white starters
PREFERMENT_GROWTH_SD_LOG = 0.25  # its growth was fitted to school times
TURNS_AT = 1.22  # computed: a middle course turns when it has made so much more gas than s_peak stands for
PREFERMENT_PEAK_SD_LOG, PREFERMENT_SHARPNESS_SD_LOG = 0.10, 0.40
STIFF_PEAK = 1.85  # a stiff preferment stands long at its height: ripe after 1.5 to 2 times its time to double
STIFF_PACE = 0.5  # of a softer one's (schools give it twice the yeast for the same time; Gisslen 2008, seen)
STIFF_PCT, SOFT_PCT = 55.0, 65.0  # water on flour
STARTER_CORRELATION = {("rate", "ceiling"): 0.7}  # a lively starter is quick and goes high: they peak at one time

# -- a piece that is shaped
SHAPED_SD_LOG = 0.08
PACE_VOID_FRAC = 0.25  # judgement; by less, living pieces that sink as they rise were given up
BOUGHT_FIRST_RISE, SOUR_FIRST_RISE = 1.3, 0.8  # gas of the rise before: a dough doubled; a sourdough up by half
UNKNOWN_FIRST_RISE = 0.5  # so that centres without a formula agree
AWAKE_LAG_H = (0.03, 0.80)
SATURATED, RETARD_UPTAKE = (0.04, 0.70), (0.15, 0.70)  # water that cools takes up more again

# -- what is put down as a ball stands over its mean level at first
SLUMP: dict[Stage, Number] = {
    Stage.FIRST_RISE: (0.02, 1.5), Stage.FINAL_PROOF: (0.10, 1.8), Stage.RETARD: (0.10, 1.8),
    Stage.PREFERMENT: (0.01, 1.3),
}  # fmt: skip
SLUMP_TAU_S = (1800.0, 0.6)  # judgement: what was put in as a ball spreads to the wall in about an hour

# -- the dome by water on flour: 8-20 % of the width at 55 %, 5-12 at 62, 2-6 at 75, 0-3 for a batter
DOME_PCT, DOME_FRAC = (52.0, 62.0, 75.0, 100.0), (0.126, 0.077, 0.035, 0.012)
DOME_SD_LOG = (0.45, 0.45, 0.50, 0.80)


@dataclass(frozen=True, slots=True)
class Prior:
    """Gaussian prior of the curve's numbers.

    Attributes
    ----------
    mean : array, shape (N_SHAPE,)
    covariance : array, shape (N_SHAPE, N_SHAPE)
    least_ceiling_frac
        What the rise at no peak lies below.
    slump
        How far what is put in as a ball stands over its mean level, as a rise: median, and standard deviation of the
        logarithm.
    """

    mean: Array
    covariance: Array
    least_ceiling_frac: float
    slump: Number


def expected_rate_per_h(formula: Formula | None) -> tuple[float, float] | None:
    """Rise per hour at 27 C expected from a formula, and the doubt of its logarithm; None when it says nothing."""
    leaven = None if formula is None else leavening(formula)
    return None if leaven is None else (leaven.rate_per_h, leaven.rate_sd_log)


def prior_of(batch: Batch) -> Prior:
    """The shipped prior of a batch: by its stage, its target, and its formula if it has one."""
    target_frac = None if batch.target.rise_pct is None else batch.target.rise_pct / 100.0
    # A baker's target can be reached, give or take.
    least = 0.2 if target_frac is None else 0.95 * target_frac
    numbers = {"waking": WAKING, "sharpness": SHARPNESS, "peak": PEAK, "collapse": COLLAPSE, "ceiling": OVER_LEAST}
    numbers |= UNKNOWN[batch.stage]
    correlation = UNKNOWN_CORRELATION
    if target_frac is None and batch.stage is Stage.PREFERMENT:
        numbers["ceiling"] = (POOLISH_CEILING_FRAC - least, CEILING_SD_LOG)
    formula = batch.formula
    if formula is not None:
        numbers |= {"uptake": (_uptake_frac(formula), UPTAKE_SD_LOG), "dome": _dome(formula)}
        leaven = leavening(formula)
        if leaven is not None:
            by_leaven = _preferment if batch.stage is Stage.PREFERMENT else _dough
            numbers |= by_leaven(formula, leaven, least)
            correlation = KNOWN_CORRELATION
            if batch.stage is Stage.PREFERMENT and leaven.sour_share > 0.5:
                correlation = STARTER_CORRELATION
        if batch.stage in (Stage.FINAL_PROOF, Stage.RETARD):
            if leaven is not None:
                numbers |= _after_a_rise(formula, leaven, least)
            numbers["uptake"] = SATURATED if batch.stage is Stage.FINAL_PROOF else RETARD_UPTAKE
    return _gaussian(numbers, correlation, least, SLUMP[batch.stage])


def _gaussian(
    numbers: dict[str, Number], correlation: dict[tuple[str, str], float], least: float, slump: Number
) -> Prior:
    names = [name.removeprefix("log_") for name in SHAPE_NAMES]
    mean = np.array([*(np.log(numbers[name][0]) for name in names[:-1]), TEMP_EXPONENT[0]])
    sd = np.array([*(numbers[name][1] for name in names[:-1]), TEMP_EXPONENT[1]])
    together = np.eye(N_SHAPE)
    for (one, other), value in correlation.items():
        i, j = names.index(one), names.index(other)
        together[i, j] = together[j, i] = value
    return Prior(mean, together * np.outer(sd, sd), least, slump)


def _hydration_pct(formula: Formula) -> float:
    found_pct = 100.0 * formula.all_water_g / formula.all_flour_g
    return found_pct if found_pct >= LEAST_HYDRATION_PCT else LIKELY_HYDRATION_PCT


def _uptake_frac(formula: Formula) -> float:
    """CO2 that the water has yet to take up, over the start volume; a ripe starter comes with its own."""
    limit_ml = float(dissolved_co2_limit_ml(formula, REFERENCE_TEMP_C))
    return limit_ml / start_volume_ml(formula) * (1.0 - starter_share(formula))


def _dome(formula: Formula) -> Number:
    pct = _hydration_pct(formula)
    return float(np.exp(np.interp(pct, DOME_PCT, np.log(DOME_FRAC)))), float(np.interp(pct, DOME_PCT, DOME_SD_LOG))


def _over(ceiling_frac: float, least: float) -> float:
    return max(ceiling_frac - least, LEAST_OVER_FRAC)


def _mixed(leaven: Leavening, bought: float, sour: float) -> float:
    """Between what holds for baker's yeast and for sourdough, by their shares of the gas."""
    return (1.0 - leaven.sour_share) * bought + leaven.sour_share * sour


def _dough(formula: Formula, leaven: Leavening, least: float) -> dict[str, Number]:
    """A dough that was just mixed."""
    lag_h, lag_sd = (_mixed(leaven, one, other) for one, other in zip(BOUGHT_LAG_H, SOUR_LAG_H, strict=True))
    ceiling_frac = _mixed(leaven, BOUGHT_CEILING_FRAC, SOUR_CEILING_FRAC)
    return {
        "rate": (leaven.rate_per_h, leaven.rate_sd_log),
        "lag_h": (lag_h, lag_sd),
        "growth": (leaven.growth_per_h, leaven.growth_sd_log),
        "ceiling": (_over(ceiling_frac, least), CEILING_SD_LOG),
    }


def _preferment(formula: Formula, leaven: Leavening, least: float) -> dict[str, Number]:
    """A starter or a preferment that was just fed or mixed."""
    numbers = _dough(formula, leaven, least)
    stiff = float(np.interp(_hydration_pct(formula), (STIFF_PCT, SOFT_PCT), (1.0, 0.0)))
    pace = STIFF_PACE**stiff
    numbers["rate"] = (pace * leaven.rate_per_h, leaven.rate_sd_log)
    numbers["growth"] = (pace * leaven.growth_per_h, min(leaven.growth_sd_log, PREFERMENT_GROWTH_SD_LOG))
    ceiling_frac = POOLISH_CEILING_FRAC * (STIFF_CEILING_FRAC / POOLISH_CEILING_FRAC) ** stiff
    numbers["sharpness"] = (SHARPNESS[0], PREFERMENT_SHARPNESS_SD_LOG)
    numbers["peak"] = (PEAK[0] * (STIFF_PEAK / PEAK[0]) ** stiff, PREFERMENT_PEAK_SD_LOG)
    ceiling_sd = PREFERMENT_CEILING_SD_LOG
    if leaven.sour_share > 0.5:
        ceiling_sd = STARTER_CEILING_SD_LOG
        # It is ripe again when its yeast is as dense as in the seed: so much gas has been made, whatever the ratio.
        ceiling_frac = _risen(STARTER_GAS * (1.0 - starter_share(formula)), _uptake_frac(formula), numbers["peak"][0])
    numbers["ceiling"] = (_over(ceiling_frac, least), ceiling_sd)
    return numbers


def _risen(made: float, uptake: float, s_peak: float) -> float:
    """The rise at the peak of a course that has made so much gas by then."""
    over = made - AIR_FRAC - uptake
    held = 0.5 * (over + float(np.sqrt(over * over + 4.0 * AIR_FRAC * made)))
    return held / TURNS_AT / float((1.0 + s_peak ** SHARPNESS[0]) ** (1.0 / SHARPNESS[0]))


def first_rise_gas(formula: Formula | None) -> float:
    """Gas that a dough has made by the end of a usual first rise, over its start volume. [-]"""
    leaven = None if formula is None else leavening(formula)
    if leaven is None:
        return UNKNOWN_FIRST_RISE
    return _mixed(leaven, BOUGHT_FIRST_RISE, SOUR_FIRST_RISE)


def _after_a_rise(formula: Formula, leaven: Leavening, least: float) -> dict[str, Number]:
    """A dough that has risen once, was shaped and stands full of gas it cannot see."""
    grown = leaven.growth_per_h * first_rise_gas(formula)
    rate_per_h = leaven.rate_per_h + grown
    fuller = (1.0 - PACE_VOID_FRAC) / (1.0 - MIXED_VOID_FRAC)
    ceiling_frac = _mixed(leaven, SHAPED_BOUGHT_CEILING_FRAC, SHAPED_SOUR_CEILING_FRAC)
    parts = (leaven.rate_per_h * leaven.rate_sd_log, grown * leaven.growth_sd_log, rate_per_h * SHAPED_SD_LOG)
    return {
        "rate": (fuller * rate_per_h, float(np.linalg.norm(parts)) / rate_per_h),
        "lag_h": AWAKE_LAG_H,
        "ceiling": (_over(ceiling_frac, least), CEILING_SD_LOG),
    }
