"""The dough's temperature from its start into the future: measured where it was measured, worked out elsewhere."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.heat import dough_temp_from_air, vessel_time_constant_s
from monitor.dough.track import Series, Track
from monitor.recipe.batch import Batch

Array = NDArray[np.float64]

UNKNOWN_TEMP_C = 24.0  # judgement: a kitchen, when nothing was measured
START_TEMP_C = 25.0  # common practice, no source: dough leaves the mixer at 24 to 26 C
UNKNOWN_TAU_S = 95.0 * 60.0  # computed from a published pan-bread warm-up (27 C dough, 40-46 C box, 60 min)
MIXED_DENSITY_G_ML = 1.15  # from memory, 1.10-1.22 after mixing
SETTLED_AIR_S = 1200.0  # judgement: the air to come is the mean of the last twenty minutes, past a cabinet's cycle
STEP_S = 60.0


@dataclass(frozen=True, slots=True)
class Warmth:
    """Dough temperature [C] on an even grid ``t_s`` [s]; ``is_measured`` says whether any thermometer was read."""

    t_s: Array
    dough_temp_c: Array
    is_measured: bool


def _cleaned(series: Series) -> Series:
    """The series without single wild values: each against the median of its neighbourhood."""
    if series.t_s.size < 5:
        return series
    padded = np.pad(series.value, 2, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    keep = np.abs(series.value - middle) <= 3.0  # judgement: no dough or cabinet steps by 3 C and back between readings
    return Series(series.t_s[keep], series.value[keep], series.sd[keep])


def thermal_tau_s(batch: Batch, start_volume_ml: float | None) -> float:
    """How slowly the dough follows the air, by vessel and mass; a pan loaf's figure when the mass is unknown. [s]"""
    if batch.formula is not None:
        return vessel_time_constant_s(batch.vessel, batch.formula.dough_g)
    if start_volume_ml is not None and start_volume_ml > 0.0:
        return vessel_time_constant_s(batch.vessel, MIXED_DENSITY_G_ML * start_volume_ml)
    return UNKNOWN_TAU_S


def dough_warmth(track: Track, tau_s: float, now_s: float, end_s: float) -> Warmth:
    """Dough temperature from the start to ``end_s``, with the air held as it is now.

    A probe in the dough is believed; without one the dough follows the air with a thermal time constant, from the
    temperature at which dough usually leaves the mixer.
    """
    t_s = np.arange(0.0, end_s + STEP_S, STEP_S)
    air, probe = _cleaned(track.air_temp_c), _cleaned(track.dough_temp_c)
    now = int(np.searchsorted(t_s, now_s))
    if air.t_s.size == 0 and probe.t_s.size == 0:
        return Warmth(t_s, np.full_like(t_s, UNKNOWN_TEMP_C), is_measured=False)
    if air.t_s.size:
        recent = air.value[air.t_s >= air.t_s[-1] - SETTLED_AIR_S]
        air_ahead_c = float(np.mean(recent))
    else:
        air_ahead_c = float(np.mean(probe.value[probe.t_s >= probe.t_s[-1] - SETTLED_AIR_S]))
    if probe.t_s.size:
        dough_c = np.interp(t_s, probe.t_s, probe.value)
        anchor = min(now, int(np.searchsorted(t_s, probe.t_s[-1])))
        start_c = float(np.median(probe.value[-5:]))
    else:
        dough_c = np.full_like(t_s, START_TEMP_C)
        anchor, start_c = 0, START_TEMP_C
    air_c = np.full_like(t_s, air_ahead_c)
    if air.t_s.size:
        air_c[:now] = np.interp(t_s[:now], air.t_s, air.value)
    dough_c[anchor:] = dough_temp_from_air(t_s[anchor:], air_c[anchor:], start_c, tau_s)
    return Warmth(t_s, dough_c, is_measured=True)
