"""The store's outlooks: what every step of the collector estimated of a batch."""

import sqlite3

from monitor.dough.outlook import Outlook
from monitor.recipe.batch import BatchId
from monitor.store import rows
from monitor.store.sqlite_file import StorePart


class Outlooks(StorePart):
    """The table ``outlook``."""

    def of(self, batch_id: BatchId, *, has_fan: bool = True) -> list[Outlook]:
        """Every outlook of a batch, ascending in time; without the fans it is several times quicker."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT * FROM outlook WHERE batch_id = ? ORDER BY at_us", (batch_id,))
            return [rows.outlook_from_row(row, has_fan=has_fan) for row in found]

    def latest(self, batch_id: BatchId) -> Outlook | None:
        """The newest outlook of a batch, or None."""
        with self._file.reading() as connection:
            row = connection.execute(
                "SELECT * FROM outlook WHERE batch_id = ? ORDER BY at_us DESC LIMIT 1", (batch_id,)
            ).fetchone()
            return None if row is None else rows.outlook_from_row(row, has_fan=True)


def put(connection: sqlite3.Connection, batch_id: BatchId, outlook: Outlook) -> None:
    """Within a transaction: keep an outlook, in place of one of the same moment."""
    connection.execute(
        "INSERT INTO outlook VALUES (?, ?, ?, ?) ON CONFLICT (batch_id, at_us) DO UPDATE "
        "SET body = excluded.body, fan = excluded.fan",
        (batch_id, *rows.outlook_to_row(outlook)),
    )
