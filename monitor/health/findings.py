"""What a check of the whole monitor says: one thing that was looked at, and what to do about it."""

from collections.abc import Iterator
from typing import NamedTuple


class Finding(NamedTuple):
    """One thing that was looked at.

    Attributes
    ----------
    mend
        What to do about it; None when it is right as it is.
    """

    what: str
    mend: str | None = None


Findings = Iterator[Finding]
