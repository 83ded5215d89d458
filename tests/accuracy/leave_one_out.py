"""Whatever is fitted is judged where it was not: fitted on all simulators but one, judged on that one, each in turn."""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from accuracy.judging import LEVELS, PEAK, Judged, Run
from numpy.typing import NDArray

from monitor.dough.recalibration import FULL_SHARE, place, placed_s, recalibrated_s
from monitor.dough.scores import censored

Array = NDArray[np.float64]

Mended = Callable[[Judged], Judged]
Fit = Callable[[Run], Mended]
HORIZON_S = 24.0 * 3600.0
LEAST_BATCHES = 20  # judgement: fewer teach no quantile of 5 %
MIDDLE = LEVELS.index(0.5)


def left_out(run: Run, fit: Fit) -> Run:
    """The forecasts of a run, those of each simulator mended by what was fitted on the others alone."""

    def without(simulator: str) -> Run:
        return replace(
            run,
            judged=tuple(row for row in run.judged if row.labels["simulator"] != simulator),
            courses=tuple(course for course in run.courses if course.labels["simulator"] != simulator),
        )

    mended = {name: fit(without(name)) for name in dict.fromkeys(row.labels["simulator"] for row in run.judged)}
    return replace(run, judged=tuple(mended[row.labels["simulator"]](row) for row in run.judged))


def quantile_mapping(run: Run) -> Mended:
    """At each checkpoint, quantiles moved to where the truths of other doughs lay in the forecasts of the time left."""
    places: dict[str, Array] = {}
    for checkpoint in dict.fromkeys(row.checkpoint for row in run.judged):
        came = [
            place(_left_s(row), row.truth_s - row.at_s)
            for row in run.judged
            if row.checkpoint == checkpoint and row.truth_s is not None
        ]
        if len(came) >= LEAST_BATCHES:
            places[checkpoint] = np.quantile(came, LEVELS, method="weibull")

    def mended(row: Judged) -> Judged:
        if row.checkpoint not in places or row.quantiles_s[MIDDLE] is None:
            return row
        return _with(row, placed_s(_left_s(row), places[row.checkpoint]))

    return mended


def peak_places(run: Run) -> dict[str, Array]:
    """Where the quantiles of truths lay in the forecasts of the peak along whole courses, by stage.

    Of an uncorrected run these are what the program ships (``monitor.dough.recalibration``).
    """
    came: dict[str, list[float]] = {}
    for course in run.courses:
        for look in course.looks:
            middle_s = look.peak_s[MIDDLE]
            if course.peak_s is None or middle_s is None or not FULL_SHARE * middle_s <= look.at_s < middle_s:
                continue
            left_s = censored(np.array(look.peak_s, dtype=np.float64) - look.at_s, HORIZON_S)
            came.setdefault(course.labels["stage"], []).append(place(left_s, course.peak_s - look.at_s))
    return {stage: np.quantile(each, LEVELS, method="weibull") for stage, each in came.items()}


def stage_mapping(run: Run) -> Mended:
    """Forecasts of the peak moved as the program moves them, by what other courses taught."""
    places: Mapping[str, Array] = peak_places(run)

    def mended(row: Judged) -> Judged:
        middle_s = row.quantiles_s[MIDDLE]
        if not row.checkpoint.startswith(PEAK) or middle_s is None or row.labels["stage"] not in places:
            return row
        share = row.at_s / middle_s
        return _with(row, recalibrated_s(_left_s(row), places[row.labels["stage"]], share, HORIZON_S))

    return mended


def _left_s(row: Judged) -> Array:
    said = np.array([np.nan if each is None else each for each in row.quantiles_s])
    return censored(said - row.at_s, HORIZON_S)


def _with(row: Judged, left_s: Array) -> Judged:
    return replace(row, quantiles_s=tuple(row.at_s + float(each) if each < HORIZON_S else None for each in left_s))
