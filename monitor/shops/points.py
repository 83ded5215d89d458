"""Rows of the store as points of a time series database, and back. Pure.

A point is known by its measurement, its tags and its moment: the same again is the same point, so what is sent twice is
there once. Tags are few and bounded, however many years go by: the site, of readings the node and the channel, of
everything else one of ``SLOTS`` drawers. What must be told apart within one microsecond is so by the nanoseconds, which
no clock here knows.

A table of the store is a measurement of the same name. A row stands in it whole, as JSON in the field ``row``, and may
change: it is overwritten in place. A few of its columns stand beside it as fields, for other programs to query.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zlib import crc32

from monitor.dough.outlook import Outlook
from monitor.recipe.batch import BatchId
from monitor.store.readings import eye_node
from monitor.store.rows import from_json, maybe_us
from monitor.store.schema import outlook_of_codes
from monitor.store.spool import SpoolRow
from monitor.wire.readings import Flag

SLOTS = 20
"""Drawers: with the nanoseconds 20,000 rows of one table and one microsecond are told apart."""
NS = 1000
ZERO_US = 946_684_800_000_000  # 2000-01-01: before every batch; rows without a moment that stays stand after it
LONGEST_TEXT = 60_000  # InfluxDB's documents name 64 KB (from memory); 1.6.7 took 2 MB when tried
FAN_POINTS = 24  # judgement: a fan is drawn by fewer; a store's own has some ninety
_MOMENTS: Mapping[str, str] = {
    "batch": "started_us", "event": "at_us", "alert_change": "at_us", "outbox": "created_us", "call": "at_us",
    "calibration": "at_us", "plan": "made_us", "plan_done": "at_us", "mix": "at_us", "node": "first_seen_us",
    "fault": "first_us",
}  # fmt: skip
"""Columns that never change, by which a row stands where it belongs; other rows stand by their number."""
_SHOWN: Mapping[str, Sequence[str]] = {
    "batch": ("id", "name", "stage", "recipe", "ended_us"),
    "event": ("kind", "note"),
    "alert": ("subject", "kind", "episode", "fired_us", "returned_us"),
    "alert_change": ("subject", "kind", "episode", "phase", "reason"),
    "outbox": ("kind", "title", "text"),
    "node": ("node", "last_seen_us"),
    "fault": ("source", "node", "reason", "count"),
}
"""Columns that are fields as well: never empty, or never empty again."""


@dataclass(frozen=True, slots=True)
class Point:
    """One point: a field that is None is left out."""

    measurement: str
    tags: Mapping[str, str]
    time_ns: int
    fields: Mapping[str, int | float | str | None]


_EYE = eye_node(BatchId(0))[:-1]
_EYE_TAG = "eye"


def time_ns(row: SpoolRow) -> int:
    """The moment of a row's point, of which no two rows with the same tags have the same. [ns since 1970]"""
    values = row.values
    if row.table == "reading":
        # consecutive packs of one boot never share a nanosecond, those of two boots once in a thousand times
        boot = crc32(f"{values['node']} {values['boot']}".encode())
        return int(values["measured_us"]) * NS + int(values["seq"] + boot) % NS
    if row.table == "outlook":
        return int(values["at_us"]) * NS + int(values["batch_id"]) // SLOTS % NS
    moment = _MOMENTS.get(row.table)
    if moment is None:
        return (ZERO_US + row.number) * NS
    return int(values[moment]) * NS + row.number // SLOTS % NS


def point_of(site: str, row: SpoolRow) -> Point:
    """The point of a row."""
    if row.table == "reading":
        return _reading_point(site, row)
    if row.table == "outlook":
        return _outlook_point(site, row)
    shown = {name: row.values[name] for name in _SHOWN.get(row.table, ())}
    text = json.dumps(row.values, ensure_ascii=False, separators=(",", ":"))
    fields = {**shown, **_batch_fields(row), **_text_fields("row", text)}
    return Point(row.table, {"site": site, "slot": str(row.number % SLOTS)}, time_ns(row), fields)


def _reading_point(site: str, row: SpoolRow) -> Point:
    """A reading: its value, or its doubtful value if it is flagged, and where it comes from in one text.

    Every field costs its own column of moments there: with five fields a reading takes twice the room.
    """
    values, node = row.values, row.values["node"]
    is_sound = values["flag"] == Flag.OK
    origin = f"{values['boot']} {values['seq']} {values['arrived_us'] - values['measured_us']}"
    fields = {
        "value" if is_sound else "doubtful": values["value"],
        "sd": values["sd"],
        "origin": origin if is_sound else f"{origin} {values['flag']}",
    }
    if node.startswith(_EYE):  # a "node" of each batch would be a tag of each batch
        node, fields["eye_batch"] = _EYE_TAG, int(node.removeprefix(_EYE))
    return Point("reading", {"site": site, "node": node, "channel": values["channel"]}, time_ns(row), fields)


def _outlook_point(site: str, row: SpoolRow) -> Point:
    """Rise and forecast of one batch at one moment; its fan has ``FAN_POINTS`` points at most."""
    outlook = from_json(row.values["body"], Outlook)
    fields: dict[str, int | float | str | None] = {"state": outlook.state.value}
    if outlook.rise_pct is not None:
        rise = outlook.rise_pct
        fields |= {"rise_p05_pct": float(rise.p05), "rise_p50_pct": float(rise.p50), "rise_p95_pct": float(rise.p95)}
    for what, when in (("ready", outlook.ready), ("peak", outlook.peak)):
        for name, at in (("p05", when.p05), ("p50", when.p50), ("p95", when.p95)):
            fields[f"{what}_{name}_us"] = maybe_us(at)
    fields |= {**_batch_fields(row), "body": row.values["body"], **_text_fields("fan", thinned(row.values["fan"]))}
    slot = str(row.values["batch_id"] % SLOTS)
    return Point("outlook", {"site": site, "slot": slot}, time_ns(row), fields)


def thinned(fan: str) -> str:
    """A fan of at most ``FAN_POINTS`` points, its first and its last among them; as JSON."""
    points = json.loads(fan)
    if len(points) <= FAN_POINTS:
        return fan
    step = (len(points) - 1) / (FAN_POINTS - 1)
    return json.dumps([points[round(step * k)] for k in range(FAN_POINTS)], separators=(",", ":"))


def delivery_point(site: str, measurement: str, clock_ns: int, span_ns: tuple[int, int], n: int) -> Point:
    """Tells readers that points of a measurement came, between which moments."""
    fields: dict[str, int | str] = {"measurement": measurement, "from_ns": span_ns[0], "to_ns": span_ns[1], "points": n}
    return Point("delivery", {"site": site}, clock_ns, fields)


def _batch_fields(row: SpoolRow) -> dict[str, int | None]:
    batch_id = row.values.get("batch_id")
    return {} if batch_id is None else {"batch": batch_id, "begun_us": row.begun_us}


def _text_fields(name: str, text: str) -> dict[str, int | str]:
    """A text as so many fields as it needs; their number says which of them are of today."""
    data = text.encode()
    fields: dict[str, int | str] = {}
    start = 0
    while start < len(data):
        end = min(start + LONGEST_TEXT, len(data))
        while end < len(data) and data[end] & 0xC0 == 0x80:  # not within a character
            end -= 1
        fields[_part(name, len(fields) + 1)] = data[start:end].decode()
        start = end
    return {**fields, f"{name}_parts": len(fields)}


def _part(name: str, number: int) -> str:
    return name if number == 1 else f"{name}_{number}"


# -- and back ---------------------------------------------------------------------------------------------------------

Values = Mapping[str, Any]
"""One point as it is read back: fields and tags by name, ``time`` in nanoseconds."""


def reading_values(point: Values) -> dict[str, Any]:
    """The columns of a reading's row."""
    node = point["node"] if point["node"] != _EYE_TAG else f"{_EYE}{point['eye_batch']}"
    boot, seq, late_us, *flag = point["origin"].split(" ", 3)
    measured_us = point["time"] // NS
    return {
        "node": node,
        "boot": boot,
        "seq": int(seq),
        "channel": point["channel"],
        "value": _float(point.get("doubtful") if flag else point.get("value")),
        "sd": _float(point.get("sd")),
        "measured_us": measured_us,
        "arrived_us": measured_us + int(late_us),
        "flag": flag[0] if flag else Flag.OK.value,
    }


def outlook_values(point: Values) -> dict[str, Any]:
    """The columns of an outlook's row, its fan thinned."""
    return {
        "batch_id": point["batch"],
        "at_us": point["time"] // NS,
        "body": outlook_of_codes(point["body"]),
        "fan": _text(point, "fan"),
    }


def row_values(point: Values) -> dict[str, Any]:
    """The columns of any other row.

    Raises
    ------
    ValueError
        When it is no row.
    """
    values = json.loads(_text(point, "row"))
    if not isinstance(values, dict):
        raise ValueError("no row of a table")
    return values


def _text(point: Values, name: str) -> str:
    return "".join(point[_part(name, number)] for number in range(1, point[f"{name}_parts"] + 1))


def _float(value: float | None) -> float | None:
    return None if value is None else float(value)
