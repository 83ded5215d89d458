"""One dough: what is in the tub, which stage it is in, what it should reach, and what the baker did to it."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, NewType

from monitor.errors import ConfigError
from monitor.recipe.formula import FORMULA_KEYS, Formula
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, NodeId

BatchId = NewType("BatchId", int)

DEFAULT_TARGET_RISE_PCT = 100.0  # doubling: common practice, no source
DEFAULT_PREHEAT_MIN = 30.0  # oven and stone half an hour before loading: common practice, no source
SENSOR_CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)


class Stage(StrEnum):
    """Where a dough stands in its day."""

    PREFERMENT = "preferment"
    BULK_RISE = "bulk rise"
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

    def node_of(self, channel: Channel) -> NodeId | None:
        """The node that reads a channel of this batch, or None."""
        return dict(self.nodes).get(channel)


class _Faults:
    """Collects every fault of one file, so that a baker mends them all in one go."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.found: list[str] = []

    def unknown(self, table: Mapping[str, Any], known: tuple[str, ...], prefix: str) -> None:
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
                self.found.append(f"{prefix}{key} is not a key of a batch file; {hint}")

    def number(self, table: Mapping[str, Any], key: str, prefix: str, *, default: float | None = None) -> float | None:
        value = table.get(key, default)
        if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
            return None if value is None else float(value)
        self.found.append(f"{prefix}{key} = {value!r} must be a number")
        return default

    def moment(self, table: Mapping[str, Any], key: str, prefix: str) -> datetime | None:
        value = table.get(key)
        if isinstance(value, datetime) and value.tzinfo is not None:
            return value.astimezone(UTC)
        self.found.append(
            f"{prefix}{key} = {value!r} must be a date and time with its offset, such as 2026-03-02T05:40:00Z"
        )
        return None

    def choice(self, table: Mapping[str, Any], key: str, prefix: str, enum: type[StrEnum]) -> Any:
        value = table.get(key)
        if value in list(enum):
            return enum(str(value))
        self.found.append(f"{prefix}{key} = {value!r} must be one of: {', '.join(enum)}")
        return None

    def raise_any(self) -> None:
        if self.found:
            raise ConfigError(f"{self.where}: " + "; ".join(self.found))


def _sides(value: object) -> tuple[float, float] | None:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return (float(value), float(value))
    if isinstance(value, list) and len(value) == 2 and all(isinstance(v, int | float) for v in value):
        return (float(value[0]), float(value[1]))
    return None


def _vessel(table: Mapping[str, Any], faults: _Faults) -> Vessel | None:
    keys = ("shape", "base_mm", "top_mm", "depth_mm", "sensor_to_base_mm", "start_volume_ml")
    faults.unknown(table, keys, "vessel.")
    shape = faults.choice(table, "shape", "vessel.", Shape)
    depth_mm = faults.number(table, "depth_mm", "vessel.")
    if "depth_mm" not in table:
        faults.found.append("vessel.depth_mm is missing: the inner depth in millimetres")
    sensor_mm = faults.number(table, "sensor_to_base_mm", "vessel.")
    base = _sides(table.get("base_mm"))
    top = _sides(table.get("top_mm", table.get("base_mm")))
    if base is None or top is None:
        faults.found.append("vessel.base_mm and top_mm must be a diameter in mm, or [length, width] if rectangular")
    if shape is None or depth_mm is None or base is None or top is None:
        return None
    try:
        return Vessel(shape, base, top, depth_mm, sensor_mm)
    except ValueError as err:
        faults.found.append(str(err))
        return None


def _formula(table: Mapping[str, Any], faults: _Faults) -> Formula | None:
    faults.unknown(table, FORMULA_KEYS, "formula.")
    grams = {key: faults.number(table, key, "formula.") for key in FORMULA_KEYS if key in table}
    if "flour_g" not in grams:
        faults.found.append("formula.flour_g is missing: percentages are counted on the flour")
        return None
    try:
        return Formula(**{key: value for key, value in grams.items() if value is not None})
    except (TypeError, ValueError) as err:
        faults.found.append(str(err))
        return None


def _target(table: Mapping[str, Any], faults: _Faults) -> Target:
    if "target" in table:
        if table["target"] != "peak" or "target_rise_pct" in table:
            faults.found.append('target must be "peak" and stand alone; a rise is given as target_rise_pct = 100')
        return Target(None)
    rise_pct = faults.number(table, "target_rise_pct", "", default=DEFAULT_TARGET_RISE_PCT)
    if rise_pct is not None and not 0 < rise_pct <= 1000:
        faults.found.append(f"target_rise_pct = {rise_pct} must be more than 0 and at most 1000 (100 is doubled)")
    return Target(rise_pct)


def _nodes(table: Mapping[str, Any], faults: _Faults) -> tuple[tuple[Channel, NodeId], ...]:
    faults.unknown(table, tuple(SENSOR_CHANNELS), "nodes.")
    found = []
    for channel in SENSOR_CHANNELS:
        urn = table.get(channel)
        if urn is None:
            continue
        if isinstance(urn, str) and urn.startswith("urn:dev:"):
            found.append((channel, NodeId(urn)))
        else:
            faults.found.append(f"nodes.{channel} = {urn!r} must be a node's name, like urn:dev:mac:020000fffe5e0001")
    return tuple(found)


def batch_from_toml(table: Mapping[str, Any], where: str) -> Batch:
    """A batch from a parsed batch file.

    Parameters
    ----------
    table
        What a TOML parser made of the file.
    where
        The file's name, for the error text.

    Raises
    ------
    ConfigError
        With every fault of the file at once: what, where, and what would be right.
    """
    faults = _Faults(where)
    known = (
        "name", "stage", "started", "target_rise_pct", "target", "vessel", "formula", "events", "nodes", "preheat_min",
    )  # fmt: skip
    faults.unknown(table, known, "")
    name = table.get("name")
    if not isinstance(name, str) or not name.strip():
        faults.found.append(f"name = {name!r} must say what you call this batch")
    stage = faults.choice(table, "stage", "", Stage)
    started_at = faults.moment(table, "started", "")
    vessel_table = table.get("vessel")
    vessel = None
    if isinstance(vessel_table, Mapping):
        vessel = _vessel(vessel_table, faults)
        start_volume_ml = faults.number(vessel_table, "start_volume_ml", "vessel.")
        if start_volume_ml is not None and not start_volume_ml > 0:
            faults.found.append(f"vessel.start_volume_ml = {start_volume_ml} must be more than 0")
    else:
        faults.found.append("[vessel] is missing: shape, base_mm and depth_mm at the least")
    formula_table = table.get("formula")
    formula = _formula(formula_table, faults) if isinstance(formula_table, Mapping) else None
    events = []
    for number, row in enumerate(table.get("events", []), start=1):
        faults.unknown(row, ("time", "kind", "note"), f"events {number}: ")
        at = faults.moment(row, "time", f"events {number}: ")
        kind = faults.choice(row, "kind", f"events {number}: ", EventKind)
        if at is not None and kind is not None:
            events.append(Event(at, kind, str(row.get("note", ""))))
    default_preheat_min = DEFAULT_PREHEAT_MIN if stage is Stage.FINAL_PROOF else None
    preheat_min = faults.number(table, "preheat_min", "", default=default_preheat_min)
    target = _target(table, faults)
    nodes = _nodes(table.get("nodes", {}), faults)
    faults.raise_any()
    assert isinstance(name, str)
    assert stage is not None
    assert started_at is not None
    assert vessel is not None
    ended = [event.at for event in events if event.kind is EventKind.END]
    return Batch(
        id=BatchId(0),
        name=name.strip(),
        stage=stage,
        started_at=started_at,
        vessel=vessel,
        target=target,
        formula=formula,
        start_volume_ml=start_volume_ml,
        nodes=nodes,
        preheat_min=preheat_min,
        events=tuple(sorted(events, key=lambda event: event.at)),
        ended_at=min(ended) if ended else None,
    )
