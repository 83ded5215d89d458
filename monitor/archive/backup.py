"""Backups of the whole store, made while it is at work, looked through before they count, and brought back.

A backup is one SQLite file, ``proofing-20260302T054000Z.sqlite``. It gets that name only after it was written to the
disk and found whole; until then it has another, and nothing is left of one that fails.
"""

import contextlib
import os
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from monitor.errors import STORE_REMEDIES, StoreError, StoreFault
from monitor.store import schema
from monitor.store.damage import SUFFIXES
from monitor.store.sqlite_file import fault_of
from monitor.translatable import Translatable

PAGES_A_STEP = 500  # judgement: 2 MB, so that a bar moves
_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r"proofing-(\d{8}T\d{6}Z)\.sqlite")
_UNFINISHED = ".unfinished"

Progress = Callable[[int, int], None]
"""Told pages done, and pages in all."""


@dataclass(frozen=True, slots=True)
class Verified:
    """A backup that was found whole, and what it holds."""

    path: Path
    size_bytes: int
    readings: int
    batches: int
    newest_at: datetime | None


def made_at(path: Path) -> datetime | None:
    """When a backup was made, by its name; None for another file."""
    found = _NAME.fullmatch(path.name)
    return None if found is None else datetime.strptime(found[1], _STAMP).replace(tzinfo=UTC)


def backups_in(folder: Path) -> list[Path]:
    """The backups of a folder, newest first; none when it is not there."""
    if not folder.is_dir():
        return []
    return sorted((each for each in folder.iterdir() if made_at(each)), reverse=True)


def back_up(
    database: Path, folder: Path, now: datetime, *, keep: int | None = None, progress: Progress | None = None
) -> Path:
    """Copy a store as it is at this moment into a folder that is there; returns the backup, found whole.

    Parameters
    ----------
    keep
        Older backups of the folder are deleted but for so many in all; None: all stay.

    Raises
    ------
    StoreError
        When the folder is not there (a drive that was pulled out must not be taken for an empty one), or the backup
        cannot be written or is not whole.
    """
    if not folder.is_dir():
        raise StoreError(
            "{folder}: is not there; {remedy}",
            fault=StoreFault.NO_FOLDER,
            folder=folder,
            remedy=STORE_REMEDIES[StoreFault.NO_FOLDER],
        )
    if not database.exists():
        raise StoreError("{database}: there is nothing to back up yet", database=database)
    target = folder / f"proofing-{now.astimezone(UTC):{_STAMP}}.sqlite"
    unfinished = target.with_name(target.name + _UNFINISHED)
    try:
        with _explained(folder, Translatable("no backup could be made")):
            _copy(database, unfinished, progress)
            verified(unfinished)
            _to_the_disk(unfinished)
            unfinished.rename(target)
            _to_the_disk(folder)
    except StoreError:
        with contextlib.suppress(OSError):
            for path in (unfinished, target):
                path.unlink(missing_ok=True)
        raise
    for old in backups_in(folder)[keep:] if keep is not None else ():
        with contextlib.suppress(OSError):  # one more that stays does no harm
            old.unlink()
    return target


def verified(path: Path) -> Verified:
    """What a backup holds, after looking at all of it.

    Raises
    ------
    StoreError
        When it is not whole, no store, or one of a newer program.
    """
    if not path.is_file():
        raise StoreError(
            "{path}: there is no such file; `proofing-monitor backup list` names those there are", path=path
        )
    with _explained(path, Translatable("is no backup that can be used")):
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        try:
            said = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
            found = schema.version(connection)
            if said != "ok":
                raise StoreError(
                    "{path}: is damaged ({detail}); take an older backup",
                    fault=StoreFault.DAMAGED,
                    detail=str(said).splitlines()[-1],
                    path=path,
                )
            if not 0 < found <= len(schema.MIGRATIONS):
                raise StoreError(
                    "{path}: holds no store that this program knows; install its newest version", path=path
                )
            if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise StoreError("{path}: has rows without what they belong to; take an older backup", path=path)
            held = "sample" if found >= schema.SAMPLES_SINCE else "reading"  # the view over them is slow to count
            readings, newest_us = connection.execute(f"SELECT count(*), max(arrived_us) FROM {held}").fetchone()
            batches = connection.execute("SELECT count(*) FROM batch").fetchone()[0]
        finally:
            connection.close()
        newest_at = None if newest_us is None else datetime.fromtimestamp(newest_us / 1e6, UTC)
        return Verified(path, path.stat().st_size, readings, batches, newest_at)


def restore(backup: Path, database: Path, now: datetime) -> Path | None:
    """Put a backup in the store's place; returns where the store that was there lies now, None when there was none.

    To be called while no collector is at work.

    Raises
    ------
    StoreError
        When the backup is not whole or the files cannot be written; the store is then as it was.
    """
    verified(backup)
    beside = database.with_name(database.name + _UNFINISHED)
    aside = database.with_name(f"{database.name}.replaced-{now.astimezone(UTC):{_STAMP}}")
    with _explained(database, Translatable("the backup could not be brought back")):
        database.parent.mkdir(parents=True, exist_ok=True)
        was_there = database.exists()
        with contextlib.suppress(sqlite3.Error):  # a damaged one keeps its log beside it
            _work_in_the_log(database)
        moved: list[tuple[Path, Path]] = []
        try:
            shutil.copyfile(backup, beside)
            _to_the_disk(beside)
            verified(beside)
            for suffix in SUFFIXES[1:]:  # a log of the old file must not be worked into the new one
                part, away = (path.with_name(path.name + suffix) for path in (database, aside))
                if part.exists():
                    part.rename(away)
                    moved.append((part, away))
            if was_there:
                os.link(database, aside)
            beside.rename(database)  # at once or not at all: there is a store at every moment
        except (OSError, StoreError):
            for part, away in moved:
                away.rename(part)
            for path in (beside, aside):
                path.unlink(missing_ok=True)
            raise
        _to_the_disk(database.parent)
    return aside if was_there else None


def _work_in_the_log(database: Path) -> None:
    """Bring what lies in the write-ahead log into the file itself."""
    if database.exists():
        connection = sqlite3.connect(database)
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            connection.close()


def _copy(database: Path, target: Path, progress: Progress | None) -> None:
    """One moment of the store as a file by itself, without a log beside it."""

    def told(_status: int, remaining: int, total: int) -> None:
        if progress is not None:
            progress(total - remaining, total)

    source = sqlite3.connect(f"{database.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None)
    try:
        copy = sqlite3.connect(target, isolation_level=None)
        try:
            source.execute("BEGIN")  # one moment: else each write of the collector would begin the copy anew
            source.execute("SELECT count(*) FROM sqlite_master").fetchone()
            source.backup(copy, pages=PAGES_A_STEP, progress=told)
            source.execute("ROLLBACK")
            copy.execute("PRAGMA journal_mode = DELETE")
        finally:
            copy.close()
    finally:
        source.close()


def _to_the_disk(path: Path) -> None:
    """Wait until a file or a folder is on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _explained(where: Path, what: Translatable) -> Iterator[None]:
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        fault = fault_of(error)
        detail = str(error) if isinstance(error, sqlite3.Error) else error.strerror or ""
        raise StoreError(
            "{where}: {what} ({detail}); {remedy}",
            fault=fault,
            detail=detail,
            where=where,
            what=what,
            remedy=STORE_REMEDIES[fault],
        ) from error
