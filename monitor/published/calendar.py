"""What is to come as iCalendar (RFC 5545, with the calendar's own properties of RFC 7986)."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from icalendar import Alarm, Calendar, Event

from monitor.published.moments import Entry, Said

MEDIA_TYPE = "text/calendar"
REFRESH_EVERY = timedelta(minutes=15)  # judgement: as often as a phone asks, at the most


def calendar_bytes(entries: Iterable[Entry], said: Mapping[str, Said], now: datetime) -> bytes:
    """A calendar of entries.

    Parameters
    ----------
    said
        What is kept of them, by their identity: when they are, and how often they have moved.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//proofing-monitor//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("refresh-interval", REFRESH_EVERY, parameters={"VALUE": "DURATION"})
    for entry in entries:
        calendar.add_component(_event(entry, said.get(entry.uid) or Said(entry.at, 0, now), now))
    return bytes(calendar.to_ical())


def _event(entry: Entry, said: Said, now: datetime) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstamp", now)
    event.add("last-modified", said.since)
    event.add("sequence", said.sequence)
    event.add("dtstart", said.at)
    if entry.hands_min:
        event.add("duration", timedelta(minutes=round(entry.hands_min)))
    event.add("summary", entry.title)
    if entry.text:
        event.add("description", entry.text)
    event.add("transp", "TRANSPARENT" if not entry.hands_min else "OPAQUE")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", entry.title)
    alarm.add("trigger", -timedelta(minutes=entry.lead_min))
    event.add_component(alarm)
    return event
