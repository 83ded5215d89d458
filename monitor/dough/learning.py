"""What finished batches teach the next one of their recipe: a sharper prior, and intervals as wide as they should be.

Partial pooling of the curve's numbers theta, with the shipped prior N(m0, C0) of the next batch:

    recipe        mu ~ N(m0, C0 - W)          what recipes differ by: the shipped prior without the spread W within one
    batch i       theta_i ~ N(mu, s W)        or, now and then, an odd one: theta_i ~ N(m0, C0)
    lesson i      what its readings alone said of theta_i: the prior it was estimated with is taken out again
    next batch    theta ~ N(E mu, Cov mu + s W), and a little of N(m0, C0), for it may be an odd one too

Without a lesson this is the shipped prior, and it is never wider. An odd batch is known by how badly it fits the
others; its weight falls to nothing, so that it neither moves the mean nor makes the spread seem small. Where it cannot
be said which batches are the odd ones, as with two that disagree, every view counts by its chance. s is learned too:
some bakers repeat themselves more closely than others.

A stage that follows another learns from what the same dough did in it, minutes ago: its rate and growth are off from
what is expected of this recipe as they were then, and as sure as they were seen, less what shaping may change.

The widths are corrected by how far past forecasts were off, in units of their own intervals: the 90 % quantile of that
(split conformal prediction; Vovk, Gammerman & Shafer 2005, Algorithmic Learning in a Random World, from memory), drawn
towards 1 while the batches are few.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import N_SHAPE, SHAPE_NAMES, Timeline, rise_paths
from monitor.dough.outlook import Moments
from monitor.dough.prior import Prior, expected_rate_per_h, first_rise_gas, prior_of
from monitor.recipe.batch import Batch, Stage

Array = NDArray[np.float64]

READY, PEAK = "ready", "peak"
SHARES = (0.25, 0.50, 0.75)

# Spread between batches of one recipe, as standard deviations of SHAPE_NAMES. Judgement: with how far the rate wanders
# besides, the time to double of a repeated recipe has a coefficient of variation of 10 to 15 % with bought yeast and of
# 20 % with sourdough. About half of what a formula leaves open, or nothing could be learned beyond it.
WITHIN_SD = np.array([0.10, 0.30, 0.20, 0.25, 0.10, 0.20, 0.25, 0.12, 0.35, 0.25, 0.03])
WITHIN_SD_SOUR = np.array([0.16, 0.40, 0.20, 0.08, 0.10, 0.25, 0.25, 0.12, 0.35, 0.25, 0.03])
MOST_WITHIN = 0.9  # judgement: recipes differ by a tenth of the prior's variance at least, in every direction
SCALES = np.array([0.4, 0.6, 1.0, 1.6, 2.5])  # of W that are tried
SCALE_SD_LOG = 0.5  # judgement
ODD_SHARE = 0.1  # judgement: one batch in ten is not made as the others were
ODD_AFTER = 10.0  # judgement: this many batches outweigh that guess
MOST_ITERATIONS = 10  # of weights and means in turn; they settle in fewer
MOST_VIEWS = 6  # of which lessons are odd: two that disagree may each be
SAME_VIEW = 1e-2  # judgement: squared distance of the means, in standard deviations of the shipped prior
LEARNED_SHARE = 0.9  # a direction whose variance the readings left above this share of the prior's was not learned
LEAST_SHARE = 1e-3  # no direction is known better than this: a ensemble is finite
MOST_LESSONS = 40  # of a recipe, the newest: older ones are of another season, another flour
LEAST_CEILING_GAP = 0.05  # judgement: a learned ceiling below the next batch's least one is put just above it

# -- the stage before
STAGES_BEFORE = {Stage.FINAL_PROOF: (Stage.FIRST_RISE, Stage.RETARD), Stage.RETARD: (Stage.FIRST_RISE,)}
STAGE_BEFORE_WITHIN = timedelta(hours=4)  # judgement: dividing, resting and shaping are over by then
# judgement: how rate and growth of a dough differ between two of its stages, as standard deviations of logarithms
BETWEEN_STAGES_SD = np.array([0.12, 0.20])
RATE_AND_GROWTH = [SHAPE_NAMES.index("log_rate"), SHAPE_NAMES.index("log_growth")]

# -- widths
WIDTH_BOUNDS = (0.5, 3.0)  # judgement
WIDTH_AFTER = 8.0  # judgement: so many batches count as much as the belief that the intervals are wide enough
NARROW_AFTER = 20.0  # judgement: to narrow them takes more, for an interval too narrow misleads, one too wide annoys
BAND_BATCHES = 5  # judgement: fewer batches in a band of the way say less than all bands together
COVERAGE = 0.9  # of the interval from p05 to p95
HALF_WAY_S = 12 * 3600.0
SPEED_STEP_S = 120.0
SAME_PACE = 0.05  # judgement: a speed that differs by less is the same


@dataclass(frozen=True, slots=True)
class Miss:
    """How one forecast made at the time held.

    Attributes
    ----------
    what
        ``ready`` or ``peak``.
    share
        Of the way gone: of the target rise (ready), of the time (peak).
    off
        Truth minus p50, over the distance of p50 from the end of the 90 % interval on that side, before any learned
        correction of its width: within -1..1 nine times in ten when intervals are right.
    is_held
        Whether the truth lay within the interval as it was shown.
    """

    what: str
    share: float
    off: float
    is_held: bool


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one finished batch taught.

    Attributes
    ----------
    recipe
        Key of the recipe, ``Batch.recipe_key``.
    names
        Of the numbers of the curve that mean and covariance are about; a lesson with other names is not understood.
    mean, covariance
        Of the curve's numbers at the end of the batch, given its readings and the shipped prior.
    prior_mean, prior_covariance, least_ceiling_frac
        That shipped prior, so that it can be taken out again.
    rate_per_h
        Rise per hour at 27 C that the formula made one expect; None without one.
    """

    recipe: str
    stage: Stage
    name: str
    started_at: datetime
    ended_at: datetime
    names: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    prior_mean: tuple[float, ...]
    prior_covariance: tuple[tuple[float, ...], ...]
    least_ceiling_frac: float
    rate_per_h: float | None
    misses: tuple[Miss, ...] = ()

    @property
    def is_understood(self) -> bool:
        """True when it is about the numbers this version of the curve has."""
        return self.names == SHAPE_NAMES


@dataclass(frozen=True, slots=True)
class Widths:
    """Factors on the half-widths of intervals at each of ``SHARES`` of the way."""

    ready: tuple[float, ...] = (1.0, 1.0, 1.0)
    peak: tuple[float, ...] = (1.0, 1.0, 1.0)

    def at(self, what: str, share: float) -> float:
        """The factor at a share of the way, between the shares by interpolation of its logarithm."""
        factors = self.ready if what == READY else self.peak
        return float(np.exp(np.interp(share, SHARES, np.log(factors))))


class Pace(StrEnum):
    """How quickly the doughs of a recipe rise, held against the shipped prior."""

    UNLIKE = "unlike"  # one of the two gets half way not at all
    SAME = "same"
    FASTER = "faster"
    SLOWER = "slower"


@dataclass(frozen=True, slots=True)
class RecipeExperience:
    """What the lessons of a recipe say about one batch of it.

    Attributes
    ----------
    prior
        Of the curve's numbers, in place of the shipped one.
    n_batches, n_odd
        Lessons it rests on, and how many of them were set aside as odd. No lesson when only the stage before counts.
    knows_stage_before
        Whether what the same dough did just before, in another stage, is in it.
    speed
        How much faster it gets half way than the shipped prior for this batch would have it, as a ratio; NaN when one
        of the two gets there not at all.
    n_held, n_intervals
        How many past intervals for *ready* (for a peak: for it) held, as they were shown, of how many.
    """

    recipe: str
    prior: Prior
    widths: Widths
    n_batches: int
    n_odd: int
    speed: float
    n_held: int
    n_intervals: int
    knows_stage_before: bool = False

    @property
    def pace(self) -> Pace:
        """The speed in a code."""
        if not np.isfinite(self.speed):
            return Pace.UNLIKE
        if abs(self.speed - 1.0) < SAME_PACE:
            return Pace.SAME
        return Pace.FASTER if self.speed > 1.0 else Pace.SLOWER


def in_order(lessons: Iterable[Lesson]) -> tuple[Lesson, ...]:
    """The lessons that are understood, by their end, the newest ``MOST_LESSONS``: the same whatever order they came."""
    known = [lesson for lesson in lessons if lesson.is_understood]
    return tuple(sorted(known, key=lambda each: (each.ended_at, each.started_at, each.name))[-MOST_LESSONS:])


def learned_from(lessons: Iterable[Lesson], batch: Batch) -> RecipeExperience | None:
    """What lessons of a batch's recipe say about it: those of its stage, and that of the stage before.

    Parameters
    ----------
    lessons
        Any; those of other recipes are left out.
    batch
        The batch to come.

    Returns
    -------
    RecipeExperience or None
        None without any such lesson.
    """
    of_recipe = [each for each in lessons if each.recipe == batch.recipe_key]
    mine, before = in_order(each for each in of_recipe if each.stage is batch.stage), _stage_before(of_recipe, batch)
    if not mine and before is None:
        return None
    shipped = prior_of(batch)
    expected = expected_rate_per_h(batch.formula)
    prior, weights = shipped, np.empty(0)
    if mine:
        prior, weights = pooled(mine, shipped, None if expected is None else expected[0], is_sour=_is_sour(batch))
    if before is not None:
        earlier = in_order(
            each for each in of_recipe if each.stage is before.stage and each.ended_at <= before.started_at
        )
        prior = _handed_on(prior, batch, before, earlier)
    misses = [[miss for miss in lesson.misses if miss.what == READY] for lesson in mine]
    peak_misses = [[miss for miss in lesson.misses if miss.what == PEAK] for lesson in mine]
    shown = [miss for found in (peak_misses if batch.target.is_peak else misses) for miss in found]
    half = 0.5 if batch.target.rise_pct is None else 0.5 * batch.target.rise_pct / 100.0
    return RecipeExperience(
        recipe=batch.recipe_key,
        prior=prior,
        widths=Widths(width_factors(misses), width_factors(peak_misses)),
        n_batches=len(mine),
        n_odd=int(np.sum(weights < 0.5)),
        speed=_time_to_s(shipped, half) / _time_to_s(prior, half),
        n_held=sum(miss.is_held for miss in shown),
        n_intervals=len(shown),
        knows_stage_before=before is not None,
    )


def _is_sour(batch: Batch) -> bool:
    return batch.formula is not None and batch.formula.sourdough_g > 0.0


def _stage_before(lessons: Iterable[Lesson], batch: Batch) -> Lesson | None:
    """The lesson of the same dough in the stage before; of several tubs the one of its name, else the last to end."""
    found = [
        each
        for each in lessons
        if each.is_understood
        and each.stage in STAGES_BEFORE.get(batch.stage, ())
        and timedelta(0) <= batch.started_at - each.ended_at <= STAGE_BEFORE_WITHIN
    ]
    return max(
        found, key=lambda each: (each.name == batch.name, each.ended_at, each.started_at, each.name), default=None
    )


def _handed_on(prior: Prior, batch: Batch, before: Lesson, earlier: Sequence[Lesson]) -> Prior:
    """A prior of a stage, moved as the dough was off from what was expected of it in the stage before.

    ``earlier`` are lessons of that stage which were over when it began: what is usual for the recipe is no news.
    """
    expected = replace(
        prior,
        mean=np.array(before.prior_mean),
        covariance=np.array(before.prior_covariance),
        least_ceiling_frac=before.least_ceiling_frac,
    )
    if earlier:
        expected, _ = pooled(earlier, expected, before.rate_per_h, is_sour=_is_sour(batch))
    precision, information = _from_readings(before, before.least_ceiling_frac, before.rate_per_h)
    known = np.linalg.inv(expected.covariance)
    found_covariance = np.linalg.inv(known + precision)
    before_mean = expected.mean[RATE_AND_GROWTH]
    found_mean = (found_covariance @ (known @ expected.mean + information))[RATE_AND_GROWTH]
    both = np.ix_(RATE_AND_GROWTH, RATE_AND_GROWTH)
    was, found = expected.covariance[both], found_covariance[both]
    if before.stage is Stage.FIRST_RISE:
        gas = first_rise_gas(batch.formula)
        (before_mean, turn_before), (found_mean, turn) = _by_its_end(before_mean, gas), _by_its_end(found_mean, gas)
        was, found = turn_before @ was @ turn_before.T, turn @ found @ turn.T
    off = found_mean - before_mean
    now = prior.covariance[both]
    # Of what is doubted of the stage to come, what the two have in common.
    shared = np.sqrt(np.clip((np.diag(now) - BETWEEN_STAGES_SD**2) / np.diag(was), 0.0, 1.0))
    root = np.linalg.cholesky(now)
    back = np.linalg.inv(root)
    shares, axes = np.linalg.eigh(back @ ((was - found) * np.outer(shared, shared)) @ back.T)
    told = (axes * np.clip(shares, 0.0, 1.0 - LEAST_SHARE)) @ axes.T  # never less sure than before
    along = prior.covariance[:, RATE_AND_GROWTH] @ back.T  # what goes along with rate and growth moves with them
    return replace(
        prior,
        mean=prior.mean + along @ back @ (shared * off),
        covariance=prior.covariance - along @ told @ along.T,
    )


def _by_its_end(rate_and_growth: Array, gas: float) -> tuple[Array, Array]:
    """ln of rate and growth when so much gas was made, for the yeast has grown; and how they turn with those before."""
    rate_per_h, growth_per_h = np.exp(rate_and_growth)
    grown = growth_per_h * gas
    turn = np.array([[rate_per_h, grown], [0.0, rate_per_h + grown]]) / (rate_per_h + grown)
    return np.array([np.log(rate_per_h + grown), rate_and_growth[1]]), turn


# -- the prior ------------------------------------------------------------------------------------------------------


def _from_readings(lesson: Lesson, least_ceiling_frac: float, rate_per_h: float | None) -> tuple[Array, Array]:
    """Precision L and information h of a lesson without its prior: exp(h theta - theta L theta / 2), up to a constant.

    In the numbers of a batch with another least ceiling and another formula: the ceiling itself is what is learned, and
    the rate over the one the formula made one expect.
    """
    root = np.linalg.cholesky(np.array(lesson.prior_covariance))
    back = np.linalg.inv(root)
    prior_mean = np.array(lesson.prior_mean)
    shares, axes = np.linalg.eigh(back @ np.array(lesson.covariance) @ back.T)
    shares = np.maximum(shares, LEAST_SHARE)
    is_learned = shares < LEARNED_SHARE
    moved = axes.T @ back @ (np.array(lesson.mean) - prior_mean)
    precision = back.T @ (axes * np.where(is_learned, 1.0 / shares - 1.0, 0.0)) @ axes.T @ back
    information = back.T @ axes @ np.where(is_learned, moved / shares, 0.0) + precision @ prior_mean

    slope, shift = np.ones(N_SHAPE), np.zeros(N_SHAPE)
    if rate_per_h is not None and lesson.rate_per_h is not None:
        shift[SHAPE_NAMES.index("log_rate")] = np.log(rate_per_h / lesson.rate_per_h)
    ceiling = SHAPE_NAMES.index("log_ceiling")
    before = float(np.exp(lesson.mean[ceiling]))
    after = max(lesson.least_ceiling_frac + before - least_ceiling_frac, LEAST_CEILING_GAP)
    slope[ceiling] = before / after
    shift[ceiling] = np.log(after) - slope[ceiling] * lesson.mean[ceiling]
    precision = precision / np.outer(slope, slope)
    return precision, information / slope + precision @ shift


def _at_most(matrix: Array, most: float) -> Array:
    """A symmetric matrix with its eigenvalues cut at ``most``."""
    values, axes = np.linalg.eigh(matrix)
    result: Array = (axes * np.minimum(values, most)) @ axes.T
    return result


def _log_likelihood(precisions: Array, informations: Array, mean: Array, covariance: Array) -> Array:
    """Logarithm of each lesson's likelihood, averaged over N(mean, covariance) of its batch's numbers, shape (n,)."""
    inverse = np.linalg.inv(covariance)
    pull = informations + inverse @ mean
    total = precisions + inverse
    gain = np.einsum("ni,ni->n", pull, np.linalg.solve(total, pull[..., np.newaxis])[..., 0]) - mean @ inverse @ mean
    result: Array = 0.5 * (gain - np.linalg.slogdet(total)[1] + np.linalg.slogdet(inverse)[1])
    return result


def _recipe_mean(precisions: Array, informations: Array, weights: Array, within: Array) -> tuple[Array, Array]:
    """Mean and covariance of the recipe's own numbers, whitened by the shipped prior."""
    one = np.eye(within.shape[0])
    blur = np.linalg.inv(one + precisions @ within)  # a lesson about a batch is a vaguer lesson about its recipe
    precision = np.linalg.inv(one - within) + np.einsum("n,nij->ij", weights, blur @ precisions)
    information = np.einsum("n,nij,nj->i", weights, blur, informations)
    covariance: Array = np.linalg.inv(0.5 * (precision + precision.T))
    return covariance @ information, covariance


def pooled(
    lessons: Sequence[Lesson], shipped: Prior, rate_per_h: float | None, *, is_sour: bool = False
) -> tuple[Prior, Array]:
    """The prior of the next batch of a recipe, and the weight of each lesson: near 0 for an odd batch.

    Parameters
    ----------
    lessons
        At least one, in a fixed order.
    shipped, rate_per_h
        The next batch's own shipped prior, and the rate its formula makes one expect.
    """
    root = np.linalg.cholesky(shipped.covariance)
    back = np.linalg.inv(root)
    found = [_from_readings(lesson, shipped.least_ceiling_frac, rate_per_h) for lesson in lessons]
    precisions = np.stack([root.T @ precision @ root for precision, _ in found])
    informations = np.stack([root.T @ (information - precision @ shipped.mean) for precision, information in found])
    sd = np.sqrt(np.diag(shipped.covariance))
    spread = (WITHIN_SD_SOUR if is_sour else WITHIN_SD) / sd
    # Within a recipe the numbers go together as they do between recipes.
    whole = back @ (shipped.covariance * np.outer(spread, spread)) @ back.T
    withins = np.stack([_at_most(scale * whole, MOST_WITHIN) for scale in SCALES])
    doubts = -0.5 * (np.log(SCALES) / SCALE_SD_LOG) ** 2

    one = np.eye(N_SHAPE)
    points = np.linalg.solve(precisions + one, informations[..., np.newaxis])[..., 0]
    settled: list[_Hypothesis] = []
    for start in _starts(np.asarray(points, dtype=np.float64)):
        view = _settled(precisions, informations, withins, doubts, start)
        if all(float(np.sum((view.mean - other.mean) ** 2)) > SAME_VIEW for other in settled):
            settled.append(view)
    log_chances = np.array([view.log_chance for view in settled])
    chances = np.exp(log_chances - np.max(log_chances))
    chances /= np.sum(chances)
    mean = sum(chance * view.mean for chance, view in zip(chances, settled, strict=True))
    predicted = sum(
        chance * (view.predicted + np.outer(view.mean - mean, view.mean - mean))
        for chance, view in zip(chances, settled, strict=True)
    )
    weights: Array = sum(chance * view.weights for chance, view in zip(chances, settled, strict=True))
    covariance = root @ _at_most(predicted, 1.0) @ root.T
    return replace(shipped, mean=shipped.mean + root @ mean, covariance=covariance), weights


@dataclass(frozen=True, slots=True)
class _Hypothesis:
    """One hypothesis about a recipe: which lessons are of it and which are odd, and what follows; whitened.

    ``log_chance`` is comparable between views of the same lessons.
    """

    mean: Array
    predicted: Array
    weights: Array
    log_chance: float


def _starts(points: Array) -> list[Array]:
    """Where views begin: the middle of all lessons, the shipped prior, and lessons far from these and each other."""
    starts = [np.median(points, axis=0), np.zeros(N_SHAPE)]
    for _ in range(min(points.shape[0], MOST_VIEWS - 2)):
        gaps = np.min([np.sum((points - start) ** 2, axis=1) for start in starts], axis=0)
        starts.append(points[int(np.argmax(gaps))])
    return starts


def _settled(precisions: Array, informations: Array, withins: Array, doubts: Array, start: Array) -> _Hypothesis:
    """The view that settles when lessons are weighed about a mean, and the mean is worked out anew, in turn."""
    one = np.eye(N_SHAPE)
    odd = _log_likelihood(precisions, informations, np.zeros(N_SHAPE), one)
    n, mean, odd_share = odd.size, start, ODD_SHARE
    weights = np.ones(n)
    for _ in range(MOST_ITERATIONS):
        fits = np.stack([_log_likelihood(precisions, informations, mean, within) for within in withins])
        scale = int(np.argmax(fits @ weights + doubts))
        usual = fits[scale]
        weights = 1.0 / (1.0 + odd_share / (1.0 - odd_share) * np.exp(np.minimum(odd - usual, 500.0)))
        odd_share = (ODD_SHARE * ODD_AFTER + float(np.sum(1.0 - weights))) / (ODD_AFTER + n)
        mean, covariance = _recipe_mean(precisions, informations, weights, withins[scale])
    between = one - withins[scale]
    log_chance = (
        float(np.sum(np.logaddexp(np.log(1.0 - odd_share) + usual, np.log(odd_share) + odd)))
        - 0.5 * float(mean @ np.linalg.solve(between, mean))
        + 0.5 * float(np.linalg.slogdet(covariance)[1] - np.linalg.slogdet(between)[1])
        + float(doubts[scale])
    )
    predicted = (1.0 - odd_share) * (covariance + withins[scale]) + odd_share * one
    return _Hypothesis(mean, predicted, weights, log_chance)


def _time_to_s(prior: Prior, rise_frac: float) -> float:
    """When the prior's middle curve reaches a rise in a dough at 27 C; NaN when not within ``HALF_WAY_S``. [s]"""
    t_s = np.arange(0.0, HALF_WAY_S + SPEED_STEP_S, SPEED_STEP_S)
    timeline = Timeline(t_s, np.zeros(t_s.size - 1), np.zeros((t_s.size - 1, 1)), np.empty(0, dtype=np.intp))
    path = rise_paths(np.concatenate([prior.mean, [0.0]])[np.newaxis], timeline, prior.least_ceiling_frac)[0][0]
    step = int(np.argmax(path >= rise_frac))
    return float(np.interp(rise_frac, path[step - 1 : step + 1], t_s[step - 1 : step + 1])) if step else float("nan")


# -- the widths -----------------------------------------------------------------------------------------------------


def width_factors(misses: Sequence[Sequence[Miss]]) -> tuple[float, ...]:
    """Factors on half-widths at each of ``SHARES``, from the misses of each batch.

    A band of the way with enough batches of its own is corrected by itself, any other by all bands together.
    """
    whole = _factor([[abs(miss.off) for miss in found] for found in misses])
    factors = []
    for share in SHARES:
        band = [[abs(miss.off) for miss in found if miss.share == share] for found in misses]
        factors.append(_factor(band) if sum(map(bool, band)) >= BAND_BATCHES else whole)
    return tuple(factors)


def _factor(offs: Sequence[Sequence[float]]) -> float:
    """What half-widths must be multiplied with to hold ``COVERAGE`` of the time: 1 without misses."""
    n_batches = sum(map(bool, offs))
    if n_batches == 0:
        return 1.0
    low, high = WIDTH_BOUNDS
    # Cut before the quantile is taken: how far off an odd batch was must not matter.
    seen = np.minimum([off for found in offs for off in found], high)
    wanted = max(float(np.quantile(seen, COVERAGE)), low)
    belief = WIDTH_AFTER if wanted > 1.0 else NARROW_AFTER
    return float(np.exp(n_batches / (n_batches + belief) * np.log(wanted)))


def widened(moments: Moments, factor: float, now: datetime, until: datetime) -> Moments:
    """Quantiles with their distances from the median multiplied by a factor.

    Parameters
    ----------
    moments
        What has happened already stays as it is; None stays None.
    factor
        Above 0. [-]
    now
        No quantile that lies ahead is moved before it.
    until
        The horizon: what is moved beyond it becomes None.
    """
    middle = moments.p50
    if middle is None or middle <= now or factor == 1.0:
        return moments

    def moved(at: datetime | None) -> datetime | None:
        if at is None:
            return None
        there = middle + timedelta(seconds=round(factor * (at - middle).total_seconds()))
        return None if there > until else max(there, min(at, now))

    return replace(moments, **{each.name: moved(getattr(moments, each.name)) for each in fields(moments)})
