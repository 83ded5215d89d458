"""One dough: what is in the tub, which stage it is in, what it should reach, and what the baker did to it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any, NewType

from monitor.errors import ConfigError, UnfitError
from monitor.recipe.calibration import Calibration
from monitor.recipe.events import MEASURED
from monitor.recipe.events import Event as Event
from monitor.recipe.events import EventKind as EventKind
from monitor.recipe.formula import FORMULA_KEYS, Formula
from monitor.recipe.toml_tables import Faults, minutes_of, name_of, nodes_of, shown, vessel_of
from monitor.recipe.vessel import Vessel
from monitor.translatable import Number, Translatable
from monitor.wire.readings import Channel, NodeId

BatchId = NewType("BatchId", int)

DEFAULT_TARGET_RISE_PCT = 100.0  # doubling: common practice, no source
DEFAULT_PREHEAT_MIN = 30.0  # oven and stone half an hour before loading: common practice, no source

# What a batch file may say. Judgement: far beyond any bakery, so that only slips are caught.
LONGEST_STAGE_H = 240.0
LEAST_FLOUR_G, LARGEST_G = 1.0, 10_000_000.0
LEAST_ML, LARGEST_ML = 1.0, 10_000_000.0
MOST_SALT_PCT = 20.0
LARGEST_RISE_PCT = 1000.0
LONGEST_PREHEAT_MIN = 1440.0


class Stage(StrEnum):
    """Where a dough stands in its day."""

    PREFERMENT = "preferment"
    FIRST_RISE = "first rise"
    FINAL_PROOF = "final proof"
    RETARD = "retard"


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
        Volume that rise is counted from, when the baker knows it; None: the estimator takes the lowest settled level
        of the first hours.
    nodes
        Which node each channel is read from. One node may serve many batches.
    preheat_min
        Minutes the oven needs before this dough is loaded; None when no baking follows the stage.
    calibrations
        The one that holds for each channel of its nodes, where there is one.
    recipe
        What the baker calls the recipe; empty: by the batch's name, see ``recipe_key``.
    folds_min
        When it is to be folded, after its start, earliest first. [min]
    perishable
        Names of the egg, milk and the like in it.
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
    folds_min: tuple[float, ...] = ()
    perishable: tuple[str, ...] = ()

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
        key: faults.number(table, key, "formula.", at_most=LARGEST_G, can_be_zero=True)
        for key in FORMULA_KEYS
        if key in table and key != "flour_g"
    }
    grams["flour_g"] = faults.number(table, "flour_g", "formula.", at_least=LEAST_FLOUR_G, at_most=LARGEST_G)
    if "flour_g" not in table:
        faults.report("formula.flour_g is missing: percentages are counted on the flour")
    weights = {key: value for key, value in grams.items() if value is not None}
    if "flour_g" not in weights:
        return None
    formula = Formula(**weights)
    if formula.pct("salt_g") > MOST_SALT_PCT:
        faults.report(
            "formula.salt_g = {salt_g} is {pct} % of the flour: nothing rises there; most breads have about 2 %",
            salt_g=Number(formula.salt_g, "g"),
            pct=Number(formula.pct("salt_g"), ".0f"),
        )
    return formula


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
            event = Event(at, kind, note)
            events.append(event)
            try:
                require_measured(event)
            except ValueError as err:
                faults.report("{prefix}{why}", prefix=prefix, why=err)
    return tuple(sorted(events, key=lambda event: event.at))


def require_measured(event: Event) -> None:
    """Refuse a check whose note is to be a number and is none that a dough can have.

    Raises
    ------
    UnfitError
        With the numbers that it can be.
    """
    if event.kind in MEASURED and event.value is None:
        low, high = MEASURED[event.kind]
        raise UnfitError(
            "note = {note} must be the number that was measured as {kind}, from {low} to {high}",
            note=shown(event.note),
            kind=event.kind.value,
            low=Number(low, "g"),
            high=Number(high, "g"),
        )


def _perishable(table: Mapping[str, Any], faults: Faults) -> tuple[str, ...]:
    """Names of the egg, milk and the like in it."""
    names = table.get("perishable", [])
    if isinstance(names, list) and all(isinstance(name, str) and name.strip() for name in names):
        return tuple(name.strip() for name in names)
    faults.report(
        'perishable = {names} must be names of the egg, milk and the like in the dough, such as ["egg", "milk"]',
        names=shown(names),
    )
    return ()


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
        "preheat_min", "folds_min", "perishable",
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
        start_volume_ml = faults.number(
            vessel_table, "start_volume_ml", "vessel.", at_least=LEAST_ML, at_most=LARGEST_ML
        )
    elif "vessel" not in table:
        faults.report("[vessel] is missing: shape, base_mm and depth_mm at the least")
    formula_table = faults.table(table, "formula")
    formula = None if formula_table is None else _formula(formula_table, faults)
    nodes_table = faults.table(table, "nodes")
    nodes = () if nodes_table is None else nodes_of(nodes_table, faults)
    events = _events(table, faults)
    folds_min = minutes_of(table, "folds_min", faults) if "folds_min" in table else ()
    perishable = _perishable(table, faults)
    ended = [event.at for event in events if event.kind is EventKind.END]
    if ended and started_at is not None and ended[0] < started_at:
        faults.report(
            "events: the end at {ended} lies before the batch started", ended=f"{ended[0]:%Y-%m-%dT%H:%M:%SZ}"
        )
    elif ended and started_at is not None and ended[0] - started_at > timedelta(hours=LONGEST_STAGE_H):
        faults.report(
            "events: the end at {ended} lies more than {days} days after the batch started; correct one of the two",
            ended=f"{ended[0]:%Y-%m-%dT%H:%M:%SZ}",
            days=Number(LONGEST_STAGE_H / 24.0, "g"),
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
        folds_min=folds_min,
        perishable=perishable,
    )


def placed_and_covered(batch: Batch, place: str | None, *, is_covered: bool) -> Batch:
    """The batch with the notes of where it stands and that it is covered, from its start on."""
    said = [Event(batch.started_at, EventKind.MOVE, place)] if place else []
    said += [Event(batch.started_at, EventKind.COVER)] if is_covered else []
    return replace(batch, events=tuple(sorted([*batch.events, *said], key=lambda event: event.at)))


def require_near_start(batch: Batch, now: datetime) -> None:
    """Refuse to watch a batch that began, or will begin, further away than a stage can be long: that is a slip.

    Raises
    ------
    ConfigError
        With what to write instead. A batch that has ended is only kept, so it may be as old as it is.
    """
    if batch.ended_at is None and abs(batch.started_at - now) > timedelta(hours=LONGEST_STAGE_H):
        raise ConfigError(
            "started = {started} lies more than {days} days from now; correct it, or say that it starts now with --now",
            started=f"{batch.started_at:%Y-%m-%dT%H:%M:%SZ}",
            days=Number(LONGEST_STAGE_H / 24.0, "g"),
        )
