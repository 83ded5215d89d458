"""Everything that must outlive a restart, in one SQLite file: readings, batches, outlooks, alerts, the outbox.

WAL with ``synchronous=FULL``: what a method has returned from is on the disk. Readings are never deleted, and a
reading that arrives twice is stored once. The collector owns one :class:`Store`, every other process or thread that
reads the same file opens its own; their writes are short immediate transactions.
"""

import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, Change, Message
from monitor.dough.learning import Lesson
from monitor.dough.outlook import Outlook
from monitor.dough.track import Track
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind
from monitor.recipe.calibration import Calibration, set_right
from monitor.store import alerts as alert_rows
from monitor.store import arrivals, lessons, lookups, rows
from monitor.store.alerts import CallCount
from monitor.store.arrivals import Arrivals, Heard
from monitor.store.lookups import Hearing
from monitor.store.rows import FaultCount, NodeRow, QuarantinedFrame, to_us
from monitor.store.samples import Samples
from monitor.store.sqlite_file import SqliteFile
from monitor.wire.readings import Channel, NodeId, Reading

EYE_SOURCE = "eye"


def eye_node(batch_id: BatchId) -> NodeId:
    """The node name under which levels read by eye are kept (32473 is the number for examples, RFC 5612)."""
    return NodeId(f"urn:dev:org:32473-eye-{batch_id}")


class Store(SqliteFile):
    """The store's file with everything that is kept in it; see :class:`~monitor.store.sqlite_file.SqliteFile`."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._samples = Samples()

    def reopen(self) -> None:
        """Open the file anew, as after an error of the disk: what is known of it may be stale."""
        super().reopen()
        self._samples = Samples()

    # -- readings -------------------------------------------------------------------------------------------------

    def append(self, readings: Iterable[Reading]) -> int:
        """Keep readings, in one transaction; returns how many were new. A known one is left as it is."""
        with self._write() as connection:
            return self._samples.put(connection, map(rows.reading_to_row, readings))

    def keep(self, arrived: Arrivals, at: datetime) -> int:
        """Keep what one turn brought, in one transaction; returns how many of its readings were new."""
        with self._write() as connection:
            return arrivals.put(connection, self._samples, arrived, at)

    def readings(self, batch: Batch) -> list[Reading]:
        """All readings of a batch's channels, from its start to its end, flagged ones too, ascending in time.

        They are set right by the batch's calibrations, here and in :meth:`track`; the file keeps them raw.
        """
        with self._read() as connection:
            return self._readings_of(connection, batch)

    def track(self, batch: Batch) -> Track:
        """The usable readings of a batch as the estimator takes them.

        Equal to :func:`~monitor.dough.track.track_from_readings` of :meth:`readings`, and several times quicker.
        """
        with self._read() as connection:
            return lookups.track(connection, batch, self._channels_of(batch))

    def new_levels(self, after_rowid: int | None) -> tuple[set[NodeId], int]:
        """The :func:`eye_node` of each batch with a level stored after a row, and the row to go on from.

        Give None to be told that row alone.
        """
        with self._read() as connection:
            newest = int(connection.execute("SELECT coalesce(max(id), 0) FROM sample").fetchone()[0])
            if after_rowid is None:
                return set(), newest
            # NOT INDEXED, CROSS: walk the new rows alone, by their number
            found = connection.execute(
                "SELECT node FROM sample NOT INDEXED CROSS JOIN sensor ON sensor.id = sample.sensor_id "
                "WHERE sample.id > ? AND channel = ?",
                (after_rowid, Channel.LEVEL.value),
            )
            return {NodeId(row["node"]) for row in found}, newest

    def readings_between(self, node: NodeId, channel: Channel, start: datetime, end: datetime) -> list[Reading]:
        """One channel of one node as measured, from ``start`` to ``end`` inclusive, flagged ones too, by time."""
        with self._read() as connection:
            return lookups.readings(connection, node, channel, to_us(start), to_us(end))

    def hearing(self, node: NodeId, channel: Channel, start: datetime, end: datetime) -> Hearing:
        """When one channel of one node was measured and when that arrived, from ``start`` to ``end`` inclusive."""
        with self._read() as connection:
            return lookups.hearing(connection, node, channel, to_us(start), to_us(end))

    def add_level(self, batch_id: BatchId, at: datetime, level_mm: float, sd_mm: float) -> Reading:
        """Keep a level that somebody read by eye on the tub, with its doubt; returns it as the reading it is."""
        node = eye_node(batch_id)
        with self._write(is_of_batches=True) as connection:
            self._require_batch(connection, batch_id)
            last = connection.execute("SELECT coalesce(max(seq), 0) FROM reading WHERE node = ?", (node,)).fetchone()[0]
            reading = Reading(node, EYE_SOURCE, last + 1, Channel.LEVEL, level_mm, at, at, sd=sd_mm)
            self._samples.put(connection, [rows.reading_to_row(reading)])
        return reading

    @staticmethod
    def _channels_of(batch: Batch) -> list[tuple[NodeId, Channel]]:
        mapped = [(node, channel) for channel, node in batch.nodes]
        return [*mapped, (eye_node(batch.id), Channel.LEVEL)]

    def _readings_of(self, connection: sqlite3.Connection, batch: Batch) -> list[Reading]:
        start_us, end_us = lookups.span_us(batch)
        found = [
            set_right(reading, batch.calibrations)
            for node, channel in self._channels_of(batch)
            for reading in lookups.readings(connection, node, channel, start_us, end_us)
        ]
        return sorted(found, key=lambda reading: reading.measured_at)

    # -- faults and nodes -----------------------------------------------------------------------------------------

    def quarantine(self, node: str | None, source: str, reason: str, frame: bytes, at: datetime) -> None:
        """Keep a frame that came whole but made no sense; only the newest ``KEPT_QUARANTINE`` stay."""
        with self._write() as connection:
            arrivals.put_refused(connection, [QuarantinedFrame(node, source, reason, frame, at)])

    def quarantined(self) -> list[QuarantinedFrame]:
        """The frames in quarantine, newest first."""
        with self._read() as connection:
            found = connection.execute("SELECT node, source, reason, frame, at_us FROM quarantine ORDER BY id DESC")
            return [rows.quarantined_from_row(row) for row in found]

    def count_fault(self, source: str, node: str, reason: str, at: datetime, n: int = 1) -> None:
        """Count bad input: one line for each source, node and reason."""
        with self._write() as connection:
            arrivals.put_faults(connection, Counter({(source, node, reason): n}), at)

    def faults(self) -> list[FaultCount]:
        """All counters of bad input, by source, node and reason."""
        with self._read() as connection:
            found = connection.execute("SELECT * FROM fault ORDER BY source, node, reason")
            return [rows.fault_from_row(row) for row in found]

    def note_node(self, node: str, source: str, at: datetime, is_online: bool | None = None) -> None:
        """Remember that a node was heard of; ``is_online`` None leaves what was known of it."""
        with self._write() as connection:
            arrivals.put_heard(connection, [Heard(node, source, at, is_online)])

    def nodes(self) -> list[NodeRow]:
        """All nodes ever heard of, by name, each with its newest readings and its count of lost packs."""
        with self._read() as connection:
            return [
                rows.node_from_row(row, *lookups.newest_and_lost(connection, NodeId(row["node"])))
                for row in connection.execute("SELECT * FROM node ORDER BY node").fetchall()
            ]

    # -- batches --------------------------------------------------------------------------------------------------

    def add_batch(self, batch: Batch) -> Batch:
        """Keep a new batch with its events; returns it with the id it was given."""
        with self._write(is_of_batches=True) as connection:
            cursor = connection.execute(
                f"INSERT INTO batch ({rows.BATCH_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                rows.batch_to_row(batch),
            )
            batch_id = BatchId(cursor.lastrowid or 0)
            for event in batch.events:
                lookups.insert_event(connection, batch_id, event)
        return replace(batch, id=batch_id)

    def batch(self, batch_id: BatchId) -> Batch:
        """One batch with its events."""
        with self._read() as connection:
            return self._require_batch(connection, batch_id)

    def batches(self, running: bool | None = None) -> list[Batch]:
        """All batches, or only those running (True) or ended (False), by start."""
        with self._read() as connection:
            found = connection.execute(
                "SELECT * FROM batch WHERE ? IS NULL OR (ended_us IS NULL) = ? ORDER BY started_us, id",
                (running, running),
            ).fetchall()
            return [lookups.batch(connection, row) for row in found]

    def add_event(self, batch_id: BatchId, event: Event) -> Batch:
        """Keep what a baker did; the first ``end`` ends the batch. The same event twice is one. Returns the batch."""
        with self._write(is_of_batches=True) as connection:
            self._require_batch(connection, batch_id)
            lookups.insert_event(connection, batch_id, event)
            if event.kind is EventKind.END:
                connection.execute(
                    "UPDATE batch SET ended_us = min(coalesce(ended_us, :at), :at) WHERE id = :id",
                    {"at": to_us(event.at), "id": batch_id},
                )
            return self._require_batch(connection, batch_id)

    def _require_batch(self, connection: sqlite3.Connection, batch_id: BatchId) -> Batch:
        row = connection.execute("SELECT * FROM batch WHERE id = ?", (batch_id,)).fetchone()
        if row is None:
            raise StoreError(
                "{path}: has no batch {batch_id}; see the list of batches for the numbers there are",
                path=self.path,
                batch_id=batch_id,
            )
        return lookups.batch(connection, row)

    # -- calibrations ---------------------------------------------------------------------------------------------

    def add_calibration(self, calibration: Calibration) -> None:
        """Keep a calibration; it holds from now on for every batch of its node that has not ended before it."""
        with self._write(is_of_batches=True) as connection:
            connection.execute(
                f"INSERT INTO calibration ({rows.CALIBRATION_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)",
                rows.calibration_to_row(calibration),
            )

    def calibrations(self, node: NodeId | None = None) -> list[Calibration]:
        """Every calibration of one node or of all, newest first."""
        with self._read() as connection:
            found = connection.execute(
                f"SELECT {rows.CALIBRATION_COLUMNS} FROM calibration WHERE ?1 IS NULL OR node = ?1 "
                "ORDER BY at_us DESC, id DESC",
                (node,),
            )
            return [rows.calibration_from_row(row) for row in found]

    # -- lessons --------------------------------------------------------------------------------------------------

    def save_lesson(self, batch: Batch, lesson: Lesson | None) -> None:
        """Keep what a finished batch taught; None: it was looked at, and there was nothing to learn."""
        with self._write(is_of_batches=True) as connection:
            lessons.put(connection, batch.id, batch.recipe_key, lesson)

    def lessons(self, recipe: str | None = None) -> list[Lesson]:
        """The lessons of a recipe, by its key, or of all."""
        with self._read() as connection:
            return lessons.known(connection, recipe)

    def lessons_before(self, batch: Batch) -> tuple[Lesson, ...]:
        """The lessons of a batch's recipe that were over when it began.

        Later ones are left out, so that a restart in mid-batch changes nothing.
        """
        return tuple(lesson for lesson in self.lessons(batch.recipe_key) if lesson.ended_at <= batch.started_at)

    def unlearned(self) -> list[BatchId]:
        """Ended batches that nobody has learned from yet, the first to end first."""
        with self._read() as connection:
            return lessons.unlearned(connection)

    def forget_lessons(self, recipe: str | None = None) -> int:
        """Forget what the ended batches of a recipe, or all, taught; returns how many had taught something."""
        ended = [(each.id, each.recipe_key) for each in self.batches(running=False)]
        with self._write(is_of_batches=True) as connection:
            return lessons.forget(connection, [each for each in ended if recipe in (None, each[1])])

    # -- settings -------------------------------------------------------------------------------------------------

    def put_setting(self, key: str, value: str) -> None:
        """Keep a value that all processes on this file share."""
        with self._write() as connection:
            connection.execute(
                "INSERT INTO setting VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value", (key, value)
            )

    def setting(self, key: str) -> str | None:
        """The value of :meth:`put_setting`, or None."""
        with self._read() as connection:
            row = connection.execute("SELECT value FROM setting WHERE key = ?", (key,)).fetchone()
            return None if row is None else str(row["value"])

    # -- outlooks, alerts, outbox ---------------------------------------------------------------------------------

    def save_step(
        self,
        batch_id: BatchId,
        outlook: Outlook,
        alerts: Iterable[Alert],
        messages: Iterable[Message],
        changes: Iterable[Change] = (),
    ) -> None:
        """Keep what one step made of a batch, in one transaction: the outlook, its alerts, their history, the messages.

        A message whose ``id`` is there already is left as it is.

        Raises
        ------
        ValueError
            When the outlook holds NaN or infinity.
        """
        at_us, body, fan = rows.outlook_to_row(outlook)
        with self._write() as connection:
            connection.execute(
                "INSERT INTO outlook VALUES (?, ?, ?, ?) ON CONFLICT (batch_id, at_us) DO UPDATE "
                "SET body = excluded.body, fan = excluded.fan",
                (batch_id, at_us, body, fan),
            )
            alert_rows.put(connection, alerts, messages, changes, outlook.at)

    def save_alerts(
        self, alerts: Iterable[Alert], messages: Iterable[Message], changes: Iterable[Change], at: datetime
    ) -> None:
        """Keep what a look made of alerts about no batch, in one transaction with what must be said of them."""
        with self._write() as connection:
            alert_rows.put(connection, alerts, messages, changes, at)

    def outlooks(self, batch_id: BatchId, *, has_fan: bool = True) -> list[Outlook]:
        """Every outlook of a batch, ascending in time; without the fans it is several times quicker."""
        with self._read() as connection:
            found = connection.execute("SELECT * FROM outlook WHERE batch_id = ? ORDER BY at_us", (batch_id,))
            return [rows.outlook_from_row(row, has_fan=has_fan) for row in found]

    def latest_outlook(self, batch_id: BatchId) -> Outlook | None:
        """The newest outlook of a batch, or None."""
        with self._read() as connection:
            row = connection.execute(
                "SELECT * FROM outlook WHERE batch_id = ? ORDER BY at_us DESC LIMIT 1", (batch_id,)
            ).fetchone()
            return None if row is None else rows.outlook_from_row(row, has_fan=True)

    def alerts(self, batch_id: BatchId | None = None) -> list[Alert]:
        """The alerts of one batch or of all there are, in the order they began."""
        with self._read() as connection:
            return alert_rows.of_batch(connection, batch_id)

    def surrounding_alerts(self) -> list[Alert]:
        """The newest alert of each kind about each thing that is no batch."""
        with self._read() as connection:
            return alert_rows.of_surroundings(connection)

    def active_alerts(self) -> list[Alert]:
        """The alerts that are on, or over with nobody having acknowledged them."""
        with self._read() as connection:
            return alert_rows.active(connection)

    def ended_with_alerts(self) -> list[BatchId]:
        """Ended batches of which an alert still stands."""
        with self._read() as connection:
            return alert_rows.open_of_ended(connection)

    def acknowledge(self, number: int, at: datetime, person: str = "") -> Alert:
        """Keep that somebody knows of an alert, and its line of history; returns it as it stands now."""
        with self._write() as connection:
            return alert_rows.acknowledge(connection, self._require_alert(connection, number), at, person)

    def shelve(self, number: int, until: datetime | None, at: datetime, person: str = "") -> Alert:
        """Keep until when nobody wants to hear of an alert (None: take it off its shelf); returns it as it stands."""
        with self._write() as connection:
            alert = self._require_alert(connection, number)
            if not alert.is_firing:
                raise StoreError("alert {number} is over; nothing of it will be called", number=number)
            return alert_rows.shelve(connection, alert, until, at, person)

    def _require_alert(self, connection: sqlite3.Connection, number: int) -> Alert:
        alert = alert_rows.one(connection, number)
        if alert is None:
            raise StoreError(
                "{path}: has no alert {number}; `proofing-monitor alerts list` shows the numbers",
                path=self.path,
                number=number,
            )
        return alert

    def alert_history(self, batch_id: BatchId | None = None, since: datetime | None = None) -> list[Change]:
        """Every change of state of one batch's alerts or of all, the first first."""
        with self._read() as connection:
            return alert_rows.history(connection, batch_id, since)

    def messages(self, batch_id: BatchId | None = None) -> list[Message]:
        """The messages of one batch or of all, newest first, delivered or not."""
        with self._read() as connection:
            return alert_rows.messages(connection, batch_id)

    def open_messages(self) -> list[tuple[Message, Alert | None, list[Call]]]:
        """The messages that are not closed, oldest first, each with its alert as it stands and its calls so far."""
        with self._read() as connection:
            return alert_rows.open_messages(connection)

    def calls(self, message_id: str | None = None) -> list[Call]:
        """The calls of one message or of all, the first first."""
        with self._read() as connection:
            return alert_rows.calls(connection, message_id)

    def save_call(self, call: Call, new_tries: int = 0) -> None:
        """Keep a call as it stands; ``new_tries`` are added to its message's."""
        with self._write() as connection:
            alert_rows.put_call(connection, call, new_tries)

    def close_message(self, message_id: str, why: str) -> None:
        """Nothing more is to be sent of a message."""
        with self._write() as connection:
            alert_rows.close_message(connection, message_id, why)

    def call_counts(self, start: datetime | None = None, end: datetime | None = None) -> Sequence[CallCount]:
        """How often people were called between two moments, by batch."""
        with self._read() as connection:
            return alert_rows.call_counts(connection, start, end)
