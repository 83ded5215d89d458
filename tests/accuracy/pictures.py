"""Two pictures of a run: how far off the forecasts were, for a baker; whether they are honest, for a statistician."""

from collections.abc import Iterator
from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd
from accuracy.figures import figures_of, horizon_share, scored
from accuracy.judging import CHECKPOINTS, LEVELS, PEAK, READY, Judged, Run
from accuracy.tables import LEAST
from PIL import Image

BROWN, SAND, GREY = "#7a2e0e", "#d9b48f", "#9aa5b1"
COLOURS = ("#7a2e0e", "#3d7ea6", "#6a994e", "#b08cc2", "#c8963e")
TOLD = {
    "start": "ten minutes after the start",
    **{f"{READY} {share}": f"at {share} of the rise wanted" for share in ("25%", "50%", "75%")},
    **{f"{PEAK} {share}": f"at {share} of the time to the peak" for share in ("35%", "50%", "75%")},
}
MOST_MIN = 120.0  # farther off is drawn there
SURE_90 = 1.645  # standard normal quantile of a 90 % interval
SIDE, WIDE = 190, 560
QUANTILES = {"low": 0.05, "half_low": 0.25, "middle": 0.5, "half_high": 0.75, "high": 0.95}
FORMATS = ("png", "svg")
COLOURS_KEPT = 64  # a tenth of the size


def draw(run: Run, folder: Path) -> list[Path]:
    """Draw both into a folder, each as PNG and SVG; their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, chart in (("how-far-off", baker_chart(run)), ("how-honest", statistician_chart(run))):
        for suffix in FORMATS:
            path = folder / f"{name}.{suffix}"
            chart.save(str(path))
            written.append(path)
        with Image.open(folder / f"{name}.png") as picture:
            few = picture.convert("RGB").quantize(COLOURS_KEPT)
        few.save(folder / f"{name}.png", optimize=True)
    return written


def _of(run: Run, checkpoint: str) -> list[Judged]:
    return [row for row in run.judged if row.checkpoint == checkpoint and row.truth_s is not None]


def baker_chart(run: Run) -> alt.Chart:
    """By how many minutes doughs came before or after what had been said: the middle half and nine in ten."""
    rows = []
    for checkpoint in CHECKPOINTS:
        found = scored(_of(run, checkpoint))
        if found is None:
            continue
        off = np.quantile(found.truth_min - found.quantile(0.5), list(QUANTILES.values()))
        rows.append(
            {
                "when": f"{TOLD[checkpoint]} ({found.truth_min.size})",
                **dict(
                    zip(
                        ("low", "half_low", "middle", "half_high", "high"),
                        np.clip(off, -MOST_MIN, MOST_MIN),
                        strict=True,
                    )
                ),
            }
        )
    table = pd.DataFrame(rows)
    y = alt.Y("when:N", sort=None, title=None, axis=alt.Axis(labelLimit=260))
    scale = alt.Scale(domain=[-MOST_MIN, MOST_MIN])
    title = "minutes by which the dough came sooner (left) or later (right) than said"
    base = alt.Chart(table)
    most = base.mark_bar(color=SAND, height=16).encode(alt.X("low:Q", title=title, scale=scale), alt.X2("high:Q"), y)
    half = base.mark_bar(color=BROWN, height=16).encode(alt.X("half_low:Q"), alt.X2("half_high:Q"), y)
    middle = base.mark_tick(color="white", thickness=2, size=16).encode(alt.X("middle:Q"), y)
    zero = alt.Chart(pd.DataFrame({"x": [0.0]})).mark_rule(color="#3b342c").encode(alt.X("x:Q"))
    found: alt.Chart = (
        alt.layer(most, half, middle, zero)
        .properties(
            width=WIDE,
            height=34 * len(rows),
            title=alt.TitleParams(
                "How far off the forecast was",
                subtitle=[
                    "Half of all doughs came within the dark bar, nine in ten within the light one; white: the middle.",
                    f"What was more than {MOST_MIN / 60.0:.0f} hours off is drawn at the edge. In brackets: how many.",
                ],
                anchor="start",
            ),
        )
        .configure_view(stroke=None)
    )
    return found


def _pit_chart(run: Run, checkpoint: str) -> alt.LayerChart | None:
    found = scored(_of(run, checkpoint))
    if found is None or found.truth_min.size < LEAST:
        return None
    edges = np.array([0.0, *LEVELS, 1.0])
    n, widths = found.truth_min.size, np.diff(edges)
    sure = SURE_90 * np.sqrt((1.0 - widths) / (widths * n))
    table = pd.DataFrame(
        {
            "low": edges[:-1],
            "high": edges[1:],
            "density": found.pit,
            "zero": 0.0,
            "least": np.maximum(1.0 - sure, 0.0),
            "most": 1.0 + sure,
        }
    )
    x, x2 = alt.X("low:Q", title="place of the truth in its forecast", scale=alt.Scale(domain=[0, 1])), alt.X2("high:Q")
    y = alt.Scale(domain=[0, 3.2])
    bars = alt.Chart(table).mark_rect(color=SAND, stroke="white", clip=True).encode(
        x, x2, alt.Y("density:Q", title="share over the right one", scale=y), alt.Y2("zero:Q")
    )  # fmt: skip
    band = alt.Chart(table).mark_rect(color=GREY, opacity=0.35, clip=True).encode(
        x, x2, alt.Y("least:Q", scale=y), alt.Y2("most:Q")
    )  # fmt: skip
    one = alt.Chart(pd.DataFrame({"y": [1.0]})).mark_rule(color=BROWN).encode(alt.Y("y:Q", scale=y))
    chart: alt.LayerChart = alt.layer(bars, band, one).properties(width=SIDE, height=130, title=f"{checkpoint} (n {n})")
    return chart


def _coverage_rows(run: Run, grouping: str) -> Iterator[dict[str, object]]:
    for checkpoint in CHECKPOINTS:
        members: dict[str, list[Judged]] = {}
        for row in _of(run, checkpoint):
            members.setdefault(row.labels[grouping], []).append(row)
        for group, rows in members.items():
            if len(rows) >= LEAST:
                covered = figures_of(rows)["covers_90"]
                yield {
                    "checkpoint": checkpoint,
                    "group": group,
                    "covers": 100.0 * covered.value,
                    "low": max(0.0, 100.0 * (covered.value - SURE_90 * covered.sd)),
                    "high": min(100.0, 100.0 * (covered.value + SURE_90 * covered.sd)),
                }


def _coverage_chart(run: Run, grouping: str, title: str) -> alt.FacetChart:
    table = pd.DataFrame(_coverage_rows(run, grouping))
    y = alt.Y("group:N", title=None, axis=alt.Axis(labelLimit=140))
    scale = alt.Scale(domain=[0, 100])
    base = alt.Chart(table)
    aim = base.mark_rule(color=GREY, strokeDash=[4, 3]).encode(x=alt.datum(90.0))
    lines = base.mark_rule(color=BROWN).encode(alt.X("low:Q", title="covered %", scale=scale), alt.X2("high:Q"), y)
    dots = base.mark_point(color=BROWN, filled=True, size=40).encode(alt.X("covers:Q", scale=scale), y)
    chart: alt.FacetChart = (
        alt.layer(aim, lines, dots)
        .properties(width=SIDE / 2, height=alt.Step(16))
        .facet(column=alt.Column("checkpoint:N", sort=list(CHECKPOINTS), title=title))
    )
    return chart


def _horizon_chart(run: Run) -> alt.Chart:
    rows = [
        {"simulator": course.labels["simulator"], "horizon": 100.0 * share}
        for course in run.courses
        if (share := horizon_share(course)) is not None
    ]
    table = pd.DataFrame(rows, columns=["simulator", "horizon"]).sort_values("horizon")
    table["share"] = 100.0 * (1.0 - table.groupby("simulator")["horizon"].rank(method="first", pct=True))
    scale = alt.Scale(domain=[0, 100], reverse=True)
    chart: alt.Chart = (
        alt.Chart(table)
        .mark_line(interpolate="step")
        .encode(
            alt.X("horizon:Q", title="part of the whole time that is left, %", scale=scale),
            alt.Y("share:Q", title="doughs foretold within a tenth, for good, %"),
            alt.Color("simulator:N", scale=alt.Scale(range=list(COLOURS)), title=None),
        )
        .properties(width=2 * SIDE, height=SIDE, title="Prognostic horizon")
    )
    return chart


def statistician_chart(run: Run) -> alt.VConcatChart:
    """PIT histograms with the band of honest ones, coverage by simulator and kind, and the prognostic horizon."""
    pits = [chart for checkpoint in CHECKPOINTS if (chart := _pit_chart(run, checkpoint)) is not None]
    parts = [
        alt.concat(*pits, columns=4),
        _coverage_chart(run, "simulator", "90 % intervals by simulator"),
        _coverage_chart(run, "kind", "90 % intervals by kind of dough"),
        *([_horizon_chart(run)] if run.courses else []),
    ]
    found: alt.VConcatChart = alt.vconcat(*parts).configure_view(stroke="#d5d0c8").resolve_scale(color="independent")
    return found
