"""Scores of forecasts against values worked out by hand."""

import numpy as np
import pytest

from monitor.dough.scores import (
    censored,
    crps_from_quantiles,
    interval_score,
    is_covered,
    pinball,
    reliability,
)

LEVELS = np.array([0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95])
UNIT_NORMAL = np.array([-1.6449, -1.2816, -0.6745, 0.0, 0.6745, 1.2816, 1.6449])


def test_what_is_unknown_or_beyond_the_horizon_counts_as_the_horizon():
    assert censored([3.0, 30.0, np.inf, np.nan], 24.0).tolist() == [3.0, 24.0, 24.0, 24.0]


def test_pinball_is_least_at_the_true_quantile():
    truth = np.random.default_rng(1).normal(size=20_000)
    losses = [np.mean(pinball(truth, quantile, 0.9)) for quantile in (1.0, 1.2816, 1.6)]
    assert min(losses) == losses[1]


def test_a_sure_forecast_scores_its_error():
    assert crps_from_quantiles([10.0, 4.0], np.full((2, 7), 7.0), LEVELS) == pytest.approx([3.0, 3.0])


def test_scores_of_a_normal_forecast():
    # CRPS of N(0, 1) at 0 is 2 phi(0) - 1/sqrt(pi) = 0.2337, at 1 0.6024 (Gneiting & Raftery 2007, from memory)
    from_quantiles = crps_from_quantiles([0.0, 1.0], np.tile(UNIT_NORMAL, (2, 1)), LEVELS)
    assert from_quantiles == pytest.approx([0.2337, 0.6024], abs=0.02)  # flat tails beyond 5 and 95 %


def test_interval_score_is_width_and_penalty():
    # width 10; missed by 2 at 90 %: 2/0.1 x 2 = 40
    assert interval_score([5.0, -2.0, 12.0], 0.0, 10.0, 0.9) == pytest.approx([10.0, 50.0, 50.0])


@pytest.mark.parametrize("coverage", [0.0, 1.0, 90.0])
def test_a_coverage_that_is_none_is_refused(coverage):
    with pytest.raises(ValueError, match="between 0 and 1"):
        interval_score(1.0, 0.0, 2.0, coverage)


def test_levels_must_fit_their_quantiles():
    with pytest.raises(ValueError, match="ascend"):
        crps_from_quantiles([1.0], [[1.0, 2.0]], [0.5])


def test_the_ends_of_an_interval_belong_to_it():
    assert is_covered([0.0, 1.0, 1.1], 0.0, 1.0).tolist() == [True, True, False]


def test_honest_quantiles_are_reliable():
    truth = np.random.default_rng(3).normal(size=20_000)
    assert reliability(truth, np.tile(UNIT_NORMAL, (truth.size, 1))) == pytest.approx(LEVELS, abs=0.01)
    assert reliability([1.0], [[1.0]]) == pytest.approx([0.5])
