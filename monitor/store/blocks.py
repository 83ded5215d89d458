"""Settled readings of ended batches in compressed blocks: not a bit is lost, and they take a fortieth of the room.

A block holds up to :data:`MOST_ROWS` rows of one node, all its channels, by when they were measured: the numbers in
columns, as differences, deflated. Whatever reads readings finds those in blocks too. A step packs one block in one
transaction that also deletes its rows: a reading lies in ``sample`` or in a block, never in both. Levels read by eye,
markers of lost packs, the newest of each sensor, and what a central store has not been sent stay rows.
"""

import json
import sqlite3
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.recipe.batch import BatchId
from monitor.store import rollups
from monitor.store.rollups import LINE_FOR
from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import StorePart
from monitor.wire.readings import Channel, NodeId

MOST_ROWS = 1000  # judgement: they lie far apart in the file, and one writer's time is short
_MOST_DIGITS = 6  # behind the point; no sensor says more
_EXACT_UP_TO = 2.0**53  # whole numbers that a float holds
_COLUMNS = "sample.id, sensor_id, boot_id, seq, sample.value, sd, measured_us, arrived_us, flag"
# What of one batch and one sensor may be packed.
_SETTLED = f"""
ended_us < :until_us - :margin_us AND channel NOT IN (SELECT value FROM json_each(:kept))
AND sample.sensor_id = sensor.id AND measured_us >= {rollups.WHOLE_FROM_US} AND measured_us < {rollups.WHOLE_UNTIL_US}
AND measured_us < (SELECT max(measured_us) FROM sample AS newer WHERE newer.sensor_id = sensor.id)
AND arrived_us < :until_us AND sample.id < (SELECT max(id) FROM sample) AND sample.id <= :sent
AND sample.id NOT IN (SELECT row FROM parked WHERE tbl = 'reading')
"""
_DUE = f"""
SELECT DISTINCT batch.id AS batch_id, sensor.node AS node
FROM batch, json_each(batch.nodes) AS mapped JOIN sensor ON sensor.node = json_extract(mapped.value, '$[1]')
WHERE EXISTS (SELECT 1 FROM sample WHERE {_SETTLED}) ORDER BY ended_us, batch.id, node
"""
_NEXT = f"""
SELECT {_COLUMNS} FROM batch CROSS JOIN sensor CROSS JOIN sample
WHERE batch.id = :batch_id AND sensor.node = :node AND {_SETTLED} ORDER BY measured_us, sample.id LIMIT {MOST_ROWS}
"""
_PUT_BACK = "INSERT OR REPLACE INTO sample VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"


class Sample(NamedTuple):
    """A row of the table ``sample``."""

    id: int
    sensor_id: int
    boot_id: int
    seq: int
    value: float | None
    sd: float | None
    measured_us: int
    arrived_us: int
    flag: str


@dataclass(frozen=True, slots=True)
class Packing:
    """A line of the history: so many readings were packed, or put back (``is_back``)."""

    at: datetime
    readings: int
    is_by_hand: bool
    is_back: bool


def pack(samples: Sequence[Sample]) -> bytes:
    """At least one row as a block; :func:`unpack` gives the same rows, every bit of them."""
    columns = list(zip(*samples, strict=True))
    flags = sorted(set(columns[8]))
    sensor_id = np.array(columns[1], np.int64)
    whole = [np.array(columns[place], np.int64) for place in (0, 1, 2, 3, 6)]
    whole.append(np.array(columns[7], np.int64) - whole[-1])  # wraps around, and back again
    whole.append(np.array([flags.index(flag) for flag in columns[8]], np.int64))
    digits = []
    for column in columns[4:6]:
        is_null = np.array([value is None for value in column])
        value = np.array([0.0 if value is None else value for value in column], np.float64)
        scaled = np.empty(len(samples), np.int64)
        for sensor in np.unique(sensor_id):
            its_digits, scaled[sensor_id == sensor] = _as_whole(value[sensor_id == sensor])
            digits.append(its_digits)
        # by sensor, since neighbours of one are alike
        whole += [is_null.astype(np.int64), scaled[np.argsort(sensor_id, kind="stable")]]
    head = json.dumps({"n": len(samples), "flags": flags, "digits": digits}).encode() + b"\n"
    return zlib.compress(head + b"".join(map(_planes, whole)), level=9)


@lru_cache(maxsize=32)  # the blocks of one batch are asked for channel by channel
def unpack(block: bytes) -> tuple[Sample, ...]:
    """The rows of a block. Raises ``ValueError`` when it is not as it was packed."""
    try:
        head, _, body = zlib.decompress(block).partition(b"\n")
    except zlib.error as error:
        raise ValueError(f"a block of readings is damaged ({error})") from error
    said = json.loads(head)
    n, flags, digits = said["n"], said["flags"], iter(said["digits"])
    planes = np.frombuffer(body, np.uint8).reshape(-1, 8, n)
    number, sensor_id, boot_id, seq, measured_us, late_us, flag, *floats = map(_from_planes, planes)
    order = np.argsort(sensor_id, kind="stable")
    columns = []
    for is_null, by_sensor in (floats[:2], floats[2:]):
        scaled, value = np.empty(n, np.int64), np.empty(n, np.float64)
        scaled[order] = by_sensor
        for sensor in np.unique(sensor_id):
            value[sensor_id == sensor] = _as_float(next(digits), scaled[sensor_id == sensor])
        columns.append([None if null else each for null, each in zip(is_null.tolist(), value.tolist(), strict=True)])
    whole = [each.tolist() for each in (number, sensor_id, boot_id, seq)]
    moments = [measured_us.tolist(), (measured_us + late_us).tolist()]
    return tuple(
        map(Sample._make, zip(*whole, *columns, *moments, [flags[place] for place in flag.tolist()], strict=True))
    )


def _as_whole(value: NDArray[np.float64]) -> tuple[int, NDArray[np.int64]]:
    """Floats as whole numbers and their digits behind the point; -1 there, and their bits, where that is not exact."""
    for digits in range(_MOST_DIGITS + 1):
        with np.errstate(over="ignore", invalid="ignore"):
            scaled = np.rint(value * 10.0**digits)
            if not bool(np.all(np.abs(scaled) < _EXACT_UP_TO)):
                break
        whole = scaled.astype(np.int64)
        if bool(np.all(_as_float(digits, whole).view(np.int64) == value.view(np.int64))):
            return digits, whole
    return -1, value.view(np.int64)


def _as_float(digits: int, whole: NDArray[np.int64]) -> NDArray[np.float64]:
    return whole.view(np.float64) if digits < 0 else whole / 10.0**digits


def _planes(column: NDArray[np.int64]) -> bytes:
    """Differences of a column, small ones with small codes whatever their sign; all first bytes, then all second..."""
    step = np.diff(column, prepend=np.int64(0))
    return ((step << 1) ^ (step >> 63)).astype("<i8").view(np.uint8).reshape(-1, 8).T.tobytes()


def _from_planes(planes: NDArray[np.uint8]) -> NDArray[np.int64]:
    code = np.ascontiguousarray(planes.T).reshape(-1).view("<u8")
    return np.cumsum((code >> np.uint64(1)).astype(np.int64) ^ -(code & np.uint64(1)).astype(np.int64), dtype=np.int64)


class Blocks(StorePart):
    """The tables ``block`` and ``packing``."""

    def packing(
        self, now: datetime, until: datetime, *, target: str | None = None, is_by_hand: bool = False
    ) -> Iterator[int]:
        """Pack what has settled of batches that ended before a moment, a block a step; how many readings, after each.

        Parameters
        ----------
        target
            The central store that must have been sent what is packed; None: there is none.
        """
        for batch_id, node in self._due(until, target):
            while n := self._pack_next(batch_id, node, now, until, target, is_by_hand=is_by_hand):
                yield n

    def due(self, until: datetime, *, target: str | None = None) -> int:
        """Of how many batches something would be packed."""
        return len({batch_id for batch_id, _ in self._due(until, target)})

    def _due(self, until: datetime, target: str | None) -> list[tuple[BatchId, NodeId]]:
        with self._file.reading() as connection:
            found = connection.execute(_DUE, _asked(connection, until, target))
            return [(BatchId(row["batch_id"]), NodeId(row["node"])) for row in found]

    def _pack_next(
        self, batch_id: BatchId, node: NodeId, now: datetime, until: datetime, target: str | None, *, is_by_hand: bool
    ) -> int:
        with self._file.writing() as connection:
            asked = _asked(connection, until, target) | {"batch_id": batch_id, "node": node}
            samples = [Sample(*row) for row in connection.execute(_NEXT, asked)]
            if not samples:
                return 0
            body = pack(samples)
            if unpack(body) != tuple(samples):
                raise ValueError("readings do not come out of their block as they went in")
            numbers = [sample.id for sample in samples]
            connection.execute(
                "INSERT INTO block (node, first_us, last_us, first_id, last_id, n, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (node, samples[0].measured_us, samples[-1].measured_us, min(numbers), max(numbers), len(numbers), body),
            )
            connection.execute(
                "DELETE FROM sample WHERE id IN (SELECT value FROM json_each(?))", (json.dumps(numbers),)
            )
            _note(connection, now, len(numbers), is_by_hand=is_by_hand, is_back=False)
            return len(numbers)

    def unpacking(self, now: datetime) -> Iterator[int]:
        """Put all readings back as rows, as they were, a block a step; how many, after each."""
        while n := self._unpack_next(now):
            yield n

    def _unpack_next(self, now: datetime) -> int:
        with self._file.writing() as connection:
            block = connection.execute("SELECT id, body FROM block ORDER BY id DESC LIMIT 1").fetchone()
            if block is None:
                return 0
            samples = unpack(block["body"])
            connection.executemany(_PUT_BACK, samples)
            connection.execute("DELETE FROM block WHERE id = ?", (block["id"],))
            _note(connection, now, len(samples), is_by_hand=True, is_back=True)
            return len(samples)

    def held(self) -> int:
        """How many readings lie in blocks."""
        with self._file.reading() as connection:
            return count(connection)

    def history(self) -> list[Packing]:
        """Every packing and putting back, a day's steps together, newest first."""
        with self._file.reading() as connection:
            return [
                Packing(from_us(row["at_us"]), row["readings"], bool(row["is_by_hand"]), bool(row["is_back"]))
                for row in connection.execute("SELECT * FROM packing ORDER BY id DESC")
            ]


def _asked(connection: sqlite3.Connection, until: datetime, target: str | None) -> dict[str, int | str]:
    """What to ask for; at most what a centre was sent."""
    return {
        "until_us": to_us(until),
        "margin_us": rollups.MARGIN // timedelta(microseconds=1),
        "kept": rollups.KEPT,
        "sent": rollups.sent_up_to(connection, target),
    }


def _note(connection: sqlite3.Connection, now: datetime, n: int, *, is_by_hand: bool, is_back: bool) -> None:
    line = connection.execute("SELECT * FROM packing ORDER BY id DESC LIMIT 1").fetchone()
    if (
        line is not None
        and timedelta() <= now - from_us(line["at_us"]) < LINE_FOR
        and (bool(line["is_by_hand"]), bool(line["is_back"])) == (is_by_hand, is_back)
    ):
        connection.execute("UPDATE packing SET readings = readings + ? WHERE id = ?", (n, line["id"]))
    else:
        connection.execute(
            "INSERT INTO packing (at_us, readings, is_by_hand, is_back) VALUES (?, ?, ?, ?)",
            (to_us(now), n, is_by_hand, is_back),
        )


# Within a transaction of another part:


def between(connection: sqlite3.Connection, node: NodeId, channel: Channel, start_us: int, end_us: int) -> list[Sample]:
    """What lies in blocks of one channel of a node, measured between two moments, both included; block by block."""
    sensors = connection.execute("SELECT id FROM sensor WHERE node = ? AND channel = ?", (node, channel.value))
    return [
        sample
        for (sensor_id,) in sensors.fetchall()
        for sample in _of_node(connection, node, start_us, end_us)
        if sample.sensor_id == sensor_id and start_us <= sample.measured_us <= end_us
    ]


def _of_node(connection: sqlite3.Connection, node: NodeId, start_us: int, end_us: int) -> Iterator[Sample]:
    """Every row of the blocks of a node that reach into a stretch of time."""
    for block in connection.execute(
        "SELECT body FROM block WHERE node = ? AND last_us >= ? AND first_us <= ?", (node, start_us, end_us)
    ):
        yield from unpack(block["body"])


def after(connection: sqlite3.Connection, number: int, most: int) -> list[Sample]:
    """The first so many that lie in blocks beyond a number, by their numbers."""
    found: list[Sample] = []
    for block in connection.execute("SELECT first_id, body FROM block WHERE last_id > ? ORDER BY first_id", (number,)):
        if len(found) == most and block["first_id"] > found[-1].id:
            break
        found = sorted([*found, *(each for each in unpack(block["body"]) if each.id > number)])[:most]
    return found


def known(connection: sqlite3.Connection, node: NodeId, first_us: int, last_us: int) -> set[tuple[int, int, int]]:
    """Sensor, boot and sequence of what lies in blocks of a node, measured about then."""
    return {(each.sensor_id, each.boot_id, each.seq) for each in _of_node(connection, node, first_us, last_us)}


def newest_us(connection: sqlite3.Connection) -> int | None:
    """When the newest reading in a block was measured; None without blocks."""
    newest: int | None = connection.execute("SELECT max(last_us) FROM block").fetchone()[0]
    return newest


def count(connection: sqlite3.Connection) -> int:
    """How many readings lie in blocks."""
    return int(connection.execute("SELECT coalesce(sum(n), 0) FROM block").fetchone()[0])
