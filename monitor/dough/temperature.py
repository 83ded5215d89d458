"""The dough's temperature from its start into the future: measured where it was measured, worked out elsewhere."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from monitor.dough.heat import dough_temp_from_air, vessel_time_constant_s
from monitor.dough.track import Series, Track, running_median
from monitor.recipe.batch import Batch
from monitor.recipe.intent import UNMEASURED_ROOM_C

Array = NDArray[np.float64]

START_TEMP_C = 25.0  # common practice, no source: dough leaves the mixer at 24 to 26 C
UNKNOWN_TAU_S = 95.0 * 60.0  # computed from a published pan-bread warm-up (27 C dough, 40-46 C box, 60 min)
MIXED_DENSITY_G_ML = 1.15  # from memory, 1.10-1.22 after mixing
SETTLED_AIR_S = 1200.0  # judgement: the air to come is the mean of the last twenty minutes, past a cabinet's cycle
STEP_S = 60.0
WILD_C = 3.0  # judgement: no dough or cabinet steps by 3 C and back between readings
START_SD_C = 2.0  # judgement: a dough nobody put a thermometer in
PROBE_SD_C = 0.3  # judgement: a probe sold as good to 0.5 C, never calibrated, in one spot of the dough
TAU_SD_LOG = 0.35  # judgement: lid, draught, board or steel under the tub
DRIFT_C_PER_H = 0.3  # judgement: what a room or a cabinet wanders at the least
DRIFT_LASTS_H = 4.0  # judgement: a kitchen that cools after the oven is off does not cool for ever
DRIFT_SEEN_OVER_S = 3600.0  # judgement: longer than a cabinet's cycle, shorter than a morning


@dataclass(frozen=True, slots=True)
class DoughTemperature:
    """Dough temperature [C] on an even grid ``t_s`` [s], and what is not known of it.

    ``doubts_c``, shape (n_causes, n_t): one standard deviation of each thing that is not known (where the dough began
    or what its probe is off by; how fast it follows the air; where the air is drifting), as a shift of the dough. [C]
    """

    t_s: Array
    dough_temp_c: Array
    doubts_c: Array


@dataclass(frozen=True, slots=True)
class AirStep:
    """Air to come: from ``at`` (aware UTC) on, the dough stands in air of this temperature [C]."""

    at: datetime
    air_temp_c: float


def _cleaned(series: Series) -> Series:
    """The series without single wild values: each against the median of its neighbourhood."""
    if series.t_s.size < 5:
        return series
    keep = np.abs(series.value - running_median(series.value, 5)) <= WILD_C
    return Series(series.t_s[keep], series.value[keep], series.sd[keep])


def thermal_tau_s(batch: Batch, start_volume_ml: float | None) -> float:
    """How slowly the dough follows the air, by vessel and mass. [s]

    Parameters
    ----------
    start_volume_ml
        For the mass where no formula is known; None: a pan loaf's figure stands in. [mL]
    """
    if batch.formula is not None:
        return vessel_time_constant_s(batch.vessel, batch.formula.dough_g)
    if start_volume_ml is not None and start_volume_ml > 0.0:
        return vessel_time_constant_s(batch.vessel, MIXED_DENSITY_G_ML * start_volume_ml)
    return UNKNOWN_TAU_S


def dough_temperature(
    track: Track,
    tau_s: float,
    now_s: float,
    end_s: float,
    ahead: tuple[tuple[float, float], ...] = (),
    probe_sd_c: float | None = None,
) -> DoughTemperature:
    """Dough temperature from the start to ``end_s``, with the air held as it is now, or changed by ``ahead``.

    A probe in the dough is believed; without one the dough follows the air with a thermal time constant, from the
    temperature at which dough usually leaves the mixer.

    Parameters
    ----------
    track
        What was measured up to now.
    tau_s
        Thermal time constant, above 0. [s]
    now_s, end_s
        Since the start. [s]
    ahead
        Pairs of time since the start [s] and air temperature [C]: from each on, the air is that.
    probe_sd_c
        Lasting doubt of a calibrated probe; None: it never was. [C]
    """
    t_s = np.arange(0.0, end_s + STEP_S, STEP_S)
    air, probe = _cleaned(track.air_temp_c), _cleaned(track.dough_temp_c)
    now = int(np.searchsorted(t_s, now_s))
    is_measured = bool(air.t_s.size or probe.t_s.size)
    if is_measured:
        nearest = air if air.t_s.size else probe
        air_ahead_c = float(np.mean(nearest.value[nearest.t_s >= nearest.t_s[-1] - SETTLED_AIR_S]))
    else:
        air_ahead_c = UNMEASURED_ROOM_C
    if probe.t_s.size:
        dough_c = np.interp(t_s, probe.t_s, probe.value)
        anchor = min(now, int(np.searchsorted(t_s, probe.t_s[-1])))
        start_c = float(np.median(probe.value[-5:]))
    else:
        start_c = START_TEMP_C if is_measured else UNMEASURED_ROOM_C
        dough_c = np.full_like(t_s, start_c)
        anchor = 0
    air_c = np.full_like(t_s, air_ahead_c)
    if air.t_s.size:
        air_c[:now] = np.interp(t_s[:now], air.t_s, air.value)
    for from_s, step_c in sorted(ahead):
        air_c[(t_s >= from_s) & (t_s >= now_s)] = step_c
    dough_c[anchor:] = dough_temp_from_air(t_s[anchor:], air_c[anchor:], start_c, tau_s)
    followed = np.maximum(t_s - t_s[anchor], 0.0) / tau_s
    if probe.t_s.size:
        at_start_c = np.full_like(t_s, PROBE_SD_C if probe_sd_c is None else probe_sd_c)
    else:
        at_start_c = START_SD_C * np.exp(-followed)
    # How far a dough in steady air has come shifts by x exp(-x) of its way for each ln of its time constant.
    by_tau_c = TAU_SD_LOG * (start_c - air_c) * followed * np.exp(-followed)
    drifted_h, tau_h = np.clip((t_s - now_s) / 3600.0, 0.0, DRIFT_LASTS_H), tau_s / 3600.0
    by_drift_c = _drift_c_per_h(air) * (drifted_h - tau_h * -np.expm1(-drifted_h / tau_h))
    return DoughTemperature(t_s, dough_c, np.stack([at_start_c, by_tau_c, by_drift_c]))


def _drift_c_per_h(air: Series) -> float:
    """How fast the air may go on changing: as it has over the last hour, and never less than rooms do. [C/h]"""
    if air.t_s.size == 0:
        return DRIFT_C_PER_H
    end_s = air.t_s[-1]
    newest = air.t_s >= end_s - SETTLED_AIR_S
    before = (air.t_s < end_s - DRIFT_SEEN_OVER_S + SETTLED_AIR_S) & (air.t_s >= end_s - DRIFT_SEEN_OVER_S)
    if not np.any(before):
        return DRIFT_C_PER_H
    apart_h = (np.mean(air.t_s[newest]) - np.mean(air.t_s[before])) / 3600.0
    seen = (np.mean(air.value[newest]) - np.mean(air.value[before])) / apart_h
    return float(np.hypot(DRIFT_C_PER_H, seen))
