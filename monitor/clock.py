"""Wall time, monotonic time and waiting: the only module that asks the machine for either."""

import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol

EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)  # this program was written later
CLEARLY_MOVED = timedelta(minutes=1)  # judgement: of the machine's clock; by less a time server corrects it


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


def is_calendar_right() -> bool:
    """False while the wall clock stands before this program was written, as on a board without a battery at boot."""
    return wall_clock() >= EARLIEST


def _since_boot_s() -> float:
    """Seconds of a counter that nothing sets back and that goes on while the machine sleeps. [s]"""
    # the monotonic counter of Linux stands still in a suspended machine; a dough does not
    return time.clock_gettime(time.CLOCK_BOOTTIME) if sys.platform == "linux" else time.monotonic()


class SystemClock:
    """UTC anchored at start and carried on by a counter: whoever moves the wall clock does not move the doughs."""

    def __init__(self) -> None:
        self._anchor = wall_clock()
        self._anchor_s = _since_boot_s()

    def now(self) -> datetime:
        return self._anchor + timedelta(seconds=_since_boot_s() - self._anchor_s)

    def moved(self) -> timedelta:
        """How far the machine's wall clock has been moved ahead (or back) since this clock was started."""
        return wall_clock() - SystemClock.now(self)

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
