"""The store's readings: in as rows of numbers, out as readings or as arrays.

Where old ones were downsampled (:mod:`monitor.store.rollups`), the means of the five-minute values come out in their
place; those that lie in blocks (:mod:`monitor.store.blocks`) come out as they went in.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from math import fsum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.dough.track import Series, Track, in_order, track_of
from monitor.recipe.batch import Batch, BatchId
from monitor.recipe.calibration import set_right
from monitor.recipe.vessel import require_inside
from monitor.store import batches, blocks, rows
from monitor.store.batches import eye_node
from monitor.store.rollups import FIVE_MINUTES_US
from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import SqliteFile, StorePart
from monitor.wire.readings import Channel, Flag, NodeId, Reading

EYE_SOURCE = "eye"
_OF_SENSOR = "sensor_id = (SELECT id FROM sensor WHERE node = ? AND channel = ?)"
"""Of one channel of a node; without the view ``reading``, so that an index alone answers."""

# Of five minutes and one way in which they are kept: when, how many, least, mean and greatest.
_FIVE_MINUTES_OF = f"""
SELECT middle_us, n, least, mean, greatest FROM rollup WHERE {_OF_SENSOR} AND flag = 'ok' AND n > 0
    AND least IS NOT NULL AND middle_us BETWEEN ? AND ?
UNION ALL
SELECT measured_us / {FIVE_MINUTES_US} * {FIVE_MINUTES_US} + {FIVE_MINUTES_US} / 2, count(*), min(value), avg(value),
    max(value) FROM sample WHERE {_OF_SENSOR} AND flag = 'ok' AND value IS NOT NULL AND measured_us BETWEEN ? AND ?
    GROUP BY 1
"""


@dataclass(frozen=True, slots=True)
class FiveMinuteValue:
    """What one sensor said in five minutes, and how many sound readings that were."""

    middle_at: datetime
    n: int
    least: float
    mean: float
    greatest: float


@dataclass(frozen=True, slots=True)
class Hearing:
    """Readings of one channel of a node as arrays (n,), by when they were measured.

    ``measured_s`` and ``arrived_s`` count from 1970 UTC.
    """

    boot: tuple[str, ...]
    measured_s: NDArray[np.float64]
    arrived_s: NDArray[np.float64]
    value: NDArray[np.float64]


class Readings(StorePart):
    """The tables ``sample``, ``sensor`` and ``boot``, and the view ``reading`` over them."""

    def __init__(self, file: SqliteFile) -> None:
        super().__init__(file)
        self._samples = Samples()

    def add(self, readings: Iterable[Reading]) -> int:
        """Keep readings, in one transaction; returns how many were new. A known one is left as it is."""
        with self._file.writing() as connection:
            return self.put(connection, readings)

    def put(self, connection: sqlite3.Connection, found: Iterable[Reading]) -> int:
        """Within a transaction, once in each: :meth:`add`."""
        return self._samples.put(connection, map(rows.reading_to_row, found))

    def of(self, batch: Batch) -> list[Reading]:
        """All readings of a batch's channels, from its start to its end, flagged ones too, ascending in time.

        They are set right by the batch's calibrations, here and in :meth:`track`; the file keeps them raw.
        """
        with self._file.reading() as connection:
            found = [
                set_right(rows.reading_from_row(row), batch.calibrations)
                for node, channel in _channels_of(batch)
                for row in between(connection, node, channel, *span_us(batch))
            ]
            return sorted(found, key=lambda reading: reading.measured_at)

    def track(self, batch: Batch) -> Track:
        """The usable readings of a batch as the estimator takes them.

        Equal to :func:`~monitor.dough.track.track_from_readings` of :meth:`of`, and several times quicker:
        straight from the rows, since by way of a :class:`Reading` each it would take ten times as long.
        """
        offsets = {(each.node, each.channel): each.offset for each in batch.calibrations}
        start_us, end_us = span_us(batch)
        with self._file.reading() as connection:
            cursor = connection.cursor()
            cursor.row_factory = None  # plain tuples are quicker to make
            series: dict[Channel, Series] = {}
            for node, channel in _channels_of(batch):
                found = cursor.execute(
                    f"SELECT measured_us, value, sd FROM sample "
                    f"WHERE {_OF_SENSOR} AND measured_us BETWEEN ? AND ? AND flag = ? ORDER BY measured_us",
                    (node, channel.value, start_us, end_us, Flag.OK.value),
                ).fetchall()
                found += cursor.execute(
                    f"SELECT middle_us, mean, NULL FROM rollup "
                    f"WHERE {_OF_SENSOR} AND middle_us BETWEEN ? AND ? AND flag = ?",
                    (node, channel.value, start_us, end_us, Flag.OK.value),
                ).fetchall()
                found += [
                    (sample.measured_us, sample.value, sample.sd)
                    for sample in blocks.between(connection, node, channel, start_us, end_us)
                    if sample.flag == Flag.OK
                ]
                table = np.array(found, dtype=np.float64).reshape(-1, 3)
                t_s = (table[:, 0] - start_us) / 1e6
                series[channel] = in_order(t_s, table[:, 1] + offsets.get((node, channel), 0.0), table[:, 2])
            return track_of(series)

    def new_levels(self, after_rowid: int | None) -> tuple[set[NodeId], int]:
        """The :func:`eye_node` of each batch with a level stored after a row, and the row to go on from.

        Give None to be told that row alone.
        """
        with self._file.reading() as connection:
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

    def arrived_since(self, moment: datetime) -> int:
        """How many readings have come since a moment, by halving their numbers: a few look-ups, however many."""
        with self._file.reading() as connection:
            low, high = connection.execute("SELECT coalesce(min(id), 1), coalesce(max(id), 0) FROM sample").fetchone()
            newest = high
            while low <= high:
                middle = (low + high) // 2
                row = connection.execute(
                    "SELECT arrived_us FROM sample NOT INDEXED WHERE id >= ? ORDER BY id LIMIT 1", (middle,)
                ).fetchone()
                low, high = (low, middle - 1) if row["arrived_us"] >= to_us(moment) else (middle + 1, high)
            return int(newest - low + 1)

    def between(self, node: NodeId, channel: Channel, start: datetime, end: datetime) -> list[Reading]:
        """One channel of one node as measured, from ``start`` to ``end`` inclusive, flagged ones too, by time."""
        with self._file.reading() as connection:
            return [rows.reading_from_row(row) for row in between(connection, node, channel, to_us(start), to_us(end))]

    def five_minutes(self, node: NodeId, channel: Channel, start: datetime, end: datetime) -> list[FiveMinuteValue]:
        """The five-minute values of one sensor by time, however its readings are kept."""
        of_sensor = (node, channel.value, to_us(start), to_us(end))
        with self._file.reading() as connection:
            found = defaultdict(list)
            for middle_us, *piece in connection.execute(_FIVE_MINUTES_OF, of_sensor * 2):
                found[middle_us].append(piece)
            packed = [
                (sample.measured_us // FIVE_MINUTES_US * FIVE_MINUTES_US + FIVE_MINUTES_US // 2, sample.value)
                for sample in blocks.between(connection, node, channel, *of_sensor[2:])
                if sample.flag == Flag.OK and sample.value is not None
            ]
            for middle_us, group in groupby(sorted(packed), key=lambda each: each[0]):
                values = [value for _, value in group]
                found[middle_us].append([len(values), min(values), fsum(values) / len(values), max(values)])
        return [_joined(from_us(middle_us), pieces) for middle_us, pieces in sorted(found.items())]

    def hearing(self, node: NodeId, channel: Channel, start: datetime, end: datetime) -> Hearing:
        """When one channel of one node was measured and when that arrived, from ``start`` to ``end`` inclusive."""
        with self._file.reading() as connection:
            found = between(connection, node, channel, to_us(start), to_us(end))
            numbers = np.array(
                [(row["measured_us"], row["arrived_us"], row["value"]) for row in found], dtype=np.float64
            ).reshape(-1, 3)
            return Hearing(tuple(row["boot"] for row in found), numbers[:, 0] / 1e6, numbers[:, 1] / 1e6, numbers[:, 2])

    def add_level(self, batch_id: BatchId, at: datetime, level_mm: float, sd_mm: float) -> Reading:
        """Keep a level that somebody read by eye on the tub, with its doubt; returns it as the reading it is.

        Raises
        ------
        UnfitError
            When the batch's vessel is not so deep.
        """
        node = eye_node(batch_id)
        with self._file.writing(is_of_batches=True) as connection:
            require_inside(batches.require(connection, self._file.path, batch_id).vessel, level_mm)
            last = connection.execute("SELECT coalesce(max(seq), 0) FROM reading WHERE node = ?", (node,)).fetchone()[0]
            reading = Reading(node, EYE_SOURCE, last + 1, Channel.LEVEL, level_mm, at, at, sd=sd_mm)
            self.put(connection, [reading])
        return reading

    def take_back_level(self, level: Reading) -> None:
        """Leave a level that was read by eye out of every estimate; its row stays, and says so."""
        with self._file.writing(is_of_batches=True) as connection:
            connection.execute(
                "UPDATE sample SET flag = ? WHERE id = (SELECT id FROM reading WHERE node = ? AND channel = ? "
                "AND boot = ? AND seq = ?)",
                (Flag.TAKEN_BACK.value, level.node, level.channel.value, level.boot, level.seq),
            )


class Samples:
    """Puts readings into one file, and remembers the numbers of names that it has found there."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str, str], int] = {}

    def put(self, connection: sqlite3.Connection, found: Iterable[tuple[Any, ...]]) -> int:
        """Keep rows of :data:`~monitor.store.rows.READING_COLUMNS`, a known one as it is; returns how many were new.

        To be called in a transaction, once in each.
        """
        new = list(found)
        sensors = self._numbers(connection, "sensor", "channel", {(row[0], row[3]) for row in new})
        boots = self._numbers(connection, "boot", "boot", {(row[0], row[1]) for row in new})
        known = self._packed(connection, new)
        before = connection.total_changes
        numbered = ((sensors[row[0], row[3]], boots[row[0], row[1]], row[2], *row[4:]) for row in new)
        connection.executemany(
            "INSERT INTO sample (sensor_id, boot_id, seq, value, sd, measured_us, arrived_us, flag) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (sensor_id, boot_id, seq) DO NOTHING",
            [row for row in numbered if row[:3] not in known],
        )
        return connection.total_changes - before

    def _packed(self, connection: sqlite3.Connection, new: Iterable[tuple[Any, ...]]) -> set[tuple[int, int, int]]:
        """Of rows that may lie in blocks already, by when they were measured: the identities of those that do."""
        until_us = blocks.newest_us(connection)
        times: dict[NodeId, list[int]] = defaultdict(list)
        for row in new if until_us is not None else ():
            if row[6] <= until_us:
                times[row[0]].append(row[6])
        return {
            each for node, found in times.items() for each in blocks.known(connection, node, min(found), max(found))
        }

    def _numbers(
        self, connection: sqlite3.Connection, table: str, column: str, names: Iterable[tuple[str, str]]
    ) -> dict[tuple[str, str], int]:
        """The number of each pair of names; those that have none yet are given one."""
        numbers = {}
        for pair in names:
            number = self._known.get((table, *pair))
            if number is None:
                row = connection.execute(f"SELECT id FROM {table} WHERE node = ? AND {column} = ?", pair).fetchone()
                if row is None:  # not remembered yet: the transaction may be undone
                    number = connection.execute(f"INSERT INTO {table} (node, {column}) VALUES (?, ?)", pair).lastrowid
                else:
                    number = self._known[(table, *pair)] = row[0]
            numbers[pair] = number or 0  # never None after an insert
        return numbers


def _channels_of(batch: Batch) -> list[tuple[NodeId, Channel]]:
    mapped = [(node, channel) for channel, node in batch.nodes]
    return [*mapped, (eye_node(batch.id), Channel.LEVEL)]


def span_us(batch: Batch) -> tuple[int, int]:
    """First and last moment of a batch; an unfinished one runs to the end of the calendar. [microseconds]"""
    return to_us(batch.started_at), to_us(batch.ended_at) if batch.ended_at is not None else 2**62


def _joined(middle_at: datetime, pieces: list[list[Any]]) -> FiveMinuteValue:
    n, least, mean, greatest = zip(*pieces, strict=True)
    total = sum(n)
    return FiveMinuteValue(
        middle_at, total, min(least), fsum(map(float.__mul__, mean, map(float, n))) / total, max(greatest)
    )


# Within a transaction of this part or another:


def between(
    connection: sqlite3.Connection, node: NodeId, channel: Channel, start_us: int, end_us: int
) -> list[rows.Row]:
    """One channel of a node between two moments, both included, by time: rows of ``READING_COLUMNS``.

    However they are kept: as they came, as five-minute values, or in blocks.
    """
    found: list[rows.Row] = connection.execute(
        f"SELECT {rows.READING_COLUMNS}, id FROM series "
        "WHERE node = ? AND channel = ? AND measured_us BETWEEN ? AND ? ORDER BY measured_us, id",
        (node, channel.value, start_us, end_us),
    ).fetchall()
    packed = blocks.between(connection, node, channel, start_us, end_us)
    if not packed:
        return found
    boots = dict(tuple(row) for row in connection.execute("SELECT id, boot FROM boot WHERE node = ?", (node,)))
    found += [
        {**sample._asdict(), "node": node, "channel": channel.value, "boot": boots[sample.boot_id]} for sample in packed
    ]
    return sorted(found, key=lambda row: (row["measured_us"], row["id"] or 0))


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
