"""All that hands do in a day, of the doughs and of the ovens, by the clock."""

from monitor.plan.day import Plan, Step, StepKind, steps_of
from monitor.plan.oven import oven_steps

# What makes room comes before what takes it up, at the same minute.
_FIRST = (StepKind.OUT, StepKind.OVEN_OFF, StepKind.OVEN_DOWN)
_ORDER = (*_FIRST, *(kind for kind in StepKind if kind not in _FIRST))


def steps(plan: Plan) -> tuple[Step, ...]:
    """Every step of a plan by the clock."""
    found = [*(step for dough in plan.doughs for step in steps_of(dough)), *oven_steps(plan)]
    return tuple(sorted(found, key=lambda step: (step.at, _ORDER.index(step.kind), step.key)))
