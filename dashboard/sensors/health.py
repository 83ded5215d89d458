"""How a node is, by what it sent: how its clock runs, how long its battery lasts, when it was silent. Pure.

A node has no calendar: it says how old each reading is, and the monitor counts back from when that arrived. So its
clock cannot be set wrong; it can run fast or slow, which shows in the moments of its readings (one each so many of its
own seconds), and what it says can arrive late.
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from dashboard.drawing.strips import HEARD_GAP
from monitor.store.readings import Hearing

EMPTY_V = 3.4  # judgement: a board of 3.3 V and its regulator stop there
BATTERY_LEAST_DAYS, BATTERY_SURE = 1.0, 4.0  # judgement: a slope is clear after a day, and at four times its own doubt
SURE = 2.0  # standard deviations of a drift either way
LEAST_S = 3600.0  # judgement: an hour of one boot is enough for a second a day or so
MOST_DRIFT = 1e-3  # judgement: no quartz, and no board's own oscillator that can be used, is worse
VAGUE_S_PER_DAY = 5.0  # judgement: doubt beyond which nothing is said
DAY_S = 86400.0
STUCK_READINGS, STUCK_S = 60, 3600.0  # as monitor.health.nodes has it


@dataclass(frozen=True, slots=True)
class Drift:
    """How much a node's clock gains, and the doubt of that, one standard deviation. [s a day]"""

    gained_s: float
    sd_s: float


def gaps_of(measured_s: NDArray[np.float64]) -> list[tuple[float, float]]:
    """The silences between readings: from and to, in seconds as they came."""
    silent = np.flatnonzero(np.diff(measured_s) > HEARD_GAP.total_seconds())
    return [(float(measured_s[at]), float(measured_s[at + 1])) for at in silent]


def drift_of(heard: Hearing) -> Drift | None:
    """How fast the clock of a node's newest boot runs against the monitor's; None when that cannot be told yet.

    Readings lie whole periods of the node's own clock apart, and a period is a whole number of seconds.
    """
    is_newest = np.array([boot == heard.boot[-1] for boot in heard.boot], dtype=np.bool_)
    at_s = heard.measured_s[is_newest]
    if at_s.size < 3 or at_s[-1] - at_s[0] < LEAST_S:
        return None
    steps_s = np.diff(at_s)
    period_s = float(round(float(np.median(steps_s))))
    if period_s < 1.0:
        return None
    counted_s = np.concatenate([[0.0], np.cumsum(np.round(steps_s / period_s))]) * period_s
    late_s = at_s - at_s[0] - counted_s
    kept = np.abs(late_s - np.median(late_s)) <= MOST_DRIFT * counted_s[-1]
    x, y = counted_s[kept] - counted_s[kept].mean(), late_s[kept]
    if x.size < 3 or not np.any(x):
        return None
    slope, sd = _slope(x, y)
    found = Drift(-slope * DAY_S, sd * DAY_S)
    return found if found.sd_s * SURE <= VAGUE_S_PER_DAY and abs(slope) <= MOST_DRIFT else None


def _slope(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Slope of a straight line through points whose ``x`` have no mean, and its standard deviation."""
    slope = float(np.sum(x * y) / np.sum(x * x))
    rest = y - y.mean() - slope * x
    return slope, float(np.sqrt(np.sum(rest * rest) / max(x.size - 2, 1) / np.sum(x * x)))


def days_left(battery: Hearing) -> float | None:
    """Days until a battery is empty at its pace so far; None when that pace is not clear."""
    if battery.value.size < 10 or np.ptp(battery.measured_s) < BATTERY_LEAST_DAYS * DAY_S:
        return None
    days = (battery.measured_s - battery.measured_s.mean()) / DAY_S
    slope, sd = _slope(days, battery.value)
    if slope >= 0.0 or -slope < BATTERY_SURE * sd:
        return None
    now_v = float(battery.value.mean() + slope * days[-1])
    return max(0.0, (now_v - EMPTY_V) / -slope)


def is_stuck(heard: Hearing, now: datetime) -> bool:
    """True when a channel has said the very same thing for an hour, at least sixty times."""
    newest = heard.value[heard.measured_s >= now.timestamp() - STUCK_S]
    return newest.size >= STUCK_READINGS and float(np.ptp(newest)) == 0.0
