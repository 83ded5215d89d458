"""The courses that fit best: a misfit with heavy tails, and a search for where it is least, many doughs side by side.

Damped Gauss-Newton steps from several starts. A dough's own walks may come upon each other or fall far behind one
another; what they find is the same whoever else is searched for beside it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.curve import Indices, Timeline, rise_paths, seen_slopes

Array = NDArray[np.float64]

N_START_NUMBERS = 3  # numbers of a member that belong to its start
N_STARTS = 3
FIRST_DAMPING = 0.03  # judgement: as good modes as of 0.1, a tenth sooner
LEAST_GAIN = 3e-2  # judgement: a step that gains less is not worth another
# Then a walk whose chance is less than LEAST_MASS of another's is given up; after 6, three of 39 best modes were lost.
TRIED_STEPS = 16
MOST_STEPS = 40  # judgement: a search that has not settled by then is as good as it will be
START_SPREAD = 0.5  # judgement: starts differ in ln of the lag by at least this much
DISTINCT = 1.0  # judgement: two posterior_modes closer than one standard deviation are one
LEAST_MASS = 0.05  # judgement: a lesser mode still sends a few members, and their weights speak
STUDENT_DOF = 4.0  # judgement: tails heavy enough to shrug at a hand, light enough to learn from noise


@dataclass(frozen=True, slots=True)
class Misfit:
    """The misfit of members to the observations of some doughs side by side, and the search for the best of them.

    Attributes
    ----------
    past
        Times up to now.
    steps, seen, per_sd : arrays, shape (n_doughs, n_spans)
        Where on them the spans are; the rise seen; one over its standard deviation, 0 for a span that fills up.
    dome_frac : array, shape (n_doughs, n_spans)
        What a dome as high as the vessel is wide adds to the rise seen in each span.
    wander : array, shape (n_doughs, n_wandering, n_spans)
        What one of each thing that wanders is worth in each span.
    age_s : array, shape (n_doughs, n_spans)
        Time since the dough was put down. [s]
    mean, precision : arrays, shapes (n_doughs, n_numbers) and (n_doughs, n_numbers, n_numbers)
    least : array, shape (n_doughs,)
    """

    past: Timeline
    steps: Indices
    seen: Array
    per_sd: Array
    dome_frac: Array
    wander: Array
    age_s: Array
    mean: Array
    precision: Array
    least: Array

    @property
    def n_course(self) -> int:
        """How many of a member's numbers its course has; then comes what wanders, and what belongs to the start.

        That is ln of how far a ball stands over its mean level, as a rise, ln of the time in which it spreads [s], and
        the relative error of the start volume.
        """
        return int(self.mean.shape[-1] - N_START_NUMBERS - self.wander.shape[1])

    def of(self, doughs: Indices) -> "Misfit":
        """The fits of some of the doughs, in that order; one may come twice."""
        numbers = (
            part[doughs]
            for part in (
                self.seen,
                self.per_sd,
                self.dome_frac,
                self.wander,
                self.age_s,
                self.mean,
                self.precision,
                self.least,
            )
        )
        return Misfit(self.past.of(doughs), self.steps[doughs], *numbers)

    def residuals(self, members: Array) -> Array:
        """In standard deviations, shape (n_doughs, n_members, n_spans)."""
        rises, domes = rise_paths(members[..., : self.n_course], self.past, self.least, self.steps)
        return self.residuals_of(rises + domes * self.dome_frac[:, np.newaxis], members)

    def residuals_of(self, rises: Array, members: Array) -> Array:
        """The same, where what the sensor would see of the members in the spans is known already."""
        seen = (1.0 + self.seen[:, np.newaxis]) * (1.0 + members[..., -1:]) - 1.0
        wander = members[..., self.n_course : -N_START_NUMBERS] @ self.wander
        result: Array = (rises + wander + self._slump(members) - seen) * self.per_sd[:, np.newaxis]
        return result

    def _slump(self, members: Array) -> Array:
        """What a ball that has yet to spread adds to the rise seen, shape (n_doughs, n_members, n_spans)."""
        slump: Array = np.exp(members[..., -3:-2] - self.age_s[:, np.newaxis] * np.exp(-members[..., -2:-1]))
        return slump

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
        rises, course_slopes = seen_slopes(
            members[..., : self.n_course], self.past, self.least, self.steps, self.dome_frac
        )
        residuals = self.residuals_of(rises, members)
        slopes = np.empty((*self.mean.shape, self.seen.shape[-1]))
        slopes[:, : self.n_course] = course_slopes[:, 0]
        slopes[:, self.n_course : -N_START_NUMBERS] = self.wander
        slopes[:, -3] = self._slump(members)[:, 0]
        slopes[:, -2] = slopes[:, -3] * self.age_s * np.exp(-members[:, 0, -2:-1])
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


@dataclass(frozen=True, slots=True)
class Mode:
    """A best member, its cost, and the Cholesky factor of the curvature around it."""

    member: Array
    cost: float
    root: Array

    @property
    def log_evidence(self) -> float:
        """Logarithm of the posterior mass around it, in Laplace's approximation, up to a constant."""
        return -self.cost - float(np.sum(np.log(np.diag(self.root))))


def _starts(pilots: Array, costs: Array) -> list[Array]:
    """The best pilots of one dough whose lags differ.

    A short lag with a slow rate and a long lag with a quick one can look alike for an hour and part afterwards: both
    must be in the ensemble until the readings have decided.
    """
    starts: list[Array] = []
    for pilot in pilots[np.argsort(costs, kind="stable")]:
        if all(abs(pilot[1] - start[1]) > START_SPREAD for start in starts):
            starts.append(pilot)
        if len(starts) == N_STARTS:
            break
    return starts


def posterior_modes(fit: Misfit, pilots: Array) -> list[list[Mode]]:
    """The distinct best members of each dough, best first.

    Parameters
    ----------
    fit : Misfit
        Of ``n_doughs`` doughs.
    pilots : array, shape (n_doughs, n_pilots, n_numbers)
        Members among which the starts of the search are chosen.
    """
    starts = [_starts(*each) for each in zip(pilots, fit.cost(pilots, fit.residuals(pilots)), strict=True)]
    owners = np.repeat(np.arange(len(starts)), [len(each) for each in starts])
    are_rivals = (owners[:, np.newaxis] == owners) & ~np.eye(owners.size, dtype=bool)
    members, costs, curvatures = fit.of(owners).descend(np.concatenate(starts), np.stack(np.nonzero(are_rivals)))
    roots = np.linalg.cholesky(curvatures)
    found: list[list[Mode]] = [[] for _ in starts]
    for number in np.argsort(costs, kind="stable"):
        if np.isfinite(costs[number]):
            found[owners[number]].append(Mode(members[number], float(costs[number]), roots[number]))
    return found
