"""How a recipe is worked: the work before and during each stage, what each stage waits for, and the bake."""

from dataclasses import dataclass, field
from enum import StrEnum

from monitor.recipe.batch import Stage, Target
from monitor.recipe.events import REFRIGERATOR as REFRIGERATOR
from monitor.recipe.events import ROOM as ROOM
from monitor.recipe.vessel import Vessel
from monitor.wire.readings import Channel, NodeId

LEAST_RISE_PCT = 1.0  # judgement: what has risen enough is ready, and no stage waits for less than can be seen


class Work(StrEnum):
    """What is done to a dough by hand or by the mixer."""

    AUTOLYSE = "autolyse"  # flour and water alone, left to themselves before the rest goes in
    TEMPER = "temper"  # a cold preferment or dough, left to lose its chill
    MIX = "mix"
    DIVIDE = "divide"
    PRESHAPE = "preshape"
    REST = "bench rest"
    SHAPE = "shape"
    FOLD = "fold"  # while the stage goes on; all others are done before it


class MixUntil(StrEnum):
    """By what a mixer is stopped, whatever its clock says."""

    WINDOWPANE = "windowpane"  # a piece can be drawn so thin that light falls through


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One step of the work that belongs to a stage.

    Attributes
    ----------
    hands_min, rest_min
        How long hands are at it, and how long the dough is then left to itself. [min]
    speeds
        Of a mix: the mixer's speed and how long it runs at it, one after the other. [-, min]
    until
        Of a mix: the check that ends it; None: the minutes do.
    after_min
        Of folds: how long after the stage begins each is due. [min]
    place
        Where it is done or stands meanwhile; empty: where the dough is.
    cue
        How a baker sees that it is done, in the recipe's own words.
    """

    work: Work
    hands_min: float = 0.0
    rest_min: float = 0.0
    speeds: tuple[tuple[float, float], ...] = ()
    until: MixUntil | None = None
    after_min: tuple[float, ...] = ()
    place: str = ""
    cue: str = ""

    @property
    def mixer_min(self) -> float:
        """How long the mixer runs. [min]"""
        return sum(minutes for _, minutes in self.speeds)


def rise_left_pct(rise_pct: float, risen_pct: float) -> float:
    """What is left of a rise for a dough that has risen already, over the volume it has by now. [%]

    >>> rise_left_pct(60.0, 25.0), rise_left_pct(60.0, 0.0), rise_left_pct(60.0, 80.0)
    (28.0, 60.0, 1.0)
    """
    left_pct = 100.0 * (100.0 + rise_pct) / (100.0 + risen_pct) - 100.0
    return max(round(left_pct, 1), LEAST_RISE_PCT)


def work_before_min(steps: tuple[WorkStep, ...]) -> float:
    """How long the work before a stage takes from its first touch on. [min]

    Rests count: whoever must come back to a bench in a quarter of an hour is not free for other work (judgement).
    """
    return sum(step.hands_min + step.rest_min for step in steps if step.work is not Work.FOLD)


@dataclass(frozen=True, slots=True)
class MethodStage:
    """One stage of a recipe: what goes before it by hand, where the dough stands, and what it waits for.

    Attributes
    ----------
    part
        Name of the part that stands; pieces of it after dividing.
    target
        A rise or the peak; looked at only when ``hours`` is None.
    hours
        It stands so long, whatever it does; the least of it when ``longest_h`` gives a range. [h]
    longest_h
        It may stand so long; None: no range was given. [h]
    cold_h
        Of the stage, so long in the refrigerator at first, before ``place``. [h]
    good_to_rise_pct
        Beyond this rise it is over-proofed; None: up to its peak. [%]
    hands_min, mixer_min
        Work before the stage begins: of one pair of hands, and of the mixer within it. [min]
    dough_c
        How warm it is when it begins; None: as it came out of the stage before. [C]
    takes
        Places it takes up where it stands (tubs, trays); None: one.
    vessel, nodes
        What it is watched in, and by which nodes; None and empty when it is not watched.
    sample_g
        Weight in the vessel, when that is a small jar standing in for the pieces; None: it holds all of it. [g]
    steps
        The work in detail, in order; empty when the recipe gives its minutes only.
    cue
        How a baker sees that the stage is over, in the recipe's own words.
    in_bulk
        A retard of the whole dough, which is divided afterwards; otherwise it is one of shaped pieces.
    risen_pct
        How far its pieces have risen in the cold before it: a rise is over the piece as it was shaped. No file says
        it, a plan finds it out. [%]
    """

    part: str
    stage: Stage
    target: Target = field(default_factory=Target)
    hours: float | None = None
    place: str = ROOM
    cold_h: float = 0.0
    good_to_rise_pct: float | None = None
    hands_min: float = 0.0
    mixer_min: float = 0.0
    dough_c: float | None = None
    takes: int = 1
    vessel: Vessel | None = None
    nodes: tuple[tuple[Channel, NodeId], ...] = ()
    sample_g: float | None = None
    steps: tuple[WorkStep, ...] = ()
    longest_h: float | None = None
    cue: str = ""
    in_bulk: bool = False
    risen_pct: float = 0.0

    @property
    def target_left(self) -> Target:
        """What it waits for from its own beginning on."""
        rise_pct = self.target.rise_pct
        return self.target if rise_pct is None else Target(rise_left_pct(rise_pct, self.risen_pct))

    @property
    def folds_min(self) -> tuple[float, ...]:
        """When it is to be folded, after it begins, earliest first. [min]"""
        return tuple(sorted(at for step in self.steps if step.work is Work.FOLD for at in step.after_min))


@dataclass(frozen=True, slots=True)
class OvenStep:
    """What changes in the oven while bread is in it.

    Attributes
    ----------
    after_min
        Minutes after loading.
    oven_c
        What the oven is turned to; None: it stays. [C]
    vents
        True when steam is let out.
    """

    after_min: float
    oven_c: float | None = None
    vents: bool = False


@dataclass(frozen=True, slots=True)
class Bake:
    """What happens in the oven.

    Attributes
    ----------
    minutes
        From loading to taking out. [min]
    oven_c
        What oven and stone are heated to. [C]
    preheat_min
        How long before loading the oven goes on. [min]
    steam_min
        When to give steam, minutes after loading.
    at_once
        How many pieces fit in or on the stone at once; None: as the oven says.
    stagger_min
        How much later than the one before each load is shaped, so that those that must wait are not over-proofed. [min]
    chill_min
        How long each load stands in the refrigerator at first, for every load before it. [min]
    loss_pct
        What the dough loses in the oven, of its weight when loaded; None: as most breads of that weight. [%]
    steps
        What changes after loading, in order.
    core_c
        How hot its middle is when it is baked, at sea level; None: the minutes say it. [C]
    cool_min
        How long it cools before it is cut or packed. [min]
    cue
        How a baker sees that it is baked, in the recipe's own words.
    """

    minutes: float
    oven_c: float
    preheat_min: float
    steam_min: tuple[float, ...] = ()
    at_once: int | None = None
    stagger_min: float = 0.0
    chill_min: float = 0.0
    loss_pct: float | None = None
    steps: tuple[OvenStep, ...] = ()
    core_c: float | None = None
    cool_min: float = 0.0
    cue: str = ""
