"""A second simulated dough: a population of gas bubbles in a setting of gluten, fed by yeast that changes its sugar.

Its structure differs from ``digital_dough`` on purpose. Bubbles of many sizes grow by diffusion out of the dough's
water (Henry's law, surface tension, resistance of the dough), so small ones shrink while large ones grow; they merge,
burst through the top, and in the end join into a sponge that lets gas through. The yeast wakes from dormancy, eats the
ready sugars first and must learn maltose when they run out: the gassing dips between the two. Temperature scales its
rate after Sharpe and DeMichele (as written by Schoolfield, Sharpe and Magnuson 1981, from memory). Heat is conducted
through four layers. All amounts are per 100 g flour.
"""

from dataclasses import dataclass
from math import exp, expm1, log, pi

from firmware_sim.doughs.dough import STEP_S, Course, Dough, Folds

GAS_CONSTANT = 8.314462618  # J/mol/K, CODATA 2018 (exact)
PRESSURE_PA = 101325.0  # standard atmosphere
CO2_HENRY = (3.3e-4, 2400.0)  # mol/m3/Pa at 298.15 K and its slope in K, Sander 2023 (seen)
AIR_HENRY = (6.5e-6, 1300.0)  # the same for nitrogen (from memory, 6.1e-6 to 6.6e-6); stands for air
CO2_MMOL_PER_G = 11.10  # from 1 g hexose (computed)
HEAT_J_PER_MMOL_CO2 = 35.0  # 70 kJ a mol of glucose, two CO2 each (from memory)
HEAT_J_PER_G_K = 2.8  # dough (from memory, 2.7 to 3.1)
Q30_MMOL_PER_G_H = 10.0  # CO2 per g dry yeast at 30 C in lean salted dough (from memory, 6 to 15)
COLD_STOP = (200e3, 281.0)  # J/mol and K at which half of the yeast's enzymes are stopped by cold (judgement)
HEAT_STOP = (230e3, 314.5)  # the same for heat: an optimum near 37 C, no sudden end above it (judgement)
HALF_SUGAR_G = 0.12  # of either sugar, for half of the full rate (judgement)
REPRESSION_G = 0.25  # ready sugar that holds the learning of maltose at half (judgement)
FEEDS_G = 0.30  # so much more yeast 100 g flour can feed (fits cell counts at 27 C, seen on a secondary page)
SALT_HINDRANCE = 0.10  # rate ~ 1 / (1 + this x % salt) (judgement)
FREE_ATM = 30.0  # osmotic pressure without effect (judgement)
TENSION_N_PER_M = 0.04  # surface tension of dough liquor (from memory)
SWELL_H = 30.0 / 3600.0  # squeezed bubbles swell back; 20 s seen (Campbell et al. 1998), slower in stiff dough
RELAX_H = 0.25  # stress in the dough relaxes (judgement, 5 to 30 min)
HARDENING = 2.0  # exponent of strain hardening of gluten (from memory, 1.5 to 2.5)
SMALLEST_UM = 4.0  # a bubble below this dissolves at once (judgement)
CLASSES = 9
LAYERS = 4
FEWEST = 3000.0  # bubbles left in 100 g flour's dough, however much they merge (judgement)
SURFACE_LOSS_PER_H = 0.012  # share of the dissolved CO2 lost through the skin (judgement)
OPEN_LOSS_PER_H = 1.5  # the same through the pores of a wholly open crumb (judgement)


@dataclass(frozen=True, slots=True)
class BubbleTraits:
    """What one batch is like. Amounts per 100 g flour.

    Attributes
    ----------
    yeast_g
        Yeast solids. [g]
    water_g, salt_g, sugar_g, other_g
        Baker's percentages; ``other_g`` is fat, egg and milk solids.
    vigour
        Gassing power against the textbook rate. [-]
    dormant_frac, wake_h
        Share of the yeast asleep at the start, and its time constant of waking at 27 C.
    activation_j_per_mol
        How steeply the rate climbs with temperature.
    growth_per_h
        Budding once awake, at 27 C.
    ready_g, maltose_g, amylase_g_per_h
        Glucose, fructose and sucrose of the flour; maltose at the start; maltose set free at 30 C.
    learned_frac, learn_h
        How far the yeast can use maltose at the start, and the time constant of learning it at 27 C.
    osmotic_scale_atm, osmotic_relief_frac
        How fast osmotic pressure slows the yeast; how much of that it overcomes in hours.
    air_frac, co2_frac, saturation_frac
        Share of the start volume that is air, and CO2; how full of CO2 the water is.
    radius_um, radius_spread
        Median bubble at the start, and the sd of its logarithm.
    diffusion_m2_s
        Of CO2 through dough to a bubble, hindered by starch and films.
    stiffness_pa
        Pressure that stretched dough puts on its bubbles.
    fail_strain, fail_width, weakening_per_h
        ln(V/V0) at which walls fail about once an hour, the softness of that, and its fall per hour at 27 C.
    merge_frac, opening, drain_per_h
        Share of failures that merge two bubbles; how much each opens the crumb; outflow of an open crumb.
    lump_h, biot
        Heat capacity over surface conductance; resistance inside against outside.
    depth_mm
        Depth of the dough at the start.
    start_c
        Temperature at the start.
    """

    yeast_g: float
    water_g: float
    salt_g: float
    sugar_g: float
    other_g: float
    vigour: float
    dormant_frac: float
    wake_h: float
    activation_j_per_mol: float
    growth_per_h: float
    ready_g: float
    maltose_g: float
    amylase_g_per_h: float
    learned_frac: float
    learn_h: float
    osmotic_scale_atm: float
    osmotic_relief_frac: float
    air_frac: float
    co2_frac: float
    saturation_frac: float
    radius_um: float
    radius_spread: float
    diffusion_m2_s: float
    stiffness_pa: float
    fail_strain: float
    fail_width: float
    weakening_per_h: float
    merge_frac: float
    opening: float
    drain_per_h: float
    lump_h: float
    biot: float
    depth_mm: float
    start_c: float
    density_g_per_ml: float = 1.25  # gas-free dough (from memory, 1.24 to 1.28)

    @property
    def mass_g(self) -> float:
        """Dough. [g]"""
        return 100.0 + self.water_g + self.salt_g + self.sugar_g + self.other_g + self.yeast_g

    @property
    def solid_ml(self) -> float:
        """Volume without any gas. [mL]"""
        return self.mass_g / self.density_g_per_ml

    @property
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed. [mL]"""
        return self.solid_ml / (1.0 - self.air_frac - self.co2_frac)

    @property
    def excess_atm(self) -> float:
        """Osmotic pressure above what yeast does not mind, van 't Hoff with sucrose inverted. [atm]"""
        osmol_per_l = (1.86 * self.salt_g / 58.44 + 2.0 * self.sugar_g / 342.3) / (self.water_g * 1e-3)
        return max(0.0, 24.6 * osmol_per_l - FREE_ATM)


def _schoolfield(temp_c: float, activation_j_per_mol: float) -> float:
    kelvin = temp_c + 273.15
    climb = exp(activation_j_per_mol / GAS_CONSTANT * (1.0 / 303.15 - 1.0 / kelvin))
    cold = exp(COLD_STOP[0] / GAS_CONSTANT * (1.0 / kelvin - 1.0 / COLD_STOP[1]))
    heat = exp(HEAT_STOP[0] / GAS_CONSTANT * (1.0 / HEAT_STOP[1] - 1.0 / kelvin))
    return climb / (1.0 + cold + heat)


def yeast_pace(temp_c: float, activation_j_per_mol: float) -> float:
    """Rate of baker's yeast at a temperature against that at 30 C. [-]"""
    return _schoolfield(temp_c, activation_j_per_mol) / _schoolfield(30.0, activation_j_per_mol)


def _arrhenius(temp_c: float, activation_j_per_mol: float, reference_c: float) -> float:
    return exp(activation_j_per_mol / GAS_CONSTANT * (1.0 / (reference_c + 273.15) - 1.0 / (temp_c + 273.15)))


def _mmol_per_ml_pa(henry: tuple[float, float], temp_c: float) -> float:
    at_298, slope_k = henry
    return 1e-3 * at_298 * exp(slope_k * (1.0 / (temp_c + 273.15) - 1.0 / 298.15))


def _vapour_pa(temp_c: float) -> float:
    """Water vapour over dough: 0.96 of saturation (Magnus, Sonntag 1990, seen). [Pa]"""
    return 0.96 * 611.2 * exp(17.62 * temp_c / (243.12 + temp_c))


class BubbleDough(Dough[BubbleTraits]):
    """A dough as a population of bubbles; see the module.

    Attributes
    ----------
    co2_mmol, air_mmol
        Gas in each class of bubbles, small to large.
    produced_mmol, vented_mmol
        All CO2 made so far, and all that left the dough.
    """

    def __init__(self, traits: BubbleTraits, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        super().__init__(traits, air_c, folds, step_s=step_s)
        self.layers_c = [traits.start_c] * LAYERS
        self.ready_g = traits.ready_g + traits.sugar_g
        self.maltose_g = traits.maltose_g
        self.learned = traits.learned_frac
        self.asleep = traits.dormant_frac
        self.yeast_ratio = 1.0
        self.aged_h = 0.0
        self.open_frac = 0.0
        self.stress = 0.0  # elastic strain not yet relaxed
        self.produced_mmol = 0.0
        self.vented_mmol = 0.0
        self._seed_bubbles()
        self._reference_ml = traits.start_ml
        per_ml = _mmol_per_ml_pa(CO2_HENRY, traits.start_c) * self._outside_pa(traits.start_c)
        self.dissolved_mmol = traits.saturation_frac * per_ml * traits.water_g
        air_per_ml = _mmol_per_ml_pa(AIR_HENRY, traits.start_c) * self._outside_pa(traits.start_c)
        self._dissolved_air_mmol = 0.9 * air_per_ml * traits.water_g
        self.first_mmol = self.dissolved_mmol + sum(self.co2_mmol)
        self._last_ml = self.volume_ml

    def _seed_bubbles(self) -> None:
        """Classes of a lognormal population, evenly spaced in ln radius, squeezed as mixing leaves them."""
        traits = self.traits
        steps = [-2.0 + 4.0 * k / (CLASSES - 1) for k in range(CLASSES)]
        self._radius_um = [traits.radius_um * exp(traits.radius_spread * step) for step in steps]
        weights = [exp(-0.5 * step * step) * r**3 for step, r in zip(steps, self._radius_um, strict=True)]
        gas_ml = traits.start_ml * (traits.air_frac + traits.co2_frac)
        volumes = [gas_ml * weight / sum(weights) for weight in weights]
        self.count = [ml * 1e12 / (4.0 / 3.0 * pi * r**3) for ml, r in zip(volumes, self._radius_um, strict=True)]
        kelvin = traits.start_c + 273.15
        self._pressure_pa = [self._outside_pa(traits.start_c) + 2e6 * TENSION_N_PER_M / r for r in self._radius_um]
        moles = [p * ml / (1000.0 * GAS_CONSTANT * kelvin) for p, ml in zip(self._pressure_pa, volumes, strict=True)]
        air_share = traits.air_frac / (traits.air_frac + traits.co2_frac)
        self.air_mmol = [n * air_share for n in moles]
        self.co2_mmol = [n * (1.0 - air_share) for n in moles]
        self.class_ml = [0.7 * ml for ml in volumes]

    def _outside_pa(self, temp_c: float) -> float:
        return PRESSURE_PA - _vapour_pa(temp_c)

    # -- one step ------------------------------------------------------------------------------------------------

    def _advance(self, step_s: float) -> None:
        hours = step_s / 3600.0
        made_mmol = self._ferment(hours)
        self._conduct(hours, self._air_c(self.now_s + 0.5 * step_s), made_mmol)
        temp_c = self.mean_c
        lost = self.dissolved_mmol * -expm1(-hours * (SURFACE_LOSS_PER_H + OPEN_LOSS_PER_H * self.open_frac))
        self.vented_mmol += lost
        self.dissolved_mmol = self._exchange(
            self.co2_mmol, self.air_mmol, self.dissolved_mmol + made_mmol - lost, CO2_HENRY, temp_c, hours
        )
        self._dissolved_air_mmol = self._exchange(
            self.air_mmol, self.co2_mmol, self._dissolved_air_mmol, AIR_HENRY, temp_c, hours
        )
        self._swell(temp_c, hours)
        self._fail(hours)

    def _ferment(self, hours: float) -> float:
        """CO2 made in a step [mmol]; sugars, sleep and learning move on."""
        traits = self.traits
        paces = [yeast_pace(layer_c, traits.activation_j_per_mol) for layer_c in self.layers_c]
        pace = sum(paces) / LAYERS
        pace_27 = pace / yeast_pace(27.0, traits.activation_j_per_mol)
        self.aged_h += hours * _arrhenius(self.mean_c, 45e3, 27.0)  # proteolysis and relaxation (judgement)
        relief = 1.0 - traits.osmotic_relief_frac * -expm1(-self.aged_h / 1.5)
        osmotic = exp(-traits.excess_atm * relief / traits.osmotic_scale_atm)
        salt = (1.0 + 2.0 * SALT_HINDRANCE) / (1.0 + SALT_HINDRANCE * traits.salt_g)
        full = traits.yeast_g * self.yeast_ratio * (1.0 - self.asleep)
        full *= traits.vigour * Q30_MMOL_PER_G_H * pace * salt * osmotic
        on_ready = self.ready_g / (HALF_SUGAR_G + self.ready_g)
        on_maltose = (1.0 - on_ready) * self.learned * self.maltose_g / (HALF_SUGAR_G + self.maltose_g)
        ready_used = min(self.ready_g, full * on_ready / CO2_MMOL_PER_G * hours)
        maltose_used = min(self.maltose_g, full * on_maltose / CO2_MMOL_PER_G * hours)
        self.ready_g -= ready_used
        self.maltose_g += traits.amylase_g_per_h * _arrhenius(self.mean_c, 50e3, 30.0) * hours - maltose_used
        wanted = 1.0 / (1.0 + self.ready_g / REPRESSION_G)
        self.learned += (max(wanted, traits.learned_frac) - self.learned) * -expm1(-pace_27 * hours / traits.learn_h)
        self.asleep *= exp(-pace_27 * hours / traits.wake_h)
        room = max(0.0, 1.0 - self.yeast_ratio * traits.yeast_g / (FEEDS_G + traits.yeast_g))
        budding = (
            traits.growth_per_h
            * pace_27
            * osmotic
            * room
            * (on_ready + on_maltose)
            / (1.0 + exp((1.5 - self.aged_h) / 0.3))
        )  # the first buds come after an hour and a half (cell counts at 27 C, seen on a secondary page)
        self.yeast_ratio *= exp(budding * hours)
        made_mmol = (ready_used + maltose_used) * CO2_MMOL_PER_G
        self.produced_mmol += made_mmol
        return made_mmol

    def _conduct(self, hours: float, air_c: float, made_mmol: float) -> None:
        """Four layers from base to top; the base stands on a board and gives less than the open top."""
        traits = self.traits
        outer = 2.0 / (traits.lump_h * (1.0 + traits.biot / 4.0))
        inner = 4.0 / (traits.lump_h * traits.biot)
        warmed = HEAT_J_PER_MMOL_CO2 * made_mmol / (traits.mass_g * HEAT_J_PER_G_K)
        old = self.layers_c
        new = []
        for k, here_c in enumerate(old):
            flow = 0.0
            if k == 0:
                flow += 0.8 * outer * (air_c - here_c)
            else:
                flow += inner * (old[k - 1] - here_c)
            if k == LAYERS - 1:
                flow += 1.2 * outer * (air_c - here_c)
            else:
                flow += inner * (old[k + 1] - here_c)
            new.append(here_c + flow * hours + warmed)
        self.layers_c = new

    def _exchange(
        self,
        gas: list[float],
        other: list[float],
        dissolved: float,
        henry: tuple[float, float],
        temp_c: float,
        hours: float,
    ) -> float:
        """Move one gas between water and every class of bubbles, implicitly; returns what stays dissolved. [mmol]"""
        water_ml = self.traits.water_g
        solubility = _mmol_per_ml_pa(henry, temp_c)
        spread = 4.0 * pi * self.traits.diffusion_m2_s * 1e-6 * 3600.0 * 1e6  # x um x count = mL water per hour
        gains, holds = [], []
        sum_gain = sum_pull = 0.0
        for k in range(CLASSES):
            total = gas[k] + other[k]
            if total <= 0.0:
                gains.append(0.0)
                holds.append(0.0)
                continue
            full = solubility * self._pressure_pa[k]
            share = gas[k] / total
            flow = spread * self.count[k] * self._radius_um[k]
            gain = hours * flow / (1.0 + hours * flow * full * (1.0 - share) / total)
            gains.append(gain)
            holds.append(full * share)
            sum_gain += gain
            sum_pull += gain * full * share
        level = (dissolved + sum_pull) / (water_ml + sum_gain)
        for k in range(CLASSES):
            moved = max(-gas[k], gains[k] * (level - holds[k]))
            gas[k] += moved
            dissolved -= moved
        return dissolved

    def _swell(self, temp_c: float, hours: float) -> None:
        """Bubbles take the size their gas asks for, against surface tension and the stretched dough."""
        per_mmol = 1000.0 * GAS_CONSTANT * (temp_c + 273.15)
        before_ml = self._last_ml
        self._last_ml = self.volume_ml
        self.stress = max(-0.5, self.stress + log(self._last_ml / before_ml)) * exp(-hours / RELAX_H)
        resist_pa = self.traits.stiffness_pa * self.stress * exp(HARDENING * self.stress)
        outside_pa = self._outside_pa(temp_c) + resist_pa
        eased = -expm1(-hours / SWELL_H)
        for k in range(CLASSES):
            gas = self.co2_mmol[k] + self.air_mmol[k]
            pressure = outside_pa + 2e6 * TENSION_N_PER_M / self._radius_um[k]
            self.class_ml[k] += (gas * per_mmol / pressure - self.class_ml[k]) * eased
            self._pressure_pa[k] = pressure
            radius_um = (max(self.class_ml[k], 1e-12) * 1e12 / (4.0 / 3.0 * pi * self.count[k])) ** (1.0 / 3.0)
            if radius_um < SMALLEST_UM:
                self.dissolved_mmol += self.co2_mmol[k]
                self._dissolved_air_mmol += self.air_mmol[k]
                self.co2_mmol[k] = self.air_mmol[k] = self.class_ml[k] = 0.0
            self._radius_um[k] = max(radius_um, SMALLEST_UM)

    def _fail(self, hours: float) -> None:
        """Walls fail: bubbles merge, those near the top burst, and the crumb opens bit by bit."""
        traits = self.traits
        gas_ml = sum(self.class_ml)
        volume_ml = traits.solid_ml + gas_ml
        strain = log(volume_ml / self._reference_ml)
        limit = traits.fail_strain - traits.weakening_per_h * self.aged_h
        mean_um = sum(ml * r for ml, r in zip(self.class_ml, self._radius_um, strict=True)) / max(gas_ml, 1e-9)
        depth_um = 1000.0 * traits.depth_mm * volume_ml / traits.start_ml
        void = gas_ml / volume_ml
        mean_failing = 0.0
        for k in range(CLASSES):
            size = self._radius_um[k]
            index = (strain - limit + 0.10 * log(size / mean_um)) / traits.fail_width
            failing = exp(min(index, 3.5))
            mean_failing += failing * self.class_ml[k] / max(gas_ml, 1e-9)
            near_top = min(1.0, 6.0 * size / depth_um)
            lost_frac = -expm1(-hours * (failing * near_top + self.open_frac * traits.drain_per_h))
            self._lose(k, lost_frac)
            merged = max(FEWEST / CLASSES, self.count[k] * exp(-hours * traits.merge_frac * void * failing))
            self.count[k] = min(self.count[k], merged)
        opened = traits.opening * mean_failing * void**4
        self.open_frac += (1.0 - self.open_frac) * -expm1(-hours * opened)

    def _lose(self, k: int, share: float) -> None:
        self.vented_mmol += self.co2_mmol[k] * share
        self.co2_mmol[k] *= 1.0 - share
        self.air_mmol[k] *= 1.0 - share
        self.class_ml[k] *= 1.0 - share
        self.count[k] = max(self.count[k] * (1.0 - share), FEWEST / CLASSES)

    def _fold(self, share: float) -> None:
        """Press gas out of the largest bubbles first, divide what is left, and let the stretched walls start anew."""
        wanted_ml = share * sum(self.class_ml)
        for k in sorted(range(CLASSES), key=lambda k: -self._radius_um[k]):
            taken_ml = min(wanted_ml, 0.7 * self.class_ml[k])
            if taken_ml > 0.0:
                self._lose(k, taken_ml / self.class_ml[k])
                wanted_ml -= taken_ml
            self.count[k] *= 1.0 + share
        volume_ml = self.traits.solid_ml + sum(self.class_ml)
        # Gluten folded over itself is stretched less: a third of its strain is gone (judgement).
        self._reference_ml *= exp(max(0.0, log(volume_ml / self._reference_ml)) / 3.0)
        self.open_frac *= 1.0 - share
        self._last_ml = volume_ml

    # -- what can be seen ----------------------------------------------------------------------------------------

    @property
    def mean_c(self) -> float:
        """Mean temperature. [C]"""
        return sum(self.layers_c) / LAYERS

    @property
    def probe_c(self) -> float:
        """A probe stuck in from the top reads mostly the upper middle. [C]"""
        return 0.2 * self.layers_c[1] + 0.6 * self.layers_c[2] + 0.2 * self.layers_c[3]

    @property
    def volume_ml(self) -> float:
        return self.traits.solid_ml + sum(self.class_ml)
