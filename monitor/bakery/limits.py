"""What air suits a dough: limits by stage, and how hard the air pulls water out of its skin."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp
from types import MappingProxyType

from monitor.recipe.batch import Batch, Stage

SKIN_WATER_ACTIVITY = 0.96  # water activity of a dough's surface, 0.95-0.97: from memory
DRYING_STARTS_PA = 700.0  # judgement: see drying_pull_pa
DRYING_ENDS_PA = 600.0  # judgement: still above the published proof at 25.6 C and 80 %
SOURDOUGH_HIGH_C = 32.0  # repeated refreshment above 32 C loses the yeast; in rye dough it stops at 35 C: Brandt,
# Hammes, Gaenzle 2004, Eur Food Res Technol 218:333-338 (abstract seen), and a summary by Gaenzle (seen)
HYSTERESIS_C = 1.0  # judgement: an alert ends this far inside its limit


@dataclass(frozen=True, slots=True)
class AirLimits:
    """Air temperatures that a stage bears, and how long it bears others. [C, min]"""

    low_c: float
    high_c: float
    hold_min: float


AIR_LIMITS: Mapping[Stage, AirLimits] = MappingProxyType(
    {
        # Practical fermentation is 23-30 C ("The science of fermentation", Bake magazine 2015, a trade article, seen).
        # A warm or a cool kitchen is no fault, so the alert stands off by some degrees: judgement. At 18 C a dough
        # gases about half as fast as at 27 C (computed from this program's cardinal temperatures).
        Stage.PREFERMENT: AirLimits(16.0, 32.0, 10.0),
        Stage.BULK_RISE: AirLimits(18.0, 33.0, 10.0),
        # Proof cabinets for pan bread run at 40-46 C (baking encyclopedia table, seen); above 49 C the yeast is at risk
        # (Siffring and Bruinsma 1993, Cereal Chem 70:351, seen).
        Stage.FINAL_PROOF: AirLimits(18.0, 46.0, 10.0),
        # Retarders run at 1.7-4.4 C (trade page, seen), proofs are held back down to -4 C (bakery compendium, seen),
        # and a dough ferments on from 10 C up (culinary reference, seen): 7 C is between, judgement. A door opened for
        # a tray is no fault: hold 20 min, judgement.
        Stage.RETARD: AirLimits(-4.0, 7.0, 20.0),
    }
)


def air_limits(batch: Batch, limits: Mapping[Stage, AirLimits] = AIR_LIMITS) -> AirLimits:
    """The limits for a batch: those of its stage, cooler for a dough that rises on sourdough alone."""
    found = limits[batch.stage]
    formula = batch.formula
    is_sour = (
        formula is not None
        and formula.sourdough_g > 0
        and formula.instant_yeast_g + formula.active_dry_yeast_g + formula.fresh_yeast_g == 0
    )
    return AirLimits(found.low_c, min(found.high_c, SOURDOUGH_HIGH_C), found.hold_min) if is_sour else found


def _saturation_pressure_pa(temp_c: float) -> float:
    """Magnus formula with the constants of Sonntag 1990."""
    return 611.2 * exp(17.62 * temp_c / (243.12 + temp_c))


def drying_pull_pa(air_temp_c: float, humidity_pct: float, surface_temp_c: float) -> float:
    """How hard the air pulls water out of an uncovered dough. [Pa]

    Vapour pressure over the dough's skin less that in the air: above 0 the skin dries, below 0 water gathers on it.
    Any air drier than 96 % dries a dough as warm as itself, also the 80 % at 25.6 C that a published page recommends
    for a proof at home (524 Pa, computed), so an alert cannot begin at 0: it begins at 700 Pa, about what air of 76 %
    does at 27 C, and a kitchen at 24 C and 50 % is far beyond it (1370 Pa). The 700 is judgement.

    Examples
    --------
    >>> round(drying_pull_pa(25.6, 80.0, 25.6)), round(drying_pull_pa(38.0, 80.0, 27.0))
    (524, -1878)
    """
    return SKIN_WATER_ACTIVITY * _saturation_pressure_pa(surface_temp_c) - humidity_pct / 100.0 * (
        _saturation_pressure_pa(air_temp_c)
    )
