"""The store's batches, with what bakers did to them."""

import sqlite3
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from monitor.errors import StoreError, UnfitError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Target
from monitor.store import rows
from monitor.store.rows import to_us
from monitor.store.sqlite_file import StorePart
from monitor.wire.readings import Flag, NodeId


def eye_node(batch_id: BatchId) -> NodeId:
    """The node name under which levels read by eye are kept (32473 is the number for examples, RFC 5612)."""
    return NodeId(f"urn:dev:org:32473-eye-{batch_id}")


class Batches(StorePart):
    """The tables ``batch`` and ``event``."""

    def add(self, batch: Batch) -> Batch:
        """Keep a new batch with its events; returns it with the id it was given."""
        with self._file.writing(is_of_batches=True) as connection:
            cursor = connection.execute(
                f"INSERT INTO batch ({rows.BATCH_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                rows.batch_to_row(batch),
            )
            batch_id = BatchId(cursor.lastrowid or 0)
            for event in batch.events:
                _insert_event(connection, batch_id, event)
        return replace(batch, id=batch_id)

    def get(self, batch_id: BatchId) -> Batch:
        """One batch with its events."""
        with self._file.reading() as connection:
            return require(connection, self._file.path, batch_id)

    def find(self, batch_id: int) -> Batch | None:
        """One batch that was not taken back; None when there is none of this number."""
        return next(iter(self._found("id = ?", batch_id)), None)

    def all(self) -> list[Batch]:
        """All batches, by start."""
        return self._found("TRUE")

    def running(self) -> list[Batch]:
        """The batches that have not ended, by start."""
        return self._found("ended_us IS NULL")

    def ended(self) -> list[Batch]:
        """The batches that have ended, by start."""
        return self._found("ended_us IS NOT NULL")

    def _found(self, which: str, *holes: int) -> list[Batch]:
        with self._file.reading() as connection:
            query = f"SELECT * FROM batch WHERE taken_back_us IS NULL AND {which} ORDER BY started_us, id"
            found = connection.execute(query, holes).fetchall()
            return [of_row(connection, row) for row in found]

    def add_event(self, batch_id: BatchId, event: Event) -> Batch:
        """Keep what a baker did; the first ``end`` ends the batch. The same event twice is one. Returns the batch."""
        with self._file.writing(is_of_batches=True) as connection:
            require(connection, self._file.path, batch_id)
            _insert_event(connection, batch_id, event)
            if event.kind is EventKind.END:
                connection.execute(
                    "UPDATE batch SET ended_us = min(coalesce(ended_us, :at), :at) WHERE id = :id",
                    {"at": to_us(event.at), "id": batch_id},
                )
            return require(connection, self._file.path, batch_id)

    def take_back_event(self, batch_id: BatchId, event: Event, at: datetime) -> None:
        """Take back what a baker noted: the batch is as if it had not been; the row stays, with when that was said.

        Raises
        ------
        UnfitError
            When it is the end of the batch, on which its calls and its lesson have followed.
        """
        if event.kind is EventKind.END:
            raise UnfitError("the end of a batch cannot be taken back")
        with self._file.writing(is_of_batches=True) as connection:
            connection.execute(
                "UPDATE event SET taken_back_us = ? WHERE batch_id = ? AND at_us = ? AND kind = ?",
                (to_us(at), batch_id, to_us(event.at), event.kind.value),
            )

    def can_take_back(self, batch_id: BatchId) -> bool:
        """Whether a batch's beginning can be taken back: nothing was noted of it since, and it ended no other stage."""
        with self._file.reading() as connection:
            return _is_only_begun(connection, require(connection, self._file.path, batch_id))

    def take_back(self, batch_id: BatchId, at: datetime) -> None:
        """Take back that a batch was begun: it is as if it had not been; its row stays, with when that was said.

        A stage of a plan that it began is still to do. What was called of it meanwhile stays as the record it is.

        Raises
        ------
        UnfitError
            When something was noted of it since, or its beginning was the end of another stage.
        """
        with self._file.writing(is_of_batches=True) as connection:
            batch = require(connection, self._file.path, batch_id)
            if not _is_only_begun(connection, batch):
                raise UnfitError(
                    "{name} cannot be taken back: something was noted of it since, or another stage ended with its "
                    "beginning; end its stage instead",
                    name=batch.name,
                )
            connection.execute("UPDATE batch SET taken_back_us = ? WHERE id = ?", (to_us(at), batch_id))
            connection.execute("DELETE FROM plan_batch WHERE batch_id = ?", (batch_id,))

    def set_target(self, batch_id: BatchId, target: Target) -> Batch:
        """Move what a batch waits for; its collector takes it up at once. Returns the batch.

        Raises
        ------
        StoreError
            When there is no such batch.
        """
        with self._file.writing(is_of_batches=True) as connection:
            require(connection, self._file.path, batch_id)
            connection.execute("UPDATE batch SET target_rise_pct = ? WHERE id = ?", (target.rise_pct, batch_id))
            return require(connection, self._file.path, batch_id)


# Within a transaction of this part or another:


def require(connection: sqlite3.Connection, path: Path, batch_id: BatchId) -> Batch:
    """One batch of the file at ``path``, or a ``StoreError``."""
    row = connection.execute("SELECT * FROM batch WHERE id = ?", (batch_id,)).fetchone()
    if row is None:
        raise StoreError(
            "{path}: has no batch {batch_id}; see the list of batches for the numbers there are",
            path=path,
            batch_id=batch_id,
        )
    return of_row(connection, row)


def _is_only_begun(connection: sqlite3.Connection, batch: Batch) -> bool:
    """Whether nothing came after a batch's beginning that would hang in the air without it."""
    if batch.ended_at is not None or any(event.at > batch.started_at for event in batch.events):
        return False
    ended_by_it = connection.execute(
        "SELECT 1 FROM plan_batch AS own JOIN plan_batch AS before ON before.plan_id = own.plan_id "
        "JOIN batch ON batch.id = before.batch_id "
        "WHERE own.batch_id = ? AND batch.id != own.batch_id AND batch.ended_us <= ?",
        (batch.id, to_us(batch.started_at)),
    )
    levels = connection.execute(
        "SELECT 1 FROM reading WHERE node = ? AND flag = ? AND measured_us > ?",
        (eye_node(batch.id), Flag.OK.value, to_us(batch.started_at)),
    )
    return ended_by_it.fetchone() is None and levels.fetchone() is None


def of_row(connection: sqlite3.Connection, row: sqlite3.Row) -> Batch:
    """The batch of a row, with its events and with the newest calibrations made before its end."""
    last_us = 2**62 if row["ended_us"] is None else row["ended_us"]
    calibrations = []
    for channel, node in rows.nodes_from_row(row):
        newest = connection.execute(
            f"SELECT {rows.CALIBRATION_COLUMNS} FROM calibration WHERE node = ? AND channel = ? AND at_us <= ? "
            "ORDER BY at_us DESC, id DESC LIMIT 1",
            (node, channel.value, last_us),
        ).fetchone()
        if newest is not None:
            calibrations.append(rows.calibration_from_row(newest))
    found = connection.execute(
        "SELECT at_us, kind, note FROM event WHERE batch_id = ? AND taken_back_us IS NULL ORDER BY at_us, id",
        (row["id"],),
    )
    return rows.batch_from_row(row, tuple(map(rows.event_from_row, found)), tuple(calibrations))


def _insert_event(connection: sqlite3.Connection, batch_id: BatchId, event: Event) -> None:
    connection.execute(
        "INSERT INTO event (batch_id, at_us, kind, note) VALUES (?, ?, ?, ?) "
        "ON CONFLICT (batch_id, at_us, kind) DO UPDATE SET note = excluded.note, taken_back_us = NULL "
        "WHERE taken_back_us IS NOT NULL",
        (batch_id, to_us(event.at), event.kind.value, event.note),
    )
