"""What hands must do next for one dough, and when: a fact of its outlook. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch


class Do(StrEnum):
    """What is to be done. The value is the word of the central store."""

    LOOK = "look"  # nobody measures it: look at the dough, then at its sensor
    RESCUE = "rescue"  # past its peak
    CHECK = "check"  # does not rise: its warmth, its yeast
    FOLD = "fold"  # a fold of the recipe is called for
    OVEN_ON = "oven on"
    NEXT = "next"  # what follows its stage


@dataclass(frozen=True, slots=True)
class Task:
    """The next thing that hands must do.

    Attributes
    ----------
    at
        When; of what is due, since when, as far as that is known; None when that cannot be said.
    is_now
        True when it is due.
    """

    do: Do
    at: datetime | None
    is_now: bool = False


_URGENT = {State.NO_READINGS: Do.LOOK, State.PAST_PEAK: Do.RESCUE, State.NOT_RISING: Do.CHECK}


def next_task(batch: Batch, outlook: Outlook) -> Task | None:
    """The next thing hands must do for a batch; None for one that has ended."""
    if batch.ended_at is not None:
        return None
    if (do := _URGENT.get(outlook.state)) is not None:
        since_at = {Do.LOOK: outlook.last_reading_at, Do.RESCUE: outlook.peak.p50}.get(do)
        return Task(do, outlook.at if since_at is None else min(since_at, outlook.at), is_now=True)
    will_not_get_there = outlook.state is State.AT_PEAK and outlook.ready.p50 is None
    if ready_since(outlook) is not None or outlook.state is State.READY or will_not_get_there:
        return Task(Do.NEXT, ready_since(outlook) or outlook.at, is_now=True)
    oven_at = oven_on_at(batch, outlook)
    if oven_at is not None and oven_at > outlook.at:
        return Task(Do.OVEN_ON, oven_at)
    return Task(Do.NEXT, outlook.ready.p50)


def ready_since(outlook: Outlook) -> datetime | None:
    """When it became ready, if it has; None otherwise."""
    at = outlook.ready.p50
    is_told = outlook.state not in (State.NO_RISE, State.RISING, State.NEARLY_READY)  # out of sight it is told late
    return at if at is not None and at <= outlook.at and is_told else None


def oven_on_at(batch: Batch, outlook: Outlook) -> datetime | None:
    """When the oven must go on: early rather than late, for a cold oven costs more. None: no baking, or no forecast."""
    if batch.preheat_min is None or outlook.ready.p25 is None:
        return None
    return outlook.ready.p25 - timedelta(minutes=batch.preheat_min)
