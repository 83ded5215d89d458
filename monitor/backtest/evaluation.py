"""Every method on every recording: training of the baselines first, then one forecast at each judged moment."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from monitor.archive.replay import Estimate, known_at
from monitor.backtest.baselines import (
    BASELINES,
    CLOCK,
    HORIZON_S,
    BaselineInput,
    Baselines,
    TrainingOutcome,
    baseline_input,
    clock_from,
    training_outcome,
)
from monitor.backtest.conformal import ConformalCalibration, PointForecast, calibrate
from monitor.backtest.local_trend import tuned
from monitor.backtest.locations import RecordingLocation
from monitor.backtest.parallel import CountProgress, TaskMap
from monitor.backtest.recordings import Labels, Moment, Recording, moments_of
from monitor.clock import SystemClock
from monitor.dough.forecast import MOMENT_QUANTILES, outlook
from monitor.dough.learning import READY
from monitor.dough.outlook import Moments, Outlook
from monitor.dough.scores import censored

Array = NDArray[np.float64]
Progress = Callable[[str, int, int], None]

ESTIMATOR = "estimator"
METHODS = (ESTIMATOR, *BASELINES)
LEVELS = np.array(list(MOMENT_QUANTILES.values()))
TUNED_ON = 80  # training courses whose likelihood tunes the local trend: more no longer move it
N_PARTS = 5  # of a cross-validation
CALLED_EVERY_S = 120.0
CALLED_AT_LEAST_EVERY_S = 900.0
CALLED_OFF_S = 600.0  # a call is early or late by more than this


@dataclass(frozen=True, slots=True)
class Forecast:
    """One method's forecast at one judged moment, and the truth: quantiles of the time from now. [s]

    Both are put at the horizon where they lie beyond it. ``cost_s`` is what the forecast took to make.
    """

    recording: str
    labels: Labels
    method: str
    what: str
    share: float
    at_s: float
    true_ahead_s: float
    quantiles_s: tuple[float, ...]
    cost_s: float


@dataclass(frozen=True, slots=True)
class ReadyCall:
    """When a method first called a dough ready, against the truth: late is positive, never is infinity. [s]"""

    recording: str
    labels: Labels
    method: str
    off_s: float


@dataclass(frozen=True, slots=True)
class TrainingCase:
    """A training dough at one judged moment."""

    labels: Labels
    moment: Moment
    view: BaselineInput


@dataclass(frozen=True, slots=True)
class TrainedBaselines:
    """The baselines and their calibrations, by method, what, and share."""

    baselines: Baselines
    calibrations: dict[tuple[str, str, float], ConformalCalibration]


def _true_ahead_s(moment: Moment) -> float:
    return float(censored(moment.truth_s - moment.at_s, HORIZON_S))


def training_cases(location: RecordingLocation, estimate: Estimate) -> tuple[TrainingOutcome, list[TrainingCase]]:
    """What a training recording teaches."""
    recording = location.load(estimate)
    cases = [
        TrainingCase(recording.labels, moment, baseline_input(recording, moment.at_s))
        for moment in moments_of(recording)
    ]
    return training_outcome(recording), cases


def point_forecasts(case: TrainingCase, baselines: Baselines) -> dict[str, PointForecast | None]:
    """What each baseline says of a training dough."""
    return {method: baselines.point_forecast(method, case.moment.what, case.labels, case.view) for method in BASELINES}


def train(
    looked: Sequence[tuple[TrainingOutcome, list[TrainingCase]]], each: TaskMap, progress: CountProgress
) -> TrainedBaselines:
    """The baselines tuned and calibrated on training doughs."""
    cases = [case for _, found in looked for case in found]
    last = [found[-1].view.course for _, found in looked if found]
    step = max(1, len(last) // TUNED_ON)
    baselines = Baselines(clock_from([outcome for outcome, _ in looked]), tuned(last[::step]))
    by_case = each(partial(point_forecasts, baselines=baselines), cases, progress)
    calibrations = {}
    for key in {(method, s.moment.what, s.moment.share) for s in cases for method in BASELINES}:
        method, what, share = key
        pairs = [
            (point, _true_ahead_s(case.moment))
            for case, by_method in zip(cases, by_case, strict=True)
            if (case.moment.what, case.moment.share) == (what, share) and (point := by_method[method]) is not None
        ]
        if pairs:
            calibrations[key] = calibrate([point for point, _ in pairs], [truth for _, truth in pairs], LEVELS)
    return TrainedBaselines(baselines, calibrations)


def _quantiles_s(moments: Moments, found: Outlook) -> Array:
    quantiles = (getattr(moments, name) for name in MOMENT_QUANTILES)
    return np.array([np.inf if at is None else (at - found.at).total_seconds() for at in quantiles])


class _RecordingBaseline:
    """One baseline on one recording, with the clock standing in where it is silent."""

    def __init__(self, recording: Recording, method: str, trained: TrainedBaselines) -> None:
        self.recording, self.method, self.trained = recording, method, trained

    def point_forecast(self, what: str, view: BaselineInput) -> tuple[str, PointForecast] | None:
        for method in (self.method, CLOCK):
            point = self.trained.baselines.point_forecast(method, what, self.recording.labels, view)
            if point is not None:
                return method, point
        return None

    def quantiles_s(self, moment: Moment, view: BaselineInput) -> Array:
        found = self.point_forecast(moment.what, view)
        calibration = found and self.trained.calibrations.get((found[0], moment.what, moment.share))
        if found is None or calibration is None:
            return np.full(LEVELS.size, np.inf)
        return calibration.quantiles_s(found[1], LEVELS)

    def ahead_s(self, now_s: float) -> float:
        """How far off *ready* is by the point forecast: a calibration for one moment fits no other."""
        found = self.point_forecast(READY, baseline_input(self.recording, now_s))
        return np.inf if found is None else found[1].ahead_s


def called_s(ahead_s: Callable[[float], float], from_s: float, until_s: float) -> float:
    """When a dough is first called ready; infinity when it is not by ``until_s``.

    A dough that is far from ready is not asked about every minute: the next look is at half the time it still needs,
    two minutes on at the least and a quarter of an hour at the most.
    """
    now_s = from_s
    while now_s <= until_s:
        ahead = ahead_s(now_s)
        if ahead <= 0.0:
            return now_s
        now_s += min(max(CALLED_EVERY_S, 0.5 * ahead), CALLED_AT_LEAST_EVERY_S)
    return np.inf


def evaluate(
    location: RecordingLocation, trained: TrainedBaselines, has_calls: bool, estimate: Estimate
) -> tuple[list[Forecast], list[ReadyCall]]:
    """All forecasts, and unless they are not wanted all calls, of all methods on one recording."""
    recording = location.load(estimate)
    clock = SystemClock()
    batch, labels = recording.batch, recording.labels
    baselines = {method: _RecordingBaseline(recording, method, trained) for method in BASELINES}
    moments = moments_of(recording)
    forecasts = []

    def estimated(now_s: float) -> Outlook:
        at = batch.started_at + timedelta(seconds=now_s)
        return estimate(known_at(batch, at), recording.track, at)

    for moment in moments:
        began_s = clock.real_s()
        found = estimated(moment.at_s)
        cost_s = clock.real_s() - began_s
        answers = {ESTIMATOR: (_quantiles_s(found.ready if moment.what == READY else found.peak, found), cost_s)}
        view = baseline_input(recording, moment.at_s)
        for method, baseline in baselines.items():
            began_s = clock.real_s()
            quantiles = baseline.quantiles_s(moment, view)
            answers[method] = (quantiles, clock.real_s() - began_s)
        forecasts += [
            Forecast(
                recording=recording.name,
                labels=labels,
                method=method,
                what=moment.what,
                share=moment.share,
                at_s=moment.at_s,
                true_ahead_s=_true_ahead_s(moment),
                quantiles_s=tuple(censored(quantiles, HORIZON_S).tolist()),
                cost_s=cost_s,
            )
            for method, (quantiles, cost_s) in answers.items()
        ]
    return forecasts, _calls(recording, moments, baselines, estimated) if has_calls else []


def _calls(
    recording: Recording,
    moments: Sequence[Moment],
    baselines: dict[str, _RecordingBaseline],
    estimated: Callable[[float], Outlook],
) -> list[ReadyCall]:
    ready = [moment for moment in moments if moment.what == READY]
    if not ready:
        return []
    from_s = next((moment.at_s for moment in ready if moment.share >= 0.5), ready[-1].at_s)
    end_s = recording.track.last_t_s or from_s
    until_s = min(recording.ready_s + CALLED_OFF_S, end_s)

    def estimator_ahead_s(now_s: float) -> float:
        found = estimated(now_s)
        return np.inf if found.ready.p50 is None else (found.ready.p50 - found.at).total_seconds()

    ahead_by_method = {
        ESTIMATOR: estimator_ahead_s,
        **{method: baseline.ahead_s for method, baseline in baselines.items()},
    }
    calls = []
    for method, ahead_s in ahead_by_method.items():
        at_s = called_s(ahead_s, from_s, until_s)
        off_s = at_s - recording.ready_s
        if not np.isfinite(recording.ready_s):  # never ready: silence is right, any call is early
            off_s = -np.inf if np.isfinite(at_s) else 0.0
        calls.append(ReadyCall(recording.name, recording.labels, method, off_s))
    return calls


@dataclass(frozen=True, slots=True)
class Split:
    """Recordings that the baselines learn from, and others on which everything is judged."""

    training: tuple[RecordingLocation, ...]
    test: tuple[RecordingLocation, ...]


def cross_validated(recordings: Sequence[RecordingLocation]) -> list[Split]:
    """Splits in which every recording is judged once, by baselines that learned from the others."""
    numbered = list(enumerate(recordings))
    return [
        Split(
            tuple(each for number, each in numbered if number % N_PARTS != part),
            tuple(each for number, each in numbered if number % N_PARTS == part),
        )
        for part in range(min(N_PARTS, len(numbered)))
    ]


def run(
    splits: Sequence[Split], each: TaskMap, progress: Progress, *, has_calls: bool = True, estimate: Estimate = outlook
) -> tuple[list[Forecast], list[ReadyCall]]:
    """Train on some recordings, evaluate on others, each wherever it is sent; without calls it takes half the time."""
    known = list(dict.fromkeys(location for split in splits for location in split.training))
    looking = each(partial(training_cases, estimate=estimate), known, partial(progress, "looking at training doughs"))
    looked = dict(zip(known, looking, strict=True))
    forecasts: list[Forecast] = []
    calls: list[ReadyCall] = []
    for number, split in enumerate(splits, start=1):
        part = f" {number} of {len(splits)}" if len(splits) > 1 else ""
        report = partial(progress, f"training{part}")
        trained = train([looked[location] for location in split.training], each, report)
        evaluating = partial(evaluate, trained=trained, has_calls=has_calls, estimate=estimate)
        for found in each(evaluating, split.test, partial(progress, f"forecasting{part}")):
            forecasts += found[0]
            calls += found[1]
    return forecasts, calls
