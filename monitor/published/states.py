"""What other programs may know, as typed states: one version, one JSON Schema, whatever carries them.

A field is never renamed or given another meaning within a version; new ones may come. Moments are UTC by RFC 3339,
names carry their units, and what is not known is null.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from enum import StrEnum
from inspect import cleandoc
from typing import Annotated, Any

import msgspec

from monitor.alerts.alert import Phase
from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.dough.tasks import Do, next_task
from monitor.plan.cues import is_done
from monitor.plan.day import Plan, StepKind
from monitor.plan.live import Progress
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch, Stage
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag

VERSION = 1
Moment = Annotated[datetime, msgspec.Meta(tz=True)]


class Quantiles(msgspec.Struct, frozen=True):
    """A quantity with its doubt: nine times in ten it lies between the outer two."""

    p05: float
    p50: float
    p95: float


class MomentQuantiles(msgspec.Struct, frozen=True):
    """When something happens; null where that much of the chance lies beyond what is foretold, or at never."""

    p05: Moment | None
    p50: Moment | None
    p95: Moment | None


class NextTask(msgspec.Struct, frozen=True):
    """The next thing hands must do at a dough.

    Attributes
    ----------
    task
        ``look`` (at dough and sensor), ``rescue`` (it is past its peak), ``check`` (it does not rise), ``oven on``, or
        ``next``: what follows its stage.
    """

    task: Do
    at: Moment | None
    is_now: bool


class BatchState(msgspec.Struct, frozen=True, kw_only=True):
    """A dough.

    Attributes
    ----------
    batch
        Its number in its store.
    at
        The moment of the estimate that all below it comes from; null before the first.
    data_age_s
        How old its newest reading was when this was said. [s]
    target_rise_pct
        null: it is used at its peak. [% of the start's volume]
    """

    batch: int
    name: str
    recipe: str
    stage: Stage
    started_at: Moment
    ended_at: Moment | None = None
    target_rise_pct: float | None = None
    at: Moment | None = None
    data_age_s: float | None = None
    state: State | None = None
    state_chance: float | None = None
    rise_pct: Quantiles | None = None
    ready: MomentQuantiles | None = None
    peak: MomentQuantiles | None = None
    dough_temp_c: float | None = None
    air_temp_c: float | None = None
    humidity_pct: float | None = None
    next: NextTask | None = None


class AlertState(msgspec.Struct, frozen=True, kw_only=True):
    """Something that calls for hands, or did and nobody has seen it.

    Attributes
    ----------
    about
        What it is about: batch, node, line or monitor, and which.
    phase
        As ANSI/ISA-18.2 names it.
    """

    number: int
    about: str
    kind: AlertKind
    phase: Phase
    since: Moment
    returned_at: Moment | None


class StepState(msgspec.Struct, frozen=True, kw_only=True):
    """A step of a plan that is kept.

    Attributes
    ----------
    at
        When it is meant to be.
    oven_c
        What the oven is to be turned to; null where nothing is turned. [C]
    done_at
        When somebody ticked it off; null where it was not, or shows by what came after it.
    """

    plan: int
    step: str
    kind: StepKind
    dough: str
    at: Moment
    hands_min: float
    oven_c: float | None
    is_done: bool
    done_at: Moment | None


class SensorState(msgspec.Struct, frozen=True, kw_only=True):
    """A channel of a sensor node, with what it measured last.

    Attributes
    ----------
    is_online
        null where its line cannot say so.
    """

    node: str
    source: str
    heard_at: Moment
    is_online: bool | None
    channel: Channel
    value: float
    unit: str
    measured_at: Moment
    flag: Flag


class Work(StrEnum):
    """How the monitor itself does."""

    AT_WORK = "at work"
    IN_TROUBLE = "in trouble"  # its loop stands still, or its store cannot be used
    GONE = "gone"


class MonitorState(msgspec.Struct, frozen=True, kw_only=True):
    """The monitor itself, at a broker.

    Attributes
    ----------
    version
        Of all states here.
    at
        When it said so; null where its broker says it in its place.
    """

    site: str
    state: Work
    at: Moment | None
    version: int = VERSION


def batch_states(store: Store, now: datetime, *, is_running: bool = False) -> Iterator[BatchState]:
    """Every batch, or the running ones."""
    for batch in store.batches.running() if is_running else store.batches.all():
        yield batch_state(batch, store.outlooks.latest(batch.id), now)


def batch_state(batch: Batch, outlook: Outlook | None, now: datetime) -> BatchState:
    """One batch by its newest estimate."""
    known = BatchState(
        batch=batch.id,
        name=batch.name,
        recipe=batch.recipe_key,
        stage=batch.stage,
        started_at=batch.started_at,
        ended_at=batch.ended_at,
        target_rise_pct=batch.target.rise_pct,
    )
    if outlook is None:
        return known
    task, read_at = next_task(batch, outlook), outlook.last_reading_at
    return msgspec.structs.replace(
        known,
        at=outlook.at,
        data_age_s=None if read_at is None else max(0.0, (now - read_at) / timedelta(seconds=1)),
        state=outlook.state,
        state_chance=outlook.state_chance,
        rise_pct=_quantiles(outlook.rise_pct),
        ready=_moments(outlook.ready),
        peak=_moments(outlook.peak),
        dough_temp_c=outlook.dough_temp_c,
        air_temp_c=outlook.air_temp_c,
        humidity_pct=outlook.humidity_pct,
        next=None if task is None else NextTask(task.do, task.at, task.is_now),
    )


def alert_states(store: Store) -> Iterator[AlertState]:
    """What is on, and what is over with nobody having seen it."""
    for alert in store.alerts.active():
        yield AlertState(
            number=alert.number,
            about=alert.subject.key,
            kind=alert.kind,
            phase=alert.phase,
            since=alert.since_at,
            returned_at=alert.returned_at,
        )


def step_states(plan: Plan, progress: Progress) -> Iterator[StepState]:
    """Every step of a plan, as its doughs have it now, by the clock."""
    for step in steps(plan):
        yield StepState(
            plan=plan.id,
            step=step.key,
            kind=step.kind,
            dough=step.dough,
            at=step.at,
            hands_min=step.hands_min,
            oven_c=step.oven_c,
            is_done=is_done(plan.dough(step.dough), step, progress),
            done_at=progress.done.get(step.key),
        )


def sensor_states(store: Store) -> Iterator[SensorState]:
    """Every channel of every node that was ever heard."""
    for row in store.nodes.all():
        for reading in row.newest:
            yield SensorState(
                node=row.node,
                source=row.source,
                heard_at=row.last_seen_at,
                is_online=row.is_online,
                channel=reading.channel,
                value=reading.value,
                unit=reading.channel.unit,
                measured_at=reading.measured_at,
                flag=reading.flag,
            )


def schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of every state, by its name under ``$defs``."""
    states = (BatchState, AlertState, StepState, SensorState, MonitorState)
    _, definitions = msgspec.json.schema_components(states, ref_template="#/$defs/{name}")
    for each in definitions.values():
        if "description" in each:
            each["description"] = cleandoc(each["description"])  # Python 3.13 takes the margin off by itself
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:proofing-monitor:states:{VERSION}",
        "$defs": definitions,
    }


def _quantiles(band: Band | None) -> Quantiles | None:
    return None if band is None else Quantiles(band.p05, band.p50, band.p95)


def _moments(moments: Moments) -> MomentQuantiles:
    return MomentQuantiles(moments.p05, moments.p50, moments.p95)
