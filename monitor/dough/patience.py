"""How long a dough may stand without a visible rise before something is wrong with it."""

from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from monitor.dough.artefacts import FOLD_KEEPS_LOGIT
from monitor.dough.curve import Timeline, rise_paths
from monitor.dough.gassing import gassing_cardinals
from monitor.dough.kinetics import relative_rate
from monitor.dough.observations import BALL_FRAC, SETTLING_S, Observations, climb_frac
from monitor.dough.prior import SLUMP_TAU_S, Prior
from monitor.recipe.formula import Formula

Array = NDArray[np.float64]

PATIENCE = 0.01  # judgement: of live doughs like this one so many show less still
ROOM_C = 21.0  # judgement: where a dough that is not to be kept cold may stand
# judgement: of how far a dough sinks to the wall; how far a ball has sunk is hidden by its rise
SINKS_SD_LOG, BALL_SINKS_SD_LOG = 0.6, 1.2
# judgement: the slowest that is meant to rise within a day; what is asked of a dough whose leaven nobody told
SLOWEST = Formula(flour_g=100.0, water_g=70.0, salt_g=2.0, sourdough_g=10.0)
N_DOUGHS = 512
N_LOOKS = 24  # judgement: spans at which their climb is followed
SEED = 20260417


@cache
def _draws(n_numbers: int) -> Array:
    half = np.random.default_rng(SEED).standard_normal((N_DOUGHS // 2, n_numbers))
    return np.concatenate([half, -half])


def least_climb_frac(prior: Prior, timeline: Timeline, now_step: int, seen: Observations, rate_doubts: Array) -> float:
    """How far the level of all live doughs of a prior would have been seen to climb, but of one in a hundred. [-]

    Parameters
    ----------
    timeline, now_step
        The warmth that the dough had, at the times of what was seen, and the index of now.
    seen
        When and how it was looked at.
    rate_doubts : array, shape (n_causes, n_knots)
        One standard deviation of each thing not known of the warmth and what it does, as a shift of ln of the rate.

    Notes
    -----
    It asks how far they have come rather than when they begin, so that it holds for any family of curves and any
    warmth, and asks it of what a sensor sees: a shaped ball sinks to the wall as fast as it rises. A dough that shows
    less than nearly all of them is not slow, but dead.
    """
    n_causes, n_folds = rate_doubts.shape[0], timeline.fold_steps.size
    n = prior.mean.size
    draws = _draws(n + n_causes + 2)
    shapes = prior.mean + draws[:, :n] @ np.linalg.cholesky(prior.covariance).T
    folded = np.full((N_DOUGHS, n_folds), FOLD_KEEPS_LOGIT[0])
    members = np.concatenate([shapes, draws[:, n : n + n_causes] @ rate_doubts, folded], axis=1)
    # A ball was looked at before it had found the wall too.
    is_sinking = (timeline.t_s >= SETTLING_S) & (timeline.t_s < seen.t_s[0]) & (seen.spread_frac > 0.0)
    t_s = np.concatenate([timeline.t_s[is_sinking], seen.t_s])
    t_s = t_s[np.unique(np.linspace(0, t_s.size - 1, N_LOOKS).astype(np.intp))]
    past = timeline.upto(now_step + 1)
    rises, domes = rise_paths(members, past, prior.least_ceiling_frac, np.searchsorted(past.t_s, t_s))
    over_frac = max(prior.slump[0], seen.spread_frac)
    over_sd = BALL_SINKS_SD_LOG if over_frac > BALL_FRAC else SINKS_SD_LOG
    slump_frac = over_frac * np.exp(over_sd * draws[:, -2:-1])
    spread_s = SLUMP_TAU_S[0] * np.exp(SLUMP_TAU_S[1] * draws[:, -1:])
    levels = rises + domes * np.interp(t_s, seen.t_s, seen.dome_frac) + slump_frac * np.exp(-t_s / spread_s)
    return float(np.quantile(climb_frac(t_s, levels, (*seen.folds_s, *seen.shifts_s)), PATIENCE))


def in_a_room(timeline: Timeline, formula: Formula | None) -> Timeline:
    """The same times, in a room that is neither warm nor cold."""
    rate = float(relative_rate(np.array([ROOM_C]), gassing_cardinals(formula))[0])
    return replace(timeline, log_gamma=np.full_like(timeline.log_gamma, np.log(rate)))
