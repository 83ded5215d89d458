"""What air suits a dough, by stage, and how hard it may pull water out of the skin."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.recipe.method import REFRIGERATOR

# Any air drier than 96 % dries a dough as warm as itself, also the 80 % at 25.6 C that a published page recommends for
# a proof at home (524 Pa, computed), so an alert cannot begin at 0 Pa. It begins at about what air of 76 % does at 27 C
# (711 Pa, computed); a kitchen at 24 C and 50 % is far beyond it (1369 Pa). Both limits are judgement.
DRYING_STARTS_PA = 700.0
DRYING_ENDS_PA = 600.0
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
        Stage.FIRST_RISE: AirLimits(18.0, 33.0, 10.0),
        # Proof cabinets for pan bread run at 40-46 C (baking encyclopedia table, seen); above 49 C the yeast is at risk
        # (Siffring and Bruinsma 1993, Cereal Chem 70:351, seen).
        Stage.FINAL_PROOF: AirLimits(18.0, 46.0, 10.0),
        # Retarders run at 1.7-4.4 C (trade page, seen), proofs are held back down to -4 C (bakery compendium, seen),
        # and a dough ferments on from 10 C up (culinary reference, seen): 7 C is between, judgement. A door opened for
        # a tray is no fault: hold 20 min, judgement.
        Stage.RETARD: AirLimits(-4.0, 7.0, 20.0),
    }
)


def is_in_the_cold(batch: Batch) -> bool:
    """True when the last move of a batch was into the refrigerator, as its note says."""
    moves = [event.note.strip().casefold() for event in batch.events if event.kind is EventKind.MOVE]
    return bool(moves) and moves[-1] == REFRIGERATOR


def air_limits(batch: Batch, limits: Mapping[Stage, AirLimits] = AIR_LIMITS) -> AirLimits:
    """The limits for a batch: those of its stage, cooler for a dough that rises on sourdough alone.

    A dough that was moved into the refrigerator is judged as a retard until it is moved out again.
    """
    found = limits[Stage.RETARD if is_in_the_cold(batch) else batch.stage]
    formula = batch.formula
    is_sour = (
        formula is not None
        and formula.sourdough_g > 0
        and formula.instant_yeast_g + formula.active_dry_yeast_g + formula.fresh_yeast_g == 0
    )
    return AirLimits(found.low_c, min(found.high_c, SOURDOUGH_HIGH_C), found.hold_min) if is_sour else found
