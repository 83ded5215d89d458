"""Values that every process on the file shares, and the bakery's vessels, by name."""

from monitor.recipe.vessel import Vessel
from monitor.store import rows
from monitor.store.sqlite_file import StorePart


class Settings(StorePart):
    """The table ``setting``."""

    def put(self, key: str, value: str) -> None:
        """Keep a value that all processes on this file share."""
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO setting VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value", (key, value)
            )

    def get(self, key: str) -> str | None:
        """The value of :meth:`put`, or None."""
        with self._file.reading() as connection:
            row = connection.execute("SELECT value FROM setting WHERE key = ?", (key,)).fetchone()
            return None if row is None else str(row["value"])


class Vessels(StorePart):
    """The table ``vessel``."""

    def put(self, name: str, vessel: Vessel) -> None:
        """Keep a vessel, in place of the one of that name."""
        with self._file.writing() as connection:
            connection.execute("INSERT OR REPLACE INTO vessel VALUES (?, ?)", (name, rows.to_json(vessel)))

    def all(self) -> dict[str, Vessel]:
        """Every vessel by its name."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT name, body FROM vessel ORDER BY name").fetchall()
            return {row["name"]: rows.from_json(row["body"], Vessel) for row in found}
