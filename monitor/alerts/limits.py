"""What air suits a dough, by stage, and how hard it may pull water out of the skin."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import exp
from types import MappingProxyType

from monitor.recipe.batch import Batch, Event, EventKind, Stage
from monitor.recipe.events import PROOFER, REFRIGERATOR
from monitor.recipe.formula import yeast_pct_instant_equivalent

# Any air drier than 96 % dries a dough as warm as itself, also the 80 % at 25.6 C that a published page recommends for
# a proof at home (524 Pa, computed), so an alert cannot begin at 0 Pa. It begins at about what air of 76 % does at 27 C
# (711 Pa, computed); a kitchen at 24 C and 50 % is far beyond it (1369 Pa). Both limits are judgement.
DRYING_STARTS_PA = 700.0
DRYING_ENDS_PA = 600.0
DAMP_PCT = 75.0  # what is recommended begins there (retarded proof, bakery compendium, seen): never too dry
SOURDOUGH_HIGH_C = 32.0  # repeated refreshment above 32 C loses the yeast; in rye dough it stops at 35 C: Brandt,
# Hammes, Gaenzle 2004, Eur Food Res Technol 218:333-338 (abstract seen), and a summary by Gaenzle (seen)
RYE_SOURDOUGH_HIGH_C = 36.0  # short one-stage rye sours are led at 35 C (German trade practice, from memory)
RYE = re.compile(r"\brye\b|roggen", re.IGNORECASE)
PROOFER_HIGH_C = 40.0  # judgement: where pan bread's proof cabinets begin, and short of what harms yeast
NODE_LAG_MIN = 60.0  # judgement: a node on a tub of some kilograms; the dough in it takes two hours
MOVE_STEP_C = 20.0  # judgement: between a kitchen and a refrigerator
COVERING = (EventKind.COVER, EventKind.UNCOVER)
HYSTERESIS_C = 2.0  # judgement: an alert ends this far inside its limit; a warm corner swings by as much


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
        Stage.PREFERMENT: AirLimits(16.0, 34.0, 10.0),
        Stage.FIRST_RISE: AirLimits(18.0, 35.0, 10.0),
        # Proof cabinets for pan bread run at 40-46 C (baking encyclopedia table, seen); above 49 C the yeast is at risk
        # (Siffring and Bruinsma 1993, Cereal Chem 70:351, seen).
        Stage.FINAL_PROOF: AirLimits(18.0, 46.0, 10.0),
        # Retarders run at 1.7-4.4 C (trade page, seen), proofs are held back down to -4 C (bakery compendium, seen),
        # and a dough ferments on from 10 C up (culinary reference, seen): 7 C is between, judgement. A door opened for
        # a tray is no fault: hold 20 min, judgement.
        Stage.RETARD: AirLimits(-4.0, 7.0, 20.0),
    }
)


def place_of(batch: Batch, now: datetime) -> str | None:
    """Where a batch stands, as the note of its last move says; None when nobody has said."""
    moves = [event.note.strip().casefold() for event in batch.events if _is_move(event, now)]
    return moves[-1] if moves else None


def placed_at(batch: Batch, now: datetime) -> datetime:
    """Since when a batch stands where it does: its last move, or its start."""
    return max((event.at for event in batch.events if _is_move(event, now)), default=batch.started_at)


def is_covered(batch: Batch, now: datetime) -> bool:
    """True when the baker has said that it is covered, and not since that it is bare again."""
    said = [event.kind for event in batch.events if event.kind in COVERING and event.at <= now]
    return bool(said) and said[-1] is EventKind.COVER


def is_in_the_cold(batch: Batch, now: datetime) -> bool:
    """True for a retard, and for a dough whose last move was into the refrigerator."""
    return batch.stage is Stage.RETARD or place_of(batch, now) == REFRIGERATOR


def _is_move(event: Event, now: datetime) -> bool:
    return event.kind is EventKind.MOVE and event.at <= now


def _is_of_rye(batch: Batch) -> bool:
    """True when its name or its recipe's says so: the formula does not know one flour from another."""
    return RYE.search(f"{batch.recipe} {batch.name}") is not None


def air_limits(batch: Batch, now: datetime, limits: Mapping[Stage, AirLimits] = AIR_LIMITS) -> AirLimits:
    """The limits for a batch: by its stage, by where it stands, and cooler for a dough that rises on sourdough alone.

    A dough that was moved into the refrigerator is judged as a retard until it is moved out again.
    """
    if is_in_the_cold(batch, now):
        return limits[Stage.RETARD]
    found = limits[batch.stage]
    formula = batch.formula
    is_sour = formula is not None and formula.sourdough_g > 0 and yeast_pct_instant_equivalent(formula) == 0
    high_c = max(found.high_c, PROOFER_HIGH_C) if place_of(batch, now) == PROOFER else found.high_c
    if is_sour:
        high_c = RYE_SOURDOUGH_HIGH_C if _is_of_rye(batch) else min(high_c, SOURDOUGH_HIGH_C)
    return AirLimits(found.low_c, high_c, found.hold_min)


def lagging_limits(batch: Batch, now: datetime, limits: Mapping[Stage, AirLimits] = AIR_LIMITS) -> AirLimits:
    """The same as a node beside the tub can be held to: it takes on new air as late as what stands beside it.

    Into the cold it is still warm, and out of it still cold, by what is left of the step between kitchen and
    refrigerator.
    """
    found = air_limits(batch, now, limits)
    is_cold = is_in_the_cold(batch, now)
    if place_of(batch, now) is None and not is_cold:
        return found
    since_min = (now - placed_at(batch, now)) / timedelta(minutes=1)
    lag_c = MOVE_STEP_C * exp(-max(since_min, 0.0) / NODE_LAG_MIN)
    if is_cold:
        return AirLimits(found.low_c, found.high_c + lag_c, found.hold_min)
    return AirLimits(found.low_c - lag_c, found.high_c, found.hold_min)
