"""From raw distances to observations: the start volume, and the rise of each short span with its doubt."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.level_shifts import level_shifts
from monitor.dough.track import Series, Track, running_median, seconds_since_start
from monitor.recipe.batch import Batch, EventKind
from monitor.recipe.vessel import Vessel, height_mm, volume_ml

SETTLING_S = 120.0  # bubbles re-expand after mixing with a 20 s time constant: the first two minutes are no reference
START_SPAN_S = 480.0  # judgement: the start volume is the robust level of the six minutes after settling
MAX_SPANS = 90  # judgement: enough to draw any rise, few enough to fit in milliseconds
MIN_SPAN_S = 60.0  # judgement
SENSOR_SD_FLOOR_MM = 0.3  # judgement: below this, quantisation and a breathing surface rule
LASTING_SD_MM = 0.5  # judgement: what averaging cannot remove: a film on the lens, a bubble under the beam
EYE_SD_MM = 3.0  # judgement: a level read on the tub's wall, when the baker gives no doubt
DISTURBED_AFTER_S = 150.0  # judgement: hands, lids and a sagging surface right after a fold, a poke or a lid
DISTURBED_BEFORE_S = 45.0
SAME_EVENT_S = 480.0  # judgement: a logged moment and the step it made lie within a few minutes
SPIKE_MM = 5.0  # judgement: no dough jumps this far and back between three readings
RIM_MARGIN_MM = 60.0  # judgement: a dome may stand this far over the rim before a level is disbelieved
DOME_MM = 0.5  # judgement: the sensor looks at the middle of the dough, a little above its mean level
DOME_SD_MM = 1.0  # judgement
START_DOUBT_FRAC = 0.004  # judgement: a start level is never known better than this share of the volume


@dataclass(frozen=True, slots=True)
class Observations:
    """What the height readings say, thinned to short spans.

    Attributes
    ----------
    start_volume_ml
        Level of the first settled minutes, as a volume: what ``rise_frac`` is counted from.
    start_sd_frac
        Its relative doubt.
    t_s, rise_frac, sd_frac : arrays, shape (n,)
        Time since the start [s], rise V/V0 - 1, and one standard deviation of it.
    frac_per_mm : array, shape (n,)
        Rise that a millimetre of level stands for. [1/mm]
    folds_s : tuple of float
        When gas was knocked out: folds the baker logged, and sudden falls that nobody did. [s]
    shifts_s : tuple of float
        When the level jumped without the dough, as the baker moved the tub or put a lid back. [s]
    """

    start_volume_ml: float
    start_sd_frac: float
    t_s: NDArray[np.float64]
    rise_frac: NDArray[np.float64]
    sd_frac: NDArray[np.float64]
    frac_per_mm: NDArray[np.float64]
    folds_s: tuple[float, ...]
    shifts_s: tuple[float, ...]


def _usable_heights(batch: Batch, distance: Series) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and heights of distances that a dough in this vessel can give, hands and open lids left out."""
    vessel = batch.vessel
    if vessel.sensor_to_base_mm is None or distance.t_s.size == 0:
        return np.empty(0), np.empty(0)
    heights = height_mm(vessel, distance.value) - DOME_MM
    keep = (heights > 2.0) & (heights < vessel.depth_mm + RIM_MARGIN_MM)
    # A value far off both its neighbours is nonsense; the newest has but one neighbour and is believed.
    keep &= np.abs(heights - running_median(heights, 3)) <= np.maximum(SPIKE_MM, 6.0 * sensor_sd_mm(heights))
    for event in batch.events:
        if event.kind in (EventKind.FOLD, EventKind.POKE, EventKind.LID):
            since = distance.t_s - (event.at - batch.started_at).total_seconds()
            keep &= (since < -DISTURBED_BEFORE_S) | (since > DISTURBED_AFTER_S)
    return distance.t_s[keep], heights[keep]


def sensor_sd_mm(heights_mm: NDArray[np.float64]) -> float:
    """Noise of one reading from second differences, deaf to the trend and to outliers. [mm]"""
    if heights_mm.size < 5:
        return 1.0  # judgement: a usual ranger, until its own noise is known
    bends = heights_mm[:-2] - 2.0 * heights_mm[1:-1] + heights_mm[2:]
    # 1.4826: median absolute deviation to standard deviation; sqrt(6): variance of a second difference of white noise
    return max(SENSOR_SD_FLOOR_MM, float(1.4826 * np.median(np.abs(bends)) / np.sqrt(6.0)))


def step_sd_mm(heights_mm: NDArray[np.float64], sd_mm: float) -> float:
    """Lasting error of a sensor that counts in steps: noise of at least half a step averages it out. [mm]

    Parameters
    ----------
    heights_mm : array, shape (n,)
        As the sensor gave them. [mm]
    sd_mm
        Noise of one reading. [mm]

    Notes
    -----
    Fundamental of the rounding error under Gaussian dither (Widrow's quantisation theorem, from memory): amplitude
    step/pi exp(-2 pi^2 sd^2/step^2).
    """
    values = np.unique(heights_mm)
    if values.size < 2:
        return 1.0  # judgement: a sensor that has said one single value may count in steps of some millimetres
    step_mm = float(np.min(np.diff(values)))
    return float(step_mm / (np.pi * np.sqrt(2.0)) * np.exp(-2.0 * (np.pi * sd_mm / step_mm) ** 2))


def _medians(
    values: NDArray[np.float64], span: NDArray[np.intp], begins: NDArray[np.intp], counts: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Median of each span's values, all spans at once."""
    ordered = values[np.lexsort((values, span))]
    result: NDArray[np.float64] = 0.5 * (ordered[begins + (counts - 1) // 2] + ordered[begins + counts // 2])
    return result


def _spans(
    t_s: NDArray[np.float64], heights: NDArray[np.float64], sd_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Median time and height of equal spans, and the doubt of each median."""
    width_s = max(MIN_SPAN_S, float(t_s[-1]) / MAX_SPANS)
    # Counted back from the newest reading, so that the newest span is a full one and lags no more than the others.
    index = np.floor((t_s[-1] - t_s) / width_s).astype(int)
    begins = np.concatenate([[0], np.flatnonzero(np.diff(index)) + 1])
    counts = np.diff(np.concatenate([begins, [t_s.size]]))
    span = np.repeat(np.arange(begins.size), counts)
    times = np.add.reduceat(t_s, begins) / counts
    levels = _medians(heights, span, begins, counts)
    spreads = 1.4826 * _medians(np.abs(heights - levels[span]), span, begins, counts)
    spreads[counts < 4] = 0.0
    # 1.2533: standard error of a median of normal readings over that of their mean
    sds = np.where(counts > 1, 1.2533 * np.maximum(sd_mm, spreads) / np.sqrt(counts), sd_mm)
    return times, levels, np.hypot(sds, np.hypot(LASTING_SD_MM, step_sd_mm(heights, sd_mm)))


def _area_mm2(vessel: Vessel, level_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    return (volume_ml(vessel, level_mm + 0.5) - volume_ml(vessel, level_mm - 0.5)) * 1000.0


def events_s(batch: Batch, kinds: tuple[EventKind, ...], until_s: float) -> tuple[float, ...]:
    """Times of the logged events of some kinds, after the start and up to a moment. [s]"""
    times = (seconds_since_start(batch, event.at) for event in batch.events if event.kind in kinds)
    return tuple(at_s for at_s in times if 0.0 < at_s <= until_s)


def _folds_and_shifts(
    batch: Batch, t_s: NDArray[np.float64], rise: NDArray[np.float64], sd: NDArray[np.float64], until_s: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Sort the sudden steps: those near a logged lid, move or fold are explained; other falls are folds nobody logged.

    A rise that nobody explains is left to what wanders between the level and the dough: dough never jumps up.
    """
    folds_s = events_s(batch, (EventKind.FOLD,), until_s)
    handled_s = events_s(batch, (EventKind.LID, EventKind.MOVE), until_s)
    shifts_s: list[float] = []
    found_s: list[float] = []
    for step in level_shifts(t_s, rise, sd):
        if any(abs(step.t_s - at_s) < SAME_EVENT_S for at_s in handled_s):
            shifts_s.append(step.t_s)
        elif step.size_frac < 0.0 and all(abs(step.t_s - at_s) >= SAME_EVENT_S for at_s in folds_s):
            found_s.append(step.t_s)
    return tuple(sorted((*folds_s, *found_s))), tuple(shifts_s)


def rise_over_batch_start(
    batch: Batch, rise_frac: NDArray[np.float64], start_ml: float | NDArray[np.float64]
) -> NDArray[np.float64]:
    """Rise counted from the batch's start volume: the baker's, or else the first settled level as it is.

    Parameters
    ----------
    rise_frac : array
        Rise V/V0 - 1 over the first settled level. [-]
    start_ml : float or array that broadcasts with it
        That level as a volume. [mL]

    Returns
    -------
    array of the broadcast shape
        [-]
    """
    if batch.start_volume_ml is None:
        return rise_frac
    result: NDArray[np.float64] = (1.0 + rise_frac) * start_ml / batch.start_volume_ml - 1.0
    return result


def observations(batch: Batch, track: Track, until_s: float) -> Observations | None:
    """What the height readings and events of a batch say up to a moment.

    Parameters
    ----------
    track
        Its readings up to that moment.
    until_s
        The moment, since the start. [s]

    Returns
    -------
    Observations or None
        None before the first usable height.
    """
    vessel = batch.vessel
    t_s, heights = _usable_heights(batch, track.distance_mm)
    eye = track.level_mm
    eye_sd = np.where(np.isnan(eye.sd), EYE_SD_MM, eye.sd)
    settled = t_s >= SETTLING_S
    t_s, heights = t_s[settled], heights[settled]
    if t_s.size == 0 and eye.t_s.size == 0:
        return None

    noise_mm = sensor_sd_mm(heights)
    if t_s.size:
        span_t, span_level, span_sd = _spans(t_s, heights, noise_mm)
    else:
        span_t = span_level = span_sd = np.empty(0)

    if t_s.size and (eye.t_s.size == 0 or t_s[0] <= eye.t_s[0] + START_SPAN_S):
        first = t_s <= max(START_SPAN_S, t_s[0] + START_SPAN_S - SETTLING_S)
        start_level = float(np.median(heights[first]))
        start_sd = 1.2533 * noise_mm / float(np.sqrt(np.count_nonzero(first)))
        start_sd = float(np.linalg.norm([start_sd, DOME_SD_MM, batch.sensor_sd_mm]))
    else:
        start_level, start_sd = float(eye.value[0]), float(eye_sd[0])
    start_ml = float(volume_ml(vessel, start_level))
    start_area = float(_area_mm2(vessel, np.array([start_level]))[0])
    start_sd_frac = float(np.hypot(START_DOUBT_FRAC, start_sd * start_area / (1000.0 * start_ml)))

    times = np.concatenate([span_t, eye.t_s])
    levels = np.concatenate([span_level, eye.value])
    sds = np.concatenate([span_sd, eye_sd])
    order = np.argsort(times, kind="stable")
    times, levels, sds = times[order], levels[order], sds[order]
    frac_per_mm = _area_mm2(vessel, levels) / (1000.0 * start_ml)
    rise_frac = volume_ml(vessel, levels) / start_ml - 1.0
    folds_s, shifts_s = _folds_and_shifts(batch, times, rise_frac, sds * frac_per_mm, until_s)
    return Observations(
        start_volume_ml=start_ml,
        start_sd_frac=start_sd_frac,
        t_s=times,
        rise_frac=rise_frac,
        sd_frac=sds * frac_per_mm,
        frac_per_mm=frac_per_mm,
        folds_s=folds_s,
        shifts_s=shifts_s,
    )
