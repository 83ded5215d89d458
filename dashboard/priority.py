"""Which batch comes first, and what hands must do next: trouble first, then by who needs hands next. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from dashboard.queries import Row
from monitor.alerts.dough import AlertKind
from monitor.dough.outlook import State
from monitor.recipe.batch import Batch
from monitor.wording.alerts import Task, clock_text, next_task
from monitor.wording.reader import Reader

# The dough's own troubles before those of what is around it; equal ranks go by time.
_TROUBLE = {State.PAST_PEAK: 0, State.NOT_RISING: 1, State.NO_READINGS: 2}
_STALE = 2
_AIR = 3
_NONE = 4
AIR_ALERTS = frozenset({AlertKind.AIR_TOO_WARM, AlertKind.AIR_TOO_COLD, AlertKind.AIR_TOO_DRY})


@dataclass(frozen=True, slots=True)
class Due:
    """A task of one batch, with the moment it sorts by."""

    batch: Batch
    task: Task
    sorts_at: datetime


def trouble(row: Row) -> int:
    """How bad a row's trouble is: 0 the worst, ``_NONE`` for none."""
    rank = _NONE if row.outlook is None else _TROUBLE.get(row.outlook.state, _NONE)
    if row.stale_since is not None:
        rank = min(rank, _STALE)
    if any(alert.kind in AIR_ALERTS for alert in row.firing):
        rank = min(rank, _AIR)
    return rank


def ordered(rows: Iterable[Row], now: datetime, reader: Reader) -> list[Row]:
    """The rows as a board shows them."""
    far = now + timedelta(days=365)

    def key(row: Row) -> tuple[int, datetime, datetime, int]:
        due = due_of(row, reader)
        return (trouble(row), far if due is None else due.sorts_at, row.batch.started_at, row.batch.id)

    return sorted(rows, key=key)


def due_of(row: Row, reader: Reader) -> Due | None:
    """The next task of a row; None when there is none, or no time for it."""
    task = None if row.outlook is None else next_task(row.batch, row.outlook, reader)
    return None if task is None or task.at is None else Due(row.batch, task, task.at)


def dues(rows: Iterable[Row], now: datetime, reader: Reader) -> list[Due]:
    """All tasks, in the order hands meet them: what is due now as the board is ordered, then by the clock."""
    found = [due for row in ordered(rows, now, reader) if (due := due_of(row, reader)) is not None]
    at_once = [due for due in found if due.task.is_now]
    later = sorted((due for due in found if not due.task.is_now), key=lambda due: due.sorts_at)
    return at_once + later


def due_words(due: Due, reader: Reader, now: datetime) -> tuple[str, str]:
    """When and what of a task: ``("Now", "Milk buns: shape now")``, ``("09:44", "Barley rolls: oven on")``."""
    if due.task.is_now:
        return reader.say("Now"), f"{due.batch.name}: {due.task.text}"
    return clock_text(due.sorts_at, reader, now), f"{due.batch.name}: {due.task.text}"
