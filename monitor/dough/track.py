"""The readings of one batch as arrays, sorted in time: what the estimator sees."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from monitor.recipe.batch import Batch
from monitor.wire.readings import Channel, Flag, Reading


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
    """All channels of one batch, from its start on."""

    air_temp_c: Series = EMPTY
    humidity_pct: Series = EMPTY
    dough_temp_c: Series = EMPTY
    distance_mm: Series = EMPTY
    level_mm: Series = EMPTY

    def upto(self, t_s: float) -> "Track":
        """What was measured up to and including ``t_s`` seconds after the start."""
        return Track(
            self.air_temp_c.upto(t_s),
            self.humidity_pct.upto(t_s),
            self.dough_temp_c.upto(t_s),
            self.distance_mm.upto(t_s),
            self.level_mm.upto(t_s),
        )

    @property
    def is_sensed(self) -> bool:
        """True when a sensor ever measured anything; False when it was only looked at by eye, or not at all."""
        sensed = (self.air_temp_c, self.humidity_pct, self.dough_temp_c, self.distance_mm)
        return any(series.t_s.size for series in sensed)

    @property
    def last_t_s(self) -> float | None:
        """Time of the newest reading of any channel, seconds since the start; None when there is none."""
        ends = [
            series.t_s[-1]
            for series in (self.air_temp_c, self.humidity_pct, self.dough_temp_c, self.distance_mm, self.level_mm)
            if series.t_s.size
        ]
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
    return Track(
        series.get(Channel.AIR_TEMP, EMPTY),
        series.get(Channel.HUMIDITY, EMPTY),
        series.get(Channel.DOUGH_TEMP, EMPTY),
        series.get(Channel.DISTANCE, EMPTY),
        series.get(Channel.LEVEL, EMPTY),
    )


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


def last_seen(batch: Batch, track: Track) -> dict[Channel, datetime]:
    """When each channel was last measured; a channel that never was is not in it."""
    series = {
        Channel.AIR_TEMP: track.air_temp_c,
        Channel.HUMIDITY: track.humidity_pct,
        Channel.DOUGH_TEMP: track.dough_temp_c,
        Channel.DISTANCE: track.distance_mm,
        Channel.LEVEL: track.level_mm,
    }
    return {
        channel: batch.started_at + timedelta(seconds=float(one.t_s[-1]))
        for channel, one in series.items()
        if one.t_s.size
    }


def seconds_since_start(batch: Batch, at: datetime) -> float:
    """Seconds from the batch's start to ``at``. [s]"""
    return (at - batch.started_at).total_seconds()
