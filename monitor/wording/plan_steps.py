"""A plan in a baker's words: its steps, when it is out, how long the loaves stay good."""

from collections.abc import Iterator
from datetime import datetime

from monitor.plan.day import DoughPlan, Plan, Step, StepKind, steps
from monitor.translatable import N_
from monitor.wording.phrases import into_place_text, printable, stage_word, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text


def minutes_text(minutes: float) -> str:
    """A span as a plan tells it: nothing shorter than a minute."""
    return duration_text(max(minutes, 1.0))


def step_text(dough: DoughPlan, step: Step, reader: Reader) -> str:
    """What hands do in a step, without its time.

    For example ``shape it: final proof``, ``load 2 of 2 in``.
    """
    if step.stage is not None:
        return _stage_step_text(dough, step, step.stage, reader)
    recipe = dough.recipe
    if step.kind is StepKind.OVEN_ON:
        if recipe.bake is None:
            return reader.say("oven on, the stone in it")
        return reader.say("oven on to {temp}, the stone in it", temp=temp_text(recipe.bake.oven_c, reader))
    n = len(dough.loads)
    if n > 1:
        return reader.say(_LOAD_STEPS[step.kind], load=step.load, n=n)
    return reader.say((_BREAD_STEPS if recipe.pieces == 1 else _BATCH_STEPS)[step.kind])


_LOAD_STEPS = {
    StepKind.LOAD: N_("load {load} of {n} in"),
    StepKind.STEAM: N_("steam for load {load} of {n}"),
    StepKind.OUT: N_("load {load} of {n} out"),
}
_BREAD_STEPS = {
    StepKind.LOAD: N_("the bread in"),
    StepKind.STEAM: N_("steam for the bread"),
    StepKind.OUT: N_("the bread out"),
}
_BATCH_STEPS = {
    StepKind.LOAD: N_("all of it in"),
    StepKind.STEAM: N_("steam for all of it"),
    StepKind.OUT: N_("all of it out"),
}


def _stage_step_text(dough: DoughPlan, step: Step, number: int, reader: Reader) -> str:
    recipe, method = dough.recipe, dough.recipe.method[number]
    if step.kind not in (StepKind.MIX, StepKind.SHAPE, StepKind.CHILL):
        where = into_place_text(method.place, reader)
        return reader.say("out of the refrigerator, {where}", where=where) if method.cold_h > 0.0 else where
    if step.kind is StepKind.MIX:
        what = reader.say("mix {part}", part=printable(method.part))
    elif step.kind is StepKind.SHAPE:
        what = reader.say(N_("divide and shape") if recipe.pieces > 1 else N_("shape it"))
    else:
        what = reader.say("into the refrigerator")
    begins = reader.say("{stage} begins", stage=stage_word(method.stage, reader))
    if step.hands_min > 0.0 and step.kind is not StepKind.CHILL:
        hands = reader.say("{time} of hands", time=minutes_text(step.hands_min))
        return f"{what}, {hands}; {begins}"
    return f"{what}; {begins}"


def step_lines(plan: Plan, reader: Reader, now: datetime) -> Iterator[str]:
    """Every step with its time, a line each; the day is said where it changes."""
    has_many = len(plan.doughs) > 1
    for step in steps(plan):
        dough = plan.dough(step.dough)
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        limit = ""
        if step.not_after is not None:
            latest = clock_text(step.not_after, reader, step.at)
            limit = " (" + reader.say("by {at} at the latest", at=latest) + ")"
        yield f"{clock_text(step.at, reader, now)}  {who}{step_text(dough, step, reader)}{limit}"


def out_sentence(dough: DoughPlan, reader: Reader, now: datetime) -> str:
    """When it is out of the oven, and how far the dough may move that."""
    early, late = (minutes_text(doubt.total_seconds() / 60.0) for doubt in dough.doubt)
    return reader.say(
        _OUT_OF_OVEN if dough.loads else _READY,
        dough=printable(dough.recipe.name),
        at=clock_text(dough.out_at, reader, now),
        early=early,
        late=late,
    )


_OUT_OF_OVEN = N_(
    "{dough}: out of the oven {at}; by itself the dough may be {early} earlier or {late} later, "
    "and the plan moves with it"
)
_READY = N_(
    "{dough}: ready {at}; by itself the dough may be {early} earlier or {late} later, and the plan moves with it"
)


def window_sentence(dough: DoughPlan, reader: Reader) -> str:
    """How long the loaves stay good, load by load; empty without a bake."""
    is_one = len(dough.loads) == 1
    return "; ".join(
        reader.say(
            N_("it is proofed {opens} and good until {closes}")
            if is_one
            else N_("load {load} is proofed {opens} and good until {closes}"),
            load=load.number,
            opens=clock_text(load.opens_at, reader),
            closes=clock_text(load.closes_at, reader, load.opens_at),
        )
        for load in dough.loads
    )
