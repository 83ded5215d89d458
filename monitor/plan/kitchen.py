"""What a kitchen has: people and their hours, mixers, places for dough with their air, and an oven."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import time
from typing import Any, TypeVar

from monitor.errors import UnfitError
from monitor.recipe.intent import UNMEASURED_ROOM_C, USUAL_COLD_C
from monitor.recipe.method import REFRIGERATOR, ROOM
from monitor.recipe.toml_tables import Faults, name_of, shown
from monitor.translatable import Translatable

WARMEST_PLACE_C = 60.0
MOST = 1000
LONGEST_RECOVERY_MIN = 600.0
MOST_KW, MOST_STONE_KG = 1000.0, 20_000.0


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere dough stands: the air there [C], and how many tubs or trays it holds; None: as many as come."""

    name: str
    temp_c: float
    holds: int | None = None


@dataclass(frozen=True, slots=True)
class Oven:
    """What is heated as one: decks with a thermostat of their own are ovens of their own.

    Attributes
    ----------
    name
        Empty: the only one.
    decks
        Loads at once, all at one temperature.
    recover_min
        What stone and air need between one load and the next; None: as the kitchen says. [min]
    kw, stone_kg
        Power, and the stone that is heated, of all its decks together; None: not known.
    """

    name: str = ""
    decks: int = 1
    recover_min: float | None = None
    kw: float | None = None
    stone_kg: float | None = None


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
        What any oven or its stone needs between one load and the next; None: by its power, where that is known. [min]
    ovens
        Empty: one, of one deck.
    """

    places: tuple[Place, ...] = ()
    people: int = 1
    mixers: int = 1
    hands_from: time | None = None
    hands_until: time | None = None
    oven_holds: int = 1
    recover_min: float | None = None
    ovens: tuple[Oven, ...] = ()

    @property
    def all_ovens(self) -> tuple[Oven, ...]:
        """The ovens named, or the one there is."""
        return self.ovens or (Oven(),)

    def oven(self, name: str) -> Oven:
        """An oven by its name; of a plan that was made before there were several, the one there was."""
        return next((each for each in self.all_ovens if each.name == name), Oven(name))

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
    keys = ("room_c", "people", "mixers", "hands_from", "hands_until", "oven_holds", "recover_min", "place", "oven")
    faults.unknown(table, keys, "")
    places = _named(table, "place", Translatable("place"), _place, faults)
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
    ovens = _named(table, "oven", Translatable("oven"), _oven, faults)
    recover_min = faults.number(table, "recover_min", "", at_most=LONGEST_RECOVERY_MIN, can_be_zero=True)
    people, mixers, holds = (faults.whole(table, key, "", at_most=MOST) for key in ("people", "mixers", "oven_holds"))
    faults.raise_any()
    return Kitchen(tuple(places), people or 1, mixers or 1, hours[0], hours[1], holds or 1, recover_min, tuple(ovens))


Named = TypeVar("Named", Place, Oven)


def _named(
    table: Mapping[str, Any],
    key: str,
    what: str,
    read: Callable[[str, Mapping[str, Any], str, Faults], Named],
    faults: Faults,
) -> list[Named]:
    """The tables of a key, each by a name of its own."""
    found: dict[str, Named] = {}
    for number, row in enumerate(faults.rows(table, key), start=1):
        prefix = f"{key} {number}: "
        name = name_of(row, "name", what, faults)
        each = read(name or "", row, prefix, faults)
        if name in found:
            faults.report("{prefix}there is another {what} {name!r} already", prefix=prefix, what=what, name=name)
        elif name is not None:
            found[name] = each
    return list(found.values())


def _place(name: str, row: Mapping[str, Any], prefix: str, faults: Faults) -> Place:
    faults.unknown(row, ("name", "temp_c", "holds"), prefix)
    if "temp_c" not in row:
        faults.report("{prefix}temp_c is missing: the air there", prefix=prefix)
    temp_c = faults.number(row, "temp_c", prefix, at_most=WARMEST_PLACE_C)
    return Place(name, temp_c or 0.0, faults.whole(row, "holds", prefix, at_most=MOST))


def _oven(name: str, row: Mapping[str, Any], prefix: str, faults: Faults) -> Oven:
    faults.unknown(row, ("name", "decks", "recover_min", "kw", "stone_kg"), prefix)
    if "stone_kg" in row and "kw" not in row:
        faults.report("{prefix}stone_kg tells something only together with kw, the oven's power", prefix=prefix)
    return Oven(
        name,
        faults.whole(row, "decks", prefix, at_most=MOST) or 1,
        faults.number(row, "recover_min", prefix, at_most=LONGEST_RECOVERY_MIN, can_be_zero=True),
        faults.number(row, "kw", prefix, at_most=MOST_KW),
        faults.number(row, "stone_kg", prefix, at_most=MOST_STONE_KG),
    )


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
