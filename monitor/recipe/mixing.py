"""What a mixer adds to a dough's warmth, learned from the doughs it has mixed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from statistics import median

from monitor.recipe.formula import friction_c

USUAL_C_PER_MIN = 2.0 * 5.0 / 9.0  # 2 F a minute of mixing: a handbook's example (seen)
USUAL_SD_C_PER_MIN = 0.5  # judgement: by hand half of it, a strong mixer twice
MIX_SD_C = 1.5  # judgement: probe, flour and room together, in the sum that friction is
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
    """

    mixer: str
    at: datetime
    minutes: float
    dough_c: float
    flour_c: float
    room_c: float
    water_c: float
    preferment_c: float | None = None

    @property
    def friction_c(self) -> float:
        """What mixing added to the sum. [C]"""
        return friction_c(
            dough_c=self.dough_c,
            flour_c=self.flour_c,
            room_c=self.room_c,
            water_c=self.water_c,
            preferment_c=self.preferment_c,
        )


@dataclass(frozen=True, slots=True)
class Friction:
    """What a mixer adds to the sum for each minute, its doubt (one standard deviation), and from how many mixes."""

    c_per_min: float
    sd_c_per_min: float
    n_mixes: int

    def of(self, minutes: float) -> tuple[float, float]:
        """Friction of so many minutes, and its doubt. [C, C]"""
        return self.c_per_min * minutes, sqrt((self.sd_c_per_min * minutes) ** 2 + MIX_SD_C**2)


def learned_friction(mixes: Iterable[Mix]) -> Friction:
    """What the mixes of one mixer say about it; the handbook's figure without any.

    The middle mix is believed, not the mean: a probe read too early must not count. It is drawn towards the handbook's
    figure while the mixes are few and short.
    """
    known = [mix for mix in mixes if mix.minutes > 0.0]
    if not known:
        return Friction(USUAL_C_PER_MIN, USUAL_SD_C_PER_MIN, 0)
    middle = median(mix.friction_c / mix.minutes for mix in known)
    mean_min = sum(mix.minutes for mix in known) / len(known)
    own_sd = MIX_SD_C / mean_min / sqrt(len(known))
    own, shipped = own_sd**-2.0, BELIEF * USUAL_SD_C_PER_MIN**-2.0
    return Friction((own * middle + shipped * USUAL_C_PER_MIN) / (own + shipped), (own + shipped) ** -0.5, len(known))
