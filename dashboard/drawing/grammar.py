"""Charts in the Vega-Lite grammar as plain values: layers, each of a table, a mark and what of the table it shows.

Written down as the grammar's own words and not by a library of objects, which copies and checks each of them many times
over: that took as long as all the rest of a refresh. The tests hold every chart against the grammar's schema instead.
Each table has a name of its own beside the specification, always the same one, so that a browser which has the chart
already only takes the new rows.
"""

import json
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard.drawing.palette import FONT, Palette

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"  # a name: nobody fetches it

Values = dict[str, Any]
"""A part of a specification, in the grammar's words."""


@dataclass(frozen=True, slots=True)
class Layer:
    """Some rows drawn by one kind of mark."""

    table: pd.DataFrame
    mark: Values
    encoding: Values


@dataclass(frozen=True, slots=True)
class Drawing:
    """Layers over one another on common axes, the first at the bottom.

    Attributes
    ----------
    look
        What belongs to the whole: height, padding, background and the configuration of axes.
    """

    layers: tuple[Layer, ...]
    look: Values

    def spec(self) -> Values:
        """The specification without rows: each layer names its table."""
        names = {id(layer.table): f"table {place}" for place, layer in reversed(list(enumerate(self.layers)))}
        layers = [
            {"data": {"name": names[id(layer.table)]}, "mark": layer.mark, "encoding": layer.encoding}
            for layer in self.layers
        ]
        return {"$schema": SCHEMA, **self.look, "layer": layers}

    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables by the names that the specification has for them."""
        named = zip(self.spec()["layer"], self.layers, strict=True)
        return {drawn["data"]["name"]: layer.table for drawn, layer in named}

    def carrying(self) -> Values:
        """The specification with all rows in it as plain values, for whoever has no other way to hand them over."""
        rows = {name: json.loads(table.to_json(orient="records")) for name, table in self.tables().items()}
        return {**self.spec(), "datasets": rows}


def layer(table: pd.DataFrame, kind: str, look: Values, **encoding: Values) -> Layer:
    """A layer: its rows, the kind of mark and its look, and what it shows by channel (``x``, ``y2``, ``tooltip``).

    Nothing of it is read aloud point by point: a chart's sentence, its text alternative, tells it whole.
    """
    return Layer(table, {"type": kind, "aria": False, **look}, encoding)


def quantity(column: str, scale: Values | None = None, axis: Values | None = None) -> Values:
    """A column of numbers on an axis."""
    return _shown(column, "quantitative", scale, axis)


def time(column: str, scale: Values, axis: Values) -> Values:
    """A column of moments [ms since 1970] on an axis."""
    return _shown(column, "temporal", scale, axis)


def name(column: str, **more: Any) -> Values:
    """A column of words."""
    return {"field": column, "type": "nominal", **more}


def tip(column: str, title: str = " ") -> Values:
    """What a pointer on a mark is told."""
    return name(column, title=title)


def at(value: object) -> Values:
    """A place that follows the picture, not the table: pixels, ``width`` or ``height``."""
    return {"value": value}


def letters(colour: str, size_px: float, **more: Any) -> Values:
    """The look of words on a chart."""
    return {"color": colour, "fontSize": size_px, "font": FONT, "fontWeight": 600, **more}


def finished(layers: list[Layer], palette: Palette, height_px: int) -> Drawing:
    """A chart in the look that all share: height, fonts, hair lines."""
    axis = {
        "labelColor": palette.muted,
        "labelFont": FONT,
        "labelFontSize": 13,
        "gridColor": palette.line,
        "tickColor": palette.line,
        "domainColor": palette.line,
        "labelPadding": 6,
    }
    return Drawing(
        tuple(layers),
        {
            "height": height_px,
            "background": "transparent",
            "padding": {"left": 0, "right": 8, "top": 6, "bottom": 2},
            "config": {"view": {"stroke": None}, "axis": axis},
        },
    )


def _shown(column: str, kind: str, scale: Values | None, axis: Values | None) -> Values:
    shown: Values = {"field": column, "type": kind}
    if scale is not None:
        shown["scale"] = scale
    if axis is not None:
        shown["axis"] = axis
    return shown
