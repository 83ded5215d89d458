"""From raw distances to observations: the start volume, and the rise of each short span with its doubt."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monitor.dough.artefacts import View, events_s, sensor_sd_mm, view
from monitor.dough.gassing import MIXED_VOID_FRAC, SHAPED_VOID_FRAC, leavening, start_volume_ml
from monitor.dough.outlook import ObstructionKind
from monitor.dough.track import Track, running_median, span_medians
from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.recipe.vessel import Vessel, height_mm, volume_ml, width_mm

SETTLING_S = 120.0  # bubbles re-expand after mixing with a 20 s time constant: the first two minutes are no reference
MAX_SPANS = 90  # judgement: enough to draw any rise, few enough to fit in milliseconds
MIN_SPAN_S = 60.0  # judgement
LASTING_SD_MM = 0.5  # judgement: what averaging cannot remove: a film on the lens, a bubble under the beam
EYE_SD_MM = 3.0  # judgement: a level read on the tub's wall, when the baker gives no doubt
START_SD_FRAC = {  # judgement: a ball that has not found the wall, a dough that rose from the first minute
    Stage.FIRST_RISE: 0.12,
    Stage.FINAL_PROOF: 0.25,
    Stage.RETARD: 0.25,
    Stage.PREFERMENT: 0.08,
}
BALL_FRAC = 0.06  # judgement: what seems to shrink by more in its first hours was put in as a ball
WHOLE_BALL_FRAC = 0.5  # judgement: what seems to shrink by so much stood well clear of the wall
# computed: when such a ball meets the wall it has risen by a quarter and still domes by a sixth; mean, one sd
BALL_OVER = (0.4, 0.25)
SPREAD_S = 4.0 * 3600.0  # judgement: what was put in as a ball has found the wall by then, even in the cold
FOLD_SPREAD_S = 5400.0  # judgement: what a fold has gathered lies level again by then
WEIGHED_SD_FRAC = 0.06  # computed: density 1.24-1.28 g/mL without gas, 3 to 12 % of air after mixing
SHAPED_SD_FRAC = 0.12  # computed: 20 to 40 % of gas in what was shaped by hand
FLAT_SD_FRAC = 0.03  # judgement: of the level of what lay flat
UNTOLD_RATE_PER_H = 0.6  # judgement: baker's yeast in its usual dose, where the formula tells of no leaven
WEIGHED_BETWEEN = (0.8, 2.0)  # judgement: outside, the tub does not hold what was weighed, but a part of it or more
WEIGHED_BALL_BETWEEN = (0.8, 4.0)  # computed: the top of a ball stands at up to three times its mean level


@dataclass(frozen=True, slots=True)
class Observations:
    """What the height readings say, thinned to short spans.

    Attributes
    ----------
    start_volume_ml
        Lowest settled level of the first hours, as a volume: what ``rise_frac`` is counted from.
    start_error_frac
        How far that lies over the volume at the start, relative to it: mean and standard deviation. A dome, a ball that
        has not spread, and a dough that rises from the first minute make a difference.
    spread_frac
        How far the volume of what was put in as a ball seemed to fall before, relative to the start; 0 without a ball.
    t_s, rise_frac, sd_frac : arrays, shape (n,)
        Time since the start [s], rise V/V0 - 1, and one standard deviation of it.
    frac_per_mm : array, shape (n,)
        Rise that a millimetre of level stands for. [1/mm]
    dome_frac : array, shape (n,)
        Rise that a dome as high as the vessel is wide seems to add: a sensor looks at the middle of the top, an eye at
        its edge, and the mean level of a paraboloid lies half way between them. [-]
    folds_s : tuple of float
        When gas was knocked out: folds the baker logged, and sudden falls that nobody did. [s]
    fold_chances : tuple of float
        That each of them was a fold; below 1 for those that may have been a moved tub as well. [0..1]
    shifts_s : tuple of float
        When the level jumped without the dough, as the baker moved the tub or put a lid back. [s]
    """

    start_volume_ml: float
    start_error_frac: tuple[float, float]
    spread_frac: float
    t_s: NDArray[np.float64]
    rise_frac: NDArray[np.float64]
    sd_frac: NDArray[np.float64]
    frac_per_mm: NDArray[np.float64]
    dome_frac: NDArray[np.float64]
    folds_s: tuple[float, ...]
    fold_chances: tuple[float, ...]
    shifts_s: tuple[float, ...]

    @property
    def climbed_frac(self) -> float:
        """How far the level has climbed from any lower one before it, steps left out: no rise at all stays near 0. [-]

        Unlike the rise it does not mind a ball of dough that first sinks to the wall.
        """
        broken_at_s = (*self.folds_s, *self.shifts_s)
        return float(climb_frac(self.t_s, running_median(self.rise_frac, 5), broken_at_s))


def climb_frac(
    t_s: NDArray[np.float64], rise_frac: NDArray[np.float64], broken_at_s: Sequence[float]
) -> NDArray[np.float64]:
    """How far some courses climb from any lower level before it, within the parts that steps part them into.

    Parameters
    ----------
    t_s : array, shape (n,)
        Ascending. [s]
    rise_frac : array, shape (..., n)
        [-]
    broken_at_s
        When the level was folded down, or moved. [s]

    Returns
    -------
    array, shape (...,)
        [-]
    """
    parts = np.split(rise_frac, np.searchsorted(t_s, sorted(broken_at_s)), axis=-1)
    climbs = [np.max(part - np.minimum.accumulate(part, axis=-1), axis=-1) for part in parts if part.shape[-1]]
    highest: NDArray[np.float64] = np.max(climbs, axis=0)
    return highest


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


def _spans(
    t_s: NDArray[np.float64], heights: NDArray[np.float64], sd_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Median time and height of equal spans, and the doubt of each median."""
    width_s = max(MIN_SPAN_S, float(t_s[-1]) / MAX_SPANS)
    # Counted back from the newest reading, so that the newest span is a full one and lags no more than the others.
    index = np.floor((t_s[-1] - t_s) / width_s).astype(np.intp)
    times, levels, counts = span_medians(t_s, heights, index)
    off = np.abs(heights - np.repeat(levels, counts))
    spreads = 1.4826 * span_medians(t_s, off, index)[1]
    spreads[counts < 4] = 0.0
    # 1.2533: standard error of a median of normal readings over that of their mean
    sds = np.where(counts > 1, 1.2533 * np.maximum(sd_mm, spreads) / np.sqrt(counts), sd_mm)
    return times, levels, np.hypot(sds, np.hypot(LASTING_SD_MM, step_sd_mm(heights, sd_mm)))


def _area_mm2(vessel: Vessel, level_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    return (volume_ml(vessel, level_mm + 0.5) - volume_ml(vessel, level_mm - 0.5)) * 1000.0


def rise_over_batch_start(
    batch: Batch, rise_frac: NDArray[np.float64], start_ml: float | NDArray[np.float64]
) -> NDArray[np.float64]:
    """Rise counted from the batch's start volume: the baker's, or else the start level as it is.

    Parameters
    ----------
    rise_frac : array
        Rise V/V0 - 1 over the start level. [-]
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


def _spread_at(batch: Batch, t_s: NDArray[np.float64], levels: NDArray[np.float64]) -> int:
    """Index of the lowest level of the first hours and before the first fold.

    What was put in as a ball has found the wall by then, and of anything else little has risen.
    """
    until_s = min((*events_s(batch, (EventKind.FOLD,), np.inf), SPREAD_S))
    return int(np.argmin(running_median(levels[t_s <= max(until_s, t_s[0])], 3)))


def _lies_flat(
    vessel: Vessel, t_s: NDArray[np.float64], levels: NDArray[np.float64], folds_s: Sequence[float]
) -> NDArray[np.bool_]:
    """Which spans are not of a dough that a fold has gathered and that has yet to sink back to the wall."""
    flat = np.ones(t_s.size, dtype=np.bool_)
    for begin_s, next_s in pairwise((*sorted(folds_s), np.inf)):
        after = np.flatnonzero((t_s > begin_s) & (t_s < min(next_s, begin_s + FOLD_SPREAD_S)))
        if after.size:
            volumes = volume_ml(vessel, running_median(levels[after], 3))
            lowest = int(np.argmin(volumes))
            flat[after[:lowest]] = volumes[0] < (1.0 + BALL_FRAC) * volumes[lowest]
    return flat


def _start_error(
    batch: Batch, start_ml: float, low_s: float, spread_frac: float, sensor_sd_frac: float
) -> tuple[float, float]:
    """How far the start level lies over the start volume: by what was weighed, and by how flat the dough lay.

    ``spread_frac`` is that of :class:`Observations`; ``low_s`` is when the level was seen.
    """
    ball = min(1.0, spread_frac / WHOLE_BALL_FRAC)
    over = BALL_OVER[0] * ball
    sd_frac = float(np.linalg.norm([START_SD_FRAC[batch.stage], sensor_sd_frac, BALL_OVER[1] * ball]))
    if batch.formula is None:
        return over, sd_frac
    is_shaped = batch.stage in (Stage.FINAL_PROOF, Stage.RETARD)
    weighed = start_ml / start_volume_ml(batch.formula, SHAPED_VOID_FRAC if is_shaped else MIXED_VOID_FRAC)
    least, most = WEIGHED_BETWEEN if ball == 0.0 else WEIGHED_BALL_BETWEEN
    if not least < weighed < most:
        return over, sd_frac
    sd_frac = (SHAPED_SD_FRAC if is_shaped else WEIGHED_SD_FRAC) * weighed
    error = weighed - 1.0
    if ball == 0.0:  # what never sank lay flat, and its level is its volume but for what had risen by then
        leaven = leavening(batch.formula)
        rises_per_h = UNTOLD_RATE_PER_H if leaven is None else leaven.rate_per_h
        level_sd = float(np.hypot(FLAT_SD_FRAC, rises_per_h * low_s / 3600.0))
        error *= level_sd**2 / (level_sd**2 + sd_frac**2)
        sd_frac = (level_sd**-2.0 + sd_frac**-2.0) ** -0.5
    return error, float(np.hypot(sd_frac, sensor_sd_frac))


def observations(batch: Batch, track: Track, until_s: float) -> Observations | None:
    """What the height readings and events of a batch say up to a moment; see :func:`observations_in`."""
    return observations_in(view(batch, track.distance_mm, until_s), batch, track, until_s)


def observations_in(seen: View, batch: Batch, track: Track, until_s: float) -> Observations | None:
    """What the height readings and events of a batch say up to a moment.

    Parameters
    ----------
    seen
        Which of the distance readings are dough.
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
    distance, is_dough = track.distance_mm, seen.is_dough & (track.distance_mm.t_s >= SETTLING_S)
    t_s, heights = distance.t_s[is_dough], np.empty(0)
    if t_s.size:
        heights = height_mm(vessel, distance.value[is_dough])
    eye = track.level_mm
    eye_sd = np.where(np.isnan(eye.sd), EYE_SD_MM, eye.sd)
    if t_s.size == 0 and eye.t_s.size == 0:
        return None

    noise_mm = sensor_sd_mm(heights)
    if t_s.size:
        span_t, span_level, span_sd = _spans(t_s, heights, noise_mm)
    else:
        span_t = span_level = span_sd = np.empty(0)

    times = np.concatenate([span_t, eye.t_s])
    levels = np.concatenate([span_level, eye.value])
    sds = np.concatenate([span_sd, eye_sd])
    over_mean = np.concatenate([np.full(span_t.size, 0.5), np.full(eye.t_s.size, -0.5)])
    order = np.argsort(times, kind="stable")
    times, levels, sds, over_mean = times[order], levels[order], sds[order], over_mean[order]
    spread = _spread_at(batch, times, levels)
    start_ml = float(volume_ml(vessel, running_median(levels, 3)[spread]))
    low_s = float(times[spread])
    spread_frac = float(volume_ml(vessel, levels[0])) / start_ml - 1.0
    if spread_frac <= BALL_FRAC:
        spread_frac = 0.0
    else:  # until it has found the wall, the height of a ball says nothing of its volume
        times, levels, sds, over_mean = times[spread:], levels[spread:], sds[spread:], over_mean[spread:]
    flat = _lies_flat(vessel, times, levels, events_s(batch, (EventKind.FOLD,), until_s))
    times, levels, sds, over_mean = times[flat], levels[flat], sds[flat], over_mean[flat]
    frac_per_mm = _area_mm2(vessel, levels) / (1000.0 * start_ml)
    rise_frac = volume_ml(vessel, levels) / start_ml - 1.0
    folds = dict.fromkeys(events_s(batch, (EventKind.FOLD,), until_s), 1.0)
    folds |= {each.since_s: each.chance for each in seen.artefacts if each.kind is ObstructionKind.FOLD}
    return Observations(
        start_volume_ml=start_ml,
        start_error_frac=_start_error(batch, start_ml, low_s, spread_frac, batch.sensor_sd_mm * float(frac_per_mm[0])),
        spread_frac=spread_frac,
        t_s=times,
        rise_frac=rise_frac,
        sd_frac=sds * frac_per_mm,
        frac_per_mm=frac_per_mm,
        dome_frac=over_mean * width_mm(vessel, levels) * frac_per_mm,
        folds_s=tuple(sorted(folds)),
        fold_chances=tuple(folds[at_s] for at_s in sorted(folds)),
        shifts_s=tuple(each.since_s for each in seen.artefacts if each.kind is ObstructionKind.MOVED),
    )
