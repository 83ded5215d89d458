"""What a baker does to a dough. Without heavy imports, since the command line lists the kinds before it runs."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

ROOM = "room"
REFRIGERATOR = "refrigerator"
PROOFER = "proofer"  # a cabinet that is meant to be warm
PLACES = (ROOM, PROOFER, REFRIGERATOR)
"""Where a dough may be said to stand: the note of a move."""


class EventKind(StrEnum):
    """What a baker does to a dough that the estimator must know of."""

    FOLD = "fold"  # knocks gas out; the rise is still counted from the start volume
    MOVE = "move"  # to other air: another shelf, cabinet or room
    POKE = "poke"
    LID = "lid"  # lid or sensor taken off and put back
    COVER = "cover"  # from now on no air gets at its skin: a cloth, a bag, a lid
    UNCOVER = "uncover"
    WINDOWPANE = "windowpane"  # a piece was drawn thin: its note says whether it held
    STRENGTH = "strength"  # how it stands up in the hand
    DOUGH_TEMP = "dough temperature"  # by a thermometer of the hand; its note is the number [C]
    PH = "pH"
    TTA = "TTA"  # total titratable acidity: 0.1 mol/L NaOH for 10 g of dough [mL]
    END = "end"  # the stage is over


MEASURED: dict[EventKind, tuple[float, float]] = {
    EventKind.DOUGH_TEMP: (-10.0, 60.0),
    EventKind.PH: (2.5, 9.0),
    EventKind.TTA: (0.0, 50.0),
}
"""Checks whose note is a number, and what it can be: beyond any dough (judgement), so that only slips are caught."""
CHECKS = (EventKind.POKE, EventKind.WINDOWPANE, EventKind.STRENGTH, *MEASURED)
"""What was looked at or measured by hand, and changes nothing: it comes back in the review beside the rise."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something a baker did, at an aware UTC moment."""

    at: datetime
    kind: EventKind
    note: str = ""

    @property
    def value(self) -> float | None:
        """The number of a check that was measured; None of anything else, and where the note is no such number."""
        if self.kind not in MEASURED:
            return None
        low, high = MEASURED[self.kind]
        try:
            number = float(self.note)
        except ValueError:
            return None
        return number if low <= number <= high else None
