"""A simulated fermenting dough: heat, yeast, sugar, carbon dioxide, leak and collapse as differential equations.

It stands in for the world, so it shares no code and no constant with the monitor: agreement between the two means
something. All amounts are per 100 g flour; a batch scales them by its flour.

State: surface and core temperature, adjustment of the yeast, fermentable sugar, yeast mass, dissolved CO2, CO2 in the
bubbles, broken cell walls, age of the gluten. Volume follows from the gas by the ideal gas law. Equations after the
textbook chain gas production -> solution -> retention; the lag is that of Baranyi and Roberts 1994 (from memory),
temperature scales rates by the cardinal model with inflection of Rosso, Lobry, Flandrois 1993.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, log, log1p

from firmware_sim.doughs.dough import Course, Dough, Folds

GAS_CONSTANT = 8.314462618  # J/mol/K, CODATA 2018 (exact)
PRESSURE_PA = 101325.0  # standard atmosphere
HENRY_298 = 3.3e-4  # mol/m3/Pa for CO2 in water at 298.15 K, Sander 2023, Atmos Chem Phys 23:10901 (seen)
HENRY_SLOPE_K = 2400.0  # d ln H / d(1/T), same source (seen)
GLUCOSE_MMOL_PER_G = 11.10  # mmol CO2 from 1 g glucose: C6H12O6 -> 2 C2H5OH + 2 CO2 (computed)
HEAT_J_PER_MOL_GLUCOSE = 70e3  # heat of alcoholic fermentation (from memory)
DOUGH_HEAT_J_PER_G_K = 2.8  # heat capacity of dough at 60 to 70 % water (from memory, range 2.7 to 3.1)
GASSING_C = (2.0, 36.0, 46.0)  # least, best, greatest temperature of gas production (judgement; optimum 32-40 C seen)
GROWTH_C = (3.0, 32.3, 45.4)  # yeast growth; best and greatest from Salvado et al. 2011, AEM 77:2292 (seen)
Q30_MMOL_PER_G_H = 10.0  # CO2 per g dry yeast and hour at 30 C in lean dough (from memory, range 6 to 15)
SUGAR_HALF_G = 0.2  # sugar at which gassing halves, g/100 g flour (judgement)
SALT_SLOPE = 0.09  # fall of the rate per % salt (judgement)
SALT_ATM_PER_PCT = 13.0  # osmotic pressure of 1 % salt at 65 % water, van 't Hoff (computed)
SUGAR_ATM_PER_PCT = 2.2  # the same for 1 % sucrose once inverted (computed)
OSMOTIC_FREE_ATM = 30.0  # no effect below this (judgement)
DISSOLVE_H = 10.0 / 60.0  # CO2 leaves the water into the bubbles with this time constant (judgement, 5 to 15 min)
AMYLASE_SLOPE_PER_C = 0.065  # maltose release against 30 C, about doubling in 10 C (judgement)
LEAK_WIDTH = 0.3  # softness of the onset of leakage, in V/V0 (judgement)
BREAK_WIDTH = 0.15  # softness of the onset of breaking, in V/V0 (judgement)
RELAX_H = (
    40.0 / 3600.0
)  # bubbles squeezed by mixing or shaping swell back; 20 s seen (Campbell et al. 1998), slower here
STEP_S = 10.0  # all time constants are 40 s or longer; RK4 at 10 s is good to 1e-5 in the rise (measured in the tests)


def cardinal_factor(temp_c: float, cardinal_c: tuple[float, float, float]) -> float:
    """Rate at a temperature relative to the optimum, 0 outside the limits (Rosso et al. 1993). [-]"""
    low, best, high = cardinal_c
    if not low < temp_c < high:
        return 0.0
    bracket = (best - low) * (temp_c - best) - (best - high) * (best + low - 2.0 * temp_c)
    return (temp_c - high) * (temp_c - low) ** 2 / ((best - low) * bracket)


def softplus(x: float) -> float:
    """ln(1 + e^x), without overflow: a ramp with a rounded corner."""
    return x + log1p(exp(-x)) if x > 0 else log1p(exp(x))


@dataclass(frozen=True, slots=True)
class DigitalTraits:
    """What one batch of dough is like. Amounts per 100 g flour.

    Attributes
    ----------
    yeast_g
        Yeast solids. [g]
    water_g, salt_g, sugar_g, other_g
        Baker's percentages; ``other_g`` is fat, milk solids, egg: mass without effect on the yeast.
    vigour
        Gassing power against the textbook rate. [-]
    lag_work
        Work to be done before full gassing, the h0 of Baranyi; 0 = already adjusted. [-]
    growth_per_h, most_yeast
        Greatest growth rate, and yeast mass it levels off at, against the start.
    own_sugar_g, amylase_g_per_h
        Sugar of the flour itself, and maltose released at 30 C.
    osmotic_scale_atm
        How fast the rate falls above the free osmotic pressure.
    air_frac, gas_frac
        Share of the start volume that is air from mixing, and CO2 from an earlier stage.
    saturation_frac
        How full of CO2 the water is at the start.
    leak_onset, break_onset
        V/V0 at which gas begins to leak, and at which cell walls begin to break.
    leak_mmol_per_h, break_h, fall_per_h, weakening_per_h
        Leak per unit of softened overstretch; time constant of breaking; rate of the fall of a broken dough;
        loss of ``break_onset`` per equivalent hour at 27 C.
    warm_up_h
        Slow time constant of the dough against the air.
    start_c
        Dough temperature at the start.
    """

    yeast_g: float
    water_g: float
    salt_g: float
    sugar_g: float
    other_g: float
    vigour: float
    lag_work: float
    growth_per_h: float
    most_yeast: float
    own_sugar_g: float
    amylase_g_per_h: float
    osmotic_scale_atm: float
    air_frac: float
    gas_frac: float
    saturation_frac: float
    leak_onset: float
    break_onset: float
    leak_mmol_per_h: float
    break_h: float
    fall_per_h: float
    weakening_per_h: float
    warm_up_h: float
    start_c: float
    density_g_per_ml: float = 1.25  # gas-free dough (from memory, 1.24 to 1.28)

    @property
    def mass_g(self) -> float:
        """Dough per 100 g flour. [g]"""
        return 100.0 + self.water_g + self.salt_g + self.sugar_g + self.other_g + self.yeast_g

    @property
    def solid_ml(self) -> float:
        """Volume without any gas, per 100 g flour. [mL]"""
        return self.mass_g / self.density_g_per_ml

    @property
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed, per 100 g flour. [mL]"""
        return self.solid_ml / (1.0 - self.air_frac - self.gas_frac)

    @property
    def hindrance(self) -> float:
        """Rate factor of salt and sugar together. [-]"""
        dilution = 65.0 / self.water_g
        pressure_atm = dilution * (SALT_ATM_PER_PCT * self.salt_g + SUGAR_ATM_PER_PCT * self.sugar_g)
        osmotic = exp(-max(0.0, pressure_atm - OSMOTIC_FREE_ATM) / self.osmotic_scale_atm)
        return exp(-SALT_SLOPE * (self.salt_g - 2.0)) * osmotic


@dataclass(frozen=True, slots=True)
class State:
    """A dough at one moment, per 100 g flour."""

    surface_c: float
    core_c: float
    log_ready: float  # ln q of the adjustment
    sugar_g: float
    yeast_ratio: float
    dissolved_mmol: float
    gas_mmol: float
    air_mmol: float
    broken_frac: float
    aged_h: float  # equivalent hours at 27 C since the start


_FLOWING = (
    "surface_c", "core_c", "log_ready", "sugar_g", "yeast_ratio", "dissolved_mmol", "gas_mmol", "broken_frac", "aged_h",
)  # fmt: skip


def _bubble_pa(temp_c: float) -> float:
    """Pressure of the dry gas in a bubble: the air outside less the water vapour (Magnus, Sonntag 1990, seen). [Pa]"""
    return PRESSURE_PA - 0.96 * 611.2 * exp(17.62 * temp_c / (243.12 + temp_c))


def _ml_per_mmol(temp_c: float) -> float:
    return 1000.0 * GAS_CONSTANT * (temp_c + 273.15) / _bubble_pa(temp_c)


def _saturated_mmol(traits: DigitalTraits, temp_c: float, co2_share: float) -> float:
    henry = HENRY_298 * exp(HENRY_SLOPE_K * (1.0 / (temp_c + 273.15) - 1.0 / 298.15))
    return henry * co2_share * _bubble_pa(temp_c) * traits.water_g * 1e-3


def first_state(traits: DigitalTraits) -> State:
    """The dough as it comes into the vessel."""
    gas_ml = traits.start_ml * traits.gas_frac
    air_ml = traits.start_ml * traits.air_frac
    per_mmol = _ml_per_mmol(traits.start_c)
    return State(
        surface_c=traits.start_c,
        core_c=traits.start_c,
        log_ready=-log(max(exp(traits.lag_work) - 1.0, 1e-6)),
        sugar_g=traits.own_sugar_g + traits.sugar_g,
        yeast_ratio=1.0,
        dissolved_mmol=_saturated_mmol(traits, traits.start_c, traits.saturation_frac),
        gas_mmol=gas_ml / per_mmol,
        air_mmol=air_ml / per_mmol,
        broken_frac=0.0,
        aged_h=0.0,
    )


def volume_ml(traits: DigitalTraits, state: State) -> float:
    """Volume with its bubbles relaxed, per 100 g flour. [mL]"""
    temp_c = 0.5 * (state.surface_c + state.core_c)
    return traits.solid_ml + (state.gas_mmol + state.air_mmol) * _ml_per_mmol(temp_c)


def _slopes(traits: DigitalTraits, state: State, air_c: float) -> tuple[float, ...]:
    """Derivatives per hour of the flowing states."""
    temp_c = 0.5 * (state.surface_c + state.core_c)
    gassing = cardinal_factor(temp_c, GASSING_C)
    pace = gassing / cardinal_factor(27.0, GASSING_C)
    ready = 1.0 / (1.0 + exp(-state.log_ready))
    fed = state.sugar_g / (SUGAR_HALF_G + state.sugar_g) if state.sugar_g > 0 else 0.0
    yeast_g = traits.yeast_g * state.yeast_ratio
    rate = (
        yeast_g * traits.vigour * Q30_MMOL_PER_G_H * gassing / cardinal_factor(30.0, GASSING_C)
        * traits.hindrance * ready * fed
    )  # fmt: skip

    outer_h = 0.42 * traits.warm_up_h  # two equal nodes; chosen so that the slow mode is warm_up_h (computed)
    inner_h = 0.25 * traits.warm_up_h
    between = (state.surface_c - state.core_c) / inner_h
    own_heat = HEAT_J_PER_MOL_GLUCOSE * rate * 1e-3 / (2.0 * traits.mass_g * DOUGH_HEAT_J_PER_G_K)

    share = state.gas_mmol / (state.gas_mmol + state.air_mmol)
    degassing = (state.dissolved_mmol - _saturated_mmol(traits, temp_c, share)) / DISSOLVE_H
    ratio = volume_ml(traits, state) / traits.start_ml
    leak = traits.leak_mmol_per_h * softplus((ratio - traits.leak_onset) / LEAK_WIDTH) * min(state.gas_mmol, 1.0)
    strength = traits.break_onset - traits.weakening_per_h * state.aged_h
    breaking = (1.0 - state.broken_frac) * softplus((ratio - strength) / BREAK_WIDTH) / traits.break_h
    # A broken dough keeps about a third of its swelling: the foam settles, it does not vanish (judgement).
    kept_mmol = 0.35 * (traits.break_onset - 1.0) * traits.start_ml / _ml_per_mmol(temp_c)
    fall = traits.fall_per_h * state.broken_frac * max(0.0, state.gas_mmol - kept_mmol)
    kept_share = 1.0 - state.broken_frac if degassing > 0 else 1.0
    growth = (
        traits.growth_per_h * cardinal_factor(temp_c, GROWTH_C) * ready * fed
        * max(0.0, 1.0 - state.yeast_ratio / traits.most_yeast)
    )  # fmt: skip
    return (
        (air_c - state.surface_c) / outer_h - between + own_heat,
        between + own_heat,
        pace,
        -rate / GLUCOSE_MMOL_PER_G + traits.amylase_g_per_h * exp(AMYLASE_SLOPE_PER_C * (temp_c - 30.0)),
        growth * state.yeast_ratio,
        rate - degassing,
        degassing * kept_share - leak - fall,
        breaking,
        pace,
    )


def _moved(state: State, slopes: tuple[float, ...], hours: float) -> State:
    return replace(
        state,
        **{name: getattr(state, name) + hours * slope for name, slope in zip(_FLOWING, slopes, strict=True)},
    )


def _step(traits: DigitalTraits, state: State, air_c: Callable[[float], float], at_s: float, step_s: float) -> State:
    """One classical Runge-Kutta step."""
    hours = step_s / 3600.0
    middle_c = air_c(at_s + 0.5 * step_s)
    k1 = _slopes(traits, state, air_c(at_s))
    k2 = _slopes(traits, _moved(state, k1, 0.5 * hours), middle_c)
    k3 = _slopes(traits, _moved(state, k2, 0.5 * hours), middle_c)
    k4 = _slopes(traits, _moved(state, k3, hours), air_c(at_s + step_s))
    mean = tuple((a + 2.0 * b + 2.0 * c + d) / 6.0 for a, b, c, d in zip(k1, k2, k3, k4, strict=True))
    moved = _moved(state, mean, hours)
    return replace(moved, sugar_g=max(moved.sugar_g, 0.0), gas_mmol=max(moved.gas_mmol, 0.0))


class DigitalDough(Dough[DigitalTraits]):
    """The dough of this module, lived forward in time."""

    def __init__(self, traits: DigitalTraits, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        super().__init__(traits, air_c, folds, step_s=step_s)
        self.state = first_state(traits)

    def _advance(self, step_s: float) -> None:
        self.state = _step(self.traits, self.state, self._air_c, self.now_s, step_s)

    def _fold(self, share: float) -> None:
        """Knock a share of the gas out; the dissolved gas loses a little, the gluten is none the worse."""
        self.state = replace(
            self.state,
            gas_mmol=self.state.gas_mmol * (1.0 - share),
            air_mmol=self.state.air_mmol * (1.0 - share),
            dissolved_mmol=self.state.dissolved_mmol * (1.0 - 0.1 * share),
            broken_frac=self.state.broken_frac * (1.0 - share),
        )

    @property
    def volume_ml(self) -> float:
        """Volume now, per 100 g flour; squeezed bubbles swell back in the first minutes. [mL]"""
        relaxed_ml = volume_ml(self.traits, self.state)
        gas_ml = relaxed_ml - self.traits.solid_ml
        return relaxed_ml - 0.3 * gas_ml * exp(-self.now_s / 3600.0 / RELAX_H)

    @property
    def probe_c(self) -> float:
        """The tip of a probe sits between the surface and the core. [C]"""
        return 0.3 * self.state.surface_c + 0.7 * self.state.core_c
