"""The readings of one batch as arrays, sorted in time: what the estimator sees."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median as median_of_list

import numpy as np
from numpy.typing import NDArray

from monitor.recipe.batch import Batch
from monitor.wire.readings import DOUGH_CHANNELS, SENSOR_CHANNELS, Channel, Flag, Reading


@dataclass(frozen=True, slots=True)
class Series:
    """One channel over time.

    Attributes
    ----------
    t_s : array, shape (n,)
        Seconds since the batch started, ascending.
    value : array, shape (n,)
        In the channel's unit.
    sd : array, shape (n,)
        The reading's own doubt in the channel's unit; NaN for a sensor.
    """

    t_s: NDArray[np.float64]
    value: NDArray[np.float64]
    sd: NDArray[np.float64]

    def upto(self, t_s: float) -> "Series":
        """The part with times up to and including ``t_s``."""
        n = int(np.searchsorted(self.t_s, t_s, side="right"))
        return Series(self.t_s[:n], self.value[:n], self.sd[:n])


EMPTY = Series(np.empty(0), np.empty(0), np.empty(0))


@dataclass(frozen=True, slots=True)
class Track:
    """All channels of one batch, from its start on; each field has its channel's name."""

    air_temp_c: Series = EMPTY
    humidity_pct: Series = EMPTY
    dough_temp_c: Series = EMPTY
    distance_mm: Series = EMPTY
    level_mm: Series = EMPTY

    @property
    def series(self) -> dict[Channel, Series]:
        """Each channel's series."""
        return {channel: getattr(self, channel) for channel in DOUGH_CHANNELS}

    def upto(self, t_s: float) -> "Track":
        """What was measured up to and including ``t_s`` seconds after the start."""
        return track_of({channel: series.upto(t_s) for channel, series in self.series.items()})

    @property
    def is_sensed(self) -> bool:
        """True when a sensor ever measured anything; False when it was only looked at by eye, or not at all."""
        return any(self.series[channel].t_s.size for channel in SENSOR_CHANNELS)

    @property
    def last_t_s(self) -> float | None:
        """Time of the newest reading of any channel, seconds since the start; None when there is none."""
        ends = [series.t_s[-1] for series in self.series.values() if series.t_s.size]
        return float(max(ends)) if ends else None


def track_from_readings(batch: Batch, readings: Iterable[Reading]) -> Track:
    """The usable readings of a batch, whatever order and however often they arrived.

    Readings before the start, flagged readings and second copies of the same reading are left out.
    """
    rows: dict[Channel, dict[tuple[str, str, int], tuple[float, float, float]]] = {}
    for reading in readings:
        if reading.flag is not Flag.OK or reading.measured_at < batch.started_at:
            continue
        t_s = (reading.measured_at - batch.started_at).total_seconds()
        sd = float("nan") if reading.sd is None else reading.sd
        rows.setdefault(reading.channel, {}).setdefault(
            (reading.node, reading.boot, reading.seq), (t_s, reading.value, sd)
        )
    series = {}
    for channel, points in rows.items():
        table = np.array(list(points.values()), dtype=np.float64)
        series[channel] = in_order(table[:, 0], table[:, 1], table[:, 2])
    return track_of(series)


def in_order(t_s: NDArray[np.float64], value: NDArray[np.float64], sd: NDArray[np.float64]) -> Series:
    """A channel's values by time, those of one moment by size: whatever order they came in, the series is the same."""
    order = np.lexsort((sd, value, t_s))
    return Series(t_s[order], value[order], sd[order])


def track_of(series: Mapping[Channel, Series]) -> Track:
    """The track of some channels; those that say nothing of a dough are left out."""
    return Track(**{channel: series.get(channel, EMPTY) for channel in DOUGH_CHANNELS})


def running_median(values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """Median of each value and its neighbours; the ends are repeated beyond the ends.

    Parameters
    ----------
    values : array, shape (m,)
    n
        3 or 5 in all.

    Returns
    -------
    array, shape (m,)
    """
    padded = np.pad(values, n // 2, mode="edge")
    a, b, c, *more = (padded[first : first + values.size] for first in range(n))
    if more:  # of five, the middle one is that of the fifth and the two inner ones of the other four
        d, e = more
        a, b, c = np.maximum(np.minimum(a, b), np.minimum(c, d)), np.minimum(np.maximum(a, b), np.maximum(c, d)), e
    return np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))


def median(values: NDArray[np.float64]) -> float:
    """Median of a few dozen values, in a tenth of the time that NumPy's takes for so few."""
    return float(median_of_list(values.tolist()))


def span_medians(
    t_s: NDArray[np.float64], values: NDArray[np.float64], span: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.intp]]:
    """Values thinned to spans.

    Parameters
    ----------
    t_s, values : arrays, shape (n,)
        At least one. [s], any unit
    span : array of int, shape (n,)
        Which span each belongs to; those of one span lie side by side.

    Returns
    -------
    times, medians, counts : arrays, shape (n_spans,)
        Mean time, median value and number of values of each span, in their order.
    """
    begins = np.concatenate([[0], np.flatnonzero(np.diff(span)) + 1])
    counts = np.diff(np.concatenate([begins, [t_s.size]]))
    number = np.repeat(np.arange(begins.size), counts)
    ordered = values[np.lexsort((values, number))]
    middles = 0.5 * (ordered[begins + (counts - 1) // 2] + ordered[begins + counts // 2])
    return np.add.reduceat(t_s, begins) / counts, middles, counts


def last_seen(batch: Batch, track: Track) -> dict[Channel, datetime]:
    """When each channel was last measured; a channel that never was is not in it."""
    return {
        channel: batch.started_at + timedelta(seconds=float(one.t_s[-1]))
        for channel, one in track.series.items()
        if one.t_s.size
    }


def seconds_since_start(batch: Batch, at: datetime) -> float:
    """Seconds from the batch's start to ``at``. [s]"""
    return (at - batch.started_at).total_seconds()
