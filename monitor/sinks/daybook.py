"""The store's file with what the baker's day adds to it: what mixers have mixed."""

from monitor.recipe.mixing import Mix
from monitor.sinks.rows import from_us, to_us
from monitor.sinks.store import Store

_MIX_COLUMNS = "mixer, at_us, minutes, dough_c, flour_c, room_c, water_c, preferment_c"


class DayBook(Store):
    """A :class:`~monitor.sinks.store.Store` that keeps mixes as well."""

    def add_mix(self, mix: Mix) -> None:
        """Keep what was measured of one mix."""
        row = (
            mix.mixer, to_us(mix.at), mix.minutes, mix.dough_c, mix.flour_c, mix.room_c, mix.water_c, mix.preferment_c,
        )  # fmt: skip
        with self._write() as connection:
            connection.execute(f"INSERT INTO mix ({_MIX_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)

    def mixes(self, mixer: str) -> list[Mix]:
        """Everything one mixer has mixed, oldest first."""
        with self._read() as connection:
            found = connection.execute(
                f"SELECT {_MIX_COLUMNS} FROM mix WHERE mixer = ? ORDER BY at_us, id", (mixer,)
            ).fetchall()
        return [Mix(name, from_us(at_us), *measured) for name, at_us, *measured in map(tuple, found)]
