"""How a shop stands, in a few numbers: a thousand fit on one screen. Made at the shop, shown at the centre.

It is of now and said again and again, with how collector and nodes do. The server stamps these points when they come,
so that a shop's wrong clock hides no silence.
"""

import shutil
from datetime import datetime, timedelta
from typing import Self

import msgspec

from monitor.alerts.dough import AlertKind, Phase
from monitor.dough.tasks import Do, Task, next_task
from monitor.recipe.batch import Batch, Stage
from monitor.shops.points import Point
from monitor.store.rows import from_us, maybe_us, to_us
from monitor.store.spool import Backlog
from monitor.store.store import Store

LATE = timedelta(minutes=10)  # judgement: nobody is nearer to the minute with floury hands
WEEK = timedelta(days=7)
SILENCE = (AlertKind.SENSOR_SILENT, AlertKind.NODE_SILENT, AlertKind.LINE_SILENT)
AIR = (AlertKind.AIR_TOO_WARM, AlertKind.AIR_TOO_COLD, AlertKind.AIR_TOO_DRY)


class ShopSummary(msgspec.Struct, frozen=True, kw_only=True):
    """What is to be known of a shop from afar; each attribute is a field of its point.

    Attributes
    ----------
    clock_us
        When it was so, by the shop's own clock. [microseconds since 1970]
    doughs
        Running batches.
    late, late_us
        Doughs that hands should have come to ten minutes ago, that are past their peak, or that do not rise; since when
        the first of them.
    next_dough, next_stage, next_do, next_us, is_due
        What hands must do next; absent when there is nothing. Of what is due, since when.
    silent, silent_us
        Sensors, nodes and lines that are not heard, where nothing else explains it; since when the first of them.
    unanswered, troubles, air
        Calls that nobody has answered; what is wrong with the monitor itself; alerts about air.
    forecasts, held
        Intervals that forecasts gave for the doughs that ended in the last seven days, and how many of them held.
    """

    clock_us: int
    doughs: int = 0
    late: int = 0
    late_us: int | None = None
    next_dough: str | None = None
    next_stage: Stage | None = None
    next_do: Do | None = None
    next_us: int | None = None
    is_due: bool = False
    silent: int = 0
    silent_us: int | None = None
    unanswered: int = 0
    troubles: int = 0
    air: int = 0
    forecasts: int = 0
    held: int = 0

    @property
    def clock_at(self) -> datetime:
        """The shop's clock."""
        return from_us(self.clock_us)

    def is_like(self, other: Self | None) -> bool:
        """True when nothing but the clock went on."""
        return other is not None and msgspec.structs.replace(self, clock_us=other.clock_us) == other


FIELDS = ShopSummary.__struct_fields__


def summary_of(store: Store, now: datetime) -> ShopSummary:
    """How the shop of a store stands."""
    doughs = [(batch, store.outlooks.latest(batch.id)) for batch in store.batches.running()]
    tasks = [
        (batch, task)
        for batch, outlook in doughs
        if outlook is not None and (task := next_task(batch, outlook)) is not None
    ]
    late = [task.at or now for _, task in tasks if _is_late(task, now)]
    first = min(tasks, key=_order, default=None)
    firing = [alert for alert in store.alerts.active() if alert.is_firing]
    silent = [alert for alert in firing if alert.kind in SILENCE and alert.phase is not Phase.SUPPRESSED]
    forecasts, held = store.lessons.held_since(now - WEEK)
    return ShopSummary(
        clock_us=to_us(now),
        doughs=len(doughs),
        late=len(late),
        late_us=maybe_us(min(late, default=None)),
        next_dough=None if first is None else first[0].name,
        next_stage=None if first is None else first[0].stage,
        next_do=None if first is None else first[1].do,
        next_us=None if first is None else maybe_us(first[1].at),
        is_due=first is not None and first[1].is_now,
        silent=len(silent),
        silent_us=maybe_us(min((alert.since_at for alert in silent), default=None)),
        unanswered=sum(alert.phase is Phase.UNACKNOWLEDGED for alert in firing),
        troubles=sum(alert.kind is AlertKind.TROUBLE for alert in firing),
        air=sum(alert.kind in AIR for alert in firing),
        forecasts=forecasts,
        held=held,
    )


def _is_late(task: Task, now: datetime) -> bool:
    """What nobody measures is not late: it is silent."""
    is_overdue = task.do is Do.NEXT and task.at is not None and now - task.at > LATE
    return task.is_now and (is_overdue or task.do in (Do.RESCUE, Do.CHECK))


def _order(of: tuple[Batch, Task]) -> tuple[bool, bool, float]:
    """What is due comes first, then by the clock; what has no hour last."""
    task = of[1]
    return (not task.is_now, task.at is None, 0.0 if task.at is None else task.at.timestamp())


def summary_point(site: str, summary: ShopSummary) -> Point:
    """A summary as the point of its shop."""
    return Point("shop", {"site": site}, None, msgspec.to_builtins(summary))


def health_points(site: str, store: Store, backlog: Backlog) -> list[Point]:
    """How a shop's collector does, and each of its nodes."""
    faults = store.nodes.faults()
    firing = [alert for alert in store.alerts.active() if alert.is_firing and alert.kind is AlertKind.NODE_SILENT]
    silent = {alert.subject.name for alert in firing}
    collector = {
        "unsent_rows": backlog.rows,
        "parked_rows": backlog.parked,
        "refused_frames": sum(fault.count for fault in faults),
        "store_mb": store.path.stat().st_size / 1e6,
        "free_mb": shutil.disk_usage(store.path.parent).free / 1e6,
    }
    nodes = {
        str(row.node): {
            "heard_us": to_us(row.last_seen_at),
            "is_silent": row.node in silent,
            "is_online": row.is_online,
            "lost_packs": row.lost_packs,
            "refused_frames": sum(fault.count for fault in faults if fault.node == row.node),
        }
        for row in store.nodes.all()
    }
    return [
        Point("health", {"site": site}, None, collector),
        *(Point("health", {"site": site, "node": node}, None, fields) for node, fields in nodes.items()),
    ]
