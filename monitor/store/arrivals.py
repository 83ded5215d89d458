"""What one turn of the collector brings into the store: all of it in one transaction, or nothing.

Each function works on a connection that is in a transaction already.
"""

import sqlite3
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from monitor.store import rows
from monitor.store.rows import QuarantinedFrame, to_us
from monitor.store.samples import Samples
from monitor.wire.readings import Reading

KEPT_QUARANTINE = 10_000  # judgement: at most 10 MB of refused frames, so that one mad node cannot fill the disk
KEPT_FRAME_BYTES = 1024  # the longest frame there is; the rest of a longer one says nothing more


@dataclass(frozen=True, slots=True)
class Heard:
    """A node was heard of; ``is_online`` None leaves what was known of it."""

    node: str
    source: str
    at: datetime
    is_online: bool | None = None


@dataclass(slots=True)
class Arrivals:
    """Readings, frames that made no sense, nodes that were heard of, and bad input by (source, node, reason)."""

    readings: list[Reading] = field(default_factory=list)
    refused: list[QuarantinedFrame] = field(default_factory=list)
    heard: list[Heard] = field(default_factory=list)
    faults: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    @property
    def is_empty(self) -> bool:
        """True when there is nothing to keep."""
        return not (self.readings or self.refused or self.heard or self.faults)


def put(connection: sqlite3.Connection, samples: Samples, arrivals: Arrivals, at: datetime) -> int:
    """Keep all of it; returns how many of the readings were new."""
    new = samples.put(connection, map(rows.reading_to_row, arrivals.readings))
    put_refused(connection, arrivals.refused)
    put_heard(connection, arrivals.heard)
    put_faults(connection, arrivals.faults, at)
    return new


def put_refused(connection: sqlite3.Connection, frames: Iterable[QuarantinedFrame]) -> None:
    """Keep frames that made no sense, the newest ``KEPT_QUARANTINE`` of all."""
    for frame in frames:
        cursor = connection.execute(
            "INSERT INTO quarantine (node, source, reason, frame, at_us) VALUES (?, ?, ?, ?, ?)",
            (frame.node, frame.source, frame.reason, frame.frame[:KEPT_FRAME_BYTES], to_us(frame.at)),
        )
        connection.execute("DELETE FROM quarantine WHERE id <= ?", ((cursor.lastrowid or 0) - KEPT_QUARANTINE,))


def put_heard(connection: sqlite3.Connection, heard: Iterable[Heard]) -> None:
    """Remember of each node when it was heard last, over what, and what its broker says of it."""
    connection.executemany(
        "INSERT INTO node VALUES (:node, :source, :at, :at, :online) ON CONFLICT (node) DO UPDATE SET "
        "source = :source, last_seen_us = max(last_seen_us, :at), is_online = coalesce(:online, is_online)",
        [{"node": each.node, "source": each.source, "at": to_us(each.at), "online": each.is_online} for each in heard],
    )


def put_faults(connection: sqlite3.Connection, faults: Counter[tuple[str, str, str]], at: datetime) -> None:
    """Add to the counters of bad input: one line for each source, node and reason."""
    connection.executemany(
        "INSERT INTO fault VALUES (:source, :node, :reason, :n, :at, :at) "
        "ON CONFLICT (source, node, reason) DO UPDATE SET count = count + :n, last_us = max(last_us, :at)",
        [
            {"source": source, "node": node, "reason": reason, "n": n, "at": to_us(at)}
            for (source, node, reason), n in faults.items()
        ],
    )
