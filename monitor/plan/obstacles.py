"""Why a day cannot be made as it is wanted, what would make it possible, and how else its bread could be made."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from monitor.plan.day import DoughPlan, Plan
from monitor.plan.orders import Limit


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What stands in a plan's way.

    Attributes
    ----------
    limit
        Without this one alone there would be a plan.
    doughs
        Keys of whom it is about.
    load, stage
        Number of the load (from 1) or stage (from 0) it is about; None when it is about neither.
    from_at, to_at
        The minutes it is about.
    minutes
        By how much; of work at night, how far from the nearest hour with hands. [min]
    """

    limit: Limit
    doughs: tuple[str, ...]
    from_at: datetime
    to_at: datetime
    minutes: float
    load: int | None = None
    stage: int | None = None
    place: str = ""


class RemedyKind(StrEnum):
    """What would make a plan possible."""

    LATER = "later"
    OTHER_ORDER = "other order"
    STAGGER = "stagger"
    CHILL = "chill"
    MORE_PEOPLE = "more people"
    MORE_MIXERS = "more mixers"
    MORE_PLACES = "more places"
    MORE_OVEN = "more oven"
    OPEN_EARLIER = "open earlier"
    CLOSE_LATER = "close later"
    OTHER_HOURS = "other hours"


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing that would make the plan possible: the solver has tried it.

    Attributes
    ----------
    minutes
        Of staggering or chilling, or by how much later. [min]
    at
        The moment it is about, if it is about one.
    number
        Of people, mixers, places or pieces at once that would do.
    """

    kind: RemedyKind
    dough: str = ""
    minutes: float = 0.0
    at: datetime | None = None
    number: int = 0
    place: str = ""


@dataclass(frozen=True, slots=True)
class NoPlan:
    """Why there is none. Without any obstacle several limits stand in the way at once.

    Attributes
    ----------
    nearest
        Then, what the nearest plan there is would break.
    """

    obstacles: tuple[Obstacle, ...]
    remedies: tuple[Remedy, ...]
    nearest: tuple[Obstacle, ...] = ()


class Variation(StrEnum):
    """What is made otherwise."""

    AS_WRITTEN = "as written"
    YEAST = "yeast"
    ROOM = "room"
    NIGHT = "night"
    HOUR = "hour"


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to make the bread.

    Attributes
    ----------
    amount
        Times the yeast, degrees more in the room [C], or hours in the refrigerator [h]; 0 as written, and where
        the hour wanted is the first at which it may be out instead of the last.
    plan
        The day it makes, or why it makes none.
    """

    variation: Variation
    amount: float
    plan: Plan | NoPlan

    @property
    def dough(self) -> DoughPlan | None:
        """Its dough on the clock; None when it makes no day."""
        return self.plan.doughs[0] if isinstance(self.plan, Plan) else None
