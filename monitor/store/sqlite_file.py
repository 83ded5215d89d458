"""One SQLite file with the tables of the store: opened, brought up to date, read and written in transactions.

WAL with ``synchronous=FULL``: what was committed is on the disk.
"""

import logging
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from monitor.clock import SystemClock
from monitor.errors import DamagedError, StoreError
from monitor.store import schema

log = logging.getLogger(__name__)

COPY = 1
"""The file's ``user_version`` that says: this is a copy of another site's store."""
BUSY_MS = 10_000  # judgement: far longer than any transaction here, shorter than a person's patience
_SQLITE_HINTS = (
    ("locked", "another program holds the file; close it, or try again"),
    ("busy", "another program holds the file; close it, or try again"),
    ("full", "make room on this disk, then start again"),
    ("readonly", "let this user write the file and its folder"),
    ("unable to open", "check that the path is a file and that this user may write its folder"),
    ("not a database", "the file is something else; name another, or bring it back from a copy"),
    ("malformed", "the file is damaged; bring it back with `proofing-monitor backup restore`"),
    ("thread", "each thread opens a Store of its own"),
    ("closed", "the store was closed before; open it again"),
)


class SqliteFile:
    """The file, opened. Usable from the thread that opened it; a context manager.

    Parameters
    ----------
    path
        The file; it and its folder are made when they are missing.

    Raises
    ------
    StoreError
        From every method: the file, what happened, what to do.
    """

    _may_write_copies = False

    def __init__(self, path: Path) -> None:
        self.path = path
        self.is_copy = False
        self._batch_writes = 0
        self._connection = self._opened()

    def _opened(self) -> sqlite3.Connection:
        with self._explained("cannot be opened"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            connection = sqlite3.connect(self.path, timeout=BUSY_MS / 1000, isolation_level=None)
        try:
            with self._explained("cannot be opened"):
                connection.row_factory = sqlite3.Row
                _write_ahead(connection)
                connection.execute("PRAGMA synchronous = FULL")
                connection.execute("PRAGMA foreign_keys = ON")
                if 0 < (before := schema.version(connection)) < len(schema.MIGRATIONS):
                    log.warning(
                        "%s: of an older version, is brought up to date (tables %d to %d): a week's readings of twenty "
                        "nodes take a minute, and as much room again for that time",
                        self.path,
                        before,
                        len(schema.MIGRATIONS),
                    )
                found, _ = schema.migrate(connection)
                self.is_copy = connection.execute("PRAGMA user_version").fetchone()[0] == COPY
            if found > len(schema.MIGRATIONS):
                raise StoreError(
                    f"{self.path}: was written by a newer version of this program (tables version {found}, this "
                    f"program knows {len(schema.MIGRATIONS)}): install the newer version, or name another file"
                )
        except StoreError:
            connection.close()
            raise
        return connection

    def reopen(self) -> None:
        """Open the file anew, as after an error of the disk: what SQLite holds of it may be stale."""
        self._connection.close()
        self._connection = self._opened()
        self._batch_writes += 1  # a new connection counts the changes of others anew

    def _mark_as_copy(self) -> None:
        self._connection.execute(f"PRAGMA user_version = {COPY}")
        self.is_copy = True

    def look_only(self) -> None:
        """Refuse, from now on, every write by this connection."""
        with self._explained("cannot be read"):
            self._connection.execute("PRAGMA query_only = ON")

    def close(self) -> None:
        """Let go of the file; a second time does nothing."""
        with self._explained("cannot be closed"):
            self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _explained(self, what: str) -> Iterator[None]:
        """Library errors as a StoreError that names the file and what to do."""
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            text = str(error)
            hint = next((hint for word, hint in _SQLITE_HINTS if word in text.lower()), "check the disk and its rights")
            kind = DamagedError if is_damage(error) else StoreError
            raise kind(f"{self.path}: {what}: {text}; {hint}") from error

    @contextmanager
    def _write(self, *, is_of_batches: bool = False) -> Iterator[sqlite3.Connection]:
        """One immediate transaction: all of it, or nothing. See :meth:`changes` for what is of batches."""
        if self.is_copy and not self._may_write_copies:
            raise StoreError(f"{self.path}: is a copy of another site's store; note it there, it comes here by itself")
        self._batch_writes += is_of_batches
        with self._explained("cannot be written"):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def _read(self) -> Iterator[sqlite3.Connection]:
        """One read transaction: all its statements see the same moment."""
        with self._explained("cannot be read"):
            self._connection.execute("BEGIN")
            try:
                yield self._connection
            except ValueError as error:
                raise StoreError(
                    f"{self.path}: holds a value this program cannot read: {error}; bring the file back from a copy"
                ) from error
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    def changes(self) -> tuple[int, int]:
        """Differs from the last time when batches, what belongs to them or what they taught may have changed.

        That is when another process or thread has written anything, or this store anything of the kind: the readings
        and outlooks that come through it by the hundred do not count. Asking costs microseconds.
        """
        with self._explained("cannot be read"):
            return int(self._connection.execute("PRAGMA data_version").fetchone()[0]), self._batch_writes


def is_damage(error: Exception) -> bool:
    """True when SQLite says that the file's content is wrong, and not that it cannot be got at."""
    code = getattr(error, "sqlite_errorcode", None) or 0  # the low byte is the code, the rest its kind
    return (code & 0xFF) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Switch the file to WAL. Of processes that open a new file at once SQLite refuses some without waiting: try again.

    Raises
    ------
    sqlite3.Error
        When it is still refused after ``BUSY_MS``.
    """
    clock = SystemClock()
    give_up_s = clock.real_s() + BUSY_MS / 1000
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or clock.real_s() > give_up_s:
                raise
            clock.wait(0.01)
        else:
            return
