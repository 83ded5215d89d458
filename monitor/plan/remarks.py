"""What a baker must know of a plan before it is kept: bread that is out far too early, and work at night."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from monitor.plan.day import Plan, Step, StepKind
from monitor.plan.kitchen import Kitchen

EARLY = timedelta(minutes=60)  # judgement: bread that is out by less before its hour is cooling
NIGHT_FROM, NIGHT_UNTIL = time(22), time(6)  # judgement: when nobody is up unless he says so

APART = timedelta(minutes=30)  # judgement: work closer together is one getting up


@dataclass(frozen=True, slots=True)
class EarlyBread:
    """A bread that is out long before its hour.

    Attributes
    ----------
    fresh_at
        When it would be out if it were to be out no earlier than its hour; None: not looked for, or not in these days.
    """

    dough: str
    out_at: datetime
    wanted_at: datetime
    fresh_at: datetime | None


@dataclass(frozen=True, slots=True)
class NightWork:
    """Hands at night.

    Attributes
    ----------
    hands_at
        When somebody must be up; what lies close together is told once.
    out_at
        With nobody up, when each dough would be out, by its key; empty: then there is no plan.
    instead
        Each dough that could be the late one in their place, and when it would be out.
    """

    hands_at: tuple[datetime, ...]
    out_at: tuple[tuple[str, datetime], ...]
    instead: tuple[tuple[str, datetime], ...] = ()


@dataclass(frozen=True, slots=True)
class BakedLast:
    """Another order at the oven, in which a bread is no longer early.

    Attributes
    ----------
    early
        What it costs: the breads that then are out long before their hour, and when.
    """

    dough: str
    out_at: datetime
    early: tuple[tuple[str, datetime], ...]


@dataclass(frozen=True, slots=True)
class NobodyThere:
    """Hands outside the kitchen's hours: a plan is made within them, and then the doughs move it."""

    hands_at: tuple[datetime, ...]


Remark = EarlyBread | BakedLast | NightWork | NobodyThere


def night_of(kitchen: Kitchen) -> tuple[time, time]:
    """From when until when there are no hands: as the kitchen says, or as is usual."""
    if kitchen.hands_from is None or kitchen.hands_until is None:
        return NIGHT_FROM, NIGHT_UNTIL
    return kitchen.hands_until, kitchen.hands_from


def night_hands(todo: Iterable[Step], kitchen: Kitchen, zone: tzinfo) -> tuple[datetime, ...]:
    """When somebody must be up for steps, in their order; what lies close together is told once."""
    begins, ends = night_of(kitchen)
    found: list[datetime] = []
    for step in todo:
        clock = step.at.astimezone(zone).time()
        is_at_night = (clock >= begins or clock < ends) if begins > ends else begins <= clock < ends
        if is_at_night and step.kind is not StepKind.STEAM and (not found or step.at - found[-1] > APART):
            found.append(step.at)
    return tuple(found)


def nobody_there(todo: Iterable[Step], kitchen: Kitchen, zone: tzinfo) -> tuple[NobodyThere, ...]:
    """Which of the steps still to be done want hands outside the kitchen's hours; empty when none does."""
    hands_at = night_hands(todo, kitchen, zone) if kitchen.hands_from is not None else ()
    return (NobodyThere(hands_at),) if hands_at else ()


def early_breads(plan: Plan) -> tuple[EarlyBread, ...]:
    """The breads of a plan that are out long before their hour."""
    return tuple(
        EarlyBread(dough.key, dough.out_at, dough.wanted_at, None)
        for dough in plan.doughs
        if dough.wanted_at is not None and dough.wanted_at - dough.out_at >= EARLY
    )
