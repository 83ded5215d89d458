"""What a plan calls for, in words: each cue's title and text, and how long doughs with egg or milk are warm."""

from collections.abc import Iterator
from datetime import timedelta
from typing import assert_never

from monitor.alerts.kinds import CueKind
from monitor.dough.warmth import WARM_C
from monitor.plan.causes import Cause, CauseKind
from monitor.plan.cues import Cue, MovedCue, StepCue
from monitor.plan.day import DoughPlan, StepKind
from monitor.plan.food import expected_warm_min
from monitor.plan.live import AirDifference
from monitor.translatable import N_
from monitor.wording.food import guidance_sentence
from monitor.wording.phrases import degrees_text, place_word, printable, stage_word, temp_text
from monitor.wording.plan import step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text, minutes_text


def cue_word(kind: CueKind, reader: Reader) -> str:
    """What a cue calls for, in a word or two."""
    match kind:
        case CueKind.MIX:
            return reader.say("mix now")
        case CueKind.SHAPE:
            return reader.say("shape now")
        case CueKind.MOVE:
            return reader.say("move it now")
        case CueKind.OVEN_ON:
            return reader.say("oven on now")
        case CueKind.OVEN_HEAT:
            return reader.say("oven to another heat now")
        case CueKind.OVEN_OFF:
            return reader.say("oven off now")
        case CueKind.LOAD:
            return reader.say("load now")
        case CueKind.STEAM:
            return reader.say("steam now")
        case CueKind.OUT:
            return reader.say("out now")
        case CueKind.MOVED:
            return reader.say("plan moved")
        case _:
            assert_never(kind)


def cue_title(cue: Cue, reader: Reader) -> str:
    """A cue on one line: what it calls for, and of which dough."""
    name = printable(cue.dough.recipe.name)
    if isinstance(cue, StepCue) and cue.step.load is not None and len(cue.dough.loads) > 1:
        name = reader.say("load {load}, {dough}", load=cue.step.load, dough=name)
    return f"{cue_word(cue.kind, reader)}: {name}"


def cue_text(cue: Cue, reader: Reader) -> str:
    """All that a cue says below its title."""
    match cue:
        case StepCue():
            return " ".join(_step_sentences(cue, reader))
        case MovedCue():
            return " ".join(_moved_sentences(cue, reader))
        case _:
            assert_never(cue)


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"


def _step_sentences(cue: StepCue, reader: Reader) -> Iterator[str]:
    dough, step = cue.dough, cue.step
    yield f"{_capital(step_text(dough, step, reader))}."
    if cue.early_until_at is not None:
        yield reader.say(
            N_(
                "It is ready {at}; the call is early by {time}, for the hands it takes and what it rises on while it "
                "cools."
            )
            if step.kind is StepKind.CHILL
            else N_("It is ready {at}; the call is early by {time}, for the hands it takes."),
            at=clock_text(cue.early_until_at, reader, step.at),
            time=minutes_text((cue.early_until_at - step.at).total_seconds() / 60.0),
        )
    if step.kind in (StepKind.OVEN_ON, StepKind.OVEN_UP, StepKind.OVEN_DOWN) and dough.loads:
        in_at = clock_text(dough.loads[(step.load or 1) - 1].in_at, reader, step.at)
        if (step.load or 1) == 1:
            yield reader.say("The first load goes in about {at}.", at=in_at)
        else:
            yield reader.say("Load {load} goes in about {at}.", load=step.load, at=in_at)
    if step.kind is StepKind.LOAD and step.not_after is not None:
        yield reader.say("It is good until {at}.", at=clock_text(step.not_after, reader, step.at))
        if step.not_after < step.at:
            yield reader.say("That is over: bake it first, handle it gently.")
    if step.kind in (StepKind.LOAD, StepKind.STEAM, StepKind.OUT):
        yield reader.say("Open the door standing aside, face and arms out of the steam.")


def _moved_sentences(cue: MovedCue, reader: Reader) -> Iterator[str]:
    yield reader.say(
        N_("Everything still to come is {time} earlier.")
        if cue.shift < timedelta()
        else N_("Everything still to come is {time} later."),
        time=minutes_text(abs(cue.shift).total_seconds() / 60.0),
    )
    for cause in cue.causes:
        yield cause_sentence(cue.dough, cause, reader)
    steps = [step for step in cue.ahead if step.kind is not StepKind.STEAM]
    ahead = "; ".join(f"{clock_text(step.at, reader, cue.at)} {step_text(cue.dough, step, reader)}" for step in steps)
    yield f"{ahead}."
    for load in cue.late_loads:
        late = minutes_text((load.in_at - load.closes_at).total_seconds() / 60.0)
        yield reader.say(
            "Load {load} would go in {time} after its window: put it somewhere colder for a while, or shape it later.",
            load=load.number,
            time=late,
        )


def cause_sentence(dough: DoughPlan, cause: Cause, reader: Reader) -> str:
    """What has moved a dough."""
    stage = "" if cause.stage is None else stage_word(dough.recipe.method[cause.stage].stage, reader)
    is_later, time = cause.minutes > 0.0, minutes_text(abs(cause.minutes))
    match cause.kind:
        case CauseKind.AIR:
            return "" if cause.air is None else _capital(_air_sentence(cause.air, reader))
        case CauseKind.DOUGH:
            return reader.say(
                N_("The {stage} is {time} slower than planned.")
                if is_later
                else N_("The {stage} is {time} quicker than planned."),
                stage=stage,
                time=time,
            )
        case CauseKind.BEGUN:
            return reader.say(
                N_("The {stage} begins {time} later than planned.")
                if is_later
                else N_("The {stage} begins {time} earlier than planned."),
                stage=stage,
                time=time,
            )
        case CauseKind.OVEN:
            return reader.say(
                N_("It waits {time} longer for the oven.") if is_later else N_("It waits {time} less for the oven."),
                time=time,
            )
        case CauseKind.BACK:
            return reader.say("It comes back towards the plan that was made.")
        case _:
            assert_never(cause.kind)


def _air_sentence(air: AirDifference, reader: Reader) -> str:
    return reader.say(
        N_("{place} is {air}, {degrees} warmer than planned.")
        if air.difference_c > 0.0
        else N_("{place} is {air}, {degrees} colder than planned."),
        place=place_word(air.place, reader),
        air=temp_text(air.measured_c, reader),
        degrees=degrees_text(air.difference_c, reader),
    )


def planned_air_sentence(air: AirDifference, reader: Reader) -> str:
    """That a place is not as it was planned with."""
    return reader.say(
        "{place} is {air}; the plan was made for {planned}",
        place=place_word(air.place, reader),
        air=temp_text(air.measured_c, reader),
        planned=temp_text(air.planned_c, reader),
    )


# -- time above 5 C ---------------------------------------------------------------------------------------------------


def food_sentence(dough: DoughPlan, reader: Reader, measured_min: float | None = None) -> str:
    """Time above 5 C and the public guidance; empty for a dough without egg, milk or the like.

    Parameters
    ----------
    measured_min
        What was measured so far; None when nothing was. [min]
    """
    names = dough.recipe.perishables(dough.recipe.dough)
    if not names:
        return ""
    holes = {
        "dough": printable(dough.recipe.name),
        "what": ", ".join(printable(name) for name in names),
        "warm": duration_text(expected_warm_min(dough)),
        "limit": temp_text(WARM_C, reader),
    }
    if measured_min is None:
        warm = reader.say("{dough} holds {what}: about {warm} above {limit} before the oven.", **holes)
    else:
        warm = reader.say(
            "{dough} holds {what}: about {warm} above {limit} before the oven, {seen} of it measured so far.",
            seen=duration_text(measured_min),
            **holes,
        )
    return f"{warm} {guidance_sentence(reader)}"
