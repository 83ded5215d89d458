"""Moist air, and what it does to the skin of a dough: dries it, wets it, or leaves it alone."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.units import STANDARD_PRESSURE_PA

Array = NDArray[np.float64]

# Magnus form of Sonntag 1990 over liquid water (seen).
MAGNUS_PA = 611.2
MAGNUS_SLOPE = 17.62
MAGNUS_OFFSET_C = 243.12

WATER_TO_AIR_MASS = 0.621945  # molar mass of water over that of dry air, ASHRAE Fundamentals 2017 ch. 1 (from memory)
DOUGH_WATER_ACTIVITY = 0.96  # from memory, 0.95-0.97: the air right at a dough's skin holds this part of saturation


def saturation_pressure_pa(temp_c: ArrayLike) -> Array:
    """Vapour pressure of saturated air over liquid water. [Pa]

    Valid -45 to 60 C; below 0 C it is that of undercooled water, as humidity sensors report it. Within 0.4 % of the
    ASHRAE table from 0 C on.

    >>> round(float(saturation_pressure_pa(25.0)), 1)
    3160.1
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray(MAGNUS_PA * np.exp(MAGNUS_SLOPE * temp / (MAGNUS_OFFSET_C + temp)))


def vapour_pressure_pa(temp_c: ArrayLike, humidity_pct: ArrayLike) -> Array:
    """Vapour pressure of air of a temperature [C] and relative humidity [%]. [Pa]"""
    return np.asarray(saturation_pressure_pa(temp_c) * np.asarray(humidity_pct, dtype=np.float64) / 100.0)


def dew_point_c(temp_c: ArrayLike, humidity_pct: ArrayLike) -> Array:
    """Temperature at which a surface in this air begins to get wet. [C]

    Parameters
    ----------
    temp_c, humidity_pct : float or array
        Of the air. [C, %]

    Returns
    -------
    array of the broadcast shape
        NaN where humidity is 0 or less, or unknown.

    Notes
    -----
    The Magnus form solved for temperature. Sensors commonly read 1-3 % high above 90 %.

    Examples
    --------
    >>> dew_point_c([27.0, 38.0], [80.0, 80.0]).round(2)
    array([23.25, 33.94])
    """
    part = np.asarray(humidity_pct, dtype=np.float64) / 100.0
    temp = np.asarray(temp_c, dtype=np.float64)
    exponent = np.log(np.where(part > 0.0, part, np.nan)) + MAGNUS_SLOPE * temp / (MAGNUS_OFFSET_C + temp)
    return np.asarray(MAGNUS_OFFSET_C * exponent / (MAGNUS_SLOPE - exponent))


def humidity_ratio(vapour_pa: ArrayLike, pressure_pa: float = STANDARD_PRESSURE_PA) -> Array:
    """Water per dry air by mass. [kg/kg]

    Valid below ``pressure_pa``; ideal gases, some 0.5 % below the real-gas table.

    >>> round(float(humidity_ratio(3169.7, 95_461.0)), 8)
    0.0213604
    """
    vapour = np.asarray(vapour_pa, dtype=np.float64)
    return np.asarray(WATER_TO_AIR_MASS * vapour / (pressure_pa - vapour))


def standard_pressure_pa(altitude_m: ArrayLike) -> Array:
    """Air pressure of the standard atmosphere. [Pa]  Valid -5000 to 11000 m.

    ASHRAE Fundamentals 2017 ch. 1 eq. 3 (from memory; checked against its table 1).

    >>> round(float(standard_pressure_pa(1000.0)))
    89875
    """
    altitude = np.asarray(altitude_m, dtype=np.float64)
    return np.asarray(STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * altitude) ** 5.2559)


class Skin(StrEnum):
    """What the air does to a dough's surface."""

    DRYING = "drying"  # water leaves: cover it
    STEADY = "steady"
    CONDENSING = "condensing"  # water settles on it: wet and sticky, then it dries as the surface warms


@dataclass(frozen=True, slots=True)
class SkinState:
    """Verdict and its two signs.

    Attributes
    ----------
    drying_pa
        Vapour pressure at the dough's skin less that of the air: above 0, water leaves. [Pa]
    dew_margin_c
        Surface temperature less the air's dew point: below 0, water settles. [C]
    """

    skin: Skin
    drying_pa: float
    dew_margin_c: float


def skin_state(*, air_temp_c: float, humidity_pct: float, surface_temp_c: float) -> SkinState | None:
    """What the air does to the skin of an uncovered dough; None when any input is not known (NaN) or without vapour.

    Parameters
    ----------
    air_temp_c, humidity_pct
        Of the air around it. [C, %]
    surface_temp_c
        Of the dough's surface; a probe in the core is a stand-in until it has caught up with the air. [C]

    Notes
    -----
    It dries while RH es(T air) < 0.96 es(T surface), and gets wet while its surface is below the dew point. Between the
    two it takes up a little vapour. A humidity sensor is good to about 2 %: near a limit either verdict may be true.

    Examples
    --------
    A dough at 27 C goes into a warm damp cabinet, and another stands in a room:

    >>> skin_state(air_temp_c=38.0, humidity_pct=80.0, surface_temp_c=27.0).skin
    <Skin.CONDENSING: 'condensing'>
    >>> skin_state(air_temp_c=27.0, humidity_pct=80.0, surface_temp_c=27.0).skin
    <Skin.DRYING: 'drying'>
    """
    dew_margin_c = surface_temp_c - float(dew_point_c(air_temp_c, humidity_pct))
    air_pa = float(vapour_pressure_pa(air_temp_c, humidity_pct))
    drying_pa = DOUGH_WATER_ACTIVITY * float(saturation_pressure_pa(surface_temp_c)) - air_pa
    if np.isnan(dew_margin_c) or np.isnan(drying_pa):
        return None
    if drying_pa > 0.0:
        skin = Skin.DRYING
    elif dew_margin_c < 0.0:
        skin = Skin.CONDENSING
    else:
        skin = Skin.STEADY
    return SkinState(skin, drying_pa, dew_margin_c)
