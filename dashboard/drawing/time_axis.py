"""The clock under a chart: round moments as the reader's dial shows them, right on days when the clock is changed too.

Charts get moments in milliseconds since 1970, which run on evenly whatever a clock on the wall does. What is written
under them is worked out here: an hour that comes twice stands there twice, an hour that is skipped takes no room.
"""

from datetime import UTC, datetime, timedelta, tzinfo
from math import gcd

from monitor.wording.reader import Reader
from monitor.wording.times import dial_text, twice_text

STEPS_MIN = (5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)
OFFSETS_MIN = 15  # every zone in use is off by a multiple of it: IANA time zone database, from memory

Tick = tuple[float, tuple[str, ...]]
"""A moment in milliseconds since 1970, and what stands under it, a line each."""


def ms(at: datetime) -> float:
    """A moment in milliseconds since 1970. [ms]"""
    return at.timestamp() * 1000.0


def moment(at_ms: float) -> datetime:
    """A moment from milliseconds since 1970."""
    return datetime.fromtimestamp(at_ms / 1000.0, UTC)


def round_moments(start: datetime, end: datetime, step_min: int, zone: tzinfo) -> list[datetime]:
    """The moments between two at which a clock in a zone shows a round time, in UTC.

    A step of 60 finds each full hour: one that comes twice is found twice, one that is skipped is not found.
    """
    grain = timedelta(minutes=gcd(step_min, OFFSETS_MIN))
    since = datetime(1970, 1, 1, tzinfo=UTC)
    at = since - grain * ((since - start) // grain)
    found = []
    while at <= end:
        local = at.astimezone(zone)
        if (60 * local.hour + local.minute) % step_min == 0:
            found.append(at)
        at += grain
    return found


def ticks(span: tuple[float, float], reader: Reader, most: int = 7) -> list[Tick]:
    """At most about ``most`` round moments of an axis from and to a number of milliseconds, with their words."""
    start, end = moment(span[0]), moment(span[1])
    minutes = (end - start).total_seconds() / 60.0
    step_min = next((step for step in STEPS_MIN if minutes / step <= most), STEPS_MIN[-1])
    found: list[Tick] = []
    for at in round_moments(start, end, step_min, reader.zone):
        local = at.astimezone(reader.zone)
        which = twice_text(local, reader)
        found.append((ms(at), (dial_text(local, reader), which) if which else (dial_text(local, reader),)))
    return found
