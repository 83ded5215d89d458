"""One SQLite file with the tables of the store: opened, brought up to date, read and written in transactions.

WAL with ``synchronous=FULL``: what was committed is on the disk.
"""

import logging
import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from monitor.clock import SystemClock
from monitor.errors import STORE_REMEDIES, DamagedError, StoreError, StoreFault
from monitor.store import schema
from monitor.translatable import Translatable

log = logging.getLogger(__name__)

COPY = 1
"""The file's ``user_version`` that says: this is a copy of another site's store."""
BUSY_MS = 10_000  # judgement: far longer than any transaction here, shorter than a person's patience
_FAULTS = (  # by a word of what SQLite says
    ("locked", StoreFault.LOCKED),
    ("busy", StoreFault.LOCKED),
    ("full", StoreFault.FULL),
    ("readonly", StoreFault.READ_ONLY),
    ("unable to open", StoreFault.NO_PATH),
    ("not a database", StoreFault.NO_DATABASE),
    ("malformed", StoreFault.DAMAGED),
    ("thread", StoreFault.OTHER_THREAD),
    ("closed", StoreFault.CLOSED),
)


class SqliteFile:
    """The file, opened. Usable from the thread that opened it; a context manager.

    Parameters
    ----------
    path
        The file; it and its folder are made when they are missing.
    as_copy
        Make it a copy of another site's store and write that; a copy opened in any other way refuses every write.

    Raises
    ------
    StoreError
        From every method: the file, what happened, what to do.
    """

    def __init__(self, path: Path, *, as_copy: bool = False) -> None:
        self.path = path
        self.is_copy = False
        self._as_copy = as_copy
        self._batch_writes = 0
        self._connection = self._opened()

    def _opened(self) -> sqlite3.Connection:
        with self._explained(Translatable("cannot be opened")):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            connection = sqlite3.connect(self.path, timeout=BUSY_MS / 1000, isolation_level=None)
        try:
            with self._explained(Translatable("cannot be opened")):
                connection.row_factory = sqlite3.Row
                _write_ahead(connection)
                connection.execute("PRAGMA synchronous = FULL")
                connection.execute("PRAGMA foreign_keys = ON")
                if 0 < (before := schema.version(connection)) < len(schema.MIGRATIONS):
                    log.warning(
                        "%s: of an older version, is brought up to date (tables %d to %d): a week's readings of twenty "
                        "nodes take a minute, and twice as much room again for that time",
                        self.path,
                        before,
                        len(schema.MIGRATIONS),
                    )
                    kept = _keep_version(connection, self.path, before)
                    log.warning("%s: the file as it was lies at %s", self.path, kept)
                found, _ = schema.migrate(connection)
                self.is_copy = connection.execute("PRAGMA user_version").fetchone()[0] == COPY
            if found > len(schema.MIGRATIONS):
                raise StoreError(
                    "{path}: was written by a newer version of this program (tables version {found}, this program "
                    "knows {known}): install the newer version, or name another file",
                    path=self.path,
                    found=found,
                    known=len(schema.MIGRATIONS),
                )
            if self._as_copy:
                with self._explained(Translatable("cannot be made a copy")):
                    connection.execute(f"PRAGMA user_version = {COPY}")
                    connection.execute("PRAGMA foreign_keys = OFF")  # rows come in an order of their own
                self.is_copy = True
        except StoreError:
            connection.close()
            raise
        return connection

    def reopen(self) -> None:
        """Open the file anew, as after an error of the disk: what SQLite holds of it may be stale."""
        self._connection.close()
        self._connection = self._opened()
        self._batch_writes += 1  # a new connection counts the changes of others anew

    def look_only(self) -> None:
        """Refuse, from now on, every write by this connection."""
        with self._explained(Translatable("cannot be read")):
            self._connection.execute("PRAGMA query_only = ON")

    def close(self) -> None:
        """Let go of the file; a second time does nothing."""
        with self._explained(Translatable("cannot be closed")):
            self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _explained(self, what: Translatable) -> Iterator[None]:
        """Library errors as a StoreError that names the file and what to do."""
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            fault, kind = fault_of(error), DamagedError if is_damage(error) else StoreError
            raise kind(
                "{path}: {what}: {detail}; {remedy}",
                fault=fault,
                detail=str(error),
                path=self.path,
                what=what,
                remedy=STORE_REMEDIES[fault],
            ) from error

    @contextmanager
    def writing(self, *, is_of_batches: bool = False) -> Iterator[sqlite3.Connection]:
        """One immediate transaction: all of it, or nothing. See :meth:`changes` for what is of batches."""
        if self.is_copy and not self._as_copy:
            raise StoreError(
                "{path}: is a copy of another site's store; note it there, it comes here by itself", path=self.path
            )
        self._batch_writes += is_of_batches
        with self._explained(Translatable("cannot be written")):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One read transaction: all its statements see the same moment."""
        with self._explained(Translatable("cannot be read")):
            self._connection.execute("BEGIN")
            try:
                yield self._connection
            except ValueError as error:
                raise StoreError(
                    "{path}: holds a value this program cannot read: {detail}; {remedy}",
                    fault=StoreFault.BAD_VALUE,
                    detail=str(error),
                    path=self.path,
                    remedy=STORE_REMEDIES[StoreFault.BAD_VALUE],
                ) from error
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    def changes(self) -> tuple[int, int]:
        """Differs from the last time when batches, what belongs to them or what they taught may have changed.

        That is when another process or thread has written anything, or this store anything of the kind: the readings
        and outlooks that come through it by the hundred do not count. Asking costs microseconds.
        """
        with self._explained(Translatable("cannot be read")):
            return int(self._connection.execute("PRAGMA data_version").fetchone()[0]), self._batch_writes


class StorePart:
    """A part of the store: the methods for some of its tables, each one transaction of the opened file."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file


def fault_of(error: Exception) -> StoreFault:
    """What is wrong, by what the library says."""
    text = str(error).lower()
    return next((fault for word, fault in _FAULTS if word in text), StoreFault.OTHER)


def is_damage(error: Exception) -> bool:
    """True when SQLite says that the file's content is wrong, and not that it cannot be got at."""
    code = getattr(error, "sqlite_errorcode", None) or 0  # the low byte is the code, the rest its kind
    return (code & 0xFF) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def kept_version(path: Path, version: int) -> Path:
    """Where a file of an older version lies after it was brought up to date."""
    return path.with_name(f"{path.name}.version-{version}")


def _keep_version(connection: sqlite3.Connection, path: Path, version: int) -> Path:
    """Lay a copy of the file beside it, whole or not at all; one that is there already is left as it is."""
    kept = kept_version(path, version)
    if not kept.exists():
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f"{kept.name}.", delete=False) as unfinished:
            pass
        try:
            copy = sqlite3.connect(unfinished.name)
            try:
                connection.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()
            descriptor = os.open(unfinished.name, os.O_RDONLY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
            os.rename(unfinished.name, kept)
        except BaseException:
            os.unlink(unfinished.name)
            raise
    return kept


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
