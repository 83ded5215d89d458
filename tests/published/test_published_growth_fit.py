"""Fits of growth curves against certified values, a published yeast series, and real replicate growth curves."""

import csv
from pathlib import Path

import numpy as np
import pytest
from fact import Fact, Seen, each

from monitor.dough.growth_fit import (
    CURVES,
    fit_curve,
    gompertz_curve,
    growth_start,
    logistic_curve,
)

NIST = "NIST StRD, Nonlinear Regression, file {}"
CARLSON = "Carlson 1913, Biochem. Z. 57, 313, in Pearl 1927, Q. Rev. Biol. 2, 532 (citation from memory)"

RAT42_X = (9.0, 14.0, 21.0, 28.0, 42.0, 57.0, 63.0, 70.0, 79.0)
RAT42_Y = (8.93, 10.80, 18.59, 22.33, 39.35, 56.11, 61.73, 64.62, 67.08)
RAT43_X = tuple(range(1, 16))
RAT43_Y = (16.08, 33.83, 65.80, 97.20, 191.55, 326.20, 386.87, 520.53, 590.03, 651.92, 724.93, 699.56, 689.96, 637.56,
           717.41)  # fmt: skip
YEAST = (9.6, 18.3, 29.0, 47.2, 71.1, 119.1, 174.6, 257.3, 350.7, 441.0, 513.3, 559.7, 594.8, 629.4, 640.8, 651.1,
         655.9, 659.6, 661.8)  # fmt: skip
YEAST_H = tuple(range(19))

CERTIFIED = {
    "Rat42": (
        RAT42_X, RAT42_Y, ((100.0, 1.0, 0.1), (75.0, 2.5, 0.07)), 1e-6,
        (72.462237576, 2.6180768402, 0.067359200066),
        (1.7340283401, 0.088295217536, 0.0034465663377),
        8.0565229338, 1.1587725499,
    ),
    "Rat43": (
        RAT43_X, RAT43_Y, ((100.0, 10.0, 1.0, 1.0), (700.0, 5.0, 0.75, 1.3)), 1e-5,
        (699.64151270, 5.2771253025, 0.75962938329, 1.2792483859),
        (16.302297817, 2.0828735829, 0.19566123451, 0.68761936385),
        8786.4049080, 28.262414662,
    ),
}  # fmt: skip


def ratkowsky_curve(x, numbers):
    """b1 / (1 + exp(b2 - b3 x))^(1/b4), of the shape (k, n) for k rows of numbers; three numbers stand for b4 = 1.

    Ratkowsky 1983, Nonlinear Regression Modeling, by way of the files of the NIST StRD (seen). It is the Richards curve
    with A = b1, nu = b4.
    """
    exponent = np.clip(numbers[:, 1:2] - numbers[:, 2:3] * x, -600.0, 600.0)
    power = 1.0 if numbers.shape[1] == 3 else numbers[:, 3:4]
    return numbers[:, 0:1] * np.exp(-np.logaddexp(0.0, exponent) / power)


@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("problem", CERTIFIED)
def test_certified_fits(problem, start):
    x, y, starts, tolerance, numbers, sds, rss, residual_sd = CERTIFIED[problem]
    fit = fit_curve(ratkowsky_curve, x, y, starts[start])
    assert fit.is_settled
    assert fit.dof == len(x) - len(numbers)
    assert fit.numbers == pytest.approx(numbers, rel=tolerance), NIST.format(problem)
    assert fit.sd == pytest.approx(sds, rel=tolerance), NIST.format(problem)
    assert fit.rss == pytest.approx(rss, rel=tolerance), NIST.format(problem)
    assert fit.residual_sd == pytest.approx(residual_sd, rel=tolerance), NIST.format(problem)


def yeast_fit(curve):
    return fit_curve(curve, YEAST_H, YEAST, growth_start(YEAST_H, YEAST))


# Least squares on the published series, worked out with another program. K, r and t0 of K/(1 + exp(-r(t - t0))) follow
# from ours: K = A, r = 4 mu/A, t0 = lambda + A/(2 mu).
YEAST_FITS = [
    Fact("logistic, top", lambda: yeast_fit(logistic_curve).numbers[0], 663.02, 1e-4, CARLSON, Seen.COMPUTED, True),
    Fact("logistic, its sd", lambda: yeast_fit(logistic_curve).sd[0], 1.70, 5e-3, CARLSON, Seen.COMPUTED),
    Fact("logistic, slope", lambda: yeast_fit(logistic_curve).numbers[1], 90.667, 1e-4, CARLSON, Seen.COMPUTED, True),
    Fact("logistic, lag", lambda: yeast_fit(logistic_curve).numbers[2], 4.1513, 1e-4, CARLSON, Seen.COMPUTED, True),
    Fact("logistic, r", lambda: np.divide(*yeast_fit(logistic_curve).numbers[[1, 0]]) * 4.0, 0.54699, 1e-4, CARLSON,
         Seen.COMPUTED, True),
    Fact("logistic, RSS", lambda: yeast_fit(logistic_curve).rss, 194.3, 0.05, CARLSON, Seen.COMPUTED),
    Fact("Gompertz, greatest", lambda: yeast_fit(gompertz_curve).numbers[0], 689.3, 1e-3, CARLSON, Seen.COMPUTED, True),
    Fact("Gompertz, slope", lambda: yeast_fit(gompertz_curve).numbers[1], 87.7, 1e-3, CARLSON, Seen.COMPUTED, True),
    Fact("Gompertz, lag", lambda: yeast_fit(gompertz_curve).numbers[2], 3.83, 1e-3, CARLSON, Seen.COMPUTED, True),
    Fact("Gompertz, RSS", lambda: yeast_fit(gompertz_curve).rss, 4001.0, 1e-3, CARLSON, Seen.COMPUTED, True),
]  # fmt: skip


@each(YEAST_FITS)
def test_yeast_series(fact):
    fact.check()


def test_the_logistic_is_preferred_on_the_yeast_series():
    assert yeast_fit(gompertz_curve).rss / yeast_fit(logistic_curve).rss == pytest.approx(20.6, abs=0.05)


REPLICATES = Path(__file__).parents[1] / "data" / "growth_replicates" / "tecan_210115.csv"
"""Optical density of replicate wells, from the package curveball 0.3.0 (MIT; see the README beside the file)."""


def replicates():
    """Strain -> course of each of its wells over its first readings; and the times. [h]"""
    with REPLICATES.open(newline="") as file:
        head, *rows = csv.reader(file)
    table = np.array(rows, dtype=float)
    strains = {}
    for column, name in enumerate(head[1:], start=1):
        course = table[:, column] - np.mean(table[:3, column])
        strains.setdefault(name.partition("-")[0], []).append(course)
    return table[:, 0], strains


def reached_h(t_h, course, level):
    first = int(np.argmax(course > level))
    return float(np.interp(level, course[first - 1 : first + 1], t_h[first - 1 : first + 1]))


def test_a_fitted_curve_passes_where_real_growth_does():
    """The better of the two curves, fitted to a well's whole course, reaches 0.3 when the well does, in the middle."""
    t_h, strains = replicates()
    misses_h = []
    for course in (course for courses in strains.values() for course in courses):
        fits = {curve: fit_curve(curve, t_h, course, growth_start(t_h, course)) for curve, _ in CURVES.values()}
        curve = min(fits, key=lambda each: fits[each].rss)
        misses_h.append(reached_h(t_h, curve(t_h, fits[curve].numbers[None])[0], 0.3) - reached_h(t_h, course, 0.3))
    assert len(misses_h) == 30
    assert np.median(np.abs(misses_h)) < 0.25
