"""What a baker meant a batch to be, and what came out of it: the plan beside which it is looked back at."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from monitor.recipe.formula import Formula

USUAL_DOUGH_TEMP_C = 25.0  # common practice, no source: dough leaves the mixer at 24 to 26 C
UNMEASURED_ROOM_C = 24.0  # judgement: a kitchen, when nothing was measured
MEANT_TEMPS_C = (0.0, 45.0)  # judgement: what a dough can be meant to be; beyond it somebody may mean Fahrenheit
USUAL_COLD_C = 4.0  # a household refrigerator; dough retarders run at 1.7 to 4.4 C (trade page, seen)


@dataclass(frozen=True, slots=True)
class Intent:
    """What was planned of one stage.

    Attributes
    ----------
    dough_temp_c
        How warm the dough was to be, throughout. [C]
    formula
        What was to be weighed in; None: as it was.
    proof_min
        How long the stage was to take; None: as the recipe's batches before, or doughs of its formula, would. [min]
    """

    dough_temp_c: float = USUAL_DOUGH_TEMP_C
    formula: Formula | None = None
    proof_min: float | None = None


class Verdict(StrEnum):
    """What the baker says of a dough, when it is cut."""

    UNDER = "under"
    RIGHT = "right"
    OVER = "over"


@dataclass(frozen=True, slots=True)
class Judgement:
    """A baker's verdict of a batch, at an aware UTC moment.

    Attributes
    ----------
    notes
        The baker's own words.
    photo_jpeg
        A picture of the crumb; None without one.
    """

    at: datetime
    verdict: Verdict
    notes: str = ""
    photo_jpeg: bytes | None = None
