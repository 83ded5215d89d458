"""What a demo's day bakes: its recipes, the plan of the dough that goes into the oven, and the hands at it."""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from monitor.demo.example import RECIPES
from monitor.demo.processes import DemoError
from monitor.plan.day import Plan, StepKind, first_step_key
from monitor.plan.kitchen import Kitchen, Place
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.batch import BatchId
from monitor.recipe.events import PROOFER
from monitor.recipe.method import ROOM
from monitor.settings.recipes import read_recipe
from monitor.store.store import Store

BAKED = "seeded-tins"
"""Name of the recipe's file, and of the batch of the day whose plan it is."""
KITCHEN = Kitchen(places=(Place(ROOM, 25.0), Place(PROOFER, 30.0)))
DONE_AFTER = timedelta(minutes=2)  # the baker is at the oven some minutes after the phone rang
_AT_OVEN = (StepKind.OVEN_ON, StepKind.LOAD, StepKind.STEAM, StepKind.OUT)


@dataclass(frozen=True, slots=True)
class Oven:
    """The plan of the dough that is baked, followed by hands that do what they are called for."""

    store: Store
    plan: Plan

    def act(self, now: datetime) -> None:
        """Do at the oven what was called for some minutes ago."""
        cues, done = self.store.plans.cues(self.plan.id), self.store.plans.done(self.plan.id)
        for step in steps(self.plan):
            called_at = cues.get(step.key)
            if step.kind in _AT_OVEN and step.key not in done and called_at and now >= called_at + DONE_AFTER:
                self.store.plans.mark_done(self.plan.id, step.key, now)


def planned(store: Store, batch_id: BatchId, now: datetime, zone: tzinfo) -> Oven:
    """The plan of a proof that begins now and of its bake, kept together with the batch that is that proof."""
    made = make_plan((Order(read_recipe(RECIPES / f"{BAKED}.toml"), None),), KITCHEN, now, zone)
    if isinstance(made, NoPlan):
        raise DemoError("the demo's own recipe makes no day; this is a fault of the program")
    plan = store.plans.add(made)
    dough = plan.doughs[0]
    store.plans.link_batch(plan.id, first_step_key(dough, dough.stages[0]), batch_id)
    return Oven(store, plan)
