"""What other doughs taught about forecasts: where a truth lies in one, and how one is moved."""

import numpy as np
import pytest

from monitor.dough.recalibration import (
    FULL_SHARE,
    PEAK_PLACES,
    place,
    placed_s,
    ready_width,
    recalibrated_peak_s,
    recalibrated_s,
    rise_bands,
    unknown_peak_width,
)
from monitor.recipe.batch import Stage

HORIZON_S = 24 * 3600.0
LEFT_S = 3600.0 * np.array([1.0, 1.2, 1.6, 2.0, 2.6, 3.4, 4.0])


def test_a_truth_at_a_quantile_lies_where_the_quantile_is_placed() -> None:
    assert [place(LEFT_S, truth_s) for truth_s in LEFT_S[[0, 3, 6]]] == pytest.approx([-1.0, 0.0, 1.0])
    for truth_s in (600.0, 5000.0, 7200.0, 20000.0):
        assert placed_s(LEFT_S, np.array([place(LEFT_S, truth_s)])) == pytest.approx(truth_s)


def test_forecasts_that_were_late_come_sooner_and_full_only_on_the_way() -> None:
    places = np.array([-2.0, -1.5, -1.0, -0.5, 0.0, 0.3, 0.6])
    at_first, half, full, later = (
        recalibrated_s(LEFT_S, places, share, HORIZON_S) for share in (0.0, 0.5 * FULL_SHARE, FULL_SHARE, 0.9)
    )
    assert at_first == pytest.approx(LEFT_S)
    assert full == pytest.approx(later)
    assert np.all(full < half)
    assert np.all(half < LEFT_S)
    assert np.all(np.diff(full) > 0.0)


@pytest.mark.parametrize("stage", PEAK_PLACES)
def test_quantiles_of_every_stage_stay_in_order(stage: Stage) -> None:
    moved = recalibrated_peak_s(LEFT_S, stage, 0.6, HORIZON_S)
    assert np.all(np.diff(moved) > 0.0)
    assert moved[3] < LEFT_S[3]


def test_what_has_come_or_never_comes_stays() -> None:
    over = LEFT_S - 3.0 * 3600.0
    never = np.array([3600.0, 7200.0, np.inf, np.inf, np.inf, np.inf, np.inf])
    assert recalibrated_peak_s(over, Stage.FIRST_RISE, 0.9, HORIZON_S) is over
    assert recalibrated_peak_s(never, Stage.FIRST_RISE, 0.9, HORIZON_S) is never


def test_what_lies_beyond_the_horizon_may_come_before_it() -> None:
    left_s = np.array([1.0, 2.0, 4.0, 8.0, 16.0, np.inf, np.inf]) * 3600.0
    moved = recalibrated_peak_s(left_s, Stage.FIRST_RISE, 0.5, HORIZON_S)
    assert np.all(np.isfinite(moved))
    assert np.isinf(recalibrated_s(left_s, 3.0 + np.arange(7.0), 0.5, HORIZON_S)).all()


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.9])
def test_intervals_go_by_what_is_known_and_what_was_in_the_way(share: float) -> None:
    quiet, disturbed = (ready_width(share, is_leaven_known=True, is_disturbed=each) for each in (False, True))
    assert quiet <= disturbed < ready_width(share, is_leaven_known=False, is_disturbed=True)
    assert unknown_peak_width(share) > 1.0


def test_the_band_of_a_rise_keeps_its_middle_and_is_never_surer_than_its_least() -> None:
    sure = rise_bands(np.full(5, 0.4))
    assert sure == pytest.approx([0.385, 0.39385, 0.4, 0.40615, 0.415])
    wide = rise_bands(np.array([[0.1, 0.3, 0.4, 0.5, 0.9]]))[0]
    assert wide[2] == 0.4
    assert wide[4] - wide[2] == pytest.approx(np.hypot(1.2 * 0.5, 0.015))
