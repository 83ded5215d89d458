"""The small words: states, stages, times, durations, temperatures, weights and amounts of rise."""

import unicodedata
from collections.abc import Iterable
from datetime import datetime, timedelta

from monitor.bakery.alert_types import Alert, AlertKind, Phase, Sort, Subject
from monitor.bakery.manner import Manner
from monitor.dough.outlook import Moments, Outlook, State
from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.units import fahrenheit, ounces
from monitor.wire.readings import Channel

_STATE_WORDS = {
    State.SLACK: "slack",
    State.RISING: "rising",
    State.NEARLY_READY: "nearly ready",
    State.READY: "ready",
    State.AT_PEAK: "at peak",
    State.PAST_PEAK: "past peak",
    State.NOT_RISING: "not rising",
    State.NO_READINGS: "no readings",
}
_STAGE_WORDS = {
    Stage.PREFERMENT: "preferment",
    Stage.BULK_RISE: "first rise",
    Stage.FINAL_PROOF: "final proof",
    Stage.RETARD: "retard",
}
_EVENT_WORDS = {
    EventKind.FOLD: "folded",
    EventKind.MOVE: "moved",
    EventKind.POKE: "poked",
    EventKind.LID: "lid off and on",
    EventKind.END: "end of stage",
}
_CHANNEL_WORDS = {
    Channel.AIR_TEMP: "air temperature",
    Channel.HUMIDITY: "humidity",
    Channel.DOUGH_TEMP: "dough temperature",
    Channel.DISTANCE: "height",
    Channel.LEVEL: "level by eye",
    Channel.LOST: "readings lost on the way",
    Channel.SIGNAL: "signal",
    Channel.BATTERY: "battery",
}

_KIND_WORDS = {
    AlertKind.OVEN_ON: "oven on now",
    AlertKind.READY_SOON: "ready soon",
    AlertKind.READY: "ready",
    AlertKind.AT_PEAK: "at its peak",
    AlertKind.PAST_PEAK: "past its peak",
    AlertKind.AIR_TOO_WARM: "air too warm",
    AlertKind.AIR_TOO_COLD: "air too cold",
    AlertKind.AIR_TOO_DRY: "air too dry",
    AlertKind.SENSOR_SILENT: "sensor silent",
    AlertKind.NODE_SILENT: "node silent",
    AlertKind.LINE_SILENT: "line silent",
    AlertKind.TROUBLE: "monitor in trouble",
}
_PHASE_WORDS = {
    Phase.NORMAL: "over",
    Phase.UNACKNOWLEDGED: "not yet acknowledged",
    Phase.ACKNOWLEDGED: "acknowledged",
    Phase.RETURNED: "over, nobody has acknowledged it",
    Phase.SHELVED: "shelved",
    Phase.SUPPRESSED: "explained by another",
}


def alert_kind_word(kind: AlertKind, manner: Manner) -> str:
    """An alert in two or three words."""
    return _KIND_WORDS[kind]


def phase_word(phase: Phase, manner: Manner) -> str:
    """How an alert stands, in a few words."""
    return _PHASE_WORDS[phase]


def subject_word(subject: Subject, manner: Manner, batch_name: str = "") -> str:
    """What an alert is about, on one line; a batch by the name given."""
    if subject.sort is Sort.BATCH:
        return printable(batch_name) or f"batch {subject.name}"
    return "the monitor" if subject.sort is Sort.MONITOR else f"{subject.sort.value} {printable(subject.name)}"


def count_text(n: int, one: str, many: str) -> str:
    """How many of something.

    >>> count_text(1, "call", "calls"), count_text(0, "call", "calls")
    ('1 call', '0 calls')
    """
    return f"{n} {one if n == 1 else many}"


def standing_text(alert: Alert, manner: Manner, now: datetime) -> str:
    """How an alert stands and since when, as a clause; of the monitor's own troubles also which it is."""
    stands = _standing_text(alert, manner, now)
    return f"{stands}: {printable(alert.reason)}" if alert.subject.sort is Sort.MONITOR else stands


def _standing_text(alert: Alert, manner: Manner, now: datetime) -> str:
    since = clock_text(alert.fired_at or alert.since_at, manner, now)
    if alert.phase is Phase.SHELVED and alert.shelved_until is not None:
        return f"since {since}, shelved until {clock_text(alert.shelved_until, manner, now)}"
    if alert.phase is Phase.SUPPRESSED:
        return f"since {since}; {alert.suppressed_by}"
    if alert.phase is Phase.RETURNED and alert.returned_at is not None:
        return f"from {since} to {clock_text(alert.returned_at, manner, now)}, nobody has acknowledged it"
    return f"since {since}, {phase_word(alert.phase, manner)}"


def printable(text: str) -> str:
    """A text of a baker's or a node's making on one line, without characters that would steer a terminal or a mail.

    >>> printable("Rye\\nstarter\\x1b[31m")
    'Rye starter [31m'
    """
    clean = "".join(character if unicodedata.category(character)[0] != "C" else " " for character in text)
    return " ".join(clean.split())


def state_word(state: State, manner: Manner) -> str:
    """How a dough stands, in two words at most."""
    return _STATE_WORDS[state]


def stage_word(stage: Stage, manner: Manner) -> str:
    """What a baker calls a stage."""
    return _STAGE_WORDS[stage]


def event_word(kind: EventKind, manner: Manner) -> str:
    """What was done to a dough, as it is noted."""
    return _EVENT_WORDS[kind]


def channel_word(channel: Channel, manner: Manner) -> str:
    """What a sensor measures."""
    return _CHANNEL_WORDS[channel]


def either_text(words: Iterable[str], manner: Manner) -> str:
    """Several things, any of them.

    >>> from datetime import UTC
    >>> told = Manner(UTC)
    >>> either_text(["height"], told), either_text(["air", "humidity", "height"], told)
    ('height', 'air, humidity or height')
    """
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


def duration_text(minutes: float) -> str:
    """A span of time. [min]

    >>> duration_text(132), duration_text(45.4), duration_text(120)
    ('2 h 12 min', '45 min', '2 h')
    """
    whole = max(round(minutes), 0)
    hours, rest = divmod(whole, 60)
    if hours == 0:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def to_minute(at: datetime) -> datetime:
    """A moment to the nearest minute, as all times are shown."""
    return (at + timedelta(seconds=30)).replace(second=0, microsecond=0)


def _day_text(at: datetime, now: datetime) -> str:
    """The day of a local moment as seen from another, with a space after it; empty for the same day."""
    days = (at.date() - now.date()).days
    if days == 0:
        return ""
    if abs(days) == 1:
        return "tomorrow " if days == 1 else "yesterday "
    return f"{at:%A} " if abs(days) < 7 else f"{at:%Y-%m-%d} "


def clock_text(at: datetime, manner: Manner, now: datetime | None = None) -> str:
    """A moment on the baker's clock; with its day when ``now`` is given and lies on another day.

    >>> from datetime import UTC
    >>> evening = datetime(2026, 3, 2, 21, 0, tzinfo=UTC)
    >>> clock_text(evening, Manner(UTC)), clock_text(evening + timedelta(hours=9), Manner(UTC), evening)
    ('21:00', 'tomorrow 06:00')
    """
    local = to_minute(at).astimezone(manner.zone)
    day = "" if now is None else _day_text(local, now.astimezone(manner.zone))
    return f"{day}{local:%H:%M}"


def between_text(early: datetime | None, late: datetime | None, manner: Manner, now: datetime | None = None) -> str:
    """The doubt of a moment; empty when neither end is known or both fall on the same minute.

    >>> from datetime import UTC
    >>> nine = datetime(2026, 3, 2, 9, 45, tzinfo=UTC)
    >>> between_text(nine, nine + timedelta(minutes=13), Manner(UTC)), between_text(nine, None, Manner(UTC))
    ('between 09:45 and 09:58', 'not before 09:45')
    """
    if early is not None and late is not None:
        first, last = clock_text(early, manner, now), clock_text(late, manner, early if now is not None else None)
        return "" if to_minute(early) == to_minute(late) else f"between {first} and {last}"
    if early is not None:
        return f"not before {clock_text(early, manner, now)}"
    return "" if late is None else f"by {clock_text(late, manner, now)}"


def about_text(moments: Moments, manner: Manner, now: datetime) -> str | None:
    """When something is expected, with its doubt; None when nothing can be said.

    >>> from datetime import UTC
    >>> nine = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    >>> minutes = lambda m: nine + timedelta(minutes=m)
    >>> about_text(Moments(p05=minutes(45), p50=minutes(51), p95=minutes(58)), Manner(UTC), nine)
    'about 09:51, between 09:45 and 09:58'
    """
    if moments.p50 is None:
        return (
            None if moments.p05 is None else f"{between_text(moments.p05, None, manner, now)}, and perhaps not at all"
        )
    doubt = between_text(moments.p05, moments.p95, manner, moments.p50 if _is_same_day(moments, manner) else now)
    about = f"about {clock_text(moments.p50, manner, now)}"
    return f"{about}, {doubt}" if doubt else about


def _is_same_day(moments: Moments, manner: Manner) -> bool:
    """True when the doubt does not reach into another day, so that the day need be said only once."""
    days = {at.astimezone(manner.zone).date() for at in (moments.p05, moments.p50, moments.p95) if at is not None}
    return len(days) == 1


def temp_text(temp_c: float, manner: Manner) -> str:
    """A temperature in both scales, the baker's own first.

    >>> from datetime import UTC
    >>> temp_text(25.3, Manner(UTC)), temp_text(25.3, Manner(UTC, "F"))
    ('25.3 °C (77.5 °F)', '77.5 °F (25.3 °C)')
    """
    celsius_text, fahrenheit_text = f"{temp_c:.1f} °C", f"{fahrenheit(temp_c):.1f} °F"
    return f"{fahrenheit_text} ({celsius_text})" if manner.temp_unit == "F" else f"{celsius_text} ({fahrenheit_text})"


def mass_text(mass_g: float, manner: Manner) -> str:
    """A weight in grams, or kilograms from one on, and in ounces.

    >>> from datetime import UTC
    >>> mass_text(450, Manner(UTC)), mass_text(1250, Manner(UTC, mass_unit="oz"))
    ('450 g (15.9 oz)', '44.1 oz (1.25 kg)')
    """
    metric = f"{mass_g / 1000:.2f} kg" if mass_g >= 1000 else f"{mass_g:.0f} g" if mass_g >= 20 else f"{mass_g:.1f} g"
    imperial = f"{ounces(mass_g):.1f} oz"
    return f"{imperial} ({metric})" if manner.mass_unit == "oz" else f"{metric} ({imperial})"


def rise_text(outlook: Outlook, manner: Manner) -> str:
    """How far a dough is up, with its doubt where it shows."""
    rise = outlook.rise_pct
    if rise is None:
        return "its rise is not known"
    low, middle, high = round(rise.p05), round(rise.p50), round(rise.p95)
    doubt = f" (between {low} and {high})" if high - low >= 2 else ""
    if middle < 0:
        return f"{-middle} % below where it began"
    return f"{middle} % up{doubt}"


def target_text(batch: Batch, manner: Manner) -> str:
    """What a batch waits for."""
    return "its peak" if batch.target.rise_pct is None else f"{batch.target.rise_pct:.0f} % up"
