"""The store's file with the bakery's vessels, by name."""

from monitor.recipe.vessel import Vessel
from monitor.store import rows
from monitor.store.store import Store


class Shelf(Store):
    """A :class:`~monitor.store.store.Store` that keeps vessels as well."""

    def put_vessel(self, name: str, vessel: Vessel) -> None:
        """Keep a vessel, in place of the one of that name."""
        with self._write() as connection:
            connection.execute("INSERT OR REPLACE INTO vessel VALUES (?, ?)", (name, rows.to_json(vessel)))

    def vessels(self) -> dict[str, Vessel]:
        """Every vessel by its name."""
        with self._read() as connection:
            found = connection.execute("SELECT name, body FROM vessel ORDER BY name").fetchall()
            return {row["name"]: rows.from_json(row["body"], Vessel) for row in found}
