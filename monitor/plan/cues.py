"""What a plan says now: each step's cue once, when its time has come, and that the plan has moved."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.kinds import CueKind
from monitor.plan.day import DoughPlan, Plan, Step, StepKind, steps, steps_of
from monitor.plan.live import Progress, hotter_c
from monitor.translatable import N_
from monitor.wording.phrases import degrees_text, place_word, printable, temp_text
from monitor.wording.plan_steps import minutes_text, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text

TOO_LATE = timedelta(minutes=30)  # judgement: after that a cue is history, and the plan has moved
STEAM_TOO_LATE = timedelta(minutes=5)
MOVED_BY = timedelta(minutes=10)  # judgement: what a baker arranges another way for
MOVED_SHARE = 0.15  # judgement: of the time still to go; far ahead a forecast sways more than it says

_KINDS = {
    StepKind.MIX: CueKind.MIX,
    StepKind.SHAPE: CueKind.SHAPE,
    StepKind.CHILL: CueKind.MOVE,
    StepKind.MOVE: CueKind.MOVE,
    StepKind.OVEN_ON: CueKind.OVEN_ON,
    StepKind.LOAD: CueKind.LOAD,
    StepKind.STEAM: CueKind.STEAM,
    StepKind.OUT: CueKind.OUT,
}


@dataclass(frozen=True, slots=True)
class Cue:
    """Something to be said now, once.

    Attributes
    ----------
    key
        The step's, or the dough's with the hour it has moved to: the same cue is never given twice.
    """

    key: str
    kind: CueKind
    dough: str
    at: datetime
    title: str
    text: str


def is_done(dough: DoughPlan, step: Step, progress: Progress) -> bool:
    """True when a step was marked as done, or what follows it has begun."""
    if step.key in progress.done:
        return True
    last = len(dough.stages) - 1
    if step.stage is not None:
        watched = progress.watched.get((dough.key, step.stage))
        is_first = step.key.split("/")[-1] != StepKind.MOVE or dough.recipe.method[step.stage].cold_h == 0.0
        return watched is not None and (is_first or watched.ended_at is not None)
    proof = progress.watched.get((dough.key, last))
    is_loaded = proof is not None and proof.ended_at is not None
    if step.kind is StepKind.OVEN_ON:
        return is_loaded
    if step.kind is StepKind.LOAD:
        return (is_loaded and step.load == 1) or _has_gone_on(dough, step, progress)
    return _has_gone_on(dough, step, progress)


def _has_gone_on(dough: DoughPlan, step: Step, progress: Progress) -> bool:
    """True when a later step of the same load, or a later load, was marked as done."""
    mine = [
        each.key for each in steps_of(dough) if each.load is not None and (each.load, each.at) >= (step.load, step.at)
    ]
    return any(key in progress.done for key in mine if key != step.key)


def _says(dough: DoughPlan, step: Step, reader: Reader) -> str:
    words = step_text(dough, step, reader)
    parts = [f"{words[0].upper()}{words[1:]}."]
    before = dough.stages[step.stage - 1] if step.stage else None
    is_taken_on = step.kind in (StepKind.SHAPE, StepKind.CHILL)
    if is_taken_on and before is not None and before.ready_at is not None and before.ready_at > step.at:
        parts.append(
            reader.say(
                _EARLY[step.kind],
                at=clock_text(before.ready_at, reader, step.at),
                time=minutes_text((before.ready_at - step.at).total_seconds() / 60.0),
            )
        )
    if step.kind is StepKind.OVEN_ON and dough.loads:
        in_at = clock_text(dough.loads[0].in_at, reader, step.at)
        parts.append(reader.say("The first load goes in about {at}.", at=in_at))
    if step.kind is StepKind.LOAD and step.not_after is not None:
        parts.append(reader.say("It is good until {at}.", at=clock_text(step.not_after, reader, step.at)))
        if step.not_after < step.at:
            parts.append(reader.say("That is over: bake it first, handle it gently."))
    if step.kind in (StepKind.LOAD, StepKind.STEAM, StepKind.OUT):
        parts.append(reader.say("Open the door standing aside, face and arms out of the steam."))
    return " ".join(parts)


_EARLY = {
    StepKind.SHAPE: N_("It is ready {at}; the call is early by {time}, for the hands it takes."),
    StepKind.CHILL: (
        N_("It is ready {at}; the call is early by {time}, for the hands it takes and what it rises on while it cools.")
    ),
}


def cue_word(kind: CueKind, reader: Reader) -> str:
    """What a cue calls for, in a word or two."""
    return reader.say(_CUE_WORDS[kind])


_CUE_WORDS = {
    CueKind.MIX: N_("mix now"),
    CueKind.SHAPE: N_("shape now"),
    CueKind.MOVE: N_("move it now"),
    CueKind.OVEN_ON: N_("oven on now"),
    CueKind.LOAD: N_("load now"),
    CueKind.STEAM: N_("steam now"),
    CueKind.OUT: N_("out now"),
    CueKind.MOVED: N_("plan moved"),
}


def cues(plan: Plan, now: datetime, progress: Progress, said: Collection[str], reader: Reader) -> tuple[Cue, ...]:
    """What must be said of a plan at a moment, in the order of the day.

    Pure: the same plan and progress give the same cues.

    Parameters
    ----------
    plan
        As the doughs have it: what :func:`~monitor.plan.live.retimed` made.
    said
        Keys of cues that were given already.
    """
    return tuple(_due(plan, now, progress, said, reader))


def _due(plan: Plan, now: datetime, progress: Progress, said: Collection[str], reader: Reader) -> Iterator[Cue]:
    for step in steps(plan):
        dough = plan.dough(step.dough)
        too_late = STEAM_TOO_LATE if step.kind is StepKind.STEAM else TOO_LATE
        if step.key in said or not step.at <= now < step.at + too_late or is_done(dough, step, progress):
            continue
        name, kind = printable(dough.recipe.name), _KINDS[step.kind]
        if step.load is not None and len(dough.loads) > 1:
            name = reader.say("load {load}, {dough}", load=step.load, dough=name)
        title = f"{cue_word(kind, reader)}: {name}"
        yield Cue(step.key, kind, dough.key, now, title, _says(dough, step, reader))


def moved_cues(
    made: Plan, live: Plan, now: datetime, progress: Progress, told: Mapping[str, datetime], reader: Reader
) -> tuple[Cue, ...]:
    """That a dough's later times have moved clearly since they were last told: by ten minutes, or more when far ahead.

    Parameters
    ----------
    made, live
        The plan as it was made, and as the doughs have it.
    told
        For each dough, when it was last said to be out.
    """
    found = []
    for dough in live.doughs:
        was_at = told.get(dough.key, made.dough(dough.key).out_at)
        shift = dough.out_at - was_at
        if abs(shift) < max(MOVED_BY, MOVED_SHARE * (dough.out_at - now)) or dough.out_at <= now:
            continue
        minutes = minutes_text(abs(shift).total_seconds() / 60.0)
        moved = N_("Everything still to come is {time} earlier.") if shift < timedelta() else _LATER
        parts = (
            reader.say(moved, time=minutes),
            _why(made, progress, reader),
            *_what_comes(dough, now, progress, reader),
        )
        title = f"{cue_word(CueKind.MOVED, reader)}: {printable(dough.recipe.name)}"
        key = f"{dough.key}/moved/{dough.out_at:%Y%m%dT%H%M}"
        found.append(Cue(key, CueKind.MOVED, dough.key, now, title, " ".join(part for part in parts if part)))
    return tuple(found)


_LATER = N_("Everything still to come is {time} later.")
_LATE_LOAD = N_(
    "Load {load} would go in {time} after its window: put it somewhere colder for a while, or shape it later."
)


def _why(made: Plan, progress: Progress, reader: Reader) -> str:
    other = hotter_c(made, progress)
    if other is None:
        return ""
    name, planned_c, air_c = other
    told = reader.say(
        N_("{place} is {air}, {degrees} warmer than planned.")
        if air_c > planned_c
        else N_("{place} is {air}, {degrees} colder than planned."),
        place=place_word(name, reader),
        air=temp_text(air_c, reader),
        degrees=degrees_text(air_c - planned_c, reader),
    )
    return f"{told[0].upper()}{told[1:]}"


def _what_comes(dough: DoughPlan, now: datetime, progress: Progress, reader: Reader) -> Iterator[str]:
    ahead = [step for step in steps_of(dough) if step.at > now and not is_done(dough, step, progress)]
    told = [step for step in ahead if step.kind is not StepKind.STEAM]
    steps_told = "; ".join(f"{clock_text(step.at, reader, now)} {step_text(dough, step, reader)}" for step in told)
    yield f"{steps_told}."
    for load in dough.loads:
        if load.in_at > load.closes_at and load.in_at > now:
            late = minutes_text((load.in_at - load.closes_at).total_seconds() / 60.0)
            yield reader.say(_LATE_LOAD, load=load.number, time=late)
