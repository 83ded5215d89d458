"""All that hands do in a day, of the doughs and of the ovens, by the clock."""

from dataclasses import dataclass
from datetime import datetime

from monitor.plan.day import DoughPlan, Plan, StagePlan, Step, StepKind, steps_of
from monitor.plan.oven import oven_steps

# What makes room comes before what takes it up, at the same minute.
_FIRST = (StepKind.OUT, StepKind.OVEN_OFF, StepKind.OVEN_DOWN)
_ORDER = (*_FIRST, *(kind for kind in StepKind if kind not in _FIRST))


def steps(plan: Plan) -> tuple[Step, ...]:
    """Every step of a plan by the clock."""
    found = [*(step for dough in plan.doughs for step in steps_of(dough)), *oven_steps(plan)]
    return tuple(sorted(found, key=lambda step: (step.at, _ORDER.index(step.kind), step.key)))


def numbered(made: Plan, now: Plan) -> dict[int, Step]:
    """The steps of a plan as it stands now, by the numbers that they have had since it was made.

    A number that followed the clock would be another step's a minute later. What came in since, such as an oven that
    must go up again, has the next ones.
    """
    found = {step.key: step for step in steps(now)}
    keys = dict.fromkeys([*(step.key for step in steps(made)), *found])
    return {number: found[key] for number, key in enumerate(keys, start=1) if key in found}


@dataclass(frozen=True, slots=True)
class FoldDue:
    """A fold while a stage stands. It is no step to be ticked off: the batch that watches the stage calls for it."""

    dough: str
    at: datetime
    hands_min: float


def with_folds(plan: Plan) -> list[Step | FoldDue]:
    """Every step of a plan, and every fold that comes before its stage is ready, by the clock."""
    found: list[Step | FoldDue] = [*steps(plan)]
    for dough in plan.doughs:
        for stage in dough.stages:
            found += folds_of(dough, stage)
    return sorted(found, key=lambda each: each.at)


def folds_of(dough: DoughPlan, stage: StagePlan) -> list[FoldDue]:
    """The folds of a stage that come before it is ready."""
    ready_at = stage.ready_at or stage.ends_at
    return [
        FoldDue(dough.key, at, step.hands_min)
        for step in dough.method(stage).steps
        for at in map(stage.at, step.after_min)
        if at < ready_at
    ]
