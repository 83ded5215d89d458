"""Tables of batches beside each other -> chart specifications, with the axes and the look of the other charts: pure."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from dashboard.compare.trend import DAY_MS
from dashboard.drawing import grammar
from dashboard.drawing.charts import RISE_HEIGHT_PX, RISE_STEPS_PCT, axis_scale, measure_axis, round_steps, side_axis
from dashboard.drawing.grammar import Drawing, Layer, Values, finished, layer, letters, quantity, tip
from dashboard.drawing.palette import Palette

Day = Callable[[float], str]

HOUR_STEPS = (0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0)
MINUTE_STEPS = (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 240.0, 480.0)
HOURS_AND_MINUTES = "floor(datum.value) + ':' + format(round(60 * (datum.value - floor(datum.value))), '02')"
NAME_ROOM = 0.17  # of the axis of hours, for the name at a curve's end on a phone
LABEL_ROOM = 0.046  # of the height, for one name
TREND_HEIGHT_PX = 240
WARMTH_HEIGHT_PX = 110
RESULTS_HEIGHT_PX = 220
LEAST_DEGREES = 3.0
ROOMY = 16  # bars that are wide enough on a phone


@dataclass(frozen=True, slots=True)
class LineStyle:
    """How one curve is told from the others: the palette's colour by name, dashes and width in pixels."""

    colour: str
    dash: tuple[int, ...]
    width_px: float


STYLES = (
    LineStyle("ink", (), 4.0),  # the newest
    LineStyle("crust", (12, 4), 2.4),
    LineStyle("water", (5, 4), 2.4),
    LineStyle("sage", (12, 4, 2, 4), 2.4),
    LineStyle("ember", (2, 3), 2.6),
    LineStyle("muted", (16, 3, 4, 3, 4, 3), 2.2),
)
"""No two of one colour or of one dash; the lines of a chart take them in turn."""


def overlay_chart(
    curves: pd.DataFrame,
    ready: pd.DataFrame,
    names: Sequence[str],
    palette: Palette,
    *,
    target_pct: float | None,
    target: str = "",
) -> Drawing:
    """Curves from a common start, each named at its end, with a dot where it was ready; the first is drawn over all.

    Parameters
    ----------
    curves, ready
        ``hours value what`` of the curves and of where each was ready. [h, %]
    names
        What the lines are called, in the order of their styles; a name without a curve keeps its style for itself.
    target_pct
        The band, where all waited for the same. [%]
    target
        What the band is called.
    """
    last_h = float(curves["hours"].max())
    top = max(20.0, float(curves["value"].max()) * 1.12, 0.0 if target_pct is None else target_pct * 1.08)
    bottom = min(0.0, float(curves["value"].min()))
    percent = side_axis("datum.value + ' %'", values=round_steps(bottom, top, RISE_STEPS_PCT, most=7))
    x = _hours_axis(last_h)
    y = quantity("value", axis_scale(bottom, top), percent)
    layers: list[Layer] = []
    if target_pct is not None:
        row = pd.DataFrame([{"value": target_pct, "words": target}])
        layers.append(layer(row, "rule", {"color": palette.ember, "strokeWidth": 2}, y=y))
        layers.append(_text(row, "words", palette.ember, dx=4, dy=-6)(x=grammar.at(0), y=y))
    over: list[Layer] = []  # names stand over all lines
    ends = _name_places(curves, NAME_ROOM * last_h, LABEL_ROOM * (top - bottom))
    for name, style in reversed(list(zip(names, STYLES, strict=False))):
        colour = getattr(palette, style.colour)
        line, dot, end = (frame[frame["what"] == name] for frame in (curves, ready, ends))
        if line.empty:
            continue
        stroke = {
            "color": colour, "strokeWidth": style.width_px, "strokeDash": list(style.dash) or [1, 0],
            "strokeCap": "butt",
        }  # fmt: skip
        layers.append(layer(line, "line", stroke, x=x, y=y, tooltip=tip("what")))
        if len(dot):
            ring = _point(colour, palette.paper, size=110, strokeWidth=2.5)
            layers.append(layer(dot, "point", {**ring, "filled": True}, x=x, y=y, tooltip=tip("what", "ready")))
        weight = 700 if style is STYLES[0] else 600
        over += [
            _text(end, "what", palette.paper, dx=7, stroke=palette.paper, strokeWidth=4)(x=x, y=y),
            _text(end, "what", colour, dx=7, fontWeight=weight)(x=x, y=y),
        ]
    return finished([*layers, *over], palette, RISE_HEIGHT_PX)


def trend_chart(
    rows: pd.DataFrame,
    names: Mapping[str, str],
    lines: pd.DataFrame,
    marks: pd.DataFrame,
    palette: Palette,
    *,
    day: Day,
) -> Drawing:
    """Hours to ready against the date, and a line where a trend may be claimed.

    Parameters
    ----------
    rows
        ``at`` and a column of hours for each of ``names``. [ms of the calendar, h]
    names
        ``hours`` and perhaps ``even``, with what each is called.
    lines
        ``at value what`` of the ends of claimed trends.
    marks
        ``at words`` of what changed.
    day
        What a moment of the calendar is called on the axis.
    """
    known = rows[list(names)].to_numpy(dtype=np.float64)
    low, high = float(np.nanmin(known)), float(np.nanmax(known))
    spare = max(0.25, 0.18 * (high - low))
    low, high = max(0.0, low - spare), high + 2.2 * spare  # names stand at the top
    steps = round_steps(low, high, HOUR_STEPS, most=5)
    y = quantity("value", axis_scale(low, high), side_axis(HOURS_AND_MINUTES, values=steps))
    x = _date_axis(rows, day)
    layers = _changes(marks, x, palette)
    looks = {"hours": (palette.ink, "circle", palette.ink), "even": (palette.water, "diamond", palette.paper)}
    for place, (column, name) in enumerate(names.items()):
        colour, shape, fill = looks[column]
        points = rows[["at", column]].rename(columns={column: "value"}).dropna()
        line = lines[lines["what"] == column]
        if len(line):
            stroke = {"color": colour, "strokeWidth": 2, "strokeDash": [1, 0] if column == "hours" else [7, 4]}
            layers.append(layer(line, "line", stroke, x=x, y=y))
        dot = _point(colour, fill, shape=shape, strokeWidth=2, size=90, opacity=1.0)
        layers.append(layer(points.assign(words=name), "point", dot, x=x, y=y, tooltip=tip("words")))
        row = pd.DataFrame([{"words": name}])
        top = grammar.at(8 + 18 * place)
        key = {**dot, "size": 70}
        layers += [
            layer(row, "point", key, x=grammar.at(9), y=top),
            _text(row, "words", colour)(x=grammar.at(19), y=top),
        ]
    return finished(layers, palette, TREND_HEIGHT_PX)


def warmth_chart(rows: pd.DataFrame, name: str, unit: str, palette: Palette, *, day: Day) -> Drawing:
    """Mean temperature of each dough on the dates of the chart above: ``at value``. [ms of the calendar, ``unit``]"""
    low, high = float(rows["value"].min()), float(rows["value"].max())
    spare = max(0.0, LEAST_DEGREES - (high - low)) / 2 + 0.12 * max(high - low, LEAST_DEGREES)
    scale = axis_scale(low - spare, high + 2.5 * spare)  # the name stands at the top
    x, y = _date_axis(rows, day), quantity("value", scale, measure_axis(unit))
    known = rows.dropna()
    line = {"color": palette.crust, "strokeWidth": 1.2, "strokeDash": [2, 3]}
    dot = {"color": palette.crust, "filled": True, "size": 60, "opacity": 1.0}
    label = _text(pd.DataFrame([{"words": name}]), "words", palette.crust)
    layers = [
        layer(known, "line", line, x=x, y=y),
        layer(known, "point", dot, x=x, y=y),
        label(x=grammar.at(4), y=grammar.at(6)),
    ]
    return finished(layers, palette, WARMTH_HEIGHT_PX)


def forecast_results_chart(rows: pd.DataFrame, came: str, palette: Palette) -> Drawing:
    """What was said of each batch, as minutes before and after the moment it was ready, which is the line across.

    ``what early mid late is_inside``, the first first. [min]  A bar that does not reach the line missed it: it is
    of another colour, hollow, and has a cross on the line.
    """
    ends = pd.concat([rows["early"], rows["late"], pd.Series([0.0])])
    low, high = float(ends.min()), float(ends.max())
    spare = max(5.0, 0.1 * (high - low))
    low, high = low - spare, high + 2.2 * spare  # what the line is stands at the top
    scale = axis_scale(low, high)
    steps = round_steps(low, high, MINUTE_STEPS, most=6)
    axis = side_axis("(datum.value > 0 ? '+' : '') + datum.value", values=steps)
    across = {
        "title": None, "labelAngle": 0, "labelOverlap": "greedy", "labelSeparation": 10, "grid": False,
        "domain": False,
    }  # fmt: skip
    x = grammar.name("what", sort=list(rows["what"]), axis=across)
    y, late, tooltip = quantity("early", scale, axis), {"field": "late"}, tip("what")
    inside, missed = rows[rows["is_inside"]], rows[~rows["is_inside"]]
    wide_px = 13.0 if len(rows) <= ROOMY else 6.0
    line = pd.DataFrame([{"early": 0.0, "words": came}])
    bar = {"size": wide_px, "cornerRadius": 3, "strokeWidth": 2.0}
    hit = {**bar, "color": palette.dough, "stroke": palette.crust}
    miss = {**bar, "color": palette.paper, "stroke": palette.ember, "strokeDash": [4, 3]}
    middle = {"color": palette.ink, "thickness": 2.5, "size": wide_px, "opacity": 1.0}
    cross = {"shape": "cross", "angle": 45, "color": palette.ember, "filled": True, "size": 120, "opacity": 1.0}
    layers = [
        layer(inside, "bar", hit, x=x, y=y, y2=late, tooltip=tooltip),
        layer(missed, "bar", miss, x=x, y=y, y2=late, tooltip=tooltip),
        layer(rows.dropna(subset=["mid"]), "tick", middle, x=x, y=quantity("mid", scale, axis), tooltip=tooltip),
        layer(line, "rule", {"color": palette.ink, "strokeWidth": 2}, y=y),
        layer(missed.assign(early=0.0), "point", cross, x=x, y=y, tooltip=tooltip),
        _text(line, "words", palette.ink)(x=grammar.at(4), y=grammar.at(6)),
    ]
    return finished(layers, palette, RESULTS_HEIGHT_PX)


def _name_places(curves: pd.DataFrame, room_h: float, room: float) -> pd.DataFrame:
    """Where the names stand: at the ends of their curves, or below a name that would be in the way."""
    ends = curves.groupby("what").tail(1).sort_values("value", ascending=False)
    placed: list[tuple[float, float]] = []
    for at_h, value in zip(ends["hours"], ends["value"], strict=True):
        above = [other for other_h, other in placed if abs(other_h - at_h) < room_h]
        placed.append((float(at_h), min([float(value), *(other - room for other in above)])))
    return ends.assign(value=[value for _, value in placed])


def _text(frame: pd.DataFrame, column: str, colour: str, **more: Any) -> Callable[..., Layer]:
    """Words of a column, to be put at an ``x`` and a ``y``."""
    look = letters(colour, 13.5, **{"align": "left", **more})
    return partial(layer, frame, "text", look, text=grammar.name(column))


def _point(colour: str, fill: str, **more: Any) -> Values:
    return {"color": colour, "fill": fill, "stroke": colour, **more}


def _hours_axis(last_h: float) -> Values:
    values = round_steps(0.0, last_h, HOUR_STEPS, most=6)
    axis = {"title": None, "labelExpr": HOURS_AND_MINUTES, "values": values, "grid": False, "labelOverlap": "greedy"}
    return quantity("hours", {"domain": [0.0, last_h * (1 + NAME_ROOM)], "nice": False}, axis)


def _date_axis(rows: pd.DataFrame, day: Day) -> Values:
    first, last = float(rows["at"].min()), float(rows["at"].max())
    spare = max(DAY_MS / 2, 0.04 * (last - first))
    days = [DAY_MS * days for days in (1, 2, 7, 14, 28, 56, 91, 182, 364)]
    values = round_steps(first - spare, last + spare, tuple(days), most=6)
    words = json.dumps({str(round(at)): day(at) for at in values})
    axis = {
        "title": None, "labelExpr": f"{words}[datum.value]", "values": values, "grid": False, "labelOverlap": "greedy"
    }  # fmt: skip
    return quantity("at", {"domain": [first - spare, last + spare], "nice": False}, axis)


def _changes(marks: pd.DataFrame, x: Values, palette: Palette) -> list[Layer]:
    """Where something changed: a dashed line down, its words at the foot, in turns on two heights."""
    if marks.empty:
        return []
    layers = [layer(marks, "rule", {"color": palette.muted, "strokeWidth": 1.5, "strokeDash": [3, 3]}, x=x)]
    for turn in (0, 1):
        part = marks.iloc[turn::2]
        if len(part):
            words = _text(part, "words", palette.muted, dx=5, dy=-9 - 17 * turn, fontSize=12.5)
            layers.append(words(x=x, y=grammar.at("height")))
    return layers
