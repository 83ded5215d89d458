"""What is thought of a dough before it is looked at: Gaussian priors of the numbers of its curve."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import N_SHAPE, SHAPE_NAMES
from monitor.dough.gassing import rise_rate_per_h
from monitor.dough.kinetics import REFERENCE_TEMP_C
from monitor.recipe.batch import Batch
from monitor.recipe.formula import Formula

Array = NDArray[np.float64]

# Two kinds of dough, equally likely until something is known: baker's yeast, quick and high, and sourdough, slow and
# lower, whose yeast grows. Their rates, lags and ceilings are judgement, after a mass balance and ranges seen for both.
# The kinds make quick doughs likely to rise high: the covariance below is that of the mixture, rounded.
SHAPE_MEDIAN = {
    "log_rate": 0.60,
    "log_lag_h": 0.45,
    "log_waking": 0.45,
    "log_growth": 0.22,
    "log_ceiling": 0.8,
    "log_sharpness": 3.2,
    "log_peak": 1.1,
    "log_collapse": 0.35,
}
SHAPE_SD = np.array([0.75, 0.75, 0.40, 0.80, 0.60, 0.55, 0.25, 0.60, 0.10])
# judgement: starters and preferments, liquid or sour, hold one and a half to two and a half times their volume
PREFERMENT_CEILING = 1.25
PREFERMENT_CEILING_SD = 0.45  # judgement: of the logarithm of what lies over the least
GASSING_EFFECT = 0.75  # judgement: of the gas made, what shows while sugar is scarce and water still takes up its share
GASSING_EFFECT_SD = 0.25  # judgement
SHAPE_CORRELATION = {
    ("log_rate", "log_ceiling"): 0.5,
    ("log_rate", "log_lag_h"): -0.4,
    ("log_rate", "log_growth"): -0.4,
}


@dataclass(frozen=True, slots=True)
class Prior:
    """Gaussian prior of the curve's numbers.

    Attributes
    ----------
    mean : array, shape (N_SHAPE,)
    covariance : array, shape (N_SHAPE, N_SHAPE)
    least_ceiling_frac
        What the rise at no peak lies below.
    """

    mean: Array
    covariance: Array
    least_ceiling_frac: float


def shape_prior(target_rise_frac: float | None, rate_per_h: tuple[float, float] | None) -> Prior:
    """Prior of the curve's numbers.

    Parameters
    ----------
    target_rise_frac
        What the baker waits for: a dough is expected to be able to reach it. None for a peak.
    rate_per_h
        Rise per hour at 27 C expected from the formula, with the standard deviation of its logarithm; None without one.
    """
    # judgement: a baker's target can be reached, give or take
    least = 0.2 if target_rise_frac is None else 0.95 * target_rise_frac
    median = dict(SHAPE_MEDIAN)
    sd = SHAPE_SD.copy()
    if target_rise_frac is None:
        median["log_ceiling"] = PREFERMENT_CEILING - least
        sd[SHAPE_NAMES.index("log_ceiling")] = PREFERMENT_CEILING_SD
    mean = np.array([*np.log([median[name] for name in SHAPE_NAMES[:-1]]), 1.0])
    correlation = np.eye(N_SHAPE)
    for (one, other), value in SHAPE_CORRELATION.items():
        i, j = SHAPE_NAMES.index(one), SHAPE_NAMES.index(other)
        correlation[i, j] = correlation[j, i] = value
    covariance = correlation * np.outer(sd, sd)
    if rate_per_h is not None:
        # The formula is a measurement of the rate: it moves what goes along with the rate as well.
        gain = covariance[:, 0] / (covariance[0, 0] + rate_per_h[1] ** 2)
        mean = mean + gain * (np.log(rate_per_h[0]) - mean[0])
        covariance = covariance - np.outer(gain, covariance[0])
    return Prior(mean, covariance, least)


def expected_rate_per_h(formula: Formula | None) -> tuple[float, float] | None:
    """Rise per hour at 27 C expected from a formula, and the doubt of its logarithm; None when it says nothing."""
    if formula is None:
        return None
    expected = rise_rate_per_h(formula, REFERENCE_TEMP_C)
    # A formula without leavening is a gap in the list, not a dough that will not rise.
    if not expected.median > 0.0:
        return None
    return GASSING_EFFECT * float(expected.median), float(np.hypot(expected.sd_log, GASSING_EFFECT_SD))


def prior_of(batch: Batch) -> Prior:
    """The shipped prior of a batch: by its target, and its formula if it has one."""
    target_frac = None if batch.target.rise_pct is None else batch.target.rise_pct / 100.0
    return shape_prior(target_frac, expected_rate_per_h(batch.formula))
