"""What a kitchen has: people and their hours, mixers, places for dough with their air, and an oven."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time
from typing import Any

from monitor.errors import UnfitError
from monitor.recipe.method import REFRIGERATOR, ROOM, UNMEASURED_ROOM_C
from monitor.recipe.toml_tables import Faults, name_of, shown
from monitor.translatable import Translatable

USUAL_COLD_C = 4.0  # a household refrigerator; dough retarders run at 1.7 to 4.4 C (trade page, seen)
WARMEST_PLACE_C = 60.0
MOST = 1000


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere dough stands: the air there [C], and how many tubs or trays it holds; None: as many as come."""

    name: str
    temp_c: float
    holds: int | None = None


@dataclass(frozen=True, slots=True)
class Kitchen:
    """Everything that is limited.

    Attributes
    ----------
    places
        Where dough stands; the room and the refrigerator are always among them.
    people, mixers
        Pairs of hands at a time; mixers.
    hands_from, hands_until
        Between which hours of the clock there are hands, each day; None: at any.
    oven_holds
        Pieces in or on it at once, for recipes that do not say.
    recover_min
        What the oven or its stone needs between one load and the next. [min]
    """

    places: tuple[Place, ...] = ()
    people: int = 1
    mixers: int = 1
    hands_from: time | None = None
    hands_until: time | None = None
    oven_holds: int = 1
    recover_min: float = 0.0

    def place(self, name: str) -> Place:
        """A place by its name.

        Raises
        ------
        ValueError
            When the kitchen has none of that name.
        """
        for each in self.all_places:
            if each.name == name:
                return each
        known = ", ".join(each.name for each in self.all_places)
        raise UnfitError("the kitchen has no place {name!r}; there are {known}", name=name, known=known)

    @property
    def all_places(self) -> tuple[Place, ...]:
        """The places named, and room and refrigerator as usual where they are not."""
        named = {each.name for each in self.places}
        usual = (Place(ROOM, UNMEASURED_ROOM_C), Place(REFRIGERATOR, USUAL_COLD_C))
        return (*self.places, *(each for each in usual if each.name not in named))


def kitchen_from_toml(table: Mapping[str, Any], where: str) -> Kitchen:
    """A kitchen from a parsed kitchen file.

    Raises
    ------
    ConfigError
        With every fault of the file at once.
    """
    faults = Faults(where, Translatable("a kitchen file"))
    keys = ("room_c", "people", "mixers", "hands_from", "hands_until", "oven_holds", "recover_min", "place")
    faults.unknown(table, keys, "")
    places: list[Place] = []
    for number, row in enumerate(faults.rows(table, "place"), start=1):
        prefix = f"place {number}: "
        faults.unknown(row, ("name", "temp_c", "holds"), prefix)
        name = name_of(row, "name", Translatable("place"), faults)
        temp_c = faults.number(row, "temp_c", prefix, at_most=WARMEST_PLACE_C)
        if "temp_c" not in row:
            faults.report("{prefix}temp_c is missing: the air there", prefix=prefix)
        if name is not None and any(each.name == name for each in places):
            faults.report("{prefix}there is a place {name!r} already", prefix=prefix, name=name)
        elif name is not None and temp_c is not None:
            places.append(Place(name, temp_c, faults.whole(row, "holds", prefix, at_most=MOST)))
    room_c = faults.number(table, "room_c", "", at_most=WARMEST_PLACE_C)
    if room_c is not None:
        if any(each.name == ROOM for each in places):
            faults.report("room_c and a place named room say the same thing: leave one out")
        places.append(Place(ROOM, room_c))
    hours = [_wall_time(table, key, faults) for key in ("hands_from", "hands_until")]
    if (hours[0] is None) != (hours[1] is None):
        faults.report("hands_from and hands_until go together")
    elif hours[0] is not None and hours[1] is not None and hours[0] >= hours[1]:
        faults.report("hands_from must come before hands_until, on the same day")
    recover_min = faults.number(table, "recover_min", "", at_most=600.0, can_be_zero=True)
    people, mixers, holds = (faults.whole(table, key, "", at_most=MOST) for key in ("people", "mixers", "oven_holds"))
    faults.raise_any()
    return Kitchen(tuple(places), people or 1, mixers or 1, hours[0], hours[1], holds or 1, recover_min or 0.0)


def _wall_time(table: Mapping[str, Any], key: str, faults: Faults) -> time | None:
    value = table.get(key)
    if isinstance(value, str):
        try:
            value = time.fromisoformat(value)
        except ValueError:
            value = False
    if value is None or isinstance(value, time):
        return value
    faults.report('{key} = {table} must be a time of the clock, such as "06:00"', key=key, table=shown(table[key]))
    return None
