"""Tables -> chart specifications: pure, in the palette, on the reader's clock, directly labelled instead of keyed."""

import json
from dataclasses import dataclass
from math import ceil, floor, isfinite
from typing import Any

import pandas as pd

from dashboard.drawing import grammar
from dashboard.drawing.grammar import Drawing, Layer, Values, finished, layer, letters, quantity, tip
from dashboard.drawing.palette import Palette
from dashboard.drawing.time_axis import Tick, moment, ticks
from monitor.wording.reader import Reader

AXIS_PX = 54  # room left of every chart, so that charts under one another share their clock
RISE_HEIGHT_PX = 430
AIR_HEIGHT_PX = 130
FORECAST_HEIGHT_PX = 280
SHORT_PX = 520  # in a narrower picture the band says its rise alone; its sentence stands beside the tub
RISE_STEPS_PCT = (5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0)
MOMENTS_ACROSS, MOMENTS_UP = 8, 6  # round moments on an axis, at most about
LABEL_ROOM = 0.16  # of the height of a chart of air, for the name of a line
NAMED_WITHIN = 0.7  # of the clock axis; a name at the end of a line that goes on longer would leave a phone's picture
FLAG_ROOM = 0.2  # of the clock axis, for a flag's words on a phone
FLAG_LIFTS_PX = (11, 34)
FLAG = "M0 0.5L0 -0.9L0.8 -0.6L0 -0.25"  # a small flag on a pole, in units of the mark's size


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment to be marked across a chart, with its words. [ms since 1970]"""

    at: float
    words: str


def rise_chart(
    history: pd.DataFrame,
    fan: pd.DataFrame,
    events: pd.DataFrame,
    palette: Palette,
    reader: Reader,
    *,
    span: tuple[float, float],
    target_pct: float | None,
    edge: str = "",
    ready: tuple[float | None, float | None, float | None] = (None, None, None),
    marks: tuple[Mark, ...] = (),
    other: pd.DataFrame | None = None,
) -> Drawing:
    """Rise with its interval, the forecast as two nested bands, the target, what the baker did, and marked moments.

    The axis shows what was seen, the target and the middle of the forecast; the bands may leave the picture, or far-off
    chances would press the curve flat.

    Parameters
    ----------
    span
        First and last moment of the clock axis. [ms since 1970]
    edge
        Where the dough's edge stands at the wall then, in words.
    ready
        Early, middle and late moment of reaching the target; drawn on the target's line.
    other
        Another forecast, of what is supposed: a second, thinner set of bands over the first.
    """
    top = _rise_top(history, fan, target_pct)
    if other is not None:
        top = max(top, _rise_top(history, other, target_pct))
    bottom = min(0.0, _least(history, "mid"), _least(fan, "p50"))
    if len(events):  # flags stand under the curve
        bottom = min(bottom, -0.17 * top)
    x = _clock_axis(span, reader)
    y = axis_scale(bottom, top)
    percent = side_axis(
        "datum.value + ' %'", values=round_steps(min(0.0, _least(history, "mid")), top, RISE_STEPS_PCT, most=7)
    )
    tooltip = tip("words")
    layers: list[Layer] = []
    if len(fan):
        layers += [
            _area(fan, x, "p05", "p95", y, percent, palette.dough, palette.band, 0.9),
            _area(fan, x, "p25", "p75", y, percent, palette.band, palette.band, 0.75),
            layer(
                fan, "line", {"color": palette.crust, "strokeDash": [5, 4], "strokeWidth": 2},
                x=x, y=quantity("p50", y, percent), tooltip=tooltip,
            ),
        ]  # fmt: skip
    if other is not None and len(other):
        layers += _thin_bands(other, x, y, percent, palette, reader)
    if len(history):
        layers += [
            _area(history, x, "low", "high", y, percent, palette.line, palette.line, 0.9),
            layer(
                history, "line", {"color": palette.ink, "strokeWidth": 3, "strokeCap": "round"},
                x=x, y=quantity("mid", y, percent), tooltip=tooltip,
            ),
        ]  # fmt: skip
    for place, mark in enumerate(marks):
        layers += _moment(mark, span, palette, reader, top_px=2 + 18 * place)
    if target_pct is not None:  # after the moments: its words stand clear of their lines
        layers += _target(target_pct, edge, ready, span, y, x, palette, reader)
    if len(events):
        layers += _flags(events, x, y, palette, span)
    return finished(layers, palette, RISE_HEIGHT_PX)


def air_chart(
    frame: pd.DataFrame,
    colours: dict[str, tuple[str, list[int]]],
    palette: Palette,
    reader: Reader,
    *,
    span: tuple[float, float],
    unit: str,
    least_span: float,
) -> Drawing:
    """Temperatures or humidity on the same clock, one line for each ``what``, named at its end.

    Parameters
    ----------
    colours
        For each ``what`` its colour and dash pattern (an empty one is a full line).
    least_span
        The axis never shows less than this, so that noise does not look like weather.
    """
    x = _clock_axis(span, reader)
    values = frame["value"].dropna()
    low, high = (float(values.min()), float(values.max())) if len(values) else (0.0, least_span)
    spare = max(0.0, least_span - (high - low)) / 2 + 0.06 * max(high - low, least_span)
    y, axis = axis_scale(low - spare, high + spare), measure_axis(unit)
    layers: list[Layer] = []
    ends = spread_ends(frame, list(colours), LABEL_ROOM * (high - low + 2 * spare))
    has_room = len(ends) > 0 and float(ends["at"].max()) < span[0] + NAMED_WITHIN * (span[1] - span[0])
    names: list[Layer] = []  # inside the picture, whose clock would otherwise be shorter than that of the curve
    for what, (colour, dash) in colours.items():
        part = frame[frame["what"] == what]
        if part["value"].notna().sum() == 0:
            continue
        line = {"color": colour, "strokeWidth": 2.2, "strokeDash": dash or [1, 0]}
        layers.append(layer(part, "line", line, x=x, y=quantity("value", y, axis), tooltip=tip("words")))
        end = ends[ends["what"] == what]
        # where the clock leaves room, at the line's end; else at the edge, clear of the lines
        where = x if has_room else grammar.at("width")
        beside = {"align": "left", "dx": 7} if has_room else {"align": "right", "dx": -2}
        for more in ({"color": palette.paper, "stroke": palette.paper, "strokeWidth": 5}, {}):
            words = {**letters(colour, 13, **beside), **more}
            names.append(layer(end, "text", words, x=where, y=quantity("value", y, axis), text=grammar.name("what")))
    return finished([*layers, *names], palette, AIR_HEIGHT_PX)


def axis_scale(low: float, high: float) -> Values:
    """Just from one value to another."""
    return {"domain": [low, high], "nice": False, "zero": False}


def side_axis(words: str, **more: object) -> Values:
    """An axis at the left, labelled by an expression; its room is the same on every chart."""
    return {"title": None, "labelExpr": words, "minExtent": AXIS_PX, "maxExtent": AXIS_PX, "domain": False, **more}


def measure_axis(unit: str) -> Values:
    """The axis of what is measured: few values, each with its unit."""
    return side_axis(f"datum.value + ' {unit}'", tickCount=3)


def spread_ends(frame: pd.DataFrame, names: list[str], room: float) -> pd.DataFrame:
    """Where the names of the lines stand: at their last values, moved apart so that each has ``room``."""
    lasts = frame.dropna(subset=["value"]).sort_values("at").groupby("what").tail(1)
    ends = lasts[lasts["what"].isin(names)].sort_values("value")[["at", "value", "what"]]
    places = [float(value) for value in ends["value"]]
    for k in range(1, len(places)):
        lack = max(0.0, room - (places[k] - places[k - 1]))
        places = [place - lack / 2 for place in places[:k]] + [places[k] + lack / 2] + places[k + 1 :]
    return ends.assign(value=places)


def forecast_chart(
    forecasts: pd.DataFrame, palette: Palette, reader: Reader, *, came: Mark | None, span: tuple[float, float]
) -> Drawing:
    """Every forecast made at the time: when it was said to be ready, against when that was said, and what came."""
    x = _clock_axis(span, reader)
    ends = pd.concat([forecasts["early"], forecasts["late"], forecasts["mid"]]).dropna()
    low, high = (float(ends.min()), float(ends.max())) if len(ends) else span
    if came is not None:
        low, high = min(low, came.at), max(high, came.at)
    spare = max(300_000.0, 0.06 * (high - low))
    y = axis_scale(low - spare, high + spare)
    up = ticks((low - spare, high + spare), reader, MOMENTS_UP)
    axis = side_axis(_tick_words(up, "datum.value"), values=[at for at, _ in up])
    known = forecasts.dropna(subset=["early", "late"])
    area = {"color": palette.dough, "stroke": palette.band, "strokeWidth": 1.2, "opacity": 0.9}
    line = {"color": palette.crust, "strokeWidth": 2.5}
    tooltip = tip("words")
    layers = [
        layer(known, "area", area, x=x, y=quantity("early", y, axis), y2={"field": "late"}, tooltip=tooltip),
        layer(forecasts, "line", line, x=x, y=quantity("mid", y, axis), tooltip=tooltip),
    ]
    if came is not None:
        row = pd.DataFrame([{"at": span[0], "came": came.at, "words": came.words}])
        across = {"color": palette.ember, "strokeWidth": 3}
        words = letters(palette.ember, 16, fontWeight=700, align="right", baseline="bottom", dy=-6)
        layers += [
            layer(row, "rule", across, y=quantity("came", y, axis), tooltip=tooltip),
            layer(row, "text", words, x=grammar.at("width"), y=quantity("came", y, axis), text=grammar.name("words")),
        ]
    return finished(layers, palette, FORECAST_HEIGHT_PX)


def round_steps(low: float, high: float, steps: tuple[float, ...], *, most: int) -> list[float]:
    """Round values between two, ``most`` of them at most, in the finest of the given steps that allows it."""
    step = next((step for step in steps if (high - low) / step <= most), steps[-1])
    return [k * step for k in range(ceil(low / step), floor(high / step) + 1)]


def _moment_of(at_ms: float) -> Values:
    at = moment(at_ms)
    parts = {"year": at.year, "month": at.month, "date": at.day, "hours": at.hour, "minutes": at.minute}
    return {**parts, "seconds": at.second, "utc": True}


def _clock_axis(span: tuple[float, float], reader: Reader) -> Values:
    """Time, running evenly, with the round moments of the reader's clock under it."""
    across = ticks(span, reader, MOMENTS_ACROSS)
    axis = {
        "title": None,
        "values": [_moment_of(at) for at, _ in across],
        "labelExpr": _tick_words(across, "time(datum.value)"),
        "grid": False,
        "labelOverlap": "greedy",
        "labelSeparation": 14,
        "labelFlush": True,
    }
    return grammar.time("at", {"type": "utc", "domain": [_moment_of(at) for at in span], "nice": False}, axis)


def _tick_words(at: list[Tick], value: str) -> str:
    """A Vega expression: the words of a tick by its moment. No browser is asked what its own clock would show."""
    words = {f"{round(tick_ms)}": lines for tick_ms, lines in at}
    return f"({json.dumps(words, ensure_ascii=False)})[{value}]"


def _area(
    frame: pd.DataFrame, x: Values, low: str, high: str, y: Values, axis: Values, colour: str, edge: str, opacity: float
) -> Layer:
    look = {
        "color": colour, "opacity": opacity, "stroke": edge, "strokeWidth": 1, "strokeOpacity": 0.9, "tooltip": None,
        "clip": True,
    }  # fmt: skip
    return layer(frame, "area", look, x=x, y=quantity(low, y, axis), y2={"field": high})


def _thin_bands(fan: pd.DataFrame, x: Values, y: Values, axis: Values, palette: Palette, reader: Reader) -> list[Layer]:
    """A second forecast over the first: outlines instead of areas, another colour, and a name at its end."""
    what_if = reader.say("what if")
    edge = {"color": palette.water, "strokeWidth": 1.3, "clip": True}
    edges = [
        layer(fan, "line", {**edge, "strokeDash": dash}, x=x, y=quantity(column, y, axis))
        for column, dash in (("p05", [2, 3]), ("p25", [1, 0]), ("p75", [1, 0]), ("p95", [2, 3]))
    ]
    middle = {"color": palette.water, "strokeWidth": 2.6, "strokeDash": [8, 4]}
    end = pd.DataFrame([{"at": fan["at"].iloc[-1], "pct": fan["p50"].iloc[-1], "words": what_if}])
    words = letters(palette.water, 14, align="right", baseline="bottom", dy=-7)
    return [
        *edges,
        layer(fan, "line", middle, x=x, y=quantity("p50", y, axis), tooltip=tip("words", what_if)),
        layer(end, "text", words, x=x, y=quantity("pct", y), text=grammar.name("words")),
    ]


def _target(
    target_pct: float,
    edge: str,
    ready: tuple[float | None, float | None, float | None],
    span: tuple[float, float],
    y: Values,
    x: Values,
    palette: Palette,
    reader: Reader,
) -> list[Layer]:
    """The band on the tub, with the stretch in which it will be reached drawn on it."""
    rise = f"{target_pct:.0f}"
    short = reader.say("the band, {rise} %", rise=rise)
    words = reader.say("the band, {rise} %, {edge}", rise=rise, edge=edge) if edge else short
    row = pd.DataFrame([{"at": span[1], "pct": target_pct, "words": words, "short": short}])
    at_level = quantity("pct", y)
    name = letters(palette.ember, 14, align="left", baseline="bottom", dy=-6, dx=4)
    layers = [layer(row, "rule", {"color": palette.ember, "strokeWidth": 3}, y=at_level)]
    early, middle, late = ready
    if early is not None:
        end = span[1] if late is None else min(late, span[1])
        stretch = pd.DataFrame({"at": [early, max(end, early)], "pct": [target_pct] * 2})
        bar = {"color": palette.crust, "strokeWidth": 11, "opacity": 0.9}
        layers.append(layer(stretch, "line", bar, x=x, y=at_level))
    if middle is not None:
        point = pd.DataFrame([{"at": middle, "pct": target_pct}])
        mark = {"orient": "vertical", "color": palette.crust, "thickness": 5, "size": 30, "opacity": 1.0}
        layers.append(layer(point, "tick", mark, x=x, y=at_level))
    for more in ({"color": palette.paper, "stroke": palette.paper, "strokeWidth": 5}, {}):  # clear of the curve
        saying = {"text": {"expr": f"width < {SHORT_PX} ? datum.short : datum.words"}}
        layers.append(layer(row, "text", {**name, **more, **saying}, x=grammar.at(0), y=at_level))
    return layers


def _moment(mark: Mark, span: tuple[float, float], palette: Palette, reader: Reader, *, top_px: int) -> list[Layer]:
    is_late = mark.at > span[0] + 0.7 * (span[1] - span[0])
    row = pd.DataFrame([{"at": mark.at, "words": mark.words}])
    x = _clock_axis(span, reader)
    beside = {"align": "right" if is_late else "left", "baseline": "top", "dx": -7 if is_late else 7}
    return [
        layer(row, "rule", {"color": palette.ink, "strokeWidth": 2}, x=x),
        layer(
            row, "text", letters(palette.ink, 14, **beside),
            x=x, y=grammar.at(top_px), text=grammar.name("words"),
        ),
    ]  # fmt: skip


def _flags(events: pd.DataFrame, x: Values, y: Values, palette: Palette, span: tuple[float, float]) -> list[Layer]:
    """Small flags on the clock axis; close ones stand on a taller pole, and the third of a crowd goes without words."""
    bottom = {"datum": y["domain"][0], "scale": y}
    layers: list[Layer] = []
    for frame, lift_px in zip(_poles(events, FLAG_ROOM * (span[1] - span[0])), FLAG_LIFTS_PX, strict=True):
        if frame.empty:
            continue
        pole = {
            "shape": FLAG, "size": 420, "color": palette.ink, "strokeWidth": 1.6, "filled": False, "opacity": 1.0,
            "yOffset": -lift_px,
        }  # fmt: skip
        words = letters(palette.muted, 12.5, fontWeight="normal", align="left", dx=14, dy=-5, yOffset=-lift_px)
        layers.append(layer(frame, "point", pole, x=x, y=bottom, tooltip=tip("words")))
        layers.append(layer(frame, "text", words, x=x, y=bottom, text=grammar.name("what"), tooltip=tip("words")))
    return layers


def _poles(events: pd.DataFrame, room_ms: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The events on low and on high poles, so that words stand clear of each other."""
    ends = [float("-inf"), float("-inf")]
    rows: tuple[list[Any], list[Any]] = ([], [])
    for at, what, words in events.sort_values("at").itertuples(index=False):
        row = next((k for k in (0, 1) if at - ends[k] >= room_ms), None)
        if row is not None:
            ends[row] = at
        rows[row or 0].append((at, what if row is not None else "", words))
    low, high = (pd.DataFrame(part, columns=["at", "what", "words"]) for part in rows)
    return low, high


def _rise_top(history: pd.DataFrame, fan: pd.DataFrame, target_pct: float | None) -> float:
    tops = [20.0, _most(history, "mid"), _most(fan, "p50"), 0.0 if target_pct is None else target_pct]
    return ceil(max(tops) * 0.114) * 10.0  # in whole tens, so that the axis does not creep


def _most(frame: pd.DataFrame, column: str) -> float:
    value = float(frame[column].max()) if len(frame) else 0.0
    return value if isfinite(value) else 0.0


def _least(frame: pd.DataFrame, column: str) -> float:
    value = float(frame[column].min()) if len(frame) else 0.0
    return value if isfinite(value) else 0.0
