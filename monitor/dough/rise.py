"""How a dough may be rising, given its levels so far: a crowd of weighted curves, from prior and readings.

The curves of :mod:`monitor.dough.curve` have Gaussian priors in their (logarithmic) numbers. The readings are taken
with a heavy-tailed likelihood, so that a hand over the sensor bends nothing. The best curves are found by damped
Gauss-Newton steps from several starts, the curvature there gives a Gaussian crowd around each, and every member is
weighted by how well it truly fits. The result is a pure function of the readings: no order of arrival, no restart
changes it.

Doughs with as many knots, folds and shifts are worked side by side, their spans and time steps filled up to whole
sixteens with ones that say nothing: then it makes no difference, not in the last bit, who shares a group.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import N_SHAPE, Indices, Timeline, rise_paths, rise_slopes, stacked
from monitor.dough.levels import Evidence
from monitor.dough.prior import Prior

Array = NDArray[np.float64]

# glibc gives a freed array's memory back and fetches it anew for the next one, page by page, which takes as long as the
# arithmetic. Once it has seen a very large array go it keeps what is free (mallopt(3), M_MMAP_THRESHOLD).
np.empty(4_000_000)

N_MEMBERS = 320
N_SCOUTS = 128  # prior draws among which the starts of the search are chosen
N_STARTS = 3
FIRST_DAMPING = 0.1
LEAST_GAIN = 1e-2  # judgement: a step that gains less is not worth another
TRIED_STEPS = 6  # judgement: then a walk whose chance is less than LEAST_MASS of another's is given up
MOST_STEPS = 40  # judgement: a search that has not settled by then is as good as it will be
START_SPREAD = 0.5  # judgement: starts differ in ln of the lag by at least this much
DISTINCT = 1.0  # judgement: two optima closer than one standard deviation are one
TEMPER = 0.5  # judgement: trades a little sharpness for a crowd in which many members speak
LEAST_MASS = 0.05  # judgement: a lesser optimum still sends a few members, and their weights speak
STUDENT_DOF = 4.0  # judgement: tails heavy enough to shrug at a hand, light enough to learn from noise
FLOOR_SD_FRAC = 0.003  # judgement: no curve of the family is truer to a dough than 0.3 points of rise
OFFSET_SD = 0.20  # judgement, checked on simulated doughs: how far the rate wanders off the curve, in ln
OFFSET_TAU_S = 5400.0  # judgement: how long it wanders
LEVEL_SD_MM = (
    0.7  # judgement: a dome that grows or flattens, a film on the lens: what is seen wanders off what is there
)
LEVEL_TAU_S = 5400.0  # judgement
SHIFT_SD_MM = 15.0  # judgement: how far a moved tub or a lid put back askew can shift the level
UNSEEN_START_SD_FRAC = 0.01  # judgement: where no height was seen it makes no difference
FOLD_KEEPS_LOGIT = (0.4, 0.8)  # judgement: a fold keeps about 60 % of the rise, 25 to 85 %
SEED = 20260302
SIDE_BY_SIDE = 16  # judgement: past this the arrays outgrow a processor's cache, and calls cost little already
FILLED_TO = 16


@dataclass(frozen=True, slots=True)
class Crowd:
    """Possible courses of one dough.

    Attributes
    ----------
    paths : array, shape (n_members, n_t)
        Fractional rise on the timeline.
    weights : array, shape (n_members,)
        Their chances, summing to one.
    members : array, shape (n_members, n_numbers)
        The numbers behind each path; the last column is the relative error of the start volume.
    """

    paths: Array
    weights: Array
    members: Array


def past_knots_s(now_s: float) -> Array:
    """Where what wanders is pinned in the past: evenly, at most half an hour apart at first. [s]"""
    return np.linspace(0.0, now_s, 2 + min(5, int(now_s // 1800.0)))


def knot_times_s(now_s: float) -> Array:
    """Where the rate offsets sit: through the past, and ever more sparsely through the future. [s]"""
    return np.concatenate([past_knots_s(now_s), now_s + np.array([1800.0, 5400.0, 14400.0, 36000.0])])


def hats(at_s: Array, knots_s: Array) -> Array:
    """Weights that interpolate between knots, shape (n_at, n_knots)."""
    return np.stack([np.interp(at_s, knots_s, row) for row in np.eye(knots_s.size)], axis=1)


@dataclass(frozen=True, slots=True)
class Sight:
    """What is known of one dough before its courses are looked for.

    Attributes
    ----------
    timeline
        Must hold every time of the evidence; its knots must be those of :func:`knot_times_s`.
    now_step
        Index of now among its times.
    evidence
        None: the crowd is the prior's.
    rate_doubts : array, shape (n_causes, n_knots)
        One standard deviation of each thing not known about the warmth, as a shift of ln of the rate at the knots.
    """

    timeline: Timeline
    now_step: int
    prior: Prior
    evidence: Evidence | None
    rate_doubts: Array

    @property
    def now_s(self) -> float:
        """Time since the start. [s]"""
        return float(self.timeline.t_s[self.now_step])

    @property
    def seen(self) -> Evidence | None:
        """The evidence, if it says anything."""
        return self.evidence if self.evidence is not None and self.evidence.t_s.size else None

    @property
    def shape(self) -> tuple[int, ...]:
        """What those have in common that can be worked side by side: counts of numbers, filled-up lengths."""
        n_shifts = 0 if self.evidence is None else len(self.evidence.shifts_s)
        n_knots, n_folds = self.timeline.knots.shape[1], self.timeline.fold_steps.size
        n_spans = 0 if self.seen is None else self.seen.t_s.size
        n_past = _filled(max(self.now_step + 1, n_spans))  # for times and spans alike: nearly each time is a span's
        n_t = n_past + _filled(self.timeline.t_s.size - self.now_step - 1)
        return n_knots, n_folds, n_shifts, int(self.seen is not None), n_past, n_t


def _filled(n: int) -> int:
    return -(-n // FILLED_TO) * FILLED_TO


def _wandering(times_s: Array, sd: float, tau_s: float) -> Array:
    covariance: Array = sd**2 * np.exp(-np.abs(times_s[:, None] - times_s[None, :]) / tau_s)
    return covariance + 1e-6 * sd**2 * np.eye(times_s.size)


def _precision(sight: Sight) -> tuple[Array, Array]:
    """Prior mean and precision of all numbers of a member."""
    knots_s, levels_s = knot_times_s(sight.now_s), past_knots_s(sight.now_s)
    n_folds, evidence = sight.timeline.fold_steps.size, sight.evidence
    n_shifts = 0 if evidence is None else len(evidence.shifts_s)
    n, n_levels = N_SHAPE + knots_s.size, levels_s.size
    mean = np.concatenate(
        [
            sight.prior.mean,
            np.zeros(knots_s.size),
            np.full(n_folds, FOLD_KEEPS_LOGIT[0]),
            np.zeros(n_levels + n_shifts + 1),
        ]
    )
    precision: Array = np.zeros((mean.size, mean.size))
    precision[:N_SHAPE, :N_SHAPE] = np.linalg.inv(sight.prior.covariance)
    offsets = _wandering(knots_s, OFFSET_SD, OFFSET_TAU_S) + sight.rate_doubts.T @ sight.rate_doubts
    precision[N_SHAPE:n, N_SHAPE:n] = np.linalg.inv(offsets)
    precision[range(n, n + n_folds), range(n, n + n_folds)] = FOLD_KEEPS_LOGIT[1] ** -2.0
    n += n_folds
    precision[n : n + n_levels, n : n + n_levels] = np.linalg.inv(_wandering(levels_s, LEVEL_SD_MM, LEVEL_TAU_S))
    n += n_levels
    precision[range(n, n + n_shifts), range(n, n + n_shifts)] = SHIFT_SD_MM**-2.0
    precision[-1, -1] = (UNSEEN_START_SD_FRAC if evidence is None else evidence.start_sd_frac) ** -2.0
    return mean, precision


@cache
def _draws(n_numbers: int) -> Array:
    """The same standard normal draws for every dough with as many numbers, shape (N_MEMBERS, n_numbers)."""
    # Both signs of each draw: the crowd's mean is then exact, which steadies the quantiles of a small crowd.
    half = np.random.default_rng(SEED).standard_normal((N_MEMBERS // 2, n_numbers))
    return np.concatenate([half, -half])[np.arange(N_MEMBERS).reshape(2, -1).T.ravel()]


@dataclass(frozen=True, slots=True)
class _Fit:
    """The misfit of members to the evidence of some doughs side by side, and the search for the best members.

    Attributes
    ----------
    past
        Times up to now.
    steps, seen, per_sd : arrays, shape (n_doughs, n_spans)
        Where on them the spans are; the rise seen; one over its standard deviation, 0 for a span that fills up.
    wander : array, shape (n_doughs, n_wandering, n_spans)
        What a millimetre of each thing that wanders is worth in each span.
    mean, precision : arrays, shapes (n_doughs, n_numbers) and (n_doughs, n_numbers, n_numbers)
    least : array, shape (n_doughs,)
    """

    past: Timeline
    steps: Indices
    seen: Array
    per_sd: Array
    wander: Array
    mean: Array
    precision: Array
    least: Array

    @property
    def n_course(self) -> int:
        """How many of a member's numbers its course has; the others wander, and the last is the start's error."""
        return int(self.mean.shape[-1] - 1 - self.wander.shape[1])

    def of(self, doughs: Indices) -> "_Fit":
        """The fits of some of the doughs, in that order; one may come twice."""
        numbers = (
            part[doughs] for part in (self.seen, self.per_sd, self.wander, self.mean, self.precision, self.least)
        )
        return _Fit(self.past.of(doughs), self.steps[doughs], *numbers)

    def residuals(self, members: Array) -> Array:
        """In standard deviations, shape (n_doughs, n_members, n_spans)."""
        return self.residuals_of(rise_paths(members[..., : self.n_course], self.past, self.least, self.steps), members)

    def residuals_of(self, rises: Array, members: Array) -> Array:
        """The same, where the members' rises in the spans are known already."""
        seen = (1.0 + self.seen[:, np.newaxis]) * (1.0 + members[..., -1:]) - 1.0
        result: Array = (rises + members[..., self.n_course : -1] @ self.wander - seen) * self.per_sd[:, np.newaxis]
        return result

    def cost(self, members: Array, residuals: Array) -> Array:
        """Minus the logarithm of the posterior, up to a constant, shape (n_doughs, n_members)."""
        off = members - self.mean[:, np.newaxis]
        tails = 0.5 * (STUDENT_DOF + 1.0) * np.sum(np.log1p(residuals**2 / STUDENT_DOF), axis=-1)
        result: Array = tails + 0.5 * np.sum((off @ self.precision) * off, axis=-1)
        return result

    def around(self, members: Array) -> tuple[Array, Array, Array]:
        """Cost, its gradient and Gauss-Newton curvature at one member a dough, shape (n_doughs, n_numbers).

        Shapes (n_doughs,), (n_doughs, n_numbers) and (n_doughs, n_numbers, n_numbers).
        """
        members = members[:, np.newaxis]
        rises, course_slopes = rise_slopes(members[..., : self.n_course], self.past, self.least, self.steps)
        residuals = self.residuals_of(rises, members)
        slopes = np.empty((*self.mean.shape, self.seen.shape[-1]))
        slopes[:, : self.n_course] = course_slopes[:, 0]
        slopes[:, self.n_course : -1] = self.wander
        slopes[:, -1] = -(1.0 + self.seen)
        root_weight = np.sqrt((STUDENT_DOF + 1.0) / (STUDENT_DOF + residuals**2))
        slopes *= root_weight * self.per_sd[:, np.newaxis]
        pull = (slopes @ (root_weight * residuals).transpose(0, 2, 1))[..., 0]
        gradients = pull + ((members - self.mean[:, np.newaxis]) @ self.precision)[:, 0]
        curvatures = slopes @ slopes.transpose(0, 2, 1) + self.precision
        return self.cost(members, residuals)[:, 0], gradients, curvatures

    def descend(self, starts: Array, pairs: Indices) -> tuple[Array, Array, Array]:
        """The best members near some starts, their costs and curvatures, by damped Gauss-Newton steps side by side.

        One start a dough, shape (n_doughs, n_numbers); a dough with more of them comes more than once. How a step is
        damped goes by how much of the gain that it promised it brought (Nielsen 1999, from memory). Of two walks from
        starts named in ``pairs``, shape (2, n_pairs), that come upon each other only the better one goes on, as of two
        far apart in cost after a while; the cost of the other is infinite in the end.
        """
        best = starts.copy()
        costs, gradients, curvatures = self.around(best)
        damping, raised = np.full(best.shape[0], FIRST_DAMPING), np.full(best.shape[0], 2.0)
        walking = np.arange(best.shape[0])
        diagonal = np.arange(best.shape[-1])
        here = self
        for step in range(MOST_STEPS):
            damped = curvatures[walking]
            hold = damping[walking, np.newaxis] * damped[:, diagonal, diagonal]
            damped[:, diagonal, diagonal] += hold
            move = -np.linalg.solve(damped, gradients[walking, :, np.newaxis])[..., 0]
            promised = 0.5 * np.sum(move * (hold * move - gradients[walking]), axis=1)
            trials = best[walking] + move
            found = here.around(trials)
            gains = costs[walking] - found[0]
            is_better = gains > 0.0  # NaN counts as worse
            better, worse = walking[is_better], walking[~is_better]
            best[better] = trials[is_better]
            costs[better], gradients[better], curvatures[better] = (part[is_better] for part in found)
            kept = gains[is_better] / promised[is_better]
            damping[better] = np.maximum(damping[better] * np.maximum(1.0 / 3.0, 1.0 - (2.0 * kept - 1.0) ** 3), 1e-6)
            raised[better] = 2.0
            damping[worse] *= raised[worse]
            raised[worse] *= 2.0
            one, other = pairs
            apart = best[one] - best[other]
            is_met = np.einsum("ij,ijk,ik->i", apart, curvatures[other], apart) <= DISTINCT
            met = one[is_met & ((costs[other] < costs[one]) | ((costs[other] == costs[one]) & (other < one)))]
            costs[met] = np.inf
            if step >= TRIED_STEPS:
                costs[one[costs[one] > costs[other] - np.log(LEAST_MASS)]] = np.inf
            pairs = pairs[:, np.all(np.isfinite(costs[pairs]), axis=0)]
            still = np.sort(np.concatenate([better[gains[is_better] >= LEAST_GAIN], worse[damping[worse] <= 1e6]]))
            still = still[np.isfinite(costs[still])]
            if still.size == 0:
                break
            if still.size < walking.size:
                here = self.of(still)
            walking = still
        return best, costs, curvatures


def _fit(sights: Sequence[Sight], timeline: Timeline, mean: Array, precision: Array, least: Array) -> _Fit:
    """What was seen of some doughs of one shape, side by side."""
    n_past = sights[0].shape[-2]
    filled = np.zeros((3, len(sights), n_past))
    steps = np.zeros((len(sights), n_past), dtype=np.intp)
    wander = []
    for number, sight in enumerate(sights):
        seen = sight.seen
        assert seen is not None
        n = seen.t_s.size
        steps[number, :n] = np.searchsorted(sight.timeline.t_s, seen.t_s)
        filled[0, number, :n] = seen.rise_frac
        filled[1, number, :n] = 1.0 / np.hypot(seen.sd_frac, FLOOR_SD_FRAC)
        filled[2, number, :n] = seen.frac_per_mm
        shifted = (seen.t_s[:, np.newaxis] > np.array(seen.shifts_s)).astype(np.float64)
        worth = np.hstack([hats(seen.t_s, past_knots_s(sight.now_s)), shifted]).T
        wander.append(np.pad(worth, [(0, 0), (0, n_past - n)]))
    wandering = np.stack(wander) * filled[2][:, np.newaxis]
    return _Fit(timeline.upto(n_past), steps, filled[0], filled[1], wandering, mean, precision, least)


@dataclass(frozen=True, slots=True)
class _Optimum:
    """A best member, its cost, and the Cholesky factor of the curvature around it."""

    member: Array
    cost: float
    root: Array

    @property
    def log_evidence(self) -> float:
        """Logarithm of the posterior mass around it, in Laplace's approximation, up to a constant."""
        return -self.cost - float(np.sum(np.log(np.diag(self.root))))


def _starts(scouts: Array, costs: Array) -> list[Array]:
    """The best scouts of one dough whose lags differ.

    A short lag with a slow rate and a long lag with a quick one can look alike for an hour and part afterwards: both
    must be in the crowd until the readings have decided.
    """
    starts: list[Array] = []
    for scout in scouts[np.argsort(costs, kind="stable")]:
        if all(abs(scout[1] - start[1]) > START_SPREAD for start in starts):
            starts.append(scout)
        if len(starts) == N_STARTS:
            break
    return starts


def _optima(fit: _Fit, scouts: Array) -> list[list[_Optimum]]:
    """The distinct best members of each dough, best first."""
    starts = [_starts(*each) for each in zip(scouts, fit.cost(scouts, fit.residuals(scouts)), strict=True)]
    owners = np.repeat(np.arange(len(starts)), [len(each) for each in starts])
    are_rivals = (owners[:, np.newaxis] == owners) & ~np.eye(owners.size, dtype=bool)
    members, costs, curvatures = fit.of(owners).descend(np.concatenate(starts), np.stack(np.nonzero(are_rivals)))
    roots = np.linalg.cholesky(curvatures)
    found: list[list[_Optimum]] = [[] for _ in starts]
    for number in np.argsort(costs, kind="stable"):
        if np.isfinite(costs[number]):
            found[owners[number]].append(_Optimum(members[number], float(costs[number]), roots[number]))
    return found


def _sample(found: list[_Optimum], draws: Array) -> tuple[Array, Array]:
    """Members around each optimum by its mass, and the logarithm of the density they were drawn from."""
    log_mass = np.array([optimum.log_evidence for optimum in found])
    mass = np.exp(log_mass - np.max(log_mass))
    mass = np.maximum(mass / np.sum(mass), LEAST_MASS)
    mass /= np.sum(mass)
    counts = np.diff(np.round(np.concatenate([[0.0], np.cumsum(mass)]) * draws.shape[0])).astype(int)
    parts, begin = [], 0
    for optimum, count in zip(found, counts, strict=True):
        parts.append(optimum.member + np.linalg.solve(optimum.root.T, draws[begin : begin + count].T).T)
        begin += count
    members = np.concatenate(parts)
    log_densities = np.stack(
        [
            np.log(share)
            + np.sum(np.log(np.diag(optimum.root)))
            - 0.5 * np.sum(((members - optimum.member) @ optimum.root) ** 2, axis=1)
            for share, optimum in zip(mass, found, strict=True)
        ]
    )
    density: Array = np.logaddexp.reduce(log_densities, axis=0)
    return members, density


def _crowds_of_shape(sights: Sequence[Sight]) -> Iterator[Crowd]:
    """The crowds of doughs of one shape, side by side."""
    timeline = stacked([sight.timeline for sight in sights], sights[0].shape[-1])
    least = np.array([sight.prior.least_ceiling_frac for sight in sights])
    mean, precision = (np.stack(parts) for parts in zip(*(_precision(sight) for sight in sights), strict=True))
    n_course = N_SHAPE + timeline.knots.shape[-1] + timeline.fold_steps.shape[-1]
    draws = _draws(mean.shape[-1])
    # Rows of draws times the inverse of the root: the transposed of what a column would be.
    inverse_roots = np.linalg.inv(np.linalg.cholesky(precision))
    fit = None if sights[0].seen is None else _fit(sights, timeline, mean, precision, least)
    if fit is not None:
        scouts = np.concatenate(
            [mean[:, np.newaxis], mean[:, np.newaxis] + draws[: N_SCOUTS - 1] @ inverse_roots], axis=1
        )
        found = _optima(fit, scouts)
    for number, sight in enumerate(sights):  # one at a time: these arrays are large enough by themselves
        if fit is None:
            members = mean[number] + draws @ inverse_roots[number]
        else:
            members, log_density = _sample(found[number], draws)
        paths = rise_paths(members[:, :n_course], sight.timeline, sight.prior.least_ceiling_frac)
        weights = np.full(N_MEMBERS, 1.0 / N_MEMBERS)
        if fit is not None:
            here = fit.of(np.array([number]))
            residuals = here.residuals_of(paths[np.newaxis, :, here.steps[0]], members)
            log_weight = -here.cost(members, residuals)[0] - log_density
            weights = np.exp(TEMPER * (log_weight - np.max(log_weight)))
            # Tempered, and truncated (Ionides 2008): no single member may speak for the whole crowd.
            weights = np.minimum(weights, np.mean(weights) * np.sqrt(N_MEMBERS))
            weights /= np.sum(weights)
        yield Crowd(paths, weights, members)


def crowds(sights: Sequence[Sight]) -> Iterator[tuple[int, Crowd]]:
    """Courses that each of some doughs may take, weighted by how well they agree with what was seen of it.

    Each comes with its dough's place among the sights, in an order of no meaning, and can be let go before the next.
    """
    by_shape: dict[tuple[int, ...], list[int]] = {}
    for number, sight in enumerate(sights):
        by_shape.setdefault(sight.shape, []).append(number)
    for numbers in by_shape.values():
        for begin in range(0, len(numbers), SIDE_BY_SIDE):
            part = numbers[begin : begin + SIDE_BY_SIDE]
            yield from zip(part, _crowds_of_shape([sights[number] for number in part]), strict=True)
