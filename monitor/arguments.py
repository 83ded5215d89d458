"""What a word on the command line may be: a length of time, a moment, a number; for argparse's ``type``."""

import argparse
import re
from datetime import UTC, datetime, timedelta

_UNITS_S = {"s": 1, "m": 60, "h": 3600}


def duration(text: str) -> timedelta:
    """A length of time written as a number with ``s``, ``m`` or ``h``.

    Examples
    --------
    >>> duration("5m")
    datetime.timedelta(seconds=300)
    """
    match = re.fullmatch(r"(\d+(?:\.\d+)?)([smh])", text.strip())
    if match is None or float(match[1]) <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be a number above 0 with s, m or h, such as 30s, 5m or 24h")
    return timedelta(seconds=float(match[1]) * _UNITS_S[match[2]])


def moment(text: str) -> datetime:
    """An RFC 3339 moment, as aware UTC.

    Examples
    --------
    >>> moment("2026-03-02T06:40:00+01:00").isoformat()
    '2026-03-02T05:40:00+00:00'
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} must be a date and time with its offset, such as 2026-03-02T05:40:00Z"
        )
    return found.astimezone(UTC)


def positive(text: str) -> float:
    """A number above 0."""
    try:
        found = float(text)
    except ValueError:
        found = -1.0
    if not 0 < found < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be a number above 0")
    return found
