"""What several methods of the store look up: the readings of a channel, a batch with all that belongs to it.

Each function works on a connection that is in a transaction already.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.dough.track import Series, Track, in_order, track_of
from monitor.recipe.batch import Batch, BatchId, Event
from monitor.store import rows
from monitor.store.rows import to_us
from monitor.wire.readings import Channel, Flag, NodeId, Reading

_OF_SENSOR = "sensor_id = (SELECT id FROM sensor WHERE node = ? AND channel = ?)"
"""Of one channel of a node; without the view ``reading``, so that an index alone answers."""


def span_us(batch: Batch) -> tuple[int, int]:
    """First and last moment of a batch; an unfinished one runs to the end of the calendar. [microseconds]"""
    return to_us(batch.started_at), to_us(batch.ended_at) if batch.ended_at is not None else 2**62


def readings(
    connection: sqlite3.Connection, node: NodeId, channel: Channel, start_us: int, end_us: int
) -> list[Reading]:
    """One channel of a node between two moments, both included, by time."""
    found = connection.execute(
        f"SELECT {rows.READING_COLUMNS} FROM reading "
        "WHERE node = ? AND channel = ? AND measured_us BETWEEN ? AND ? ORDER BY measured_us, id",
        (node, channel.value, start_us, end_us),
    )
    return [rows.reading_from_row(row) for row in found]


@dataclass(frozen=True, slots=True)
class Hearing:
    """Readings of one channel of a node as arrays (n,), by when they were measured.

    ``measured_s`` and ``arrived_s`` count from 1970 UTC.
    """

    boot: tuple[str, ...]
    measured_s: NDArray[np.float64]
    arrived_s: NDArray[np.float64]
    value: NDArray[np.float64]


def hearing(connection: sqlite3.Connection, node: NodeId, channel: Channel, start_us: int, end_us: int) -> Hearing:
    """One channel of a node between two moments, both included, flagged readings too."""
    cursor = connection.cursor()
    cursor.row_factory = None
    found = cursor.execute(
        "SELECT boot, measured_us, arrived_us, value FROM reading "
        "WHERE node = ? AND channel = ? AND measured_us BETWEEN ? AND ? ORDER BY measured_us",
        (node, channel.value, start_us, end_us),
    ).fetchall()
    numbers = np.array([row[1:] for row in found], dtype=np.float64).reshape(-1, 3)
    return Hearing(tuple(row[0] for row in found), numbers[:, 0] / 1e6, numbers[:, 1] / 1e6, numbers[:, 2])


def track(connection: sqlite3.Connection, batch: Batch, channels: Iterable[tuple[NodeId, Channel]]) -> Track:
    """The usable readings of some channels of a batch as arrays, set right by its calibrations.

    Straight from the rows: by way of a :class:`Reading` each it would take ten times as long.
    """
    offsets = {(each.node, each.channel): each.offset for each in batch.calibrations}
    start_us, end_us = span_us(batch)
    cursor = connection.cursor()
    cursor.row_factory = None  # plain tuples are quicker to make
    series: dict[Channel, Series] = {}
    for node, channel in channels:
        found = cursor.execute(
            f"SELECT measured_us, value, sd FROM sample "
            f"WHERE {_OF_SENSOR} AND measured_us BETWEEN ? AND ? AND flag = ? ORDER BY measured_us",
            (node, channel.value, start_us, end_us, Flag.OK.value),
        ).fetchall()
        table = np.array(found, dtype=np.float64).reshape(-1, 3)
        t_s = (table[:, 0] - start_us) / 1e6
        series[channel] = in_order(t_s, table[:, 1] + offsets.get((node, channel), 0.0), table[:, 2])
    return track_of(series)


def newest_and_lost(connection: sqlite3.Connection, node: NodeId) -> tuple[tuple[Reading, ...], int]:
    """The newest reading of each channel of a node, and how many packs it lost."""
    newest = []
    for channel in Channel:
        row = connection.execute(
            f"SELECT {rows.READING_COLUMNS} FROM reading WHERE node = ? AND channel = ? "
            "ORDER BY measured_us DESC LIMIT 1",
            (node, channel.value),
        ).fetchone()
        if row is not None:
            newest.append(rows.reading_from_row(row))
    lost = connection.execute(
        f"SELECT coalesce(sum(value), 0) FROM sample WHERE {_OF_SENSOR}", (node, Channel.LOST.value)
    ).fetchone()[0]
    return tuple(newest), int(lost)


def batch(connection: sqlite3.Connection, row: sqlite3.Row) -> Batch:
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
    return rows.batch_from_row(row, events(connection, BatchId(row["id"])), tuple(calibrations))


def events(connection: sqlite3.Connection, batch_id: BatchId) -> tuple[Event, ...]:
    """What was done to a batch, by time."""
    found = connection.execute("SELECT at_us, kind, note FROM event WHERE batch_id = ? ORDER BY at_us, id", (batch_id,))
    return tuple(rows.event_from_row(row) for row in found)


def insert_event(connection: sqlite3.Connection, batch_id: BatchId, event: Event) -> None:
    """Keep what was done to a batch; the same twice is once."""
    values: tuple[Any, ...] = (batch_id, to_us(event.at), event.kind.value, event.note)
    connection.execute(
        "INSERT INTO event (batch_id, at_us, kind, note) VALUES (?, ?, ?, ?) "
        "ON CONFLICT (batch_id, at_us, kind) DO NOTHING",
        values,
    )
