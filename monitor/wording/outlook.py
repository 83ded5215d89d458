"""What a colleague would say of one dough: when it will be ready, what hands must do next, what its curve shows."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import assert_never

from monitor.dough.outlook import KeptText, NoForecast, Outlook, State
from monitor.recipe.batch import Batch, Event, EventKind, Stage
from monitor.translatable import N_
from monitor.wording.phrases import event_word, printable, rise_text, stage_word, state_word, target_text
from monitor.wording.reader import Reader
from monitor.wording.times import about_text, clock_text, duration_text


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
        case NoForecast.NOT_ESTIMATED:
            return reader.say("not estimated: a fault in this program; its readings are kept, its log says more")
        case KeptText():
            return why.text
        case _:
            assert_never(why)


def ready_since(outlook: Outlook) -> datetime | None:
    """When it became ready, if it has; None otherwise."""
    at = outlook.ready.p50
    return at if at is not None and at <= outlook.at else None


def oven_on_at(batch: Batch, outlook: Outlook) -> datetime | None:
    """When the oven must go on: early rather than late, for a cold oven costs more. None: no baking, or no forecast."""
    if batch.preheat_min is None or outlook.ready.p25 is None:
        return None
    return outlook.ready.p25 - timedelta(minutes=batch.preheat_min)


def next_task(batch: Batch, outlook: Outlook, reader: Reader) -> Task | None:
    """The next thing hands must do for a batch; None for one that has ended."""
    if batch.ended_at is not None:
        return None
    urgent = ""
    if outlook.state is State.NO_READINGS:
        urgent = reader.say("look at the dough, then at the sensor's power and cable")
    elif outlook.state is State.PAST_PEAK:
        urgent = rescue_words(batch.stage, reader)
    elif outlook.state is State.NOT_RISING:
        urgent = reader.say("check its warmth and whether the yeast went in")
    if urgent:
        return Task(outlook.at, urgent, urgent, is_now=True)
    what = next_words(batch.stage, reader)
    will_not_get_there = outlook.state is State.AT_PEAK and outlook.ready.p50 is None
    if ready_since(outlook) is not None or outlook.state is State.READY or will_not_get_there:
        return Task(ready_since(outlook) or outlook.at, what, reader.say("{task} now", task=what), is_now=True)
    oven_at = oven_on_at(batch, outlook)
    if oven_at is not None and oven_at > outlook.at:
        at = clock_text(oven_at, reader, outlook.at)
        return Task(oven_at, reader.say("oven on"), reader.say("oven on {at}", at=at))
    return Task(outlook.ready.p50, what, reader.say("then: {task}", task=what))


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
    told = reader.say("no readings")
    if outlook.last_reading_at is not None:
        told = reader.say("no readings since {at}", at=clock_text(outlook.last_reading_at, reader, outlook.at))
    return told if outlook.why is None else f"{told}: {no_forecast_words(outlook.why, reader)}"


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
        outlook_sentence(batch, outlook, reader),
    ]
    is_peak_said = batch.target.is_peak or outlook.state in (State.AT_PEAK, State.PAST_PEAK)
    peak = about_text(outlook.peak, reader, now)
    if peak is not None and not is_peak_said and outlook.why is None and batch.ended_at is None:
        parts.append(reader.say("peak {about}", about=peak))
    drawn = [event for event in (batch.events if events is None else events) if event.kind is not EventKind.END]
    if drawn:
        noted = ", ".join(f"{event_word(event.kind, reader)} {clock_text(event.at, reader, now)}" for event in drawn)
        parts.append(reader.say("noted: {events}", events=noted))
    return "; ".join(part for part in parts if part) + "."
