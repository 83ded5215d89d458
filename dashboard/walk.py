"""The walk from the planned proof through each cause to when a dough was ready, and on to when it was taken."""

from dataclasses import dataclass

import altair as alt
import pandas as pd

from dashboard.charts import Layered
from dashboard.theme import FONT, Palette
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


def walk_chart(steps: list[Step], palette: Palette) -> Layered:
    """The bars under one another on one axis of minutes, each named at its left and counted at its right."""
    ends = [step.end_min for step in steps] + [step.start_min for step in steps]
    ends += [edge for step in steps if step.doubt is not None for edge in (step.doubt.p05, step.doubt.p95)]
    low, high = min(0.0, *ends), max(ends)
    scale = alt.Scale(domain=[low, high + SPARE * (high - low)], nice=False, zero=True)
    x = alt.X("start:Q", scale=scale, axis=None)
    y = alt.Y(
        "label:N",
        sort=[step.label for step in steps],
        axis=alt.Axis(
            title=None,
            labelExpr="split(datum.label, '|')",
            labelLimit=LABEL_PX,
            labelColor=palette.ink,
            domain=False,
            ticks=False,
        ),
        scale=alt.Scale(paddingInner=0.42, paddingOuter=0.2),
    )
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
    base = alt.Chart(rows)
    colour = alt.Color("kind:N", scale=alt.Scale(domain=list(colours), range=list(colours.values())), legend=None)
    bars = base.mark_bar().encode(x=x, x2="end:Q", y=y, color=colour)
    doubts = alt.Chart(rows.dropna(subset=["low"])).encode(x=alt.X("low:Q", scale=scale), x2="high:Q", y=y)
    edge = doubts.mark_rule(color=palette.card, strokeWidth=6)  # or a line of ink is lost on a dark kitchen's pale bars
    words = base.mark_text(align="left", dx=7, color=palette.ink, fontSize=14, font=FONT, fontWeight=600)
    drawn: Layered = (
        Layered(
            layer=[
                bars,
                edge,
                doubts.mark_rule(color=palette.ink, strokeWidth=2),
                words.encode(x=alt.X("right:Q", scale=scale), y=y, text="words:N"),
            ]
        )
        .properties(height=ROW_PX * len(steps), background="transparent", padding={"left": 0, "right": 8})
        .configure_view(stroke=None)
        .configure_axis(labelFont=FONT, labelFontSize=14, labelPadding=8, grid=False)
    )
    return drawn
