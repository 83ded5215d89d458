"""A third simulated dough: sourdough, whose yeast and lactic bacteria grow, sour it and at last weaken it.

Its structure differs from the other two on purpose. Both populations wake, grow and give gas after Luedeking and Piret
(part with growth, part without); growth follows temperature after Gänzle, Ehmann and Hammes 1998 (form from memory,
optima and limits as quoted by a summary). The bacteria split maltose and leave glucose to the yeast, which cannot eat
maltose. Acid lowers the pH along a titration curve; low pH slows the bacteria and the flour's amylase and wakes its
proteases. Gas sits in closed cells that burst into open ones and drain, the sooner the weaker the walls: the dough
peaks and collapses. Heat passes through the vessel's wall. All amounts are per 100 g flour.
"""

from dataclasses import dataclass
from math import exp, pow

from firmware_sim.doughs.dough import STEP_S, Course, Dough, Folds

GAS_CONSTANT = 8.314462618  # J/mol/K, CODATA 2018 (exact)
PRESSURE_PA = 101325.0  # standard atmosphere
HENRY_298 = 3.4e-4  # mol/m3/Pa, Carroll et al. 1991 in Sander 2023 (seen)
HENRY_SLOPE_K = 2300.0  # same (seen)
BICARBONATE_PK = 6.35  # of dissolved CO2 at 25 C (from memory)
G_PER_MMOL_YEAST_CO2 = 0.0901  # hexose -> 2 CO2 (computed)
G_PER_MMOL_ACID = 0.180  # hexose -> lactic acid + CO2 + ethanol or acetic acid (computed)
HEAT_J_PER_MMOL_CO2 = 35.0  # 70 kJ a mol of glucose, two CO2 each (from memory)
HEAT_J_PER_G_K = 2.8  # dough (from memory)
YEAST_HOT_C, YEAST_BEST_C, YEAST_SHAPE = 35.5, 27.5, 2.4  # limits and optimum seen in the summary; shape computed
BACTERIA_HOT_C, BACTERIA_BEST_C, BACTERIA_SHAPE = 41.0, 31.1, 2.0  # same; optimum refitted to the relative rates
YEAST_COLD_C, BACTERIA_COLD_C = (6.0, 12.0), (3.0, 9.0)  # no growth below the first, no clamp above the second
BACTERIA_GROWTH_PER_H = (
    0.45  # at the optimum, without salt, at pH 5.5 (judgement, 0.4 to 0.8; dough is slower than broth)
)
YEAST_CO2_PER_G = 60.0  # mmol with 1 g of growth (judgement; 111 if all hexose went to gas at 0.1 g cells a g)
YEAST_CO2_PER_G_H = 3.5  # mmol without growth at 27 C (judgement)
ACID_PER_G = 50.0  # mmol with 1 g of growth: 20 g of cells a mol of hexose (from memory)
ACID_PER_G_H = 12.0  # mmol without growth at 30 C (judgement)
HALF_SUGAR_G = 0.15  # for half of the full rate (judgement)
CLEAN_PH, SOUR_PH, HALF_ACID_MMOL, ACID_SLOPE = 6.1, 3.35, 6.0, 1.1  # titration curve of flour (judgement)
RIPE_YEAST_G, RIPE_BACTERIA_G, RIPE_ACID_MMOL = 0.32, 0.20, 24.0  # in ripe sourdough (judgement, from plate counts)
ENOUGH_YEAST_G, ENOUGH_BACTERIA_G = 0.45, 0.4  # growth ends here for want of other food (judgement)
PROTEASE_PH, PROTEASE_WIDTH = 4.5, 0.25  # half of the acid proteases' work; cereal proteases like pH 4 (from memory)
STEEPNESS = 10.0  # how suddenly cells burst as the dough nears what its walls bear (judgement)
FASTEST_BURST_PER_H = 25.0
SKIN_LOSS_PER_H = 0.01  # share of the gas lost through the skin (judgement)
SWELL_H = 50.0 / 3600.0  # squeezed bubbles swell back (judgement; 20 s seen, Campbell et al. 1998)


@dataclass(frozen=True, slots=True)
class WildTraits:
    """What one batch is like. Amounts per 100 g flour, that of the sourdough included.

    Attributes
    ----------
    water_g, salt_g, other_g
        Baker's percentages.
    inoculum_frac
        Share of all flour that came in with the ripe sourdough.
    yeast_vigour, bacteria_vigour
        Cells brought in, against the usual ripe sourdough.
    yeast_growth_per_h
        At the optimum, without salt.
    yeast_awake_frac, bacteria_awake_frac, wake_h
        Share awake at the start, and the time constant of waking at 27 C.
    warmth_c
        Shift of the yeast's temperatures: strains differ.
    ready_g, maltose_g, amylase_g_per_h
        Glucose and fructose, maltose at the start; maltose set free at 30 C and pH 6.
    buffering
        How much more acid the flour swallows than white flour does.
    air_frac, co2_frac
        Share of the start volume that is air, and CO2 from an earlier stage.
    bearing
        V/V0 that fresh walls bear.
    softening_per_h, fold_gain
        Loss of strength per hour at 27 C with proteases at full work; strength given by a fold.
    burst_per_h, damage, drain_h
        Bursting at what the walls bear; strength lost with the cells that burst; time constant of draining.
    inner_h, outer_h, wall_share
        Heat: wall to dough, air to wall, and the wall's heat capacity against the dough's.
    start_c
        Temperature at the start.
    """

    water_g: float
    salt_g: float
    other_g: float
    inoculum_frac: float
    yeast_vigour: float
    bacteria_vigour: float
    yeast_growth_per_h: float
    yeast_awake_frac: float
    bacteria_awake_frac: float
    wake_h: float
    warmth_c: float
    ready_g: float
    maltose_g: float
    amylase_g_per_h: float
    buffering: float
    air_frac: float
    co2_frac: float
    bearing: float
    softening_per_h: float
    fold_gain: float
    burst_per_h: float
    damage: float
    drain_h: float
    inner_h: float
    outer_h: float
    wall_share: float
    start_c: float
    density_g_per_ml: float = 1.26  # gas-free dough (from memory, 1.24 to 1.28)

    @property
    def mass_g(self) -> float:
        """Dough. [g]"""
        return 100.0 + self.water_g + self.salt_g + self.other_g

    @property
    def solid_ml(self) -> float:
        """Volume without any gas. [mL]"""
        return self.mass_g / self.density_g_per_ml

    @property
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed. [mL]"""
        return self.solid_ml / (1.0 - self.air_frac - self.co2_frac)


def growth_pace(temp_c: float, hot_c: float, best_c: float, shape: float, cold_c: tuple[float, float]) -> float:
    """Growth rate against that at the optimum: x^b exp(-c x) with x the distance to the upper limit. [-]

    The form is far too warm in the cold, so a ramp closes it between the two temperatures of ``cold_c``.
    """
    if temp_c >= hot_c or temp_c <= cold_c[0]:
        return 0.0
    part = (hot_c - temp_c) / (hot_c - best_c)
    closed = min(1.0, (temp_c - cold_c[0]) / (cold_c[1] - cold_c[0]))
    return closed * pow(part, shape) * exp(shape * (1.0 - part))


def upkeep_pace(temp_c: float) -> float:
    """Rate of fermentation without growth against that at 27 C: Ratkowsky's root with a hot end. [-]

    Root linear from 0 C and closing at 43 C (judgement); form of Ratkowsky et al. 1983 (from memory).
    """
    if not 0.0 < temp_c < 43.0:
        return 0.0
    root = temp_c * (1.0 - exp(0.22 * (temp_c - 43.0)))
    return (root / (27.0 * (1.0 - exp(0.22 * (27.0 - 43.0))))) ** 2


def _arrhenius(temp_c: float, activation_j_per_mol: float, reference_c: float) -> float:
    return exp(activation_j_per_mol / GAS_CONSTANT * (1.0 / (reference_c + 273.15) - 1.0 / (temp_c + 273.15)))


def _inside_pa(temp_c: float) -> float:
    """Dry gas in a bubble: the air outside less water vapour (Magnus, Sonntag 1990, seen). [Pa]"""
    return PRESSURE_PA - 0.97 * 611.2 * exp(17.62 * temp_c / (243.12 + temp_c))


def ph_of(acid_mmol: float, buffering: float) -> float:
    """pH of a dough that holds so much lactic and acetic acid. [mmol per 100 g flour]"""
    return SOUR_PH + (CLEAN_PH - SOUR_PH) / (1.0 + pow(acid_mmol / (HALF_ACID_MMOL * buffering), ACID_SLOPE))


@dataclass(slots=True)
class Culture:
    """The dough at one moment; every field flows.

    ``closed_mmol`` and ``open_mmol`` are CO2, ``air_closed_mmol`` and ``air_open_mmol`` air, in cells that hold their
    gas and in cells that drain; ``strength`` of the walls is 1 when fresh.
    """

    wall_c: float
    dough_c: float
    yeast_g: float
    yeast_asleep_g: float
    bacteria_g: float
    bacteria_asleep_g: float
    ready_g: float
    maltose_g: float
    acid_mmol: float
    strength: float
    dissolved_mmol: float
    closed_mmol: float
    open_mmol: float
    air_closed_mmol: float
    air_open_mmol: float
    produced_mmol: float
    vented_mmol: float


_FLOWING = tuple(Culture.__dataclass_fields__)


class WildDough(Dough[WildTraits]):
    """A sourdough; see the module."""

    def __init__(self, traits: WildTraits, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        super().__init__(traits, air_c, folds, step_s=step_s)
        per_mmol = self._ml_per_mmol(traits.start_c)
        yeast_g = RIPE_YEAST_G * traits.inoculum_frac * traits.yeast_vigour
        bacteria_g = RIPE_BACTERIA_G * traits.inoculum_frac * traits.bacteria_vigour
        acid_mmol = RIPE_ACID_MMOL * traits.inoculum_frac * traits.buffering
        air_mmol = traits.start_ml * traits.air_frac / per_mmol
        co2_mmol = traits.start_ml * traits.co2_frac / per_mmol
        self.culture = Culture(
            wall_c=traits.start_c,
            dough_c=traits.start_c,
            yeast_g=yeast_g * traits.yeast_awake_frac,
            yeast_asleep_g=yeast_g * (1.0 - traits.yeast_awake_frac),
            bacteria_g=bacteria_g * traits.bacteria_awake_frac,
            bacteria_asleep_g=bacteria_g * (1.0 - traits.bacteria_awake_frac),
            ready_g=traits.ready_g,
            maltose_g=traits.maltose_g,
            acid_mmol=acid_mmol,
            strength=1.0,
            dissolved_mmol=0.0,
            closed_mmol=co2_mmol,
            open_mmol=0.0,
            air_closed_mmol=air_mmol,
            air_open_mmol=0.0,
            produced_mmol=0.0,
            vented_mmol=0.0,
        )
        # The ripe part comes saturated, and bubbles already blown stand over water in balance with them.
        brought = max(traits.inoculum_frac, traits.co2_frac / (traits.co2_frac + traits.air_frac))
        self.culture.dissolved_mmol = brought * self._saturated_mmol(traits.start_c, ph_of(acid_mmol, traits.buffering))
        self.first_mmol = self.culture.dissolved_mmol + co2_mmol

    def _ml_per_mmol(self, temp_c: float) -> float:
        return 1000.0 * GAS_CONSTANT * (temp_c + 273.15) / _inside_pa(temp_c)

    def _saturated_mmol(self, temp_c: float, ph: float) -> float:
        """CO2 that the water holds under pure CO2, the part bound as bicarbonate included."""
        henry = HENRY_298 * exp(HENRY_SLOPE_K * (1.0 / (temp_c + 273.15) - 1.0 / 298.15))
        return henry * _inside_pa(temp_c) * self.traits.water_g * 1e-3 * (1.0 + pow(10.0, ph - BICARBONATE_PK))

    def _slopes(self, now: Culture, air_c: float) -> tuple[float, ...]:
        """Derivatives per hour, in the order of the fields."""
        traits = self.traits
        temp_c = now.dough_c
        ph = ph_of(now.acid_mmol, traits.buffering)
        warm_c = temp_c - traits.warmth_c
        wake = upkeep_pace(warm_c) / traits.wake_h

        on_ready = now.ready_g / (HALF_SUGAR_G + now.ready_g)
        acetic_mmol_per_l = 1000.0 * 0.2 * now.acid_mmol / traits.water_g / (1.0 + 10.0 ** (ph - 4.76))
        eased = 1.0 / (1.0 + (acetic_mmol_per_l / 75.0) ** 2)  # 150 mmol/L stops the yeast (seen in a summary)
        growth = (
            traits.yeast_growth_per_h
            * growth_pace(warm_c, YEAST_HOT_C, YEAST_BEST_C, YEAST_SHAPE, YEAST_COLD_C)
            * on_ready * eased * (1.0 - 0.08 * traits.salt_g)
            * max(0.0, 1.0 - (now.yeast_g + now.yeast_asleep_g) / ENOUGH_YEAST_G)
        )  # fmt: skip
        yeast_co2 = now.yeast_g * (
            YEAST_CO2_PER_G * growth + YEAST_CO2_PER_G_H * upkeep_pace(warm_c) * on_ready * eased
        )

        fed = (now.maltose_g + now.ready_g) / (HALF_SUGAR_G + now.maltose_g + now.ready_g)
        not_sour = max(0.0, ph - 3.75) / (max(0.0, ph - 3.75) + 0.35)  # growth ends near 3.8 (seen in a summary)
        working = max(0.0, ph - 3.5) / (max(0.0, ph - 3.5) + 0.15)  # acid comes on to 3.6 (seen in a summary)
        heat = growth_pace(temp_c, BACTERIA_HOT_C, BACTERIA_BEST_C, BACTERIA_SHAPE, BACTERIA_COLD_C)
        salted = max(0.05, 1.0 - 0.17 * traits.salt_g)
        crowd = max(0.0, 1.0 - (now.bacteria_g + now.bacteria_asleep_g) / ENOUGH_BACTERIA_G)
        splitting = BACTERIA_GROWTH_PER_H * heat * fed * not_sour * salted * crowd
        souring = now.bacteria_g * (ACID_PER_G * splitting + ACID_PER_G_H * heat * fed * working * salted)
        maltose_part = now.maltose_g / (now.maltose_g + 0.3 * now.ready_g + 1e-9)
        maltose_eaten = 2.0 * G_PER_MMOL_ACID * souring * maltose_part
        ready_eaten = G_PER_MMOL_ACID * souring * (1.0 - maltose_part)
        freed = traits.amylase_g_per_h * _arrhenius(temp_c, 50e3, 30.0) / (1.0 + 10.0 ** (4.3 - ph))

        per_mmol = self._ml_per_mmol(temp_c)
        gas_mmol = now.closed_mmol + now.open_mmol + now.air_closed_mmol + now.air_open_mmol
        volume_ml = traits.solid_ml + gas_mmol * per_mmol
        borne_ml = traits.start_ml * (1.0 + (traits.bearing - 1.0) * now.strength)
        burst = min(FASTEST_BURST_PER_H, traits.burst_per_h * (volume_ml / borne_ml) ** STEEPNESS)
        holding = now.closed_mmol + now.air_closed_mmol
        co2_share = now.closed_mmol / holding if holding > 0.0 else 1.0
        void = gas_mmol * per_mmol / volume_ml
        surface = max(0.2, void / (traits.air_frac + traits.co2_frac)) ** (2.0 / 3.0)
        balance = co2_share * self._saturated_mmol(temp_c, ph)
        degassing = 6.0 * surface * (now.dissolved_mmol - balance)
        closed_part = holding / gas_mmol if gas_mmol > 0.0 else 1.0
        into_closed = degassing * closed_part if degassing > 0.0 else degassing
        into_open = degassing - into_closed
        closed_loss = SKIN_LOSS_PER_H
        proteases = 0.12 + 1.0 / (1.0 + exp((ph - PROTEASE_PH) / PROTEASE_WIDTH))
        softening = traits.softening_per_h * _arrhenius(temp_c, 55e3, 27.0) * proteases + traits.damage * burst

        made = yeast_co2 + souring
        to_dough = (now.wall_c - temp_c) / traits.inner_h
        warming = HEAT_J_PER_MMOL_CO2 * made / (traits.mass_g * HEAT_J_PER_G_K)
        waking_yeast, waking_bacteria = wake * now.yeast_asleep_g, 2.0 * wake * now.bacteria_asleep_g
        return (
            (air_c - now.wall_c) / traits.outer_h - to_dough / traits.wall_share,
            to_dough + warming,
            growth * now.yeast_g + waking_yeast,
            -waking_yeast,
            splitting * now.bacteria_g + waking_bacteria,
            -waking_bacteria,
            0.45 * maltose_eaten - ready_eaten - G_PER_MMOL_YEAST_CO2 * yeast_co2 + 0.12 * freed,
            freed - maltose_eaten,
            souring,
            -softening * now.strength,
            made - degassing,
            into_closed - (burst + closed_loss) * now.closed_mmol,
            into_open + burst * now.closed_mmol - now.open_mmol / traits.drain_h,
            -(burst + closed_loss) * now.air_closed_mmol,
            burst * now.air_closed_mmol - now.air_open_mmol / traits.drain_h,
            made,
            closed_loss * now.closed_mmol + now.open_mmol / traits.drain_h,
        )

    def _advance(self, step_s: float) -> None:
        """One midpoint step."""
        hours = step_s / 3600.0
        now = self.culture
        half = self._moved(now, self._slopes(now, self._air_c(self.now_s)), 0.5 * hours)
        self.culture = self._moved(now, self._slopes(half, self._air_c(self.now_s + 0.5 * step_s)), hours)

    @staticmethod
    def _moved(now: Culture, slopes: tuple[float, ...], hours: float) -> Culture:
        moved = Culture(*(getattr(now, name) + hours * slope for name, slope in zip(_FLOWING, slopes, strict=True)))
        moved.ready_g = max(moved.ready_g, 0.0)
        moved.maltose_g = max(moved.maltose_g, 0.0)
        return moved

    def _fold(self, share: float) -> None:
        """Press gas out, open cells first; folded walls are stronger as long as they are not rotten."""
        now = self.culture
        lost = share * now.closed_mmol + min(1.0, 2.0 * share) * now.open_mmol
        now.vented_mmol += lost
        now.closed_mmol *= 1.0 - share
        now.air_closed_mmol *= 1.0 - share
        now.open_mmol *= 1.0 - min(1.0, 2.0 * share)
        now.air_open_mmol *= 1.0 - min(1.0, 2.0 * share)
        now.strength = min(1.1, now.strength * (1.0 + self.traits.fold_gain))

    @property
    def ph(self) -> float:
        """pH now."""
        return ph_of(self.culture.acid_mmol, self.traits.buffering)

    @property
    def probe_c(self) -> float:
        """A probe stuck in near the wall reads a little of the wall. [C]"""
        return 0.9 * self.culture.dough_c + 0.1 * self.culture.wall_c

    @property
    def gas_mmol(self) -> float:
        """All gas in the cells. [mmol]"""
        now = self.culture
        return now.closed_mmol + now.open_mmol + now.air_closed_mmol + now.air_open_mmol

    @property
    def volume_ml(self) -> float:
        gas_ml = self.gas_mmol * self._ml_per_mmol(self.culture.dough_c)
        return self.traits.solid_ml + gas_ml * (1.0 - 0.25 * exp(-self.now_s / 3600.0 / SWELL_H))
