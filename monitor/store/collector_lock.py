"""One collector, and one that ships, for each data directory: two would do everything twice. The locks for it."""

import fcntl
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TextIO

from monitor.clock import SystemClock
from monitor.errors import ConfigError

LOCK_TRIES, LOCK_WAIT_S = 20, 0.05
COLLECTOR_LOCK = Path("collector.lock")
SHIPPING_LOCK = Path("replica") / "replica.lock"
"""In a data directory: held while its store is shipped elsewhere, which wants its log left alone."""


@contextmanager
def held(path: Path, taken: ConfigError) -> Iterator[TextIO]:
    """Hold a file for this process, and for whatever inherits it, alone.

    Raises
    ------
    ConfigError
        ``taken``, when another process holds it; or its folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = path.open("w")
    except OSError as error:
        raise ConfigError(
            "{data_dir}: cannot be written ({why}); name another with --data-dir",
            data_dir=path.parent,
            why=error.strerror,
        ) from error
    with file:
        for _ in range(LOCK_TRIES):
            if _is_locked(file, fcntl.LOCK_EX):
                break
            SystemClock().wait(LOCK_WAIT_S)  # is_held holds it for a moment
        else:
            raise taken
        yield file


def is_held(path: Path) -> bool:
    """True while a process holds a file."""
    try:
        with path.open() as file:
            return not _is_locked(file, fcntl.LOCK_SH)
    except OSError:  # nobody ever held it, or it is another user's
        return False


def hold_collector_lock(data_dir: Path) -> AbstractContextManager[TextIO]:
    """Hold a data directory for this process alone; a ConfigError when another process holds it."""
    taken = ConfigError(
        "{data_dir}: a collector is at work here already; stop it, or name another directory", data_dir=data_dir
    )
    return held(data_dir / COLLECTOR_LOCK, taken)


def is_collector_running(data_dir: Path) -> bool:
    """True while a collector runs on a data directory."""
    return is_held(data_dir / COLLECTOR_LOCK)


def hold_shipping_lock(data_dir: Path) -> AbstractContextManager[TextIO]:
    """Hold the shipping of a data directory for this process alone; a ConfigError when another process holds it."""
    taken = ConfigError(
        "{data_dir}: its store is being shipped; stop `proofing-monitor replica run`, or its service",
        data_dir=data_dir,
    )
    return held(data_dir / SHIPPING_LOCK, taken)


def is_shipping(data_dir: Path) -> bool:
    """True while a process ships from a data directory."""
    return is_held(data_dir / SHIPPING_LOCK)


def _is_locked(file: TextIO, how: int) -> bool:
    """True when the lock was got at once."""
    try:
        fcntl.flock(file, how | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
