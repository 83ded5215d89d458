"""The store's tables of alerts: states, history, messages, calls.

Two hands write an alert and each its own columns: the collector what the rules say, people whether it is acknowledged
or shelved. So neither undoes what the other has just written. Each function works on a connection that is in a
transaction already.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from monitor.alerts.alert import UNNAMED
from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, Change, Message, Phase
from monitor.recipe.batch import BatchId
from monitor.store import rows
from monitor.store.rows import maybe_us, to_us

_MARKS = "?, " * 14 + "?"
# of an alert that somebody acknowledged between the look and now, the person's word stays
_KEEP = f"""INSERT INTO alert ({rows.ALERT_COLUMNS}) VALUES ({_MARKS})
ON CONFLICT (subject, kind, episode) DO UPDATE SET
    since_us = excluded.since_us, fired_us = excluded.fired_us, returned_us = excluded.returned_us,
    quiet_since_us = excluded.quiet_since_us, called_us = excluded.called_us,
    suppressed_by = excluded.suppressed_by, reason = excluded.reason, about = excluded.about,
    acknowledged_us = coalesce(alert.acknowledged_us, excluded.acknowledged_us)"""
_FIRING = "fired_us IS NOT NULL AND returned_us IS NULL"
_IS_ACTIVE = f"({_FIRING} OR (returned_us IS NOT NULL AND called_us IS NOT NULL AND acknowledged_us IS NULL))"


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


def put(
    connection: sqlite3.Connection,
    alerts: Iterable[Alert],
    messages: Iterable[Message],
    changes: Iterable[Change],
    now: datetime,
) -> None:
    """Keep what a look made of some alerts, and what must be said. A message that is known is left as it is."""
    connection.executemany(_KEEP, [rows.alert_to_row(alert) for alert in alerts])
    connection.execute("UPDATE alert SET shelved_us = NULL WHERE shelved_us <= ?", (to_us(now),))
    connection.executemany(
        f"INSERT INTO outbox ({rows.MESSAGE_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO NOTHING",
        [rows.message_to_row(message) for message in messages],
    )
    put_changes(connection, changes)


def put_changes(connection: sqlite3.Connection, changes: Iterable[Change]) -> None:
    """Add lines to the history."""
    connection.executemany(
        f"INSERT INTO alert_change ({rows.CHANGE_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [rows.change_to_row(change) for change in changes],
    )


def of_batch(connection: sqlite3.Connection, batch_id: BatchId | None) -> list[Alert]:
    """Every alert of one batch, or of all there are, in the order they began."""
    found = connection.execute(
        "SELECT * FROM alert WHERE ?1 IS NULL OR batch_id = ?1 ORDER BY since_us, subject, kind, episode", (batch_id,)
    )
    return [rows.alert_from_row(row) for row in found]


def of_surroundings(connection: sqlite3.Connection) -> list[Alert]:
    """The newest alert of each kind about each thing that is no batch."""
    found = connection.execute(
        "SELECT * FROM alert WHERE batch_id IS NULL AND episode = (SELECT max(other.episode) FROM alert AS other "
        "WHERE other.subject = alert.subject AND other.kind = alert.kind) ORDER BY id"
    )
    return [rows.alert_from_row(row) for row in found]


def active(connection: sqlite3.Connection) -> list[Alert]:
    """The alerts that are on, or over with nobody having acknowledged them, the first to begin first."""
    found = connection.execute(f"SELECT * FROM alert WHERE {_IS_ACTIVE} ORDER BY fired_us, id")
    return [rows.alert_from_row(row) for row in found]


def open_of_ended(connection: sqlite3.Connection) -> list[BatchId]:
    """Ended batches of which an alert still stands: the collector was stopped before it could close them."""
    found = connection.execute(
        f"SELECT DISTINCT batch_id FROM alert JOIN batch ON batch.id = alert.batch_id "
        f"WHERE ended_us IS NOT NULL AND (returned_us IS NULL OR {_IS_ACTIVE})"
    )
    return [BatchId(row["batch_id"]) for row in found]


def one(connection: sqlite3.Connection, number: int) -> Alert | None:
    """One alert by its number."""
    row = connection.execute("SELECT * FROM alert WHERE id = ?", (number,)).fetchone()
    return None if row is None else rows.alert_from_row(row)


def acknowledge(connection: sqlite3.Connection, alert: Alert, at: datetime, person: str) -> Alert:
    """Keep that somebody knows of an alert; a second time changes nothing."""
    if alert.phase not in (Phase.UNACKNOWLEDGED, Phase.RETURNED):
        return alert
    known = replace(alert, acknowledged_at=at)
    connection.execute(
        "UPDATE alert SET acknowledged_us = ? WHERE id = ? AND acknowledged_us IS NULL", (to_us(at), alert.number)
    )
    _note(connection, known, at, person)
    return known


def shelve(connection: sqlite3.Connection, alert: Alert, until: datetime | None, at: datetime, person: str) -> Alert:
    """Keep until when nobody wants to hear of an alert; None takes it off its shelf."""
    shelved = replace(alert, shelved_until=until)
    connection.execute("UPDATE alert SET shelved_us = ? WHERE id = ?", (maybe_us(until), alert.number))
    _note(connection, shelved, at, person)
    return shelved


def _note(connection: sqlite3.Connection, alert: Alert, at: datetime, person: str) -> None:
    put_changes(
        connection,
        [Change(alert.subject, alert.kind, alert.episode, at, alert.phase, alert.reason, person or UNNAMED)],
    )


def history(connection: sqlite3.Connection, batch_id: BatchId | None, since: datetime | None) -> list[Change]:
    """Every change of state of one batch's alerts or of all, the first first."""
    found = connection.execute(
        "SELECT * FROM alert_change WHERE (?1 IS NULL OR batch_id = ?1) AND (?2 IS NULL OR at_us >= ?2) "
        "ORDER BY at_us, id",
        (batch_id, maybe_us(since)),
    )
    return [rows.change_from_row(row) for row in found]


def messages(connection: sqlite3.Connection, batch_id: BatchId | None) -> list[Message]:
    """The messages of one batch or of all, newest first, delivered or not."""
    found = connection.execute(
        "SELECT * FROM outbox WHERE ?1 IS NULL OR batch_id = ?1 ORDER BY created_us DESC, rowid DESC", (batch_id,)
    )
    return [rows.message_from_row(row) for row in found]


def open_messages(connection: sqlite3.Connection) -> list[tuple[Message, Alert | None, list[Call]]]:
    """The messages that are not closed, oldest first, each with its alert as it stands and its calls so far."""
    found = []
    for row in connection.execute("SELECT * FROM outbox WHERE is_open ORDER BY created_us, rowid").fetchall():
        message = rows.message_from_row(row)
        about = connection.execute("SELECT * FROM alert WHERE message_id = ?", (message.id,)).fetchone()
        found.append((message, None if about is None else rows.alert_from_row(about), calls(connection, message.id)))
    return found


def calls(connection: sqlite3.Connection, message_id: str | None = None) -> list[Call]:
    """The calls of one message or of all, the first first."""
    found = connection.execute(
        "SELECT * FROM call WHERE ?1 IS NULL OR message_id = ?1 ORDER BY at_us, number", (message_id,)
    )
    return [rows.call_from_row(row) for row in found]


def put_call(connection: sqlite3.Connection, call: Call, new_tries: int) -> None:
    """Keep a call as it stands; ``new_tries`` are added to its message's."""
    connection.execute(
        f"INSERT INTO call ({rows.CALL_COLUMNS}, batch_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?, "
        "(SELECT batch_id FROM outbox WHERE id = ?1)) "
        "ON CONFLICT (message_id, number) DO UPDATE SET accepted_us = excluded.accepted_us, "
        "carrier = excluded.carrier, tries = excluded.tries, detail = excluded.detail",
        rows.call_to_row(call),
    )
    connection.execute(
        "UPDATE outbox SET attempts = attempts + ?, delivered_us = coalesce(delivered_us, ?) WHERE id = ?",
        (new_tries, maybe_us(call.accepted_at), call.message_id),
    )


def close_message(connection: sqlite3.Connection, message_id: str, why: str) -> None:
    """Nothing more is to be sent of a message."""
    connection.execute("UPDATE outbox SET is_open = 0, detail = ? WHERE id = ?", (why, message_id))


def call_counts(connection: sqlite3.Connection, start: datetime | None, end: datetime | None) -> Sequence[CallCount]:
    """How often people were called between two moments, by batch. A message that had only the terminal counts once."""
    found = connection.execute(
        "SELECT batch_id, count(DISTINCT message_id) AS messages, "
        "sum(number > 0 OR NOT EXISTS (SELECT 1 FROM call AS real WHERE real.message_id = call.message_id "
        "AND real.number > 0)) AS calls FROM call "
        "WHERE (?1 IS NULL OR at_us >= ?1) AND (?2 IS NULL OR at_us < ?2) GROUP BY batch_id ORDER BY batch_id",
        (maybe_us(start), maybe_us(end)),
    )
    return [
        CallCount(None if row["batch_id"] is None else BatchId(row["batch_id"]), row["messages"], row["calls"])
        for row in found
    ]
