"""Copies of other sites' stores, made from the central store: the same tables, for looking only.

A copy is a cache: thrown away, it is made anew. Only what follows the central store writes it; every other program that
opens its file is refused (see :mod:`monitor.store.sqlite_file`).
"""

import sqlite3
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from monitor.settings.data_dir import DATABASE_NAME, SITES_NAME
from monitor.store import old_prose, rows
from monitor.store.readings import Samples
from monitor.store.sqlite_file import StorePart

_TARGET, _STREAM = "copy", "delivery"

Values = Mapping[str, Any]


def copies_in(folder: Path) -> dict[str, Path]:
    """The file of each site's copy in a data directory, by name; empty where there is none."""
    return {path.parent.name: path for path in sorted((folder / SITES_NAME).glob(f"*/{DATABASE_NAME}"))}


def copy_of(folder: Path, site: str) -> Path:
    """Where the copy of a site belongs."""
    return folder / SITES_NAME / site / DATABASE_NAME


class Copy(StorePart):
    """What keeps a copy up to date; see the ``as_copy`` of :class:`~monitor.store.sqlite_file.SqliteFile`."""

    def position_ns(self) -> int:
        """The time of the last delivery that was taken in; 0 before the first."""
        with self._file.reading() as connection:
            query = "SELECT upto FROM spool WHERE target = ? AND stream = ?"
            row = connection.execute(query, (_TARGET, _STREAM)).fetchone()
            return 0 if row is None else int(row["upto"])

    def reach(self, position_ns: int) -> None:
        """Remember that everything up to a delivery was taken in."""
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO spool VALUES (?, ?, ?) ON CONFLICT (target, stream) DO UPDATE SET upto = excluded.upto",
                (_TARGET, _STREAM, position_ns),
            )

    def take_readings(self, found: Iterable[Values]) -> None:
        """Take readings in; one that is known is left as it is."""
        names = rows.READING_COLUMNS.split(", ")
        with self._file.writing() as connection:
            Samples().put(connection, (tuple(values[name] for name in names) for values in found))

    def take_batches(self, found: Iterable[Values]) -> int:
        """Take batches in; how many fit. Of two with one number, as after a store was lost, the later one counts."""
        n_taken = 0
        with self._file.writing(is_of_batches=True) as connection:
            for values in found:
                number, begins_us = values.get("id"), values.get("started_us")
                if not isinstance(number, int) or not isinstance(begins_us, int):
                    continue
                started_us = _started_us(connection, number)
                if started_us is not None and started_us > begins_us:
                    continue
                if started_us is not None and started_us < begins_us:
                    for table in _tables_of_batches(connection):
                        connection.execute(f"DELETE FROM {table} WHERE batch_id = ?", (number,))
                n_taken += _is_put(connection, "batch", values)
        return n_taken

    def take(self, table: str, found: Iterable[tuple[Values, int | None]]) -> int:
        """Take rows of any other table in, each with the beginning of its batch (None: it is of none); how many fit.

        A row of a batch that is not the one of that number here is left out, and so is one that does not fit the table:
        it was written by another version of this program.
        """
        n_taken = 0
        with self._file.writing(is_of_batches=True) as connection:
            for values, begun_us in found:
                if begun_us is not None and _started_us(connection, values.get("batch_id")) != begun_us:
                    continue
                # a site that runs an earlier version of this program has sentences for reasons
                n_taken += _is_put(connection, table, old_prose.recoded(table, dict(values)))
        return n_taken


def _is_put(connection: sqlite3.Connection, table: str, values: Values) -> bool:
    """Put a row in place of the one with its key; False when it does not fit the table."""
    known = {row["name"] for row in connection.execute(f"PRAGMA table_info({table})")}
    names = [name for name in values if name in known]
    places = ", ".join(f":{name}" for name in names)
    try:
        connection.execute(f"INSERT OR REPLACE INTO {table} ({', '.join(names)}) VALUES ({places})", values)
    except (sqlite3.IntegrityError, sqlite3.OperationalError, sqlite3.InterfaceError, sqlite3.ProgrammingError):
        return False
    return True


def _started_us(connection: sqlite3.Connection, batch_id: object) -> int | None:
    row = connection.execute("SELECT started_us FROM batch WHERE id = ?", (batch_id,)).fetchone()
    return None if row is None else int(row["started_us"])


def _tables_of_batches(connection: sqlite3.Connection) -> list[str]:
    query = "SELECT m.name FROM sqlite_master m JOIN pragma_table_info(m.name) c WHERE m.type = 'table' AND c.name = ?"
    return [row["name"] for row in connection.execute(query, ("batch_id",)).fetchall()]
