"""Wall time, monotonic time and waiting: the only module that asks the machine for either."""

import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Tells dough time (what the dough lives by) and lets a thread wait in real time."""

    def now(self) -> datetime:
        """Aware UTC datetime the dough lives in."""

    def real_s(self) -> float:
        """Monotonic seconds for time-outs and retries; never scaled. [s]"""

    def wait(self, seconds: float) -> None:
        """Sleep real seconds."""


def wall_clock() -> datetime:
    """The machine's wall clock, as aware UTC."""
    return datetime.now(UTC)


class SystemClock:
    """UTC anchored at start and carried on by the monotonic counter, so it never runs backwards."""

    def __init__(self) -> None:
        self._anchor = wall_clock()
        self._anchor_s = time.monotonic()

    def now(self) -> datetime:
        return self._anchor + timedelta(seconds=time.monotonic() - self._anchor_s)

    def real_s(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)


@dataclass(frozen=True, slots=True)
class Pace:
    """One (epoch, speed) pair that every process of a demo shares.

    Dough time stands at ``epoch`` until the wall clock reaches it, and runs ``speed`` times as fast from then on.
    """

    epoch: datetime
    speed: float


class ScaledClock(SystemClock):
    """Dough time at a :class:`Pace`; waiting and time-outs stay real."""

    def __init__(self, pace: Pace) -> None:
        super().__init__()
        self.pace = pace

    def now(self) -> datetime:
        elapsed = max(super().now() - self.pace.epoch, timedelta())
        return self.pace.epoch + elapsed * self.pace.speed
