"""What a finished batch taught: how its dough truly rose, and how the forecasts made at the time held."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import N_SHAPE, SHAPE_NAMES
from monitor.dough.forecast import courses_seen, outlook
from monitor.dough.learning import PEAK, READY, SHARES, Lesson, Miss, RecipeExperience, learned_from
from monitor.dough.observations import Observations, observations, rise_over_batch_start
from monitor.dough.outlook import Moments, State
from monitor.dough.prior import expected_rate_per_h, prior_of
from monitor.dough.track import Track, running_median, seconds_since_start
from monitor.recipe.batch import Batch

Array = NDArray[np.float64]

LEAST_RISE_FRAC = 0.15  # judgement: a dough taken away before says little about how it rises
LEAST_REACH_S = 60.0  # judgement: an interval this narrow is as good as a point, and so is the truth it is held against
SURE_WITHIN = timedelta(minutes=30)  # judgement: the truth must be known this well, 90 % interval to one side


def lesson_of(batch: Batch, track: Track, ended_at: datetime, earlier: Iterable[Lesson] = ()) -> Lesson | None:
    """The lesson of a batch that is over; None when no height was measured or too little rose.

    Parameters
    ----------
    track
        All its readings; those after ``ended_at`` are not looked at.
    earlier
        Lessons there were: those of its recipe that were over when it began shaped the forecasts made at the time.
    """
    known = track.upto(seconds_since_start(batch, ended_at))
    seen = observations(batch, known, seconds_since_start(batch, ended_at))
    # With the shipped prior, whatever was learned before: a lesson must not depend on other lessons.
    shipped = prior_of(batch)
    courses = courses_seen(batch, known, ended_at, shipped)
    if seen is None or courses is None or float(np.max(running_median(seen.rise_frac, 5))) < LEAST_RISE_FRAC:
        return None
    numbers = courses.members[:, :N_SHAPE]
    mean = courses.weights @ numbers
    expected = expected_rate_per_h(batch.formula)
    before = learned_from((each for each in earlier if each.ended_at <= batch.started_at), batch)
    return Lesson(
        recipe=batch.recipe_key,
        stage=batch.stage,
        name=batch.name,
        started_at=batch.started_at,
        ended_at=ended_at,
        names=SHAPE_NAMES,
        mean=tuple(map(float, mean)),
        covariance=_rows(_covariance(numbers - mean, courses.weights)),
        prior_mean=tuple(map(float, shipped.mean)),
        prior_covariance=_rows(shipped.covariance),
        least_ceiling_frac=shipped.least_ceiling_frac,
        rate_per_h=None if expected is None else expected[0],
        misses=tuple(_misses(batch, known, seen, ended_at, before)),
    )


def _rows(matrix: Array) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(map(float, row)) for row in matrix)


def _covariance(off: Array, weights: Array) -> Array:
    """Covariance of a weighted ensemble, drawn towards its diagonal: a few heavy members know no correlations."""
    whole: Array = (off * weights[:, np.newaxis]).T @ off
    n_heavy = 1.0 / float(np.sum(weights**2))
    share = N_SHAPE / (N_SHAPE + n_heavy)
    return (1.0 - share) * whole + share * np.diag(np.diag(whole))


def _came_at(moments: Moments, ended_at: datetime) -> datetime | None:
    """When it truly happened, in hindsight; None when it had not by the end or when is not sure."""
    truth, low, high = moments.p50, moments.p05, moments.p95
    if truth is None or low is None or high is None or truth > ended_at:
        return None
    return truth if max(truth - low, high - truth) <= SURE_WITHIN else None


def _misses(
    batch: Batch, track: Track, seen: Observations, ended_at: datetime, before: RecipeExperience | None
) -> Iterator[Miss]:
    """How the forecasts made at the time held: remade, as what was known then is known still."""
    last = outlook(batch, track, ended_at, silence_min=np.inf)  # however long ago it was last looked at
    fold_s = max(seen.folds_s, default=0.0)
    if batch.target.rise_pct is not None:
        truth = _came_at(last.ready, ended_at)
        rise_pct = 100.0 * rise_over_batch_start(batch, running_median(seen.rise_frac, 5), seen.start_volume_ml)
        for share in SHARES if truth is not None else ():
            reached = np.flatnonzero((seen.t_s > fold_s) & (rise_pct >= share * batch.target.rise_pct))
            if truth is not None and reached.size:
                yield from _miss(batch, track, READY, share, float(seen.t_s[reached[0]]), truth, before)
    peak = _came_at(last.peak, ended_at) if last.state is State.PAST_PEAK else None
    for share in SHARES if peak is not None else ():
        if peak is not None and share * seconds_since_start(batch, peak) > fold_s:
            yield from _miss(batch, track, PEAK, share, share * seconds_since_start(batch, peak), peak, before)


def _miss(
    batch: Batch, track: Track, what: str, share: float, at_s: float, truth: datetime, before: RecipeExperience | None
) -> Iterator[Miss]:
    """The miss of the forecast made at one moment; none where it left one end of its interval open."""
    at = batch.started_at + timedelta(seconds=at_s)
    if at >= truth:
        return
    then = replace(batch, events=tuple(event for event in batch.events if event.at <= at))
    found = outlook(then, track, at, learned=before)
    moments = found.ready if what == READY else found.peak
    middle, low, high = moments.p50, moments.p05, moments.p95
    if middle is None or low is None or high is None:
        return
    off_s = (truth - middle).total_seconds()
    reach_s = (high - middle if off_s > 0.0 else middle - low).total_seconds()
    factor = 1.0 if before is None or middle <= at else before.widths.at(what, share)
    yield Miss(what, share, off_s / max(reach_s / factor, LEAST_REACH_S), low <= truth <= high)
