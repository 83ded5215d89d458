"""Alerts about a dough and their messages, and the words and sentences that they are made of.

Alert, screen, table and report take their words from this module, so that they never disagree. Times are given in the
baker's time zone, doubt as "between ... and ...".
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.alert import Alert, Facts, Message, Phase, Rules, Sort
from monitor.alerts.calls import Call
from monitor.alerts.conditions import are_heights_stale
from monitor.alerts.dough import COURSE_KINDS
from monitor.alerts.kinds import AlertKind, NoticeKind
from monitor.alerts.limits import air_limits, is_in_the_cold
from monitor.alerts.reasons import BandExceeded, FoldWanted, NoRise, ViewBlocked
from monitor.alerts.ripeness import ripe_window
from monitor.dough.outlook import Cause, ObstructionKind, Outlook, State
from monitor.dough.tasks import ready_since
from monitor.recipe.batch import Stage
from monitor.recipe.folds import fold_times
from monitor.translatable import N_
from monitor.wire.readings import Channel
from monitor.wording.cautions import CAUTIONS, DEFERENCE, Caution
from monitor.wording.outlook import (
    Task,
    cause_words,
    curve_sentence,
    edge_sentence,
    edge_text,
    next_task,
    next_words,
    obstruction_sentence,
    obstruction_word,
    outlook_sentence,
    rescue_words,
    todo_sentence,
)
from monitor.wording.phrases import (
    alert_kind_word,
    channel_word,
    event_word,
    mass_text,
    phase_word,
    printable,
    rise_text,
    stage_word,
    state_word,
    subject_word,
    target_text,
    temp_text,
)
from monitor.wording.reader import Reader
from monitor.wording.reasons import reason_text
from monitor.wording.times import about_text, between_text, clock_text, date_words, day_word, duration_text, hour_text

__all__ = [
    "CAUTIONS",
    "DEFERENCE",
    "Caution",
    "Task",
    "about_text",
    "alert_kind_word",
    "alert_text",
    "alert_title",
    "between_text",
    "channel_word",
    "clock_text",
    "curve_sentence",
    "date_words",
    "day_word",
    "duration_text",
    "edge_sentence",
    "edge_text",
    "event_word",
    "hour_text",
    "mass_text",
    "message_of",
    "next_task",
    "obstruction_sentence",
    "outlook_sentence",
    "phase_word",
    "printable",
    "rise_text",
    "stage_word",
    "state_word",
    "status_text",
    "subject_word",
    "target_text",
    "temp_text",
    "todo_sentence",
]

RULES = Rules()
LATE_MIN = 3.0  # judgement: news older than this is told as news of the past


@dataclass(frozen=True, slots=True)
class _Context:
    """All that the sentences of one alert draw on."""

    facts: Facts
    alert: Alert
    reader: Reader
    rules: Rules

    @property
    def outlook(self) -> Outlook:
        return self.facts.outlook or Outlook(at=self.facts.now, state=State.NO_READINGS)

    @property
    def next(self) -> str:
        what = next_words(self.facts.batch.stage, self.reader)
        return _sentence(self.reader.say("{task} now", task=what))

    @property
    def get_ready(self) -> str:
        what = next_words(self.facts.batch.stage, self.reader)
        return self.reader.say("Get ready to {task}.", task=what)

    @property
    def ripe(self) -> str:
        """From when to when a dough that is used at its peak is ripe, as a sentence; empty when it is not."""
        window = ripe_window(self.facts.batch, self.outlook, self.rules.peak_use_min)
        if window is None or window.closes_at <= self.facts.now:
            return ""
        until = self.clock(window.closes_at)
        if window.opens_at <= self.facts.now:
            return self.say("It is ripe until about {until}.", until=until)
        return self.say("It is ripe from about {opens} to {until}.", opens=self.clock(window.opens_at), until=until)

    @property
    def rescue(self) -> str:
        return _sentence(rescue_words(self.facts.batch.stage, self.reader))

    @property
    def expected(self) -> str:
        """When it is expected, as a sentence."""
        outlook, batch = self.outlook, self.facts.batch
        if outlook.state is State.NO_READINGS and outlook.ready.p50 is None:
            return _sentence(self.reader.say("no time can be given"))
        return _sentence(outlook_sentence(batch, outlook, self.reader))

    def clock(self, at: datetime) -> str:
        return clock_text(at, self.reader, self.facts.now)

    def say(self, sentence: str, **holes: object) -> str:
        return self.reader.say(sentence, **holes)


def _sentence(clause: str) -> str:
    """A clause as a sentence."""
    return f"{clause[:1].upper()}{clause[1:]}." if clause else ""


def _fold_due(context: _Context) -> str:
    reason, batch = context.alert.reason, context.facts.batch
    number, of = (reason.number, reason.of) if isinstance(reason, FoldWanted) else (1, len(batch.folds_min))
    due_at = fold_times(batch)[min(number, len(batch.folds_min)) - 1] if batch.folds_min else context.facts.now
    due = context.say("Fold {number} of {of} was due {at}.", number=number, of=of, at=context.clock(due_at))
    do = context.say("Fold it, and note it: one tap on Folded.")
    return f"{due} {do}"


def _oven_on(context: _Context) -> str:
    batch, outlook = context.facts.batch, context.outlook
    preheat_min = batch.preheat_min or 0.0
    hot_at = context.facts.now + timedelta(minutes=preheat_min)
    parts = [
        context.expected,
        context.say("Switch the oven on now, with the stone in it: it needs {time}.", time=duration_text(preheat_min)),
    ]
    ready_at = outlook.ready.p50
    if ready_at is not None and hot_at - ready_at > timedelta(minutes=LATE_MIN):
        late = N_("It will be hot about {at}, after the dough: keep the dough cooler until then.")
        parts.append(context.say(late, at=context.clock(hot_at)))
    parts.append(context.say("The monitor never switches heat: you do."))
    return " ".join(parts)


def _ready_soon(context: _Context) -> str:
    return " ".join(part for part in (context.expected, context.ripe, context.get_ready) if part)


def _ready(context: _Context) -> str:
    since_at = ready_since(context.outlook)
    if context.outlook.state is State.PAST_PEAK:
        return (
            f"{context.expected} {context.ripe} {context.next}"
            if context.ripe
            else f"{context.expected} {context.rescue}"
        )
    if since_at is not None and context.facts.now - since_at > timedelta(minutes=LATE_MIN):
        late = duration_text((context.facts.now - since_at).total_seconds() / 60.0)
        text = context.say(
            "Was ready about {at}, {late} ago: this is known only now.", at=context.clock(since_at), late=late
        )
        return f"{text} {context.next}"
    is_peak = context.facts.batch.target.is_peak
    text = context.say(
        N_("It is at its peak now, at {at}.") if is_peak else N_("It is ready now, at {at}."),
        at=context.clock(context.facts.now),
    )
    return " ".join(part for part in (text, context.ripe, context.next) if part)


def _at_peak(context: _Context) -> str:
    batch, outlook = context.facts.batch, context.outlook
    peak = about_text(outlook.peak, context.reader, context.facts.now)
    if outlook.state is State.PAST_PEAK and outlook.peak.p50 is not None:
        when = context.say("Its peak was about {at}", at=context.clock(outlook.peak.p50))
    elif peak is None:
        when = context.say("Its peak has come or comes within ten minutes")
    else:
        when = context.say("Its peak is {about}", about=peak)
    if batch.target.is_peak:
        is_ahead = outlook.peak.p50 is not None and outlook.peak.p50 - context.facts.now > timedelta(minutes=LATE_MIN)
        do = context.get_ready if is_ahead else context.next
        return " ".join(part for part in (f"{when}.", context.ripe, do) if part)
    since_at = ready_since(outlook)
    if since_at is None:
        text = context.say(
            "{when}, and it will hardly get to {target}: do not wait for that.",
            when=when,
            target=target_text(batch, context.reader),
        )
        return f"{text} {context.next}"
    text = context.say("Last call: it was ready {at} and falls soon.", at=context.clock(since_at))
    return f"{text} {when}. {context.next}"


def _over_band(context: _Context) -> str:
    reason = context.alert.reason
    points = context.reader.number(reason.over_points if isinstance(reason, BandExceeded) else 0.0)
    text = context.say("Last call: it stands {points} points over the band and may fall at any time.", points=points)
    return f"{context.expected} {text} {context.next}"


def _past_peak(context: _Context) -> str:
    return f"{context.expected} {context.rescue}"


def _not_rising(context: _Context) -> str:
    """What it is and what to do, by its cause as it was when the alert was made."""
    reason, batch, reader = context.alert.reason, context.facts.batch, context.reader
    cause = reason.cause if isinstance(reason, NoRise) else Cause.NO_LIVE_YEAST
    age = duration_text((context.facts.now - batch.started_at).total_seconds() / 60.0)
    parts = [context.say("It has not begun to rise after {age}: {cause}.", age=age, cause=cause_words(cause, reader))]
    about = about_text(context.outlook.ready, reader, context.facts.now)
    if about is not None:
        when = (
            N_("As things stand its peak is {about}.")
            if batch.target.is_peak
            else N_("As things stand it is ready {about}.")
        )
        parts.append(context.say(when, about=about))
    return " ".join([*parts, context.say(_NO_RISE_DO[cause, batch.stage is Stage.PREFERMENT])])


_BLOCKED_DO = {
    ObstructionKind.LID: N_("Take away what lies between, or leave the lid on and look yourself."),
    ObstructionKind.CONDENSATION: N_("Wipe the sensor dry, and let it stand a little off the damp."),
    ObstructionKind.BLIND_ZONE: N_(
        "The sensor cannot tell how high it stands any more: look yourself, or take a higher tub next time."
    ),
    ObstructionKind.AWAY: N_("Put tub and sensor back as they were, and note that it was moved."),
}


def _view_blocked(context: _Context) -> str:
    reason = context.alert.reason
    by = reason.by if isinstance(reason, ViewBlocked) else ObstructionKind.LID
    now_by = context.outlook.hidden_by
    since_at = context.alert.since_at if now_by is None else now_by.since
    text = context.say(
        "The sensor has not seen the dough since {at}; between them: {what}.",
        at=context.clock(since_at),
        what=obstruction_word(by, context.reader),
    )
    do = context.say(_BLOCKED_DO.get(by, _BLOCKED_DO[ObstructionKind.LID]))
    until = context.say("Until then it is foretold from what was seen before.")
    return f"{text} {do} {until} {context.expected}"


def _level_jumped(context: _Context) -> str:
    steps = [one.since for one in context.outlook.obstructions if one.kind is ObstructionKind.MOVED]
    jumped = context.say(
        "Its level jumped {at}, as no dough does.", at=context.clock(max(steps, default=context.facts.now))
    )
    do = context.say("If it was moved, note that; if it was folded, note the fold. It is followed from its new place.")
    return f"{jumped} {do}"


_PREFERMENT_AGAIN = N_(
    "Look whether yeast or starter went in, and begin it again with a lively one: what waits for it comes later."
)
_NO_RISE_DO = {
    (Cause.TOO_COLD, False): N_("Move it somewhere warmer, or plan for much later."),
    (Cause.TOO_COLD, True): N_("Move it somewhere warmer, or plan for much later."),
    (Cause.LITTLE_YEAST, False): N_(
        "Give it warmth and time, or knead in more yeast, dissolved in a little lukewarm water."
    ),
    (Cause.LITTLE_YEAST, True): N_("Give it warmth and time, or stir in a little more yeast."),
    (Cause.NO_LIVE_YEAST, False): N_(
        "Look whether the yeast went in. If not, knead it in now, dissolved in a little lukewarm water: the flour is "
        "not lost."
    ),
    (Cause.NO_LIVE_YEAST, True): _PREFERMENT_AGAIN,
}
"""By the cause, and whether it is a preferment."""

_TOO_WARM = {
    True: N_("The air around it is at {air}, above {limit}, too warm for this stage ({stage})."),
    False: N_("The air around it is above {limit}, too warm for this stage ({stage})."),
}
_TOO_COLD = {
    True: N_("The air around it is at {air}, below {limit}, too cold for this stage ({stage})."),
    False: N_("The air around it is below {limit}, too cold for this stage ({stage})."),
}
"""By whether the air was measured."""


def _air_holes(context: _Context, limit_c: float) -> dict[str, str]:
    air_c = context.outlook.air_temp_c
    return {
        "air": "" if air_c is None else temp_text(air_c, context.reader),
        "limit": temp_text(limit_c, context.reader),
        "stage": stage_word(context.facts.batch.stage, context.reader),
    }


def _air_too_warm(context: _Context) -> str:
    batch = context.facts.batch
    holes = _air_holes(context, air_limits(batch, context.facts.now, context.rules.air).high_c)
    do = N_("Move it somewhere cooler, or look sooner than planned.")
    if is_in_the_cold(batch, context.facts.now):
        do = N_("See that the door is shut and the cold is on: the dough goes on rising.")
    return f"{context.say(_TOO_WARM[bool(holes['air'])], **holes)} {context.expected} {context.say(do)}"


def _air_too_cold(context: _Context) -> str:
    batch = context.facts.batch
    holes = _air_holes(context, air_limits(batch, context.facts.now, context.rules.air).low_c)
    do = N_("Move it somewhere warmer, or plan for the later time.")
    if is_in_the_cold(batch, context.facts.now):
        do = N_("The dough may freeze: set the cold less strong or move it.")
    return f"{context.say(_TOO_COLD[bool(holes['air'])], **holes)} {context.expected} {context.say(do)}"


def _air_too_dry(context: _Context) -> str:
    outlook = context.outlook
    air = "" if outlook.air_temp_c is None else temp_text(outlook.air_temp_c, context.reader)
    humidity = "" if outlook.humidity_pct is None else context.reader.number(outlook.humidity_pct)
    if air and humidity:
        text = context.say(
            "The air around it, at {air} with {humidity} % humidity, dries the skin of an uncovered dough.",
            air=air,
            humidity=humidity,
        )
    else:
        text = context.say("The air around it dries the skin of an uncovered dough.")
    do = context.say("Cover it, or make the air damper. If it is covered, note that: then nothing more is said of it.")
    return f"{text} {context.expected} {do}"


_TEXTS: dict[AlertKind, Callable[[_Context], str]] = {
    AlertKind.FOLD_DUE: _fold_due,
    AlertKind.OVEN_ON: _oven_on,
    AlertKind.READY_SOON: _ready_soon,
    AlertKind.READY: _ready,
    AlertKind.AT_PEAK: _at_peak,
    AlertKind.OVER_BAND: _over_band,
    AlertKind.PAST_PEAK: _past_peak,
    AlertKind.NOT_RISING: _not_rising,
    AlertKind.VIEW_BLOCKED: _view_blocked,
    AlertKind.LEVEL_JUMPED: _level_jumped,
    AlertKind.AIR_TOO_WARM: _air_too_warm,
    AlertKind.AIR_TOO_COLD: _air_too_cold,
    AlertKind.AIR_TOO_DRY: _air_too_dry,
}


def _unseen_note(context: _Context) -> str:
    """Why an alert about the dough's course needs a look, when nobody has measured the dough."""
    if context.alert.kind not in COURSE_KINDS:
        return ""
    if are_heights_stale(context.rules, context.facts):
        seen = [context.facts.last_seen.get(channel) for channel in (Channel.DISTANCE, Channel.LEVEL)]
        last_at = max((at for at in seen if at is not None), default=None)
        if last_at is None:
            return context.say("Its height has not been measured: look at it first.")
        return context.say("Its height has not been measured since {at}: look at it first.", at=context.clock(last_at))
    hidden_by = context.outlook.hidden_by
    if hidden_by is not None and hidden_by.kind is not ObstructionKind.HAND:
        at = context.clock(hidden_by.since)
        return context.say("The sensor has not seen it since {at}: look at it first.", at=at)
    if not context.outlook.is_from_heights:
        return context.say("This is judged from warmth and recipe alone: look at it first.")
    return ""


def alert_title(alert: Alert, facts: Facts, reader: Reader) -> str:
    """The first line of a message: batch and alert."""
    return f"{printable(facts.batch.name)}: {alert_kind_word(alert.kind, reader)}"


def alert_text(alert: Alert, facts: Facts, *, reader: Reader, rules: Rules = RULES) -> str:
    """An alert about a batch in full: batch, rise, expected time, and what to do."""
    context = _Context(facts, alert, reader, rules)
    head = (
        f"{printable(facts.batch.name)}, {stage_word(facts.batch.stage, reader)}, {rise_text(context.outlook, reader)}."
    )
    return " ".join(part for part in (head, _TEXTS[alert.kind](context), _unseen_note(context)) if part)


def status_text(alert: Alert, reader: Reader, now: datetime) -> str:
    """How an alert stands and since when, as a clause; of the monitor's own troubles also which it is."""
    since = clock_text(alert.fired_at or alert.since_at, reader, now)
    if alert.phase is Phase.SHELVED and alert.shelved_until is not None:
        until = clock_text(alert.shelved_until, reader, now)
        status = reader.say("since {since}; later, until {until}", since=since, until=until)
    elif alert.phase is Phase.SUPPRESSED and alert.suppressed_by is not None:
        status = reader.say("since {since}; {why}", since=since, why=reason_text(alert.suppressed_by, reader))
    elif alert.phase is Phase.RETURNED and alert.returned_at is not None:
        until = clock_text(alert.returned_at, reader, now)
        status = reader.say("from {since} to {until}, nobody has seen it", since=since, until=until)
    else:
        status = reader.say("since {since}, {phase}", since=since, phase=phase_word(alert.phase, reader))
    if alert.subject.sort is Sort.MONITOR and alert.reason is not None:
        return f"{status}: {printable(reason_text(alert.reason, reader))}"
    return status


def message_of(alert: Alert, facts: Facts, *, reader: Reader, rules: Rules = RULES) -> Message:
    """The message that tells a baker of an alert about a batch, ready for the outbox.

    Parameters
    ----------
    facts
        What the alert was judged by.
    rules
        The rules it was judged by.
    """
    return Message(
        id=alert.message_id,
        batch_id=alert.subject.batch_id,
        kind=alert.kind,
        episode=alert.episode,
        title=alert_title(alert, facts, reader),
        text=alert_text(alert, facts, reader=reader, rules=rules),
        created_at=facts.now,
    )


def trial_call(now: datetime, reader: Reader) -> Message:
    """The message by which a baker learns whether the phone rings, ready for the outbox."""
    text = reader.say("So you will be called. Nothing is wrong with any dough, and nothing is to be done.")
    return Message(f"test-{now:%Y%m%dT%H%M%S%f}", None, NoticeKind.TEST_CALL, 1, reader.say("Test call"), text, now)


def trial_answer(call: Call, reader: Reader) -> str:
    """What one channel answered to a test call.

    >>> from datetime import UTC
    >>> now = datetime(2026, 3, 2, tzinfo=UTC)
    >>> trial_answer(Call("test-1", 1, "Ida", now, now, "mailto#1", 1, "ok"), Reader(UTC))
    'Ida, mailto#1: taken'
    """
    name = f"{printable(call.recipient)}, {call.carrier}"
    if call.accepted_at is not None:
        return reader.say("{name}: taken", name=name)
    if not call.detail:
        return reader.say("{name}: no answer, or it refused", name=name)
    sentence = N_("{name}: it answered {detail}") if call.detail.isdecimal() else N_("{name}: {detail} while sending")
    return reader.say(sentence, name=name, detail=call.detail)
