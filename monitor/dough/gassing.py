"""What a formula promises before the first reading: start volume, gas and rise rate, each with its doubt."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.dough.kinetics import GASSING, SOURDOUGH_YEAST, CardinalTemps, rate_factor
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
RATE_CV = 0.35  # judgement
RATE_TEMP_C = 30.0

SALT_REFERENCE_PCT = 2.0  # the rate above is for a dough with this much
SALT_SLOPE_PER_PCT = (
    0.09  # judgement; that salt slows gassing: Marek & Bushuk 1967, Cereal Chem. 44, 300 (abstract seen)
)
SALT_SLOPE_SD_PER_PCT = 0.04  # judgement
SALT_MOST_PCT = 5.0  # judgement: beyond, the slope is not to be believed

OSMOTIC_ONSET_ATM = 30.0  # judgement, so that the rate falls above some 5 % sugar (Marek & Bushuk 1967, abstract seen)
OSMOTIC_SCALE_ATM = 60.0  # judgement, standard yeast; an osmotolerant one some 150

GAS_FREE_DENSITY_G_ML = 1.25  # from memory, 1.24-1.28
MIXED_VOID_FRAC = 0.08  # from memory, 0.03-0.12 after mixing; more from high-speed mixers
RETENTION_FRAC = 0.9  # from memory, 0.80-0.95 in the first hours of one undisturbed rise
LIKELY_HYDRATION_PCT = 65.0  # common practice, no source; for formulas that list too little liquid (milk, eggs)
LEAST_HYDRATION_PCT = 25.0  # judgement: with less, flour does not come together to a dough
SOURDOUGH_CV = 0.5  # judgement: 30-60 % between sourdoughs


@dataclass(frozen=True, slots=True)
class LogNormal:
    """A positive quantity known up to a factor: its median, and the standard deviation of its logarithm."""

    median: Array
    sd_log: float


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
    """Gassing rate of standard yeast under an osmotic pressure, relative to a lean dough. [-]

    >>> osmotic_factor(26.0), round(osmotic_factor(60.0), 3)
    (1.0, 0.607)
    """
    return float(np.exp(-max(pressure_atm - OSMOTIC_ONSET_ATM, 0.0) / OSMOTIC_SCALE_ATM))


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


def gassing_rate_ml_per_g_flour_h(formula: Formula, temp_c: ArrayLike) -> LogNormal:
    """CO2 that the dough is expected to make, per gram of the flour weighed in, as dry gas. [mL/(g h)]

    Parameters
    ----------
    formula : Formula
        Valid below about 3 % instant yeast; a dough without any leaven has a median of 0.
    temp_c : float or array
        Dough temperature. [C]

    Returns
    -------
    LogNormal
        Median of the same shape as ``temp_c``, and how far off it may be. Once the dough gasses, before sugar runs out.

    Notes
    -----
    Yeast x 10 mmol/(g h) x temperature x salt x osmosis: :data:`RATE_30_MMOL_G_H`, :func:`salt_factor`,
    :func:`osmotic_factor`, each a judgement with its spread beside it.

    Examples
    --------
    >>> lean = Formula(flour_g=1000, water_g=650, salt_g=20, instant_yeast_g=10)
    >>> rate = gassing_rate_ml_per_g_flour_h(lean, [20.0, 27.0, 30.0])
    >>> rate.median.round(1), round(rate.sd_log, 2)
    (array([1.2, 2. , 2.4]), 0.34)
    """
    yeast_pct = yeast_pct_instant_equivalent(formula)
    sourdough_pct = sourdough_pct_instant_equivalent(formula)
    salt_pct = formula.pct("salt_g")
    common = salt_factor(salt_pct) * osmotic_factor(osmotic_pressure_atm(formula))
    mmol_per_pct_h = RATE_30_MMOL_G_H * YEAST_SOLIDS_FRAC[YeastForm.INSTANT] / 100.0  # per g flour, at 30 C
    by_temp = yeast_pct * rate_factor(temp_c, GASSING) / rate_factor(RATE_TEMP_C, GASSING)
    # The sourdough's equivalent was set at 25 C, so its own temperature card hangs there.
    anchor = rate_factor(25.0, GASSING) / rate_factor(RATE_TEMP_C, GASSING)
    wild = rate_factor(temp_c, SOURDOUGH_YEAST) / rate_factor(25.0, SOURDOUGH_YEAST)
    by_temp = by_temp + sourdough_pct * anchor * wild
    median = np.asarray(common * mmol_per_pct_h * by_temp * molar_volume_ml(temp_c) / 1000.0)
    all_pct = yeast_pct + sourdough_pct
    share = sourdough_pct / all_pct if all_pct > 0.0 else 0.0
    leaven_cv = (1.0 - share) * RATE_CV + share * np.hypot(RATE_CV, SOURDOUGH_CV)
    salt_sd = SALT_SLOPE_SD_PER_PCT * (min(salt_pct, SALT_MOST_PCT) - SALT_REFERENCE_PCT)
    variance = np.log1p(leaven_cv**2) + salt_sd**2
    return LogNormal(median, float(np.sqrt(variance)))


def rise_rate_per_h(formula: Formula, temp_c: ArrayLike, retention_frac: float = RETENTION_FRAC) -> LogNormal:
    """How fast the dough is expected to rise once it gasses, over its start volume. [1/h]

    Parameters
    ----------
    formula : Formula
        As for :func:`gassing_rate_ml_per_g_flour_h`.
    temp_c : float or array
        Dough temperature. [C]
    retention_frac : float
        Part of the gas that stays in the dough, 0..1.

    Notes
    -----
    Water vapour in the bubbles (some 3 %) is left out.

    Examples
    --------
    >>> lean = Formula(flour_g=1000, water_g=650, salt_g=20, instant_yeast_g=10)
    >>> round(float(rise_rate_per_h(lean, 27.0).median), 2)
    1.24
    """
    gas = gassing_rate_ml_per_g_flour_h(formula, temp_c)
    per_volume = formula.flour_g * retention_frac / start_volume_ml(formula)
    # Void fraction and retention add a little doubt of their own: judgement, 8 %.
    return LogNormal(np.asarray(gas.median * per_volume), float(np.hypot(gas.sd_log, 0.08)))
