"""Whom to call for an alert, and when again: a pure decision from alert, earlier calls and the hour.

A *message* is what is said of one alert; a *call* is one time that it is said to one person. A message of a kind that
wakes is called again until somebody acknowledges its alert or it is over; every repeat carries the same id.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta, tzinfo
from enum import StrEnum

from monitor.alerts.alert import Alert, Message, Phase
from monitor.alerts.kinds import AlertKind

WAKES: frozenset[AlertKind] = frozenset(
    {
        # A dough is lost, or the oven is cold, if nobody comes within the half hour: judgement, kind by kind.
        AlertKind.OVEN_ON,
        AlertKind.READY,
        AlertKind.AT_PEAK,
        AlertKind.OVER_BAND,
        AlertKind.PAST_PEAK,
        # Bread for the morning needs a new dough tonight.
        AlertKind.NOT_RISING,
        # Nobody would be told of any dough.
        AlertKind.NODE_SILENT,
        AlertKind.LINE_SILENT,
        AlertKind.TROUBLE,
    }
)
"""What wakes a baker when nothing else is set. Not *ready soon* (ready follows), nor the air (the forecast takes it
into account, and ready is called all the same), nor a single sensor of a node that is heard."""


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one time of day to another on the baker's clock, over midnight when the end is the earlier.

    By the wall clock: in the night in which clocks are put on or back it is an hour shorter or longer.
    """

    start: time
    end: time

    def covers(self, at: datetime, zone: tzinfo) -> bool:
        """True when a moment lies in them; the end does not.

        >>> from datetime import UTC
        >>> night = QuietHours(time(21, 30), time(4, 0))
        >>> [night.covers(datetime(2026, 3, 2, hour, tzinfo=UTC), zone=UTC) for hour in (3, 4, 21, 22)]
        [True, False, False, True]
        """
        now = at.astimezone(zone).time()
        if self.start <= self.end:
            return self.start <= now < self.end
        return now >= self.start or now < self.end


USUAL_NIGHT = QuietHours(time(22, 0), time(6, 0))  # judgement: for counting where no quiet hours are set


def nights(quiet: QuietHours | None, now: datetime, zone: tzinfo, n: int) -> list[tuple[datetime, datetime]]:
    """Beginning and end of the last nights, the newest first; one that goes on counts as a night.

    >>> from datetime import UTC
    >>> [start.isoformat() for start, _ in nights(None, datetime(2026, 3, 3, 5, tzinfo=UTC), UTC, 1)]
    ['2026-03-02T22:00:00+00:00']
    """
    hours = USUAL_NIGHT if quiet is None else quiet
    found: list[tuple[datetime, datetime]] = []
    day = now.astimezone(zone).date()
    while len(found) < n:
        start = datetime.combine(day, hours.start, zone)
        last = day if hours.start <= hours.end else day + timedelta(days=1)
        if start <= now:
            found.append((start, datetime.combine(last, hours.end, zone)))
        day -= timedelta(days=1)
    return found


@dataclass(frozen=True, slots=True)
class CallRules:
    """How calls go out.

    Attributes
    ----------
    quiet
        When only what wakes is called; None: never.
    wakes
        Kinds that are called in quiet hours, and again until they are answered.
    repeat_min
        How long an answer is waited for. [min]
    calls_each
        How often one recipient is called in a row before the next is.
    most_calls
        How often one message is called at all; more would be heard by nobody either.
    second_channel_s
        How long a recipient's first channel has before the second is tried as well. [s]
    """

    quiet: QuietHours | None = None
    wakes: frozenset[AlertKind] = WAKES
    repeat_min: float = 5.0
    calls_each: int = 2  # judgement: asleep once is asleep, not away
    most_calls: int = 12  # judgement: an hour
    second_channel_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Call:
    """One time that a message is said to one person.

    Attributes
    ----------
    number
        1 for the first call of a message; 0 is its line on the terminal.
    accepted_at
        When a carrier took it; None while none has.
    carrier, tries
        Which took it, and how often any was tried.
    """

    message_id: str
    number: int
    recipient: str
    at: datetime
    accepted_at: datetime | None = None
    carrier: str = ""
    tries: int = 0
    detail: str = ""


class Next(StrEnum):
    """What to do about a message now."""

    CALL = "call"
    TRY_ON = "try on"
    WAIT = "wait"
    CLOSE = "close"


class DecisionReason(StrEnum):
    """Why a message is called, waits or is closed, where the phase of its alert does not say it."""

    NEW = "new"
    NO_RECIPIENT = "no recipient"
    QUIET_HOURS = "quiet hours"
    UNREACHABLE = "unreachable"
    NOT_TAKEN = "not taken"
    SAID = "said"
    UNANSWERED = "unanswered"
    MOST_CALLS = "most calls"
    ANSWER_AWAITED = "answer awaited"


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do, whom to call (by place in the order of recipients), and why."""

    do: Next
    why: DecisionReason | Phase
    recipient: int = 0


@dataclass(frozen=True, slots=True)
class OpenMessage:
    """A message that is not closed, with all that decides about it.

    Attributes
    ----------
    alert
        As it stands now; None when nothing is known of it any more.
    calls
        Its calls to people so far, the first first.
    waited_min
        Since the last of them, by a clock that nobody sets. [min]
    is_given_up
        True when no channel of the last call's recipient will take it.
    """

    message: Message
    alert: Alert | None
    calls: Sequence[Call] = field(default_factory=tuple)
    waited_min: float = 0.0
    is_given_up: bool = False


def decide(rules: CallRules, pending: OpenMessage, recipients: int, now: datetime, zone: tzinfo) -> Decision:
    """What to do about one message now."""
    calls, wakes = pending.calls, pending.message.kind in rules.wakes
    phase = Phase.UNACKNOWLEDGED if pending.alert is None else pending.alert.phase
    if phase in (Phase.SHELVED, Phase.SUPPRESSED) and not (calls and not wakes):
        return Decision(Next.WAIT, phase)
    if phase in (Phase.ACKNOWLEDGED, Phase.NORMAL, Phase.RETURNED):
        return Decision(Next.CLOSE, phase)
    if recipients == 0:
        return Decision(Next.CLOSE, DecisionReason.NO_RECIPIENT)
    is_quiet = rules.quiet is not None and rules.quiet.covers(now, zone)
    if is_quiet and not calls and not wakes and isinstance(pending.message.kind, AlertKind):
        return Decision(Next.WAIT, DecisionReason.QUIET_HOURS)
    if not calls:
        return Decision(Next.CALL, DecisionReason.NEW)
    last = calls[-1]
    following = (len(calls) // max(rules.calls_each, 1)) % recipients
    if last.accepted_at is None and pending.is_given_up:
        tried = {call.recipient for call in calls}
        if len(tried) >= recipients and not wakes:
            return Decision(Next.CLOSE, DecisionReason.UNREACHABLE)
        if len(calls) < recipients:
            return Decision(Next.CALL, DecisionReason.UNREACHABLE, len(calls) % recipients)
    elif last.accepted_at is None and (not wakes or pending.waited_min < rules.repeat_min):
        return Decision(Next.TRY_ON, DecisionReason.NOT_TAKEN)
    if last.accepted_at is not None and not wakes:
        return Decision(Next.CLOSE, DecisionReason.SAID)
    if len(calls) >= rules.most_calls:
        return Decision(Next.CLOSE, DecisionReason.MOST_CALLS)
    if pending.waited_min < rules.repeat_min:
        return Decision(Next.WAIT, DecisionReason.ANSWER_AWAITED)
    if last.accepted_at is None:  # whoever cannot be reached is not called twice in a row
        return Decision(Next.CALL, DecisionReason.NOT_TAKEN, len(calls) % recipients)
    return Decision(Next.CALL, DecisionReason.UNANSWERED, following)
