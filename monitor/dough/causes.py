"""Why a finished dough was ready when it was: the estimator's own courses, run again as the baker had planned.

The courses that agree with the readings are kept as they are, with all that is particular to this dough, and only the
warmth, and then the yeast, are exchanged for the planned ones. What a cause was worth is the difference in minutes,
course by course, so that it comes with its doubt. What is left between the plan and that dough is the dough itself:
flour, starter, hands, and whatever the plan took too lightly.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from monitor.dough.artefacts import FOLD_KEEPS_LOGIT
from monitor.dough.crossings import weighted_quantiles
from monitor.dough.curve import N_SHAPE, Timeline, rise_paths
from monitor.dough.forecast import SLOWEST_FACTOR, courses_seen
from monitor.dough.gassing import gassing_cardinals
from monitor.dough.kinetics import relative_rate
from monitor.dough.observations import Observations, observations, rise_over_batch_start
from monitor.dough.outlook import Band, Moments, Outlook
from monitor.dough.prior import Prior, expected_rate_per_h, prior_of
from monitor.dough.rise import OFFSET_SD, SEED, Ensemble, hat_basis, knot_times_s
from monitor.dough.temperature import dough_temperature, thermal_tau_s
from monitor.dough.track import Track, seconds_since_start
from monitor.recipe.batch import Batch
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Intent

Array = NDArray[np.float64]

STEP_S = 120.0
LATER_STEP_S = 600.0  # past the end, where a dough only may have come
BEYOND_S = 18 * 3600.0  # judgement: a dough as planned that is not ready by then would not have been waited for
WARMER_BY_C = 0.5  # judgement: a difference that a probe in the dough shows surely
COLDEST_C, WARMEST_C = 5.0, 36.0  # judgement: between these a dough's warmth is advice
LEAST_YEAST, MOST_YEAST = 0.2, 5.0  # judgement: another share of it is another recipe
HALVINGS = 10  # of some thirty degrees: to a few hundredths
HEAVIEST = 96  # members that advice is worked out on: its middle alone is wanted
N_THOUGHT = 400
_BAND = np.array([0.05, 0.50, 0.95])


@dataclass(frozen=True, slots=True)
class Account:
    """Where the minutes of a stage went. All times are minutes since its start.

    Attributes
    ----------
    plan_min
        How long it was to take.
    plan_doubt_min
        The same with its doubt, when it was worked out and not the baker's own word; None otherwise.
    warmth_min, yeast_min, rest_min
        What the warmth of the dough, its yeast, and the dough itself were worth; below zero it was ready earlier for
        it. The middles add up from the plan to ``ready_min``. ``yeast_min`` is None when it was as planned.
    ready_min, peak_min
        When it was ready, and at its peak, in hindsight; None when that had not come by the end.
    taken_min
        When it was taken away.
    warmer_c
        By how much the dough was warmer than planned, in the mean up to when it was ready (or taken). [C]
    warmer_h
        For how long it was off by more than a probe's doubt, in that direction. [h]
    wanted_temp_c
        How warm a dough like this one would have to be to be ready as planned; None when no warmth does it. [C]
    wanted_yeast_frac
        The share of its leavening with which it would have been ready as planned in the warmth it had; None when no
        reasonable one does it, or nothing is known of its formula.
    """

    intent: Intent
    plan_min: float
    plan_doubt_min: Band | None
    warmth_min: Band
    yeast_min: Band | None
    rest_min: Band
    ready_min: Band | None
    peak_min: Band | None
    taken_min: float
    warmer_c: float
    warmer_h: float
    wanted_temp_c: float | None
    wanted_yeast_frac: float | None


@dataclass(frozen=True, slots=True)
class _Rerun:
    """The courses of one dough, ready to be run in other warmth or with other yeast."""

    batch: Batch
    seen: Observations
    courses: Ensemble
    t_s: Array
    knots: Array
    folds: tuple[int, ...]
    actual_c: Array
    least_ceiling_frac: float

    def timeline(self, dough_c: Array) -> Timeline:
        factor = relative_rate(dough_c, gassing_cardinals(self.batch.formula))
        mean = 0.5 * (factor[1:] + factor[:-1])
        return Timeline(
            self.t_s, np.log(np.maximum(mean, SLOWEST_FACTOR)), self.knots, np.array(self.folds, dtype=np.intp)
        )

    def paths(self, dough_c: Array, log_rate_shift: float = 0.0) -> Array:
        """Rise over the batch's start volume, fraction, shape (n_members, n_t)."""
        n_course = N_SHAPE + self.knots.shape[1] + len(self.folds)
        members = self.courses.members[:, :n_course].copy()
        members[:, 0] += log_rate_shift
        paths, _ = rise_paths(members, self.timeline(dough_c), self.least_ceiling_frac)
        start_ml = self.seen.start_volume_ml / (1.0 + self.courses.members[:, -1:])
        return rise_over_batch_start(self.batch, paths, start_ml)

    def ready_min(self, dough_c: Array, log_rate_shift: float = 0.0) -> Array:
        """Minutes until each course is ready, the end of what is looked at for one that is not, shape (n_members,)."""
        return _reached_min(self.batch, self.t_s, self.paths(dough_c, log_rate_shift), max(self.folds, default=0))

    def heaviest(self) -> "_Rerun":
        """The same with the likeliest courses alone."""
        courses = self.courses
        heavy = np.argsort(courses.weights)[-HEAVIEST:]
        weights = courses.weights[heavy] / np.sum(courses.weights[heavy])
        return replace(
            self, courses=Ensemble(courses.paths[heavy], courses.domes[heavy], weights, courses.members[heavy])
        )

    def middle(self, minutes: Array) -> float:
        return float(weighted_quantiles(minutes, self.courses.weights, np.array([0.5]))[0])

    def band(self, minutes: Array, middle: float) -> Band:
        """A band around a given middle, as wide as the courses differ."""
        low, mid, high = weighted_quantiles(minutes, self.courses.weights, _BAND)
        return Band(middle - float(mid - low), middle, middle + float(high - mid))


def _reached_min(batch: Batch, t_s: Array, paths: Array, from_step: int) -> Array:
    ahead = paths[:, from_step:]
    if batch.target.rise_pct is None:
        minutes: Array = t_s[from_step + np.argmax(ahead, axis=1)] / 60.0
        return minutes
    target = batch.target.rise_pct / 100.0
    above = ahead >= target
    step = np.argmax(above, axis=1) + from_step
    rows, before = np.arange(paths.shape[0]), np.maximum(step - 1, from_step)
    gain = paths[rows, step] - paths[rows, before]
    share = np.divide(target - paths[rows, before], gain, out=np.ones_like(gain), where=gain > 0.0)
    at_s = t_s[before] + np.clip(share, 0.0, 1.0) * (t_s[step] - t_s[before])
    reached: Array = np.where(np.any(above, axis=1), at_s, t_s[-1]) / 60.0
    return reached


def account_of(batch: Batch, track: Track, ended_at: datetime, intent: Intent, expected: Prior) -> Account | None:
    """Where the minutes of an ended stage went; None when no height was ever measured.

    Parameters
    ----------
    expected
        What was thought of the dough as planned, before it was looked at: for the plan's length where the baker gave
        none.
    """
    end_s = seconds_since_start(batch, ended_at)
    known = track.upto(end_s)
    seen = observations(batch, known, end_s)
    prior = prior_of(batch)
    courses = courses_seen(batch, known, ended_at, prior)
    if seen is None or courses is None:
        return None
    t_s = _grid_s(end_s, seen.folds_s)
    tau_s = thermal_tau_s(batch, seen.start_volume_ml)
    warmth = dough_temperature(known, tau_s, end_s, float(t_s[-1]))
    rerun = _Rerun(
        batch,
        seen,
        courses,
        t_s,
        hat_basis(0.5 * (t_s[1:] + t_s[:-1]), knot_times_s(end_s)),
        tuple(int(np.searchsorted(t_s, fold)) for fold in seen.folds_s),
        np.interp(t_s, warmth.t_s, warmth.dough_temp_c),
        prior.least_ceiling_frac,
    )
    return _account(rerun, end_s / 60.0, intent, expected)


def settled_by(account: Account, batch: Batch, last: Outlook) -> Account:
    """The account with ready and peak as the last estimate of the batch had them, which every screen shows."""
    return replace(
        account,
        ready_min=_come_min(batch, last.ready, account.taken_min),
        peak_min=_come_min(batch, last.peak, account.taken_min),
    )


def _come_min(batch: Batch, moments: Moments, taken_min: float) -> Band | None:
    if moments.p50 is None:
        return None
    low, middle, high = (
        seconds_since_start(batch, at or moments.p50) / 60.0 for at in (moments.p05, moments.p50, moments.p95)
    )
    return Band(low, middle, high) if middle <= taken_min else None


def _grid_s(end_s: float, folds_s: tuple[float, ...]) -> Array:
    past, later = np.arange(0.0, end_s, STEP_S), np.arange(end_s, end_s + BEYOND_S, LATER_STEP_S)
    grid: Array = np.unique(np.concatenate([past, later, folds_s]))
    return grid


def _account(rerun: _Rerun, taken_min: float, intent: Intent, expected: Prior) -> Account:
    planned_c = np.full_like(rerun.t_s, intent.dough_temp_c)
    yeast_shift = _rate_shift(rerun.batch.formula, intent.formula)
    actual = rerun.ready_min(rerun.actual_c)
    in_planned_warmth = rerun.ready_min(planned_c)
    as_planned = in_planned_warmth if yeast_shift is None else rerun.ready_min(planned_c, yeast_shift)
    doubt = None if intent.proof_min is not None else _expected_min(rerun, planned_c, expected)
    plan_min = intent.proof_min if doubt is None else doubt.p50
    assert plan_min is not None
    heavy = rerun.heaviest()
    middles = [rerun.middle(each) for each in (actual, in_planned_warmth, as_planned)]
    ready_min = rerun.band(actual, middles[0]) if middles[0] <= taken_min else None
    until = rerun.t_s <= 60.0 * min(middles[0], taken_min)
    off_c = rerun.actual_c[until] - intent.dough_temp_c
    warmer_c = float(np.mean(off_c))
    is_off = off_c * np.sign(warmer_c) > WARMER_BY_C
    return Account(
        intent=intent,
        plan_min=plan_min,
        plan_doubt_min=doubt,
        warmth_min=rerun.band(actual - in_planned_warmth, middles[0] - middles[1]),
        yeast_min=None if yeast_shift is None else rerun.band(in_planned_warmth - as_planned, middles[1] - middles[2]),
        rest_min=rerun.band(as_planned - plan_min, middles[2] - plan_min),
        ready_min=ready_min,
        peak_min=_peak(rerun, taken_min),
        taken_min=taken_min,
        warmer_c=warmer_c,
        warmer_h=float(np.mean(is_off)) * min(middles[0], taken_min) / 60.0,
        wanted_temp_c=_wanted_temp_c(heavy, plan_min),
        wanted_yeast_frac=_wanted_yeast_frac(heavy, plan_min),
    )


def _expected_min(rerun: _Rerun, planned_c: Array, expected: Prior) -> Band:
    """How long a dough as planned was thought to take, with its doubt, before anything was seen of it."""
    rng = np.random.default_rng(SEED)
    half = rng.standard_normal((N_THOUGHT // 2, N_SHAPE + 1))
    draws = np.concatenate([half, -half])
    root = np.linalg.cholesky(expected.covariance)
    keeps = np.full((N_THOUGHT, len(rerun.folds)), FOLD_KEEPS_LOGIT[0])
    # One knot for all time: how far the rate wanders off the curve, taken as lasting.
    members = np.hstack([expected.mean + draws[:, :N_SHAPE] @ root.T, OFFSET_SD * draws[:, N_SHAPE:], keeps])
    timeline = replace(rerun.timeline(planned_c), knots=np.ones((rerun.t_s.size - 1, 1)))
    paths, _ = rise_paths(members, timeline, expected.least_ceiling_frac)
    minutes = _reached_min(rerun.batch, rerun.t_s, paths, max(rerun.folds, default=0))
    low, middle, high = np.quantile(minutes, _BAND)
    return Band(float(low), float(middle), float(high))


def _peak(rerun: _Rerun, taken_min: float) -> Band | None:
    """When it was at its peak; None when that had not come for half of the courses by the end."""
    from_step = max(rerun.folds, default=0)
    paths = rerun.paths(rerun.actual_c)[:, from_step:]
    minutes: Array = rerun.t_s[from_step + np.argmax(paths, axis=1)] / 60.0
    middle = rerun.middle(minutes)
    return rerun.band(minutes, middle) if middle <= taken_min else None


def _rate_shift(made: Formula | None, planned: Formula | None) -> float | None:
    """What the planned formula would change of ln of the rate; None when it is the one that was made, or unknown."""
    one, other = expected_rate_per_h(made), expected_rate_per_h(planned)
    if one is None or other is None or made == planned:
        return None
    return float(np.log(other[0] / one[0]))


def _halved(low: float, high: float, is_too_late: Callable[[float], bool]) -> float | None:
    """Where, between two ends, a dough turns from too late to early enough; None when it does so nowhere between."""
    if not is_too_late(low) or is_too_late(high):
        return None
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_too_late(middle) else (low, middle)
    return 0.5 * (low + high)


def _wanted_temp_c(rerun: _Rerun, plan_min: float) -> float | None:
    def is_too_late(temp_c: float) -> bool:
        return rerun.middle(rerun.ready_min(np.full_like(rerun.t_s, temp_c))) > plan_min

    return _halved(COLDEST_C, WARMEST_C, is_too_late)


def _wanted_yeast_frac(rerun: _Rerun, plan_min: float) -> float | None:
    formula = rerun.batch.formula
    if formula is None or expected_rate_per_h(formula) is None:
        return None

    def is_too_late(log_frac: float) -> bool:
        shift = _rate_shift(formula, with_yeast(formula, float(np.exp(log_frac)))) or 0.0
        return rerun.middle(rerun.ready_min(rerun.actual_c, shift)) > plan_min

    found = _halved(float(np.log(LEAST_YEAST)), float(np.log(MOST_YEAST)), is_too_late)
    return None if found is None else float(np.exp(found))


def with_yeast(formula: Formula, frac: float) -> Formula:
    """The same formula with another share of everything that leavens it."""
    return replace(
        formula,
        instant_yeast_g=formula.instant_yeast_g * frac,
        active_dry_yeast_g=formula.active_dry_yeast_g * frac,
        fresh_yeast_g=formula.fresh_yeast_g * frac,
        osmotolerant_yeast_g=formula.osmotolerant_yeast_g * frac,
        sourdough_g=formula.sourdough_g * frac,
    )
