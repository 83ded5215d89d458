"""Which batch comes first on the board: trouble first, then whoever needs hands next. Pure."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from dashboard.queries import AIR_ALERTS, RunningBatch
from monitor.dough.outlook import State
from monitor.dough.tasks import next_task

# The dough's own troubles before those of what is around it; equal ranks go by time.
_TROUBLE = {State.PAST_PEAK: 0, State.NOT_RISING: 1, State.NO_READINGS: 2}
_STALE = 2
_AIR = 3
_NONE = 4


def _trouble(running: RunningBatch) -> int:
    """How bad a batch's trouble is: 0 the worst, ``_NONE`` for none."""
    rank = _NONE if running.outlook is None else _TROUBLE.get(running.outlook.state, _NONE)
    if running.stale_since is not None:
        rank = min(rank, _STALE)
    if any(alert.kind in AIR_ALERTS for alert in running.firing):
        rank = min(rank, _AIR)
    return rank


def ordered(batches: Iterable[RunningBatch], now: datetime) -> list[RunningBatch]:
    """The batches as a board shows them."""
    far = now + timedelta(days=365)

    def key(running: RunningBatch) -> tuple[int, datetime, datetime, int]:
        task = None if running.outlook is None else next_task(running.batch, running.outlook)
        at = far if task is None or task.at is None else task.at
        return (_trouble(running), at, running.batch.started_at, running.batch.id)

    return sorted(batches, key=key)
