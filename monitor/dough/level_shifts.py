"""Small sudden steps in a level: what a jump from one reading to the next hides in noise, but a few minutes show."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.track import median, running_median, span_medians

Array = NDArray[np.float64]

SPAN_S = 60.0  # judgement
BEFORE_S = 900.0  # judgement: a quarter of an hour tells where the level was going
AFTER_S = 720.0  # judgement: long enough that a hand or an open lid has gone again
LEAST_AFTER_S = 420.0  # judgement: a step is believed once it has stood this long
APART_S = 480.0  # judgement: two steps closer than this are one
COLLAPSE_MM_PER_S = 0.2 / 60.0  # judgement: what falls on by this much more than before, collapses
LEAST_SPANS = 3
EDGE_SPANS = 8
UNSEEN_MM_PER_S = 0.5 / 60.0  # judgement: by how much a dough may change its pace while nobody looks
LEAST_STEP_MM = 3.0  # judgement: a smaller one is left to what wanders between the level and the dough
LEAST_SIGNIFICANCE = 5.5  # judgement: standard deviations
SUDDEN_SHARE = 0.6  # judgement: this much of a step comes at once, and stays


@dataclass(frozen=True, slots=True)
class LevelShift:
    """A step of the level at ``t_s`` [s], ``size_mm``, negative downwards."""

    t_s: float
    size_mm: float


def _line(t_s: Array, level: Array, at_s: float) -> tuple[float, float, float, float]:
    """Straight line through some spans: level and slope at a moment, share of a span's variance there, misfit."""
    since_s = t_s - at_s
    # For so few spans NumPy's mean takes five times as long as the sum that it divides.
    middle_s, mean = float(np.add.reduce(since_s)) / t_s.size, float(np.add.reduce(level)) / t_s.size
    off_s = since_s - middle_s
    spread = float(off_s @ off_s)
    slope = float(off_s @ level) / spread
    rest = level - mean - slope * off_s
    return mean - slope * middle_s, slope, 1.0 / t_s.size + middle_s**2 / spread, float(rest @ rest)


def _edge(t_s: Array, level: Array, about: int) -> int:
    """The span near another before which two lines part with the least misfit: noise may hide where the step is."""

    def misfit(index: int) -> float:
        before, after = slice(max(index - EDGE_SPANS, 0), index), slice(index, index + EDGE_SPANS)
        return _line(t_s[before], level[before], t_s[index])[3] + _line(t_s[after], level[after], t_s[index])[3]

    edges = [index for index in (about, about - 1, about + 1) if LEAST_SPANS <= index <= t_s.size - LEAST_SPANS]
    return min(edges, key=misfit) if edges else about


def _shift_at(t_s: Array, level: Array, sd_mm: float, index: int) -> LevelShift | None:
    """The step between span ``index - 1`` and span ``index``, if there is one: where two lines do not meet."""
    gap_s = t_s[index] - t_s[index - 1]
    edge_s = float(0.5 * (t_s[index - 1] + t_s[index]))
    first, last = np.searchsorted(t_s, (edge_s - max(BEFORE_S, 5.0 * gap_s), edge_s + max(AFTER_S, 4.0 * gap_s)))
    n_before, n_after = index - first, last - index
    if n_before < LEAST_SPANS or n_after < LEAST_SPANS or t_s[last - 1] - edge_s < LEAST_AFTER_S:
        return None
    before_mm, pace, before_share, before_rest = _line(t_s[first:index], level[first:index], edge_s)
    after_mm, pace_after, after_share, after_rest = _line(t_s[index:last], level[index:last], edge_s)
    size_mm = after_mm - before_mm
    misfit_mm = ((before_rest + after_rest) / (n_before + n_after - 4)) ** 0.5
    doubt_mm = max(sd_mm, misfit_mm) * (before_share + after_share) ** 0.5
    if abs(size_mm) < max(LEAST_STEP_MM, LEAST_SIGNIFICANCE * doubt_mm) + UNSEEN_MM_PER_S * max(gap_s - SPAN_S, 0.0):
        return None
    if size_mm < 0.0 and pace_after < min(pace, 0.0) - COLLAPSE_MM_PER_S:
        return None
    # What a dough that quickens, or collapses, does by itself between the two is no step.
    by_itself = max(pace, pace_after, 0.0) if size_mm > 0.0 else min(pace, pace_after, 0.0)
    just_before, just_after = slice(index - LEAST_SPANS, index), slice(index, index + LEAST_SPANS)
    at_once_mm = median(level[just_after]) - median(level[just_before])
    at_once_mm -= by_itself * (median(t_s[just_after]) - median(t_s[just_before]))
    late = slice(index + n_after // 2, last)
    stays_mm = median(level[late]) - before_mm - pace * (median(t_s[late]) - edge_s)
    is_step = min(at_once_mm / size_mm, stays_mm / size_mm) >= SUDDEN_SHARE
    return LevelShift(edge_s, size_mm) if is_step else None


def level_shifts(t_s: Array, level_mm: Array, sd_mm: float) -> tuple[LevelShift, ...]:
    """Sudden lasting steps, in time order.

    Parameters
    ----------
    t_s, level_mm : arrays, shape (n,)
        Time [s] and level [mm], wild values left out.
    sd_mm
        Noise of one reading. [mm]
    """
    if t_s.size < 2 * LEAST_SPANS:
        return ()
    # Spans counted from the start, so that a step once found is found again later.
    t_s, level_mm, counts = span_medians(t_s, level_mm, np.floor(t_s / SPAN_S).astype(np.intp))
    if t_s.size < 2 * LEAST_SPANS:
        return ()
    sd_mm = sd_mm / float(np.sqrt(np.median(counts)))
    triples = running_median(level_mm, 3)[1:-1]
    # Entry k compares spans k..k+2 with spans k+3..k+5: the edge lies before span k+3, or beside that in noise.
    change = triples[3:] - triples[:-3]
    size = np.abs(change)
    peaks = size >= max(SUDDEN_SHARE * LEAST_STEP_MM, 2.0 * sd_mm)
    for by in (1, 2):  # not on the flank of a larger change
        peaks[by:] &= size[by:] >= size[:-by]
        peaks[:-by] &= size[:-by] >= size[by:]
    found: list[LevelShift] = []
    for k in sorted(np.flatnonzero(peaks), key=lambda k: -size[k]):
        step = _shift_at(t_s, level_mm, sd_mm, _edge(t_s, level_mm, int(k) + 3))
        if step is not None and all(abs(step.t_s - other.t_s) > APART_S for other in found):
            found.append(step)
    return tuple(sorted(found, key=lambda step: step.t_s))
