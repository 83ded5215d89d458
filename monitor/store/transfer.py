"""Everything the store holds of one batch, as plain rows out of it and back in: the batch may move to another store.

Which tables those are is asked of the file itself: ``batch``, every table with a ``batch_id``, and the readings and
calibrations of the batch's nodes.
"""

import sqlite3
from base64 import b64decode
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.alerts.dough import Subject
from monitor.errors import UnfitError
from monitor.recipe.batch import Batch, BatchId
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Verdict
from monitor.recipe.toml_tables import LONGEST_NAME
from monitor.store import batches, old_prose, rows
from monitor.store.batches import eye_node
from monitor.store.readings import Samples, between, span_us
from monitor.store.schema import outlook_of_codes
from monitor.store.sqlite_file import StorePart
from monitor.wire.readings import Channel

Value = int | float | str | None
_BETWEEN_BATCHES = ("plan_batch",)  # what joins a batch to others stays where those are


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of one table, values in the order of ``columns``; a column is a name and INTEGER, REAL or TEXT."""

    table: str
    columns: tuple[tuple[str, str], ...]
    values: tuple[tuple[Value, ...], ...]


class Transfer(StorePart):
    """Whole batches, taken out of the store and put into it."""

    def take_out(self, batch_id: BatchId) -> list[Rows]:
        """Everything there is of one batch, as plain rows, table by table."""
        with self._file.reading() as connection:
            batch = batches.require(connection, self._file.path, batch_id)
            nodes = dict.fromkeys(node for _, node in batch.nodes)
            channels = dict.fromkeys([(node, channel) for channel, node in batch.nodes])
            channels |= dict.fromkeys([(node, Channel.LOST) for node in nodes])
            channels[eye_node(batch_id), Channel.LEVEL] = None
            found = []
            for table in _tables_of(connection):
                columns = _columns_of(connection, table)
                names = ", ".join(name for name, _ in columns)
                values: list[Any] = []
                if table == "reading":
                    for node, channel in channels:
                        whole = between(connection, node, channel, *span_us(batch))
                        whole.sort(key=lambda row: (row["measured_us"], row["boot"], row["seq"]))
                        values += [tuple(row[name] for name, _ in columns) for row in whole]
                elif table == "calibration":
                    for node in nodes:
                        values += connection.execute(
                            f"SELECT {names} FROM calibration WHERE node = ? ORDER BY id", (node,)
                        )
                else:
                    key = "id" if table == "batch" else "batch_id"
                    values += connection.execute(
                        f"SELECT {names} FROM {table} WHERE {key} = ? ORDER BY rowid", (batch_id,)
                    )
                found.append(Rows(table, columns, tuple(map(tuple, values))))
            return found

    def put_in(self, tables: Sequence[Rows]) -> Batch:
        """Keep a batch that was taken out, here or elsewhere; returns it as it is here, with its number where free.

        Nothing of it is sent again: its messages count as done.

        Raises
        ------
        ValueError
            When the rows are not those of one batch that has ended; nothing is kept then.
        """
        by_name = {each.table: each for each in tables}
        one = _dicts(by_name["batch"]) if "batch" in by_name else []
        if len(one) != 1 or not isinstance(one[0]["id"], int):
            raise ValueError("it does not hold one batch")
        (batch,) = one
        name = batch.get("name")
        if not isinstance(name, str) or not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
            raise ValueError("the batch's name is no line of text")
        if batch.get("ended_us") is None:
            raise ValueError("its batch has not ended; end it where it runs, and archive it again")
        with self._file.writing(is_of_batches=True) as connection:
            if unknown := by_name.keys() - set(_tables_of(connection)):
                raise UnfitError(
                    "it has tables that this program does not know: {tables}", tables=", ".join(sorted(unknown))
                )
            old = BatchId(int(str(batch["id"])))
            is_free = (
                0 < old < 2**53 and connection.execute("SELECT 1 FROM batch WHERE id = ?", (old,)).fetchone() is None
            )
            batch["id"] = old if is_free else None
            new = BatchId(_insert(connection, "batch", [batch]) or 0)
            for table in _tables_of(connection)[1:]:
                # what an earlier version of this program took out has sentences for reasons
                found = [old_prose.recoded(table, row) for row in _dicts(by_name[table])] if table in by_name else []
                for row in found:
                    _renumber(table, row, old, new)
                _as_types(table, found)
                if table == "calibration":
                    found = [row for row in found if not _is_there(connection, row)]
                _insert(connection, table, found)
            return batches.require(connection, self._file.path, new)


def _columns_of(connection: sqlite3.Connection, table: str) -> tuple[tuple[str, str], ...]:
    """Name and type of each column, without a number that the file gives by itself; but a batch's own."""
    found = connection.execute(f"PRAGMA table_info({table})").fetchall()
    is_own_number = {row["name"] for row in found if row["name"] == "id" and row["type"] == "INTEGER"}
    return tuple((row["name"], row["type"]) for row in found if row["name"] not in is_own_number or table == "batch")


def _tables_of(connection: sqlite3.Connection) -> tuple[str, ...]:
    """The tables that hold something of a batch, ``batch`` first."""
    names = [row["name"] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    belonging = sorted(
        name for name in names if "batch_id" in dict(_columns_of(connection, name)) and name not in _BETWEEN_BATCHES
    )
    return ("batch", *belonging, "calibration", "reading")


def _renumber(table: str, row: dict[str, Value], old: BatchId, new: BatchId) -> None:
    """Make a row that was taken out one of the batch that is put in."""
    if "batch_id" in row:
        row["batch_id"] = new
    if row.get("subject") is not None:
        row["subject"] = Subject.batch(new).key
    if table == "outbox":
        row["is_open"] = 0
    name = {"outbox": "id", "call": "message_id", "alert": "message_id"}.get(table)
    if name is not None and new != old:
        row[name] = f"{row[name]} of {old}, here {new}"
    if table == "reading" and row.get("node") == eye_node(old):
        row["node"] = eye_node(new)
    if table == "outlook" and isinstance(row.get("body"), str):
        row["body"] = outlook_of_codes(str(row["body"]))  # of an older version's file


def _dicts(found: Rows) -> list[dict[str, Value]]:
    names = [name for name, _ in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.values]


def _insert(connection: sqlite3.Connection, table: str, found: Sequence[dict[str, Value]]) -> int | None:
    known = dict(_columns_of(connection, table))
    for row in found:
        if unknown := row.keys() - known.keys():
            raise ValueError(f"{table} has columns that this program does not know: {', '.join(sorted(unknown))}")
    if table == "reading":
        Samples().put(connection, [tuple(row[name] for name in rows.READING_COLUMNS.split(", ")) for row in found])
        return None
    last = None
    for row in found:
        names = ", ".join(row)
        places = ", ".join(f":{name}" for name in row)
        last = connection.execute(f"INSERT INTO {table} ({names}) VALUES ({places})", row).lastrowid
    return last


def _is_there(connection: sqlite3.Connection, row: dict[str, Value]) -> bool:
    same = " AND ".join(f"{name} IS :{name}" for name in row)
    return connection.execute(f"SELECT 1 FROM calibration WHERE {same}", row).fetchone() is not None


def _as_types(table: str, found: Iterable[dict[str, Value]]) -> None:
    """Every row must read as what it claims to be; ``ValueError`` when one does not."""
    readers: dict[str, Callable[[Any], object]] = {
        "reading": rows.reading_from_row,
        "calibration": rows.calibration_from_row,
        "event": rows.event_from_row,
        "outlook": lambda row: rows.outlook_from_row(row, has_fan=True),
        "alert": lambda row: rows.alert_from_row({**row, "id": 0}),  # the number it gets is the file's own
        "alert_change": rows.change_from_row,
        "outbox": rows.message_from_row,
        "call": rows.call_from_row,
        "intent": lambda row: row["formula"] is None or rows.from_json(row["formula"], Formula),
        "judgement": lambda row: (Verdict(row["verdict"]), b64decode(row["photo"] or "", validate=True)),
    }
    for row in found if table in readers else ():
        try:
            readers[table](row)
        except (KeyError, TypeError) as error:  # a column or a value that is not there
            raise ValueError(f"{table}: {error}") from error
