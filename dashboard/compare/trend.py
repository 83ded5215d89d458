"""Whether something has changed over weeks: the Theil-Sen slope, which one odd day cannot bend, and its doubt. Pure."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

ALPHA = 0.05  # judgement: one claim in twenty of a trend that is none; two trends are looked at side by side
DAY_MS = 86_400_000.0
LEAST_DAYS = 5  # by ``_rank``: of four days no order is so rare that it would not come by chance


@dataclass(frozen=True, slots=True)
class Slope:
    """Change in a day, with the ends of its 95 % interval; both are None for fewer than five days."""

    per_day: float
    low: float | None = None
    high: float | None = None

    @property
    def is_clear(self) -> bool:
        """True when the interval leaves out no change at all: only then may a trend be claimed."""
        return self.low is not None and self.high is not None and not self.low <= 0.0 <= self.high


def slope_of(days: ArrayLike, values: ArrayLike) -> Slope | None:
    """The median of the slopes between all pairs of days; None for fewer than two days.

    Parameters
    ----------
    days : array, shape (n,)
        Moments in days, each once; in any order.
    values : array, shape (n,)
        What was seen on each; NaN is left out.

    Notes
    -----
    Theil 1950, Proc. Kon. Ned. Akad. Wetensch. 53, 386-392; Sen 1968, J. Am. Stat. Assoc. 63, 1379-1389 (both from
    memory). The interval: how many of the slopes lie below the true one is spread, when the days are independent of
    each other, as the number of inversions of a shuffled order, which is counted out. So it holds for few days too.

    Examples
    --------
    Five minutes longer each day, and a day when the starter was forgotten:

    >>> slope_of([0, 1, 2, 3, 4, 5], [120, 125, 130, 135, 300, 145])
    Slope(per_day=5.0, low=5.0, high=85.0)
    """
    at, seen = np.asarray(days, dtype=np.float64), np.asarray(values, dtype=np.float64)
    is_known = np.isfinite(seen)
    at, seen = at[is_known], seen[is_known]
    if at.size < 2:
        return None
    first, second = np.triu_indices(at.size, 1)
    slopes = np.sort((seen[second] - seen[first]) / (at[second] - at[first]))
    middle, rank = float(np.median(slopes)), _rank(int(at.size))
    if rank == 0:
        return Slope(middle)
    return Slope(middle, float(slopes[rank - 1]), float(slopes[-rank]))


def slope_by_day(frame: pd.DataFrame, column: str) -> Slope | None:
    """The slope of one column of a trend, in its unit a day.

    Tubs of one day share flour, air and hands, and count as one: their median.
    """
    known = frame.dropna(subset=[column])
    days = known.groupby(known["at"] // DAY_MS)[column].median()
    return slope_of(days.index.to_numpy(), days.to_numpy())


def trend_line(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """The ends of a claimed trend, through the middle of what was seen: ``at value what``; empty when none is."""
    slope = slope_by_day(frame, column)
    if slope is None or not slope.is_clear:
        return pd.DataFrame(columns=["at", "value", "what"])
    known = frame.dropna(subset=[column])
    per_ms = slope.per_day / DAY_MS
    start = float((known[column] - per_ms * known["at"]).median())
    ends = [float(known["at"].min()), float(known["at"].max())]
    return pd.DataFrame({"at": ends, "value": [start + per_ms * at for at in ends], "what": column})


def _rank(n: int) -> int:
    """Which slope from either end bounds the interval of ``n`` days: the greatest that keeps ``ALPHA``; 0 for none."""
    chance = np.ones(1)  # of each number of inversions
    for k in range(2, n + 1):
        chance = np.convolve(chance, np.full(k, 1.0 / k))
    return int(np.searchsorted(np.cumsum(chance), ALPHA / 2.0, side="right"))
