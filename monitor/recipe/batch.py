"""One dough: what is in the tub, which stage it is in, what it should reach, and what the baker did to it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, NewType

from monitor.recipe.calibration import Calibration
from monitor.recipe.formula import FORMULA_KEYS, Formula
from monitor.recipe.toml_tables import Faults, name_of, nodes_of, shown, vessel_of
from monitor.recipe.vessel import Vessel
from monitor.translatable import Translatable
from monitor.wire.readings import Channel, NodeId

BatchId = NewType("BatchId", int)

DEFAULT_TARGET_RISE_PCT = 100.0  # doubling: common practice, no source
DEFAULT_PREHEAT_MIN = 30.0  # oven and stone half an hour before loading: common practice, no source

# What a batch file may say at the most. Judgement: far beyond any bakery, so that only slips are caught.
LARGEST_G = 10_000_000.0
LARGEST_ML = 10_000_000.0
LARGEST_RISE_PCT = 1000.0
LONGEST_PREHEAT_MIN = 1440.0


class Stage(StrEnum):
    """Where a dough stands in its day."""

    PREFERMENT = "preferment"
    FIRST_RISE = "first rise"
    FINAL_PROOF = "final proof"
    RETARD = "retard"


class EventKind(StrEnum):
    """What a baker does to a dough that the estimator must know of."""

    FOLD = "fold"  # knocks gas out; the rise is still counted from the start volume
    MOVE = "move"  # to other air: another shelf, cabinet or room
    POKE = "poke"
    LID = "lid"  # lid or sensor taken off and put back
    END = "end"  # the stage is over


@dataclass(frozen=True, slots=True)
class Event:
    """Something a baker did, at an aware UTC moment."""

    at: datetime
    kind: EventKind
    note: str = ""


@dataclass(frozen=True, slots=True)
class Target:
    """What the stage waits for: a rise over the start volume [%], or the peak (``rise_pct`` is None)."""

    rise_pct: float | None = DEFAULT_TARGET_RISE_PCT

    @property
    def is_peak(self) -> bool:
        """True when the stage waits for the greatest volume."""
        return self.rise_pct is None


@dataclass(frozen=True, slots=True)
class Batch:
    """One dough in one stage.

    Attributes
    ----------
    started_at
        Aware UTC datetime the stage began; readings before it are not this batch's.
    start_volume_ml
        Volume that rise is counted from, when the baker knows it; None: the estimator takes the settled first level.
    nodes
        Which node each channel is read from. One node may serve many batches.
    preheat_min
        Minutes the oven needs before this dough is loaded; None when no baking follows the stage.
    calibrations
        The one that holds for each channel of its nodes, where there is one.
    recipe
        What the baker calls the recipe; empty: by the batch's name, see ``recipe_key``.
    """

    id: BatchId
    name: str
    stage: Stage
    started_at: datetime
    vessel: Vessel
    target: Target = Target()
    formula: Formula | None = None
    start_volume_ml: float | None = None
    nodes: tuple[tuple[Channel, NodeId], ...] = ()
    preheat_min: float | None = None
    events: tuple[Event, ...] = ()
    ended_at: datetime | None = None
    calibrations: tuple[Calibration, ...] = ()
    recipe: str = ""

    @property
    def recipe_key(self) -> str:
        """What batches of one recipe have in common: its name, or the batch's up to the first comma, in small letters.

        "Hazel loaf, tub 3" is a batch of "hazel loaf".
        """
        return (self.recipe or self.name.partition(",")[0] or self.name).strip().casefold()

    def calibration_sd(self, channel: Channel) -> float | None:
        """Lasting doubt of a channel's readings after calibration, in its unit; None when it was never calibrated."""
        return next((found.sd for found in self.calibrations if found.channel is channel), None)

    @property
    def sensor_sd_mm(self) -> float:
        """Lasting doubt of every height seen by the distance sensor: its calibration's, else the vessel's own. [mm]"""
        calibrated_mm = self.calibration_sd(Channel.DISTANCE)
        return self.vessel.sensor_sd_mm if calibrated_mm is None else calibrated_mm

    def node_of(self, channel: Channel) -> NodeId | None:
        """The node that reads a channel of this batch, or None."""
        return dict(self.nodes).get(channel)


def _formula(table: Mapping[str, Any], faults: Faults) -> Formula | None:
    faults.unknown(table, FORMULA_KEYS, "formula.")
    grams = {
        key: faults.number(table, key, "formula.", at_most=LARGEST_G, can_be_zero=key != "flour_g")
        for key in FORMULA_KEYS
        if key in table
    }
    if "flour_g" not in table:
        faults.report("formula.flour_g is missing: percentages are counted on the flour")
    weights = {key: value for key, value in grams.items() if value is not None}
    return Formula(**weights) if "flour_g" in weights else None


def _target(table: Mapping[str, Any], faults: Faults) -> Target:
    if "target" in table:
        if table["target"] != "peak" or "target_rise_pct" in table:
            faults.report('target must be "peak" and stand alone; a rise is given as target_rise_pct = 100')
        return Target(None)
    rise_pct = faults.number(table, "target_rise_pct", "", at_most=LARGEST_RISE_PCT)
    return Target() if rise_pct is None else Target(rise_pct)


def _events(table: Mapping[str, Any], faults: Faults) -> tuple[Event, ...]:
    events = []
    for number, row in enumerate(faults.rows(table, "events"), start=1):
        prefix = f"events {number}: "
        faults.unknown(row, ("time", "kind", "note"), prefix)
        at = faults.moment(row, "time", prefix)
        kind = faults.choice(row, "kind", prefix, EventKind)
        note = row.get("note", "")
        if not isinstance(note, str):
            faults.report("{prefix}note = {note} must be text", prefix=prefix, note=shown(note))
        elif at is not None and kind is not None:
            events.append(Event(at, kind, note))
    return tuple(sorted(events, key=lambda event: event.at))


def batch_from_toml(table: Mapping[str, Any], where: str, *, now: datetime | None = None) -> Batch:
    """A batch from a parsed batch file.

    Parameters
    ----------
    table
        What a TOML parser made of the file.
    where
        The file's name, for the error text.
    now
        When a batch starts whose file does not say it; None: the file must.

    Raises
    ------
    ConfigError
        With every fault of the file at once: what, where, and what would be right.
    """
    faults = Faults(where)
    known = (
        "name", "recipe", "stage", "started", "target_rise_pct", "target", "vessel", "formula", "events", "nodes",
        "preheat_min",
    )  # fmt: skip
    faults.unknown(table, known, "")
    name = name_of(table, "name", Translatable("batch"), faults)
    recipe = name_of(table, "recipe", Translatable("recipe"), faults) if "recipe" in table else None
    stage = faults.choice(table, "stage", "", Stage)
    started_at = now if now is not None and "started" not in table else faults.moment(table, "started", "")
    preheat_min = faults.number(table, "preheat_min", "", at_most=LONGEST_PREHEAT_MIN, can_be_zero=True)
    target = _target(table, faults)
    vessel_table = faults.table(table, "vessel")
    vessel, start_volume_ml = None, None
    if vessel_table is not None:
        vessel = vessel_of(vessel_table, faults)
        start_volume_ml = faults.number(vessel_table, "start_volume_ml", "vessel.", at_most=LARGEST_ML)
    elif "vessel" not in table:
        faults.report("[vessel] is missing: shape, base_mm and depth_mm at the least")
    formula_table = faults.table(table, "formula")
    formula = None if formula_table is None else _formula(formula_table, faults)
    nodes_table = faults.table(table, "nodes")
    nodes = () if nodes_table is None else nodes_of(nodes_table, faults)
    events = _events(table, faults)
    ended = [event.at for event in events if event.kind is EventKind.END]
    if ended and started_at is not None and ended[0] < started_at:
        faults.report(
            "events: the end at {ended} lies before the batch started", ended=f"{ended[0]:%Y-%m-%dT%H:%M:%SZ}"
        )
    faults.raise_any()
    assert name is not None
    assert stage is not None
    assert started_at is not None
    assert vessel is not None
    if "preheat_min" not in table and stage is Stage.FINAL_PROOF:
        preheat_min = DEFAULT_PREHEAT_MIN
    return Batch(
        id=BatchId(0),
        name=name,
        stage=stage,
        started_at=started_at,
        vessel=vessel,
        target=target,
        formula=formula,
        start_volume_ml=start_volume_ml,
        nodes=nodes,
        preheat_min=preheat_min,
        events=events,
        ended_at=ended[0] if ended else None,
        recipe=recipe or "",
    )
