"""What in the distance readings is no dough: hands, lids, films of water, a sensor's least distance, moved tubs, folds.

A dough never jumps up, its fall creeps, and it does not stop from one minute to the next. What does so is something
else, named here by its kind with a chance. Readings after a jump wait until they are explained:

- they come back to where the dough must be by now: something stood in between, and its readings are left out;
- they stay away and go on as the dough went: a moved tub or sensor, or downwards a fold, that nobody wrote down;
- they stay away and stand still: a lid or a film, for as long as that lasts.

Dough that clings to the wall stands beside the beam, and a sensor that drifts by less than a millimetre in ten minutes
looks like dough: nothing is said of either here.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monitor.dough.level_shifts import level_shifts
from monitor.dough.outlook import ObstructionKind
from monitor.dough.track import Series, median, running_median, seconds_since_start
from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.recipe.events import CHECKS
from monitor.recipe.vessel import height_mm

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SENSOR_SD_FLOOR_MM = 0.3  # judgement: below this, quantisation and a breathing surface rule
SPIKE_MM, SPIKE_SDS = 5.0, 6.0  # judgement: no dough jumps this far and back between three readings
JUMP_MM, JUMP_SDS = 5.0, 4.0  # judgement: nor this far, by the median of five
NEAR_MM, NEAR_SDS = 4.0, 4.0  # judgement: so near to where the dough must be by now, it is the dough
FASTEST_MM_PER_S = 1.0 / 60.0  # judgement: a pan loaf in a warm box doubles 50 mm within the hour
UNEXPECTED_MM_PER_S = 0.25 / 60.0  # judgement: a rise, and a fall, that may have set in unseen
UNEXPECTED_FALL_MM_PER_S = 0.5 / 60.0
LEAST_READINGS = 3  # judgement
SLOPE_S = 1200.0  # judgement: long enough to tell a slope from noise, short enough for it to be the present one
LEVEL_S = 300.0  # judgement: a level is the median of five minutes
HAND_S = 300.0  # judgement: what goes away sooner was a hand
FOLD_SETTLES_S = 240.0  # judgement: a fall is believed once it has stood this long
MOVE_SETTLES_S = 900.0  # judgement: a quarter of an hour tells whether it goes on as the dough did
STILL_SETTLES_S = 2700.0  # judgement: of a dough that hardly moves nothing tells; a lid mostly comes off by then
FAR_MM = 20.0  # judgement: no tub is moved by more without its being seen at once; lids lie farther off
GOES_ON_SHARE = 0.35  # judgement: a dough keeps at least this much of its pace over a jump
RIM_MM = (-15.0, 25.0)  # judgement: where a lid or a cloth over the tub lies, over the rim
BRIMFUL_MM = -8.0  # judgement: no dough is put in so near to the rim
EMPTY_MM = 6.0  # judgement: less than this is no dough
SAME_EVENT_S = 480.0  # judgement: a logged moment and the step it made lie within a few minutes
DISTURBED_AFTER_S = 150.0  # judgement: hands, lids and a sagging surface right after a fold, a poke or a lid
DISTURBED_BEFORE_S = 45.0
MOVED_SD_MM = 12.0  # judgement: how far a tub or sensor is moved
# judgement: how much oftener a fold is forgotten to be logged than a tub is moved; a shaped loaf is not folded
FOLD_ODDS = {Stage.FIRST_RISE: 3.0, Stage.PREFERMENT: 0.3, Stage.FINAL_PROOF: 0.05, Stage.RETARD: 0.1}
HANDLED_ODDS = 3.0  # judgement: hands are seen at a fold rather than at a move
FOLD_KEEPS_LOGIT = (0.4, 0.8)  # judgement: a fold keeps about 60 % of the rise, 25 to 85 %
SURE = 0.9  # judgement: a chance beyond this is taken for certain
# How a sensor that is stuck is told from a dough at its peak; judgement, checked on simulated doughs.
PLATEAU_LEAST, PLATEAU_LEAST_S, PLATEAU_LEAST_BEFORE = 6, 480.0, 6
PLATEAU_LOOKS_S = 3600.0  # so far back the dough's pace is looked for, and so long it would have gone on
PLATEAU_LOSS = 20.0  # lost spread that is enough: of 593 recordings of doughs left alone two came to it
PLATEAU_MM, PLATEAU_SDS = 1.0, 1.5  # a level that moves less than this stands still
PLATEAU_DRIFT_MM = 2.5  # though a film of water may carry it this far
STILL_SPREAD, STILL_WILD = 0.33, 2.0  # of its usual spread; what one wild value can say against a still run
LID_LOSS = 10.0  # what is seen after a jump needs less to be no dough
LEAST_SPREAD = 0.1  # a sensor that says one value over and over has lost nine tenths of it, or more
# Mean of the smaller 85 % of the sizes of normal values to their standard deviation: 1 / 0.577 (computed).
FLICKER_SHARE, FLICKER_TO_SD = 0.85, 1.73
MOST_PLATEAUS = 3


@dataclass(frozen=True, slots=True)
class Artefact:
    """Something that is no dough.

    Attributes
    ----------
    since_s, until_s
        When it began and ended; ``until_s`` is None while it lasts, and the same as ``since_s`` for a step. [s]
    chance
        That it is this kind. [0..1]
    is_logged
        True when the baker wrote down what explains it.
    """

    kind: ObstructionKind
    since_s: float
    until_s: float | None
    chance: float
    is_logged: bool = False


@dataclass(frozen=True, slots=True)
class View:
    """What of a series of distances is dough.

    Attributes
    ----------
    is_dough : array of bool, shape (n,)
        False for what is left out.
    artefacts
        By their begin.
    """

    is_dough: Mask
    artefacts: tuple[Artefact, ...]


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Readings ``begin`` up to ``end`` that no jump parts: their times, and levels at both ends. [s, mm, mm/s]"""

    begin: int
    end: int
    first_s: float
    last_s: float
    first_mm: float
    last_mm: float
    slope: float

    @property
    def lasts_s(self) -> float:
        return self.last_s - self.first_s


def sensor_sd_mm(heights_mm: Array) -> float:
    """Noise of one reading from second differences, deaf to the trend and to outliers. [mm]"""
    if heights_mm.size < 5:
        return 1.0  # judgement: a usual ranger, until its own noise is known
    bends = heights_mm[:-2] - 2.0 * heights_mm[1:-1] + heights_mm[2:]
    # 1.4826: median absolute deviation to standard deviation; sqrt(6): variance of a second difference of white noise
    return max(SENSOR_SD_FLOOR_MM, float(1.4826 * np.median(np.abs(bends)) / np.sqrt(6.0)))


def _slope(t_s: Array, level: Array) -> float:
    """Between the halves of some readings; 0 where they are too few. [mm/s]"""
    half = t_s.size // 2
    if half < 2 or t_s[-1] - t_s[0] < LEVEL_S:
        return 0.0
    run_s = median(t_s[half:]) - median(t_s[:half])
    return (median(level[half:]) - median(level[:half])) / run_s


def _stretch(t_s: Array, level: Array, begin: int, end: int) -> _Stretch:
    times = t_s[begin:end]
    first = max(begin + int(np.searchsorted(times, times[0] + LEVEL_S)), min(begin + 3, end))
    last = min(begin + int(np.searchsorted(times, times[-1] - LEVEL_S)), max(end - 3, begin))
    early = begin + int(np.searchsorted(times, times[0] + SLOPE_S))
    late = begin + int(np.searchsorted(times, times[-1] - SLOPE_S))
    slope = _slope(t_s[late:end], level[late:end])
    # The medians of both ends lie half a span inside; the slopes take them to the ends.
    first_mm = median(level[begin:first]) - _slope(t_s[begin:early], level[begin:early]) * (
        median(t_s[begin:first]) - times[0]
    )
    last_mm = median(level[last:end]) + slope * (times[-1] - median(t_s[last:end]))
    return _Stretch(begin, end, float(times[0]), float(times[-1]), first_mm, last_mm, slope)


def _jumps(t_s: Array, level: Array, sd_mm: float) -> NDArray[np.intp]:
    """Index of each reading that no dough can have come to from the one before it."""
    gap_s = np.diff(t_s)
    before = np.minimum(np.searchsorted(t_s, t_s[:-1] - SLOPE_S), np.arange(t_s.size - 1))
    run_s = t_s[:-1] - t_s[before]
    pace = np.divide(level[:-1] - level[before], run_s, out=np.zeros_like(gap_s), where=run_s >= LEVEL_S)
    expected = np.clip(pace, -FASTEST_MM_PER_S, FASTEST_MM_PER_S) * gap_s
    room = max(JUMP_MM, JUMP_SDS * sd_mm) + UNEXPECTED_FALL_MM_PER_S * gap_s
    return np.flatnonzero(np.abs(np.diff(level) - expected) > room) + 1


class _Watch:
    """Goes through the stretches between jumps, and tells which are dough."""

    def __init__(self, batch: Batch, t_s: Array, level_mm: Array, bends: Array, sd_mm: float, until_s: float):
        self.t_s = t_s
        self.level_mm = level_mm
        self.bends = bends
        self.depth_mm = batch.vessel.depth_mm
        self.sd_mm = sd_mm
        self.stage = batch.stage
        self.near_mm = max(NEAR_MM, NEAR_SDS * sd_mm)
        self.fold_events_s = events_s(batch, (EventKind.FOLD,), until_s)
        self.handling_events_s = events_s(batch, (EventKind.LID, EventKind.MOVE), until_s)
        self.dough: list[_Stretch] = []
        self.waiting: list[_Stretch] = []
        self.pace = 0.0
        self.start_mm = 0.0
        self.artefacts: list[Artefact] = []

    def look(self, stretch: _Stretch, *, is_last: bool) -> None:
        """Take the next stretch."""
        returns = self._returns_within(stretch)
        if returns:
            self.look(self._part(stretch.begin, returns), is_last=False)
            stretch = self._part(returns, stretch.end)
        if not self.dough:
            self.waiting.append(stretch)
            if self._can_be_first(stretch, is_last=is_last):
                self._begin(stretch)
        elif self._is_back(stretch):
            self._accept(stretch)
        elif self._has_shifted(stretch):
            size_mm = stretch.first_mm - self._expected_mm(stretch.first_s)
            is_handled = bool(self.waiting)
            self._accept(stretch)
            self.step(stretch.first_s, size_mm, is_handled=is_handled)
        else:
            self.waiting.append(stretch)
        if is_last:
            self._name_waiting(None)

    def _begin(self, first: _Stretch) -> None:
        """Take the first stretch that is dough, and those before it that stood as high."""
        self.start_mm = first.first_mm
        early, self.waiting = self.waiting, []
        for stretch in early:
            if abs(stretch.first_mm - first.first_mm) <= self.near_mm:
                self._accept(stretch)
            else:
                self.waiting.append(stretch)

    def _accept(self, stretch: _Stretch) -> None:
        self._name_waiting(stretch.first_s)
        if stretch.lasts_s >= LEVEL_S:
            self.pace = float(np.clip(stretch.slope, -FASTEST_MM_PER_S, FASTEST_MM_PER_S))
        self.dough.append(stretch)
        self.waiting = []

    def _is_over_rim(self, level_mm: float, low_mm: float = RIM_MM[0]) -> bool:
        return level_mm >= self.depth_mm + low_mm

    def _can_be_first(self, stretch: _Stretch, *, is_last: bool) -> bool:
        if stretch.lasts_s < HAND_S and not is_last:
            return False
        return stretch.first_mm >= EMPTY_MM and not self._is_over_rim(stretch.first_mm, BRIMFUL_MM)

    def _expected_mm(self, at_s: float) -> float:
        return self.dough[-1].last_mm + max(self.pace, 0.0) * (at_s - self.dough[-1].last_s)

    def _is_back(self, stretch: _Stretch) -> bool:
        """Whether the dough that was last seen can stand here by now."""
        if stretch.end - stretch.begin < LEAST_READINGS:
            return False
        was = self.dough[-1]
        gap_s = stretch.first_s - was.last_s
        least = was.last_mm + (min(self.pace, 0.0) - UNEXPECTED_FALL_MM_PER_S) * gap_s
        most = was.last_mm + (1.5 * max(self.pace, 0.0) + UNEXPECTED_MM_PER_S) * gap_s
        if self.waiting and gap_s > HAND_S and not self._is_over_rim(stretch.first_mm):
            most = max(most, was.last_mm + FASTEST_MM_PER_S * gap_s)  # it may have woken under the lid
        return least - self.near_mm <= stretch.first_mm <= most + self.near_mm

    def _part(self, begin: int, end: int) -> _Stretch:
        return _stretch(self.t_s, self.level_mm, begin, end)

    def _returns_within(self, stretch: _Stretch) -> int:
        """The reading from which on a stretch is dough, where it came back too smoothly for a jump; 0 for none.

        A hand that is drawn away slowly does so, and a dough that was made a ball and sinks to the wall again.
        """
        if not self.dough or self._is_back(stretch):
            return 0
        times, levels = self.t_s[stretch.begin : stretch.end], self.level_mm[stretch.begin : stretch.end]
        expected_mm = self.dough[-1].last_mm + max(self.pace, 0.0) * (times - self.dough[-1].last_s)
        is_near = np.abs(levels - expected_mm) <= self.near_mm
        near = np.flatnonzero(is_near[1:-2] & is_near[2:-1] & is_near[3:]) + 1
        if near.size == 0:
            return 0
        returns = int(near[0])
        is_brief = times[returns] - times[0] < HAND_S
        has_crept = abs(levels[0] - levels[returns]) > 2.0 * self.near_mm  # a lid lies still
        return stretch.begin + returns if is_brief or has_crept else 0

    def _has_shifted(self, stretch: _Stretch) -> bool:
        """Whether the stretch is dough all the same, seen from elsewhere, or folded."""
        # Its first part decides, so that what is found once is found again later.
        settled = int(np.searchsorted(self.t_s, stretch.first_s + STILL_SETTLES_S, side="right"))
        stretch = self._part(stretch.begin, min(stretch.end, settled + 1))
        size_mm = stretch.first_mm - self._expected_mm(stretch.first_s)
        lasts_s = stretch.lasts_s
        if stretch.end - stretch.begin < LEAST_READINGS or stretch.first_mm < EMPTY_MM or lasts_s < FOLD_SETTLES_S:
            return False
        if self._is_folded(stretch.first_s):
            return True  # whatever its level: it may lie there as a ball again
        if size_mm < 0.0 and stretch.first_mm >= self.start_mm - self.near_mm:
            return True
        is_far = abs(size_mm) > FAR_MM
        was_high = self._is_over_rim(self.dough[-1].last_mm, 2.0 * RIM_MM[0])
        if size_mm > 0.0 and self._is_over_rim(stretch.first_mm) and (is_far or not was_high):
            return False
        if size_mm > 0.0 and _lost_spread(self.bends[: stretch.end], stretch.begin, stretch.end) > LID_LOSS:
            return False
        if self._is_told(stretch.first_s):
            return True
        if lasts_s < MOVE_SETTLES_S:
            return False
        due_mm = self.pace * min(lasts_s, SLOPE_S)
        if not is_far:
            return True
        if abs(due_mm) > max(2.5, 2.0 * self.sd_mm):
            return stretch.slope * min(lasts_s, SLOPE_S) / due_mm > GOES_ON_SHARE
        return lasts_s >= STILL_SETTLES_S

    def _is_folded(self, at_s: float) -> bool:
        return any(abs(at_s - event_s) < SAME_EVENT_S for event_s in self.fold_events_s)

    def _is_told(self, at_s: float) -> bool:
        return any(abs(at_s - event_s) < SAME_EVENT_S for event_s in self.handling_events_s)

    def _name_waiting(self, until_s: float | None) -> None:
        """Say what stood between sensor and dough."""
        if not self.waiting:
            return
        since_s = self.waiting[0].first_s
        longest = max(self.waiting, key=lambda stretch: stretch.lasts_s)
        is_short = longest.lasts_s < HAND_S
        level_mm = 0.5 * (longest.first_mm + longest.last_mm)
        # Before the first dough is seen, only what lies over the rim can be named.
        known_mm = self.dough[-1].last_mm if self.dough else self.depth_mm + RIM_MM[0]
        kind, chance = ObstructionKind.LID, 0.7
        if level_mm < known_mm:
            kind, chance = ObstructionKind.AWAY, 0.9
        elif is_short:
            kind, chance = ObstructionKind.HAND, 0.9
        elif self._is_over_rim(level_mm, RIM_MM[1]):
            kind, chance = ObstructionKind.CONDENSATION, 0.7
        elif self._is_over_rim(level_mm):
            kind, chance = ObstructionKind.LID, 0.9
        if kind is ObstructionKind.AWAY and is_short:
            return  # a lid that is lifted for a moment
        if until_s is None and not is_short and abs(level_mm - known_mm) <= FAR_MM and not self._is_over_rim(level_mm):
            return  # perhaps a moved tub: time will tell
        is_logged = self._is_told(since_s)
        self.artefacts.append(Artefact(kind, since_s, until_s, chance, is_logged))

    def step(self, at_s: float, size_mm: float, *, is_handled: bool = False) -> None:
        """Note a lasting step of the level."""
        if self._is_folded(at_s):
            return  # the baker has told
        if self._is_told(at_s):
            self.artefacts.append(Artefact(ObstructionKind.MOVED, at_s, at_s, 1.0, is_logged=True))
            return
        risen_mm = self._stood_mm(at_s) - self.start_mm
        chance = fold_chance(self.stage, risen_mm, -size_mm, self.sd_mm, is_handled=is_handled)
        if chance > 1.0 - SURE:
            self.artefacts.append(Artefact(ObstructionKind.FOLD, at_s, at_s, chance))
        if chance < SURE:
            self.artefacts.append(Artefact(ObstructionKind.MOVED, at_s, at_s, 1.0 - chance))

    def _stood_mm(self, before_s: float) -> float:
        """Where the dough stood just before a moment."""
        past = [stretch for stretch in self.dough if stretch.first_s < before_s]
        return past[-1].last_mm if past else self.start_mm


def _bends(height: Array) -> Array:
    """Sizes of second differences, as many as there are readings. [mm]"""
    if height.size < LEAST_READINGS:
        return np.zeros_like(height)
    return np.pad(np.abs(height[:-2] - 2.0 * height[1:-1] + height[2:]), 1, mode="edge")


def _flicker(bends: Array) -> float:
    """Usual size of second differences, wild values left out, as their standard deviation. [mm]"""
    kept = np.sort(bends)[: max(1, int(FLICKER_SHARE * bends.size))]
    return max(FLICKER_TO_SD * float(np.mean(kept)), float(SENSOR_SD_FLOOR_MM * np.sqrt(6.0)))


def _stillest(bends: Array) -> tuple[int, int]:
    """Begin and end of the run of readings that flicker least.

    Parameters
    ----------
    bends : array, shape (n,)
        Sizes of second differences over their usual standard deviation. [-]

    Notes
    -----
    The run with the greatest sum of logarithms of the likelihood ratio of a spread of ``STILL_SPREAD`` to a whole one.
    One wild value counts no more than ``STILL_WILD``.
    """
    says = np.maximum(-np.log(STILL_SPREAD) - 0.5 * bends**2 * (STILL_SPREAD**-2.0 - 1.0), -STILL_WILD)
    sums = np.concatenate([[0.0], np.cumsum(says)])
    end = int(np.argmax(sums - np.minimum.accumulate(sums)))
    return int(np.argmin(sums[: end + 1])), end


def _lost_spread(bends: Array, begin: int, end: int) -> float:
    """What some readings say for a spread smaller than before: the logarithm of the ratio of likelihoods."""
    if begin < PLATEAU_LEAST_BEFORE or end - begin < PLATEAU_LEAST:
        return 0.0
    still = np.sort(bends[begin:end])[: int(FLICKER_SHARE * (end - begin))]
    share = FLICKER_TO_SD * float(np.mean(still)) / _flicker(bends[:begin])
    share = min(max(share, LEAST_SPREAD), 1.0)
    return (end - begin) * float(-np.log(share) - 0.5 * (1.0 - share**2))


def _as_level(level: Array, begin: int, end: int, sd_mm: float) -> tuple[int, int]:
    """The readings round the second half of a run that stand as high as that does."""
    middle = (begin + end) // 2
    is_off = np.abs(level - np.median(level[middle:end])) > max(PLATEAU_DRIFT_MM, PLATEAU_SDS * sd_mm)
    before, after = np.flatnonzero(is_off[:middle]), np.flatnonzero(is_off[end:])
    return int(before[-1]) + 1 if before.size else 0, end + int(after[0]) if after.size else level.size


def _plateaus(t_s: Array, height: Array, level: Array, sd_mm: float, nearest_mm: float) -> list[tuple[slice, Artefact]]:
    """Readings that stand still where a dough would have gone on: of a sensor at its least distance, or a stuck one."""
    if t_s.size < PLATEAU_LEAST_BEFORE + LEAST_READINGS:
        return []
    bends = _bends(height)
    # A sensor that is stuck for most of a batch must not count as its own measure.
    usual = max(_flicker(part) for part in np.array_split(bends, 4))
    found: list[tuple[slice, Artefact]] = []
    for _ in range(MOST_PLATEAUS):
        begin, end = _stillest(bends / usual)
        if end - begin < LEAST_READINGS:
            break
        begin, end = _as_level(level, begin, end, sd_mm)
        plateau = _plateau(t_s, level, sd_mm, nearest_mm, begin, end, _lost_spread(bends, begin, end))
        if plateau is None:
            break
        found.append((slice(begin, end), plateau))
        bends[begin:end] = np.inf
    return found


def _plateau(
    t_s: Array, level: Array, sd_mm: float, nearest_mm: float, begin: int, end: int, loss: float
) -> Artefact | None:
    """What readings are that stand still, where that is likelier than a dough; ``loss`` speaks for a lost spread."""
    if end - begin < PLATEAU_LEAST or begin < PLATEAU_LEAST_BEFORE:
        return None
    lasts_s = float(t_s[end - 1] - t_s[begin])
    if lasts_s < PLATEAU_LEAST_S or loss < PLATEAU_LOSS:
        return None
    first = int(np.searchsorted(t_s, t_s[begin] - PLATEAU_LOOKS_S))
    third = (end - begin) // 3
    moves_mm = abs(median(level[end - third : end]) - median(level[begin : begin + third]))
    due_mm = _slope(t_s[first:begin], level[first:begin]) * min(lasts_s, PLATEAU_LOOKS_S)
    still_mm = max(PLATEAU_MM, PLATEAU_SDS * sd_mm)
    if max(moves_mm, still_mm) > due_mm or moves_mm > still_mm:
        return None
    # Where something nearer was seen, the sensor can tell less than this: it is stuck.
    is_nearest = nearest_mm <= np.max(level[begin:end]) + 2.0 * still_mm
    kind = ObstructionKind.BLIND_ZONE if is_nearest else ObstructionKind.CONDENSATION
    return Artefact(kind, float(t_s[begin]), float(t_s[end]) if t_s.size - end >= LEAST_READINGS else None, 0.8)


def fold_chance(stage: Stage, risen_mm: float, lost_mm: float, sd_mm: float, *, is_handled: bool) -> float:
    """Chance that a fall which nobody logged was a fold rather than a moved tub. [0..1]

    Parameters
    ----------
    risen_mm
        How far the dough stood over its start before it. [mm]
    lost_mm
        How far the level fell; negative for a jump up, which no fold makes. [mm]
    sd_mm
        Noise of one reading. [mm]
    is_handled
        Whether something was seen over the dough just before.

    Notes
    -----
    Bayes' rule: the prior odds of the stage times the ratio of the densities of such a fall. A fold loses a share of
    the rise; a tub is moved by anything.
    """
    if lost_mm <= 0.0 or risen_mm <= 0.0:
        return 0.0
    odds = FOLD_ODDS[stage] * (HANDLED_ODDS if is_handled else 1.0)
    keeps = np.clip(1.0 - (lost_mm + sd_mm * np.linspace(-2.0, 2.0, 9)) / risen_mm, 1e-3, 1.0 - 1e-3)
    off = (np.log(keeps / (1.0 - keeps)) - FOLD_KEEPS_LOGIT[0]) / FOLD_KEEPS_LOGIT[1]
    by_fold = np.exp(-0.5 * off**2) / (FOLD_KEEPS_LOGIT[1] * keeps * (1.0 - keeps) * risen_mm)
    weight = np.exp(-0.5 * np.linspace(-2.0, 2.0, 9) ** 2)
    by_move = np.exp(-0.5 * (lost_mm / MOVED_SD_MM) ** 2) / MOVED_SD_MM
    odds *= float(np.sum(by_fold * weight) / np.sum(weight) / by_move)
    return odds / (1.0 + odds)


def events_s(batch: Batch, kinds: tuple[EventKind, ...], until_s: float) -> tuple[float, ...]:
    """Times of the logged events of some kinds, after the start and up to a moment. [s]"""
    times = (seconds_since_start(batch, event.at) for event in batch.events if event.kind in kinds)
    return tuple(at_s for at_s in times if 0.0 < at_s <= until_s)


def view(batch: Batch, distance: Series, until_s: float) -> View:
    """What of a batch's distance readings is dough, and what the rest is.

    Parameters
    ----------
    distance
        Readings up to that moment. [mm]
    until_s
        The moment, since the start. [s]
    """
    is_dough = np.isfinite(distance.value)
    if batch.vessel.sensor_to_base_mm is None or not np.any(is_dough):
        return View(np.zeros(is_dough.size, dtype=bool), ())
    index = np.flatnonzero(is_dough)
    t_s, height = distance.t_s[index], height_mm(batch.vessel, distance.value[index])
    sd_mm = sensor_sd_mm(height)
    wild_mm = max(SPIKE_MM, SPIKE_SDS * sd_mm)
    tame = np.abs(height - running_median(height, 3)) <= wild_mm
    index, t_s, height = index[tame], t_s[tame], height[tame]
    level = running_median(height, 5)
    watch = _Watch(batch, t_s, level, _bends(height), sd_mm, until_s)
    bounds = [0, *_jumps(t_s, level, sd_mm), t_s.size]
    for begin, end in pairwise(bounds):
        watch.look(_stretch(t_s, level, int(begin), int(end)), is_last=end == t_s.size)
    kept = np.zeros(t_s.size, dtype=bool)
    for stretch in watch.dough:
        kept[stretch.begin : stretch.end] = True
    kept &= np.abs(height - level) <= wild_mm
    for event in batch.events:
        if event.kind in (EventKind.FOLD, EventKind.LID, *CHECKS):
            since = t_s - seconds_since_start(batch, event.at)
            kept &= (since < -DISTURBED_BEFORE_S) | (since > DISTURBED_AFTER_S)
    seen = np.flatnonzero(kept)
    for still, plateau in _plateaus(t_s[seen], height[seen], level[seen], sd_mm, float(np.max(level))):
        kept[seen[still]] = False
        watch.artefacts.append(plateau)
    known_s = [artefact.since_s for artefact in watch.artefacts]
    known_s += [artefact.until_s for artefact in watch.artefacts if artefact.until_s is not None]
    for step in level_shifts(t_s[kept], height[kept], sd_mm):
        if all(abs(step.t_s - other_s) > SAME_EVENT_S for other_s in known_s):
            watch.step(step.t_s, step.size_mm)
    is_dough = np.zeros(distance.t_s.size, dtype=bool)
    is_dough[index[kept]] = True
    return View(is_dough, tuple(sorted(watch.artefacts, key=lambda artefact: artefact.since_s)))
