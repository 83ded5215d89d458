"""A plan in a baker's words: its steps, when it is out, how long the loaves stay good."""

from collections.abc import Iterator
from datetime import datetime

from monitor.bakery.manner import Manner
from monitor.bakery.phrases import clock_text, duration_text, printable, stage_word, temp_text
from monitor.plan.day import DoughPlan, Plan, Step, StepKind, steps


def minutes_text(minutes: float) -> str:
    """A span as a plan tells it: nothing shorter than a minute."""
    return duration_text(max(minutes, 1.0))


def step_text(dough: DoughPlan, step: Step, manner: Manner) -> str:
    """What hands do in a step, without its time.

    For example ``shape it: final proof``, ``load 2 of 2 in``.
    """
    recipe = dough.recipe
    if step.stage is not None:
        method = recipe.method[step.stage]
        stage = f"{stage_word(method.stage, manner)} begins"
        hands = f", {minutes_text(step.hands_min)} of hands" if step.hands_min > 0.0 else ""
        if step.kind is StepKind.MIX:
            return f"mix {printable(method.part)}{hands}; {stage}"
        if step.kind is StepKind.SHAPE:
            what = "divide and shape" if recipe.pieces > 1 else "shape it"
            return f"{what}{hands}; {stage}"
        if step.kind is StepKind.CHILL:
            return f"into the refrigerator; {stage}"
        return f"out of the refrigerator, into the {method.place}" if method.cold_h > 0.0 else f"to the {method.place}"
    if step.kind is StepKind.OVEN_ON:
        heat = "" if recipe.bake is None else f" to {temp_text(recipe.bake.oven_c, manner)}"
        return f"oven on{heat}, the stone in it"
    n = len(dough.loads)
    which = f"load {step.load} of {n}" if n > 1 else "the bread" if recipe.pieces == 1 else "all of it"
    return {StepKind.LOAD: f"{which} in", StepKind.STEAM: f"steam for {which}", StepKind.OUT: f"{which} out"}[step.kind]


def step_lines(plan: Plan, manner: Manner, now: datetime) -> Iterator[str]:
    """Every step with its time, a line each; the day is said where it changes."""
    has_many = len(plan.doughs) > 1
    for step in steps(plan):
        dough = plan.dough(step.dough)
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        limit = "" if step.not_after is None else f" (by {clock_text(step.not_after, manner, step.at)} at the latest)"
        yield f"{clock_text(step.at, manner, now)}  {who}{step_text(dough, step, manner)}{limit}"


def out_sentence(dough: DoughPlan, manner: Manner, now: datetime) -> str:
    """When it is out of the oven, and how far the dough may move that."""
    early, late = (doubt.total_seconds() / 60.0 for doubt in dough.doubt)
    done = "out of the oven" if dough.loads else "ready"
    return (
        f"{printable(dough.recipe.name)}: {done} {clock_text(dough.out_at, manner, now)}; by itself the dough may be "
        f"{minutes_text(early)} earlier or {minutes_text(late)} later, and the plan moves with it"
    )


def window_sentence(dough: DoughPlan, manner: Manner) -> str:
    """How long the loaves stay good, load by load; empty without a bake."""
    told = [
        f"load {load.number} is proofed {clock_text(load.opens_at, manner)} and good until "
        f"{clock_text(load.closes_at, manner, load.opens_at)}"
        for load in dough.loads
    ]
    return "; ".join(told).replace("load 1", "it") if len(told) == 1 else "; ".join(told)
