"""The table of a comparison: every score of every method, pooled and by kind of dough, as rows and as text."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.backtest.evaluation import CALLED_OFF_S, ESTIMATOR, LEVELS, METHODS, Forecast, ReadyCall
from monitor.backtest.recordings import Labels
from monitor.dough.learning import PEAK, READY, SHARES
from monitor.dough.scores import crps_from_quantiles, interval_score, is_covered

POOLED = "all"
GROUPINGS: dict[str, Callable[[Labels], str]] = {
    POOLED: lambda labels: POOLED,
    "simulator": lambda labels: labels.simulator,
    "history": lambda labels: labels.history,
    "folds": lambda labels: labels.folds,
    "judged by": lambda labels: labels.judged_by,
    "dough": lambda labels: labels.dough,
}
SHOWN = (POOLED, "simulator", "history", "folds", "judged by")  # the rest only in the JSON
CENTRAL = {0.5: (0.25, 0.75), 0.8: (0.10, 0.90), 0.9: (0.05, 0.95)}


@dataclass(frozen=True, slots=True)
class ScoreRow:
    """Scores of one method at one kind of moment over one group of recordings.

    Errors, CRPS and Winkler score (of the 90 % interval) in minutes; shares are of the time truly remaining; coverage
    of the central intervals; ``cost_ms`` is the median time one forecast took.
    """

    what: str
    share: float
    grouping: str
    group: str
    method: str
    n: int
    median_error_min: float
    p90_error_min: float
    median_error_share: float
    p90_error_share: float
    coverage_50: float
    coverage_80: float
    coverage_90: float
    crps_min: float
    winkler_90_min: float
    median_width_90_min: float
    cost_ms: float


@dataclass(frozen=True, slots=True)
class CallRow:
    """How often one method called a dough ready more than ten minutes early, or late, over one group."""

    grouping: str
    group: str
    method: str
    n: int
    early: float
    late: float


def _quantile(quantiles: np.ndarray, level: float) -> np.ndarray:
    column: np.ndarray = quantiles[:, int(np.argmin(np.abs(LEVELS - level)))]
    return column


def row_of(key: tuple[str, float, str, str, str], forecasts: Sequence[Forecast]) -> ScoreRow:
    """The scores of some forecasts of one method."""
    truth = np.array([f.true_ahead_s for f in forecasts]) / 60.0
    quantiles = np.array([f.quantiles_s for f in forecasts]) / 60.0
    error = np.abs(_quantile(quantiles, 0.5) - truth)
    relative = error / np.maximum(truth, 1.0)
    covered = {
        central: float(np.mean(is_covered(truth, _quantile(quantiles, low), _quantile(quantiles, high))))
        for central, (low, high) in CENTRAL.items()
    }
    low, high = (_quantile(quantiles, level) for level in CENTRAL[0.9])
    return ScoreRow(
        *key,
        n=len(forecasts),
        median_error_min=float(np.median(error)),
        p90_error_min=float(np.quantile(error, 0.9)),
        median_error_share=float(np.median(relative)),
        p90_error_share=float(np.quantile(relative, 0.9)),
        coverage_50=covered[0.5],
        coverage_80=covered[0.8],
        coverage_90=covered[0.9],
        crps_min=float(np.mean(crps_from_quantiles(truth, quantiles, LEVELS))),
        winkler_90_min=float(np.mean(interval_score(truth, low, high, 0.9))),
        median_width_90_min=float(np.median(high - low)),
        cost_ms=1000.0 * float(np.median([f.cost_s for f in forecasts])),
    )


def rows_of(forecasts: Sequence[Forecast]) -> list[ScoreRow]:
    """All rows, pooled ones first."""
    rows = []
    for grouping, group_of in GROUPINGS.items():
        members: dict[tuple[str, float, str, str, str], list[Forecast]] = {}
        for forecast in forecasts:
            key = (forecast.what, forecast.share, grouping, group_of(forecast.labels), forecast.method)
            members.setdefault(key, []).append(forecast)
        order = sorted(members, key=lambda key: (key[0] != READY, key[1], key[3], METHODS.index(key[4])))
        rows += [row_of(key, members[key]) for key in order]
    return rows


def call_rows_of(calls: Sequence[ReadyCall]) -> list[CallRow]:
    """How often *ready* was called early or late, pooled ones first."""
    rows = []
    for grouping, group_of in GROUPINGS.items():
        members: dict[tuple[str, str], list[float]] = {}
        for call in calls:
            members.setdefault((group_of(call.labels), call.method), []).append(call.off_s)
        for group, method in sorted(members, key=lambda key: (key[0], METHODS.index(key[1]))):
            off_s = np.array(members[group, method])
            early, late = float(np.mean(off_s < -CALLED_OFF_S)), float(np.mean(off_s > CALLED_OFF_S))
            rows.append(CallRow(grouping, group, method, off_s.size, early, late))
    return rows


HEAD = f"{'':24}{'n':>5} {'error/min':>13} {'of time left':>13} {'cover 50/80/90 %':>17} {'CRPS':>7} {'Winkler':>8}"


def _line(name: str, row: ScoreRow, tail: str = "") -> str:
    return (
        f"{name[:24]:24}{row.n:5d} {row.median_error_min:6.1f} {row.p90_error_min:6.1f} "
        f"{100 * row.median_error_share:5.0f} {100 * row.p90_error_share:5.0f} % "
        f"{100 * row.coverage_50:6.0f} {100 * row.coverage_80:4.0f} {100 * row.coverage_90:4.0f}  "
        f"{row.crps_min:7.2f} {row.winkler_90_min:8.1f}{tail}"
    )


def _title(what: str, share: float) -> str:
    if what == READY:
        return f"READY, when {100 * share:.0f} % of the target rise is reached"
    return f"PEAK, when {100 * share:.0f} % of the time to it has gone by"


def text_of(rows: Sequence[ScoreRow], calls: Sequence[CallRow]) -> str:
    """The table as a person reads it: every method pooled, then the estimator by kind of dough."""
    lines = [
        "Errors: median and 90th percentile, in minutes and as a share of the time truly remaining.",
        "CRPS and Winkler score (of the 90 % interval) in minutes, smaller is better; mean over the batches.",
    ]
    for what in (READY, PEAK):
        for share in SHARES:
            pooled = [row for row in rows if (row.what, row.share, row.grouping) == (what, share, POOLED)]
            if pooled:
                lines += ["", _title(what, share), HEAD, *(_line(row.method, row) for row in pooled)]
    if calls:
        lines += ["", f"CALLED READY more than {CALLED_OFF_S / 60:.0f} minutes early or late"]
    lines += [
        f"{row.method:24}{row.n:5d} {100 * row.early:5.1f} % early {100 * row.late:5.1f} % late"
        for row in calls
        if row.grouping == POOLED
    ]
    lines += [
        "",
        "THE ESTIMATOR BY KIND; last: its Winkler score over that of the best baseline there",
    ]
    for what, shares in ((READY, SHARES), (PEAK, (0.5,))):
        for share in shares:
            there = [row for row in rows if (row.what, row.share) == (what, share)]
            if there:
                lines += ["", _title(what, share), HEAD + f" {'ratio':>6}", *_by_kind(there)]
    if calls:
        lines += ["", f"CALLED READY more than {CALLED_OFF_S / 60:.0f} minutes early or late, the estimator by kind"]
    lines += [
        f"{row.group[:24]:24}{row.n:5d} {100 * row.early:5.1f} % early {100 * row.late:5.1f} % late"
        for row in calls
        if row.grouping in SHOWN[1:4] and row.method == ESTIMATOR
    ]
    return "\n".join(lines) + "\n"


def _by_kind(rows: Sequence[ScoreRow]) -> list[str]:
    lines = []
    for grouping in SHOWN:
        groups = list(dict.fromkeys(row.group for row in rows if row.grouping == grouping))
        for group in groups:
            there = [row for row in rows if (row.grouping, row.group) == (grouping, group)]
            ours = next((row for row in there if row.method == ESTIMATOR), None)
            if ours is not None:
                others = [row.winkler_90_min for row in there if row.method != ESTIMATOR]
                ratio = f" {ours.winkler_90_min / min(others):6.2f}" if others and min(others) > 0.0 else ""
                lines.append(_line(f"{group}" if grouping == POOLED else f"  {group}", ours, ratio))
    return lines
