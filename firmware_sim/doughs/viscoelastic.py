"""A fourth simulated dough: gas under pressure in a soft solid that yields, relaxes and at last lets the gas through.

Its structure differs from the others on purpose. The gas has a pressure of its own; the dough, an elastic stress that
relaxes beside a yield stress and a viscosity (a Maxwell element with a Bingham one), gives way to it or holds it; gas
escapes by Darcy's law through walls whose permeability climbs steeply with strain and age. Weight presses the dough
down again once the pressure fails. Bought yeast and a sourdough's culture obey one law: cells wake, grow as long as
the nutrients last, and give gas with growth and without; heat kills them by first order, so a hot proofer speeds up
before it spoils. All amounts are per 100 g flour.
"""

from dataclasses import dataclass
from math import exp, expm1, log, sqrt

from firmware_sim.doughs.dough import STEP_S, Course, Dough, Folds

GAS_CONSTANT = 8.314462618  # J/mol/K, CODATA 2018 (exact)
PRESSURE_PA = 101325.0  # standard atmosphere
HENRY_298 = 3.35e-4  # mol/m3/Pa for CO2, middle of the range in Sander 2023 (seen)
HENRY_SLOPE_K = 2350.0  # same (seen)
MMOL_PER_G_HEXOSE = 11.10  # CO2 (computed)
HEAT_J_PER_MMOL_CO2 = 35.0  # 70 kJ a mol of glucose, two CO2 each (from memory)
HEAT_J_PER_G_K = 2.85  # dough (from memory, 2.7 to 3.1)
HALF_SUGAR_G = 0.15  # for half of the full rate (judgement)
HALF_FOOD = 0.35  # share of the nutrients at which growth halves (judgement)
# Yeast: a little more than the trade's tenth a degree, 72 kJ/mol (computed); half of it stopped at 44 C (judgement).
YEAST_J_PER_MOL, STOP_J_PER_MOL, STOP_K = 80e3, 260e3, 317.0
YEAST_GROWTH_C = (2.0, 32.3, 45.4)  # optimum and limit: Salvado et al. 2011, AEM 77:2292 (seen); least from memory
CULTURE_C = (
    4.0,
    27.5,
    36.0,
)  # sourdough yeasts: optimum 27 to 28, limit 35 to 36 C (seen in summaries); least: judgement
CULTURE_UPKEEP_C, BACTERIA_C = (-3.0, 28.0, 37.0), (3.0, 32.0, 42.0)  # judgement; 41 C seen for the bacteria
DEATH_55_PER_H, DEATH_Z_C = 28.0, 5.0  # decimal reduction in 5 min at 55 C, tenfold in 5 C (from memory)
DENSE_G, DENSE_FADE_G = 0.15, 0.5  # cells crowd each other's growth above this (judgement, from cell counts)
FIRST_BUD_H = 1.5  # at 27 C: none in two hours (cell counts at 27 C, seen on a secondary page)
FIRM_WATER_G = 60.0  # below this dough slows, at 48 % to less than half (common practice: stiff preferments, no source)
SOFTEN_J_PER_MOL = 45e3  # of walls with time (judgement)
WEAR_PER_H = 0.10  # of the opening strain, at 27 C, while gas streams through (judgement)
CLOSED_FRAC = 0.2  # of the greatest gas: bubbles that no way leads out of (judgement)
THIN_J_PER_MOL = 30e3  # of the dough's stiffness with temperature (judgement)
HARDENING = 1.6  # of the stress with strain (from memory, 1.5 to 2.5)
SOLVE_H = 0.14  # CO2 between water and bubbles (judgement, 5 to 15 min)
SWELL_H = 45.0 / 3600.0  # squeezed bubbles swell back (judgement; 20 s seen, Campbell et al. 1998)
MOST_OPEN = 30.0  # permeability of torn walls against those at the strain where they open (judgement)


@dataclass(frozen=True, slots=True)
class ViscoelasticTraits:
    """What one batch is like. Amounts per 100 g flour, that of a sourdough included.

    Attributes
    ----------
    is_culture
        Raised by a sourdough's culture, not by bought yeast.
    cells_g
        Cells at the start, dry. [g]
    water_g, salt_g, sugar_g, other_g
        Baker's percentages.
    gas_mmol_per_g_h, gas_mmol_per_g
        CO2 of a gram of cells in an hour at 24 C without growth, and with each gram grown.
    growth_per_h, food_g
        Greatest growth rate, and how many grams of cells the nutrients can become.
    awake_frac, wake_h
        Share of the cells awake at the start, and the time constant of waking at 27 C.
    own_sugar_g, amylase_g_per_h
        Sugars of the flour, and maltose set free at 30 C.
    osmotic_scale_atm
        Osmotic pressure above that of a salted lean dough at which the rate falls to 1/e.
    air_frac, saturation_frac
        Share of the start volume that is air; how full of CO2 the water is.
    yield_pa, stiffness_pa, relax_h, viscosity_pa_h
        Rheology at 25 C.
    opening_strain, opening_width, softening_per_h
        ln(V/V0) at which walls let through as much as a lean dough makes, the width of that in strain, and its loss
        in an hour at 27 C.
    permeability
        Gas let through by opened walls. [mmol/h/Pa]
    weight_pa
        Mean pressure of the dough's own weight.
    skin_h, core_h
        Heat: air to skin, skin to core.
    start_c
        Temperature at the start.
    bulk_rise_pct, knocked_share, proof_c
        Of a shaped dough: how far it rose before, how much of its gas was pressed out, and its temperature then
        (None: as it was).
    """

    is_culture: bool
    cells_g: float
    water_g: float
    salt_g: float
    sugar_g: float
    other_g: float
    gas_mmol_per_g_h: float
    gas_mmol_per_g: float
    growth_per_h: float
    food_g: float
    awake_frac: float
    wake_h: float
    own_sugar_g: float
    amylase_g_per_h: float
    osmotic_scale_atm: float
    air_frac: float
    saturation_frac: float
    yield_pa: float
    stiffness_pa: float
    relax_h: float
    viscosity_pa_h: float
    opening_strain: float
    opening_width: float
    softening_per_h: float
    permeability: float
    weight_pa: float
    skin_h: float
    core_h: float
    start_c: float
    bulk_rise_pct: float = 0.0
    knocked_share: float = 0.0
    proof_c: float | None = None
    density_g_per_ml: float = 1.25  # gas-free dough (from memory, 1.24 to 1.28)

    @property
    def mass_g(self) -> float:
        """Dough. [g]"""
        return 100.0 + self.water_g + self.salt_g + self.sugar_g + self.other_g

    @property
    def solid_ml(self) -> float:
        """Volume without any gas. [mL]"""
        return self.mass_g / self.density_g_per_ml

    @property
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed. [mL]"""
        return self.solid_ml / (1.0 - self.air_frac)

    @property
    def hindrance(self) -> float:
        """Rate against that of a lean salted dough with 65 % water. [-]

        10 % sucrose costs ordinary yeast seven tenths, 5 % glucose a fifth (Appl. Environ. Microbiol., leavening of a
        control strain, seen as a table); a firm dough is slower (practice), a batter without salt quicker (judgement).
        """
        pressure_atm = 65.0 / self.water_g * (13.0 * self.salt_g + 2.2 * self.sugar_g)  # van 't Hoff (computed)
        above = max(0.0, pressure_atm - 26.0)
        firm = max(0.0, FIRM_WATER_G - self.water_g)
        dry = max(0.3, 1.0 - (0.035 if self.is_culture else 0.048) * firm)
        return dry * exp(-((above / self.osmotic_scale_atm) ** 2)) * exp(0.07 * (2.0 - self.salt_g))


def cardinal(temp_c: float, limits_c: tuple[float, float, float]) -> float:
    """Rate against that at the optimum between three temperatures (form of Rosso et al. 1993, seen). [-]"""
    least, best, most = limits_c
    if not least < temp_c < most:
        return 0.0
    below = (best - least) * (temp_c - best) - (best - most) * (best + least - 2.0 * temp_c)
    return (temp_c - most) * (temp_c - least) ** 2 / ((best - least) * below)


def _arrhenius(temp_c: float, activation_j_per_mol: float, reference_c: float) -> float:
    return exp(activation_j_per_mol / GAS_CONSTANT * (1.0 / (reference_c + 273.15) - 1.0 / (temp_c + 273.15)))


def _yeast_pace(temp_c: float) -> float:
    stopped = exp(STOP_J_PER_MOL / GAS_CONSTANT * (1.0 / STOP_K - 1.0 / (temp_c + 273.15)))
    return _arrhenius(temp_c, YEAST_J_PER_MOL, 24.0) / (1.0 + stopped)


YEAST_PACE_24 = _yeast_pace(24.0)
CULTURE_UPKEEP_24 = cardinal(24.0, CULTURE_UPKEEP_C)


def gassing_pace(temp_c: float, is_culture: bool) -> float:
    """Rate of gas without growth against that at 24 C. [-]"""
    if is_culture:
        # Upkeep has a wider foot than growth, and bacteria go on giving gas in warmth that stops the yeast (judgement).
        return max(cardinal(temp_c, CULTURE_UPKEEP_C), 0.6 * cardinal(temp_c, BACTERIA_C)) / CULTURE_UPKEEP_24
    return _yeast_pace(temp_c) / YEAST_PACE_24


def growth_pace(temp_c: float, is_culture: bool) -> float:
    """Growth against that at the optimum. [-]"""
    return cardinal(temp_c, CULTURE_C if is_culture else YEAST_GROWTH_C)


def death_per_h(temp_c: float) -> float:
    """Rate at which heat kills cells. [1/h]"""
    return DEATH_55_PER_H * 10.0 ** ((temp_c - 55.0) / DEATH_Z_C) if temp_c > 35.0 else 0.0


class ViscoelasticDough(Dough[ViscoelasticTraits]):
    """A dough under its own gas; see the module.

    Attributes
    ----------
    cells_g, awake_frac, food_g
        Living cells, the share of them that works, and what they can still grow by.
    gas_mmol, air_mmol, dissolved_mmol
        CO2 and air in the bubbles, CO2 in the water.
    stress_pa, opening
        Elastic stress; loss of the strain at which walls open.
    made_mmol, leaked_mmol
        All CO2 made so far, and all that left the dough.
    """

    def __init__(self, traits: ViscoelasticTraits, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        super().__init__(traits, air_c, folds, step_s=step_s)
        self.skin_c = self.core_c = traits.start_c
        self.cells_g = traits.cells_g
        self.awake_frac = traits.awake_frac
        self.food_g = traits.food_g
        self.sugar_g = traits.own_sugar_g + traits.sugar_g
        self.lived_h = 0.0
        self.stress_pa = 0.0
        self.opening = 0.0
        self.made_mmol = self.leaked_mmol = 0.0
        air_ml = traits.start_ml * traits.air_frac
        self._bubble_ml = air_ml
        self.air_mmol = air_ml * self._outside_pa(traits.start_c) / (1000.0 * GAS_CONSTANT * (traits.start_c + 273.15))
        self.gas_mmol = 0.0
        self.dissolved_mmol = traits.saturation_frac * self._saturated_mmol(traits.start_c)
        self.first_mmol = self.dissolved_mmol
        self._reference_ml = traits.start_ml
        swollen_ml = traits.start_ml * (exp(traits.opening_strain) - 1.0)
        self._closed_ml = air_ml + CLOSED_FRAC * swollen_ml
        self._hindrance = traits.hindrance

    @staticmethod
    def _outside_pa(temp_c: float) -> float:
        """Air outside less the water vapour in the bubbles (Magnus, Sonntag 1990, seen). [Pa]"""
        return PRESSURE_PA - 0.96 * 611.2 * exp(17.62 * temp_c / (243.12 + temp_c))

    def _saturated_mmol(self, temp_c: float) -> float:
        """CO2 that the water holds under pure CO2."""
        henry = HENRY_298 * exp(HENRY_SLOPE_K * (1.0 / (temp_c + 273.15) - 1.0 / 298.15))
        return henry * self._outside_pa(temp_c) * self.traits.water_g * 1e-3

    def _advance(self, step_s: float) -> None:
        hours = step_s / 3600.0
        temp_c = 0.4 * self.skin_c + 0.6 * self.core_c
        made_mmol = self._ferment(hours, temp_c)
        self._heat(hours, self._air_c(self.now_s + 0.5 * step_s), made_mmol)
        self._dissolve(hours, temp_c, made_mmol)
        self._yield(hours, temp_c)
        self._leak(hours, temp_c)

    def _ferment(self, hours: float, temp_c: float) -> float:
        """CO2 made in a step. [mmol]"""
        traits = self.traits
        pace = gassing_pace(temp_c, traits.is_culture)
        fed = self.sugar_g / (HALF_SUGAR_G + self.sugar_g)
        self.awake_frac += (1.0 - self.awake_frac) * -expm1(-hours * pace / (1.35 * traits.wake_h))
        self.lived_h += hours * pace / 1.35
        working_g = self.cells_g * self.awake_frac
        food = self.food_g / traits.food_g
        growth = traits.growth_per_h * growth_pace(temp_c, traits.is_culture) * food / (HALF_FOOD + food) * fed
        growth *= (1.0 + HALF_FOOD) * min(1.0, self._hindrance)
        if not traits.is_culture:
            growth /= 1.0 + exp((FIRST_BUD_H - self.lived_h) / 0.25) + max(0.0, self.cells_g - DENSE_G) / DENSE_FADE_G
        grown_g = min(self.food_g, working_g * expm1(growth * hours))
        self.food_g -= grown_g
        rate = traits.gas_mmol_per_g_h * pace * self._hindrance * fed * working_g
        made_mmol = min(rate * hours + traits.gas_mmol_per_g * grown_g, self.sugar_g * MMOL_PER_G_HEXOSE)
        self.cells_g = (self.cells_g + grown_g) * exp(-hours * death_per_h(temp_c))
        self.sugar_g -= made_mmol / MMOL_PER_G_HEXOSE
        self.sugar_g += hours * traits.amylase_g_per_h * _arrhenius(temp_c, 50e3, 30.0)
        self.made_mmol += made_mmol
        return made_mmol

    def _heat(self, hours: float, air_c: float, made_mmol: float) -> None:
        """Skin of four tenths of the dough, core of six; each comes to its neighbours by first order."""
        traits = self.traits
        warmed_c = HEAT_J_PER_MMOL_CO2 * made_mmol / (traits.mass_g * HEAT_J_PER_G_K)
        through = (self.skin_c - self.core_c) / traits.core_h
        self.skin_c += hours * ((air_c - self.skin_c) / traits.skin_h - 1.5 * through) + warmed_c
        self.core_c += hours * through + warmed_c

    def _dissolve(self, hours: float, temp_c: float, made_mmol: float) -> None:
        share = self.gas_mmol / (self.gas_mmol + self.air_mmol) if self.gas_mmol else 0.0
        self.dissolved_mmol += made_mmol
        out = (self.dissolved_mmol - share * self._saturated_mmol(temp_c)) * -expm1(-hours / SOLVE_H)
        out = max(out, -self.gas_mmol)
        self.dissolved_mmol -= out
        self.gas_mmol += out

    def _yield(self, hours: float, temp_c: float) -> None:
        """The gas finds its volume against stress, yield stress, weight and viscosity."""
        traits = self.traits
        soft = _arrhenius(temp_c, -THIN_J_PER_MOL, 25.0)
        volume_ml = traits.solid_ml + self._bubble_ml
        resist_pa = self._outside_pa(temp_c) + traits.weight_pa + self.stress_pa
        yield_pa = traits.yield_pa * soft
        held = self._held(temp_c)
        push_pa = held / self._bubble_ml - resist_pa
        if abs(push_pa) > yield_pa:
            resist_pa += yield_pa if push_pa > 0.0 else -yield_pa
            # Implicit Euler of dV/dt = V (p - resist) / viscosity, with p = held / V of the bubbles.
            give = volume_ml * hours / (traits.viscosity_pa_h * soft)
            rest = self._bubble_ml - give * resist_pa
            self._bubble_ml = max(0.5 * (rest + sqrt(rest * rest + 4.0 * give * held)), 0.01 * volume_ml)
        strain = log(volume_ml / self._reference_ml)
        stretched = log((traits.solid_ml + self._bubble_ml) / volume_ml)
        stiffness_pa = traits.stiffness_pa * soft * exp(HARDENING * max(0.0, strain))
        self.stress_pa = (self.stress_pa + stiffness_pa * stretched) * exp(-hours / traits.relax_h)

    def _leak(self, hours: float, temp_c: float) -> None:
        """Gas goes where walls let it; the more has gone, the wider is its way."""
        traits = self.traits
        strain = log((traits.solid_ml + self._bubble_ml) / self._reference_ml)
        opened = exp((strain - traits.opening_strain + self.opening) / traits.opening_width)
        wear = traits.softening_per_h + WEAR_PER_H * min(1.0, opened)
        self.opening += hours * wear * _arrhenius(temp_c, SOFTEN_J_PER_MOL, 27.0)
        over_pa = max(0.0, self._held(temp_c) / self._bubble_ml - self._outside_pa(temp_c))
        reached = max(0.0, 1.0 - self._closed_ml / self._bubble_ml)
        leak = traits.permeability * min(MOST_OPEN, opened) * over_pa * hours * reached
        kept = exp(-leak / (self.gas_mmol + self.air_mmol))
        self.leaked_mmol += self.gas_mmol * (1.0 - kept)
        self.gas_mmol *= kept
        self.air_mmol *= kept

    def _held(self, temp_c: float) -> float:
        """Pressure times volume of all gas. [Pa mL]"""
        return (self.gas_mmol + self.air_mmol) * 1000.0 * GAS_CONSTANT * (temp_c + 273.15)

    def _fold(self, share: float) -> None:
        """Press gas out; folded walls start anew with half of their strain, and close."""
        kept = 1.0 - share
        self.leaked_mmol += self.gas_mmol * share
        self.gas_mmol *= kept
        self.air_mmol *= kept
        self._bubble_ml *= kept
        self.stress_pa = 0.0
        self.opening *= 1.0 - 0.5 * share
        volume_ml = self.traits.solid_ml + self._bubble_ml
        self._reference_ml = sqrt(volume_ml * max(self._reference_ml, self.traits.start_ml))

    def set_temperature(self, temp_c: float) -> None:
        """Bring it to a temperature at once, as a night in a refrigerator does. [C]"""
        self.skin_c = self.core_c = temp_c

    @property
    def probe_c(self) -> float:
        """A probe in the core, with a little of the skin along its sleeve. [C]"""
        return 0.15 * self.skin_c + 0.85 * self.core_c

    @property
    def volume_ml(self) -> float:
        """Volume now; squeezed bubbles swell back in the first minutes. [mL]"""
        return self.traits.solid_ml + self._bubble_ml * (1.0 - 0.3 * exp(-self.now_s / 3600.0 / SWELL_H))
