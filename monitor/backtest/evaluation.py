"""Every method on every recording: training of the alternatives first, then one forecast at each judged moment."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from monitor.archive.replay import Estimate, known_at
from monitor.backtest.alternatives import (
    ALTERNATIVES,
    CLOCK,
    HORIZON_S,
    Alternatives,
    Fate,
    View,
    clock_from,
    fate_of,
    view_of,
)
from monitor.backtest.conformal import Bare, Calibration, calibrated
from monitor.backtest.local_trend import tuned
from monitor.backtest.locations import Origin
from monitor.backtest.parallel import Spread, Told
from monitor.backtest.recordings import READY, Labels, Moment, Recording, moments_of
from monitor.clock import SystemClock
from monitor.dough.forecast import MOMENT_QUANTILES, outlook
from monitor.dough.outlook import Moments, Outlook
from monitor.dough.scores import censored

Array = NDArray[np.float64]
Progress = Callable[[str, int, int], None]

ESTIMATOR = "estimator"
METHODS = (ESTIMATOR, *ALTERNATIVES)
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
class Call:
    """When a method first called a dough ready, against the truth: late is positive, never is infinity. [s]"""

    recording: str
    labels: Labels
    method: str
    off_s: float


@dataclass(frozen=True, slots=True)
class Sight:
    """A training dough at one judged moment."""

    labels: Labels
    moment: Moment
    view: View


@dataclass(frozen=True, slots=True)
class Trained:
    """The alternatives and their calibrations, by method, what, and share."""

    alternatives: Alternatives
    calibrations: dict[tuple[str, str, float], Calibration]


def _true_ahead_s(moment: Moment) -> float:
    return float(censored(moment.truth_s - moment.at_s, HORIZON_S))


def look(origin: Origin, estimate: Estimate) -> tuple[Fate, list[Sight]]:
    """What a training recording teaches."""
    recording = origin.load(estimate)
    sights = [Sight(recording.labels, moment, view_of(recording, moment.at_s)) for moment in moments_of(recording)]
    return fate_of(recording), sights


def bares(sight: Sight, alternatives: Alternatives) -> dict[str, Bare | None]:
    """What each alternative says of a training dough."""
    return {method: alternatives.bare(method, sight.moment.what, sight.labels, sight.view) for method in ALTERNATIVES}


def train(looked: Sequence[tuple[Fate, list[Sight]]], each: Spread, progress: Told) -> Trained:
    """The alternatives tuned and calibrated on training doughs."""
    sights = [sight for _, found in looked for sight in found]
    last = [found[-1].view.course for _, found in looked if found]
    step = max(1, len(last) // TUNED_ON)
    alternatives = Alternatives(clock_from([fate for fate, _ in looked]), tuned(last[::step]))
    said = each(partial(bares, alternatives=alternatives), sights, progress)
    calibrations = {}
    for key in {(method, s.moment.what, s.moment.share) for s in sights for method in ALTERNATIVES}:
        method, what, share = key
        pairs = [
            (bare, _true_ahead_s(sight.moment))
            for sight, by_method in zip(sights, said, strict=True)
            if (sight.moment.what, sight.moment.share) == (what, share) and (bare := by_method[method]) is not None
        ]
        if pairs:
            calibrations[key] = calibrated([bare for bare, _ in pairs], [truth for _, truth in pairs], LEVELS)
    return Trained(alternatives, calibrations)


def _quantiles_s(moments: Moments, found: Outlook) -> Array:
    quantiles = (getattr(moments, name) for name in MOMENT_QUANTILES)
    return np.array([np.inf if at is None else (at - found.at).total_seconds() for at in quantiles])


class _Rival:
    """One alternative on one recording, with the clock standing in where it is silent."""

    def __init__(self, recording: Recording, method: str, trained: Trained) -> None:
        self.recording, self.method, self.trained = recording, method, trained

    def bare(self, what: str, view: View) -> tuple[str, Bare] | None:
        for method in (self.method, CLOCK):
            bare = self.trained.alternatives.bare(method, what, self.recording.labels, view)
            if bare is not None:
                return method, bare
        return None

    def quantiles_s(self, moment: Moment, view: View) -> Array:
        said = self.bare(moment.what, view)
        calibration = said and self.trained.calibrations.get((said[0], moment.what, moment.share))
        if said is None or calibration is None:
            return np.full(LEVELS.size, np.inf)
        return calibration.quantiles_s(said[1], LEVELS)

    def ahead_s(self, now_s: float) -> float:
        """How far off *ready* is by the bare forecast: a calibration for one moment fits no other."""
        said = self.bare(READY, view_of(self.recording, now_s))
        return np.inf if said is None else said[1].ahead_s


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


def compete(origin: Origin, trained: Trained, has_calls: bool, estimate: Estimate) -> tuple[list[Forecast], list[Call]]:
    """All forecasts, and unless they are not wanted all calls, of all methods on one recording."""
    recording = origin.load(estimate)
    clock = SystemClock()
    batch, labels = recording.batch, recording.labels
    rivals = {method: _Rival(recording, method, trained) for method in ALTERNATIVES}
    moments = moments_of(recording)
    forecasts = []

    def estimated(now_s: float) -> Outlook:
        at = batch.started_at + timedelta(seconds=now_s)
        return estimate(known_at(batch, at), recording.track, at)

    for moment in moments:
        began_s = clock.real_s()
        found = estimated(moment.at_s)
        cost_s = clock.real_s() - began_s
        said = {ESTIMATOR: (_quantiles_s(found.ready if moment.what == READY else found.peak, found), cost_s)}
        view = view_of(recording, moment.at_s)
        for method, rival in rivals.items():
            began_s = clock.real_s()
            quantiles = rival.quantiles_s(moment, view)
            said[method] = (quantiles, clock.real_s() - began_s)
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
            for method, (quantiles, cost_s) in said.items()
        ]
    return forecasts, _calls(recording, moments, rivals, estimated) if has_calls else []


def _calls(
    recording: Recording, moments: Sequence[Moment], rivals: dict[str, _Rival], estimated: Callable[[float], Outlook]
) -> list[Call]:
    ready = [moment for moment in moments if moment.what == READY]
    if not ready:
        return []
    from_s = next((moment.at_s for moment in ready if moment.share >= 0.5), ready[-1].at_s)
    end_s = recording.track.last_t_s or from_s
    until_s = min(recording.ready_s + CALLED_OFF_S, end_s)

    def estimator_ahead_s(now_s: float) -> float:
        found = estimated(now_s)
        return np.inf if found.ready.p50 is None else (found.ready.p50 - found.at).total_seconds()

    asked = {ESTIMATOR: estimator_ahead_s, **{method: rival.ahead_s for method, rival in rivals.items()}}
    calls = []
    for method, ahead_s in asked.items():
        at_s = called_s(ahead_s, from_s, until_s)
        off_s = at_s - recording.ready_s
        if not np.isfinite(recording.ready_s):  # never ready: silence is right, any call is early
            off_s = -np.inf if np.isfinite(at_s) else 0.0
        calls.append(Call(recording.name, recording.labels, method, off_s))
    return calls


@dataclass(frozen=True, slots=True)
class Split:
    """Recordings that the alternatives learn from, and others on which everything is judged."""

    training: tuple[Origin, ...]
    test: tuple[Origin, ...]


def cross_validated(recordings: Sequence[Origin]) -> list[Split]:
    """Splits in which every recording is judged once, by alternatives that learned from the others."""
    numbered = list(enumerate(recordings))
    return [
        Split(
            tuple(each for number, each in numbered if number % N_PARTS != part),
            tuple(each for number, each in numbered if number % N_PARTS == part),
        )
        for part in range(min(N_PARTS, len(numbered)))
    ]


def run(
    splits: Sequence[Split], each: Spread, progress: Progress, *, has_calls: bool = True, estimate: Estimate = outlook
) -> tuple[list[Forecast], list[Call]]:
    """Train on some recordings, compete on others, each wherever it is sent; without calls it takes half the time."""
    known = list(dict.fromkeys(origin for split in splits for origin in split.training))
    looking = each(partial(look, estimate=estimate), known, partial(progress, "looking at training doughs"))
    looked = dict(zip(known, looking, strict=True))
    forecasts: list[Forecast] = []
    calls: list[Call] = []
    for number, split in enumerate(splits, start=1):
        part = f" {number} of {len(splits)}" if len(splits) > 1 else ""
        told = partial(progress, f"training{part}")
        trained = train([looked[origin] for origin in split.training], each, told)
        competing = partial(compete, trained=trained, has_calls=has_calls, estimate=estimate)
        for found in each(competing, split.test, partial(progress, f"forecasting{part}")):
            forecasts += found[0]
            calls += found[1]
    return forecasts, calls
