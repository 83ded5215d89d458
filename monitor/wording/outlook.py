"""What a colleague would say of one dough: when it will be ready, what hands must do next, what its curve shows."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import assert_never

from monitor.alerts.ripeness import ripe_window
from monitor.dough import tasks
from monitor.dough.outlook import Cause, KeptText, NoForecast, Obstruction, ObstructionKind, Outlook, State
from monitor.dough.tasks import Do, ready_since
from monitor.recipe.batch import Batch, Event, EventKind, Stage
from monitor.translatable import N_
from monitor.wording.phrases import flag_text, printable, rise_text, stage_word, state_word, target_text
from monitor.wording.reader import Reader
from monitor.wording.times import about_text, clock_text, duration_text

LOOK_BY_EYE = N_("look at the dough and note its level")


@dataclass(frozen=True, slots=True)
class Task:
    """What hands must do next for one batch.

    Attributes
    ----------
    at
        When, as an aware UTC datetime; None when that cannot be said.
    text
        What, without its time.
    said
        The same as a clause that stands alone: with "now", or with its time where that is the baker's to keep.
    is_now
        True when it is due.
    """

    at: datetime | None
    text: str
    said: str
    is_now: bool = False


def next_words(stage: Stage, reader: Reader) -> str:
    """What follows a stage when it went well, as a task."""
    match stage:
        case Stage.PREFERMENT:
            return reader.say("mix the dough with it")
        case Stage.FIRST_RISE:
            return reader.say("divide and shape")
        case Stage.FINAL_PROOF:
            return reader.say("load the oven")
        case Stage.RETARD:
            return reader.say("take it out of the cold")
        case _:
            assert_never(stage)


def rescue_words(stage: Stage, reader: Reader) -> str:
    """What can be done with a dough that is past its peak."""
    match stage:
        case Stage.PREFERMENT:
            return reader.say("use it now, it is weaker, or feed it again")
        case Stage.FIRST_RISE:
            return reader.say("fold and chill, or shape now")
        case Stage.FINAL_PROOF:
            return reader.say("bake it now, handle it gently")
        case Stage.RETARD:
            return reader.say("bake it now, or fold and shape it again")
        case _:
            assert_never(stage)


def no_forecast_words(why: NoForecast | KeptText, reader: Reader) -> str:
    """Why there is no forecast, and what to do about it; what an older version kept as prose stays as it is."""
    match why:
        case NoForecast.NO_READING_YET:
            return reader.say("no reading has come yet: check that the node is on and that the batch names it")
        case NoForecast.NO_LEVEL_YET:
            return reader.say("no level has been noted yet: read it off the wall")
        case NoForecast.NOT_ESTIMATED:
            return reader.say("not estimated: a fault in this program; its readings are kept, its log says more")
        case KeptText():
            return why.text
        case _:
            assert_never(why)


def do_words(do: Do, stage: Stage, reader: Reader) -> str:
    """What is to be done at a dough in a stage, without its time."""
    match do:
        case Do.LOOK:
            return reader.say("look at the dough, then at the sensor's power and cable")
        case Do.RESCUE:
            return rescue_words(stage, reader)
        case Do.CHECK:
            return reader.say("check its warmth and whether the yeast went in")
        case Do.FOLD:
            return reader.say("fold")
        case Do.OVEN_ON:
            return reader.say("oven on")
        case Do.NEXT:
            return next_words(stage, reader)
        case _:
            assert_never(do)


def next_task(batch: Batch, outlook: Outlook, reader: Reader) -> Task | None:
    """The next thing hands must do for a batch; None for one that has ended."""
    task = tasks.next_task(batch, outlook)
    if task is None:
        return None
    window = ripe_window(batch, outlook)
    if task.do is Do.RESCUE and window is not None and outlook.at < window.closes_at:
        task = replace(task, do=Do.NEXT)  # past its peak, and ripe
    is_by_eye = task.do is Do.LOOK and not batch.nodes
    text = said = reader.say(LOOK_BY_EYE) if is_by_eye else do_words(task.do, batch.stage, reader)
    if task.do is Do.OVEN_ON and task.at is not None:
        said = reader.say("oven on {at}", at=clock_text(task.at, reader, outlook.at))
    elif task.do is Do.NEXT:
        said = reader.say(N_("{task} now") if task.is_now else N_("then: {task}"), task=text)
    return Task(task.at, text, said, task.is_now)


def todo_sentence(batch: Batch, outlook: Outlook, reader: Reader) -> str:
    """What to do next, and when, in one line; empty for a batch that has ended.

    For example ``then: divide and shape``, ``oven on 09:44``, ``divide and shape now``.
    """
    task = next_task(batch, outlook, reader)
    return "" if task is None else task.said


def _past_sentence(batch: Batch, outlook: Outlook, reader: Reader) -> str:
    """For a dough that is at or past what it waited for."""
    parts = []
    ready_at, peak_at = ready_since(outlook), outlook.peak.p50
    if ready_at is not None and not batch.target.is_peak:
        parts.append(reader.say("was ready {at}", at=clock_text(ready_at, reader, outlook.at)))
    elif not batch.target.is_peak and outlook.state is State.AT_PEAK:
        expected = about_text(outlook.ready, reader, outlook.at)
        if expected is None:
            parts.append(reader.say("will hardly get to {target}", target=target_text(batch, reader)))
        else:
            parts.append(reader.say("ready {about}", about=expected))
    if outlook.state is State.PAST_PEAK:
        if peak_at is None or peak_at > outlook.at:
            parts.append(reader.say("past its peak"))
        else:
            parts.append(reader.say("past its peak since {at}", at=clock_text(peak_at, reader, outlook.at)))
    elif outlook.state is State.AT_PEAK:
        about = about_text(outlook.peak, reader, outlook.at)
        parts.append(reader.say("at its peak") if about is None else reader.say("peak {about}", about=about))
    return "; ".join(parts)


def _ended_sentence(batch: Batch, ended_at: datetime, outlook: Outlook, reader: Reader) -> str:
    ended = clock_text(ended_at, reader)
    ready_at = outlook.ready.p50
    if ready_at is None or ready_at > ended_at:
        return reader.say("ended {at}", at=ended)
    return reader.say("ended {at}; was ready {ready}", at=ended, ready=clock_text(ready_at, reader, ended_at))


def _unread_sentence(outlook: Outlook, reader: Reader) -> str:
    silence = reader.say("no readings")
    if outlook.last_reading_at is not None:
        silence = reader.say("no readings since {at}", at=clock_text(outlook.last_reading_at, reader, outlook.at))
    return silence if outlook.why is None else f"{silence}: {no_forecast_words(outlook.why, reader)}"


PLAIN_MM = 4.0  # judgement: middle and edge no farther apart than this look as high as each other
SURE_MM = 10.0  # judgement: an edge known within this is told as one number


def edge_text(batch: Batch, outlook: Outlook, reader: Reader) -> str:
    """How high the edge of a dough will stand at its target, from and to where that is in doubt; empty when unknown."""
    edge = outlook.target_edge
    if edge is None or edge.rise_pct != batch.target.rise_pct:
        return ""
    level = edge.level_mm
    if level.p95 - level.p05 <= SURE_MM:
        return reader.say("{level} mm up the wall", level=f"{level.p50:.0f}")
    return reader.say("{low} to {high} mm up the wall", low=f"{level.p05:.0f}", high=f"{level.p95:.0f}")


def edge_sentence(batch: Batch, outlook: Outlook, reader: Reader) -> str:
    """Where the band is on the wall, in one line where the middle of the dough stands visibly otherwise, or empty."""
    edge = edge_text(batch, outlook, reader)
    if not edge or outlook.target_edge is None or abs(outlook.target_edge.dome_mm.p50) <= PLAIN_MM:
        return ""
    dome_mm = outlook.target_edge.dome_mm.p50
    sentence = (
        N_("the edge reaches the band {edge}; the middle then stands about {dome} mm higher")
        if dome_mm > 0.0
        else N_("the edge reaches the band {edge}; the middle then stands about {dome} mm lower")
    )
    return reader.say(sentence, edge=edge, dome=f"{abs(dome_mm):.0f}")


STEP_NEWS = timedelta(hours=1)  # judgement: for so long a step of the level is worth a word


def obstruction_sentence(outlook: Outlook, reader: Reader) -> str:
    """What stands between sensor and dough, or made its level jump of late, in one line; empty for nothing.

    A hand that is there for a moment is not worth a word.
    """
    hidden_by = outlook.hidden_by
    if hidden_by is not None:
        return _hidden_words(hidden_by, clock_text(hidden_by.since, reader, outlook.at), reader)
    steps = [one for one in outlook.obstructions if not one.hides]
    if not steps or outlook.at - steps[-1].since > STEP_NEWS:
        return ""
    kinds = {one.kind for one in steps if one.since == steps[-1].since}
    at = clock_text(steps[-1].since, reader, outlook.at)
    if kinds == {ObstructionKind.FOLD}:
        return reader.say("its level fell {at}: was it folded?", at=at)
    if kinds == {ObstructionKind.MOVED}:
        return reader.say("its level jumped {at}: was the tub moved?", at=at)
    return reader.say("its level fell {at}: was it folded, or the tub moved?", at=at)


def obstruction_word(kind: ObstructionKind, reader: Reader) -> str:
    """What stands before a sensor, or made a level jump, in a word or two."""
    match kind:
        case ObstructionKind.HAND:
            return reader.say("a hand")
        case ObstructionKind.LID:
            return reader.say("a lid, it seems")
        case ObstructionKind.CONDENSATION:
            return reader.say("water on the sensor, it seems")
        case ObstructionKind.BLIND_ZONE:
            return reader.say("nothing, the dough is too near to it")
        case ObstructionKind.AWAY:
            return reader.say("no dough at all")
        case ObstructionKind.MOVED:
            return reader.say("a tub that was moved")
        case ObstructionKind.FOLD:
            return reader.say("a fold")
        case _:
            assert_never(kind)


def _hidden_words(by: Obstruction, since: str, reader: Reader) -> str:
    match by.kind:
        case ObstructionKind.LID:
            return reader.say("not seen since {at}: is there a lid on it? The forecast goes on without", at=since)
        case ObstructionKind.CONDENSATION:
            return reader.say("not seen since {at}: is the sensor wet? The forecast goes on without", at=since)
        case ObstructionKind.BLIND_ZONE:
            return reader.say("too near to the sensor since {at}; the forecast goes on without", at=since)
        case ObstructionKind.AWAY:
            return reader.say("no dough under the sensor since {at}; the forecast goes on without", at=since)
        case ObstructionKind.HAND | ObstructionKind.MOVED | ObstructionKind.FOLD:
            return ""
        case _:
            assert_never(by.kind)


def cause_words(cause: Cause, reader: Reader) -> str:
    """The likeliest reason why a dough does not rise."""
    match cause:
        case Cause.TOO_COLD:
            return reader.say("too cold")
        case Cause.LITTLE_YEAST:
            return reader.say("too little yeast")
        case Cause.NO_LIVE_YEAST:
            return reader.say("no live yeast in it, it seems")
        case _:
            assert_never(cause)


def outlook_sentence(batch: Batch, outlook: Outlook, reader: Reader) -> str:
    """How one batch stands against the clock, in one line.

    For example ``ready about 09:51, between 09:45 and 09:58``; ``was ready 09:00; past its peak since 09:18``; or why
    nothing can be said.
    """
    now = outlook.at
    if batch.ended_at is not None:
        return _ended_sentence(batch, batch.ended_at, outlook, reader)
    if outlook.state is State.NO_READINGS:
        return _unread_sentence(outlook, reader)
    if outlook.why is not None:
        return reader.say("no forecast: {why}", why=no_forecast_words(outlook.why, reader))
    if outlook.state in (State.AT_PEAK, State.PAST_PEAK):
        return _past_sentence(batch, outlook, reader)
    ready_at = ready_since(outlook)
    if ready_at is not None:
        return reader.say("ready since {at}", at=clock_text(ready_at, reader, now))
    about = about_text(outlook.ready, reader, now)
    if outlook.hidden_by is not None and outlook.ready.p50 is not None and outlook.ready.p50 <= now:
        return reader.say("perhaps ready since {at}", at=clock_text(outlook.ready.p50, reader, now))
    if outlook.state is State.NOT_RISING and outlook.cause is not None and about is None:
        age = duration_text((now - batch.started_at).total_seconds() / 60.0)
        return reader.say(
            "has not begun to rise after {age}: {cause}", age=age, cause=cause_words(outlook.cause, reader)
        )
    if about is None:
        when = reader.say("as things stand it will not get to {target}", target=target_text(batch, reader))
    else:
        when = reader.say(N_("peak {about}") if batch.target.is_peak else N_("ready {about}"), about=about)
    if outlook.state is State.NOT_RISING:
        age = duration_text((now - batch.started_at).total_seconds() / 60.0)
        return reader.say("has not begun to rise after {age}; {when}", age=age, when=when)
    return when


def curve_sentence(batch: Batch, outlook: Outlook, reader: Reader, events: Iterable[Event] | None = None) -> str:
    """What the chart of one batch shows, for who cannot see it.

    Parameters
    ----------
    events
        Events drawn on the chart; those of the batch by default.
    """
    now = outlook.at
    parts = [
        reader.say(
            "{batch}, {stage}, from {begun}",
            batch=printable(batch.name),
            stage=stage_word(batch.stage, reader),
            begun=clock_text(batch.started_at, reader, now),
        ),
        reader.say(
            "at {now} it is {state}, {rise}",
            now=clock_text(now, reader),
            state=state_word(outlook.state, reader),
            rise=rise_text(outlook, reader),
        ),
        reader.say("it waits for its peak")
        if batch.target.is_peak
        else reader.say("the band stands at {target}", target=target_text(batch, reader)),
        edge_sentence(batch, outlook, reader),
        outlook_sentence(batch, outlook, reader),
    ]
    is_peak_said = batch.target.is_peak or outlook.state in (State.AT_PEAK, State.PAST_PEAK)
    peak = about_text(outlook.peak, reader, now)
    if peak is not None and not is_peak_said and outlook.why is None and batch.ended_at is None:
        parts.append(reader.say("peak {about}", about=peak))
    drawn = [event for event in (batch.events if events is None else events) if event.kind is not EventKind.END]
    if drawn:
        noted = ", ".join(f"{flag_text(event, reader)} {clock_text(event.at, reader, now)}" for event in drawn)
        parts.append(reader.say("noted: {events}", events=noted))
    return "; ".join(part for part in parts if part) + "."
