"""An oven's temperature over a planned day, from what hands do to it: facts for its picture. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.plan.day import HEATING, Plan, Step, StepKind
from monitor.plan.oven import COLD_OVEN_C, FALLS_C_PER_MIN, heat_change_min
from monitor.plan.steps import steps

AT_OVEN = (*HEATING, StepKind.LOAD, StepKind.STEAM, StepKind.OUT, StepKind.OVEN_OFF)


@dataclass(frozen=True, slots=True)
class Turn:
    """That an oven is set to another temperature.

    Attributes
    ----------
    at, from_c
        When, and how hot it is then. [C]
    there_at, to_c
        When it is as hot as it was set to. [C]
    """

    at: datetime
    from_c: float
    there_at: datetime
    to_c: float

    def c_at(self, at: datetime) -> float:
        """How hot it is at a moment after it was set. [C]"""
        span = self.there_at - self.at
        share = 1.0 if not span else min((at - self.at) / span, 1.0)
        return self.from_c + share * (self.to_c - self.from_c)


def ovens_of(plan: Plan) -> list[str]:
    """The names of the ovens that something is baked in."""
    return sorted({load.oven for dough in plan.doughs for load in dough.loads})


def oven_of(plan: Plan, step: Step) -> str:
    """The name of the oven that a step at the oven is about."""
    return plan.dough(step.dough).loads[(step.load or 1) - 1].oven


def turns(plan: Plan, oven: str) -> tuple[Turn, ...]:
    """How hot an oven is: each change begins from where the one before has come to."""
    return tuple(_turns(plan, (step for step in steps(plan) if step.kind in AT_OVEN and oven_of(plan, step) == oven)))


def _turns(plan: Plan, at_oven: Iterable[Step]) -> Iterable[Turn]:
    last: Turn | None = None
    for step in at_oven:
        bake = plan.dough(step.dough).recipe.bake
        if bake is None or step.kind not in (*HEATING, StepKind.OVEN_OFF):
            continue
        to_c = COLD_OVEN_C if step.kind is StepKind.OVEN_OFF else bake.oven_c if step.oven_c is None else step.oven_c
        from_c = COLD_OVEN_C if last is None else last.c_at(step.at)
        takes_min = (from_c - to_c) / FALLS_C_PER_MIN if to_c < from_c else 0.0
        if to_c > from_c:
            takes_min = heat_change_min(from_c, to_c, bake.preheat_min)
        last = Turn(step.at, from_c, step.at + timedelta(minutes=takes_min), to_c)
        yield last
