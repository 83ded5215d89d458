"""What a baker must know of a plan before it is kept: bread that is out far too early, and work at night."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from monitor.plan.day import Plan

EARLY = timedelta(minutes=60)  # judgement: bread that is out by less before its hour is cooling
NIGHT_FROM, NIGHT_UNTIL = time(22), time(6)  # judgement: when nobody is up unless he says so


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
    """Hands at night in a kitchen that names no hours.

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


Remark = EarlyBread | BakedLast | NightWork


def early_breads(plan: Plan) -> tuple[EarlyBread, ...]:
    """The breads of a plan that are out long before their hour."""
    return tuple(
        EarlyBread(dough.key, dough.out_at, dough.wanted_at, None)
        for dough in plan.doughs
        if dough.wanted_at is not None and dough.wanted_at - dough.out_at >= EARLY
    )
