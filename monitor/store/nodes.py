"""What the store knows of nodes: when each was heard, what of theirs made no sense, how they were calibrated."""

import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from monitor.recipe.calibration import Calibration
from monitor.store import readings, rows
from monitor.store.rows import FaultCount, NodeRow, QuarantinedFrame, to_us
from monitor.store.sqlite_file import StorePart
from monitor.wire.readings import NodeId, Reading

KEPT_QUARANTINE = 10_000  # judgement: at most 10 MB of refused frames, so that one mad node cannot fill the disk
KEPT_FRAME_BYTES = 1024  # the longest frame there is; the rest of a longer one says nothing more


@dataclass(frozen=True, slots=True)
class Heard:
    """A node was heard of; ``is_online`` None leaves what was known of it."""

    node: str
    source: str
    at: datetime
    is_online: bool | None = None


@dataclass(frozen=True, slots=True)
class Reported:
    """A node has said how it is: the line as it came."""

    node: str
    source: str
    line: str
    at: datetime


@dataclass(slots=True)
class Arrivals:
    """What one turn of the collector brings.

    Readings, frames that made no sense, nodes that were heard of, bad input by (source, node, reason), and the newest
    name, unit or topic that it was about; what nodes said of themselves.
    """

    readings: list[Reading] = field(default_factory=list)
    refused: list[QuarantinedFrame] = field(default_factory=list)
    heard: list[Heard] = field(default_factory=list)
    faults: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    abouts: dict[tuple[str, str, str], str] = field(default_factory=dict)
    reports: list[Reported] = field(default_factory=list)

    @property
    def is_empty(self) -> bool:
        """True when there is nothing to keep."""
        return not (self.readings or self.refused or self.heard or self.faults or self.reports)


class Nodes(StorePart):
    """The tables ``node``, ``fault`` and ``quarantine``."""

    def quarantined(self) -> list[QuarantinedFrame]:
        """The frames in quarantine, newest first."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT node, source, reason, frame, at_us FROM quarantine ORDER BY id DESC")
            return [rows.quarantined_from_row(row) for row in found]

    def count_fault(self, source: str, node: str, reason: str, at: datetime, n: int = 1) -> None:
        """Count bad input: one line for each source, node and reason."""
        with self._file.writing() as connection:
            _put_faults(connection, Counter({(source, node, reason): n}), {}, at)

    def faults(self) -> list[FaultCount]:
        """All counters of bad input, the newest first."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT * FROM fault ORDER BY last_us DESC, source, node, reason")
            return [rows.fault_from_row(row) for row in found]

    def note(self, node: str, source: str, at: datetime, is_online: bool | None = None) -> None:
        """Remember that a node was heard of; ``is_online`` None leaves what was known of it."""
        with self._file.writing() as connection:
            _put_heard(connection, [Heard(node, source, at, is_online)])

    def all(self) -> list[NodeRow]:
        """All nodes ever heard of, by name, each with its newest readings and its count of lost packs."""
        with self._file.reading() as connection:
            return [
                rows.node_from_row(row, *readings.newest_and_lost(connection, NodeId(row["node"])))
                for row in connection.execute("SELECT * FROM node ORDER BY node").fetchall()
            ]


class Calibrations(StorePart):
    """The table ``calibration``."""

    def add(self, calibration: Calibration) -> None:
        """Keep a calibration; it holds from now on for every batch of its node that has not ended before it."""
        with self._file.writing(is_of_batches=True) as connection:
            connection.execute(
                f"INSERT INTO calibration ({rows.CALIBRATION_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)",
                rows.calibration_to_row(calibration),
            )

    def all(self, node: NodeId | None = None) -> list[Calibration]:
        """Every calibration of one node or of all, newest first."""
        with self._file.reading() as connection:
            found = connection.execute(
                f"SELECT {rows.CALIBRATION_COLUMNS} FROM calibration WHERE :node IS NULL OR node = :node "
                "ORDER BY at_us DESC, id DESC",
                {"node": node},
            )
            return [rows.calibration_from_row(row) for row in found]


def put(connection: sqlite3.Connection, arrived: Arrivals, at: datetime) -> None:
    """Within a transaction: keep all that arrived but the readings; of refused frames the newest of all."""
    for frame in arrived.refused:
        cursor = connection.execute(
            "INSERT INTO quarantine (node, source, reason, frame, at_us) VALUES (?, ?, ?, ?, ?)",
            (frame.node, frame.source, frame.reason, frame.frame[:KEPT_FRAME_BYTES], to_us(frame.at)),
        )
        connection.execute("DELETE FROM quarantine WHERE id <= ?", ((cursor.lastrowid or 0) - KEPT_QUARANTINE,))
    _put_heard(connection, arrived.heard)
    for said in arrived.reports:
        # A report alone does not make a node one that is heard: what it measures does.
        connection.execute(
            "INSERT INTO node (node, source, first_seen_us, last_seen_us, report, report_us) "
            "VALUES (:node, :source, :at, :at, :line, :at) "
            "ON CONFLICT (node) DO UPDATE SET report = :line, report_us = :at",
            {"node": said.node, "source": said.source, "at": to_us(said.at), "line": said.line},
        )
    _put_faults(connection, arrived.faults, arrived.abouts, at)


def _put_heard(connection: sqlite3.Connection, heard: Iterable[Heard]) -> None:
    """Remember of each node when it was heard last, over what, and what its broker says of it."""
    connection.executemany(
        "INSERT INTO node (node, source, first_seen_us, last_seen_us, is_online) "
        "VALUES (:node, :source, :at, :at, :online) ON CONFLICT (node) DO UPDATE SET "
        "source = :source, last_seen_us = max(last_seen_us, :at), is_online = coalesce(:online, is_online)",
        [{"node": each.node, "source": each.source, "at": to_us(each.at), "online": each.is_online} for each in heard],
    )


def _put_faults(
    connection: sqlite3.Connection,
    faults: Counter[tuple[str, str, str]],
    abouts: Mapping[tuple[str, str, str], str],
    at: datetime,
) -> None:
    """Add to the counters of bad input: one line for each source, node and reason."""
    connection.executemany(
        "INSERT INTO fault (source, node, reason, count, first_us, last_us, about) "
        "VALUES (:source, :node, :reason, :n, :at, :at, :about) "
        "ON CONFLICT (source, node, reason) DO UPDATE SET "
        "count = count + :n, last_us = max(last_us, :at), about = :about",
        [
            {
                "source": source,
                "node": node,
                "reason": reason,
                "n": n,
                "at": to_us(at),
                "about": abouts.get((source, node, reason), ""),
            }
            for (source, node, reason), n in faults.items()
        ],
    )
