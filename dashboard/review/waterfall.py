"""The waterfall: from the planned proof through each cause to when a dough was ready, and on to when it was taken."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from dashboard.drawing import grammar
from dashboard.drawing.exports import Figure
from dashboard.drawing.grammar import Drawing, layer, letters
from dashboard.drawing.palette import FONT, Palette
from monitor.dough.causes import Account
from monitor.dough.outlook import Band
from monitor.recipe.batch import Batch
from monitor.translatable import N_
from monitor.wording.reader import Reader
from monitor.wording.review import cause_lines
from monitor.wording.times import duration_text

ROW_PX = 48
LABEL_PX = 150
SPARE = 0.45  # of the longest bar, for the words at its end, on a phone too


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: from and to a number of minutes.

    ``doubt`` is that of its end, in minutes; ``kind`` sets its colour; ``label`` may be broken at a ``|``.
    """

    label: str
    start_min: float
    end_min: float
    words: str
    kind: str  # plan | cause | came | taken
    doubt: Band | None = None


def waterfall_figure(account: Account, batch: Batch, reader: Reader) -> Figure:
    """Where the minutes of a batch went, as it is shown and saved."""
    bars = waterfall_bars(account, batch, reader)
    parts = "; ".join(f"{bar.label.replace('|', ' ')}: {bar.words}" for bar in bars)
    return Figure(
        batch.name,
        reader.say("causes"),
        reader.say("Where the minutes went.") + f" {parts}.",
        lambda: waterfall_table(bars),
        lambda palette: waterfall_chart(bars, palette),
    )


def waterfall_bars(account: Account, batch: Batch, reader: Reader) -> Sequence[Bar]:
    """The plan, each cause from where the one before ended, when it was ready, when it was taken."""
    doubt = account.plan_doubt_min
    label = reader.say(N_("planned") if doubt is None else N_("expected"))
    bars = [Bar(label, 0.0, account.plan_min, duration_text(account.plan_min), "plan", doubt)]
    at = account.plan_min
    for label, worth in cause_lines(account, batch, reader):
        sign = "−" if worth.p50 < 0 else "+"
        doubt = Band(at + worth.p05, at + worth.p50, at + worth.p95)
        bars.append(Bar(label, at, at + worth.p50, f"{sign}{abs(worth.p50):.0f} min", "cause", doubt))
        at += worth.p50
    came = account.peak_min if batch.target.is_peak else account.ready_min
    if came is not None:
        label = reader.say(N_("peak after") if batch.target.is_peak else N_("ready after"))
        bars.append(Bar(label, 0.0, came.p50, duration_text(came.p50), "came", came))
    taken = duration_text(account.taken_min)
    return [*bars, Bar(reader.say("taken after"), 0.0, account.taken_min, taken, "taken")]


def waterfall_table(bars: Sequence[Bar]) -> pd.DataFrame:
    """The bars in numbers."""
    columns = ("bar", "from_min", "to_min", "to_p05_min", "to_p95_min")
    doubts = [(None, None) if bar.doubt is None else (bar.doubt.p05, bar.doubt.p95) for bar in bars]
    rows = [
        (bar.label.replace("|", " "), bar.start_min, bar.end_min, *doubt)
        for bar, doubt in zip(bars, doubts, strict=True)
    ]
    return pd.DataFrame(rows, columns=columns).round(1)


def waterfall_chart(bars: Sequence[Bar], palette: Palette) -> Drawing:
    """The bars under one another on one axis of minutes, each named at its left and counted at its right."""
    ends = [bar.end_min for bar in bars] + [bar.start_min for bar in bars]
    ends += [edge for bar in bars if bar.doubt is not None for edge in (bar.doubt.p05, bar.doubt.p95)]
    low, high = min(0.0, *ends), max(ends)
    scale = {"domain": [low, high + SPARE * (high - low)], "nice": False, "zero": True}
    x = {**grammar.quantity("start", scale), "axis": None}
    names = {
        "title": None, "labelExpr": "split(datum.label, '|')", "labelLimit": LABEL_PX, "labelColor": palette.ink,
        "domain": False, "ticks": False,
    }  # fmt: skip
    rows_apart = {"paddingInner": 0.42, "paddingOuter": 0.2}
    y = grammar.name("label", sort=[bar.label for bar in bars], axis=names, scale=rows_apart)
    colours = {"plan": palette.crust, "cause": palette.water, "came": palette.sage, "taken": palette.ember}
    rows = pd.DataFrame(
        [
            {
                "label": bar.label,
                "start": min(bar.start_min, bar.end_min),
                "end": max(bar.start_min, bar.end_min),
                "right": max(bar.start_min, bar.end_min, *(() if bar.doubt is None else (bar.doubt.p95,))),
                "words": bar.words,
                "kind": bar.kind,
                "low": None if bar.doubt is None else bar.doubt.p05,
                "high": None if bar.doubt is None else bar.doubt.p95,
            }
            for bar in bars
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
            "height": ROW_PX * len(bars),
            "background": "transparent",
            "padding": {"left": 0, "right": 8},
            "config": {
                "view": {"stroke": None},
                "axis": {"labelFont": FONT, "labelFontSize": 14, "labelPadding": 8, "grid": False},
            },
        },
    )
