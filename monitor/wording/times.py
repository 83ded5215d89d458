"""Moments and spans of time in words: on the reader's dial, with their day, with their doubt."""

from datetime import UTC, date, datetime, time, timedelta, tzinfo

from monitor.dough.outlook import Moments
from monitor.translatable import N_
from monitor.wording.reader import Reader


def duration_text(minutes: float) -> str:
    """A span of time, in the units' signs, which are the same in every language. [min]

    >>> duration_text(132), duration_text(45.4), duration_text(120)
    ('2 h 12 min', '45 min', '2 h')
    """
    whole = max(round(minutes), 0)
    hours, rest = divmod(whole, 60)
    if hours == 0:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def minutes_text(minutes: float) -> str:
    """A span as a plan tells it: nothing shorter than a minute."""
    return duration_text(max(minutes, 1.0))


def to_minute(at: datetime) -> datetime:
    """A moment to the nearest minute, as all times are shown."""
    return (at + timedelta(seconds=30)).replace(second=0, microsecond=0)


def dial_text(local: datetime, reader: Reader) -> str:
    """A moment in the reader's zone, as the reader's dial shows it.

    >>> from datetime import UTC
    >>> afternoon = datetime(2026, 3, 2, 14, 5, tzinfo=UTC)
    >>> dial_text(afternoon, Reader(UTC)), dial_text(afternoon, Reader(UTC, clock="12"))  # no line ends before PM
    ('14:05', '2:05\\xa0PM')
    """
    if reader.clock == "12":
        return f"{local.hour % 12 or 12}:{local.minute:02d}\u00a0{'AM' if local.hour < 12 else 'PM'}"
    return f"{local:%H:%M}"


def twice_text(local: datetime, reader: Reader) -> str:
    """Which of two moments is meant when the reader's clock shows them alike; empty when it shows only one so."""
    first, second = local.replace(fold=0), local.replace(fold=1)
    if first.utcoffset() == second.utcoffset():
        return ""
    if first.dst() == second.dst():  # the zone itself was changed
        return str(local.tzname())
    return reader.say(N_("winter time") if local.fold else N_("summer time"))


def hour_text(local: datetime, reader: Reader) -> str:
    """A moment in the reader's zone, as the reader's dial shows it; which of two when it shows them alike.

    >>> from zoneinfo import ZoneInfo
    >>> vienna = ZoneInfo("Europe/Vienna")
    >>> [hour_text(datetime(2026, 10, 25, 2, 30, tzinfo=vienna, fold=fold), Reader(vienna)) for fold in (0, 1)]
    ['02:30 (summer time)', '02:30 (winter time)']
    """
    which = twice_text(local, reader)
    return f"{dial_text(local, reader)} ({which})" if which else dial_text(local, reader)


def day_word(local: datetime, reader: Reader) -> str:
    """The weekday of a moment in the reader's zone."""
    return reader.language.weekdays[local.weekday()]


def date_words(at: datetime, reader: Reader) -> str:
    """Weekday and date of a moment.

    >>> from datetime import UTC
    >>> date_words(datetime(2026, 3, 2, tzinfo=UTC), Reader(UTC))
    'Monday 2026-03-02'
    """
    local = at.astimezone(reader.zone)
    return f"{day_word(local, reader)} {local:%Y-%m-%d}"


def _day_text(at: datetime, now: datetime, reader: Reader) -> str:
    """The day of a local moment as seen from another; empty for the same day."""
    days = (at.date() - now.date()).days
    if days == 0:
        return ""
    if abs(days) == 1:
        return reader.say(N_("tomorrow") if days == 1 else N_("yesterday"))
    return day_word(at, reader) if abs(days) < 7 else f"{at:%Y-%m-%d}"


def clock_text(at: datetime, reader: Reader, now: datetime | None = None) -> str:
    """A moment on the reader's clock; with its day when ``now`` is given and lies on another day.

    >>> from datetime import UTC
    >>> evening = datetime(2026, 3, 2, 21, 0, tzinfo=UTC)
    >>> clock_text(evening, Reader(UTC)), clock_text(evening + timedelta(hours=9), Reader(UTC), evening)
    ('21:00', 'tomorrow 06:00')
    """
    local = to_minute(at).astimezone(reader.zone)
    day = "" if now is None else _day_text(local, now.astimezone(reader.zone), reader)
    return f"{day} {hour_text(local, reader)}" if day else hour_text(local, reader)


def clock_in_line(at: datetime, line_at: datetime, reader: Reader, now: datetime) -> str:
    """A second moment in a line that has told one: its hour alone on the same day, or else its day as seen from now.

    So *tomorrow* is the day after today wherever it stands.

    >>> from datetime import UTC
    >>> evening = datetime(2026, 3, 2, 21, 0, tzinfo=UTC)
    >>> first, second = evening + timedelta(hours=4), evening + timedelta(hours=6)
    >>> clock_in_line(second, first, Reader(UTC), evening), clock_in_line(second, evening, Reader(UTC), evening)
    ('03:00', 'tomorrow 03:00')
    """
    is_same_day = at.astimezone(reader.zone).date() == line_at.astimezone(reader.zone).date()
    return clock_text(at, reader, None if is_same_day else now)


def between_text(early: datetime | None, late: datetime | None, reader: Reader, now: datetime | None = None) -> str:
    """The doubt of a moment; empty when neither end is known or both fall on the same minute.

    >>> from datetime import UTC
    >>> nine = datetime(2026, 3, 2, 9, 45, tzinfo=UTC)
    >>> between_text(nine, nine + timedelta(minutes=13), Reader(UTC)), between_text(nine, None, Reader(UTC))
    ('between 09:45 and 09:58', 'not before 09:45')
    """
    if early is not None and late is not None:
        if to_minute(early) == to_minute(late):
            return ""
        first, last = clock_text(early, reader, now), clock_text(late, reader, early if now is not None else None)
        return reader.say("between {early} and {late}", early=first, late=last)
    if early is not None:
        return reader.say("not before {early}", early=clock_text(early, reader, now))
    return "" if late is None else reader.say("by {late}", late=clock_text(late, reader, now))


def about_text(moments: Moments, reader: Reader, now: datetime) -> str | None:
    """When something is expected, with its doubt; None when nothing can be said.

    >>> from datetime import UTC
    >>> nine = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    >>> minutes = lambda m: nine + timedelta(minutes=m)
    >>> about_text(Moments(p05=minutes(45), p50=minutes(51), p95=minutes(58)), Reader(UTC), nine)
    'about 09:51, between 09:45 and 09:58'
    """
    if moments.p50 is None:
        if moments.p05 is None:
            return None
        return reader.say("not before {early}, and perhaps not at all", early=clock_text(moments.p05, reader, now))
    doubt = between_text(moments.p05, moments.p95, reader, moments.p50 if _is_same_day(moments, reader) else now)
    at = clock_text(moments.p50, reader, now)
    return reader.say("about {at}, {doubt}", at=at, doubt=doubt) if doubt else reader.say("about {at}", at=at)


def _is_same_day(moments: Moments, reader: Reader) -> bool:
    """True when the doubt does not reach into another day, so that the day need be said only once."""
    days = {at.astimezone(reader.zone).date() for at in (moments.p05, moments.p50, moments.p95) if at is not None}
    return len(days) == 1


def moments_shown(clock_time: time, day: date, zone: tzinfo) -> list[datetime]:
    """The moments at which a clock on the wall shows a time of a day, in UTC: two where it is put back over it.

    Where it is put on past it: as much later as it is put on.

    >>> from zoneinfo import ZoneInfo
    >>> vienna, half_past_two = ZoneInfo("Europe/Vienna"), time(2, 30)
    >>> [f"{at:%H:%M}" for at in moments_shown(half_past_two, date(2026, 10, 25), vienna)]
    ['00:30', '01:30']
    >>> [f"{at:%H:%M}" for at in moments_shown(half_past_two, date(2027, 3, 28), vienna)]
    ['01:30']
    """
    first, second = (datetime.combine(day, clock_time.replace(fold=fold), zone).astimezone(UTC) for fold in (0, 1))
    return [first, second] if second > first else [first]


def next_time(clock_time: time, after: datetime, zone: tzinfo) -> datetime:
    """The next moment a clock on the wall shows a time, in the same time zone as ``after``."""
    today = after.astimezone(zone).date()
    days = (today + timedelta(days=ahead) for ahead in (-1, 0, 1, 2))
    found = min(at for day in days for at in moments_shown(clock_time, day, zone) if at > after)
    return found.astimezone(after.tzinfo)
