"""How a dough may be rising, given its levels so far: a crowd of weighted curves, from prior and readings.

The curves of :mod:`monitor.dough.curve` have Gaussian priors in their (logarithmic) numbers. The readings are taken
with a heavy-tailed likelihood, so that a hand over the sensor bends nothing. The best curves are found by damped
Gauss-Newton steps from several starts, the curvature there gives a Gaussian crowd around each, and every member is
weighted by how well it truly fits. The result is a pure function of the readings: no order of arrival, no restart
changes it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import N_SHAPE, Timeline, rise_paths
from monitor.dough.levels import Evidence
from monitor.dough.prior import Prior

Array = NDArray[np.float64]

N_MEMBERS = 320
N_SCOUTS = 128  # prior draws among which the starts of the search are chosen
N_STARTS = 3
LEAST_GAIN = 3e-3  # judgement: a step that gains less is not worth another
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
FOLD_KEEPS_LOGIT = (0.4, 0.8)  # judgement: a fold keeps about 60 % of the rise, 25 to 85 %
SEED = 20260302


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


def _precision(
    prior: Prior, knots_s: Array, rate_doubts: Array, n_folds: int, levels_s: Array, n_shifts: int, start_sd: float
) -> tuple[Array, Array]:
    """Prior mean and precision of all numbers of a member."""

    def wandering(times_s: Array, sd: float, tau_s: float) -> Array:
        covariance: Array = sd**2 * np.exp(-np.abs(times_s[:, None] - times_s[None, :]) / tau_s)
        return covariance + 1e-6 * sd**2 * np.eye(times_s.size)

    n, n_levels = N_SHAPE + knots_s.size, levels_s.size
    mean = np.concatenate(
        [prior.mean, np.zeros(knots_s.size), np.full(n_folds, FOLD_KEEPS_LOGIT[0]), np.zeros(n_levels + n_shifts + 1)]
    )
    precision: Array = np.zeros((mean.size, mean.size))
    precision[:N_SHAPE, :N_SHAPE] = np.linalg.inv(prior.covariance)
    offsets = wandering(knots_s, OFFSET_SD, OFFSET_TAU_S) + rate_doubts.T @ rate_doubts
    precision[N_SHAPE:n, N_SHAPE:n] = np.linalg.inv(offsets)
    precision[range(n, n + n_folds), range(n, n + n_folds)] = FOLD_KEEPS_LOGIT[1] ** -2.0
    n += n_folds
    precision[n : n + n_levels, n : n + n_levels] = np.linalg.inv(wandering(levels_s, LEVEL_SD_MM, LEVEL_TAU_S))
    n += n_levels
    precision[range(n, n + n_shifts), range(n, n + n_shifts)] = SHIFT_SD_MM**-2.0
    precision[-1, -1] = start_sd**-2.0
    return mean, precision


class _Fit:
    """The misfit of members to the evidence, and the search for the best one."""

    def __init__(
        self,
        timeline: Timeline,
        steps: NDArray[np.intp],
        evidence: Evidence,
        wander: Array,
        mean: Array,
        precision: Array,
        least: float,
    ) -> None:
        self.timeline, self.steps, self.mean, self.precision, self.least = timeline, steps, mean, precision, least
        self.seen = evidence.rise_frac
        self.n_course = mean.size - 1 - wander.shape[0]
        self.wander = wander
        self.is_curved = np.arange(self.n_course) < N_SHAPE
        self.is_curved[N_SHAPE : N_SHAPE + timeline.knots.shape[1]] = np.any(timeline.knots > 0.0, axis=0)
        self.is_curved[N_SHAPE + timeline.knots.shape[1] :] = True
        self.sd = np.hypot(evidence.sd_frac, FLOOR_SD_FRAC)

    def residuals(self, members: Array) -> Array:
        """In standard deviations, shape (n_members, n_spans)."""
        return self.residuals_of(rise_paths(members[:, : self.n_course], self.timeline, self.least), members)

    def residuals_of(self, paths: Array, members: Array) -> Array:
        """The same, where the members' paths are known already; paths may reach beyond the evidence."""
        seen = (1.0 + self.seen) * (1.0 + members[:, -1:]) - 1.0
        result: Array = (paths[:, self.steps] + members[:, self.n_course : -1] @ self.wander - seen) / self.sd
        return result

    def cost(self, members: Array, residuals: Array) -> Array:
        """Minus the logarithm of the posterior, up to a constant, shape (n_members,)."""
        off = members - self.mean
        tails = 0.5 * (STUDENT_DOF + 1.0) * np.sum(np.log1p(residuals**2 / STUDENT_DOF), axis=1)
        result: Array = tails + 0.5 * np.einsum("ij,jk,ik->i", off, self.precision, off)
        return result

    def curvature(self, members: Array, residuals: Array) -> tuple[Array, Array]:
        """Gradients and Gauss-Newton curvatures of the cost, shapes (n_members, n) and (n_members, n, n)."""
        step = 1e-4
        # Only the course is curved: what wanders is linear, and offsets of the future do not touch the past.
        curved = np.flatnonzero(self.is_curved)
        course = members[:, np.newaxis, : self.n_course]
        moved = course + step * np.eye(self.n_course)[np.concatenate([[0], curved])]
        moved[:, 0] = course[:, 0]
        paths = rise_paths(moved.reshape(-1, self.n_course), self.timeline, self.least)[:, self.steps]
        paths = paths.reshape(*moved.shape[:2], -1)
        slopes = np.zeros((*members.shape, self.seen.size))
        slopes[:, curved] = (paths[:, 1:] - paths[:, :1]) / step
        slopes[:, self.n_course : -1] = self.wander
        slopes[:, -1] = -(1.0 + self.seen)
        slopes /= self.sd
        weight = (STUDENT_DOF + 1.0) / (STUDENT_DOF + residuals**2)
        pull = np.einsum("ijk,ik->ij", slopes, weight * residuals)
        gradients = pull + (members - self.mean) @ self.precision
        return gradients, (slopes * weight[:, np.newaxis]) @ slopes.transpose(0, 2, 1) + self.precision

    def descend(self, members: Array) -> tuple[Array, Array, Array]:
        """The best members near some starts, their costs and curvatures, by damped Gauss-Newton steps side by side."""
        best = members.copy()
        residuals = self.residuals(best)
        costs = self.cost(best, residuals)
        gradients, curvatures = self.curvature(best, residuals)
        damping = np.full(best.shape[0], 0.1)
        walking = np.arange(best.shape[0])
        diagonal = np.arange(best.shape[1])
        for _ in range(MOST_STEPS):
            damped = curvatures[walking]
            damped[:, diagonal, diagonal] *= 1.0 + damping[walking, np.newaxis]
            trials = best[walking] - np.linalg.solve(damped, gradients[walking, :, np.newaxis])[:, :, 0]
            trial_residuals = self.residuals(trials)
            gains = costs[walking] - self.cost(trials, trial_residuals)
            is_better = gains > 0.0  # NaN counts as worse
            better = walking[is_better]
            best[better], residuals[better] = trials[is_better], trial_residuals[is_better]
            costs[better] -= gains[is_better]
            if better.size:
                gradients[better], curvatures[better] = self.curvature(best[better], residuals[better])
            damping[better] = np.maximum(damping[better] / 5.0, 1e-6)
            worse = walking[~is_better]
            damping[worse] *= 6.0
            walking = np.sort(np.concatenate([better[gains[is_better] >= LEAST_GAIN], worse[damping[worse] <= 1e6]]))
            if walking.size == 0:
                break
        return best, costs, curvatures


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


def _optima(fit: _Fit, scouts: Array) -> list[_Optimum]:
    """The distinct best members, best first, searched from scouts whose lags differ.

    A short lag with a slow rate and a long lag with a quick one can look alike for an hour and part afterwards: both
    must be in the crowd until the readings have decided.
    """
    costs = fit.cost(scouts, fit.residuals(scouts))
    starts: list[Array] = []
    for scout in scouts[np.argsort(costs, kind="stable")]:
        if all(abs(scout[1] - start[1]) > START_SPREAD for start in starts):
            starts.append(scout)
        if len(starts) == N_STARTS:
            break
    found: list[_Optimum] = []
    for member, cost, curvature in zip(*fit.descend(np.array(starts)), strict=True):
        optimum = _Optimum(member, float(cost), np.asarray(np.linalg.cholesky(curvature), dtype=np.float64))
        if all(float(np.sum((optimum.root.T @ (member - other.member)) ** 2)) > DISTINCT for other in found):
            found.append(optimum)
    return sorted(found, key=lambda optimum: optimum.cost)


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


def crowd(timeline: Timeline, now_s: float, prior: Prior, evidence: Evidence | None, rate_doubts: Array) -> Crowd:
    """Courses a dough may take, weighted by how well they agree with what was seen.

    Parameters
    ----------
    timeline
        Must hold every time of the evidence.
    now_s
        Time since the start; the timeline's knots must be those of :func:`knot_times_s`.
    evidence
        None: the crowd is the prior's.
    rate_doubts : array, shape (n_causes, n_knots)
        One standard deviation of each thing not known about the warmth, as a shift of ln of the rate at the knots.
    """
    rng = np.random.default_rng(SEED)
    knots_s = knot_times_s(now_s)
    least = prior.least_ceiling_frac
    start_sd = evidence.start_sd_frac if evidence is not None else 0.01
    levels_s = past_knots_s(now_s)
    n_shifts = len(evidence.shifts_s) if evidence is not None else 0
    mean, precision = _precision(prior, knots_s, rate_doubts, len(timeline.fold_steps), levels_s, n_shifts, start_sd)
    n_course = N_SHAPE + knots_s.size + len(timeline.fold_steps)
    # Both signs of each draw: the crowd's mean is then exact, which steadies the quantiles of a small crowd.
    half = rng.standard_normal((N_MEMBERS // 2, mean.size))
    draws = np.concatenate([half, -half])[np.arange(N_MEMBERS).reshape(2, -1).T.ravel()]
    prior_members = mean + np.linalg.solve(np.linalg.cholesky(precision).T, draws.T).T
    if evidence is None or evidence.t_s.size == 0:
        even = np.full(N_MEMBERS, 1.0 / N_MEMBERS)
        return Crowd(rise_paths(prior_members[:, :n_course], timeline, least), even, prior_members)

    steps = np.searchsorted(timeline.t_s, evidence.t_s)
    shifted = (evidence.t_s[:, np.newaxis] > np.array(evidence.shifts_s)).astype(np.float64)
    wander = (np.hstack([hats(evidence.t_s, levels_s), shifted]) * evidence.frac_per_mm[:, np.newaxis]).T
    fit = _Fit(timeline.upto(int(steps[-1])), steps, evidence, wander, mean, precision, least)
    found = _optima(fit, np.concatenate([mean[None], prior_members[: N_SCOUTS - 1]]))
    members, log_density = _sample(found, draws)
    paths = rise_paths(members[:, :n_course], timeline, least)
    log_weight = -fit.cost(members, fit.residuals_of(paths, members)) - log_density
    weights = np.exp(TEMPER * (log_weight - np.max(log_weight)))
    # Tempered, and truncated (Ionides 2008): no single member may speak for the whole crowd.
    weights = np.minimum(weights, np.mean(weights) * np.sqrt(N_MEMBERS))
    return Crowd(paths, weights / np.sum(weights), members)
