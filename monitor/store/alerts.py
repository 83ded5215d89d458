"""The store's alerts: their states and their history.

Two hands write an alert and each its own columns: the collector what the rules say, people whether it is acknowledged
or shelved. So neither undoes what the other has just written.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from monitor.alerts.alert import UNNAMED
from monitor.alerts.dough import Alert, Change, Message, Phase
from monitor.errors import StoreError
from monitor.recipe.batch import BatchId
from monitor.store import outbox, rows
from monitor.store.rows import maybe_us, to_us
from monitor.store.sqlite_file import StorePart

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


class Alerts(StorePart):
    """The tables ``alert`` and ``alert_change``."""

    def all(self, batch_id: BatchId | None = None) -> list[Alert]:
        """Every alert of one batch, or of all there are, in the order they began."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT * FROM alert WHERE :batch IS NULL OR batch_id = :batch "
                "ORDER BY since_us, subject, kind, episode",
                {"batch": batch_id},
            )
            return [rows.alert_from_row(row) for row in found]

    def of_surroundings(self) -> list[Alert]:
        """The newest alert of each kind about each thing that is no batch."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT * FROM alert WHERE batch_id IS NULL AND episode = (SELECT max(other.episode) "
                "FROM alert AS other WHERE other.subject = alert.subject AND other.kind = alert.kind) ORDER BY id"
            )
            return [rows.alert_from_row(row) for row in found]

    def active(self) -> list[Alert]:
        """The alerts that are on, or over with nobody having acknowledged them, the first to begin first."""
        with self._file.reading() as connection:
            found = connection.execute(f"SELECT * FROM alert WHERE {_IS_ACTIVE} ORDER BY fired_us, id")
            return [rows.alert_from_row(row) for row in found]

    def open_of_ended(self) -> list[BatchId]:
        """Batches that ended or were taken back, of which an alert still stands that their collector has to close."""
        with self._file.reading() as connection:
            found = connection.execute(
                f"SELECT DISTINCT batch_id FROM alert JOIN batch ON batch.id = alert.batch_id "
                f"WHERE (ended_us IS NOT NULL OR taken_back_us IS NOT NULL) AND (returned_us IS NULL OR {_IS_ACTIVE})"
            )
            return [BatchId(row["batch_id"]) for row in found]

    def acknowledge(self, number: int, at: datetime, person: str = "") -> Alert:
        """Keep that somebody knows of an alert, and its line of history; returns the alert. Twice is once."""
        with self._file.writing() as connection:
            alert = self._require(connection, number)
            if alert.phase not in (Phase.UNACKNOWLEDGED, Phase.RETURNED):
                return alert
            known = replace(alert, acknowledged_at=at)
            connection.execute(
                "UPDATE alert SET acknowledged_us = ? WHERE id = ? AND acknowledged_us IS NULL", (to_us(at), number)
            )
            _note(connection, known, at, person)
            return known

    def take_back_acknowledgement(self, number: int, at: datetime, person: str = "") -> None:
        """Keep that nobody knows of an alert after all: while it stands it calls again."""
        with self._file.writing() as connection:
            alert = self._require(connection, number)
            connection.execute("UPDATE alert SET acknowledged_us = NULL WHERE id = ?", (number,))
            _note(connection, replace(alert, acknowledged_at=None), at, person)

    def shelve(self, number: int, until: datetime | None, at: datetime, person: str = "") -> Alert:
        """Keep until when nobody wants to hear of an alert; None takes it off its shelf. Returns the alert."""
        with self._file.writing() as connection:
            alert = self._require(connection, number)
            if not alert.is_firing:
                raise StoreError("alert {number} is over; nothing of it will be called", number=number)
            shelved = replace(alert, shelved_until=until)
            connection.execute("UPDATE alert SET shelved_us = ? WHERE id = ?", (maybe_us(until), number))
            _note(connection, shelved, at, person)
            return shelved

    def _require(self, connection: sqlite3.Connection, number: int) -> Alert:
        row = connection.execute("SELECT * FROM alert WHERE id = ?", (number,)).fetchone()
        if row is None:
            raise StoreError(
                "{path}: has no alert {number}; `proofing-monitor alerts list` shows the numbers",
                path=self._file.path,
                number=number,
            )
        return rows.alert_from_row(row)

    def history(self, batch_id: BatchId | None = None, since: datetime | None = None) -> list[Change]:
        """Every change of state of one batch's alerts or of all, the first first."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT * FROM alert_change WHERE (:batch IS NULL OR batch_id = :batch) "
                "AND (:since IS NULL OR at_us >= :since) ORDER BY at_us, id",
                {"batch": batch_id, "since": maybe_us(since)},
            )
            return [rows.change_from_row(row) for row in found]

    def save(
        self, alerts: Iterable[Alert], messages: Iterable[Message], changes: Iterable[Change], at: datetime
    ) -> None:
        """Keep what a look made of alerts about no batch, in one transaction with what must be said of them."""
        with self._file.writing() as connection:
            put(connection, alerts, messages, changes, at)


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
    outbox.put(connection, messages)
    put_changes(connection, changes)


def put_changes(connection: sqlite3.Connection, changes: Iterable[Change]) -> None:
    """Add lines to the history."""
    connection.executemany(
        f"INSERT INTO alert_change ({rows.CHANGE_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [rows.change_to_row(change) for change in changes],
    )


def _note(connection: sqlite3.Connection, alert: Alert, at: datetime, person: str) -> None:
    put_changes(
        connection,
        [Change(alert.subject, alert.kind, alert.episode, at, alert.phase, alert.reason, person or UNNAMED)],
    )
