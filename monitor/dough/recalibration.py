"""What the curves do not know of themselves: forecasts moved to where the truths of other doughs lay in them."""

import numpy as np
from numpy.typing import NDArray

from monitor.recipe.batch import Stage

Array = NDArray[np.float64]

LEAST_S = 60.0  # less than a minute off is no error that a logarithm should see
LEAST_REACH = 0.02  # of the logarithm: no forecast is surer than this
# Factors on the half-widths of the interval for "ready", by the share of the target that has been reached, and of the
# band of the rise, with what is not known of the first minutes. Split conformal (the 90 % quantile of how far forecasts
# were off) on as many simulated doughs left in peace as troubled; learned from four simulators nearly the same. Where
# something that is no dough was found, the dough may have been moved or pressed down too.
SHARES, READY_WIDTHS, DISTURBED_READY_WIDTHS = (0.0, 0.25, 0.5, 0.75), (1.0, 1.1, 1.0, 1.0), (1.0, 1.1, 1.15, 1.15)
# Of a dough whose leaven nobody told: its prior is wide, and its peaks do not come late.
UNKNOWN_READY_WIDTHS, UNKNOWN_PEAK_WIDTHS = (2.0, 1.2, 1.4, 1.8), (1.5, 1.2, 1.2, 1.6)
RISE_WIDTH, RISE_LEAST_FRAC = 1.2, 0.015
FULL_SHARE = 0.25  # judgement: of the way to the peak; before that the prior speaks, which was set by practice
# Where the 5, 10, 25, 50, 75, 90 and 95 % quantile of truths lay in forecasts of the peak (see ``place``) from there
# on, of simulated doughs: ``python -m tests.accuracy --uncorrected --catalogue troubled --seeds 3000:3030 --places``.
PEAK_PLACES: dict[Stage, tuple[float, ...]] = {
    Stage.FIRST_RISE: (-1.82, -1.36, -0.76, -0.29, 0.09, 0.43, 0.74),
    Stage.FINAL_PROOF: (-1.37, -0.94, -0.33, -0.05, 0.26, 0.57, 0.70),
    Stage.RETARD: (-1.37, -0.94, -0.33, -0.05, 0.26, 0.57, 0.70),  # judgement: as another shaped piece
    Stage.PREFERMENT: (-3.03, -2.00, -1.18, -0.62, -0.10, 0.31, 0.50),
}


def ready_width(share: float, *, is_leaven_known: bool, is_disturbed: bool) -> float:
    """Factor on the half-widths of the interval for *ready* when a share of the target has been reached."""
    known = DISTURBED_READY_WIDTHS if is_disturbed else READY_WIDTHS
    return float(np.interp(share, SHARES, known if is_leaven_known else UNKNOWN_READY_WIDTHS))


def unknown_peak_width(share: float) -> float:
    """The same for the peak of a dough whose leaven nobody told, at a share of the way to it."""
    return float(np.interp(share, SHARES, UNKNOWN_PEAK_WIDTHS))


def rise_bands(rises: Array) -> Array:
    """Quantiles of the rise with what the curves do not know of themselves.

    Parameters
    ----------
    rises : array, shape (..., 5)
        5, 25, 50, 75 and 95 % quantile. [-]

    Returns
    -------
    array of the same shape
    """
    normal = np.array([-1.0, -0.41, 0.0, 0.41, 1.0])  # in units of the outer ones
    middle = rises[..., 2:3]
    off: Array = np.sign(normal) * np.hypot(RISE_WIDTH * (rises - middle), RISE_LEAST_FRAC * normal)
    return middle + off


def _reach(left_s: Array) -> tuple[float, float, float]:
    """Logarithm of the median's time left, and how far the lowest quantile lies below it, the highest above."""
    lowest, middle, highest = np.log(np.maximum(left_s[[0, left_s.size // 2, -1]], LEAST_S))
    return float(middle), max(float(middle - lowest), LEAST_REACH), max(float(highest - middle), LEAST_REACH)


def place(left_s: Array, truth_s: float) -> float:
    """Where a truth lies in a forecast of the time left: 0 at its median, -1 at its 5 %, 1 at its 95 % quantile.

    Parameters
    ----------
    left_s : array, shape (n_quantiles,)
        5 % quantile first, the median in the middle, 95 % last; finite. [s]
    truth_s
        The time that was left. [s]
    """
    middle, below, above = _reach(left_s)
    off = float(np.log(max(truth_s, LEAST_S))) - middle
    return off / (below if off < 0.0 else above)


def placed_s(left_s: Array, places: Array) -> Array:
    """The times left at some places of a forecast, shape of ``places``; ``left_s`` as for :func:`place`. [s]"""
    middle, below, above = _reach(left_s)
    moved: Array = np.exp(middle + places * np.where(places < 0.0, below, above))
    return moved


def recalibrated_s(left_s: Array, places: Array, share: float, horizon_s: float) -> Array:
    """Quantiles of the time left, moved to where the truths of other doughs lay.

    Parameters
    ----------
    left_s : array, shape (n_quantiles,)
        As for :func:`place`; infinite beyond the horizon. [s]
    places : array, shape (n_quantiles,)
        Of the truths' quantiles.
    share
        Of the way, by the forecast itself; up to ``FULL_SHARE`` they are moved by a part of it. [-]
    horizon_s
        What is moved beyond it becomes infinite. [s]

    Returns
    -------
    array, shape (n_quantiles,)
        As they were where the median has come, or lies beyond the horizon. [s]
    """
    if not 0.0 < left_s[left_s.size // 2] < np.inf:
        return left_s
    within = np.minimum(left_s, horizon_s)
    part = min(share / FULL_SHARE, 1.0)
    moved: Array = np.maximum(within, LEAST_S) ** (1.0 - part) * placed_s(within, places) ** part
    moved[moved > horizon_s] = np.inf
    return moved


def recalibrated_peak_s(left_s: Array, stage: Stage, share: float, horizon_s: float) -> Array:
    """The same for the peak of a dough, by its stage."""
    places = PEAK_PLACES.get(stage)
    return left_s if places is None else recalibrated_s(left_s, np.array(places), share, horizon_s)
