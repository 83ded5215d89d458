"""What can be wrong with the monitor itself: one health check each, made by the supervisor.

A silent node or line is none of them: it is an alert like any other, and hides those it explains.
"""

import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from monitor.alerts.troubles import (
    CarriersFail,
    ClockMoved,
    DatabaseGone,
    DatabaseSetAside,
    DiskNearlyFull,
    LoopHangs,
    StoreUnusable,
)
from monitor.clock import CLEARLY_MOVED, SystemClock
from monitor.health.counters import Pulse
from monitor.health.supervisor import HealthCheck, Symptom

LEAST_FREE_MB = 100.0  # judgement: weeks of readings of one bakery, and time enough to make room
CLEARLY = 1.2  # judgement
STORE_S = 5.0  # judgement: another program's short hold on the file is nothing to call about
LOOP_S = 60.0
CARRIER_S = 300.0  # judgement: a network that is away for minutes is not yet the baker's to mend


def store_check(pulse: Pulse, path: Path) -> HealthCheck:
    """The store cannot be used, or the loop does not turn."""

    def look() -> Iterator[Symptom]:
        error = pulse.store_error
        if error is not None:
            yield Symptom(StoreUnusable(error.fault, str(path), error.detail), STORE_S)
        if pulse.silent_s > LOOP_S:
            yield Symptom(LoopHangs())

    return look


def disk_check(folder: Path, least_free_mb: float = LEAST_FREE_MB) -> HealthCheck:
    """The disk is nearly full, until clearly more is free again: a disk at its limit must not call at every turn."""
    is_low = False

    def look() -> Iterator[Symptom]:
        nonlocal is_low
        is_low = shutil.disk_usage(folder).free / 1e6 < least_free_mb * (CLEARLY if is_low else 1.0)
        if is_low:
            yield Symptom(DiskNearlyFull(str(folder)))

    return look


def clock_check(clock: SystemClock) -> HealthCheck:
    """The machine's clock was moved while the collector ran, which goes on by the time it had."""

    def look() -> Iterator[Symptom]:
        if abs(clock.moved()) > CLEARLY_MOVED:
            yield Symptom(ClockMoved(), CLEARLY_MOVED.total_seconds())

    return look


def damage_check(aside: Sequence[Path]) -> HealthCheck:
    """A damaged database was set aside since the start."""

    def look() -> Iterable[Symptom]:
        return [Symptom(DatabaseSetAside(str(path))) for path in aside]

    return look


def gone_check(gone: Sequence[Path | None]) -> HealthCheck:
    """The database was deleted or replaced since the start; each time, where what it held was saved."""

    def look() -> Iterable[Symptom]:
        return [Symptom(DatabaseGone("" if path is None else str(path))) for path in gone]

    return look


def carriers_check(failing: Callable[[], Sequence[str]]) -> HealthCheck:
    """Messages do not get through: those that still can be reached, and the board, are told so."""

    def look() -> Iterator[Symptom]:
        names = failing()
        if names:
            yield Symptom(CarriersFail(tuple(names)), CARRIER_S)

    return look
