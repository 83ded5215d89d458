"""A day to be solved, and solved again with something else about it."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Any

from monitor.plan.kitchen import Kitchen
from monitor.plan.orders import LONGEST_DAY_MIN, Order, Prepared, limits_of, prepared, task_of
from monitor.plan.solver import EFFORT_TO_EXPLAIN, SolverError, solve
from monitor.plan.tasks import DoughTask, DoughTimes, Limit, Limits

SPARE_MIN = 2 * 24 * 60  # how far past the wanted hour a plan is looked for when that hour cannot be met


@dataclass(frozen=True, slots=True)
class Question:
    """A day to be solved."""

    orders: tuple[Order, ...]
    kitchen: Kitchen
    base_at: datetime
    zone: tzinfo
    doughs: tuple[Prepared, ...]

    @property
    def horizon(self) -> int:
        wanted = [each.order.wanted_at for each in self.doughs]
        if any(at is None for at in wanted):
            return LONGEST_DAY_MIN
        latest = max(at for at in wanted if at is not None)
        return max(int((latest - self.base_at).total_seconds() // 60), 0) + SPARE_MIN

    def tasks(self, *, can_stagger: bool = False) -> tuple[DoughTask, ...]:
        return tuple(task_of(each, self.kitchen, self.base_at, can_stagger=can_stagger) for each in self.doughs)

    @property
    def limits(self) -> Limits:
        return limits_of(self.kitchen, self.base_at, self.horizon, self.zone)

    def times(self) -> tuple[DoughTimes, ...] | None:
        """The best times; None when there are none."""
        return solve(self.tasks(), self.limits, self.horizon)

    def tried(self, *lifted: Limit, can_stagger: bool = False) -> tuple[DoughTimes, ...] | None:
        """Times with something else about the day; None when there are none, or none was found in little effort."""
        tasks = self.tasks(can_stagger=can_stagger)
        try:
            return solve(tasks, self.limits, self.horizon, frozenset(lifted), effort=EFFORT_TO_EXPLAIN)
        except SolverError:
            return None

    def with_kitchen(self, kitchen: Kitchen) -> "Question":
        return replace(self, kitchen=kitchen)

    def with_bake(self, key: str, **changes: Any) -> "Question":
        """The same day with something else done about one dough's bake."""
        orders, doughs = [], []
        for order, dough in zip(self.orders, self.doughs, strict=True):
            bake = order.recipe.bake
            if dough.key == key and bake is not None:
                order = replace(order, recipe=replace(order.recipe, bake=replace(bake, **changes)))
                dough = prepared(key, order, self.kitchen)
            orders.append(order)
            doughs.append(dough)
        return replace(self, orders=tuple(orders), doughs=tuple(doughs))

    def at(self, minute: float) -> datetime:
        return self.base_at + timedelta(minutes=minute)
