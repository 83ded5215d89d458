"""The store as the spool of a central store: what is not sent yet is found in it, and nothing is kept twice.

Readings, outlooks and changes of alerts are only ever added, so what is new of them lies beyond a number; five-minute
values get a new number when they are added to. SQLite has one writer at a time, so numbers come in the order
of commits. How far a target has been sent each stream is kept here, and moves on only when the target has answered.
"""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any, NamedTuple

from monitor.store import blocks
from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import StorePart


class _Stream(NamedTuple):
    """Rows that are only ever added: their table, its column of when they came, and what is read of them."""

    table: str
    time: str
    columns: str
    beside: str
    """A table that is joined, and how."""


_SENSOR, _BATCH = "sensor ON sensor.id = sensor_id", "batch ON batch.id = batch_id"
_OF_READING = ("seq", "value", "sd", "measured_us", "flag")
STREAMS: Mapping[str, _Stream] = MappingProxyType(
    {
        "alert": _Stream(
            "alert_change",
            "at_us",
            "subject, batch_id, batch.name AS dough, kind, episode, at_us, phase, reason, person",
            _BATCH,
        ),
        "outlook": _Stream("outlook", "at_us", "batch_id, batch.name AS dough, stage, at_us, body", _BATCH),
        "reading": _Stream("sample", "arrived_us", ", ".join(("node", "channel", *_OF_READING)), _SENSOR),
        "reading_5m": _Stream(
            "rollup", "middle_us", "node, channel, middle_us, flag, n, least, mean, greatest", _SENSOR
        ),
    }
)
"""By the measurement they become, in the order they are sent."""


@dataclass(frozen=True, slots=True)
class SpoolRow:
    """One row of a stream, with its number."""

    stream: str
    number: int
    values: dict[str, Any]


Page = Sequence[SpoolRow]
"""Rows of one stream that a target has not been sent, in their order."""


@dataclass(frozen=True, slots=True)
class Backlog:
    """What a target has not been sent: how many rows, and since when the oldest waits."""

    rows: int
    oldest_at: datetime | None
    parked: int


class Spool(StorePart):
    """The tables ``spool`` and ``parked``: what each target has been sent."""

    def unsent(self, target: str, stream: str, most: int) -> Page:
        """The next rows of a stream, at most so many."""
        with self._file.reading() as connection:
            after = _upto(connection, target, stream)
        page = self._page(stream, after, most)
        return page if stream != "reading" else self._with_packed(page, after, most)

    def _with_packed(self, page: Page, after: int, most: int) -> Page:
        """A page of readings with those among them that lie in blocks: of a target that is sent everything anew."""
        with self._file.reading() as connection:
            if not (packed := blocks.after(connection, after, most)):
                return page
            sensors = connection.execute("SELECT id, node, channel FROM sensor").fetchall()
        whose = {number: {"node": node, "channel": channel} for number, node, channel in sensors}
        unpacked = [
            SpoolRow("reading", each.id, whose[each.sensor_id] | {name: getattr(each, name) for name in _OF_READING})
            for each in packed
        ]
        return sorted([*page, *unpacked], key=lambda row: row.number)[:most]

    def _page(self, stream: str, after: int, most: int, among: str = "", **holes: str) -> Page:
        """Rows after a number, at most so many; ``among`` narrows them, with holes of its own."""
        of = STREAMS[stream]
        number = f"{of.table}.rowid"
        query = f"SELECT {number} AS its_number, {of.columns} FROM {of.table} LEFT JOIN {of.beside}"
        query += f" WHERE {among} {number} > :after ORDER BY {number} LIMIT :most"
        with self._file.reading() as connection:
            rows = map(dict, connection.execute(query, {"after": after, "most": most, **holes}))
            return [SpoolRow(stream, values.pop("its_number"), values) for values in rows]

    def parked_pages(self, target: str, most: int) -> Iterator[Page]:
        """The rows that a target could not take, to be tried once more; at most so many at once."""
        for stream, of in STREAMS.items():
            among = f"{of.table}.rowid IN (SELECT row FROM parked WHERE tbl = :tbl AND target = :target) AND"
            after = -1
            while page := self._page(stream, after, most, among, tbl=stream, target=target):
                after = page[-1].number
                yield page

    def mark_sent(self, target: str, page: Page, refused: Sequence[tuple[SpoolRow, str]], at: datetime) -> None:
        """Remember that a page of at least one row was taken, but for the rows that cannot be; those are parked."""
        first, last = page[0], page[-1]
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO spool VALUES (?, ?, ?) ON CONFLICT (target, stream) DO UPDATE SET "
                "upto = max(upto, excluded.upto)",
                (target, first.stream, last.number),
            )
            connection.execute(
                "DELETE FROM parked WHERE target = ? AND tbl = ? AND row BETWEEN ? AND ?",
                (target, first.stream, first.number, last.number),
            )
            connection.executemany(
                "INSERT OR REPLACE INTO parked VALUES (?, ?, ?, ?, ?)",
                [(target, row.stream, row.number, reason, to_us(at)) for row, reason in refused],
            )

    def parked(self, target: str) -> list[tuple[str, int, str]]:
        """Stream, number and reason of the rows that a target cannot take."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT tbl, row, reason FROM parked WHERE target = ? ORDER BY at_us, tbl, row", (target,)
            )
            return [(row["tbl"], row["row"], row["reason"]) for row in found]

    def send_again(self, target: str) -> None:
        """Forget how far a target was sent everything."""
        with self._file.writing() as connection:
            connection.execute("DELETE FROM spool WHERE target = ?", (target,))

    def backlog(self, target: str) -> Backlog:
        """How much a target has not been sent; costs a few look-ups by number."""
        with self._file.reading() as connection:
            n, times = 0, []
            for stream, of in STREAMS.items():
                after = _upto(connection, target, stream)
                newest = connection.execute(f"SELECT coalesce(max(rowid), 0) FROM {of.table}").fetchone()[0]
                n += max(0, newest - after)
                first = f"SELECT {of.time} FROM {of.table} NOT INDEXED WHERE rowid > ? ORDER BY rowid LIMIT 1"
                times += [row[0] for row in connection.execute(first, (after,))]
            parked = connection.execute("SELECT count(*) FROM parked WHERE target = ?", (target,)).fetchone()[0]
            return Backlog(n, from_us(min(times)) if times else None, parked)

    def counts(self) -> dict[str, int]:
        """How many rows there are of each stream."""
        with self._file.reading() as connection:
            rows = {
                stream: int(connection.execute(f"SELECT count(*) FROM {of.table}").fetchone()[0])
                for stream, of in STREAMS.items()
            }
            return rows | {"reading": rows["reading"] + blocks.count(connection)}


def _upto(connection: sqlite3.Connection, target: str, stream: str) -> int:
    row = connection.execute("SELECT upto FROM spool WHERE target = ? AND stream = ?", (target, stream)).fetchone()
    return 0 if row is None else int(row["upto"])
