"""Two pictures of a comparison as PNG: do the quantiles hold as often as they say, and is a wider forecast a worse one?

Drawn with altair, as the charts of the dashboard.
"""

from collections.abc import Sequence
from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd

from monitor.backtest.evaluation import ESTIMATOR, LEVELS, METHODS, Forecast
from monitor.dough.learning import PEAK, READY, SHARES
from monitor.dough.scores import reliability
from monitor.errors import ConfigError

COLOURS = ("#7a2e0e", "#9aa5b1", "#3d7ea6", "#6a994e", "#b08cc2")
PANELS = (*((READY, share) for share in SHARES), *((PEAK, share) for share in SHARES))
N_BINS = 6
LEAST_BIN = 4
LEAST_MIN = 0.5  # less than half a minute is drawn there: the axes are logarithmic
TICKS_MIN = [1, 3, 10, 30, 100, 300, 1000]
SIDE = 230
SURE_90 = 1.645  # standard normal quantile of a 90 % interval


def draw(forecasts: Sequence[Forecast], folder: Path) -> list[Path]:
    """Draw both pictures into a folder; their paths.

    Raises
    ------
    ConfigError
        When a picture cannot be written.
    """
    written = []
    for name, chart in (("reliability", reliability_chart(forecasts)), ("spread_skill", spread_skill_chart(forecasts))):
        path = folder / f"{name}.png"
        try:
            chart.save(str(path), scale_factor=2.0)
        except (OSError, ValueError) as err:
            raise ConfigError(f"{path}: cannot be drawn ({err}); name a folder this user may write") from err
        written.append(path)
    return written


def _panel(what: str, share: float) -> str:
    return f"{what}, {100 * share:.0f} % of the {'target' if what == READY else 'time to it'}"


def _of(forecasts: Sequence[Forecast], method: str, what: str, share: float) -> tuple[np.ndarray, np.ndarray]:
    """Truths (n,) and quantiles (n, n_levels) of one method at one kind of moment. [min]"""
    found = [f for f in forecasts if (f.method, f.what, f.share) == (method, what, share)]
    quantiles = np.array([f.quantiles_s for f in found]).reshape(-1, LEVELS.size) / 60.0
    return np.array([f.true_ahead_s for f in found]) / 60.0, quantiles


def _grid(charts: list[alt.LayerChart | alt.FacetChart]) -> alt.ConcatChart:
    found: alt.ConcatChart = alt.concat(*charts, columns=len(SHARES)).configure_view(stroke="#d5d0c8")
    return found


def reliability_chart(forecasts: Sequence[Forecast]) -> alt.ConcatChart:
    """Nominal against observed share of truths below each quantile; the band is where 90 % of honest ones would lie."""
    charts = []
    for what, share in PANELS:
        rows, n = [], 0
        for method in METHODS:
            truth, quantiles = _of(forecasts, method, what, share)
            if truth.size:
                n = truth.size
                observed = reliability(truth, quantiles)
                rows += [
                    {"method": method, "nominal": level, "observed": below}
                    for level, below in zip(LEVELS.tolist(), observed.tolist(), strict=True)
                ]
        if not rows:
            continue
        nominal = np.linspace(0.0, 1.0, 41)
        half = SURE_90 * np.sqrt(nominal * (1.0 - nominal) / n)
        honest = pd.DataFrame({"nominal": nominal, "low": nominal - half, "high": nominal + half})
        x = alt.X("nominal:Q", title="quantile", scale=alt.Scale(domain=[0, 1]))
        band = alt.Chart(honest).mark_area(color="#e6e0d5", clip=True).encode(
            x, alt.Y("low:Q", title="truths below it", scale=alt.Scale(domain=[0, 1])), alt.Y2("high:Q")
        )  # fmt: skip
        colour = alt.Color(
            "method:N", scale=alt.Scale(domain=list(METHODS), range=list(COLOURS)), sort=list(METHODS), title=None
        )
        width = alt.condition(alt.datum.method == ESTIMATOR, alt.value(3), alt.value(1.4))
        line = alt.Chart(pd.DataFrame(rows)).mark_line(point=True).encode(
            x, alt.Y("observed:Q"), colour, strokeWidth=width
        )  # fmt: skip
        charts.append(alt.layer(band, line).properties(width=SIDE, height=SIDE, title=f"{_panel(what, share)} (n {n})"))
    return _grid(charts)


def spread_skill_chart(forecasts: Sequence[Forecast]) -> alt.ConcatChart:
    """Half the 50 % interval against the median error, batches of like spread together: on the line when honest."""
    charts = []
    for what, share in PANELS:
        rows = []
        for method in METHODS:
            truth, quantiles = _of(forecasts, method, what, share)
            middle, low, high = (quantiles[:, int(np.argmin(np.abs(LEVELS - level)))] for level in (0.5, 0.25, 0.75))
            spread, error = 0.5 * (high - low), np.abs(middle - truth)
            n_bins = min(N_BINS, truth.size // LEAST_BIN)
            for part in np.array_split(np.argsort(spread, kind="stable"), n_bins) if n_bins else []:
                rows.append(
                    {
                        "method": method,
                        "spread": max(float(np.median(spread[part])), LEAST_MIN),
                        "error": max(float(np.median(error[part])), LEAST_MIN),
                    }
                )
        if not rows:
            continue
        table = pd.DataFrame(rows)
        ends = [0.8 * table[["spread", "error"]].to_numpy().min(), 1.25 * table[["spread", "error"]].to_numpy().max()]
        scale = alt.Scale(type="log", domain=ends)
        axis = alt.Axis(values=TICKS_MIN)
        x = alt.X("spread:Q", title="half the 50 % interval / min", scale=scale, axis=axis)
        y = alt.Y("error:Q", title="median error / min", scale=scale, axis=axis)
        same = alt.Chart(pd.DataFrame({"spread": ends, "error": ends})).mark_line(color="#b8b0a2", strokeDash=[4, 3])
        colour = alt.Color(
            "method:N", scale=alt.Scale(domain=list(METHODS), range=list(COLOURS)), sort=list(METHODS), title=None
        )
        size = alt.condition(alt.datum.method == ESTIMATOR, alt.value(90), alt.value(35))
        points = alt.Chart(table).mark_point(filled=True).encode(x, y, colour, size=size)
        charts.append(
            alt.layer(same.encode(x, y), points).properties(width=SIDE, height=SIDE, title=_panel(what, share))
        )
    return _grid(charts)
