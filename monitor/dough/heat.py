"""How fast a dough takes on the temperature of the air around it."""

from dataclasses import dataclass
from enum import StrEnum
from math import cos, exp, hypot, pi, sin

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

HEAT_PER_GLUCOSE_J_MOL = 70e3  # from memory: heat of fermentation


def biot(
    *, volume_ml: float, area_mm2: float, film_w_m2k: float, conductivity_w_m_k: float = CONDUCTIVITY_W_M_K
) -> float:
    """Resistance inside the dough over that at its surface, h (V/A)/k. [-]  Below 0.1 it is one temperature throughout.

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

    The wall counts as no resistance and no mass, so a thick pot is slower; on an insulating shelf it is slower too.

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


@dataclass(frozen=True, slots=True)
class ThermalBody:
    """A dough of two equal halves, surface and core: time constants air-surface and surface-core. [s]

    Raises
    ------
    ValueError
        When either is not above 0.
    """

    outer_tau_s: float
    inner_tau_s: float

    def __post_init__(self) -> None:
        if not (self.outer_tau_s > 0.0 and self.inner_tau_s > 0.0):
            raise ValueError(f"outer_tau_s, inner_tau_s = {self.outer_tau_s}, {self.inner_tau_s}: must be above 0")


def two_node_step(
    *, surface_c: float, core_c: float, air_temp_c: float, dt_s: float, body: ThermalBody, core_heating_k_s: float = 0.0
) -> tuple[float, float]:
    """Surface and core after a while in steady air, exactly. [C, C]

    Parameters
    ----------
    surface_c, core_c, air_temp_c
        At the beginning; the air stays. [C]
    dt_s
        How long, 0 or more. [s]
    core_heating_k_s
        Warming of the core by fermentation alone, see :func:`fermentation_heating_k_s`. [K/s]

    Notes
    -----
    dTc/dt = (Ts - Tc)/tau_i + q;  dTs/dt = (Tair - Ts)/tau_o - (Ts - Tc)/tau_i. The matrix is symmetric: two orthogonal
    courses, each decaying at its own pace.

    Examples
    --------
    >>> body = ThermalBody(outer_tau_s=2400.0, inner_tau_s=1200.0)
    >>> surface, core = two_node_step(surface_c=27.0, core_c=27.0, air_temp_c=40.0, dt_s=1800.0, body=body)
    >>> round(surface, 1), round(core, 1)
    (31.9, 29.7)
    """
    outer, inner = 1.0 / body.outer_tau_s, 1.0 / body.inner_tau_s
    rest_surface = air_temp_c + core_heating_k_s * body.outer_tau_s
    rest_core = rest_surface + core_heating_k_s * body.inner_tau_s
    # Matrix [[-(outer + inner), inner], [inner, -inner]]: eigenvalues -(mean +- spread), eigenvectors at right angles.
    mean, half = inner + outer / 2.0, outer / 2.0
    spread = hypot(half, inner)
    slow = mean - spread
    along_surface, along_core = inner, spread + half  # eigenvector of the slow course
    norm = hypot(along_surface, along_core)
    along_surface, along_core = along_surface / norm, along_core / norm
    off_surface, off_core = surface_c - rest_surface, core_c - rest_core
    slow_part = (off_surface * along_surface + off_core * along_core) * exp(-slow * dt_s)
    fast_part = (off_surface * along_core - off_core * along_surface) * exp(-(mean + spread) * dt_s)
    return (
        rest_surface + slow_part * along_surface + fast_part * along_core,
        rest_core + slow_part * along_core - fast_part * along_surface,
    )


def fermentation_heating_k_s(co2_mol_s: float, mass_g: float) -> float:
    """Warming by fermentation, were no heat lost: 35 kJ per mol CO2. [K/s]

    One doubling of a kilogram (some 0.05 mol CO2) is 0.6 K:

    >>> round(fermentation_heating_k_s(0.0496, 1000.0), 1)
    0.6
    """
    return HEAT_PER_GLUCOSE_J_MOL / 2.0 * co2_mol_s / (mass_g / 1000.0 * HEAT_CAPACITY_J_KG_K)


class Body(StrEnum):
    """Simple shapes with a known course of cooling, and what their half measure is."""

    SLAB = "slab"  # half its thickness
    CYLINDER = "cylinder"  # radius, infinitely long
    SPHERE = "sphere"  # radius


def _bessel_j(order: int, x: float) -> float:
    """Bessel function of the first kind by its integral, whose trapezoids converge to full precision for small x."""
    angles = (np.arange(64) + 0.5) * (pi / 64.0)
    return float(np.mean(np.cos(order * angles - x * np.sin(angles))))


def _root_residual(body: Body, zeta: float, number: float) -> float:
    """The root equation of a shape times what would make it infinite: below 0 before the root, above 0 behind it."""
    if body is Body.SLAB:
        return zeta * sin(zeta) - number * cos(zeta)
    if body is Body.CYLINDER:
        return zeta * _bessel_j(1, zeta) - number * _bessel_j(0, zeta)
    return sin(zeta) - zeta * cos(zeta) - number * sin(zeta)


_ROOT_LIMIT = {Body.SLAB: pi / 2.0, Body.CYLINDER: 2.404825557695773, Body.SPHERE: pi}


def one_term(body: Body, biot_number: float) -> tuple[float, float]:
    """First root and coefficient of a cooling body: core excess = C1 exp(-zeta^2 Fo). [-, -]

    Parameters
    ----------
    body : Body
        Slab, cylinder or sphere.
    biot_number : float
        h times half measure over k, 1e-3 to 1e3. [-]

    Returns
    -------
    (zeta, C1)
        Of zeta tan zeta = Bi, zeta J1 = Bi J0 or 1 - zeta cot zeta = Bi; the series' first term is enough (2 %) for
        Fo = diffusivity t / half measure^2 above 0.2.

    Raises
    ------
    ValueError
        When the Biot number is outside its range.

    Examples
    --------
    The textbook's table (Incropera, table 5.1, from memory) has 0.8603 and 1.1191:

    >>> zeta, coefficient = one_term(Body.SLAB, 1.0)
    >>> round(zeta, 4), round(coefficient, 4)
    (0.8603, 1.1191)
    """
    if not 1e-3 <= biot_number <= 1e3:
        raise ValueError(f"biot_number = {biot_number}: the one-term solution is made for 0.001 to 1000")
    low, high = 1e-3, _ROOT_LIMIT[body]
    for _ in range(60):  # halving: no slope that could mislead, and 60 halvings exhaust double precision
        middle = (low + high) / 2.0
        if _root_residual(body, middle, biot_number) < 0.0:
            low = middle
        else:
            high = middle
    zeta = (low + high) / 2.0
    if body is Body.SLAB:
        return zeta, 4.0 * sin(zeta) / (2.0 * zeta + sin(2.0 * zeta))
    if body is Body.CYLINDER:
        j0, j1 = _bessel_j(0, zeta), _bessel_j(1, zeta)
        return zeta, 2.0 / zeta * j1 / (j0**2 + j1**2)
    return zeta, 4.0 * (sin(zeta) - zeta * cos(zeta)) / (2.0 * zeta - sin(2.0 * zeta))
