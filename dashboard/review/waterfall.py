"""The walk from the planned proof through each cause to when a dough was ready, and on to when it was taken."""

from dataclasses import dataclass

import pandas as pd

from dashboard.drawing import grammar
from dashboard.drawing.grammar import Drawing, layer, letters
from dashboard.drawing.palette import FONT, Palette
from monitor.dough.outlook import Band

ROW_PX = 48
LABEL_PX = 150
SPARE = 0.45  # of the longest bar, for the words at its end, on a phone too


@dataclass(frozen=True, slots=True)
class Step:
    """One bar: from and to a number of minutes.

    ``doubt`` is that of its end, in minutes; ``kind`` sets its colour; ``label`` may be broken at a ``|``.
    """

    label: str
    start_min: float
    end_min: float
    words: str
    kind: str  # plan | cause | came | taken
    doubt: Band | None = None


def walk_table(steps: list[Step]) -> pd.DataFrame:
    """The bars in numbers."""
    columns = ("bar", "from_min", "to_min", "to_p05_min", "to_p95_min")
    doubts = [(None, None) if step.doubt is None else (step.doubt.p05, step.doubt.p95) for step in steps]
    rows = [
        (step.label.replace("|", " "), step.start_min, step.end_min, *doubt)
        for step, doubt in zip(steps, doubts, strict=True)
    ]
    return pd.DataFrame(rows, columns=columns).round(1)


def walk_chart(steps: list[Step], palette: Palette) -> Drawing:
    """The bars under one another on one axis of minutes, each named at its left and counted at its right."""
    ends = [step.end_min for step in steps] + [step.start_min for step in steps]
    ends += [edge for step in steps if step.doubt is not None for edge in (step.doubt.p05, step.doubt.p95)]
    low, high = min(0.0, *ends), max(ends)
    scale = {"domain": [low, high + SPARE * (high - low)], "nice": False, "zero": True}
    x = {**grammar.quantity("start", scale), "axis": None}
    names = {
        "title": None, "labelExpr": "split(datum.label, '|')", "labelLimit": LABEL_PX, "labelColor": palette.ink,
        "domain": False, "ticks": False,
    }  # fmt: skip
    rows_apart = {"paddingInner": 0.42, "paddingOuter": 0.2}
    y = grammar.name("label", sort=[step.label for step in steps], axis=names, scale=rows_apart)
    colours = {"plan": palette.crust, "cause": palette.water, "came": palette.sage, "taken": palette.ember}
    rows = pd.DataFrame(
        [
            {
                "label": step.label,
                "start": min(step.start_min, step.end_min),
                "end": max(step.start_min, step.end_min),
                "right": max(step.start_min, step.end_min, *(() if step.doubt is None else (step.doubt.p95,))),
                "words": step.words,
                "kind": step.kind,
                "low": None if step.doubt is None else step.doubt.p05,
                "high": None if step.doubt is None else step.doubt.p95,
            }
            for step in steps
        ]
    )
    colour = grammar.name("kind", scale={"domain": list(colours), "range": list(colours.values())}, legend=None)
    doubtful, low_x, high_x = rows.dropna(subset=["low"]), grammar.quantity("low", scale), {"field": "high"}
    edge = {"color": palette.card, "strokeWidth": 6}  # or a line of ink is lost on a dark kitchen's pale bars
    words = letters(palette.ink, 14, align="left", dx=7)
    return Drawing(
        (
            layer(rows, "bar", {}, x=x, x2={"field": "end"}, y=y, color=colour),
            layer(doubtful, "rule", edge, x=low_x, x2=high_x, y=y),
            layer(doubtful, "rule", {"color": palette.ink, "strokeWidth": 2}, x=low_x, x2=high_x, y=y),
            layer(rows, "text", words, x=grammar.quantity("right", scale), y=y, text=grammar.name("words")),
        ),
        {
            "height": ROW_PX * len(steps),
            "background": "transparent",
            "padding": {"left": 0, "right": 8},
            "config": {
                "view": {"stroke": None},
                "axis": {"labelFont": FONT, "labelFontSize": 14, "labelPadding": 8, "grid": False},
            },
        },
    )
