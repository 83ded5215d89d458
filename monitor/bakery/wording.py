"""Every sentence a baker reads: alerts and their messages here, and the words and sentences they are made of.

Alert, screen, table and report take their words from this module, so that they never disagree. Times are given in the
baker's time zone, doubt as "between ... and ...".
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.bakery.alert_types import Alert, AlertKind, Facts, Message, Rules
from monitor.bakery.cautions import CAUTIONS, DEFERENCE, Caution
from monitor.bakery.limits import air_limits
from monitor.bakery.manner import Manner
from monitor.bakery.phrases import (
    about_text,
    alert_kind_word,
    between_text,
    channel_word,
    clock_text,
    count_text,
    duration_text,
    event_word,
    mass_text,
    phase_word,
    printable,
    rise_text,
    stage_word,
    standing_text,
    state_word,
    subject_word,
    target_text,
    temp_text,
)
from monitor.bakery.sentences import (
    Task,
    curve_sentence,
    next_task,
    next_words,
    outlook_sentence,
    ready_since,
    rescue_words,
    todo_sentence,
)
from monitor.bakery.signs import are_heights_stale
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Stage
from monitor.wire.readings import Channel

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
    "count_text",
    "curve_sentence",
    "duration_text",
    "event_word",
    "mass_text",
    "message_of",
    "next_task",
    "outlook_sentence",
    "phase_word",
    "printable",
    "rise_text",
    "stage_word",
    "standing_text",
    "state_word",
    "subject_word",
    "target_text",
    "temp_text",
    "todo_sentence",
]

RULES = Rules()
LATE_MIN = 3.0  # judgement: news older than this is told as news of the past


@dataclass(frozen=True, slots=True)
class _Said:
    """All that the sentences of one alert draw on."""

    facts: Facts
    alert: Alert
    manner: Manner
    rules: Rules

    @property
    def outlook(self) -> Outlook:
        return self.facts.outlook or Outlook(at=self.facts.now, state=State.NO_READINGS)

    @property
    def next(self) -> str:
        return _sentence(f"{next_words(self.facts.batch.stage, self.manner)} now")

    @property
    def expected(self) -> str:
        """When it is expected, as a clause."""
        outlook, batch = self.outlook, self.facts.batch
        if outlook.state is State.NO_READINGS and outlook.ready.p50 is None:
            return "no time can be given"
        return outlook_sentence(batch, outlook, self.manner)

    def clock(self, at: datetime) -> str:
        return clock_text(at, self.manner, self.facts.now)


def _sentence(clause: str) -> str:
    """A clause as a sentence."""
    return f"{clause[:1].upper()}{clause[1:]}." if clause else ""


def _oven_on(said: _Said) -> str:
    batch, outlook = said.facts.batch, said.outlook
    preheat_min = batch.preheat_min or 0.0
    hot_at = said.facts.now + timedelta(minutes=preheat_min)
    do = f"Switch the oven on now, with the stone in it: it needs {duration_text(preheat_min)}."
    ready_at = outlook.ready.p50
    if ready_at is not None and hot_at - ready_at > timedelta(minutes=LATE_MIN):
        do += f" It will be hot about {said.clock(hot_at)}, after the dough: keep the dough cooler until then."
    return f"{_sentence(said.expected)} {do} The monitor never switches heat: you do."


def _ready_soon(said: _Said) -> str:
    return f"{_sentence(said.expected)} Get ready to {next_words(said.facts.batch.stage, said.manner)}."


def _ready(said: _Said) -> str:
    since_at = ready_since(said.outlook)
    if said.outlook.state is State.PAST_PEAK:
        return f"{_sentence(said.expected)} {_sentence(rescue_words(said.facts.batch.stage, said.manner))}"
    if since_at is not None and said.facts.now - since_at > timedelta(minutes=LATE_MIN):
        late = duration_text((said.facts.now - since_at).total_seconds() / 60.0)
        return f"Was ready about {said.clock(since_at)}, {late} ago: this is known only now. {said.next}"
    what = "at its peak" if said.facts.batch.target.is_peak else "ready"
    return f"It is {what} now, at {said.clock(said.facts.now)}. {said.next}"


def _at_peak(said: _Said) -> str:
    batch, outlook = said.facts.batch, said.outlook
    peak = about_text(outlook.peak, said.manner, said.facts.now)
    when = "Its peak has come or comes within ten minutes" if peak is None else f"Its peak is {peak}"
    if outlook.state is State.PAST_PEAK and outlook.peak.p50 is not None:
        when = f"Its peak was about {said.clock(outlook.peak.p50)}"
    if batch.target.is_peak:
        is_ahead = outlook.peak.p50 is not None and outlook.peak.p50 - said.facts.now > timedelta(minutes=LATE_MIN)
        return f"{when}. Get ready to {next_words(batch.stage, said.manner)}." if is_ahead else f"{when}. {said.next}"
    since_at = ready_since(outlook)
    if since_at is None:
        return f"{when}, and it will hardly get to {target_text(batch, said.manner)}: do not wait for that. {said.next}"
    return f"Last call: it was ready {said.clock(since_at)} and falls soon. {when}. {said.next}"


def _past_peak(said: _Said) -> str:
    return f"{_sentence(said.expected)} {_sentence(rescue_words(said.facts.batch.stage, said.manner))}"


def _air_temp(said: _Said) -> str:
    air_c = said.outlook.air_temp_c
    return "The air around it is" + ("" if air_c is None else f" at {temp_text(air_c, said.manner)},")


def _air_too_warm(said: _Said) -> str:
    batch = said.facts.batch
    limit = temp_text(air_limits(batch, said.rules.air).high_c, said.manner)
    do = "Move it somewhere cooler, or look sooner than planned."
    if batch.stage is Stage.RETARD:
        do = "See that the door is shut and the cold is on: the dough goes on rising."
    stage = stage_word(batch.stage, said.manner)
    return f"{_air_temp(said)} above {limit}, too warm for a {stage}. {_sentence(said.expected)} {do}"


def _air_too_cold(said: _Said) -> str:
    batch = said.facts.batch
    limit = temp_text(air_limits(batch, said.rules.air).low_c, said.manner)
    do = "Move it somewhere warmer, or plan for the later time."
    if batch.stage is Stage.RETARD:
        do = "The dough may freeze: set the cold less strong or move it."
    stage = stage_word(batch.stage, said.manner)
    return f"{_air_temp(said)} below {limit}, too cold for a {stage}. {_sentence(said.expected)} {do}"


def _air_too_dry(said: _Said) -> str:
    outlook = said.outlook
    measured = "" if outlook.air_temp_c is None else f" at {temp_text(outlook.air_temp_c, said.manner)}"
    if outlook.humidity_pct is not None:
        measured += f" with {outlook.humidity_pct:.0f} % humidity"
    return (
        f"The air around it{measured} dries the skin of an uncovered dough. {_sentence(said.expected)} "
        "Cover it, or make the air damper. If it is covered, all is well."
    )


_TEXTS: dict[AlertKind, Callable[[_Said], str]] = {
    AlertKind.OVEN_ON: _oven_on,
    AlertKind.READY_SOON: _ready_soon,
    AlertKind.READY: _ready,
    AlertKind.AT_PEAK: _at_peak,
    AlertKind.PAST_PEAK: _past_peak,
    AlertKind.AIR_TOO_WARM: _air_too_warm,
    AlertKind.AIR_TOO_COLD: _air_too_cold,
    AlertKind.AIR_TOO_DRY: _air_too_dry,
}
_COURSE_KINDS = (AlertKind.OVEN_ON, AlertKind.READY_SOON, AlertKind.READY, AlertKind.AT_PEAK, AlertKind.PAST_PEAK)


def _unseen_note(said: _Said) -> str:
    """Why an alert about the dough's course needs a look, when nobody has measured the dough."""
    if said.alert.kind not in _COURSE_KINDS:
        return ""
    if are_heights_stale(said.rules, said.facts):
        seen = [said.facts.last_seen.get(channel) for channel in (Channel.DISTANCE, Channel.LEVEL)]
        last_at = max((at for at in seen if at is not None), default=None)
        since = "" if last_at is None else f" since {said.clock(last_at)}"
        return f" Its height has not been measured{since}: look at it first."
    if not said.outlook.is_from_heights:
        return " This is judged from warmth and recipe alone: look at it first."
    return ""


def alert_title(alert: Alert, facts: Facts, manner: Manner) -> str:
    """The first line of a message: batch and alert."""
    return f"{printable(facts.batch.name)}: {alert_kind_word(alert.kind, manner)}"


def alert_text(alert: Alert, facts: Facts, *, manner: Manner, rules: Rules = RULES) -> str:
    """An alert about a batch in full: batch, rise, expected time, and what to do."""
    said = _Said(facts, alert, manner, rules)
    head = f"{printable(facts.batch.name)}, {stage_word(facts.batch.stage, manner)}, {rise_text(said.outlook, manner)}."
    return f"{head} {_TEXTS[alert.kind](said)}{_unseen_note(said)}"


def message_of(alert: Alert, facts: Facts, *, manner: Manner, rules: Rules = RULES) -> Message:
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
        title=alert_title(alert, facts, manner),
        text=alert_text(alert, facts, manner=manner, rules=rules),
        created_at=facts.now,
    )
