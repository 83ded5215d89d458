"""The rise of a dough as a closed-form curve in equivalent time: lag, growing yeast, leak towards a ceiling, collapse.

A member of the family is fixed by nine numbers and a slowly wandering rate. Everything is vectorised over many members
at once (axis 0) and over time (axis 1), so that thousands of possible doughs cost a few array operations.

    equivalent time   Theta(t) = integral of (gamma(T)/gamma(27 C))^e exp(b) dt                         [h at 27 C]
    yeast at work     G(Theta) = w softplus((Theta - L)/w) - w softplus(-L/w), then (exp(k G) - 1)/k where yeast grows
    ceiling           y = A F(s),  s = (R/A) G,  F(s) = s / (1 + s^p)^(1/p): straight at first, then leaking up to A;
                      A is set so that the rise at the peak, A F(s_peak), is the number that a prior speaks of
    collapse          past s = s_peak the crumb gives way: y falls by A D(kappa w_s softplus((s - s_peak)/w_s))
    fold              keeps a share of the rise and goes on from there

The shape is a judgement: it holds the logistic-like, Gompertz-like and straight-then-leaking courses of the mass
balance between them, where a single published sigmoid holds only its own.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

COLLAPSE_SHARE = 0.7  # judgement: a collapsed dough keeps at least 30 % of its ceiling
COLLAPSE_WIDTH = 0.12  # judgement: how sharply the collapse sets in, in units of s
SHAPE_NAMES = (
    "log_rate",  # ln of rise per equivalent hour, fraction of the start volume [1/h]
    "log_lag_h",  # ln of the lag L [h at 27 C]
    "log_waking",  # ln of w/L: how gradually the yeast wakes
    "log_growth",  # ln of the growth of the yeast at work, k [1/h]
    "log_ceiling",  # ln of what the rise at the peak, A F(s_peak), has over the least thought possible
    "log_sharpness",  # ln of p
    "log_peak",  # ln of s_peak
    "log_collapse",  # ln of kappa
    "temp_exponent",  # e: 1 when the cardinal card is right for this yeast
)
N_SHAPE = len(SHAPE_NAMES)


@dataclass(frozen=True, slots=True)
class Timeline:
    """The time steps a rise is computed on.

    Attributes
    ----------
    t_s : array, shape (n,)
        Ascending from 0. [s]
    log_gamma : array, shape (n - 1,)
        ln of the mean rate factor in each step, relative to 27 C.
    knots : array, shape (n - 1, n_knots)
        Weights that spread the rate offsets b over the steps.
    fold_steps : tuple of int
        Index into ``t_s`` of each fold.
    """

    t_s: Array
    log_gamma: Array
    knots: Array
    fold_steps: tuple[int, ...]

    def upto(self, step: int) -> "Timeline":
        """The part up to and including time step ``step``."""
        folds = tuple(min(fold, step) for fold in self.fold_steps)
        return Timeline(self.t_s[: step + 1], self.log_gamma[:step], self.knots[:step], folds)


def _softplus(x: Array) -> Array:
    return np.logaddexp(0.0, x)


def filling(s: Array, sharpness: Array) -> Array:
    """F(s): straight for small s, 1 for large. Both arguments broadcast."""
    return s / (1.0 + s**sharpness) ** (1.0 / sharpness)


def filling_inverse(share: Array, sharpness: Array) -> Array:
    """The s at which ``filling`` is ``share``; shares of 1 and more are taken just below it."""
    share = np.clip(share, 0.0, 0.999)
    return share / (1.0 - share**sharpness) ** (1.0 / sharpness)


def rise_paths(members: Array, timeline: Timeline, least_ceiling_frac: float) -> Array:
    """Fractional rise V/V0 - 1 of every member over the timeline.

    Parameters
    ----------
    members : array, shape (n_members, N_SHAPE + n_knots + n_folds)
        The numbers of ``SHAPE_NAMES``, the rate offsets b at the knots, and for each fold the logit of the share of the
        rise it keeps.
    least_ceiling_frac
        What the rise at no peak lies below, collapse left aside, as a fraction of the start volume.

    Returns
    -------
    array, shape (n_members, n_t)
    """
    n_knots = timeline.knots.shape[1]
    rate, lag_h, waking, growth, ceiling, sharpness, s_peak, collapse = np.exp(
        members[:, : N_SHAPE - 1, np.newaxis]
    ).transpose(1, 0, 2)
    ceiling = (least_ceiling_frac + ceiling) / filling(s_peak, sharpness)
    exponent = members[:, N_SHAPE - 1, np.newaxis]
    offsets = members[:, N_SHAPE : N_SHAPE + n_knots]
    hours = np.diff(timeline.t_s) / 3600.0
    steps = hours * np.exp(exponent * timeline.log_gamma + offsets @ timeline.knots.T)
    theta = np.concatenate([np.zeros((members.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)
    width = waking * lag_h
    awake = width * (_softplus((theta - lag_h) / width) - _softplus(-lag_h / width))
    # The exponent is held down where no dough goes any more; without it a sampled member could overflow.
    at_work = np.expm1(np.minimum(growth * awake, 12.0)) / growth
    s = at_work * rate / ceiling
    keeps = 1.0 / (1.0 + np.exp(-members[:, N_SHAPE + n_knots :]))
    for number, step in enumerate(timeline.fold_steps):
        kept = keeps[:, number, np.newaxis] * filling(s[:, step : step + 1], sharpness)
        s[:, step:] += filling_inverse(kept, sharpness) - s[:, step : step + 1]
    fallen = collapse * COLLAPSE_WIDTH * _softplus((s - s_peak) / COLLAPSE_WIDTH)
    path: Array = ceiling * (filling(s, sharpness) - COLLAPSE_SHARE * -np.expm1(-fallen / COLLAPSE_SHARE))
    return path
