"""A fifth simulated dough: no balance of matter, but rules of experience with chance in them.

Its structure differs from the others on purpose. Cells wake after random delays and bud by delayed renewal: each runs
through several stages before it divides, so that numbers climb in steps at first. Their activity wanders, slowly and
in a way that remembers itself (an Ornstein-Uhlenbeck walk); temperature scales it by a table of practice. Gas goes
into the water first; of what comes after, the share that is kept falls with the strain. Near the top walls burst one
by one at random, and a dough that has borne its strain for as long as fate allows gives way. Volumes count against
the start volume. All chance is drawn once from the traits' seed, on a grid of its own: it does not depend on the step.
"""

import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, expm1, log, sqrt

from firmware_sim.doughs.dough import STEP_S, Course, Dough, Folds

# Temperature [C] and pace against 24 C. Yeast: a tenth a degree near 27 C and the spans of time that bakers give for
# 20 to 30 C; best at 36 to 40 C; between 2 and 8 C slow, sources differ by ten times (common practice, no source).
YEAST_PACE = (
    (-5.0, 0.002), (2.0, 0.02), (5.0, 0.05), (8.0, 0.09), (12.0, 0.18), (16.0, 0.34), (20.0, 0.61), (24.0, 1.0),
    (28.0, 1.40), (32.0, 1.78), (36.0, 2.05), (40.0, 2.05), (44.0, 1.7), (48.0, 1.15), (54.0, 0.5), (60.0, 0.1),
)  # fmt: skip
# Sourdough yeast: generation times at 14 to 32 C (Gänzle, Ehmann, Hammes 1998, from memory), foot and end by hand.
CULTURE_PACE = (
    (-5.0, 0.002), (2.0, 0.02), (6.0, 0.06), (10.0, 0.13), (14.0, 0.25), (18.0, 0.45), (20.0, 0.61), (22.0, 0.80),
    (24.0, 1.0), (26.0, 1.13), (28.0, 1.15), (30.0, 1.02), (32.0, 0.75), (34.0, 0.45), (37.0, 0.2), (42.0, 0.02),
)  # fmt: skip
# Sugar on flour [%] and rate: 5 % glucose costs a fifth, 10 % sucrose seven tenths of ordinary yeast, 26 % nearly all
# (Appl. Environ. Microbiol., leavening of a control strain, seen as a table); of osmotolerant yeast less (judgement).
SUGAR_ON_PLAIN = ((0.0, 1.0), (4.0, 0.95), (7.0, 0.65), (10.0, 0.32), (16.0, 0.12), (26.0, 0.02))
SUGAR_ON_TOLERANT = ((0.0, 1.0), (5.0, 0.95), (10.0, 0.78), (20.0, 0.48), (35.0, 0.2))
STAGES = 4  # of a generation
WALK_EVERY_S = 600.0
WALK_H = 60.0
HEAT_LOSS_AT_C, HEAT_LOSS_Z_C = (
    54.0,
    6.0,
)  # cells lost e-fold in an hour, and tenfold faster for so much more (judgement)
SWELL_S = 70.0  # squeezed bubbles swell back (judgement; 20 s seen, Campbell et al. 1998)
SETTLE_H = 0.15  # CO2 between water and bubbles (judgement)
DEBT_PER_C = 0.022  # fall of what the water holds with each degree (computed from Henry's constant)


@dataclass(frozen=True, slots=True)
class StochasticTraits:
    """What one batch is like.

    Attributes
    ----------
    is_culture
        Raised by a sourdough's culture, not by bought yeast.
    seed
        Of all that happens to it by chance.
    mass_g
        Dough of 100 g flour.
    gas_per_h
        Gas of all its cells, awake, at 24 C, in start volumes an hour.
    generation_h
        Mean time between divisions at 24 C.
    most_cells
        Cells at which growth ends, against the start.
    coupled
        Share of the gas that comes with growth and ends with it.
    wake_h
        Mean delay before a cell works, at 24 C.
    awake_frac
        Share awake at the start.
    walk_sd, walk_h
        Spread of the logarithm of its activity, and how long that remembers itself.
    fuel
        Gas that the flour can pay for, in start volumes.
    debt, debt_paid
        What the water holds at 24 C, in start volumes of gas, and how much of it is there at the start. [-, share]
    air_frac
        Share of the start volume that is air.
    ceiling, ceiling_sharpness
        Rise at which half of the new gas is lost, and how suddenly.
    softening_per_h
        Share of the ceiling lost in an hour at 24 C.
    endurance_h
        Hours at 24 C and at the ceiling after which it gives way.
    burst_loss
        Share of the gas lost in one burst.
    skin_h, core_h
        Heat: two first orders, one after the other.
    start_c
        Temperature at the start.
    bulk_rise_pct, knocked_share, proof_c
        Of a shaped dough: how far it rose before, how much of its gas was pressed out, and its temperature then
        (None: as it was).
    """

    is_culture: bool
    seed: int
    mass_g: float
    gas_per_h: float
    generation_h: float
    most_cells: float
    coupled: float
    wake_h: float
    awake_frac: float
    walk_sd: float
    walk_h: float
    fuel: float
    debt: float
    debt_paid: float
    air_frac: float
    ceiling: float
    ceiling_sharpness: float
    softening_per_h: float
    endurance_h: float
    burst_loss: float
    skin_h: float
    core_h: float
    start_c: float
    bulk_rise_pct: float = 0.0
    knocked_share: float = 0.0
    proof_c: float | None = None
    density_g_per_ml: float = 1.25  # gas-free dough (from memory, 1.24 to 1.28)

    @property
    def solid_ml(self) -> float:
        """Volume without any gas, per 100 g flour. [mL]"""
        return self.mass_g / self.density_g_per_ml

    @property
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed, per 100 g flour. [mL]"""
        return self.solid_ml / (1.0 - self.air_frac)


def read_off(table: Sequence[tuple[float, float]], at: float) -> float:
    """A value between the rows of a table, its logarithm taken as straight; held at either end."""
    place = bisect_right(table, (at, float("inf")))
    if place == 0:
        return table[0][1]
    if place == len(table):
        return table[-1][1]
    (below, low), (above, high) = table[place - 1], table[place]
    return low * exp(log(high / low) * (at - below) / (above - below))


def pace_of(temp_c: float, is_culture: bool) -> float:
    """Pace against that at 24 C. [-]"""
    return read_off(CULTURE_PACE if is_culture else YEAST_PACE, temp_c)


class StochasticDough(Dough[StochasticTraits]):
    """A dough by rules of experience; see the module.

    Attributes
    ----------
    cells
        In each stage of their generation, against all cells at the start.
    asleep
        Share of the first cells that wait, before and in the last step of their waking.
    worked, dissolved, held
        Gas made, in the water, and in the bubbles, in start volumes.
    borne_h
        Strain borne, in hours at 24 C and at the ceiling.
    """

    def __init__(self, traits: StochasticTraits, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        super().__init__(traits, air_c, folds, step_s=step_s)
        self.skin_c = self.core_c = traits.start_c
        # Bought yeast begins its generation together, a culture is spread over it.
        self.cells = [1.0 / STAGES] * STAGES if traits.is_culture else [1.0] + [0.0] * (STAGES - 1)
        self.asleep = [1.0 - traits.awake_frac, 0.0]
        self.worked = self.held = 0.0
        self.dissolved = traits.debt * traits.debt_paid
        self.aged_h = self.borne_h = 0.0
        self.alive = 1.0
        self._lived_s = 0.0
        rng = random.Random(traits.seed)
        self.wander(rng)
        self._bursts = _bursts(rng)

    def wander(self, rng: random.Random) -> None:
        """Draw the course that its activity takes."""
        self._walk = _walked(rng, self.traits.walk_sd, self.traits.walk_h)

    def _activity(self) -> float:
        """Chance factor of the activity now. [-]"""
        place = self._lived_s / WALK_EVERY_S
        first = min(int(place), len(self._walk) - 2)
        part = min(1.0, place - first)
        return exp(self._walk[first] + (self._walk[first + 1] - self._walk[first]) * part)

    def _advance(self, step_s: float) -> None:
        hours = step_s / 3600.0
        traits = self.traits
        temp_c = 0.5 * (self.skin_c + self.core_c)
        self.skin_c += (self._air_c(self.now_s + 0.5 * step_s) - self.skin_c) * -expm1(-hours / traits.skin_h)
        self.core_c += (self.skin_c - self.core_c) * -expm1(-hours / traits.core_h)
        pace = pace_of(temp_c, traits.is_culture)
        if temp_c > 40.0:
            self.alive *= exp(-hours * 10.0 ** ((temp_c - HEAT_LOSS_AT_C) / HEAT_LOSS_Z_C))
        self._live(hours * pace, traits)
        self._gather(hours, pace, temp_c, traits)
        self._lived_s += step_s

    def _live(self, paced_h: float, traits: StochasticTraits) -> None:
        """Cells wake in two steps and run through the stages of a generation."""
        step = -expm1(-2.0 * paced_h / traits.wake_h)
        waiting, last = self.asleep
        self.asleep = [waiting * (1.0 - step), last + (waiting - last) * step]
        room = self._room()
        moved = -expm1(-paced_h * STAGES / traits.generation_h) * room * (1.0 - sum(self.asleep))
        stepping = [count * moved for count in self.cells]
        for stage, count in enumerate(stepping):
            self.cells[stage] -= count
            self.cells[(stage + 1) % STAGES] += 2.0 * count if stage == STAGES - 1 else count

    def _room(self) -> float:
        """How much of its growth is left: none once the cells are as many as the dough feeds. [-]"""
        most = self.traits.most_cells
        return max(0.0, 1.0 - ((sum(self.cells) - 1.0) / (most - 1.0)) ** 3) if most > 1.0 else 0.0

    def _gather(self, hours: float, pace: float, temp_c: float, traits: StochasticTraits) -> None:
        """Gas of a step: into the water, into the bubbles, through the walls."""
        coupled = 1.0 - traits.coupled * (1.0 - self._room())
        fed = max(0.0, 1.0 - (self.worked / traits.fuel) ** 4)
        working = sum(self.cells) * (1.0 - sum(self.asleep)) * self.alive
        made = hours * traits.gas_per_h * pace * self._activity() * working * coupled * fed
        self.worked += made
        # The water fills along with the bubbles: what it can hold falls with the share of air in them.
        full = traits.debt * (1.0 - DEBT_PER_C * (temp_c - 24.0)) * self.held / (self.held + traits.air_frac + 1e-9)
        self.dissolved += made
        freed = (self.dissolved - full) * -expm1(-hours / SETTLE_H)
        freed = max(freed, -self.held)
        self.dissolved -= freed
        ceiling = traits.ceiling * exp(-traits.softening_per_h * self.aged_h)
        strain = self.held / ceiling
        kept = 1.0 / (1.0 + strain**traits.ceiling_sharpness)
        self.held += freed * kept if freed > 0.0 else freed
        self.aged_h += hours * pace
        self.borne_h += hours * pace * min(4.0, strain**4)
        # Past its endurance it sinks towards a third of its gas; held by nothing, the bursts go on.
        past = self.borne_h / traits.endurance_h
        sinking = 0.9 * pace * past**3 / (1.0 + past**3) + 0.012
        self.held -= max(0.0, self.held - 0.3 * ceiling) * -expm1(-hours * sinking)
        until_s = self._lived_s + 3600.0 * hours
        while self._bursts and self._bursts[0][0] < until_s:
            _, mark = self._bursts.pop(0)
            if mark < min(1.0, strain**6):
                self.held *= 1.0 - traits.burst_loss * (0.5 + mark)

    def _fold(self, share: float) -> None:
        """Press gas out; the fold gives back some of what it bears."""
        self.held *= 1.0 - share
        self.dissolved *= 1.0 - 0.1 * share
        self.borne_h *= 1.0 - share

    def set_temperature(self, temp_c: float) -> None:
        """Bring it to a temperature at once, as a night in a refrigerator does. [C]"""
        self.skin_c = self.core_c = temp_c

    @property
    def probe_c(self) -> float:
        """A probe near the core. [C]"""
        return 0.2 * self.skin_c + 0.8 * self.core_c

    @property
    def volume_ml(self) -> float:
        """Volume now, its gas as warm as the dough; squeezed bubbles swell back in the first minutes. [mL]"""
        traits = self.traits
        swollen = (0.5 * (self.skin_c + self.core_c) + 273.15) / (traits.start_c + 273.15)
        gas = (self.held + traits.air_frac) * swollen * (1.0 - 0.3 * exp(-self.now_s / SWELL_S))
        return traits.solid_ml + traits.start_ml * gas


def _walked(rng: random.Random, sd: float, memory_h: float) -> list[float]:
    """A walk that remembers itself for so long, in the logarithm, a value every ten minutes."""
    kept = exp(-WALK_EVERY_S / 3600.0 / memory_h)
    walk = [sd * rng.gauss(0.0, 1.0)]
    for _ in range(int(WALK_H * 3600.0 / WALK_EVERY_S)):
        walk.append(kept * walk[-1] + sd * sqrt(1.0 - kept * kept) * rng.gauss(0.0, 1.0))
    return walk


def _bursts(rng: random.Random) -> list[tuple[float, float]]:
    """Moments [s] at which a wall could burst, about every five minutes, each with the strain's share it asks for."""
    found, at_s = [], 0.0
    while at_s < WALK_H * 3600.0:
        at_s += rng.expovariate(1.0 / 300.0)
        found.append((at_s, rng.random()))
    return found
