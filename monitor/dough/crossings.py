"""When possible courses reach a level and their peak, and quantiles of that."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def weighted_quantiles(values: Array, weights: Array, quantiles: Array) -> Array:
    """Quantiles of weighted values, each the smallest value with at least that much weight up to its middle.

    Parameters
    ----------
    values : array, shape (n,)
        In any unit; infinite for "later than everything".
    weights : array, shape (n,)
        Summing to one.
    quantiles : array, shape (k,)
        Levels, 0..1.

    Returns
    -------
    array, shape (k,)
        Infinite where the quantile falls on infinite values.
    """
    order = np.argsort(values, kind="stable")
    values, weights = values[order], weights[order]
    middle = np.cumsum(weights) - 0.5 * weights
    finite = np.isfinite(values)
    if not np.any(finite):
        return np.full(quantiles.shape, np.inf)
    result = np.interp(quantiles, middle[finite], values[finite])
    result[quantiles > np.sum(weights[finite])] = np.inf
    return result


def crossing_s(t_s: Array, paths: Array, target_frac: float, from_step: int) -> Array:
    """First time each path reaches the target at or after a step; infinity for never. Shape (n_members,). [s]"""
    above = paths[:, from_step:] >= target_frac
    step = np.argmax(above, axis=1) + from_step
    reached = np.any(above, axis=1)
    before = np.maximum(step - 1, from_step)
    rows = np.arange(paths.shape[0])
    low, high = paths[rows, before], paths[rows, step]
    gain = high - low
    share = np.clip(np.divide(target_frac - low, gain, out=np.ones_like(gain), where=gain > 0), 0.0, 1.0)
    at_s = t_s[before] + share * (t_s[step] - t_s[before])
    return np.where(reached, at_s, np.inf)


def peak_s(t_s: Array, paths: Array, from_step: int) -> Array:
    """Time of the greatest rise of each path at or after a step; infinity when it is still rising at the end. [s]"""
    step = np.argmax(paths[:, from_step:], axis=1) + from_step
    inner = np.clip(step, from_step + 1, t_s.size - 2)
    rows = np.arange(paths.shape[0])
    left, middle, right = t_s[inner - 1], t_s[inner], t_s[inner + 1]
    slope_in = (paths[rows, inner] - paths[rows, inner - 1]) / (middle - left)
    slope_out = (paths[rows, inner + 1] - paths[rows, inner]) / (right - middle)
    bend = slope_in - slope_out
    # Where the slope, taken as linear between the midpoints of the two steps, passes zero.
    share = np.divide(slope_in, bend, out=np.full_like(bend, 0.5), where=bend > 0)
    vertex = 0.5 * (left + middle) + np.clip(share, 0.0, 1.0) * 0.5 * (right - left)
    vertex = np.where(step == from_step, t_s[from_step], vertex)
    return np.where(step == t_s.size - 1, np.inf, vertex)
