"""What hands must do next, from running doughs and from the plan that is being lived: facts for the board's bar. Pure.

A dough that a plan watches is called for by the plan; only its own trouble is told beside. Once a call is out, its time
stands still: "now, since 18:30", however the forecast moves after it. Once it is answered, it goes.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from dashboard.alerts import UNSEEN
from dashboard.plans import NOT_EARLY
from dashboard.queries import OpenAlert, RunningBatch
from monitor.alerts.dough import COURSE_KINDS
from monitor.alerts.kinds import AlertKind
from monitor.collector.plan_runner import LivePlan
from monitor.dough import tasks
from monitor.dough.tasks import Do
from monitor.plan.cues import is_done
from monitor.plan.day import DoughPlan, Step
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch, BatchId

SILENCE = frozenset({AlertKind.SENSOR_SILENT, AlertKind.NODE_SILENT})
UNPLANNED = frozenset({Do.LOOK, Do.RESCUE, Do.CHECK, Do.FOLD})  # what no plan calls for


@dataclass(frozen=True, slots=True)
class DoughTask:
    """Something to do for one running dough.

    Attributes
    ----------
    at
        When; of what is due, since when it is called, or due.
    alerts
        Numbers of its alerts that nobody has seen yet.
    """

    batch: Batch
    do: Do
    at: datetime
    is_now: bool
    alerts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanTask:
    """A step of the plan that is not done yet; ``at`` as in :class:`DoughTask`."""

    dough: DoughPlan
    step: Step
    at: datetime
    is_now: bool
    can_be_done: bool


Task = DoughTask | PlanTask


def alerts_of(batch: Batch, alerts: Iterable[OpenAlert]) -> list[OpenAlert]:
    """The alerts about a batch and about the nodes it is read from."""
    return [each for each in alerts if each.is_about(batch)]


def is_calling(batch: Batch, alerts: Iterable[OpenAlert]) -> bool:
    """True when nobody has seen yet that a batch, or a node of its own, calls."""
    return any(each.alert.phase in UNSEEN for each in alerts_of(batch, alerts))


def next_task(running: RunningBatch, alerts: Iterable[OpenAlert]) -> DoughTask | None:
    """What is to be done next for a running dough; None when there is nothing, no hour for it, or it was answered.

    Parameters
    ----------
    alerts
        The open alerts of the batch.
    """
    batch, outlook = running.batch, running.outlook
    found = None if outlook is None else tasks.next_task(batch, outlook)
    if outlook is None or found is None:
        return None
    firing = {each.alert.kind: each.alert for each in alerts if each.alert.is_firing}
    fold = firing.get(AlertKind.FOLD_DUE)
    if fold is not None and fold.phase in UNSEEN:
        return DoughTask(batch, Do.FOLD, fold.fired_at or outlook.at, True, (fold.number,))
    oven = firing.get(AlertKind.OVEN_ON)
    is_oven_wanted = oven is not None and oven.phase in UNSEEN
    if oven is not None and found.do in (Do.OVEN_ON, Do.NEXT) and not found.is_now:
        if is_oven_wanted:
            return DoughTask(batch, Do.OVEN_ON, oven.fired_at or outlook.at, True, (oven.number,))
        ready_at = outlook.ready.p50
        return None if ready_at is None else DoughTask(batch, Do.NEXT, ready_at, False)
    if not found.is_now:
        return None if found.at is None else DoughTask(batch, found.do, found.at, False)
    mine = [alert for kind, alert in firing.items() if kind in COURSE_KINDS or kind in SILENCE]
    unseen = [alert for alert in mine if alert.phase in UNSEEN]
    if mine and not unseen:
        return None
    since = min((alert.fired_at for alert in unseen if alert.fired_at is not None), default=found.at or outlook.at)
    return DoughTask(batch, found.do, since, True, tuple(alert.number for alert in unseen))


def plan_tasks(live: LivePlan, cues: Mapping[str, datetime], now: datetime) -> list[PlanTask]:
    """The steps of a plan that are not done, as they stand now.

    Parameters
    ----------
    cues
        When each of its cues was given, by the key of its step.
    """
    found = []
    for step in steps(live.now):
        dough = live.now.dough(step.dough)
        if is_done(dough, step, live.progress):
            continue
        at = min(cues.get(step.key, step.at), step.at)
        found.append(PlanTask(dough, step, at, at <= now, step.at - now <= NOT_EARLY))
    return found


def hands_tasks(
    batches: Iterable[RunningBatch],
    alerts: Iterable[OpenAlert],
    planned: Iterable[PlanTask],
    in_plan: Iterable[BatchId],
) -> list[Task]:
    """Everything hands must do, what is due first, each by the clock.

    Parameters
    ----------
    in_plan
        The batches that the plan watches.
    """
    kept, watched = list(alerts), set(in_plan)
    found: list[Task] = list(planned)
    for running in batches:
        task = next_task(running, alerts_of(running.batch, kept))
        if task is not None and (running.batch.id not in watched or task.do in UNPLANNED):
            found.append(task)
    return sorted(found, key=lambda task: (not task.is_now, task.at))
