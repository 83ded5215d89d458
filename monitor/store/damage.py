"""A store's file that is damaged: how that is found, and how it is set aside without losing what is left of it."""

import logging
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path

from monitor.errors import StoreError
from monitor.files import to_the_disk
from monitor.store.sqlite_file import SqliteFile, is_damage

log = logging.getLogger(__name__)

# judgement: such a file is looked through in two or three seconds even on a slow card, and batches must go on within
# five; a larger one is not looked through at each start: its damage is found when it is met, by `check`, by each backup
LOOKED_THROUGH_BYTES = 50_000_000
SUFFIXES = ("", "-wal", "-shm")  # what SQLite keeps together
MARK = ".damaged-"


def damage_of(path: Path, *, at_most_bytes: int | None = None) -> str:
    """What SQLite finds wrong with a file's content; empty when it is whole, absent, or larger than ``at_most_bytes``.

    Raises
    ------
    StoreError
        When the file cannot be looked at, which says nothing about its content.
    """
    try:
        if not path.exists() or (at_most_bytes is not None and path.stat().st_size > at_most_bytes):
            return ""
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True)) as connection:
            said = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
    except sqlite3.Error as error:
        if is_damage(error):
            return str(error)
        raise StoreError(
            "{path}: cannot be looked through: {detail}; close what holds it, or try again",
            detail=str(error),
            path=path,
        ) from error
    except OSError as error:
        raise StoreError(
            "{path}: cannot be looked at ({detail}); check its owner and rights", detail=error.strerror or "", path=path
        ) from error
    return "" if said == "ok" else said.splitlines()[-1]


def set_aside(path: Path, at: datetime) -> Path:
    """Rename a damaged file, with what belongs to it, to a name that tells when; returns the name.

    Nothing is deleted: much of such a file can often be read again.

    Raises
    ------
    StoreError
        When it cannot be renamed.
    """
    aside = _aside(path, at)
    try:
        for suffix in SUFFIXES:
            part = path.with_name(path.name + suffix)
            if part.exists():
                part.rename(aside.with_name(aside.name + suffix))
        to_the_disk(path.parent)
    except OSError as error:
        raise StoreError(
            "{path}: is damaged and cannot be renamed ({detail}); rename it yourself, then start again",
            detail=error.strerror or "",
            path=path,
        ) from error
    return aside


def saved_aside(store: SqliteFile, at: datetime, progress: Callable[[], None]) -> Path | None:
    """Save what a store holds whose file was deleted or replaced under it; returns where, None when that failed."""
    aside = _aside(store.path, at)
    try:
        store.save_to(aside, progress)
    except StoreError as error:
        log.error("store=%s state=lost reason=%s", store.path, error)
        return None
    return aside


def _aside(path: Path, at: datetime) -> Path:
    return path.with_name(f"{path.name}{MARK}{at:%Y%m%dT%H%M%S}Z")


def set_aside_before(path: Path) -> list[Path]:
    """The damaged files that were set aside from this place, oldest first."""
    found = path.parent.glob(f"{path.name}{MARK}*")
    return sorted(each for each in found if not each.name.endswith(("-wal", "-shm")))
