"""How good forecasts were: error, coverage, sharpness and both at once, from their quantiles.

Every score is a plain function of arrays with one row for each forecast; lower is better except where it says so. A
moment that did not come, or that a forecast puts beyond its horizon, counts as coming at the horizon: ``censored``.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

FINE_LEVELS = (np.arange(400) + 0.5) / 400.0


def censored(values: ArrayLike, horizon: ArrayLike) -> Array:
    """The values, those beyond the horizon or unknown (NaN, infinity) put at the horizon."""
    found = np.asarray(values, dtype=np.float64)
    result: Array = np.where(np.isnan(found), horizon, np.minimum(found, horizon))
    return result


def pinball(truth: ArrayLike, quantile: ArrayLike, level: ArrayLike) -> Array:
    """Pinball loss of a quantile forecast; its mean is least for the true quantile.

    Parameters
    ----------
    truth, quantile : float or array
        In one unit, which is that of the loss.
    level : float or array
        Of the quantile, 0..1.

    Notes
    -----
    Koenker & Bassett 1978, Econometrica 46, 33-50 (from memory).

    Examples
    --------
    >>> pinball(10.0, [8.0, 12.0], 0.9).round(2)
    array([1.8, 0.2])
    """
    miss = np.asarray(truth, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    result: Array = np.maximum(np.asarray(level) * miss, (np.asarray(level) - 1.0) * miss)
    return result


def crps_from_quantiles(truth: ArrayLike, quantiles: ArrayLike, levels: ArrayLike) -> Array:
    """Continuous ranked probability score of a forecast given by some of its quantiles, in the unit of the truth.

    Parameters
    ----------
    truth : array, shape (n,)
    quantiles : array, shape (n, k)
        Ascending along the second axis.
    levels : array, shape (k,)
        Ascending, between 0 and 1.

    Notes
    -----
    Twice the pinball loss, averaged over all levels (Laio & Tamea 2007, Hydrol. Earth Syst. Sci. 11, 1267-1277, from
    memory). Between the quantiles given the quantile function is taken as straight, outside them as flat: what is not
    said about the tails is not made up. The same rule for every method keeps the comparison fair.

    Examples
    --------
    A forecast that is sure of one value scores its absolute error:

    >>> crps_from_quantiles([10.0], [[7.0, 7.0, 7.0]], [0.1, 0.5, 0.9]).round(6)
    array([3.])
    """
    known, at = np.atleast_2d(np.asarray(quantiles, dtype=np.float64)), np.asarray(levels, dtype=np.float64)
    if known.shape[1] != at.size or np.any(np.diff(at) <= 0.0):
        raise ValueError(f"levels must ascend, one for each quantile: {at.size} for {known.shape[1]}")
    step = np.clip(np.searchsorted(at, FINE_LEVELS) - 1, 0, at.size - 2)
    share = np.clip((FINE_LEVELS - at[step]) / (at[step + 1] - at[step]), 0.0, 1.0)
    fine = known[:, step] * (1.0 - share) + known[:, step + 1] * share
    result: Array = 2.0 * np.mean(pinball(np.asarray(truth, dtype=np.float64)[:, None], fine, FINE_LEVELS), axis=1)
    return result


def interval_score(truth: ArrayLike, low: ArrayLike, high: ArrayLike, coverage: float) -> Array:
    """Winkler's score of a central interval: its width, and a penalty for each miss by how far it missed.

    Parameters
    ----------
    truth, low, high : float or array
        In one unit, which is that of the score.
    coverage
        Nominal, between 0 and 1.

    Raises
    ------
    ValueError
        When the coverage is none.

    Notes
    -----
    Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102, 359-378 (from memory).

    Examples
    --------
    >>> interval_score([5.0, 12.0], 0.0, 10.0, 0.9).round(6)
    array([10., 50.])
    """
    if not 0.0 < coverage < 1.0:
        raise ValueError(f"coverage = {coverage} must lie between 0 and 1")
    true, lower, upper = (np.asarray(each, dtype=np.float64) for each in (truth, low, high))
    missed = np.maximum(lower - true, 0.0) + np.maximum(true - upper, 0.0)
    result: Array = upper - lower + 2.0 / (1.0 - coverage) * missed
    return result


def is_covered(truth: ArrayLike, low: ArrayLike, high: ArrayLike) -> NDArray[np.bool_]:
    """Whether the truth lies in the interval, its ends included. The mean of it is the coverage."""
    true = np.asarray(truth, dtype=np.float64)
    result: NDArray[np.bool_] = (np.asarray(low) <= true) & (true <= np.asarray(high))
    return result


def reliability(truth: ArrayLike, quantiles: ArrayLike) -> Array:
    """Share of truths at or below each quantile; equal to the levels when the forecasts are honest.

    Parameters
    ----------
    truth : array, shape (n,)
    quantiles : array, shape (n, k)
        In the unit of the truth.

    Returns
    -------
    array, shape (k,)
        0..1; a truth that equals its quantile counts half.
    """
    true, known = np.asarray(truth, dtype=np.float64)[:, None], np.asarray(quantiles, dtype=np.float64)
    result: Array = np.mean((true < known) + 0.5 * (true == known), axis=0)
    return result
