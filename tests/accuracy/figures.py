"""How good forecasts were, each figure with its own doubt: one standard deviation, by bootstrap over the batches.

Shares have that of a binomial with two made-up batches, one of each kind (Agresti & Coull 1998, from memory), so that
none of five is not taken for never.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

import numpy as np
from accuracy.judging import LEVELS, LIFELESS, Course, Judged
from numpy.typing import NDArray

from monitor.dough.outlook import State
from monitor.dough.scores import censored, crps_from_quantiles, interval_score, is_covered

Array = NDArray[np.float64]

HORIZON_S = 24.0 * 3600.0
N_BOOTSTRAP = 400
FALSE_S = 1200.0  # a dough called ready, or past its peak, more than this too early
HORIZON_WITHIN = 0.10  # of the whole time: within this of the truth, and from there on (judgement)
TOLD_SHARE, TOLD_S = 0.10, 600.0  # a forecast that moved by this, of the time left and in time, is told anew
TAKEN_BACK_SHARE = 0.5  # of the message before
MOST_CRPS_SHARE = 3.0  # of the time left: one forecast gone astray is not to be all that a mean shows
CENTRAL = {50: (0.25, 0.75), 80: (0.10, 0.90), 90: (0.05, 0.95)}


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure and one standard deviation of it.

    Attributes
    ----------
    again : array, shape (N_BOOTSTRAP,)
        The figure of bootstrap samples, which are the same for as many batches: what two runs on the same batches
        differ by has the spread of the differences.
    """

    value: float
    sd: float
    again: Array = field(repr=False)

    def change_to(self, other: "Figure") -> "Figure":
        """The other less this one, on the same batches."""
        again = other.again - self.again
        return Figure(other.value - self.value, _spread(again), again)

    def ratio_to(self, other: "Figure") -> "Figure":
        """The other over this one, on the same batches."""
        again = other.again / np.maximum(self.again, 1e-9)
        return Figure(other.value / max(self.value, 1e-9), _spread(again), again)


def _spread(again: Array) -> float:
    """Standard deviation of what is finite; NaN when nothing is."""
    finite = again[np.isfinite(again)]
    return float(np.std(finite)) if finite.size else np.nan


@lru_cache
def resampled(n: int) -> NDArray[np.intp]:
    """Indices of bootstrap samples of ``n`` batches, shape (N_BOOTSTRAP, n)."""
    return np.random.default_rng(1).integers(0, n, (N_BOOTSTRAP, n))


def median_of(values: Array) -> Figure:
    """The median of what is known (not NaN)."""
    again = np.nanmedian(values[resampled(values.size)], axis=1)
    return Figure(float(np.nanmedian(values)), _spread(again), again)


def mean_of(values: Array) -> Figure:
    """The mean."""
    again = np.mean(values[resampled(values.size)], axis=1)
    return Figure(float(np.mean(values)), float(np.std(again)), again)


def share_of(hits: Array) -> Figure:
    """The share of what is true; a half counts half."""
    n = hits.size
    near = (float(np.sum(hits)) + 1.0) / (n + 2.0)
    again = np.mean(hits[resampled(n)], axis=1)
    return Figure(float(np.mean(hits)), float(np.sqrt(near * (1.0 - near) / (n + 2.0))), again)


def ratio_of(pairs: Array) -> Figure:
    """One sum over another, NaN over nothing; pairs of shape (n, 2)."""

    def of(sums: Array) -> Array:
        return np.divide(sums[..., 0], sums[..., 1], out=np.full(sums.shape[:-1], np.nan), where=sums[..., 1] > 0.0)

    again = of(np.sum(pairs[resampled(len(pairs))], axis=1))
    return Figure(float(of(np.sum(pairs, axis=0))), _spread(again), again)


@dataclass(frozen=True, slots=True)
class Scored:
    """Forecasts of one checkpoint as arrays, one row each; times are minutes from the checkpoint, shape (n,).

    Attributes
    ----------
    quantiles_min : array, shape (n, n_levels)
        What lies beyond the horizon is put there.
    """

    truth_min: Array
    quantiles_min: Array

    def quantile(self, level: float) -> Array:
        column: Array = self.quantiles_min[:, LEVELS.index(level)]
        return column

    @property
    def error_min(self) -> Array:
        return np.abs(self.quantile(0.5) - self.truth_min)

    @property
    def error_share(self) -> Array:
        return self.error_min / self.truth_min

    @property
    def late_share(self) -> Array:
        """How far the median lies behind the truth, of the time left."""
        return (self.quantile(0.5) - self.truth_min) / self.truth_min

    @property
    def is_early_truth(self) -> Array:
        """Whether the truth lies before the median."""
        middle = self.quantile(0.5)
        return (self.truth_min < middle) + 0.5 * (self.truth_min == middle)

    def is_covered(self, percent: int) -> Array:
        low, high = (self.quantile(level) for level in CENTRAL[percent])
        return is_covered(self.truth_min, low, high).astype(np.float64)

    @property
    def crps_min(self) -> Array:
        return crps_from_quantiles(self.truth_min, self.quantiles_min, LEVELS)

    @property
    def crps_share(self) -> Array:
        return self.crps_min / self.truth_min

    @property
    def winkler_min(self) -> Array:
        return interval_score(self.truth_min, self.quantile(0.05), self.quantile(0.95), 0.9)

    @property
    def width_share(self) -> Array:
        """Width of the 90 % interval, of the time left."""
        return (self.quantile(0.95) - self.quantile(0.05)) / self.truth_min

    @property
    def pit(self) -> Array:
        """Share of truths between neighbouring quantiles, over what it should be, shape (n_levels + 1,)."""
        place = np.sum(self.quantiles_min < self.truth_min[:, None], axis=1)
        counts = np.bincount(place, minlength=len(LEVELS) + 1)
        return counts / self.truth_min.size / np.diff([0.0, *LEVELS, 1.0])


def scored(judged: Sequence[Judged]) -> Scored | None:
    """The forecasts whose truth came; None without any."""
    came = [each for each in judged if each.truth_s is not None]
    if not came:
        return None
    now = np.array([each.at_s for each in came])
    truth = np.array([each.truth_s for each in came], dtype=np.float64)
    said = np.array([[np.nan if q is None else q for q in each.quantiles_s] for each in came])
    return Scored((truth - now) / 60.0, censored(said - now[:, None], HORIZON_S) / 60.0)


SCORES: Mapping[str, Callable[[Scored], Figure]] = {
    "error_min": lambda of: median_of(of.error_min),
    "error_share": lambda of: median_of(of.error_share),
    "early_truths": lambda of: share_of(of.is_early_truth),
    "late_share": lambda of: median_of(of.late_share),
    "covers_50": lambda of: share_of(of.is_covered(50)),
    "covers_80": lambda of: share_of(of.is_covered(80)),
    "covers_90": lambda of: share_of(of.is_covered(90)),
    "crps_min": lambda of: mean_of(of.crps_min),
    "crps_share": lambda of: mean_of(np.minimum(of.crps_share, MOST_CRPS_SHARE)),
    "winkler_min": lambda of: mean_of(of.winkler_min),
    "width_share": lambda of: median_of(of.width_share),
}


def figures_of(judged: Sequence[Judged]) -> dict[str, Figure]:
    """All figures of the forecasts of one checkpoint; those without a truth give only what may be said of them."""
    found: dict[str, Figure] = {}
    arrays = scored(judged)
    if arrays is not None:
        found |= {name: score(arrays) for name, score in SCORES.items()}
    off_pct = np.array(
        [
            np.nan if each.rise_pct is None or each.true_rise_pct is None else each.rise_pct[1] - each.true_rise_pct
            for each in judged
        ]
    )
    if not np.all(np.isnan(off_pct)):
        found["rise_off_pct"] = median_of(off_pct)
    middle = LEVELS.index(0.5)
    never = [each.quantiles_s[middle] is not None for each in judged if each.truth_s is None]
    if never:
        found["timed_though_never"] = share_of(np.array(never, dtype=np.float64))
    return found


# -- along the course ---------------------------------------------------------------------------------------------


def first_false_s(course: Course) -> dict[str, float]:
    """How much too early a dough was first called ready, at its peak or past it; only what was more than 20 minutes.

    What did not come while it was recorded came at the end of the recording at the soonest. [s]
    """
    came_s = {
        State.READY: course.end_s if course.ready_s is None else course.ready_s,
        State.AT_PEAK: course.end_s if course.peak_s is None else course.peak_s,
        State.PAST_PEAK: course.end_s if course.peak_s is None else course.peak_s,
    }
    found: dict[str, float] = {}
    for look in course.looks:
        for state, at_s in came_s.items():
            if look.state == str(state) and at_s - look.at_s > FALSE_S:
                found.setdefault(str(state), at_s - look.at_s)
    return found


def horizon_share(course: Course) -> float | None:
    """Prognostic horizon: the share of the whole time, before the truth, from which on all medians are near it.

    1: from the start on; 0: never. None where it never came. Saxena et al. 2010, Int. J. Progn. Health Manag. 1 (from
    memory).
    """
    truth_s = course.ready_s
    if truth_s is None:
        return None
    nearing = [look for look in course.looks if look.at_s < truth_s]
    since_s = truth_s
    for look in reversed(nearing):
        if look.median_s is None or abs(look.median_s - truth_s) > HORIZON_WITHIN * truth_s:
            break
        since_s = look.at_s
    return (truth_s - since_s) / truth_s if nearing else None


def revisions(course: Course) -> Array:
    """Successive revisions of the median until the truth, each of the time that was left, shape (n,)."""
    if course.ready_s is None:
        return np.empty(0)
    medians = [
        (look.at_s, look.median_s) for look in course.looks if look.at_s < course.ready_s and look.median_s is not None
    ]
    changes = [(after - before) / max(before - at_s, 60.0) for (at_s, before), (_, after) in pairwise(medians)]
    return np.clip(np.array(changes, dtype=np.float64), -1.0, 1.0)


def taken_back(course: Course) -> tuple[int, int]:
    """How many of a course's messages were taken back by the next one, and of how many.

    A message goes out when the median has moved, since the last one, by ten minutes and by a tenth of the time left.
    """
    told: list[float] = []
    said: float | None = None
    for look in course.looks:
        if look.median_s is None or (course.ready_s is not None and look.at_s >= course.ready_s):
            continue
        if said is None:
            said = look.median_s
        elif abs(look.median_s - said) >= max(TOLD_S, TOLD_SHARE * abs(said - look.at_s)):
            told.append(look.median_s - said)
            said = look.median_s
    back = sum(
        after * before < 0.0 and abs(after) >= TAKEN_BACK_SHARE * abs(before) for before, after in pairwise(told)
    )
    return back, len(told)


def lifeless_figures(courses: Sequence[Course]) -> dict[str, Figure]:
    """Of doughs without live leaven: whether they are given a time at the end, and when it is said that they are."""
    found = [course for course in courses if course.labels["life"] == LIFELESS and course.looks]
    if not found:
        return {}
    said_h = [
        next((look.at_s / 3600.0 for look in course.looks if look.state == str(State.NOT_RISING)), np.inf)
        for course in found
    ]
    return {
        "lifeless_timed": share_of(np.array([each.looks[-1].median_s is not None for each in found], dtype=np.float64)),
        "lifeless_said_h": median_of(np.array(said_h)),
    }


def course_figures(courses: Sequence[Course]) -> dict[str, Figure]:
    """The figures of whole courses."""
    falses = [first_false_s(course) for course in courses]
    horizons = [share for course in courses if (share := horizon_share(course)) is not None]
    backs = np.array([taken_back(course) for course in courses], dtype=np.float64).reshape(-1, 2)
    found = {
        f"false_{state}": share_of(np.array([state in each for each in falses], dtype=np.float64))
        for state in (State.READY, State.AT_PEAK, State.PAST_PEAK)
    }
    found["false_any"] = share_of(np.array([bool(each) for each in falses], dtype=np.float64))
    if horizons:
        found["horizon_share"] = median_of(np.array(horizons))
    products = [(np.sum(r[1:] * r[:-1]), 0.5 * np.sum(r[1:] ** 2 + r[:-1] ** 2)) for r in map(revisions, courses)]
    found["revisions_correlate"] = ratio_of(np.array(products))
    found["taken_back"] = ratio_of(backs)
    return found | lifeless_figures(courses)
