"""The folds of a running batch: when its recipe wants them, and whether they were noted."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.recipe.batch import Batch
from monitor.recipe.events import EventKind

EARLY_SHARE = 1.0 / 3.0
"""A fold noted so far ahead of its time, as a share of the time since the one before, is that fold: judgement."""
APART = timedelta(minutes=3)  # judgement: between two calls, so that they are two


@dataclass(frozen=True, slots=True)
class PlannedFold:
    """A fold of the recipe whose time has come.

    Attributes
    ----------
    number, of
        Which it is, counted from 1, and how many the recipe has.
    at, over_at
        When it was due, and from when on it is not worth a call any more.
    is_noted
        True when somebody has said that it was done.
    """

    number: int
    of: int
    at: datetime
    over_at: datetime
    is_noted: bool

    def is_due(self, now: datetime) -> bool:
        """True while it is to be called for."""
        return not self.is_noted and self.at <= now < self.over_at


def fold_times(batch: Batch) -> tuple[datetime, ...]:
    """When a batch is to be folded, earliest first."""
    return tuple(batch.started_at + timedelta(minutes=after_min) for after_min in batch.folds_min)


def newest_fold(batch: Batch, now: datetime, worth_min: float) -> PlannedFold | None:
    """The last fold whose time has come; None before the first.

    Parameters
    ----------
    worth_min
        How long after its time a fold is still worth a call. [min]
    """
    times = fold_times(batch)
    number = sum(at <= now for at in times)
    if number == 0:
        return None
    at = times[number - 1]
    before = times[number - 2] if number > 1 else batch.started_at
    over_at = at + timedelta(minutes=worth_min)
    if number < len(times):
        over_at = min(over_at, times[number] - APART)
    counts_from = at - EARLY_SHARE * (at - before)
    is_noted = any(event.kind is EventKind.FOLD and counts_from <= event.at <= now for event in batch.events)
    return PlannedFold(number, len(times), at, over_at, is_noted)
