"""What else a baker or an engineer could forecast with: the recipe's clock, a straight line, a fit, a local trend.

Each is given what the estimator is given: the same cleaned heights (:mod:`monitor.dough.observations`), the same folds,
the same target. Where one has nothing to say, the recipe's clock speaks for it, as it would in a bakery.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from monitor.archive.replay import known_at
from monitor.backtest.conformal import PointForecast
from monitor.backtest.local_trend import Course, TrendNumbers, follow
from monitor.backtest.recordings import Labels, Recording
from monitor.dough.growth_fit import CURVES, Curve, curve_slopes, fit_curve, growth_start
from monitor.dough.kinetics import richards_time_h
from monitor.dough.learning import PEAK, READY
from monitor.dough.observations import observations, rise_over_batch_start

Array = NDArray[np.float64]

CLOCK = "recipe's clock"
LINE = "straight line"
GROWTH = "growth curve fit"
TREND = "local trend"
BASELINES = (CLOCK, LINE, GROWTH, TREND)

HORIZON_S = 24.0 * 3600.0
LINE_SPAN_S = 1800.0
LEAST_LINE_POINTS = 3
LEAST_SLOPE_PER_H = 0.005  # judgement: a line this flat says nothing of when
LEAST_GROUP = 6  # judgement: training doughs of one kind from which a median is taken
FARTHEST_H = HORIZON_S / 3600.0
LEAST_CURVE_POINTS = 6
TOPPED_OUT = 0.97  # judgement: a growth curve has no peak; where it has all but stopped is taken for one
CURVE_SD = 0.03  # chosen on training doughs: what no dough comes nearer to a growth curve than; helps every fit
GROWTH_LOW = (0.1, 0.01, -1.0)  # judgement: greatest rise [-], steepest slope [1/h] and lag [h] of any dough
GROWTH_HIGH = (6.0, 6.0, 24.0)
FOLD_LOSS = (0.0, 2.0)  # judgement: what a fold may take off the rise
GROWTH_TOLERANCE = 1e-5


@dataclass(frozen=True, slots=True)
class BaselineInput:
    """What a baseline may look at: the age of the batch, its target (None: its peak) and its course so far."""

    now_s: float
    target_frac: float | None
    course: Course


def baseline_input(recording: Recording, now_s: float) -> BaselineInput:
    """What could be known of a recording at a moment."""
    batch = recording.batch
    known = known_at(batch, batch.started_at + timedelta(seconds=now_s))
    seen = observations(known, recording.track.upto(now_s), now_s)
    target_frac = None if batch.target.rise_pct is None else batch.target.rise_pct / 100.0
    if seen is None:
        return BaselineInput(now_s, target_frac, Course(np.empty(0), np.empty(0), np.empty(0)))
    share = 1.0 if batch.start_volume_ml is None else seen.start_volume_ml / batch.start_volume_ml
    rise = rise_over_batch_start(batch, seen.rise_frac, seen.start_volume_ml)
    folds_h = tuple(at_s / 3600.0 for at_s in sorted((*seen.folds_s, *seen.shifts_s)))
    return BaselineInput(now_s, target_frac, Course(seen.t_s / 3600.0, rise, seen.sd_frac * share, folds_h))


@dataclass(frozen=True, slots=True)
class RecipeClock:
    """Medians of the training doughs, by what a recipe and a bakery's records would tell: kind of dough and history.

    Attributes
    ----------
    times_s
        Median time from the start, by ``ready`` or ``peak`` and group.
    peaks_frac
        Median rise at the peak, by group.
    """

    times_s: Mapping[tuple[str, tuple[str, ...]], float]
    peaks_frac: Mapping[tuple[str, ...], float]

    def time_s(self, what: str, labels: Labels) -> float | None:
        """When the clock expects it, of the narrowest group known; None when it knows no such dough at all."""
        return next((self.times_s[what, group] for group in _groups(labels) if (what, group) in self.times_s), None)

    def peak_frac(self, labels: Labels) -> float | None:
        """The rise at which the clock expects the peak."""
        return next((self.peaks_frac[group] for group in _groups(labels) if group in self.peaks_frac), None)


def _groups(labels: Labels) -> tuple[tuple[str, ...], ...]:
    """The groups a dough belongs to, narrowest first; a simulator stands for a leaven."""
    return (
        ("dough and history", labels.dough, labels.history),
        ("leaven and history", labels.simulator, labels.history),
        ("dough", labels.dough),
        ("all",),
    )


@dataclass(frozen=True, slots=True)
class TrainingOutcome:
    """What became of one training dough. Times from the start, infinity for never."""

    labels: Labels
    ready_s: float
    peak_s: float
    peak_frac: float


def training_outcome(recording: Recording) -> TrainingOutcome:
    """The part of a recording that a clock is set by."""
    target_pct = recording.batch.target.rise_pct
    highest = float(np.max(recording.rise_pct, initial=0.0)) / 100.0
    return TrainingOutcome(
        recording.labels, np.inf if target_pct is None else recording.ready_s, recording.peak_s, highest
    )


def clock_from(outcomes: Sequence[TrainingOutcome]) -> RecipeClock:
    """The medians of training doughs, for every group that is large enough."""
    members: dict[tuple[str, ...], list[TrainingOutcome]] = {}
    for outcome in outcomes:
        for group in _groups(outcome.labels):
            members.setdefault(group, []).append(outcome)
    times_s: dict[tuple[str, tuple[str, ...]], float] = {}
    peaks_frac = {}
    for group, found in members.items():
        for what, values in (
            (READY, [outcome.ready_s for outcome in found]),
            (PEAK, [outcome.peak_s for outcome in found]),
        ):
            known = [value for value in values if np.isfinite(value)]
            if len(known) >= (1 if group == ("all",) else LEAST_GROUP):
                times_s[what, group] = float(np.median(known))
        heights = [outcome.peak_frac for outcome in found if np.isfinite(outcome.peak_s)]
        if len(heights) >= (1 if group == ("all",) else LEAST_GROUP):
            peaks_frac[group] = float(np.median(heights))
    return RecipeClock(times_s, peaks_frac)


@dataclass(frozen=True, slots=True)
class Baselines:
    """All baselines, trained."""

    clock: RecipeClock
    trend: TrendNumbers

    def point_forecast(self, method: str, what: str, labels: Labels, view: BaselineInput) -> PointForecast | None:
        """What one baseline says; None when it has nothing to say."""
        if method == CLOCK:
            time_s = self.clock.time_s(what, labels)
            return None if time_s is None else PointForecast(min(time_s - view.now_s, HORIZON_S), None, view.now_s)
        goal = view.target_frac if what == READY else self.clock.peak_frac(labels)
        if method == GROWTH:
            found = _growth(view, goal if what == READY else None)
        elif goal is None:
            found = None
        else:
            found = _line(view, goal) if method == LINE else _trend(view, goal, self.trend)
        if found is None or not found[0] <= HORIZON_S:
            return None
        return PointForecast(found[0], min(found[1], HORIZON_S), view.now_s)


def _line(view: BaselineInput, goal: float) -> tuple[float, float] | None:
    """Seconds from now until a straight line through the last half hour is at the goal, and the doubt of it."""
    course = view.course
    since_h = max((fold for fold in course.folds_h), default=0.0)
    usable = np.flatnonzero(course.t_h >= since_h)
    recent = usable[course.t_h[usable] >= (view.now_s - LINE_SPAN_S) / 3600.0]
    if recent.size < LEAST_LINE_POINTS:
        recent = usable[-LEAST_LINE_POINTS:]
    if recent.size < 2:
        return None
    t_h, rise, weight = course.t_h[recent] - view.now_s / 3600.0, course.rise[recent], course.sd[recent] ** -2.0
    middle, height = np.average(t_h, weights=weight), np.average(rise, weights=weight)
    bend = float(np.sum(weight * (t_h - middle) ** 2))
    slope = float(np.sum(weight * (t_h - middle) * (rise - height))) / bend
    level = height - slope * middle
    if level >= goal:
        return 0.0, 0.0
    if slope < LEAST_SLOPE_PER_H:
        return None
    ahead_h = (goal - level) / slope
    sd_h = np.sqrt(1.0 / np.sum(weight) + (ahead_h - middle) ** 2 / bend) / slope
    return float(3600.0 * ahead_h), float(3600.0 * sd_h)


def _trend(view: BaselineInput, goal: float, numbers: TrendNumbers) -> tuple[float, float] | None:
    """Seconds from now until the local trend is at the goal, and the doubt of it."""
    state = follow(view.course, numbers)
    if state is None:
        return None
    now = state.ahead(max(view.now_s / 3600.0 - state.t_h, 0.0), numbers)
    if now.level >= goal:
        return 0.0, 0.0
    if now.slope < LEAST_SLOPE_PER_H:
        return None
    ahead_h = (goal - now.level) / now.slope
    then = now.ahead(min(ahead_h, FARTHEST_H), numbers)
    return float(3600.0 * ahead_h), float(3600.0 * np.sqrt(then.p00) / now.slope)


def _growth(view: BaselineInput, goal: float | None) -> tuple[float, float] | None:
    """Seconds from now until a fitted growth curve is at the goal (None: has topped out), and the doubt of it.

    The better of logistic and Gompertz, in clock time; what each fold took off is fitted too. Tried on training doughs
    and left out, as neither made its scores better: telling it how high a dough usually rises (which helps at half the
    target but not at a quarter and three quarters), and making the curve reach the goal (it then creeps there for
    hours).
    """
    course = view.course
    folds_h = np.array([fold for fold in course.folds_h if np.any(course.t_h > fold)])
    if course.t_h.size < max(LEAST_CURVE_POINTS, 5 + folds_h.size):
        return None
    after = (course.t_h[:, None] > folds_h).astype(float)

    def folded(curve: Curve) -> Curve:
        return lambda t_h, numbers: curve(t_h, numbers[:, :3]) - numbers[:, 3:] @ after.T

    lost = np.full(folds_h.size, 0.1)
    low = np.array([*GROWTH_LOW, *np.full(folds_h.size, FOLD_LOSS[0])])
    high = np.array([*GROWTH_HIGH, *np.full(folds_h.size, FOLD_LOSS[1])])
    sd = np.hypot(course.sd, CURVE_SD)
    start = np.clip(np.concatenate([growth_start(course.t_h, course.rise + after @ lost), lost]), low, high)
    fits = {
        name: fit_curve(
            folded(curve), course.t_h, course.rise, start, sd=sd, low=low, high=high, tolerance=GROWTH_TOLERANCE
        )
        for name, (curve, _) in CURVES.items()
    }
    name = min(fits, key=lambda each: fits[each].rss)
    fit, shape = fits[name], CURVES[name][1]

    def reached_h(_: Array, numbers: Array) -> Array:
        level = TOPPED_OUT * numbers[:, 0] if goal is None else goal + np.sum(numbers[:, 3:], axis=1)
        return richards_time_h(level, numbers[:, 0], numbers[:, 1], numbers[:, 2], shape)[:, None]

    ahead_h = float(reached_h(course.t_h, fit.numbers[None])[0, 0]) - view.now_s / 3600.0
    if not np.isfinite(ahead_h):
        return None
    slopes = curve_slopes(reached_h, course.t_h[:1], fit.numbers)[0]
    variance = float(slopes @ fit.covariance @ slopes)
    sd_h = np.sqrt(variance) if variance >= 0.0 else FARTHEST_H  # NaN: the numbers cannot be told apart
    return 3600.0 * ahead_h, 3600.0 * float(sd_h)
