"""What a mixer adds to a dough's warmth, learned from the doughs it has mixed.

Friction is by how much mixing warms the dough itself. The trade's rule of thumb adds it once for each temperature in
its sum (:func:`monitor.recipe.formula.water_temp_c`), and leaves the masses out: it needs a friction of its own.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from statistics import median

from monitor.recipe.formula import friction_c

USUAL_C_PER_MIN = 2.0 * 5.0 / 9.0 / 3.0  # 2 F a minute in a sum of three: a handbook's example (seen)
USUAL_SD_C_PER_MIN = 0.17  # judgement: by hand half of it, a spiral's second speed twice
MIX_SD_C = 0.5  # judgement: probe, flour and water together
PLAIN_WATER_SHARE = 0.60
PLAIN_WITH_PREFERMENT = (0.32, 0.40)
"""Of the heat that warms a dough by a degree, what its water takes, and its water and preferment; computed for 1000 g
flour, 650 water, 20 salt, and for 700 flour, 600 liquid preferment, 400 water, 20 salt. For mixes without a recipe."""
BELIEF = 1.0  # the shipped figure counts as much as so many mixes of its own doubt


@dataclass(frozen=True, slots=True)
class Mix:
    """One dough as it was mixed, with what was measured. Temperatures in C.

    Attributes
    ----------
    minutes
        Of mixing. [min]
    preferment_c
        None when there was none.
    water_share, preferment_share
        Of the heat that warms the dough by a degree; None: as in a plain dough. [-]
    """

    mixer: str
    at: datetime
    minutes: float
    dough_c: float
    flour_c: float
    room_c: float
    water_c: float
    preferment_c: float | None = None
    water_share: float | None = None
    preferment_share: float | None = None

    @property
    def friction_c(self) -> float:
        """By how much mixing warmed the dough, by the heat of what went in. [C]"""
        water, preferment = (PLAIN_WATER_SHARE, 0.0) if self.preferment_c is None else PLAIN_WITH_PREFERMENT
        if self.water_share is not None:
            water, preferment = self.water_share, self.preferment_share or 0.0
        cold_c = self.flour_c if self.preferment_c is None else self.preferment_c
        mixed_c = water * self.water_c + preferment * cold_c + (1.0 - water - preferment) * self.flour_c
        return self.dough_c - mixed_c

    @property
    def friction_by_rule_c(self) -> float:
        """The same as the trade's rule of thumb finds it: above the mean of all temperatures. [C]"""
        n = 3 if self.preferment_c is None else 4
        in_sum = friction_c(
            dough_c=self.dough_c,
            flour_c=self.flour_c,
            room_c=self.room_c,
            water_c=self.water_c,
            preferment_c=self.preferment_c,
        )
        return in_sum / n


@dataclass(frozen=True, slots=True)
class Friction:
    """How much a mixer warms a dough each minute, its doubt (one standard deviation), and from how many mixes."""

    c_per_min: float
    sd_c_per_min: float
    n_mixes: int

    def of(self, minutes: float) -> tuple[float, float]:
        """Friction of so many minutes, and its doubt. [C, C]"""
        return self.c_per_min * minutes, sqrt((self.sd_c_per_min * minutes) ** 2 + MIX_SD_C**2)


def learned_friction(mixes: Iterable[Mix], *, by_rule: bool = False) -> Friction:
    """What the mixes of one mixer say about it, by heat or by the trade's rule; the handbook's figure without any.

    The middle mix is believed, not the mean: a probe read too early must not count. It is drawn towards the handbook's
    figure while the mixes are few and short.
    """
    known = [mix for mix in mixes if mix.minutes > 0.0]
    if not known:
        return Friction(USUAL_C_PER_MIN, USUAL_SD_C_PER_MIN, 0)
    middle = median((mix.friction_by_rule_c if by_rule else mix.friction_c) / mix.minutes for mix in known)
    mean_min = sum(mix.minutes for mix in known) / len(known)
    own_sd = MIX_SD_C / mean_min / sqrt(len(known))
    own, shipped = own_sd**-2.0, BELIEF * USUAL_SD_C_PER_MIN**-2.0
    return Friction((own * middle + shipped * USUAL_C_PER_MIN) / (own + shipped), (own + shipped) ** -0.5, len(known))
