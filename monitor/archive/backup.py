"""Backups of the whole store, made while it is at work, looked through before they count, and brought back.

A backup is one SQLite file, ``proofing-20260302T054000Z.sqlite``. It gets that name only after it was written to the
disk and found whole; until then it has another, and nothing is left of one that fails. Beside it lies its SHA-256, as
``sha256sum`` writes it: SQLite itself notices a broken page, and no figure that has changed.
"""

import contextlib
import hashlib
import os
import re
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from monitor.errors import StoreError, StoreFault
from monitor.files import to_the_disk
from monitor.store import blocks, schema
from monitor.store.damage import SUFFIXES
from monitor.store.read_only import is_writable, looking_into, without_log
from monitor.store.sqlite_file import BUSY_MS, explained, keep_from_others, lay_copy, work_in_the_log
from monitor.translatable import Translatable

_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r"proofing-(\d{8}T\d{6}Z)\.sqlite")
_UNFINISHED = ".unfinished"
CHECKSUM = ".sha256"
"""What the name of a backup's checksum ends with, after that of the backup."""

Progress = Callable[[int, int], None]
"""Told pages done, and pages in all."""


@dataclass(frozen=True, slots=True)
class Verified:
    """A backup that was found whole, and what it holds; without a checksum beside it only its structure was."""

    path: Path
    size_bytes: int
    readings: int
    batches: int
    newest_at: datetime | None
    has_checksum: bool


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
    database: Path, folder: Path, now: datetime, *, keep: int | None = None, progress: Progress = lambda *_: None
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
        raise StoreError("{folder}: is not there; {remedy}", fault=StoreFault.NO_FOLDER, folder=folder)
    if not database.exists():
        raise StoreError("{database}: there is nothing to back up yet", database=database)
    target = folder / f"proofing-{now.astimezone(UTC):{_STAMP}}.sqlite"
    unfinished = target.with_name(target.name + _UNFINISHED)
    try:
        with explained(folder, Translatable("no backup could be made")):
            with contextlib.closing(_source(database)) as source:
                source.execute("BEGIN")  # one moment: else each write of the collector would begin the copy anew
                source.execute("SELECT count(*) FROM sqlite_master").fetchone()
                lay_copy(source, unfinished, progress)
            verified(unfinished)
            checksum = checksum_of(target)
            keep_from_others(checksum)
            checksum.write_text(f"{_sha256(unfinished)}  {target.name}\n")
            to_the_disk(checksum)
            unfinished.rename(target)
            to_the_disk(folder)
    except StoreError:
        with contextlib.suppress(OSError):
            for path in (unfinished, target, checksum_of(target)):
                path.unlink(missing_ok=True)
        raise
    for old in backups_in(folder)[keep:] if keep is not None else ():
        with contextlib.suppress(OSError):  # one more that stays does no harm
            old.unlink()
            checksum_of(old).unlink(missing_ok=True)
    return target


def _source(database: Path) -> sqlite3.Connection:
    if is_writable(database):
        return sqlite3.connect(f"{database.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None)
    return looking_into(database, BUSY_MS / 1000)


def checksum_of(backup: Path) -> Path:
    """Where the checksum of a backup lies."""
    return backup.with_name(backup.name + CHECKSUM)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _require_same(path: Path, wanted: str) -> None:
    if _sha256(path) != wanted:
        raise StoreError(
            "{path}: is not as it was written, its checksum differs; take an older backup",
            fault=StoreFault.DAMAGED,
            path=path,
        )


def verified(path: Path) -> Verified:
    """What a backup holds, after looking at all of it.

    Raises
    ------
    StoreError
        When it is not whole or not as it was written, no store, or one of a newer program.
    """
    if not path.is_file():
        raise StoreError(
            "{path}: there is no such file; `proofing-monitor backup list` names those there are", path=path
        )
    with explained(path, Translatable("is no backup that can be used")):
        has_checksum = checksum_of(path).is_file()
        if has_checksum:
            _require_same(path, checksum_of(path).read_bytes()[:64].decode("ascii", "replace"))
        with contextlib.closing(without_log(path)) as connection:
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
            if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'rollup'").fetchone():
                readings += connection.execute("SELECT coalesce(sum(n), 0) FROM rollup").fetchone()[0]
            if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'block'").fetchone():
                readings += blocks.count(connection)
            batches = connection.execute("SELECT count(*) FROM batch").fetchone()[0]
        newest_at = None if newest_us is None else datetime.fromtimestamp(newest_us / 1e6, UTC)
        return Verified(path, path.stat().st_size, readings, batches, newest_at, has_checksum)


def rows_apart(copy: Path, database: Path) -> int:
    """How many rows of a store are not in a copy of it, or not as they are there.

    Raises
    ------
    StoreError
        When one of both cannot be read.
    """
    own = "type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' AND name NOT LIKE '\\_litestream%' ESCAPE '\\'"
    with (
        explained(copy, Translatable("cannot be compared")),
        contextlib.closing(sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro", uri=True)) as connection,
    ):
        connection.execute("ATTACH ? AS copy", (f"{copy.absolute().as_uri()}?mode=ro&immutable=1",))
        n = 0
        for (table,) in connection.execute(f"SELECT name FROM main.sqlite_master WHERE {own}").fetchall():
            columns = [name for _, name, *_ in connection.execute(f"PRAGMA main.table_info({table})")]
            here, there = (", ".join(f"{side}.{name}" for name in columns) for side in ("here", "there"))
            joined = f"main.{table} AS here LEFT JOIN copy.{table} AS there ON there.rowid = here.rowid"
            query = f"SELECT count(*) FROM {joined} WHERE ({here}) IS NOT ({there})"
            n += connection.execute(query).fetchone()[0]
        return int(n)


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
    with explained(database, Translatable("the backup could not be brought back")):
        database.parent.mkdir(parents=True, exist_ok=True)
        was_there = database.exists()
        with contextlib.suppress(sqlite3.Error):  # a damaged one keeps its log beside it
            work_in_the_log(database)
        moved: list[tuple[Path, Path]] = []
        try:
            keep_from_others(beside)
            shutil.copyfile(backup, beside)
            to_the_disk(beside)
            _require_same(beside, _sha256(backup))
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
        to_the_disk(database.parent)
    return aside if was_there else None
