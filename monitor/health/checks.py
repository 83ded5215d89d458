"""What can be wrong with the monitor itself: one lookout each, asked by the supervisor.

A silent node or line is no lookout: it is an alert like any other, and hides those it explains.
"""

import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import timedelta
from pathlib import Path

from monitor.clock import SystemClock
from monitor.health.counters import Pulse
from monitor.health.supervisor import HealthCheck
from monitor.health.trouble import Trouble
from monitor.translatable import Half, Saying

LEAST_FREE_MB = 100.0  # judgement: weeks of readings of one bakery, and time enough to make room
CLEARLY = 1.2  # judgement
STORE_S = 5.0  # judgement: another program's short hold on the file is nothing to call about
LOOP_S = 60.0
MOVED = timedelta(minutes=1)
CARRIER_S = 300.0  # judgement: a network that is away for minutes is not yet the baker's to mend


def store_lookout(pulse: Pulse) -> HealthCheck:
    """The store cannot be used, or the loop does not turn."""

    def look() -> Iterator[Trouble]:
        if pulse.store_trouble:
            trouble = pulse.store_trouble
            yield Trouble(
                "store",
                Saying(
                    "nothing can be stored, and no call about a dough goes out ({what}); the nodes keep what they can",
                    what=Half(trouble, 0),
                ),
                Saying("{mend}; it then goes on by itself", mend=Half(trouble, 1)),
                STORE_S,
            )
        if pulse.silent_s > LOOP_S:
            yield Trouble("loop", Saying("the collector hangs"), Saying("restart it; nothing acknowledged is lost"))

    return look


def disk_lookout(folder: Path, least_free_mb: float = LEAST_FREE_MB) -> HealthCheck:
    """The disk is nearly full, until clearly more is free again: a disk at its limit must not call at every turn."""
    is_low = False

    def look() -> Iterator[Trouble]:
        nonlocal is_low
        is_low = shutil.disk_usage(folder).free / 1e6 < least_free_mb * (CLEARLY if is_low else 1.0)
        if is_low:
            yield Trouble(
                "disk", Saying("the disk under {folder} is nearly full", folder=folder), Saying("make room on it")
            )

    return look


def clock_lookout(clock: SystemClock) -> HealthCheck:
    """The machine's clock was moved while the collector ran, which goes on by the time it had."""

    def look() -> Iterator[Trouble]:
        if abs(clock.moved()) > MOVED:
            yield Trouble(
                "clock",
                Saying(
                    "this machine's clock was moved; the collector goes on by the time it had before, so no "
                    "call comes early or late"
                ),
                Saying("see that date and time are right now, and then restart the collector"),
                MOVED.total_seconds(),
            )

    return look


def damage_lookout(aside: Sequence[Path]) -> HealthCheck:
    """A damaged database was set aside since the start."""

    def look() -> Iterable[Trouble]:
        return [
            Trouble(
                f"damaged {path.name}",
                Saying(
                    "the database was damaged and is set aside as {path}; a new one is begun, which knows no batches",
                    path=path,
                ),
                Saying("bring back the newest backup (`proofing-monitor backup restore`), or start the batches again"),
            )
            for path in aside
        ]

    return look


def carriers_lookout(failing: Callable[[], Sequence[str]]) -> HealthCheck:
    """Messages do not get through: those that still can be reached, and the board, are told so."""

    def look() -> Iterator[Trouble]:
        names = failing()
        if names:
            yield Trouble(
                "carriers",
                Saying("messages by {names} do not get through; they are tried again", names=", ".join(names)),
                Saying(
                    "see that the network is up and that `notify_urls` is right (`proofing-monitor check`); "
                    "until then look at the board"
                ),
                CARRIER_S,
            )

    return look
