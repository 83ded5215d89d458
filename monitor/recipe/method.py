"""How a recipe is worked: stages that end at a rise, a peak or after hours, the hands each needs, and the bake."""

from dataclasses import dataclass, field

from monitor.recipe.batch import Stage, Target
from monitor.recipe.vessel import Vessel
from monitor.wire.readings import Channel, NodeId

ROOM = "room"
REFRIGERATOR = "refrigerator"
UNMEASURED_ROOM_C = 24.0  # judgement: a kitchen, when nothing was measured


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
        It stands so long, whatever it does. [h]
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
    """

    minutes: float
    oven_c: float
    preheat_min: float
    steam_min: tuple[float, ...] = ()
    at_once: int | None = None
    stagger_min: float = 0.0
    chill_min: float = 0.0
