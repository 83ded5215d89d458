"""A day made: the plan, or what stands in its way, by how many minutes, and what would mend it."""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from monitor.plan.day import Plan, PlanId
from monitor.plan.kitchen import Kitchen
from monitor.plan.obstacles import OBSTACLES, Obstacle
from monitor.plan.orders import Order, dough_plan, prepared
from monitor.plan.problem import Question
from monitor.plan.remedies import MENDS, Mend
from monitor.plan.tasks import Limit


@dataclass(frozen=True, slots=True)
class NoPlan:
    """Why there is none. Without any obstacle several limits stand in the way at once."""

    obstacles: tuple[Obstacle, ...]
    mends: tuple[Mend, ...]


def keys_of(orders: tuple[Order, ...]) -> tuple[str, ...]:
    """A short name for each order: its recipe's, numbered where it comes twice."""
    found: list[str] = []
    for order in orders:
        name = " ".join(order.recipe.name.casefold().replace("/", " ").split())
        n = sum(each == name or each.startswith(f"{name} #") for each in found)
        found.append(f"{name} #{n + 1}" if n else name)
    return tuple(found)


def make_plan(orders: tuple[Order, ...], kitchen: Kitchen, now: datetime, zone: tzinfo) -> Plan | NoPlan:
    """The best plan for a day from now on, or why there is none.

    Parameters
    ----------
    zone
        Of the clock that the kitchen's hours are told by.

    Raises
    ------
    ValueError
        When a recipe has no stages, or names a place that the kitchen does not have.
    SolverError
        When the solver could not decide.
    """
    base_at = now.replace(second=0, microsecond=0)
    doughs = tuple(prepared(key, order, kitchen) for key, order in zip(keys_of(orders), orders, strict=True))
    question = Question(orders, kitchen, base_at, zone, doughs)
    times = question.times()
    if times is None:
        return _explained(question)
    plans = tuple(dough_plan(each, found, base_at) for each, found in zip(doughs, times, strict=True))
    return Plan(PlanId(0), now, kitchen, plans)


def _explained(question: Question) -> NoPlan:
    """Lift each limit alone: what helps is what stands in the way."""
    obstacles: list[Obstacle] = []
    mends: list[Mend] = []
    for limit in Limit:
        times = question.tried(limit)
        if times is None:
            continue
        found = OBSTACLES[limit](question, times)
        obstacles += found
        if found:
            mends += MENDS[limit](question, found)
    return NoPlan(tuple(obstacles), tuple(mends))
