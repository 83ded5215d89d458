"""Reading the tables of a TOML file: numbers, names, moments, vessels and nodes, with every fault told at once."""

import difflib
import re
import unicodedata
from collections.abc import Mapping
from datetime import UTC, date, datetime
from enum import StrEnum
from math import isfinite
from typing import Any, TypeVar

from monitor.errors import FaultsError, hint_for, message_of_error
from monitor.recipe.vessel import Shape, Vessel
from monitor.translatable import N_, Number, Translatable
from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId

Choice = TypeVar("Choice", bound=StrEnum)

# What a file may say. Judgement: far beyond any bakery, so that only slips are caught.
SMALLEST_MM, LARGEST_MM = 10.0, 10_000.0
SENSOR_IN_THE_RIM_MM = 30.0  # judgement: how deep a sensor may hang into a vessel, from a lid that reaches into it
LONGEST_NAME = 100
LATEST_FOLD_MIN = 2880.0
MOST_FOLDS = 20
SENSIBLE_YEARS = range(2000, 2200)

JOINERS = "\u200c\u200d"  # parts of words in Persian and in Indian scripts, and of some emoji

NODE_NAME = re.compile(r"urn:dev:[A-Za-z0-9:._-]{1,120}")  # the characters of RFC 9039 names, without escapes


def shown(value: object) -> str:
    """A value as an error text may show it: whatever was in the file, but not all of it."""
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def finite(value: object) -> float | None:
    """A number as a float, or None for what is no finite number. TOML knows ``true``, ``inf`` and endless integers."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if isfinite(number) else None


class Faults:
    """Collects every fault of one file, so that a baker mends them all in one go.

    Parameters
    ----------
    where
        The file's name, for the error text.
    kind
        What the file is, with its article.
    """

    def __init__(self, where: str, kind: str = Translatable("a batch file")) -> None:
        self.where = where
        self.kind = kind
        self.found: list[str] = []

    def report(self, sentence: str, /, **holes: object) -> None:
        """Add a fault by its source sentence and what fills the holes."""
        self.found.append(Translatable(sentence, **holes))

    def unknown(self, table: Mapping[str, Any], known: tuple[str, ...], prefix: str) -> None:
        for key in table:
            if key not in known:
                self.report(
                    "{prefix}{key} is not a key of {file}; {hint}",
                    prefix=prefix,
                    key=key[:40],
                    file=self.kind,
                    hint=hint_for(key, known),
                )

    def number(
        self,
        table: Mapping[str, Any],
        key: str,
        prefix: str,
        *,
        at_most: float,
        at_least: float | None = None,
        can_be_zero: bool = False,
    ) -> float | None:
        """The number under a key, above 0 (or from ``at_least`` on) up to ``at_most``; None when absent or wrong."""
        if key not in table:
            return None
        number = finite(table[key])
        is_enough = number is not None and (number > 0.0 if at_least is None else number >= at_least)
        if number is not None and ((is_enough and number <= at_most) or (can_be_zero and number == 0.0)):
            return number
        if at_least is not None:
            least: str = Translatable("from {at_least}", at_least=Number(at_least, "g"))
        else:
            least = Translatable("from 0") if can_be_zero else Translatable("above 0")
        self.report(
            "{prefix}{key} = {value} must be a number {least}, at most {at_most}",
            prefix=prefix,
            key=key,
            value=shown(table[key]),
            least=least,
            at_most=Number(at_most, ".0f"),
        )
        return None

    def whole(self, table: Mapping[str, Any], key: str, prefix: str, *, at_most: int) -> int | None:
        """A whole number from 1 on, or None where there is none or a fault."""
        value = table.get(key)
        if value is None or (isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= at_most):
            return value
        self.report(
            "{prefix}{key} = {value} must be a whole number from 1 to {at_most}",
            prefix=prefix,
            key=key,
            value=shown(value),
            at_most=at_most,
        )
        return None

    def moment(self, table: Mapping[str, Any], key: str, prefix: str) -> datetime | None:
        value = table.get(key)
        if isinstance(value, datetime) and value.tzinfo is not None and value.year in SENSIBLE_YEARS:
            return value.astimezone(UTC)
        self.report(
            "{prefix}{key} = {value} must be a date and time with its offset and without quotation "
            "marks, such as 2026-03-02T05:40:00Z, in {year} or later",
            prefix=prefix,
            key=key,
            value=value if isinstance(value, date) else shown(value),
            year=SENSIBLE_YEARS[0],
        )
        return None

    def choice(self, table: Mapping[str, Any], key: str, prefix: str, enum: type[Choice]) -> Choice | None:
        value = table.get(key)
        if isinstance(value, str):
            if value in list(enum):
                return enum(value)
            near = difflib.get_close_matches(value[:40].lower(), list(enum), n=1)
            hint = Translatable("; did you mean {near!r}?", near=str(near[0])) if near else ""
        else:
            hint = ""
        self.report(
            "{prefix}{key} = {value} must be one of: {known}{hint}",
            prefix=prefix,
            key=key,
            value=shown(value),
            known=", ".join(enum),
            hint=hint,
        )
        return None

    def table(self, parent: Mapping[str, Any], key: str) -> Mapping[str, Any] | None:
        """The table under a key; None when it is absent or something else."""
        value = parent.get(key)
        if value is None or isinstance(value, Mapping):
            return value
        self.report(
            "{key} = {value} must be a table: a line [{key}], and its keys below it", key=key, value=shown(value)
        )
        return None

    def rows(self, parent: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
        """The tables under a key, one after the other; empty when there are none or it is something else."""
        rows = parent.get(key, [])
        if isinstance(rows, list) and all(isinstance(row, Mapping) for row in rows):
            return rows
        self.report(
            "{key} = {rows} must be tables: a line [[{key}]] for each, and its keys below it", key=key, rows=shown(rows)
        )
        return []

    def raise_any(self) -> None:
        if self.found:
            raise FaultsError(self.where, tuple(self.found))


def _steers(letter: str) -> bool:
    """True for what is no letter but steers a screen: controls, line ends, marks of direction; not for joiners."""
    return unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") and letter not in JOINERS


def name_of(table: Mapping[str, Any], key: str, what: str, faults: Faults) -> str | None:
    name = table.get(key)
    if not isinstance(name, str) or not name.strip():
        faults.report("{key} = {name} must say what you call this {what}", key=key, name=shown(name), what=what)
        return None
    name = name.strip()
    if len(name) > LONGEST_NAME or any(_steers(letter) for letter in name):
        faults.report(
            "{key} = {name} must be one line of at most {n} characters, without characters that nobody sees",
            key=key,
            name=shown(name),
            n=LONGEST_NAME,
        )
        return None
    return name


def minutes_of(table: Mapping[str, Any], key: str, faults: Faults, prefix: str = "") -> tuple[float, ...]:
    """When a dough is to be folded, earliest first: one number of minutes, or a list of them. [min]"""
    written = table.get(key)
    each = [finite(at) for at in (written if isinstance(written, list) else [written])]
    found = sorted({at for at in each if at is not None and 0.0 < at <= LATEST_FOLD_MIN})
    if found and len(found) == len(each) <= MOST_FOLDS:
        return tuple(found)
    faults.report(
        "{prefix}{key} = {minutes} must be when it is folded, in minutes after the stage begins, such as [30, 60, 90]",
        prefix=prefix,
        key=key,
        minutes=shown(written),
    )
    return ()


def _sides(table: Mapping[str, Any], key: str, faults: Faults) -> tuple[float, float] | None:
    value = table.get(key)
    sides = [finite(side) for side in (value if isinstance(value, list) else [value, value])]
    if len(sides) == 2 and sides[0] is not None and sides[1] is not None:
        if all(SMALLEST_MM <= side <= LARGEST_MM for side in sides if side is not None):
            return (sides[0], sides[1])
        faults.report(
            "vessel.{key} = {value} must be from {smallest_mm} to {largest_mm} mm",
            key=key,
            value=shown(value),
            smallest_mm=Number(SMALLEST_MM, ".0f"),
            largest_mm=Number(LARGEST_MM, ".0f"),
        )
        return None
    faults.report(
        N_("vessel.{key} is missing: an inner diameter in mm, or [length, width] if rectangular")
        if key not in table
        else N_("vessel.{key} = {value} must be an inner diameter in mm, or [length, width] if rectangular"),
        key=key,
        value=shown(value),
    )
    return None


def vessel_of(table: Mapping[str, Any], faults: Faults) -> Vessel | None:
    keys = ("shape", "base_mm", "top_mm", "depth_mm", "sensor_to_base_mm", "sensor_sd_mm", "start_volume_ml")
    faults.unknown(table, keys, "vessel.")
    shape = faults.choice(table, "shape", "vessel.", Shape)
    depth_mm = faults.number(table, "depth_mm", "vessel.", at_least=SMALLEST_MM, at_most=LARGEST_MM)
    if "depth_mm" not in table:
        faults.report("vessel.depth_mm is missing: the inner depth in millimetres")
    sensor_mm = faults.number(table, "sensor_to_base_mm", "vessel.", at_most=LARGEST_MM)
    sensor_sd_mm = faults.number(table, "sensor_sd_mm", "vessel.", at_most=LARGEST_MM, can_be_zero=True)
    base = _sides(table, "base_mm", faults)
    top = _sides(table, "top_mm", faults) if "top_mm" in table else base
    if sensor_mm is not None and depth_mm is not None and sensor_mm < depth_mm - SENSOR_IN_THE_RIM_MM:
        faults.report(
            "vessel.sensor_to_base_mm = {sensor_mm} is less than the depth of {depth_mm} mm: the dough would rise "
            "into the sensor; write the distance that it reads over the empty vessel, and hang it at the rim or above",
            sensor_mm=Number(sensor_mm, "g"),
            depth_mm=Number(depth_mm, "g"),
        )
    if shape is None or depth_mm is None or base is None or top is None:
        return None
    try:
        return Vessel(shape, base, top, depth_mm, sensor_mm, sensor_sd_mm or 0.0)
    except ValueError as err:
        faults.found.append(message_of_error(err))
        return None


def vessel_table(vessel: Vessel) -> dict[str, object]:
    """What :func:`vessel_of` reads, to be written."""
    is_round = vessel.shape is Shape.ROUND
    table: dict[str, object] = {"shape": vessel.shape.value}
    for key, sides in (("base_mm", vessel.base_mm), ("top_mm", vessel.top_mm)):
        table[key] = short_number(sides[0]) if is_round else [short_number(side) for side in sides]
    table["depth_mm"] = short_number(vessel.depth_mm)
    if vessel.sensor_to_base_mm is not None:
        table["sensor_to_base_mm"] = short_number(vessel.sensor_to_base_mm)
    if vessel.sensor_sd_mm > 0.0:
        table["sensor_sd_mm"] = short_number(vessel.sensor_sd_mm)
    return table


def short_number(value: float) -> float | int:
    """A number as a file should show it: a whole one without its fraction.

    >>> short_number(75.0), short_number(62.5)
    (75, 62.5)
    """
    return int(value) if value == int(value) else value


def nodes_of(table: Mapping[str, Any], faults: Faults) -> tuple[tuple[Channel, NodeId], ...]:
    faults.unknown(table, tuple(SENSOR_CHANNELS), "nodes.")
    found = []
    for channel in SENSOR_CHANNELS:
        urn = table.get(channel)
        if urn is None:
            continue
        if isinstance(urn, str) and NODE_NAME.fullmatch(urn):
            found.append((channel, NodeId(urn)))
        else:
            faults.report(
                "nodes.{channel} = {urn} must be a node's name, like urn:dev:mac:020000fffe5e0001",
                channel=channel,
                urn=shown(urn),
            )
    return tuple(found)
