"""What a formula promises before the first reading: start volume, gas, and how its yeast will rise and grow."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.dough.kinetics import GASSING, REFERENCE_TEMP_C, SOURDOUGH_YEAST, CardinalTemps, relative_rate
from monitor.recipe.formula import (
    YEAST_SOLIDS_FRAC,
    Formula,
    YeastForm,
    sourdough_pct_instant_equivalent,
    yeast_pct_instant_equivalent,
)
from monitor.units import GAS_CONSTANT_J_MOL_K, STANDARD_PRESSURE_PA, ZERO_CELSIUS_K

Array = NDArray[np.float64]

# Sander 2023, Atmos. Chem. Phys. 23, 10901-12440, entry CO2 (seen): 3.3e-4 to 3.4e-4, and 2300 to 2400 K.
HENRY_CO2_MOL_M3_PA = 3.3e-4
HENRY_CO2_SLOPE_K = 2400.0
HENRY_REFERENCE_K = 298.15
DOUGH_WATER_FRAC = 0.9  # judgement (0.8-1.0): salt and starch leave less water to hold gas

CO2_PER_GLUCOSE = 2.0  # mol/mol: C6H12O6 -> 2 C2H5OH + 2 CO2
CO2_PER_DISACCHARIDE = 4.0  # sucrose or anhydrous maltose, after one water is added
GLUCOSE_G_MOL = 180.156  # IUPAC atomic weights, computed
DISACCHARIDE_G_MOL = 342.297
SALT_G_MOL = 58.44

RATE_30_MMOL_G_H = 10.0
"""CO2 of baker's yeast in lean dough at 30 C, per gram of dry matter. [mmol/(g h)]  Judgement, 6 to 15 from memory."""
RATE_SD_LOG = 0.14  # judgement: with how far a rate wanders besides, a time to double is known to a quarter
RATE_TEMP_C = 30.0

SALT_REFERENCE_PCT = 2.0  # the rate above is for a dough with this much
SALT_SLOPE_PER_PCT = (
    0.09  # judgement; that salt slows gassing: Marek & Bushuk 1967, Cereal Chem. 44, 300 (abstract seen)
)
SALT_SLOPE_SD_PER_PCT = 0.04  # judgement
SALT_MOST_PCT = 5.0  # judgement: beyond, the slope is not to be believed

# Plain baker's yeast: 5 % glucose leaves 0.80 of the rate, 10 % sucrose 0.30 (leavening capacity of a control strain,
# Appl. Environ. Microbiol., table seen; from ratios, 2 % salt and 60 % water taken); nothing lost below some 5 % sugar
# (Marek & Bushuk 1967, abstract seen). The square of the pressure over the onset goes through both.
OSMOTIC_ONSET_ATM = 30.0
OSMOTIC_SCALE_ATM = 21.0
OSMOTIC_LEAST = 0.15  # judgement: doughs with a lot of sugar are given a yeast that bears it
OSMOTIC_DOUBT = 0.4  # judgement, of ln of the factor
OSMOTOLERANT_LOSS_FRAC = 0.25  # judgement: an osmotolerant yeast loses a quarter of what a plain one does

YEAST_GROWTH_PER_H = 0.21
"""Growth of very little baker's yeast in salted dough at 27 C. [1/h]  Solved from cell counts: 0.5 % fresh yeast
becomes 1.88 times as much in 6 h, 2 % 1.29 times (handbook findings on a teaching page, seen; 27 C and fresh taken)."""
UNSALTED_GROWTH_PER_H = 0.35  # the same without salt; fitted to school times of liquid preferments, 1.5 to 0.1 % fresh
YEAST_GROWTH_SD_LOG = 0.45  # judgement: cells counted are not gas made
CROWDED_AT_PCT = 0.17  # instant yeast on flour (0.5 % fresh) at which it grows half as fast: of the same cell counts

SOURDOUGH_GROWTH_PER_H = 0.266
"""Growth of a ripe sourdough's yeast at 27 C. [1/h]  0.64 of the rate in media of Gaenzle, Ehmann & Hammes 1998 (table
from memory), so that feeds peak when bakers say they do (common practice, no source)."""
SOURDOUGH_GROWTH_SD_LOG = 0.16  # judgement
STARTER_GAS = 2.9
"""Gas that the yeast of a ripe starter makes while it would double and a half (e-fold), over the starter's volume. [-]
Set so that 20 % starter on flour rises by half in 5.5 h at 24 C (common practice, no source)."""
STARTER_GAS_SD_LOG = 0.28  # judgement, within the 0.63 between forty starters, ripe or not (Landis et al. 2021, seen)

GAS_FREE_DENSITY_G_ML = 1.25  # from memory, 1.24-1.28
MIXED_VOID_FRAC = 0.08  # from memory, 0.03-0.12 after mixing; more from high-speed mixers
SHAPED_VOID_FRAC = 0.20  # judgement: 0.05-0.15 after a machine, 0.20-0.40 by hand
RETENTION_FRAC = 0.9  # from memory, 0.80-0.95 in the first hours of one undisturbed rise
LIKELY_HYDRATION_PCT = 65.0  # common practice, no source; for formulas that list too little liquid (milk, eggs)
LEAST_HYDRATION_PCT = 25.0  # judgement: with less, flour does not come together to a dough


@dataclass(frozen=True, slots=True)
class Leavening:
    """What leavens a dough at 27 C, awake and not yet grown. Medians, and standard deviations of logarithms.

    Attributes
    ----------
    rate_per_h, rate_sd_log
        Gas held, over the start volume. [1/h]
    growth_per_h, growth_sd_log
        How fast the yeast multiplies. [1/h]
    sour_share
        Of the gas, that of the sourdough. [-]
    """

    rate_per_h: float
    rate_sd_log: float
    growth_per_h: float
    growth_sd_log: float
    sour_share: float


def henry_mol_m3_pa(temp_c: ArrayLike) -> Array:
    """Henry's constant of CO2 in water. [mol/(m3 Pa)]

    Valid 0-40 C; van 't Hoff form H0 exp(B (1/T - 1/298.15)) (Sander 2023, seen).

    >>> round(float(henry_mol_m3_pa(25.0)), 6)
    0.00033
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + ZERO_CELSIUS_K
    return np.asarray(HENRY_CO2_MOL_M3_PA * np.exp(HENRY_CO2_SLOPE_K * (1.0 / kelvin - 1.0 / HENRY_REFERENCE_K)))


def solubility_ml_per_ml(temp_c: ArrayLike) -> Array:
    """CO2 that pure water holds under pure CO2, as gas at its own temperature. [mL/mL]

    >>> solubility_ml_per_ml([4.0, 25.0, 30.0]).round(2)
    array([1.4 , 0.82, 0.73])
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + ZERO_CELSIUS_K
    return np.asarray(henry_mol_m3_pa(temp_c) * GAS_CONSTANT_J_MOL_K * kelvin)


def molar_volume_ml(temp_c: ArrayLike, pressure_pa: float = STANDARD_PRESSURE_PA) -> Array:
    """Ideal gas volume of a mole. [mL/mol]

    >>> round(float(molar_volume_ml(25.0)))
    24465
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + ZERO_CELSIUS_K
    return np.asarray(GAS_CONSTANT_J_MOL_K * kelvin / pressure_pa * 1e6)


def co2_ml_per_g_glucose(temp_c: ArrayLike) -> Array:
    """CO2 from fermenting a gram of glucose, dry, at 101.325 kPa. [mL/g]

    >>> round(float(co2_ml_per_g_glucose(30.0)), 1)
    276.2
    """
    return np.asarray(CO2_PER_GLUCOSE / GLUCOSE_G_MOL * molar_volume_ml(temp_c))


def co2_ml_per_g_disaccharide(temp_c: ArrayLike) -> Array:
    """CO2 from fermenting a gram of sucrose or anhydrous maltose, dry, at 101.325 kPa. [mL/g]

    >>> round(float(co2_ml_per_g_disaccharide(30.0)), 1)
    290.7
    """
    return np.asarray(CO2_PER_DISACCHARIDE / DISACCHARIDE_G_MOL * molar_volume_ml(temp_c))


def _with_liquid(formula: Formula) -> Formula:
    """The formula, with the usual water when it lists too little to make a dough: then the list has a gap."""
    if formula.all_water_g >= LEAST_HYDRATION_PCT / 100.0 * formula.all_flour_g:
        return formula
    return replace(formula, water_g=LIKELY_HYDRATION_PCT / 100.0 * formula.flour_g)


def gas_free_volume_ml(formula: Formula) -> float:
    """Dough without a bubble in it. [mL]  Meant for lean doughs; fat and sugar make it a few per cent wrong."""
    return _with_liquid(formula).dough_g / GAS_FREE_DENSITY_G_ML


def start_volume_ml(formula: Formula, void_frac: float = MIXED_VOID_FRAC) -> float:
    """Volume that the mixed dough settles to. [mL]

    ``void_frac`` is the bubbles' part of it, 0 to below 1. Some minutes after mixing or shaping, not sooner: bubbles
    re-expand with a time constant of 20 s (Campbell et al. 1998, Cereal Foods World 43, 163-167, abstract seen).

    >>> round(start_volume_ml(Formula(flour_g=100, water_g=65, salt_g=2, instant_yeast_g=1)), 1)
    146.1
    """
    if not 0.0 <= void_frac < 1.0:
        raise ValueError(f"void_frac = {void_frac}: bubbles are a part of the dough from 0 to below 1")
    return gas_free_volume_ml(formula) / (1.0 - void_frac)


def dissolved_co2_limit_ml(formula: Formula, temp_c: ArrayLike) -> Array:
    """Most CO2 that the dough's water can hide before bubbles must keep it all: part of the lag. [mL]

    >>> round(float(dissolved_co2_limit_ml(Formula(flour_g=100, water_g=65), 27.0) / DOUGH_WATER_FRAC), 1)
    50.7
    """
    return np.asarray(DOUGH_WATER_FRAC * _with_liquid(formula).all_water_g * solubility_ml_per_ml(temp_c))


def salt_factor(salt_pct: float) -> float:
    """Gassing rate with this much salt on the flour, relative to 2 %. [-]  Valid 0-4 %; as at 5 % beyond.

    >>> round(salt_factor(0.0), 3)
    1.197
    """
    return float(np.exp(-SALT_SLOPE_PER_PCT * (min(salt_pct, SALT_MOST_PCT) - SALT_REFERENCE_PCT)))


def osmotic_pressure_atm(formula: Formula, temp_c: float = RATE_TEMP_C) -> float:
    """Osmotic pressure of salt and (inverted) sugar in the dough's water, by van 't Hoff. [atm]

    >>> salted = Formula(flour_g=100, water_g=65, salt_g=2)
    >>> round(osmotic_pressure_atm(salted, 27.0))
    26
    """
    particles_mol = 2.0 * formula.salt_g / SALT_G_MOL + 2.0 * formula.sugar_g / DISACCHARIDE_G_MOL
    concentration_mol_m3 = particles_mol / (_with_liquid(formula).all_water_g * 1e-6)
    pressure_pa = concentration_mol_m3 * GAS_CONSTANT_J_MOL_K * (temp_c + ZERO_CELSIUS_K)
    return pressure_pa / STANDARD_PRESSURE_PA


def osmotic_factor(pressure_atm: float) -> float:
    """Gassing rate of plain baker's yeast under an osmotic pressure, relative to a lean dough. [-]

    >>> osmotic_factor(26.0), round(osmotic_factor(40.4), 2), round(osmotic_factor(52.6), 2)
    (1.0, 0.78, 0.31)
    """
    over = max(pressure_atm - OSMOTIC_ONSET_ATM, 0.0) / OSMOTIC_SCALE_ATM
    return max(float(np.exp(-(over**2))), OSMOTIC_LEAST)


def _osmosis(formula: Formula) -> float:
    """Gassing rate of a formula's own yeasts under its osmotic pressure, relative to a lean dough. [-]"""
    plain = osmotic_factor(osmotic_pressure_atm(formula))
    all_pct = yeast_pct_instant_equivalent(formula)
    bearing = formula.pct("osmotolerant_yeast_g") / all_pct if all_pct > 0.0 else 0.0
    return plain + bearing * (1.0 - OSMOTOLERANT_LOSS_FRAC) * (1.0 - plain)


def leavening_pct(formula: Formula | None) -> float | None:
    """Everything that leavens, as instant yeast on the flour. [%]  None when nothing is known of the formula."""
    if formula is None:
        return None
    return yeast_pct_instant_equivalent(formula) + sourdough_pct_instant_equivalent(formula)


def gassing_cardinals(formula: Formula | None) -> CardinalTemps:
    """Temperature card of whichever leavens more, baker's yeast or sourdough; baker's yeast when nothing is known."""
    if formula is None:
        return GASSING
    by_sourdough = sourdough_pct_instant_equivalent(formula) > yeast_pct_instant_equivalent(formula)
    return SOURDOUGH_YEAST if by_sourdough else GASSING


def gassing_rate_ml_per_g_flour_h(formula: Formula, temp_c: ArrayLike) -> Array:
    """CO2 that baker's yeast is expected to make, per gram of the flour weighed in, as dry gas. [mL/(g h)]

    Parameters
    ----------
    formula : Formula
        Valid below about 3 % instant yeast; what a sourdough in it makes is left out.
    temp_c : float or array
        Dough temperature. [C]

    Returns
    -------
    array, same shape as ``temp_c``
        Once the yeast gasses, before it has grown and before sugar runs out.

    Notes
    -----
    Yeast x 10 mmol/(g h) x temperature x salt x osmosis: :data:`RATE_30_MMOL_G_H`, :func:`salt_factor`,
    :func:`osmotic_factor`, each a judgement with its spread beside it.

    Examples
    --------
    >>> lean = Formula(flour_g=1000, water_g=650, salt_g=20, instant_yeast_g=10)
    >>> gassing_rate_ml_per_g_flour_h(lean, [20.0, 27.0, 30.0]).round(1)
    array([1.2, 2. , 2.4])
    """
    common = salt_factor(formula.pct("salt_g")) * _osmosis(formula)
    mmol_per_pct_h = RATE_30_MMOL_G_H * YEAST_SOLIDS_FRAC[YeastForm.INSTANT] / 100.0  # per g flour, at 30 C
    by_temp = relative_rate(temp_c, GASSING) / relative_rate(RATE_TEMP_C, GASSING)
    mmol_per_h = common * mmol_per_pct_h * yeast_pct_instant_equivalent(formula) * by_temp
    return np.asarray(mmol_per_h * molar_volume_ml(temp_c) / 1000.0)


def yeast_growth_per_h(formula: Formula) -> float:
    """How fast baker's yeast multiplies in a dough at 27 C: slower in company, and in salt. [1/h]

    >>> lean = Formula(flour_g=1000, water_g=650, salt_g=20, fresh_yeast_g=5)
    >>> round(yeast_growth_per_h(lean), 3)
    0.107
    """
    salt = min(formula.pct("salt_g"), SALT_MOST_PCT) / SALT_REFERENCE_PCT
    alone = UNSALTED_GROWTH_PER_H * (YEAST_GROWTH_PER_H / UNSALTED_GROWTH_PER_H) ** salt
    return float(alone / (1.0 + yeast_pct_instant_equivalent(formula) / CROWDED_AT_PCT))


def leavening(formula: Formula) -> Leavening | None:
    """What leavens a dough; None when nothing that does is listed: a gap in the list, not a dough that will not rise.

    Baker's yeast gasses by its dose from the start and grows little. A ripe sourdough's yeast is diluted by its share
    of the dough and grows all the time. Water vapour in the bubbles (some 3 %) is left out.

    Examples
    --------
    >>> lean = leavening(Formula(flour_g=1000, water_g=650, salt_g=20, instant_yeast_g=10))
    >>> sour = leavening(Formula(flour_g=1000, water_g=650, salt_g=20, sourdough_g=200))
    >>> round(lean.rate_per_h, 2), round(sour.rate_per_h, 3)
    (1.25, 0.083)
    """
    gas_ml_per_g_h = float(gassing_rate_ml_per_g_flour_h(formula, REFERENCE_TEMP_C))
    bought = RETENTION_FRAC * gas_ml_per_g_h * formula.flour_g / start_volume_ml(formula)
    osmosis = _osmosis(formula)
    sour = osmotic_factor(osmotic_pressure_atm(formula)) * STARTER_GAS * SOURDOUGH_GROWTH_PER_H * starter_share(formula)
    both = bought + sour
    if not both > 0.0:
        return None
    share = sour / both
    salt_sd = SALT_SLOPE_SD_PER_PCT * (min(formula.pct("salt_g"), SALT_MOST_PCT) - SALT_REFERENCE_PCT)
    leaven_sd = (1.0 - share) * RATE_SD_LOG + share * STARTER_GAS_SD_LOG
    growth_per_h = (1.0 - share) * yeast_growth_per_h(formula) + share * SOURDOUGH_GROWTH_PER_H
    growth_sd = (1.0 - share) * YEAST_GROWTH_SD_LOG + share * SOURDOUGH_GROWTH_SD_LOG
    rate_sd = float(np.linalg.norm([leaven_sd, salt_sd, OSMOTIC_DOUBT * np.log(osmosis)]))
    return Leavening(both, rate_sd, growth_per_h, growth_sd, share)


def starter_share(formula: Formula) -> float:
    """A sourdough's part of the dough it is in. [-]"""
    whole = _with_liquid(formula)
    return whole.sourdough_g / whole.dough_g
