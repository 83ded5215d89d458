"""Sudden steps in a dough's level: folds nobody logged, tubs that were moved, lids put back askew."""

from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from monitor.dough.track import running_median

Array = NDArray[np.float64]

BEFORE_S = 900.0  # judgement: a quarter of an hour tells where the level was going
AFTER_S = 720.0  # judgement: long enough that a hand or an open lid has gone again
LEAST_AFTER_S = 240.0  # judgement: a step is believed once it has stood this long
APART_S = 480.0  # judgement: two steps closer than this are one
WILD_FRAC = 0.06  # judgement: a span this far off its neighbours is a hand, not a step
LEAST_SPANS = 3
LEAST_STEP_FRAC = 0.05  # judgement: a fold that knocks out less than this needs no word
LEAST_SIGNIFICANCE = 5.0  # judgement: standard deviations
SUDDEN_SHARE = 0.6  # judgement: this much of a step comes at once; a collapse creeps

CREEP_SHARE = 0.25  # judgement: going on by this share of the step within the time after is creeping


@dataclass(frozen=True, slots=True)
class LevelShift:
    """A step of the level at ``t_s`` [s], ``size_frac`` of the start volume, negative downwards."""

    t_s: float
    size_frac: float


def _median(values: Array) -> float:
    return float(median(values.tolist()))  # of a dozen values in a tenth of the time that NumPy's takes


def _shift_at(t_s: Array, rise: Array, sd: Array, index: int) -> LevelShift | None:
    """The step between span ``index - 1`` and span ``index``, if there is one."""
    edge_s = 0.5 * (t_s[index - 1] + t_s[index])
    before = np.flatnonzero((t_s < edge_s) & (t_s >= edge_s - BEFORE_S))
    after = np.flatnonzero((t_s > edge_s) & (t_s <= edge_s + AFTER_S))
    if before.size < LEAST_SPANS or after.size < LEAST_SPANS or t_s[after[-1]] - edge_s < LEAST_AFTER_S:
        return None
    level_before = _median(rise[before[-LEAST_SPANS:]])
    centre_s = _median(t_s[before[-LEAST_SPANS:]])
    # The slope between the halves of the time before; a dough on its way up goes on up, and never down, by itself.
    half = before.size // 2
    run_s = _median(t_s[before[half:]]) - _median(t_s[before[:half]]) if half else 0.0
    climb = _median(rise[before[half:]]) - _median(rise[before[:half]]) if half else 0.0
    slope = max(climb / run_s, 0.0) if run_s > 0.0 else 0.0
    jumps = rise[after] - (level_before + slope * (t_s[after] - centre_s))
    size = _median(jumps)
    doubt = _median(sd[after]) * np.sqrt(1.0 / LEAST_SPANS + 1.0 / after.size) * 1.2533
    at_once = _median(rise[after[:LEAST_SPANS]]) - level_before
    if abs(size) < max(LEAST_STEP_FRAC, LEAST_SIGNIFICANCE * doubt) or at_once * size <= 0.0:
        return None
    # A folded dough stays down or rises again; a collapsing one goes on falling.
    middle = after.size // 2
    drift = _median(jumps[middle:]) - _median(jumps[:middle])
    goes_on = drift * np.sign(size) > CREEP_SHARE * abs(size)
    return LevelShift(float(edge_s), size) if abs(at_once) >= SUDDEN_SHARE * abs(size) and not goes_on else None


def level_shifts(t_s: Array, rise_frac: Array, sd_frac: Array) -> tuple[LevelShift, ...]:
    """Sudden steps in the rise of short spans, in time order.

    Parameters
    ----------
    t_s, rise_frac, sd_frac : arrays, shape (n,)
        Time [s], rise as a fraction of the start volume, and its standard deviation.
    """
    if t_s.size < 2 * LEAST_SPANS:
        return ()
    kept = np.abs(rise_frac - running_median(rise_frac, 5)) <= np.maximum(WILD_FRAC, LEAST_SIGNIFICANCE * sd_frac)
    t_s, rise_frac, sd_frac = t_s[kept], rise_frac[kept], sd_frac[kept]
    if t_s.size < 2 * LEAST_SPANS:
        return ()
    triples = running_median(rise_frac, 3)[1:-1]
    # Entry k compares spans k..k+2 with spans k+3..k+5: the edge lies before span k+3.
    change = triples[3:] - triples[:-3]
    found: list[LevelShift] = []
    for k in np.argsort(-np.abs(change), kind="stable"):
        if abs(change[k]) < SUDDEN_SHARE * LEAST_STEP_FRAC:
            break
        if np.abs(change[max(k - 2, 0) : k + 3]).max() > abs(change[k]):
            continue  # on the flank of a larger change
        step = _shift_at(t_s, rise_frac, sd_frac, int(k) + 3)
        if step is not None and all(abs(step.t_s - other.t_s) > APART_S for other in found):
            found.append(step)
    return tuple(sorted(found, key=lambda step: step.t_s))
