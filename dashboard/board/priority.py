"""Which batch comes first on the board, and what is to be done next: trouble first, then by the clock. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from dashboard.queries import AIR_ALERTS, RunningBatch
from monitor.dough.outlook import State
from monitor.recipe.batch import Batch
from monitor.wording.alerts import Task, clock_text, next_task
from monitor.wording.reader import Reader

# The dough's own troubles before those of what is around it; equal ranks go by time.
_TROUBLE = {State.PAST_PEAK: 0, State.NOT_RISING: 1, State.NO_READINGS: 2}
_STALE = 2
_AIR = 3
_NONE = 4


@dataclass(frozen=True, slots=True)
class DueTask:
    """A task of one batch, with the moment it sorts by."""

    batch: Batch
    task: Task
    sorts_at: datetime


def _trouble(running: RunningBatch) -> int:
    """How bad a batch's trouble is: 0 the worst, ``_NONE`` for none."""
    rank = _NONE if running.outlook is None else _TROUBLE.get(running.outlook.state, _NONE)
    if running.stale_since is not None:
        rank = min(rank, _STALE)
    if any(alert.kind in AIR_ALERTS for alert in running.firing):
        rank = min(rank, _AIR)
    return rank


def ordered(batches: Iterable[RunningBatch], now: datetime, reader: Reader) -> list[RunningBatch]:
    """The batches as a board shows them."""
    far = now + timedelta(days=365)

    def key(running: RunningBatch) -> tuple[int, datetime, datetime, int]:
        due = _next_task(running, reader)
        return (_trouble(running), far if due is None else due.sorts_at, running.batch.started_at, running.batch.id)

    return sorted(batches, key=key)


def _next_task(running: RunningBatch, reader: Reader) -> DueTask | None:
    """The next task of a batch; None when there is none, or no time for it."""
    task = None if running.outlook is None else next_task(running.batch, running.outlook, reader)
    return None if task is None or task.at is None else DueTask(running.batch, task, task.at)


def due_tasks(batches: Iterable[RunningBatch], now: datetime, reader: Reader) -> list[DueTask]:
    """All tasks, in the order they are met: what is due now as the board is ordered, then by the clock."""
    found = [due for running in ordered(batches, now, reader) if (due := _next_task(running, reader)) is not None]
    at_once = [due for due in found if due.task.is_now]
    later = sorted((due for due in found if not due.task.is_now), key=lambda due: due.sorts_at)
    return at_once + later


def due_words(due: DueTask, reader: Reader, now: datetime) -> tuple[str, str]:
    """When and what of a task: ``("Now", "Milk buns: shape now")``, ``("09:44", "Barley rolls: oven on")``."""
    if due.task.is_now:
        return reader.say("Now"), f"{due.batch.name}: {due.task.text}"
    return clock_text(due.sorts_at, reader, now), f"{due.batch.name}: {due.task.text}"
