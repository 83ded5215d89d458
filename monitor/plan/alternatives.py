"""The same bread made otherwise, side by side: more or less yeast, warmer or colder, a night in the refrigerator."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from enum import StrEnum

from monitor.plan.day import DoughPlan, Plan
from monitor.plan.kitchen import Kitchen, Place
from monitor.plan.orders import Order
from monitor.plan.planner import NoPlan, make_plan
from monitor.recipe.batch import Stage
from monitor.recipe.ingredients import YEASTS
from monitor.recipe.method import ROOM
from monitor.recipe.parts import Recipe, with_more_yeast

YEAST_FACTORS = (0.5, 2.0)
ROOM_STEPS_C = (-3.0, 3.0)
NIGHT_H = 10.0  # judgement: shaped in the evening, baked in the morning


class Variation(StrEnum):
    """What is made otherwise."""

    AS_WRITTEN = "as written"
    YEAST = "yeast"
    ROOM = "room"
    NIGHT = "night"


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to make the bread.

    Attributes
    ----------
    amount
        Times the yeast, degrees more in the room [C], or hours in the refrigerator [h]; 0 as written.
    plan
        The day it makes, or why it makes none.
    """

    variation: Variation
    amount: float
    plan: Plan | NoPlan

    @property
    def dough(self) -> DoughPlan | None:
        """Its dough on the clock; None when it makes no day."""
        return self.plan.doughs[0] if isinstance(self.plan, Plan) else None


def alternatives(order: Order, kitchen: Kitchen, now: datetime, zone: tzinfo) -> tuple[Alternative, ...]:
    """The bread as written and otherwise, each planned for the same hour, alone in the kitchen."""
    return tuple(
        Alternative(variation, amount, make_plan((other,), there, now, zone))
        for variation, amount, other, there in _variations(order, kitchen)
    )


def _variations(order: Order, kitchen: Kitchen) -> Iterator[tuple[Variation, float, Order, Kitchen]]:
    recipe = order.recipe
    yield Variation.AS_WRITTEN, 0.0, order, kitchen
    if any(each.kind in YEASTS for part in recipe.parts for each in part.ingredients):
        for factor in YEAST_FACTORS:
            yield Variation.YEAST, factor, replace(order, recipe=with_more_yeast(recipe, factor)), kitchen
    if any(stage.place == ROOM for stage in recipe.method):
        for step_c in ROOM_STEPS_C:
            yield Variation.ROOM, step_c, order, _with_room(kitchen, kitchen.place(ROOM).temp_c + step_c)
    overnight = _overnight(recipe)
    if overnight is not None:
        yield Variation.NIGHT, NIGHT_H, replace(order, recipe=overnight), kitchen


def _with_room(kitchen: Kitchen, temp_c: float) -> Kitchen:
    others = tuple(each for each in kitchen.places if each.name != ROOM)
    return replace(kitchen, places=(*others, Place(ROOM, temp_c, kitchen.place(ROOM).holds)))


def _overnight(recipe: Recipe) -> Recipe | None:
    """The recipe with its shaped pieces overnight in the refrigerator; None when they are there already."""
    last = recipe.method[-1]
    if last.stage is not Stage.FINAL_PROOF or last.cold_h > 0.0 or last.hours is not None:
        return None
    return replace(recipe, method=(*recipe.method[:-1], replace(last, cold_h=NIGHT_H)))
