"""What the store holds as plain points of a time series database. Pure.

A point is known by its measurement, its tags and its moment: the same again is the same point, so what is sent twice is
there once. Tags are few and bounded, however many years go by. Moments are the store's microseconds; two things of one
microsecond are told apart by the nanoseconds, which no clock here knows.
"""

import json
from collections.abc import Mapping
from typing import NamedTuple

from monitor.dough.outlook import Outlook
from monitor.recipe.batch import BatchId
from monitor.store.batches import eye_node
from monitor.store.rows import from_json, maybe_us
from monitor.store.spool import SpoolRow
from monitor.wire.readings import Flag

SLOTS = 20
"""Tags of outlooks: a batch's slot is the rest of its number, so that batches make no tags."""
NS = 1000
HALF_5M_US = 150_000_000
_EYE = eye_node(BatchId(0))[:-1]

Value = bool | int | float | str | None


class Point(NamedTuple):
    """One point, as the client takes it: a field that is None is left out.

    Attributes
    ----------
    time_ns
        Since 1970; None: the server says when it came.
    """

    measurement: str
    tags: Mapping[str, str]
    time_ns: int | None
    fields: Mapping[str, Value]


def point_of(site: str, row: SpoolRow) -> Point:
    """The point of one row; a KeyError, TypeError or ValueError when it is not what its table says."""
    return _POINTS[row.stream](site, row)


def _reading_point(site: str, row: SpoolRow) -> Point:
    """A reading: its value, or its doubtful value and why it is doubted."""
    values, node, seq = row.values, str(row.values["node"]), int(row.values["seq"])
    is_sound = values["flag"] == Flag.OK
    fields: dict[str, Value] = {"value" if is_sound else "doubtful": values["value"], "sd": values["sd"]}
    if not is_sound:
        fields["flag"] = values["flag"]
    if node.startswith(_EYE):  # a "node" of each batch would be a tag of each batch
        node, fields["batch"] = "eye", int(node.removeprefix(_EYE))
    time_ns = values["measured_us"] * NS + seq % NS
    return Point("reading", {"site": site, "node": node, "channel": values["channel"]}, time_ns, fields)


def _five_minutes_point(site: str, row: SpoolRow) -> Point:
    """A five-minute value: the point that a central store makes of the readings themselves."""
    values, flag = row.values, Flag(row.values["flag"])
    fields: dict[str, Value] = {"count" if flag is Flag.OK else "doubtful_count": values["n"]}
    for name, field in (("mean", "mean"), ("min", "least"), ("max", "greatest")):
        fields[name if flag is Flag.OK else f"doubtful_{name}"] = values[field]
    time_ns = (values["middle_us"] - HALF_5M_US) * NS + list(Flag).index(flag)
    return Point("reading_5m", {"site": site, "node": values["node"], "channel": values["channel"]}, time_ns, fields)


def _outlook_point(site: str, row: SpoolRow) -> Point:
    """Rise and forecast of one batch at one moment."""
    values, outlook = row.values, from_json(row.values["body"], Outlook)
    fields: dict[str, Value] = {
        "batch": values["batch_id"],
        "dough": values["dough"],
        "stage": values["stage"],
        "state": outlook.state.value,
        "cause": outlook.cause,
    }
    for each in ("p05", "p50", "p95"):
        if outlook.rise_pct is not None:
            fields[f"rise_{each}_pct"] = float(getattr(outlook.rise_pct, each))
        fields[f"ready_{each}_us"] = maybe_us(getattr(outlook.ready, each))
        fields[f"peak_{each}_us"] = maybe_us(getattr(outlook.peak, each))
    turn, slot = divmod(values["batch_id"], SLOTS)
    return Point("outlook", {"site": site, "slot": str(slot)}, values["at_us"] * NS + turn % NS, fields)


def _alert_point(site: str, row: SpoolRow) -> Point:
    """An alert that has come into another state, and by what or by whom."""
    values = row.values
    fields: dict[str, Value] = {
        "subject": values["subject"],
        "batch": values["batch_id"],
        "dough": values["dough"],
        "episode": values["episode"],
        "phase": values["phase"],
        "reason": json.loads(values["reason"])["code"] if values["reason"] else None,
        "person": values["person"] or None,
    }
    return Point("alert", {"site": site, "kind": values["kind"]}, values["at_us"] * NS + row.number % NS, fields)


_POINTS = {
    "reading": _reading_point,
    "reading_5m": _five_minutes_point,
    "outlook": _outlook_point,
    "alert": _alert_point,
}
