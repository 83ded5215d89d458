"""Fitting growth curves: bounds, doubt, and what cannot be fitted."""

import numpy as np
import pytest

from monitor.dough.growth_fit import (
    fit_curve,
    gompertz_curve,
    growth_start,
    logistic_curve,
)

T_H = np.linspace(0.0, 6.0, 40)
TRUE = np.array([2.2, 0.9, 0.8])
NOISE = 0.01


def course(curve=gompertz_curve, seed=0, numbers=TRUE):
    return curve(T_H, numbers[None])[0] + np.random.default_rng(seed).normal(0.0, NOISE, T_H.size)


@pytest.mark.parametrize("curve", [logistic_curve, gompertz_curve])
def test_a_curve_is_found_again_within_its_own_doubt(curve):
    misses = []
    for seed in range(30):
        y = course(curve, seed)
        fit = fit_curve(curve, T_H, y, growth_start(T_H, y))
        misses.append((fit.numbers - TRUE) / fit.sd)
    assert np.std(misses) == pytest.approx(1.0, abs=0.2)
    assert np.abs(np.mean(misses, axis=0)).max() < 0.6  # 30 of them: a standard error of 0.18


def test_a_number_on_its_bound_leaves_the_others_free():
    y = course()
    held = fit_curve(gompertz_curve, T_H, y, growth_start(T_H, y), high=[2.0, np.inf, np.inf])
    assert held.numbers[0] == 2.0
    fixed = fit_curve(
        lambda t, numbers: gompertz_curve(t, np.hstack([np.full((len(numbers), 1), 2.0), numbers])), T_H, y, TRUE[1:]
    )
    assert held.numbers[1:] == pytest.approx(fixed.numbers, rel=1e-5)


def test_given_doubt_is_never_made_smaller_than_it_is():
    y = course()
    told = fit_curve(gompertz_curve, T_H, y, growth_start(T_H, y), sd=np.full(T_H.size, 10.0 * NOISE))
    untold = fit_curve(gompertz_curve, T_H, y, growth_start(T_H, y))
    assert told.sd == pytest.approx(10.0 * NOISE / untold.residual_sd * untold.sd, rel=1e-3)


@pytest.mark.parametrize(
    ("y", "message"), [([1.0, 2.0, 3.0], "3 numbers cannot be fitted to 3 points"), ([1.0] * 5 + [np.nan], "finite")]
)
def test_what_cannot_be_fitted_is_refused(y, message):
    with pytest.raises(ValueError, match=message):
        fit_curve(logistic_curve, np.arange(len(y)), y, [1.0, 1.0, 1.0])
