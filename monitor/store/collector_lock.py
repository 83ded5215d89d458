"""One collector for each data directory: two would work every batch twice."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from monitor.clock import SystemClock
from monitor.errors import ConfigError

LOCK_TRIES, LOCK_WAIT_S = 20, 0.05


@contextmanager
def hold_collector_lock(data_dir: Path) -> Iterator[None]:
    """Hold a data directory for this process alone.

    Raises
    ------
    ConfigError
        When another process holds it.
    """
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        file = _lock_file(data_dir).open("w")
    except OSError as error:
        raise ConfigError(
            "{data_dir}: cannot be written ({why}); name another with --data-dir", data_dir=data_dir, why=error.strerror
        ) from error
    with file:
        for _ in range(LOCK_TRIES):
            if _is_locked(file, fcntl.LOCK_EX):
                break
            SystemClock().wait(LOCK_WAIT_S)  # is_collector_running holds it for a moment
        else:
            raise ConfigError(
                "{data_dir}: a collector is at work here already; stop it, or name another directory", data_dir=data_dir
            )
        yield


def is_collector_running(data_dir: Path) -> bool:
    """True while a collector runs on a data directory."""
    try:
        with _lock_file(data_dir).open() as file:
            return not _is_locked(file, fcntl.LOCK_SH)
    except OSError:  # no collector ever ran here, or it is another user's
        return False


def _is_locked(file: TextIO, how: int) -> bool:
    """True when the lock was got at once."""
    try:
        fcntl.flock(file, how | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _lock_file(data_dir: Path) -> Path:
    return data_dir / "collector.lock"
