"""How fast a dough takes on the temperature of the air around it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.recipe.vessel import Vessel, level_mm, surface_mm2

Array = NDArray[np.float64]

# Working values for lean dough of 60-70 % hydration. From memory (range of Rask 1989, J. Food Eng. 9, 167-193, whose
# tables were not seen): heat capacity 2.7-3.1 kJ/(kg K), conductivity 0.35-0.50 W/(m K), density 1100-1200 kg/m3.
HEAT_CAPACITY_J_KG_K = 2900.0
CONDUCTIVITY_W_M_K = 0.45
DENSITY_KG_M3 = 1150.0

STILL_AIR_W_M2K = 8.0  # from memory, 5-10: room, oven with the light on, cabinet without a fan
FAN_AIR_W_M2K = 15.0  # from memory, 10-25: cabinet with a fan


def biot(
    *, volume_ml: float, area_mm2: float, film_w_m2k: float, conductivity_w_m_k: float = CONDUCTIVITY_W_M_K
) -> float:
    """Resistance inside the dough over that at its surface, h (V/A)/k.

    Parameters
    ----------
    volume_ml, area_mm2
        Of the dough, and of its surface. [mL, mm2]
    film_w_m2k
        Heat transfer to the air. [W/(m2 K)]
    conductivity_w_m_k
        Of the dough. [W/(m K)]

    Returns
    -------
    float
        Below 0.1 the dough is one temperature throughout. [-]

    Examples
    --------
    >>> round(biot(volume_ml=870.0, area_mm2=50_490.0, film_w_m2k=5.0), 2)
    0.19
    """
    length_m = volume_ml * 1e-6 / (area_mm2 * 1e-6)
    return film_w_m2k * length_m / conductivity_w_m_k


def time_constant_s(
    *,
    mass_g: float,
    area_mm2: float,
    film_w_m2k: float = STILL_AIR_W_M2K,
    density_kg_m3: float = DENSITY_KG_M3,
) -> float:
    """Time in which a dough comes 63 % of the way to the temperature of its air. [s]

    Parameters
    ----------
    mass_g
        Dough. [g]
    area_mm2
        Surface that gives or takes heat. [mm2]
    film_w_m2k
        Heat transfer to the air: :data:`STILL_AIR_W_M2K` or :data:`FAN_AIR_W_M2K`, either good to a half. [W/(m2 K)]

    Raises
    ------
    ValueError
        When any of them is not above 0.

    Notes
    -----
    m cp/(h A) (1 + Bi/3): a lump, lengthened for the way to its core. Valid for Bi up to about 0.5.

    Examples
    --------
    A kilogram, 10 cm wide and 11.1 cm high, all of it in still air; in minutes:

    >>> round(time_constant_s(mass_g=1000.0, area_mm2=50_490.0, film_w_m2k=5.0) / 60.0)
    204
    """
    if not (mass_g > 0.0 and area_mm2 > 0.0 and film_w_m2k > 0.0):
        raise ValueError(f"mass_g, area_mm2, film_w_m2k = {mass_g}, {area_mm2}, {film_w_m2k}: each must be above 0")
    number = biot(volume_ml=mass_g / density_kg_m3 * 1000.0, area_mm2=area_mm2, film_w_m2k=film_w_m2k)
    lump_s = mass_g / 1000.0 * HEAT_CAPACITY_J_KG_K / (film_w_m2k * area_mm2 * 1e-6)
    return lump_s * (1.0 + number / 3.0)


def vessel_time_constant_s(vessel: Vessel, mass_g: float, film_w_m2k: float = STILL_AIR_W_M2K) -> float:
    """Time constant of so much dough, not yet risen, in a thin-walled vessel with air all around it. [s]

    Parameters
    ----------
    vessel : Vessel
        Its wall counts as no resistance and no mass: a thick pot is slower, and so is an insulating shelf.
    mass_g
        Dough, above 0. [g]
    film_w_m2k
        Heat transfer to the air. [W/(m2 K)]

    Examples
    --------
    >>> from monitor.recipe.vessel import Shape
    >>> tub = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0)
    >>> round(vessel_time_constant_s(tub, 1724.0) / 60.0)
    134
    """
    level = float(level_mm(vessel, mass_g / DENSITY_KG_M3 * 1000.0))
    return time_constant_s(mass_g=mass_g, area_mm2=surface_mm2(vessel, level), film_w_m2k=film_w_m2k)


def dough_temp_from_air(t_s: ArrayLike, air_temp_c: ArrayLike, start_temp_c: ArrayLike, tau_s: ArrayLike) -> Array:
    """Dough temperature as the air has moved it: one lump, exact for air that changes in straight lines. [C]

    Parameters
    ----------
    t_s : array, shape (n,)
        Times, ascending. [s]
    air_temp_c : array, shape (n,)
        Air at these times. [C]
    start_temp_c, tau_s : float or arrays, shape (...)
        Dough temperature at the first time [C] and time constant, above 0 [s]; many at once for many possibilities.

    Returns
    -------
    array, shape (..., n)
        From a NaN in the air on, NaN.

    Raises
    ------
    ValueError
        When times do not ascend or do not match the air, or a time constant is not above 0.

    Examples
    --------
    A dough at 27 C in a cabinet at 43 C with a time constant of 95 min, over an hour:

    >>> dough_temp_from_air([0.0, 3600.0], [43.0, 43.0], 27.0, 95.0 * 60.0).round(1)
    array([27. , 34.5])
    """
    times, air = np.asarray(t_s, dtype=np.float64), np.asarray(air_temp_c, dtype=np.float64)
    start, tau = np.broadcast_arrays(np.asarray(start_temp_c, dtype=np.float64), np.asarray(tau_s, dtype=np.float64))
    if times.ndim != 1 or air.shape != times.shape:
        raise ValueError(f"t_s and air_temp_c must match: shapes {times.shape} and {air.shape}")
    steps = np.diff(times)
    if np.any(steps < 0.0):
        raise ValueError("t_s must ascend")
    if not np.all(tau > 0.0):
        raise ValueError("tau_s must be above 0")
    # With air A + s t the dough runs to A + s (t - tau): T2 - A2 + s tau = (T1 - A1 + s tau) exp(-dt/tau).
    # That lag, s tau, is written per step so that two readings at one moment (a step in the air) divide by no zero.
    span = steps.reshape(-1, *([1] * start.ndim)) / tau
    decay = np.exp(-span)
    jumps = np.diff(air).reshape(-1, *([1] * start.ndim))
    mean_decay = np.where(span > 0.0, -np.expm1(-span) / np.where(span > 0.0, span, 1.0), 1.0)
    # What the dough is off by is u2 = decay u1 + move at each step. Steps are put together two by two, then four by
    # four and so on (Hillis and Steele 1986, from memory): a few array operations in place of one for each step.
    move = np.concatenate([(start - air[:1].reshape([-1] + [1] * start.ndim)), -jumps * mean_decay])
    decay = np.concatenate([np.zeros_like(move[:1]), decay])
    reach = 1
    while reach < times.size:
        move[reach:] += decay[reach:] * move[:-reach]
        decay[reach:] *= decay[:-reach].copy()
        reach *= 2
    temps = air.reshape([-1] + [1] * start.ndim) + move
    temps[:1] = start
    return np.moveaxis(temps, 0, -1)
