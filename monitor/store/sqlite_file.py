"""One SQLite file with the tables of the store: opened, brought up to date, read and written in transactions.

WAL with ``synchronous=FULL``: what was committed is on the disk.
"""

import contextlib
import functools
import logging
import os
import shutil
import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from monitor.clock import SystemClock
from monitor.errors import DamagedError, GoneError, StoreError, StoreFault
from monitor.files import OWNER_ONLY, to_the_disk
from monitor.settings.data_dir import is_of_a_copy
from monitor.store import schema
from monitor.store.collector_lock import SHIPPING_LOCK, is_held
from monitor.store.read_only import is_writable, looking_into
from monitor.translatable import N_, Translatable

log = logging.getLogger(__name__)

USUAL_CHECKPOINT_PAGES = 1000  # as SQLite has it
_NOWHERE = (0, 0)
PAGES_A_STEP = 500  # judgement: 2 MB of a copy, so that whoever waits for it hears that it goes on
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
        Where copies of other sites' stores lie (:func:`~monitor.settings.data_dir.is_of_a_copy`), or nothing can be
        written, it is opened as it is, and refuses every write.

    Raises
    ------
    StoreError
        From every method: the file, what happened, what to do.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._explained = functools.partial(explained, path)
        self.is_copy = is_of_a_copy(path.parent)
        self._batch_writes = 0
        self._drive = self._place = self._log_place = _NOWHERE
        self._connection = self._opened(is_to_look=self.is_copy or not is_writable(path))

    def _opened(self, *, is_to_look: bool) -> sqlite3.Connection:
        """The file, switched to WAL and up to date; only read where another process writes it, or nobody can."""
        with self._explained(Translatable("cannot be opened")):
            if is_to_look:
                connection = looking_into(self.path, BUSY_MS / 1000)
            else:
                self.path.parent.mkdir(parents=True, exist_ok=True)
                keep_from_others(self.path)
                connection = sqlite3.connect(self.path, timeout=BUSY_MS / 1000, isolation_level=None)
        try:
            with self._explained(Translatable("cannot be opened")):
                connection.row_factory = sqlite3.Row
                found = schema.version(connection)
            self._require_version(found, is_to_look=is_to_look)
            if not is_to_look:
                with self._explained(Translatable("cannot be opened")):
                    self._bring_up_to_date(connection, found)
        except StoreError:
            connection.close()
            raise
        self._drive = place_of(self.path.parent)
        self._place, self._log_place = place_of(self.path), place_of(self._log)
        return connection

    def _require_version(self, found: int, *, is_to_look: bool) -> None:
        """Refuse a file of a newer program; and of an older one, where it cannot be brought up to date."""
        known = len(schema.MIGRATIONS)
        if found == known or (found < known and not is_to_look):
            return
        if self.is_copy:
            raise StoreError(
                "{path}: a copy of a store of another version of this program (tables version {found}, this program "
                "knows {known}): bring both up to date",
                path=self.path,
                found=found,
                known=known,
            )
        if found > known:
            raise StoreError(
                "{path}: was written by a newer version of this program (tables version {found}, this program knows "
                "{known}): install the newer version, or name another file",
                path=self.path,
                found=found,
                known=known,
            )
        raise StoreError(
            "{path}: is of another version (tables version {found}, this program knows {known}) and cannot be brought "
            "up to date, since its folder cannot be written: copy it to another, or use the program that wrote it",
            fault=StoreFault.READ_ONLY,
            path=self.path,
            found=found,
            known=known,
        )

    def _bring_up_to_date(self, connection: sqlite3.Connection, before: int) -> None:
        _write_ahead(connection)
        self._leave_log_to_shipping(connection)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        if 0 < before < len(schema.MIGRATIONS):
            log.warning(
                "%s: of an older version, is brought up to date (tables %d to %d): a week's readings of twenty "
                "nodes take a minute, and twice as much room again for that time",
                self.path,
                before,
                len(schema.MIGRATIONS),
            )
            kept = _keep_version(connection, self.path, before)
            log.warning("%s: the file as it was lies at %s", self.path, kept)
        schema.migrate(connection)

    def _leave_log_to_shipping(self, connection: sqlite3.Connection) -> None:
        """While the store is shipped elsewhere, let nobody but Litestream put its log into the file.

        Litestream 0.5.17 ships a damaged store when somebody else does while it does, too; it stays damaged there until
        it is shipped whole again. Asking costs microseconds.
        """
        pages = 0 if is_held(self.path.parent / SHIPPING_LOCK) else USUAL_CHECKPOINT_PAGES
        connection.execute(f"PRAGMA wal_autocheckpoint = {pages}")

    @property
    def _log(self) -> Path:
        return self.path.with_name(f"{self.path.name}-wal")

    def require_in_place(self) -> None:
        """Make sure that what was committed lies where it will be looked for: two or three questions to the system.

        SQLite goes on with a file that somebody has deleted or replaced, and all of it is gone when that is closed.

        Raises
        ------
        GoneError
            When another file, or none, lies there now; or another log, which holds the newest commits.
        StoreError
            When the folder itself is away, as with a drive that was pulled out.
        """
        place, log_place = place_of(self.path), place_of(self._log)
        if place == self._place and (log_place == self._log_place or self._log_place == _NOWHERE):
            self._log_place = log_place
            return
        if place_of(self.path.parent)[0] != self._drive[0]:
            raise StoreError("{path}: its folder is away; {remedy}", fault=StoreFault.NO_FOLDER, path=self.path)
        raise GoneError("{path}: was deleted or replaced while it was at work", path=self.path)

    def save_to(self, path: Path, progress: Callable[[], None]) -> None:
        """Write all that this connection sees to a new file, also when its own file was deleted or replaced meanwhile.

        What is left of the old log is taken away: it must not be worked into whatever lies in its place now.
        """
        with self._explained(Translatable("cannot be saved")):
            lay_copy(self._connection, path, lambda *_: progress())
            if place_of(self._log) == self._log_place:
                for suffix in ("-wal", "-shm"):
                    self.path.with_name(f"{self.path.name}{suffix}").unlink(missing_ok=True)

    def work_in_log(self) -> None:
        """Bring into the file what stands in its log, as far as nobody reads it; not while the store is shipped."""
        if not is_held(self.path.parent / SHIPPING_LOCK):
            with self._explained(Translatable("cannot be written")):
                self._connection.execute("PRAGMA wal_checkpoint(PASSIVE)")

    def forget_log(self) -> None:
        """Empty the log of a file that was overwritten, so that to close it works nothing of it into the new content.

        What lies there is copied aside first, file and log: should it ever be taken for overwritten in error, nothing
        is lost. To be called when nobody else in this process has it open any more.
        """
        wal, shm = self._log, self.path.with_name(f"{self.path.name}-shm")
        with contextlib.suppress(OSError):
            for part, suffix in ((self.path, ""), (wal, "-wal")):
                shutil.copy(part, self.path.with_name(f"{self.path.name}.overwritten{suffix}"))
            os.truncate(wal, 0)  # this connection still holds it
            for part in (wal, shm):
                part.unlink()

    def reopen(self) -> None:
        """Open the file anew, as after an error of the disk: what SQLite holds of it may be stale."""
        self.require_in_place()
        self._connection.close()
        self._log_place = _NOWHERE  # whoever closes a file last takes its log away
        self._connection = self._opened(is_to_look=False)
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

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def writing(self, *, is_of_batches: bool = False) -> Iterator[sqlite3.Connection]:
        """One immediate transaction: all of it, or nothing. See :meth:`changes` for what is of batches."""
        if self.is_copy:
            raise StoreError(
                "{path}: is a copy of another site's store; note it there, it comes here by itself", path=self.path
            )
        self._batch_writes += is_of_batches
        with self._explained(Translatable("cannot be written")):
            self._leave_log_to_shipping(self._connection)
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


@contextmanager
def explained(path: Path, what: Translatable) -> Iterator[None]:
    """Library errors as a StoreError that names the file, what of it failed and what to do."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        kind = DamagedError if is_damage(error) else StoreError
        detail = str(error) if isinstance(error, sqlite3.Error) else error.strerror or ""
        raise kind(
            N_("{path}: {what}: {detail}; {remedy}"), fault=fault_of(error), detail=detail, path=path, what=what
        ) from error


class StorePart:
    """A part of the store: the methods for some of its tables, each one transaction of the opened file."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file


def version_of(path: Path) -> int:
    """The version of a database's tables, 0 for none that can be read; looking changes nothing."""
    try:
        with contextlib.closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            return schema.version(connection)
    except sqlite3.Error:
        return 0


def fault_of(error: Exception) -> StoreFault:
    """What is wrong, by what the library says."""
    text = str(error).lower()
    return next((fault for word, fault in _FAULTS if word in text), StoreFault.OTHER)


def is_damage(error: Exception) -> bool:
    """True when SQLite says that the file's content is wrong, and not that it cannot be got at."""
    code = getattr(error, "sqlite_errorcode", None) or 0  # the low byte is the code, the rest its kind
    return (code & 0xFF) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def keep_from_others(path: Path) -> None:
    """Let nobody beyond its owner and group read a database; one that is missing is begun for its owner alone.

    Its log takes its rights from it. Where the system does not let us (a drive without rights, another's file), SQLite
    says what is wrong, if anything is.
    """
    with contextlib.suppress(OSError):  # never open one that is there: to close it would end SQLite's locks
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, OWNER_ONLY))
    with contextlib.suppress(OSError):
        for each in (path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")):
            if each.is_file() and (mode := stat.S_IMODE(each.stat().st_mode)) & stat.S_IRWXO:
                each.chmod(mode & ~stat.S_IRWXO)


def kept_version(path: Path, version: int) -> Path:
    """Where a file of an older version lies after it was brought up to date."""
    return path.with_name(f"{path.name}.version-{version}")


def _keep_version(connection: sqlite3.Connection, path: Path, version: int) -> Path:
    """Lay a copy of the file beside it, whole or not at all; one that is there already is left as it is."""
    kept = kept_version(path, version)
    if not kept.exists():
        lay_copy(connection, kept)
    return kept


def lay_copy(
    connection: sqlite3.Connection, target: Path, progress: Callable[[int, int], None] = lambda *_: None
) -> None:
    """Write all that a connection sees to a file by itself, whole or not at all; told are pages done, and in all."""
    with tempfile.NamedTemporaryFile(dir=target.parent, prefix=f"{target.name}.", delete=False) as unfinished:
        pass
    try:
        with contextlib.closing(sqlite3.connect(unfinished.name)) as copy:
            connection.backup(copy, pages=PAGES_A_STEP, progress=lambda _, left, of: progress(of - left, of))
            copy.execute("PRAGMA journal_mode = DELETE")
        to_the_disk(Path(unfinished.name))
        os.rename(unfinished.name, target)
    except BaseException:
        os.unlink(unfinished.name)
        raise


def work_in_the_log(path: Path) -> None:
    """Bring what lies in a store's write-ahead log into the file itself, where there is one."""
    if path.exists():
        with contextlib.closing(sqlite3.connect(path)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def place_of(path: Path) -> tuple[int, int]:
    """Drive and number of the file at a path; ``_NOWHERE`` when there is none."""
    try:
        found = path.stat()
    except OSError:
        return _NOWHERE
    return found.st_dev, found.st_ino


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
