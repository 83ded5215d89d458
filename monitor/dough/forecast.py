"""What is known of a dough now and what will come of it: rise, ready, peak, state, each with its doubt."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from monitor.dough.artefacts import View, events_s, view
from monitor.dough.crossings import crossing_s, peak_s, weighted_quantiles
from monitor.dough.curve import Timeline
from monitor.dough.gassing import gassing_cardinals
from monitor.dough.kinetics import card_doubts, relative_rate
from monitor.dough.learning import PEAK, READY, RecipeExperience, Widths, widened
from monitor.dough.observations import Observations, observations, observations_in, rise_over_batch_start
from monitor.dough.outlook import (
    SILENCE_MIN,
    Band,
    Cause,
    FanPoint,
    Moments,
    NoForecast,
    Obstruction,
    ObstructionKind,
    Outlook,
    State,
    TargetEdge,
)
from monitor.dough.patience import SLOWEST, in_a_room, least_climb_frac
from monitor.dough.prior import Prior, expected_rate_per_h, prior_of
from monitor.dough.recalibration import ready_width, recalibrated_peak_s, rise_bands, unknown_peak_width
from monitor.dough.rise import Ensemble, EstimationProblem, ensembles, hat_basis, knot_times_s
from monitor.dough.temperature import AirStep, DoughTemperature, dough_temperature, thermal_tau_s
from monitor.dough.track import Series, Track, seconds_since_start
from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.recipe.formula import yeast_pct_instant_equivalent
from monitor.recipe.vessel import Vessel, level_mm, width_mm
from monitor.wire.readings import Channel

Array = NDArray[np.float64]

DEFAULT_HORIZON = timedelta(hours=24)
QUANTILES = np.array([0.05, 0.25, 0.50, 0.75, 0.95])
MOMENT_QUANTILES = {"p05": 0.05, "p10": 0.10, "p25": 0.25, "p50": 0.50, "p75": 0.75, "p90": 0.90, "p95": 0.95}
SLOWEST_FACTOR = 1e-3  # judgement: dough near freezing is slow, not dead; also keeps the logarithm finite
HEIGHT_WAIT_S = 900.0  # judgement: a height may still come; only after this is a rise worked out without any
NEARLY_READY_S = 900.0  # judgement: time to clear the bench
PEAK_SOON_S = 600.0  # the alert's ten minutes
PEAK_SETTLED_S = 120.0  # judgement: a peak this young may still be noise
PEAK_PASSED_CHANCE = 0.8  # judgement
FALLEN_FRAC = 0.02  # judgement: a fall a baker can see on the tub's wall
RISEN_FRAC = 0.05  # judgement: below this a dough still looks as it was put down
DRIFT_MM = 4.0  # judgement: a sensor may drift this far while nothing rises
NOISE_SDS = 2.0  # judgement: the highest and the lowest of many spans lie so far apart by noise
STIRS = 0.5  # judgement: a cold dough that has climbed by this share of it is slow, and will come
SURELY_RISEN = 2.0  # judgement: what has climbed by this many times what drift and noise can do is alive
LEAST_PATIENCE_S = 3600.0  # judgement: no dough is given up sooner
COLD_PATIENCE_S = 4.0 * 3600.0  # judgement: by then even a cold dough that is not retarded should show something
HIDDEN_S = 600.0  # judgement: after so long out of sight a dough's state is told by the late quantile
LATE = 0.95  # judgement: how likely a moment has come before it is said of a dough out of sight
LITTLE_YEAST_PCT = 0.15  # judgement: instant yeast on flour below which a rise takes most of a day
FAN_POINTS = 48
NEAR_STEP_S = 240.0  # judgement: where a rise bends within an hour, a straight line over this errs by a second or two
FAR_POINTS = 40  # judgement: each step a tenth of the way


def _future_s(now_s: float, horizon_s: float) -> Array:
    """Times ahead: every four minutes for an hour, then ever coarser; between them a course is nearly straight."""
    near = np.arange(NEAR_STEP_S, min(3600.0, horizon_s), NEAR_STEP_S)
    far = np.geomspace(3600.0, horizon_s, FAR_POINTS) if horizon_s > 3600.0 else np.array([horizon_s])
    return now_s + np.concatenate([near, far])


def _timeline(
    batch: Batch, warmth: DoughTemperature, seen: Observations | None, now_s: float, horizon_s: float
) -> tuple[Timeline, int]:
    """Time steps with their rate factors, and the index of now."""
    folds = seen.folds_s if seen is not None else events_s(batch, (EventKind.FOLD,), now_s)
    past = np.arange(0.0, now_s, max(60.0, now_s / 60.0))
    seen_s = seen.t_s if seen is not None else np.empty(0)
    if seen_s.size:  # a step beside a span's own would cost time and tell nothing
        beside = np.minimum(np.searchsorted(seen_s, past), seen_s.size - 1)
        apart_s = np.minimum(np.abs(seen_s[beside] - past), np.abs(seen_s[np.maximum(beside - 1, 0)] - past))
        past = past[(apart_s > 0.5 * max(60.0, now_s / 60.0)) | (past == 0.0)]
    t_s = np.unique(np.concatenate([past, seen_s, folds, [now_s], _future_s(now_s, horizon_s)]))
    factor = relative_rate(warmth.dough_temp_c, gassing_cardinals(batch.formula))
    # Mean over each step of the finely known factor: a cabinet's cycle is shorter than a far step.
    grown = np.concatenate([[0.0], np.cumsum(0.5 * (factor[1:] + factor[:-1]) * np.diff(warmth.t_s))])
    mean_factor = np.diff(np.interp(t_s, warmth.t_s, grown)) / np.diff(t_s)
    knots = hat_basis(0.5 * (t_s[1:] + t_s[:-1]), knot_times_s(now_s))
    fold_steps = np.searchsorted(t_s, np.array(folds)).astype(np.intp)
    timeline = Timeline(t_s, np.log(np.maximum(mean_factor, SLOWEST_FACTOR)), knots, fold_steps)
    return timeline, int(np.searchsorted(t_s, now_s))


def _rate_doubts(batch: Batch, warmth: DoughTemperature, now_s: float) -> Array:
    """What is not known of the warmth, and of what it does, as shifts of ln of the rate at the knots.

    Shape (n_causes, n_knots).
    """
    knots_s, cardinals = knot_times_s(now_s), gassing_cardinals(batch.formula)
    temp_c = np.interp(knots_s, warmth.t_s, warmth.dough_temp_c)
    around = relative_rate(temp_c + np.array([[-0.5], [0.5]]), cardinals)
    per_c = np.diff(np.log(np.maximum(around, SLOWEST_FACTOR)), axis=0)[0]
    shifts = per_c * np.stack([np.interp(knots_s, warmth.t_s, doubt) for doubt in warmth.doubts_c])
    return np.concatenate([shifts, card_doubts(temp_c, cardinals)])


def _quantiles_s(times_s: Array, weights: Array) -> Array:
    return weighted_quantiles(times_s, weights, np.array(list(MOMENT_QUANTILES.values())))


def _moments(batch: Batch, quantiles_s: Array) -> Moments:
    def moment(at_s: float) -> datetime | None:
        return batch.started_at + timedelta(seconds=round(at_s)) if np.isfinite(at_s) else None

    return Moments(**{name: moment(float(at_s)) for name, at_s in zip(MOMENT_QUANTILES, quantiles_s, strict=True)})


def _seconds_to(moment: datetime | None, at: datetime) -> float:
    """From now to a moment, negative once it has come; infinity for never. [s]"""
    return np.inf if moment is None else (moment - at).total_seconds()


def _median(values: Array, weights: Array) -> float:
    return float(weighted_quantiles(values, weights, np.array([0.5]))[0])


def _band_mm(values_mm: Array, weights: Array) -> Band:
    return Band(*(round(float(value), 1) for value in weighted_quantiles(values_mm, weights, QUANTILES[[0, 2, 4]])))


def _chance(condition: NDArray[np.bool_], weights: Array) -> float:
    return float(np.sum(weights[condition]))


def _rise_over_start(batch: Batch, seen: Observations | None, courses: Ensemble) -> Array:
    """Paths counted from the batch's start volume, each by its own error of the start level."""
    if seen is None:
        return courses.paths
    return rise_over_batch_start(batch, courses.paths, seen.start_volume_ml / (1.0 + courses.members[:, -1:]))


def _edges_and_domes_mm(vessel: Vessel, volumes_ml: Array, dome_frac: Array) -> tuple[Array, Array]:
    """Level of the edge at the wall, and the height of the middle over it, each shape (n_members,)."""
    levels = level_mm(vessel, volumes_ml)
    domes_mm = dome_frac * width_mm(vessel, levels)
    return levels - 0.5 * domes_mm, domes_mm  # the mean level of a paraboloid lies half way


def _surface(
    batch: Batch, problem: EstimationProblem, courses: Ensemble, now_rise: Array, reached_s: Array
) -> tuple[float | None, Band | None, TargetEdge | None]:
    """Start volume [mL], dome now [mm], and the edge at the target, which each course reaches at a time of its own.

    A course that never gets there is taken as far as anybody looks.
    """
    if problem.observations is None:
        return batch.start_volume_ml, None, None
    start_ml = problem.observations.start_volume_ml / (1.0 + courses.members[:, -1])
    if batch.start_volume_ml is not None:
        start_ml = np.full_like(start_ml, batch.start_volume_ml)
    weights, domes, t_s = courses.weights, courses.domes, problem.timeline.t_s
    start_volume_ml = _median(start_ml, weights)
    volumes_ml = start_ml * (1.0 + now_rise)
    dome_mm = _band_mm(_edges_and_domes_mm(batch.vessel, volumes_ml, domes[:, problem.now_step])[1], weights)
    rise_pct = batch.target.rise_pct
    if rise_pct is None:
        return start_volume_ml, dome_mm, None
    rows, step = np.arange(weights.size), np.clip(np.searchsorted(t_s, reached_s), 1, t_s.size - 1)
    share = (np.minimum(reached_s, t_s[-1]) - t_s[step - 1]) / (t_s[step] - t_s[step - 1])
    then = domes[rows, step - 1] * (1.0 - share) + domes[rows, step] * share
    edges_mm, domes_mm = _edges_and_domes_mm(batch.vessel, start_ml * (1.0 + rise_pct / 100.0), then)
    return start_volume_ml, dome_mm, TargetEdge(rise_pct, _band_mm(edges_mm, weights), _band_mm(domes_mm, weights))


def _fan(batch: Batch, t_s: Array, rises: Array, weights: Array, now_step: int) -> tuple[FanPoint, ...]:
    """Quantiles of the rise ahead: as far as three times the age of the batch, at least six hours."""
    ahead = np.arange(now_step, t_s.size)
    end_s = t_s[now_step] + max(6 * 3600.0, 2.0 * t_s[now_step])
    ahead = ahead[t_s[ahead] <= end_s]
    steps = ahead[np.unique(np.linspace(0, ahead.size - 1, min(FAN_POINTS, ahead.size)).astype(int))]
    # As weighted_quantiles, for all steps in one sort; rises are finite, so no quantile is beyond everything.
    ahead_rises = np.ascontiguousarray(rises[:, steps].T)
    order = np.argsort(ahead_rises, axis=1)
    ordered = np.take_along_axis(ahead_rises, order, axis=1)
    middles = np.cumsum(weights[order], axis=1) - 0.5 * weights[order]
    bands = 100.0 * rise_bands(np.stack([np.interp(QUANTILES, *each) for each in zip(middles, ordered, strict=True)]))
    return tuple(
        FanPoint(batch.started_at + timedelta(seconds=round(float(at_s))), *(round(rise, 2) for rise in band))
        for at_s, band in zip(t_s[steps], bands.tolist(), strict=True)
    )


def _latest(series: Series) -> float | None:
    return float(np.median(series.value[-3:])) if series.t_s.size else None


def _state(*, ready_in_s: float, likely_in_s: float, rise: float, is_past_peak: bool, is_at_peak: bool) -> State:
    """The word for how a living dough stands; ``rise`` is a fraction.

    ``ready_in_s`` is negative once it may be called ready; ``likely_in_s``: by the middle of the forecast.
    """
    if is_past_peak:
        return State.PAST_PEAK
    if is_at_peak and rise > RISEN_FRAC:
        return State.AT_PEAK
    if ready_in_s <= 0.0:
        return State.READY
    if likely_in_s <= NEARLY_READY_S:
        return State.NEARLY_READY
    return State.NO_RISE if rise < RISEN_FRAC else State.RISING


def _state_chance(state: State, ready_in_s: Array, rises: Array, peak_in_s: Array, weights: Array) -> float:
    """Share of the ensemble for which the word holds; all arrays of shape (n_members,)."""
    holds = {
        State.PAST_PEAK: peak_in_s < -PEAK_SETTLED_S,
        State.AT_PEAK: np.abs(peak_in_s) <= PEAK_SOON_S,
        State.READY: ready_in_s <= 0.0,
        State.NEARLY_READY: (ready_in_s > 0.0) & (ready_in_s <= NEARLY_READY_S),
        State.RISING: (ready_in_s > NEARLY_READY_S) & (rises >= RISEN_FRAC),
        State.NO_RISE: rises < RISEN_FRAC,
        State.NOT_RISING: rises < RISEN_FRAC,
    }
    return _chance(holds[state], weights) if state in holds else 1.0


def _obstructions(batch: Batch, seen: View) -> tuple[Obstruction, ...]:
    """What is no dough, without hands that have gone again and what the baker has told."""

    def moment(after_s: float) -> datetime:
        return batch.started_at + timedelta(seconds=round(after_s))

    return tuple(
        Obstruction(
            one.kind,
            moment(one.since_s),
            None if one.until_s is None else moment(one.until_s),
            round(one.chance, 2),
            one.is_logged,
        )
        for one in seen.artefacts
        if not (one.kind is ObstructionKind.HAND and one.until_s is not None)
        and not (one.kind is ObstructionKind.MOVED and one.is_logged)
    )


@dataclass(frozen=True, slots=True)
class ForecastRequest:
    """One batch of which an outlook is wanted, as :func:`outlook` takes it."""

    batch: Batch
    track: Track
    at: datetime
    horizon: timedelta = DEFAULT_HORIZON
    ahead: tuple[AirStep, ...] = ()
    learned: RecipeExperience | None = None
    silence_min: float = SILENCE_MIN

    @property
    def now_s(self) -> float:
        """Since the batch started. [s]"""
        return max(seconds_since_start(self.batch, self.at), 0.0)


def _problem(request: ForecastRequest, known: Track, seen: Observations | None, prior: Prior) -> EstimationProblem:
    """What the courses of a batch are looked for by."""
    batch, now_s, horizon_s = request.batch, request.now_s, request.horizon.total_seconds()
    tau_s = thermal_tau_s(batch, None if seen is None else seen.start_volume_ml)
    steps_ahead = tuple((seconds_since_start(batch, step.at), step.air_temp_c) for step in request.ahead)
    probe_sd_c = batch.calibration_sd(Channel.DOUGH_TEMP)
    warmth = dough_temperature(known, tau_s, now_s, now_s + horizon_s, steps_ahead, probe_sd_c)
    timeline, now_step = _timeline(batch, warmth, seen, now_s, horizon_s)
    return EstimationProblem(timeline, now_step, prior, seen, _rate_doubts(batch, warmth, now_s))


def _cause(request: ForecastRequest, known: Track, problem: EstimationProblem) -> Cause | None:
    """Why a dough that was never seen to rise has not; None while it may still be waking."""
    batch, seen = request.batch, problem.observations
    if seen is None or problem.now_s < LEAST_PATIENCE_S:
        return None
    doubt_frac = DRIFT_MM * float(np.median(seen.frac_per_mm)) + NOISE_SDS * float(np.median(seen.sd_frac))
    visible_frac, climbed_frac = max(RISEN_FRAC, doubt_frac), seen.climbed_frac
    if climbed_frac >= SURELY_RISEN * visible_frac:
        return None
    if expected_rate_per_h(batch.formula) is None:
        batch = replace(batch, formula=SLOWEST)
        problem = _problem(replace(request, batch=batch), known, seen, prior_of(batch))
    timeline = problem.timeline

    def would_show(in_air: Timeline, rate_doubts: Array) -> bool:
        shown_frac = least_climb_frac(problem.prior, in_air, problem.now_step, seen, rate_doubts)
        return shown_frac >= climbed_frac + visible_frac

    if would_show(timeline, problem.rate_doubts):
        yeast_pct = 0.0 if batch.formula is None else yeast_pct_instant_equivalent(batch.formula)
        is_little = 0.0 < yeast_pct < LITTLE_YEAST_PCT and not (batch.formula and batch.formula.sourdough_g)
        return Cause.LITTLE_YEAST if is_little else Cause.NO_LIVE_YEAST
    if batch.stage is Stage.RETARD or problem.now_s < COLD_PATIENCE_S:  # it is meant to be cold
        return None
    if climbed_frac >= STIRS * visible_frac:
        return None
    in_room = in_a_room(timeline, batch.formula)
    return Cause.TOO_COLD if would_show(in_room, np.zeros_like(problem.rate_doubts)) else None


def courses_seen(batch: Batch, track: Track, at: datetime, prior: Prior) -> Ensemble | None:
    """Courses that agree with the readings of a batch up to a moment; None when no height was measured.

    Parameters
    ----------
    track
        All readings; later ones than ``at`` are not looked at.
    at
        Aware UTC datetime.
    prior
        Of the curve's numbers.
    """
    request = ForecastRequest(batch, track, at, timedelta(hours=1))
    known = track.upto(request.now_s)
    seen = observations(batch, known, request.now_s)
    return None if seen is None else next(ensembles([_problem(request, known, seen, prior)]))[1]


def outlook(
    batch: Batch,
    track: Track,
    at: datetime,
    *,
    horizon: timedelta = DEFAULT_HORIZON,
    ahead: tuple[AirStep, ...] = (),
    learned: RecipeExperience | None = None,
    silence_min: float = SILENCE_MIN,
) -> Outlook:
    """How a batch stands at a moment, from the readings and events up to that moment alone.

    Parameters
    ----------
    track
        All readings; later ones than ``at`` are not looked at.
    at
        Aware UTC datetime.
    horizon
        How far ahead a moment is looked for; probability beyond it shows as a missing quantile.
    ahead
        What if: air to come, in place of air as it is now.
    learned
        What finished batches of its recipe taught about this batch; None: the shipped prior, intervals as they come.
    silence_min
        After so long without a reading the state is *no readings*; a dough that is only looked at by eye has none to
        miss. [min]
    """
    return outlooks([ForecastRequest(batch, track, at, horizon, ahead, learned, silence_min)])[0]


def outlooks(requests: Sequence[ForecastRequest]) -> list[Outlook]:
    """How each of many batches stands: the same as :func:`outlook` of each, but sooner than one after the other."""
    found: dict[int, Outlook] = {}
    known = [each.track.upto(each.now_s) for each in requests]
    problems: dict[int, EstimationProblem] = {}
    views: dict[int, View] = {}
    for number, (each, track) in enumerate(zip(requests, known, strict=True)):
        if track.last_t_s is None:
            why = NoForecast.NO_READING_YET if each.batch.nodes else NoForecast.NO_LEVEL_YET
            found[number] = Outlook(at=each.at, state=State.NO_READINGS, why=why)
        else:
            prior = prior_of(each.batch) if each.learned is None else each.learned.prior
            views[number] = view(each.batch, track.distance_mm, each.now_s)
            seen = observations_in(views[number], each.batch, track, each.now_s)
            problems[number] = _problem(each, track, seen, prior)
    numbers = list(problems)
    for place, courses in ensembles(list(problems.values())):
        number = numbers[place]
        found[number] = _outlook_of(requests[number], known[number], views[number], problems[number], courses)
    return [found[number] for number in range(len(requests))]


def _outlook_of(
    request: ForecastRequest, known: Track, viewed: View, problem: EstimationProblem, courses: Ensemble
) -> Outlook:
    """The outlook of a batch with readings, from the courses that it may take."""
    batch, at, learned, now_s, seen = request.batch, request.at, request.learned, request.now_s, problem.observations
    timeline, now_step = problem.timeline, problem.now_step
    target_frac = None if batch.target.rise_pct is None else batch.target.rise_pct / 100.0

    rises = _rise_over_start(batch, seen, courses)
    from_step = int(np.max(timeline.fold_steps, initial=0))
    peaks_s = peak_s(timeline.t_s, rises, from_step)
    past_peak_chance = _chance(peaks_s < now_s - PEAK_SETTLED_S, courses.weights)
    peak_soon_chance = _chance(peaks_s <= now_s + PEAK_SOON_S, courses.weights)
    now_rise = rises[:, now_step]
    fallen = _median(np.max(rises[:, from_step : now_step + 1], axis=1) - now_rise, courses.weights)
    obstructions = _obstructions(batch, viewed)
    is_hidden = any(one.until is None for one in obstructions) and (
        seen is None or now_s - float(seen.t_s[-1]) > HIDDEN_S
    )
    is_past_peak = past_peak_chance > (LATE if is_hidden else PEAK_PASSED_CHANCE) and (
        fallen >= FALLEN_FRAC or now_s - _median(peaks_s, courses.weights) > PEAK_SOON_S
    )
    if not is_past_peak:
        peaks_s = np.maximum(peaks_s, now_s)
    ready_s = peaks_s if target_frac is None else crossing_s(timeline.t_s, rises, target_frac, from_step)

    # A course that never gets to the target gets to its peak.
    start_volume_ml, dome_mm, target_edge = _surface(batch, problem, courses, now_rise, np.minimum(ready_s, peaks_s))

    band = rise_bands(weighted_quantiles(now_rise, courses.weights, QUANTILES))
    cause = _cause(request, known, problem)
    until = at + request.horizon
    widths = Widths() if learned is None else learned.widths
    for_ready, for_peak = float(band[2]) / (target_frac or 1.0), now_s / max(_median(peaks_s, courses.weights), 1.0)
    is_leaven_known = expected_rate_per_h(batch.formula) is not None
    peak_in_s, peak_width = _quantiles_s(peaks_s, courses.weights) - now_s, widths.at(PEAK, for_peak)
    if not is_leaven_known:
        peak_width *= unknown_peak_width(for_peak)
    elif seen is not None and not is_hidden:  # it was learned where a dough that still rose was seen to
        peak_in_s = recalibrated_peak_s(peak_in_s, batch.stage, for_peak, request.horizon.total_seconds())
    peak = ready = widened(_moments(batch, now_s + peak_in_s), peak_width, at, until)
    if target_frac is not None:
        ready_factor = widths.at(READY, for_ready) * ready_width(
            for_ready, is_leaven_known=is_leaven_known, is_disturbed=bool(viewed.artefacts)
        )
        ready = widened(_moments(batch, _quantiles_s(ready_s, courses.weights)), ready_factor, at, until)
    ready_in_s = likely_in_s = _seconds_to(ready.p50, at)
    is_at_peak = peak_soon_chance > 0.5
    if is_hidden:  # what nobody sees is told late
        ready_in_s, is_at_peak = _seconds_to(ready.p95, at), _seconds_to(peak.p95, at) <= PEAK_SOON_S
    state = State.NOT_RISING
    if cause is None:
        state = _state(
            ready_in_s=ready_in_s,
            likely_in_s=likely_in_s,
            rise=float(band[2]),
            is_past_peak=is_past_peak,
            is_at_peak=is_at_peak,
        )
    state_chance = _state_chance(state, ready_s - now_s, now_rise, peaks_s - now_s, courses.weights)
    fan = _fan(batch, timeline.t_s, rises, courses.weights, now_step)
    if cause in (Cause.NO_LIVE_YEAST, Cause.LITTLE_YEAST):
        ready, peak, fan = Moments(), Moments(), ()
        peak_soon_chance = past_peak_chance = 0.0
    is_height_awaited = seen is None and now_s < HEIGHT_WAIT_S
    last_s = known.last_t_s or 0.0
    if known.is_sensed and now_s - last_s > 60.0 * request.silence_min:
        state = State.NO_READINGS
    return Outlook(
        at=at,
        state=state,
        rise_pct=None if is_height_awaited else Band(*(100.0 * float(band[i]) for i in (0, 2, 4))),
        ready=ready,
        peak=peak,
        peak_soon_chance=peak_soon_chance,
        past_peak_chance=past_peak_chance,
        is_from_heights=seen is not None,
        air_temp_c=_latest(known.air_temp_c),
        humidity_pct=_latest(known.humidity_pct),
        dough_temp_c=_latest(known.dough_temp_c),
        last_reading_at=batch.started_at + timedelta(seconds=last_s),
        fan=fan,
        state_chance=state_chance,
        cause=cause if state is State.NOT_RISING else None,
        obstructions=obstructions,
        start_volume_ml=start_volume_ml,
        dome_mm=dome_mm,
        target_edge=target_edge,
    )
