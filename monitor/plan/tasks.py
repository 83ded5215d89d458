"""A day as the solver takes it: whole minutes from a beginning, tasks, windows and limits."""

from dataclasses import dataclass
from enum import StrEnum


class Limit(StrEnum):
    """What can stand in a plan's way."""

    TIME = "time"  # the hour it is wanted, and now
    WINDOW = "window"  # doughs and loaves that do not wait
    PEOPLE = "people"
    HOURS = "hours"  # of the clock, in which there are hands
    MIXER = "mixer"
    PLACE = "place"
    OVEN = "oven"


@dataclass(frozen=True, slots=True)
class Stand:
    """Dough in a place during a stage: from so many minutes after it begins, to so many; None: to its end."""

    place: str
    from_min: int
    to_min: int | None
    takes: int


@dataclass(frozen=True, slots=True)
class StageTask:
    """One stage of one dough. All in minutes.

    Attributes
    ----------
    hands, mixer
        Work before it stands.
    ready, closes
        After it has begun to stand: taken on no sooner, and no later.
    follows
        Numbers of the stages of this dough that it takes on.
    """

    hands: int
    mixer: int
    ready: int
    closes: int
    follows: tuple[int, ...]
    stands: tuple[Stand, ...]


@dataclass(frozen=True, slots=True)
class BakeTask:
    """The loads of a dough. All in minutes but the temperature.

    Attributes
    ----------
    windows
        For each load, from the end of its own shaping: proofed, and no longer good.
    stagger
        How much later than the one before each load is shaped, beyond its share of the hands.
    can_stagger
        Whether the solver may delay loads more.
    """

    windows: tuple[tuple[int, int], ...]
    minutes: int
    preheat: int
    recover: int
    oven_c: float
    stagger: int = 0
    can_stagger: bool = False


@dataclass(frozen=True, slots=True)
class DoughTask:
    """One dough: stages in the order of its method, and its bake."""

    name: str
    stages: tuple[StageTask, ...]
    bake: BakeTask | None
    wanted: int | None


@dataclass(frozen=True, slots=True)
class Limits:
    """What the kitchen has. ``nights``: spans of minutes without hands; ``places``: how many tubs each holds."""

    people: int
    mixers: int
    places: tuple[tuple[str, int], ...]
    nights: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class DoughTimes:
    """What the solver found for a dough, in minutes.

    Attributes
    ----------
    hands, begins, taken
        For each stage.
    shaped, loaded
        For each load: when it was shaped, when it goes in.
    late
        For each load, and then each stage but the last: by how much it misses the end of its window.
    """

    hands: tuple[int, ...]
    begins: tuple[int, ...]
    taken: tuple[int, ...]
    shaped: tuple[int, ...]
    loaded: tuple[int, ...]
    late_loads: tuple[int, ...]
    late_stages: tuple[int, ...]
