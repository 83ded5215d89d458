"""The store as the spool of a central store: what is not sent yet is found in it, and nothing is kept twice.

Readings and outlooks are only ever added, so what is new of them lies beyond a number; SQLite has one writer at a time,
so numbers come in the order of commits. Every other row that is new or changed is noted by triggers in ``touched``
(see :mod:`monitor.store.schema`), last change last. How far a target has been sent each of the three streams is kept
here too, and moves on only when the target has answered.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import StorePart

STREAMS = ("touched", "outlook", "reading")
"""In the order they are sent: a batch before its outlooks."""
WATCHED = (
    "batch", "event", "alert", "alert_change", "outbox", "call", "calibration", "lesson", "plan", "plan_done",
    "plan_batch", "plan_told", "mix", "intent", "judgement", "vessel", "setting",
)  # fmt: skip
"""Tables whose rows triggers note."""
STANDING = ("node", "fault")
"""Small tables that change all the time: sent whole when they differ from what was sent."""
_CLOCK = "delivery"
_TIMES = {"outlook": "at_us", "reading": "arrived_us"}


@dataclass(frozen=True, slots=True)
class SpoolRow:
    """One row of a table.

    Attributes
    ----------
    number
        Its rowid.
    begun_us
        When its batch began, which tells batches of one number apart; None when it is of no batch.
    """

    table: str
    number: int
    values: dict[str, Any]
    begun_us: int | None = None


@dataclass(frozen=True, slots=True)
class Page:
    """Rows that a target has not been sent; with them it is up to ``upto`` in their stream."""

    stream: str
    upto: int
    rows: tuple[SpoolRow, ...]


@dataclass(frozen=True, slots=True)
class Backlog:
    """What a target has not been sent: how many rows, and since when the oldest waits."""

    rows: int
    oldest_at: datetime | None
    parked: int


class Spool(StorePart):
    """The tables ``touched``, ``spool`` and ``parked``: what each target has been sent."""

    def unsent(self, target: str, stream: str, most: int) -> Page:
        """The next rows of a stream, at most so many."""
        with self._file.reading() as connection:
            after = _upto(connection, target, stream)
            if stream == "touched":
                noted = connection.execute(
                    "SELECT id, tbl, row FROM touched WHERE id > ? ORDER BY id LIMIT ?", (after, most)
                ).fetchall()
                found = [_row(connection, each["tbl"], each["row"]) for each in noted]
                upto = noted[-1]["id"] if noted else after
                return Page(stream, upto, tuple(row for row in found if row is not None))
            number = _number_of(stream)
            rows = connection.execute(
                f"SELECT {number} AS its_rowid, * FROM {stream} WHERE {number} > ? ORDER BY {number} LIMIT ?",
                (after, most),
            ).fetchall()
            return Page(stream, rows[-1]["its_rowid"] if rows else after, _rows_of(connection, stream, rows))

    def standing_rows(self) -> list[SpoolRow]:
        """Every row of the small tables that change all the time."""
        with self._file.reading() as connection:
            return [
                row
                for table in STANDING
                for row in _rows_of(connection, table, connection.execute(f"SELECT rowid AS its_rowid, * FROM {table}"))
            ]

    def mark_sent(
        self, target: str, page: Page, refused: Sequence[tuple[SpoolRow, str]], at: datetime, clock_ns: int
    ) -> None:
        """Remember that a page was taken, but for the rows that cannot be, and the time of its delivery."""
        with self._file.writing() as connection:
            for stream, upto in ((page.stream, page.upto), (_CLOCK, clock_ns)):
                connection.execute(
                    "INSERT INTO spool VALUES (?, ?, ?) ON CONFLICT (target, stream) DO UPDATE SET "
                    "upto = max(upto, excluded.upto)",
                    (target, stream, upto),
                )
            connection.executemany(
                "INSERT OR REPLACE INTO parked VALUES (?, ?, ?, ?, ?)",
                [(target, row.table, row.number, reason, to_us(at)) for row, reason in refused],
            )

    def delivered_ns(self, target: str) -> int:
        """The time of the last delivery; 0 before the first. Never goes back, whatever a clock does."""
        with self._file.reading() as connection:
            return _upto(connection, target, _CLOCK)

    def parked(self, target: str) -> list[tuple[str, int, str]]:
        """Table, number and reason of the rows that a target cannot take."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT tbl, row, reason FROM parked WHERE target = ? ORDER BY at_us, tbl, row", (target,)
            )
            return [(row["tbl"], row["row"], row["reason"]) for row in found]

    def unpark(self, target: str) -> int:
        """Have the rows that could not be taken sent once more; returns how many."""
        with self._file.writing() as connection:
            found = connection.execute("SELECT tbl, row FROM parked WHERE target = ?", (target,)).fetchall()
            for each in found:
                connection.execute("DELETE FROM touched WHERE tbl = ? AND row = ?", tuple(each))
                connection.execute("INSERT INTO touched (tbl, row) VALUES (?, ?)", tuple(each))
            connection.execute("DELETE FROM parked WHERE target = ?", (target,))
            return len(found)

    def send_again(self, target: str) -> None:
        """Forget how far a target was sent everything; the time of its deliveries goes on."""
        with self._file.writing() as connection:
            connection.execute("DELETE FROM spool WHERE target = ? AND stream <> ?", (target, _CLOCK))

    def backlog(self, target: str) -> Backlog:
        """How much a target has not been sent; costs a few look-ups by number."""
        with self._file.reading() as connection:
            n, times = 0, []
            for stream in STREAMS:
                after = _upto(connection, target, stream)
                if stream == "touched":
                    n += connection.execute("SELECT count(*) FROM touched WHERE id > ?", (after,)).fetchone()[0]
                    continue
                table, number, time = _base_of(stream), _number_of(stream), _TIMES[stream]
                newest = connection.execute(f"SELECT coalesce(max({number}), 0) FROM {table}").fetchone()[0]
                n += max(0, newest - after)
                oldest = connection.execute(
                    f"SELECT {time} FROM {table} NOT INDEXED WHERE {number} > ? ORDER BY {number} LIMIT 1",
                    (after,),
                ).fetchone()
                if oldest is not None:
                    times.append(int(oldest[0]))
            parked = connection.execute("SELECT count(*) FROM parked WHERE target = ?", (target,)).fetchone()[0]
            return Backlog(n, from_us(min(times)) if times else None, parked)

    def counts(self) -> dict[str, int]:
        """How many rows there are of each table that is sent whole, sooner or later."""
        with self._file.reading() as connection:
            return {
                table: int(connection.execute(f"SELECT count(*) FROM {_base_of(table)}").fetchone()[0])
                for table in (*WATCHED, "outlook", "reading")
            }


def _upto(connection: sqlite3.Connection, target: str, stream: str) -> int:
    row = connection.execute("SELECT upto FROM spool WHERE target = ? AND stream = ?", (target, stream)).fetchone()
    return 0 if row is None else int(row["upto"])


def _base_of(table: str) -> str:
    """Where a table's rows are counted and numbered: of the readings, which are a view, the samples."""
    return "sample" if table == "reading" else table


def _number_of(table: str) -> str:
    """The column that numbers a table's rows; a view, as ``reading`` is one, has none of its own."""
    return "id" if table == "reading" else "rowid"


def _row(connection: sqlite3.Connection, table: str, number: int) -> SpoolRow | None:
    name = _number_of(table)
    found = connection.execute(f"SELECT {name} AS its_rowid, * FROM {table} WHERE {name} = ?", (number,)).fetchall()
    return next(iter(_rows_of(connection, table, found)), None)


def _rows_of(connection: sqlite3.Connection, table: str, found: Iterable[sqlite3.Row]) -> tuple[SpoolRow, ...]:
    begun: dict[int, int | None] = {}

    def begun_us(batch_id: int) -> int | None:
        if batch_id not in begun:
            row = connection.execute("SELECT started_us FROM batch WHERE id = ?", (batch_id,)).fetchone()
            begun[batch_id] = None if row is None else row["started_us"]
        return begun[batch_id]

    rows = []
    for each in found:
        values = dict(each)
        number = values.pop("its_rowid")
        batch_id = values["id"] if table == "batch" else values.get("batch_id")
        rows.append(SpoolRow(table, number, values, None if batch_id is None else begun_us(batch_id)))
    return tuple(rows)
