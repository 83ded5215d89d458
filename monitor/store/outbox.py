"""The store's outbox: the messages, and how each was called out."""

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, Message
from monitor.recipe.batch import BatchId
from monitor.store import rows
from monitor.store.rows import maybe_us
from monitor.store.sqlite_file import StorePart


@dataclass(frozen=True, slots=True)
class CallCount:
    """How often people were called for one batch, or for what is about none (``batch_id`` None).

    Attributes
    ----------
    messages
        Alerts that were told.
    calls
        Times that somebody was told, repeats among them.
    """

    batch_id: BatchId | None
    messages: int
    calls: int


class Outbox(StorePart):
    """The tables ``outbox`` and ``call``."""

    def messages(self, batch_id: BatchId | None = None) -> list[Message]:
        """The messages of one batch or of all, newest first, delivered or not."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT * FROM outbox WHERE :batch IS NULL OR batch_id = :batch ORDER BY created_us DESC, rowid DESC",
                {"batch": batch_id},
            )
            return [rows.message_from_row(row) for row in found]

    def open_messages(self) -> list[tuple[Message, Alert | None, list[Call]]]:
        """The messages that are not closed, oldest first, each with its alert as it stands and its calls so far."""
        with self._file.reading() as connection:
            found = []
            for row in connection.execute("SELECT * FROM outbox WHERE is_open ORDER BY created_us, rowid").fetchall():
                message = rows.message_from_row(row)
                about = connection.execute("SELECT * FROM alert WHERE message_id = ?", (message.id,)).fetchone()
                found.append(
                    (message, None if about is None else rows.alert_from_row(about), _calls(connection, message.id))
                )
            return found

    def add(self, message: Message) -> None:
        """Keep a message that neither an alert nor a plan stands behind."""
        with self._file.writing() as connection:
            put(connection, [message])

    def is_open(self, message_id: str) -> bool:
        """True while anything more is to be sent of a message."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT 1 FROM outbox WHERE id = ? AND is_open", (message_id,))
            return found.fetchone() is not None

    def calls(self, message_id: str | None = None) -> list[Call]:
        """The calls of one message or of all, the first first."""
        with self._file.reading() as connection:
            return _calls(connection, message_id)

    def save_call(self, call: Call, new_tries: int = 0) -> None:
        """Keep a call as it stands; ``new_tries`` are added to its message's."""
        with self._file.writing() as connection:
            connection.execute(
                f"INSERT INTO call ({rows.CALL_COLUMNS}, batch_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?, "
                "(SELECT batch_id FROM outbox WHERE id = ?)) "
                "ON CONFLICT (message_id, number) DO UPDATE SET accepted_us = excluded.accepted_us, "
                "carrier = excluded.carrier, tries = excluded.tries, detail = excluded.detail",
                (*rows.call_to_row(call), call.message_id),
            )
            connection.execute(
                "UPDATE outbox SET attempts = attempts + ?, delivered_us = coalesce(delivered_us, ?) WHERE id = ?",
                (new_tries, maybe_us(call.accepted_at), call.message_id),
            )

    def close_message(self, message_id: str, why: str) -> None:
        """Nothing more is to be sent of a message."""
        with self._file.writing() as connection:
            connection.execute("UPDATE outbox SET is_open = 0, detail = ? WHERE id = ?", (why, message_id))

    def call_counts(self, start: datetime | None = None, end: datetime | None = None) -> Sequence[CallCount]:
        """How often people were called between two moments, by batch.

        A message that had only the terminal counts once.
        """
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT batch_id, count(DISTINCT message_id) AS messages, "
                "sum(number > 0 OR NOT EXISTS (SELECT 1 FROM call AS real WHERE real.message_id = call.message_id "
                "AND real.number > 0)) AS calls FROM call "
                "WHERE (:start IS NULL OR at_us >= :start) AND (:end IS NULL OR at_us < :end) "
                "GROUP BY batch_id ORDER BY batch_id",
                {"start": maybe_us(start), "end": maybe_us(end)},
            )
            return [
                CallCount(None if row["batch_id"] is None else BatchId(row["batch_id"]), row["messages"], row["calls"])
                for row in found
            ]


def put(connection: sqlite3.Connection, messages: Iterable[Message]) -> None:
    """Within a transaction: keep what must be said. A message that is known is left as it is."""
    connection.executemany(
        f"INSERT INTO outbox ({rows.MESSAGE_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO NOTHING",
        map(rows.message_to_row, messages),
    )


def _calls(connection: sqlite3.Connection, message_id: str | None) -> list[Call]:
    found = connection.execute(
        "SELECT * FROM call WHERE :message IS NULL OR message_id = :message ORDER BY at_us, number",
        {"message": message_id},
    )
    return [rows.call_from_row(row) for row in found]
