"""How a dough may be rising, given its levels so far: a ensemble of weighted curves, from prior and readings.

The curves of :mod:`monitor.dough.curve` have Gaussian priors in their (logarithmic) numbers. The readings are taken
with a heavy-tailed likelihood, so that a hand over the sensor bends nothing. The best curves are found by damped
Gauss-Newton steps from several starts, the curvature there gives a Gaussian ensemble around each, and every member is
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

from monitor.dough.artefacts import FOLD_KEEPS_LOGIT, SURE
from monitor.dough.curve import DOME, DOME_AT_START, DOME_GROWN_AT, N_SHAPE, Timeline, rise_paths, stacked
from monitor.dough.observations import Observations
from monitor.dough.posterior_modes import LEAST_MASS, N_START_NUMBERS, Misfit, Mode, posterior_modes
from monitor.dough.prior import SLUMP_TAU_S, Prior

Array = NDArray[np.float64]

# glibc gives a freed array's memory back and fetches it anew for the next one, page by page, which takes as long as the
# arithmetic. Once it has seen a very large array go it keeps what is free (mallopt(3), M_MMAP_THRESHOLD).
np.empty(4_000_000)

N_MEMBERS = 320
N_PILOTS = 128  # prior draws among which the starts of the search are chosen
TEMPER = 0.5  # judgement: trades a little sharpness for a ensemble in which many members speak
FLOOR_SD_FRAC = 0.003  # judgement: no curve of the family is truer to a dough than 0.3 points of rise
OFFSET_SD = 0.20  # judgement, checked on simulated doughs: how far the rate wanders off the curve, in ln
OFFSET_TAU_S = 5400.0  # judgement: how long it wanders
LEVEL_SD_MM = 0.7  # judgement: a film on the lens, a bubble: what is seen wanders off what is there
DOME_WANDERS = 0.25  # judgement: a dome goes its own way by this share of its height, as no two doughs lie alike
LEVEL_TAU_S = 5400.0  # judgement
BALL_WANDERS = 0.1  # judgement: a ball does not spread evenly, by this share of what it sank
BALL_DOUBT, BALL_TAU_S = 1.0, 3600.0  # judgement: how little its height says of its volume, by what it had sunk
BALL_SINKS = 1.5  # judgement: by when its height turns it has sunk two thirds of its way
BALL_SD_LOG = 0.7  # judgement: of what a ball that was seen to sink had to sink
SHIFT_SD_MM = 15.0  # judgement: how far a moved tub or a lid put back askew can shift the level
UNSEEN_START_SD_FRAC = 0.01  # judgement: where no height was seen it makes no difference
MAYBE_KEEPS_LOGIT = (1.2, 1.4)  # judgement: what may have been a fold or a moved tub, keeps from a third to all of it
SEED = 20260302
SIDE_BY_SIDE = 16  # judgement: past this the arrays outgrow a processor's cache, and calls cost little already
FILLED_TO = 16


@dataclass(frozen=True, slots=True)
class Ensemble:
    """Possible courses of one dough.

    Attributes
    ----------
    paths : array, shape (n_members, n_t)
        Fractional rise on the timeline.
    domes : array, shape (n_members, n_t)
        The middle of the top over its edge, as a share of the vessel's width.
    weights : array, shape (n_members,)
        Their chances, summing to one.
    members : array, shape (n_members, n_numbers)
        The numbers behind each path; the last column is the relative error of the start volume.
    """

    paths: Array
    domes: Array
    weights: Array
    members: Array


def past_knots_s(now_s: float) -> Array:
    """Where what wanders is pinned in the past: evenly, at most half an hour apart at first. [s]"""
    return np.linspace(0.0, now_s, 2 + min(5, int(now_s // 1800.0)))


def knot_times_s(now_s: float) -> Array:
    """Where the rate offsets sit: through the past, and ever more sparsely through the future. [s]"""
    return np.concatenate([past_knots_s(now_s), now_s + np.array([1800.0, 5400.0, 14400.0, 36000.0])])


def hat_basis(at_s: Array, knots_s: Array) -> Array:
    """Piecewise-linear (hat) basis functions: weights that interpolate between knots.

    Parameters
    ----------
    at_s : array, shape (n_at,)
        Where; beyond the ends the outermost knot holds. [s]
    knots_s : array, shape (n_knots,)
        Ascending. [s]

    Returns
    -------
    array, shape (n_at, n_knots)
        Each row sums to one. [-]
    """
    return np.stack([np.interp(at_s, knots_s, row) for row in np.eye(knots_s.size)], axis=1)


@dataclass(frozen=True, slots=True)
class EstimationProblem:
    """What is known of one dough before its courses are looked for.

    Attributes
    ----------
    timeline
        Must hold every time of the observations; its knots must be those of :func:`knot_times_s`.
    now_step
        Index of now among its times.
    observations
        None: the ensemble is the prior's.
    rate_doubts : array, shape (n_causes, n_knots)
        One standard deviation of each thing not known about the warmth, as a shift of ln of the rate at the knots.
    """

    timeline: Timeline
    now_step: int
    prior: Prior
    observations: Observations | None
    rate_doubts: Array

    @property
    def now_s(self) -> float:
        """Time since the start. [s]"""
        return float(self.timeline.t_s[self.now_step])

    @property
    def seen(self) -> Observations | None:
        """The observations, if it says anything."""
        return self.observations if self.observations is not None and self.observations.t_s.size else None

    @property
    def shape(self) -> tuple[int, ...]:
        """What those have in common that can be worked side by side: counts of numbers, filled-up lengths."""
        n_shifts = 0 if self.observations is None else len(self.observations.shifts_s)
        n_knots, n_folds = self.timeline.knots.shape[1], self.timeline.fold_steps.size
        n_spans = 0 if self.seen is None else self.seen.t_s.size
        n_past = _filled(self.now_step + 1)
        n_t = n_past + _filled(self.timeline.t_s.size - self.now_step - 1)
        return n_knots, n_folds, n_shifts, _filled(n_spans), n_past, n_t


def _filled(n: int) -> int:
    return -(-n // FILLED_TO) * FILLED_TO


def _wandering(times_s: Array, sd: Array | float, tau_s: float) -> Array:
    """Covariance of what wanders, at some times; ``sd`` may differ from one to the other."""
    sds = np.broadcast_to(sd, times_s.shape)
    correlation = np.exp(-np.abs(times_s[:, None] - times_s[None, :]) / tau_s) + 1e-6 * np.eye(times_s.size)
    covariance: Array = np.outer(sds, sds) * correlation
    return covariance


def _precision(problem: EstimationProblem) -> tuple[Array, Array]:
    """Prior mean and precision of all numbers of a member."""
    knots_s, levels_s = knot_times_s(problem.now_s), past_knots_s(problem.now_s)
    n_folds, observations = problem.timeline.fold_steps.size, problem.observations
    n_shifts = 0 if observations is None else len(observations.shifts_s)
    n, n_levels = N_SHAPE + knots_s.size, levels_s.size
    start = (0.0, UNSEEN_START_SD_FRAC) if observations is None else observations.start_error_frac
    slump = problem.prior.slump
    if observations is not None and observations.spread_frac > 0.0:
        # What it sank was seen as a share of the lowest level, not of the start volume.
        slump = (BALL_SINKS * observations.spread_frac * (1.0 + start[0]), BALL_SD_LOG)
    sure = (1.0,) * n_folds if observations is None else observations.fold_chances
    keeps = np.array([FOLD_KEEPS_LOGIT if chance >= SURE else MAYBE_KEEPS_LOGIT for chance in sure]).reshape(-1, 2)
    mean = np.concatenate(
        [
            problem.prior.mean,
            np.zeros(knots_s.size),
            keeps[:, 0],
            np.zeros(n_levels + n_shifts),
            [np.log(slump[0]), np.log(SLUMP_TAU_S[0]), start[0]],
        ]
    )
    precision: Array = np.zeros((mean.size, mean.size))
    precision[:N_SHAPE, :N_SHAPE] = np.linalg.inv(problem.prior.covariance)
    offsets = _wandering(knots_s, OFFSET_SD, OFFSET_TAU_S) + problem.rate_doubts.T @ problem.rate_doubts
    precision[N_SHAPE:n, N_SHAPE:n] = np.linalg.inv(offsets)
    precision[range(n, n + n_folds), range(n, n + n_folds)] = keeps[:, 1] ** -2.0
    n += n_folds
    precision[n : n + n_levels, n : n + n_levels] = np.linalg.inv(
        _wandering(levels_s, _levels_sd_mm(problem, levels_s), LEVEL_TAU_S)
    )
    n += n_levels
    precision[range(n, n + n_shifts), range(n, n + n_shifts)] = SHIFT_SD_MM**-2.0
    n += n_shifts
    precision[range(n, n + N_START_NUMBERS), range(n, n + N_START_NUMBERS)] = [
        slump[1] ** -2.0, SLUMP_TAU_S[1] ** -2.0, start[1] ** -2.0,
    ]  # fmt: skip
    return mean, precision


def _levels_sd_mm(problem: EstimationProblem, knots_s: Array) -> Array:
    """How far what is seen wanders off what is there, at each knot: a dome only once there is one. [mm]"""
    seen = problem.seen
    if seen is None:
        return np.full(knots_s.size, LEVEL_SD_MM)
    dome_mm = float(np.exp(problem.prior.mean[DOME]) * np.median(np.abs(seen.dome_frac) / seen.frac_per_mm))
    ball_mm = seen.spread_frac / float(np.median(seen.frac_per_mm))
    risen = np.maximum(np.interp(knots_s, seen.t_s, seen.rise_frac), 0.0)
    grown = DOME_AT_START + (1.0 - DOME_AT_START) * np.tanh(risen / DOME_GROWN_AT)
    sds: Array = np.sqrt(LEVEL_SD_MM**2 + (DOME_WANDERS * dome_mm * grown) ** 2 + (BALL_WANDERS * ball_mm) ** 2)
    return sds


@cache
def _draws(n_numbers: int) -> Array:
    """The same standard normal draws for every dough with as many numbers, shape (N_MEMBERS, n_numbers)."""
    # Both signs of each draw, and no number correlated with another among them: mean and covariance of the ensemble are
    # then exact, which steadies the quantiles of a small one.
    half = np.random.default_rng(SEED).standard_normal((N_MEMBERS // 2, n_numbers))
    half = np.linalg.qr(half)[0] * np.sqrt(N_MEMBERS // 2)
    return np.concatenate([half, -half])[np.arange(N_MEMBERS).reshape(2, -1).T.ravel()]


def _fit(
    problems: Sequence[EstimationProblem], timeline: Timeline, mean: Array, precision: Array, least: Array
) -> Misfit:
    """What was seen of some doughs of one shape, side by side."""
    n_spans, n_past, _ = problems[0].shape[-3:]
    filled = np.zeros((4, len(problems), n_spans))
    steps = np.zeros((len(problems), n_spans), dtype=np.intp)
    wander = []
    for number, problem in enumerate(problems):
        seen = problem.seen
        assert seen is not None
        n = seen.t_s.size
        steps[number, :n] = np.searchsorted(problem.timeline.t_s, seen.t_s)
        filled[0, number, :n] = seen.rise_frac
        # What a ball has still to sink, once it has turned, goes its own way.
        ball_frac = BALL_DOUBT * seen.spread_frac * np.exp((seen.t_s[0] - seen.t_s) / BALL_TAU_S)
        filled[1, number, :n] = 1.0 / np.hypot(np.hypot(seen.sd_frac, FLOOR_SD_FRAC), ball_frac)
        filled[2, number, :n] = seen.dome_frac
        shifted = (seen.t_s[:, np.newaxis] > np.array(seen.shifts_s)).astype(np.float64)
        filled[3, number, :n] = seen.t_s
        worth = np.hstack([hat_basis(seen.t_s, past_knots_s(problem.now_s)), shifted]) * seen.frac_per_mm[:, np.newaxis]
        wander.append(np.pad(worth.T, [(0, 0), (0, n_spans - n)]))
    seen_frac, per_sd, dome_frac, age_s = filled
    return Misfit(
        timeline.upto(n_past), steps, seen_frac, per_sd, dome_frac, np.stack(wander), age_s, mean, precision, least
    )


def _sample(found: list[Mode], draws: Array) -> tuple[Array, Array]:
    """Members around each mode by its mass, and the logarithm of the density they were drawn from."""
    log_mass = np.array([mode.log_evidence for mode in found])
    mass = np.exp(log_mass - np.max(log_mass))
    mass = np.maximum(mass / np.sum(mass), LEAST_MASS)
    mass /= np.sum(mass)
    counts = np.diff(np.round(np.concatenate([[0.0], np.cumsum(mass)]) * draws.shape[0])).astype(int)
    parts, begin = [], 0
    for mode, count in zip(found, counts, strict=True):
        parts.append(mode.member + np.linalg.solve(mode.root.T, draws[begin : begin + count].T).T)
        begin += count
    members = np.concatenate(parts)
    log_densities = np.stack(
        [
            np.log(share)
            + np.sum(np.log(np.diag(mode.root)))
            - 0.5 * np.sum(((members - mode.member) @ mode.root) ** 2, axis=1)
            for share, mode in zip(mass, found, strict=True)
        ]
    )
    density: Array = np.logaddexp.reduce(log_densities, axis=0)
    return members, density


def _ensembles_of_shape(problems: Sequence[EstimationProblem]) -> Iterator[Ensemble]:
    """The ensembles of doughs of one shape, side by side."""
    timeline = stacked([problem.timeline for problem in problems], problems[0].shape[-1])
    least = np.array([problem.prior.least_ceiling_frac for problem in problems])
    mean, precision = (np.stack(parts) for parts in zip(*(_precision(problem) for problem in problems), strict=True))
    n_course = N_SHAPE + timeline.knots.shape[-1] + timeline.fold_steps.shape[-1]
    draws = _draws(mean.shape[-1])
    # Rows of draws times the inverse of the root: the transposed of what a column would be.
    inverse_roots = np.linalg.inv(np.linalg.cholesky(precision))
    fit = None if problems[0].seen is None else _fit(problems, timeline, mean, precision, least)
    if fit is not None:
        pilots = np.concatenate(
            [mean[:, np.newaxis], mean[:, np.newaxis] + draws[: N_PILOTS - 1] @ inverse_roots], axis=1
        )
        found = posterior_modes(fit, pilots)
    for number, problem in enumerate(problems):  # one at a time: these arrays are large enough by themselves
        if fit is None:
            members = mean[number] + draws @ inverse_roots[number]
        else:
            members, log_density = _sample(found[number], draws)
        paths, domes = rise_paths(members[:, :n_course], problem.timeline, problem.prior.least_ceiling_frac)
        weights = np.full(N_MEMBERS, 1.0 / N_MEMBERS)
        if fit is not None:
            here = fit.of(np.array([number]))
            seen_paths = paths[:, here.steps[0]] + domes[:, here.steps[0]] * here.dome_frac
            residuals = here.residuals_of(seen_paths[np.newaxis], members)
            log_weight = -here.cost(members, residuals)[0] - log_density
            weights = np.exp(TEMPER * (log_weight - np.max(log_weight)))
            # Tempered, and truncated (Ionides 2008): no single member may speak for the whole ensemble.
            weights = np.minimum(weights, np.mean(weights) * np.sqrt(N_MEMBERS))
            weights /= np.sum(weights)
        yield Ensemble(paths, domes, weights, members)


def ensembles(problems: Sequence[EstimationProblem]) -> Iterator[tuple[int, Ensemble]]:
    """Courses that each of some doughs may take, weighted by how well they agree with what was seen of it.

    Yields
    ------
    (int, Ensemble)
        The dough's place among the problems, in an order of no meaning, and its courses, which can be let go before the
        next come.
    """
    by_shape: dict[tuple[int, ...], list[int]] = {}
    for number, problem in enumerate(problems):
        by_shape.setdefault(problem.shape, []).append(number)
    for numbers in by_shape.values():
        for begin in range(0, len(numbers), SIDE_BY_SIDE):
            part = numbers[begin : begin + SIDE_BY_SIDE]
            yield from zip(part, _ensembles_of_shape([problems[number] for number in part]), strict=True)
