"""One dough: what is in the tub, which stage it is in, what it should reach, and what the baker did to it."""

import difflib
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from math import isfinite
from typing import Any, NewType, TypeVar

from monitor.errors import ConfigError
from monitor.recipe.calibration import Calibration
from monitor.recipe.formula import FORMULA_KEYS, Formula
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, NodeId

BatchId = NewType("BatchId", int)
Choice = TypeVar("Choice", bound=StrEnum)

DEFAULT_TARGET_RISE_PCT = 100.0  # doubling: common practice, no source
DEFAULT_PREHEAT_MIN = 30.0  # oven and stone half an hour before loading: common practice, no source

# What a batch file may say at the most. Judgement: far beyond any bakery, so that only slips are caught.
LARGEST_MM = 10_000.0
LARGEST_G = 10_000_000.0
LARGEST_ML = 10_000_000.0
LARGEST_RISE_PCT = 1000.0
LONGEST_PREHEAT_MIN = 1440.0
LONGEST_NAME = 100
SENSIBLE_YEARS = range(2000, 2200)

NODE_NAME = re.compile(r"urn:dev:[A-Za-z0-9:._-]{1,120}")  # the characters of RFC 9039 names, without escapes

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


def _shown(value: object) -> str:
    """A value as an error text may show it: whatever was in the file, but not all of it."""
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _finite(value: object) -> float | None:
    """A number as a float, or None for what is no finite number. TOML knows ``true``, ``inf`` and endless integers."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if isfinite(number) else None


class _Faults:
    """Collects every fault of one file, so that a baker mends them all in one go."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.found: list[str] = []

    def unknown(self, table: Mapping[str, Any], known: tuple[str, ...], prefix: str) -> None:
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key[:40], known, n=1)
                hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
                self.found.append(f"{prefix}{key[:40]} is not a key of a batch file; {hint}")

    def number(
        self, table: Mapping[str, Any], key: str, prefix: str, *, at_most: float, can_be_zero: bool = False
    ) -> float | None:
        """The number under a key, above 0 and at most ``at_most``; None when it is absent or wrong."""
        if key not in table:
            return None
        number = _finite(table[key])
        if number is not None and (0.0 < number <= at_most or (can_be_zero and number == 0.0)):
            return number
        least = "from 0" if can_be_zero else "above 0"
        self.found.append(f"{prefix}{key} = {_shown(table[key])} must be a number {least}, at most {at_most:.0f}")
        return None

    def moment(self, table: Mapping[str, Any], key: str, prefix: str) -> datetime | None:
        value = table.get(key)
        if isinstance(value, datetime) and value.tzinfo is not None and value.year in SENSIBLE_YEARS:
            return value.astimezone(UTC)
        self.found.append(
            f"{prefix}{key} = {value if isinstance(value, date) else _shown(value)} must be a date and time with its "
            f"offset and without quotation marks, such as 2026-03-02T05:40:00Z, in {SENSIBLE_YEARS[0]} or later"
        )
        return None

    def choice(self, table: Mapping[str, Any], key: str, prefix: str, enum: type[Choice]) -> Choice | None:
        value = table.get(key)
        if isinstance(value, str):
            if value in list(enum):
                return enum(value)
            near = difflib.get_close_matches(value[:40].lower(), list(enum), n=1)
            hint = f"; did you mean {str(near[0])!r}?" if near else ""
        else:
            hint = ""
        self.found.append(f"{prefix}{key} = {_shown(value)} must be one of: {', '.join(enum)}{hint}")
        return None

    def table(self, parent: Mapping[str, Any], key: str) -> Mapping[str, Any] | None:
        """The table under a key; None when it is absent or something else."""
        value = parent.get(key)
        if value is None or isinstance(value, Mapping):
            return value
        self.found.append(f"{key} = {_shown(value)} must be a table: a line [{key}], and its keys below it")
        return None

    def raise_any(self) -> None:
        if len(self.found) == 1:
            raise ConfigError(f"{self.where}: {self.found[0]}")
        if self.found:
            raise ConfigError(
                f"{self.where}: {len(self.found)} faults\n" + "\n".join(f"  {line}" for line in self.found)
            )


def _name(table: Mapping[str, Any], key: str, what: str, faults: _Faults) -> str | None:
    name = table.get(key)
    if not isinstance(name, str) or not name.strip():
        faults.found.append(f"{key} = {_shown(name)} must say what you call this {what}")
        return None
    name = name.strip()
    if len(name) > LONGEST_NAME or any(unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") for letter in name):
        faults.found.append(f"{key} = {_shown(name)} must be one line of at most {LONGEST_NAME} characters")
        return None
    return name


def _sides(table: Mapping[str, Any], key: str, faults: _Faults) -> tuple[float, float] | None:
    value = table.get(key)
    sides = [_finite(side) for side in (value if isinstance(value, list) else [value, value])]
    if len(sides) == 2 and sides[0] is not None and sides[1] is not None:
        if all(0.0 < side <= LARGEST_MM for side in sides if side is not None):
            return (sides[0], sides[1])
        faults.found.append(f"vessel.{key} = {_shown(value)} must be above 0 and at most {LARGEST_MM:.0f} mm")
        return None
    said = "is missing:" if key not in table else f"= {_shown(value)} must be"
    faults.found.append(f"vessel.{key} {said} an inner diameter in mm, or [length, width] if rectangular")
    return None


def _vessel(table: Mapping[str, Any], faults: _Faults) -> Vessel | None:
    keys = ("shape", "base_mm", "top_mm", "depth_mm", "sensor_to_base_mm", "sensor_sd_mm", "start_volume_ml")
    faults.unknown(table, keys, "vessel.")
    shape = faults.choice(table, "shape", "vessel.", Shape)
    depth_mm = faults.number(table, "depth_mm", "vessel.", at_most=LARGEST_MM)
    if "depth_mm" not in table:
        faults.found.append("vessel.depth_mm is missing: the inner depth in millimetres")
    sensor_mm = faults.number(table, "sensor_to_base_mm", "vessel.", at_most=LARGEST_MM)
    sensor_sd_mm = faults.number(table, "sensor_sd_mm", "vessel.", at_most=LARGEST_MM, can_be_zero=True)
    base = _sides(table, "base_mm", faults)
    top = _sides(table, "top_mm", faults) if "top_mm" in table else base
    if shape is None or depth_mm is None or base is None or top is None:
        return None
    try:
        return Vessel(shape, base, top, depth_mm, sensor_mm, sensor_sd_mm or 0.0)
    except ValueError as err:
        faults.found.append(str(err))
        return None


def _formula(table: Mapping[str, Any], faults: _Faults) -> Formula | None:
    faults.unknown(table, FORMULA_KEYS, "formula.")
    grams = {
        key: faults.number(table, key, "formula.", at_most=LARGEST_G, can_be_zero=key != "flour_g")
        for key in FORMULA_KEYS
        if key in table
    }
    if "flour_g" not in table:
        faults.found.append("formula.flour_g is missing: percentages are counted on the flour")
    weights = {key: value for key, value in grams.items() if value is not None}
    return Formula(**weights) if "flour_g" in weights else None


def _target(table: Mapping[str, Any], faults: _Faults) -> Target:
    if "target" in table:
        if table["target"] != "peak" or "target_rise_pct" in table:
            faults.found.append('target must be "peak" and stand alone; a rise is given as target_rise_pct = 100')
        return Target(None)
    rise_pct = faults.number(table, "target_rise_pct", "", at_most=LARGEST_RISE_PCT)
    return Target() if rise_pct is None else Target(rise_pct)


def _nodes(table: Mapping[str, Any], faults: _Faults) -> tuple[tuple[Channel, NodeId], ...]:
    faults.unknown(table, tuple(SENSOR_CHANNELS), "nodes.")
    found = []
    for channel in SENSOR_CHANNELS:
        urn = table.get(channel)
        if urn is None:
            continue
        if isinstance(urn, str) and NODE_NAME.fullmatch(urn):
            found.append((channel, NodeId(urn)))
        else:
            faults.found.append(
                f"nodes.{channel} = {_shown(urn)} must be a node's name, like urn:dev:mac:020000fffe5e0001"
            )
    return tuple(found)


def _events(rows: object, faults: _Faults) -> tuple[Event, ...]:
    if not (isinstance(rows, list) and all(isinstance(row, Mapping) for row in rows)):
        faults.found.append(
            f"events = {_shown(rows)} must be tables: a line [[events]] for each, and its keys below it"
        )
        return ()
    events = []
    for number, row in enumerate(rows, start=1):
        prefix = f"events {number}: "
        faults.unknown(row, ("time", "kind", "note"), prefix)
        at = faults.moment(row, "time", prefix)
        kind = faults.choice(row, "kind", prefix, EventKind)
        note = row.get("note", "")
        if not isinstance(note, str):
            faults.found.append(f"{prefix}note = {_shown(note)} must be text")
        elif at is not None and kind is not None:
            events.append(Event(at, kind, note))
    return tuple(sorted(events, key=lambda event: event.at))


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
        "name", "recipe", "stage", "started", "target_rise_pct", "target", "vessel", "formula", "events", "nodes",
        "preheat_min",
    )  # fmt: skip
    faults.unknown(table, known, "")
    name = _name(table, "name", "batch", faults)
    recipe = _name(table, "recipe", "recipe", faults) if "recipe" in table else None
    stage = faults.choice(table, "stage", "", Stage)
    started_at = faults.moment(table, "started", "")
    preheat_min = faults.number(table, "preheat_min", "", at_most=LONGEST_PREHEAT_MIN, can_be_zero=True)
    target = _target(table, faults)
    vessel_table = faults.table(table, "vessel")
    vessel, start_volume_ml = None, None
    if vessel_table is not None:
        vessel = _vessel(vessel_table, faults)
        start_volume_ml = faults.number(vessel_table, "start_volume_ml", "vessel.", at_most=LARGEST_ML)
    elif "vessel" not in table:
        faults.found.append("[vessel] is missing: shape, base_mm and depth_mm at the least")
    formula_table = faults.table(table, "formula")
    formula = None if formula_table is None else _formula(formula_table, faults)
    nodes_table = faults.table(table, "nodes")
    nodes = () if nodes_table is None else _nodes(nodes_table, faults)
    events = _events(table.get("events", []), faults)
    ended = [event.at for event in events if event.kind is EventKind.END]
    if ended and started_at is not None and ended[0] < started_at:
        faults.found.append(f"events: the end at {ended[0]:%Y-%m-%dT%H:%M:%SZ} lies before the batch started")
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
