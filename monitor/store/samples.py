"""Readings on their way into the file: their names become numbers there. They are read through the view ``reading``."""

import sqlite3
from collections.abc import Iterable
from typing import Any


class Samples:
    """Puts readings into one file, and remembers the numbers of names that it has found there."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str, str], int] = {}

    def put(self, connection: sqlite3.Connection, found: Iterable[tuple[Any, ...]]) -> int:
        """Keep rows of :data:`~monitor.store.rows.READING_COLUMNS`, a known one as it is; returns how many were new.

        To be called in a transaction, once in each.
        """
        rows = list(found)
        sensors = self._numbers(connection, "sensor", "channel", {(row[0], row[3]) for row in rows})
        boots = self._numbers(connection, "boot", "boot", {(row[0], row[1]) for row in rows})
        before = connection.total_changes
        connection.executemany(
            "INSERT INTO sample (sensor_id, boot_id, seq, value, sd, measured_us, arrived_us, flag) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (sensor_id, boot_id, seq) DO NOTHING",
            [(sensors[row[0], row[3]], boots[row[0], row[1]], row[2], *row[4:]) for row in rows],
        )
        return connection.total_changes - before

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
