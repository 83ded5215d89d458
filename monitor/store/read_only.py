"""Looking into a database whose folder cannot be written, as on a card that fails: the system makes it read-only.

SQLite's write-ahead log wants to be written even to be read. While ``-wal`` and ``-shm`` lie there, as after a crash,
SQLite (3.22 and later) reads them as they are. A log without the other is worked into a copy, made once a process.
Without a log the file is all there is, and SQLite may be told that nobody changes it.
https://www.sqlite.org/wal.html, "Read-Only Databases".
"""

import atexit
import os
import shutil
import sqlite3
import tempfile
import threading
from contextlib import closing
from functools import cache
from pathlib import Path

_lock = threading.Lock()


def is_writable(path: Path) -> bool:
    """False when a database that is there, or its folder, cannot be written by this user."""
    return not path.exists() or (os.access(path.parent, os.W_OK) and os.access(path, os.W_OK))


def looking_into(path: Path, timeout_s: float) -> sqlite3.Connection:
    """A connection that only reads, with all that was ever committed; in autocommit mode.

    Raises
    ------
    sqlite3.Error, OSError
        When the file cannot be read, or there is no room for a copy where one is needed.
    """
    try:
        connection = _connected(path, "mode=ro", timeout_s)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except sqlite3.Error:
            connection.close()
            raise
    except sqlite3.OperationalError as error:
        # SQLITE_CANTOPEN, SQLITE_READONLY: the log's index is not there and cannot be made, so nobody is writing either
        if is_writable(path) or (error.sqlite_errorcode & 0xFF) not in (
            sqlite3.SQLITE_CANTOPEN,
            sqlite3.SQLITE_READONLY,
        ):
            raise
        wal = path.with_name(f"{path.name}-wal")
        if wal.exists() and wal.stat().st_size > 0:
            with _lock:
                path = _merged(path, _state(path), _state(wal))
        return without_log(path)
    return connection


def without_log(path: Path) -> sqlite3.Connection:
    """A connection that reads the file alone, as it lies there, whoever writes it and whatever stands in its log."""
    return _connected(path, "mode=ro&immutable=1", 0.0)


def _connected(path: Path, how: str, timeout_s: float) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True, timeout=timeout_s, isolation_level=None)


def _state(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_mtime_ns, found.st_size


@cache
def _merged(path: Path, *_states: tuple[int, int]) -> Path:
    """A copy into which the log was worked; it is taken away with the process."""
    folder = Path(tempfile.mkdtemp(prefix="proofing-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    for suffix in ("", "-wal"):
        shutil.copyfile(path.with_name(path.name + suffix), folder / (path.name + suffix))
    with closing(sqlite3.connect(folder / path.name)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")
    return folder / path.name
