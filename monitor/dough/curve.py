"""The rise of a dough as a closed-form curve in equivalent time: lag, growing yeast, leak towards a ceiling, collapse.

A member of the family is fixed by eleven numbers and a slowly wandering rate. Everything is vectorised over time (last
axis), over members (the one before) and over doughs (any axes before that), so that thousands of possible
courses cost a few array operations.

    equivalent time   Theta(t) = integral of (gamma(T)/gamma(27 C))^e exp(b) dt                         [h at 27 C]
    yeast at work     G(Theta) = w softplus((Theta - L)/w) - w softplus(-L/w), then (exp(k G) - 1)/k where yeast grows
    gas made          g = R G, as a share of the start volume
    gas held          n + S n/(n + a) = g: the dough's water takes up its part as the bubbles, mostly air at first, fill
                      with CO2 (Henry's law with the bubbles' share of CO2, n/(n + a)), so that a rise quickens
    ceiling           y = A F(s),  s = n/A,  F(s) = s / (1 + s^p)^(1/p): straight at first, then leaking up to A;
                      A is set so that the rise at the peak, A F(s_peak), is the number that a prior speaks of
    collapse          past s = s_peak the crumb gives way: y falls by A D(kappa w_s softplus((s - s_peak)/w_s))
    fold              keeps a share of the gas, the air that was mixed in too, and goes on from there
    dome              d B(s/s_peak): the middle of the top over its edge, as a share of the vessel's width; it grows
                      with the rise, flattens before the peak, and sinks to a hollow after it

The shape is a judgement: it holds the logistic-like, Gompertz-like and straight-then-leaking courses of the mass
balance between them, where a single published sigmoid holds only its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

COLLAPSE_SHARE = 0.7  # judgement: a collapsed dough keeps at least 30 % of its ceiling
COLLAPSE_WIDTH = 0.12  # judgement: how sharply the collapse sets in, in units of s
FULLEST = 0.999  # judgement: of its ceiling, a dough that was folded has reached no more
AIR_FRAC = 0.08  # from memory, 0.03-0.12: air in a mixed dough, as a share of its volume
DOME_AT_START = (
    0.1  # judgement, as all of its course: a dough that has settled lies nearly flat, unless it was put in as a ball
)
DOME_GROWN_AT = 0.28  # in units of s/s_peak
DOME_FLAT_AT, DOME_FLAT_WIDTH = 0.97, 0.07  # flattens over the last tenth or fifth of the rise, nearly flat at the peak
DOME_FALLS_BY = 1.5  # a hollow half as deep as the dome was high is left
MOST_GROWN = 12.0  # judgement: e to this is more than any yeast grows within a stage
MOST = 700.0  # of which an exponential can be taken
LEAST_S = 1e-300  # of which a logarithm can be taken
SHAPE_NAMES = (
    "log_rate",  # ln of gas made per equivalent hour before the yeast has grown, over the start volume [1/h]
    "log_lag_h",  # ln of the lag L [h at 27 C]
    "log_waking",  # ln of w/L: how gradually the yeast wakes
    "log_growth",  # ln of the growth of the yeast at work, k [1/h]
    "log_uptake",  # ln of S, CO2 that the water takes up before it is full, over the start volume
    "log_ceiling",  # ln of what the rise at the peak, A F(s_peak), has over the least thought possible
    "log_sharpness",  # ln of p
    "log_peak",  # ln of s_peak
    "log_collapse",  # ln of kappa
    "log_dome",  # ln of d, the dome at mid-rise over the vessel's width
    "temp_exponent",  # e: 1 when the cardinal card is right for this yeast
)
N_SHAPE = len(SHAPE_NAMES)
UPTAKE, CEILING, SHARPNESS, PEAK, COLLAPSE, DOME = (
    SHAPE_NAMES.index(f"log_{name}") for name in ("uptake", "ceiling", "sharpness", "peak", "collapse", "dome")
)


@dataclass(frozen=True, slots=True)
class Timeline:
    """The time steps a rise is computed on: of one dough, or with a leading axis of many.

    Attributes
    ----------
    t_s : array, shape (..., n)
        Ascending from 0. [s]
    log_gamma : array, shape (..., n - 1)
        ln of the mean rate factor in each step, relative to 27 C.
    knots : array, shape (..., n - 1, n_knots)
        Weights that spread the rate offsets b over the steps.
    fold_steps : array of int, shape (..., n_folds)
        Index into ``t_s`` of each fold.
    """

    t_s: Array
    log_gamma: Array
    knots: Array
    fold_steps: Indices

    def upto(self, n_t: int) -> "Timeline":
        """The first ``n_t`` times; no fold may lie beyond them."""
        return Timeline(
            self.t_s[..., :n_t], self.log_gamma[..., : n_t - 1], self.knots[..., : n_t - 1, :], self.fold_steps
        )

    def of(self, doughs: Indices) -> "Timeline":
        """The timelines of some of many doughs, in that order; one may come twice."""
        return Timeline(self.t_s[doughs], self.log_gamma[doughs], self.knots[doughs], self.fold_steps[doughs])


def stacked(timelines: Sequence[Timeline], n_t: int) -> Timeline:
    """Timelines with as many knots and folds side by side, made ``n_t`` long by steps in which no time goes by.

    Parameters
    ----------
    timelines
        Of one dough each.
    n_t
        At least the length of the longest.

    Returns
    -------
    Timeline
        With a leading axis of doughs.
    """

    def longer(values: Array, n: int, mode: Literal["edge", "constant"]) -> Array:
        return np.pad(values, [(0, n - values.shape[0]), *[(0, 0)] * (values.ndim - 1)], mode=mode)

    return Timeline(
        np.stack([longer(each.t_s, n_t, "edge") for each in timelines]),
        np.stack([longer(each.log_gamma, n_t - 1, "constant") for each in timelines]),
        np.stack([longer(each.knots, n_t - 1, "constant") for each in timelines]),
        np.stack([each.fold_steps for each in timelines]),
    )


def _sigmoid(x: Array) -> Array:
    result: Array = 0.5 + 0.5 * np.tanh(0.5 * x)
    return result


def filling(s: Array, sharpness: Array) -> Array:
    """F(s): straight for small s, 1 for large.

    Parameters
    ----------
    s : array
        Gas made over the ceiling, from 0. [-]
    sharpness : array that broadcasts with it
        p, above 0: how suddenly it levels off. [-]

    Returns
    -------
    array of the broadcast shape
        0..1. [-]
    """
    # s / (1 + s^p)^(1/p), in the way that takes the least time
    shrinking = np.log1p(s**sharpness)
    shrinking /= -sharpness
    filled: Array = np.exp(shrinking, out=shrinking)
    filled *= s
    return filled


def filling_inverse(share: Array, sharpness: Array) -> Array:
    """The s at which :func:`filling` is ``share``.

    Parameters
    ----------
    share : array
        0..1; shares of ``FULLEST`` and more are taken as that. [-]
    sharpness : array that broadcasts with it
        p, above 0. [-]

    Returns
    -------
    array of the broadcast shape
        [-]
    """
    share = np.clip(share, 0.0, FULLEST)
    return share / (1.0 - share**sharpness) ** (1.0 / sharpness)


def _filling_slopes(s: Array, sharpness: Array) -> tuple[Array, Array]:
    """How ``filling`` changes with s, and with the logarithm of the sharpness."""
    power = s**sharpness
    log_room = np.log1p(power)
    by_s = np.exp(-(1.0 / sharpness + 1.0) * log_room)
    turn = log_room / sharpness - np.log(np.maximum(s, LEAST_S)) * power / (1.0 + power)
    return by_s, s * (1.0 + power) * by_s * turn


def _at_columns(values: Array, columns: Indices) -> Array:
    """What stands at each dough's columns, shape (..., n_columns).

    ``values`` may have axes of their own between those of the doughs and the last. The same as ``take_along_axis``,
    which takes longer to find its indices than to look there.
    """
    n_t, between = values.shape[-1], values.ndim - columns.ndim
    rows = np.arange(0, values.size, n_t).reshape(*values.shape[:-1], 1)
    return values.take(rows + columns.reshape(*columns.shape[:-1], *[1] * between, columns.shape[-1]))


class _Course:
    """Everything between the numbers of some members and their rise; shapes (..., n_members, n_columns).

    A column is a time at which the rise is wanted, or that of a fold.
    """

    def __init__(self, members: Array, timeline: Timeline, least_ceiling_frac: Array | float, at: Indices | None):
        n_knots, n_folds = timeline.knots.shape[-1], timeline.fold_steps.shape[-1]
        lead, n_t = timeline.t_s.shape[:-1], timeline.t_s.shape[-1]
        self.timeline = timeline
        numbers = np.exp(members[..., : N_SHAPE - 1, np.newaxis])
        (
            self.rate, self.lag_h, self.waking, self.growth, self.uptake,
            self.over_least, self.sharpness, self.s_peak, self.collapse, self.dome,
        ) = (numbers[..., number, :] for number in range(N_SHAPE - 1))  # fmt: skip
        self.most = np.asarray(least_ceiling_frac)[..., np.newaxis, np.newaxis] + self.over_least
        self.ceiling = self.most / filling(self.s_peak, self.sharpness)

        hours = (timeline.t_s[..., 1:] - timeline.t_s[..., :-1])[..., np.newaxis, :] / 3600.0
        log_rates = members[..., N_SHAPE : N_SHAPE + n_knots] @ np.swapaxes(timeline.knots, -1, -2)
        log_rates += members[..., N_SHAPE - 1 : N_SHAPE] * timeline.log_gamma[..., np.newaxis, :]
        self.steps_h = np.multiply(np.exp(log_rates, out=log_rates), hours, out=log_rates)
        # Which steps, where among the columns the folds are, and which columns come after each of them.
        if at is None:
            self.columns, fold_columns = None, timeline.fold_steps
            column_steps = np.broadcast_to(np.arange(n_t), (*lead, n_t))
        else:
            self.columns = column_steps = np.concatenate([at, timeline.fold_steps], axis=-1)
            fold_columns = np.broadcast_to(at.shape[-1] + np.arange(n_folds), (*lead, n_folds))
        self.theta = self.summed(self.steps_h)

        self.width = self.waking * self.lag_h
        # The difference of the two softplus in one, in which nothing is lost. Here as below exponents are held down
        # where no dough goes any more; without it a sampled member could overflow.
        widths = self.theta / self.width
        woken = np.expm1(np.minimum(widths, MOST))
        woken *= _sigmoid(-1.0 / self.waking)
        woken = np.log1p(woken, out=woken)
        woken += np.maximum(widths - MOST, 0.0)  # of a lag so short, awake is all the time there is
        self.awake = self.width * woken
        self.at_work = np.expm1(np.minimum(self.growth * self.awake, MOST_GROWN)) / self.growth
        self.held = self._held()
        self.s = self.held / self.ceiling
        self.keeps = 1.0 / (1.0 + np.exp(-members[..., N_SHAPE + n_knots :]))
        self.folds: list[tuple[Indices, NDArray[np.bool_], Array, Array]] = []
        for number in range(n_folds):
            column = fold_columns[..., number, np.newaxis, np.newaxis]
            after = (column_steps >= timeline.fold_steps[..., number : number + 1])[..., np.newaxis, :]
            s_before = np.take_along_axis(self.s, column, axis=-1)
            s_after = filling_inverse(
                self.keeps[..., number : number + 1] * filling(s_before, self.sharpness), self.sharpness
            )
            self.s = self.s + np.where(after, s_after - s_before, 0.0)
            self.folds.append((column, after, s_before, s_after))
        over = (self.s - self.s_peak) / COLLAPSE_WIDTH
        fallen = np.log1p(np.exp(np.minimum(over, MOST, out=over), out=over), out=over)
        self.fallen = np.multiply(fallen, self.collapse * COLLAPSE_WIDTH, out=fallen)
        path = np.expm1(self.fallen / -COLLAPSE_SHARE)
        path *= COLLAPSE_SHARE
        path += filling(self.s, self.sharpness)
        self.risen = np.multiply(path, self.ceiling, out=path)
        self.air = np.full((*self.keeps.shape[:-1], 1), AIR_FRAC)  # what is left of that which was mixed in
        for number, (_, after, *_) in enumerate(self.folds):
            self.air = self.air * np.where(after, self.keeps[..., number : number + 1], 1.0)
        self.path = self.risen - (AIR_FRAC - self.air)
        progress = self.s / self.s_peak
        self.grown = np.tanh(progress / DOME_GROWN_AT)
        self.flat = _sigmoid((progress - DOME_FLAT_AT) / DOME_FLAT_WIDTH)
        swells = DOME_AT_START + (1.0 - DOME_AT_START) * self.grown
        # The middle of the top over its edge, as a share of the vessel's width.
        self.domes = self.dome * (swells - DOME_FALLS_BY * self.flat)

    def _held(self) -> Array:
        """The gas that is not dissolved: the root of n + S n/(n + a) = g that is not negative."""
        made = self.at_work * self.rate
        over = made - (AIR_FRAC + self.uptake)
        root = np.sqrt(over * over + 4.0 * AIR_FRAC * made)
        # Of the two forms of the root the one in which nothing is lost.
        held: Array = np.where(
            over > 0.0, 0.5 * (over + root), 2.0 * AIR_FRAC * made / np.where(over > 0.0, 1.0, root - over)
        )
        return held

    def summed(self, steps: Array) -> Array:
        """Sums of steps from the start up to each column; ``steps`` may have axes of its own before the last."""
        sums = np.zeros((*steps.shape[:-1], steps.shape[-1] + 1))
        np.cumsum(steps, axis=-1, out=sums[..., 1:])
        if self.columns is None:
            return sums
        return _at_columns(sums, self.columns)

    def slopes(self, dome_frac: Array) -> Array:
        """How what is seen changes with each number, shape (..., n_members, n_numbers, n_columns).

        ``dome_frac`` is what a dome as high as the vessel is wide adds at each column, shape (..., 1, n_columns).
        """
        timeline, n_knots = self.timeline, self.timeline.knots.shape[-1]
        # How s changes: by its factors, and by the yeast at work, which has its own reasons.
        power = self.s_peak**self.sharpness
        by_ceiling = self.over_least / self.most
        by_peak = -1.0 / (1.0 + power)
        by_sharpness = -_filling_slopes(self.s_peak, self.sharpness)[1] / filling(self.s_peak, self.sharpness)
        by_made = 1.0 / (1.0 + self.uptake * AIR_FRAC / (self.held + AIR_FRAC) ** 2) / self.ceiling
        by_work = self.rate * by_made
        grown = np.where(self.growth * self.awake < MOST_GROWN, self.growth * self.at_work + 1.0, 0.0)
        by_awake = by_work * grown
        asleep = -1.0 / self.waking
        since = self.theta / self.width + asleep
        is_awake = _sigmoid(since)
        unmoved = np.concatenate([timeline.log_gamma[..., np.newaxis], timeline.knots], axis=-1)
        by_theta = self.summed(self.steps_h[..., np.newaxis, :] * np.swapaxes(unmoved, -1, -2)[..., np.newaxis, :, :])
        s = self.held / self.ceiling
        result = np.zeros((*s.shape[:-1], N_SHAPE + n_knots + len(self.folds), s.shape[-1]))
        result[..., 0, :] = by_work * self.at_work
        result[..., 1, :] = by_awake * (self.awake - is_awake * self.theta)
        result[..., 2, :] = by_awake * (self.awake - self.width * (since * is_awake - asleep * _sigmoid(asleep)))
        result[..., 3, :] = by_work * (self.awake * grown - self.at_work)
        result[..., UPTAKE, :] = -self.uptake * self.held / (self.held + AIR_FRAC) * by_made
        result[..., CEILING, :] = -s * by_ceiling
        result[..., SHARPNESS, :] = -s * by_sharpness
        result[..., PEAK, :] = -s * by_peak
        result[..., N_SHAPE - 1 : N_SHAPE + n_knots, :] = (by_awake * is_awake)[..., np.newaxis, :] * by_theta
        for number, (column, after, s_before, s_after) in enumerate(self.folds):
            keeps = self.keeps[..., number : number + 1]
            kept = keeps * filling(s_before, self.sharpness)
            before_by_s, before_by_sharpness = _filling_slopes(s_before, self.sharpness)
            after_by_s, after_by_sharpness = _filling_slopes(s_after, self.sharpness)
            moved = np.take_along_axis(result, column[..., np.newaxis], axis=-1)
            share = (keeps * before_by_s)[..., np.newaxis] * moved
            share[..., SHARPNESS, :] += keeps * before_by_sharpness
            share[..., N_SHAPE + n_knots + number, :] += kept * (1.0 - keeps)
            share *= (kept < FULLEST)[..., np.newaxis]
            share[..., SHARPNESS, :] -= after_by_sharpness
            change = share / after_by_s[..., np.newaxis] - moved
            result += np.where(after[..., np.newaxis, :], change, 0.0)
        # And how the path and the dome do.
        stands = np.exp(self.fallen / -COLLAPSE_SHARE)
        gives_way = stands * self.collapse * _sigmoid((self.s - self.s_peak) / COLLAPSE_WIDTH)
        by_s, by_shape = _filling_slopes(self.s, self.sharpness)
        progress = self.s / self.s_peak
        by_progress = (1.0 - DOME_AT_START) / DOME_GROWN_AT * (1.0 - self.grown**2)
        by_progress -= DOME_FALLS_BY / DOME_FLAT_WIDTH * self.flat * (1.0 - self.flat)
        by_progress *= dome_frac * self.dome
        result *= (self.ceiling * (by_s - gives_way) + by_progress / self.s_peak)[..., np.newaxis, :]
        result[..., CEILING, :] += self.risen * by_ceiling
        result[..., SHARPNESS, :] += self.risen * by_sharpness + self.ceiling * by_shape
        result[..., PEAK, :] += self.risen * by_peak + self.ceiling * gives_way * self.s_peak - by_progress * progress
        result[..., COLLAPSE, :] -= self.ceiling * stands * self.fallen
        result[..., DOME, :] += dome_frac * self.domes
        for number, (_, after, *_) in enumerate(self.folds):
            result[..., N_SHAPE + n_knots + number, :] += (
                self.air * (1.0 - self.keeps[..., number : number + 1]) * after
            )
        return result


def rise_paths(
    members: Array, timeline: Timeline, least_ceiling_frac: Array | float, at: Indices | None = None
) -> tuple[Array, Array]:
    """Fractional rise V/V0 - 1 of every member, and its dome.

    Parameters
    ----------
    members : array, shape (..., n_members, N_SHAPE + n_knots + n_folds)
        The numbers of ``SHAPE_NAMES``, the rate offsets b at the knots, and for each fold the logit of the share of the
        gas it keeps.
    least_ceiling_frac : float or array, shape (...)
        What the rise at no peak lies below, collapse left aside, as a fraction of the start volume.
    at : array of int, shape (..., n_wanted), optional
        Indices of the times at which it is wanted; at all of them if left out.

    Returns
    -------
    rises, domes : arrays, shape (..., n_members, n_wanted)
        The dome is the height of the middle of the top over its edge, as a share of the vessel's width.
    """
    course = _Course(members, timeline, least_ceiling_frac, at)
    n_wanted = course.path.shape[-1] if at is None else at.shape[-1]
    return course.path[..., :n_wanted], course.domes[..., :n_wanted]


def seen_slopes(
    members: Array, timeline: Timeline, least_ceiling_frac: Array | float, at: Indices, dome_frac: Array
) -> tuple[Array, Array]:
    """The rise that a sensor sees, and its derivatives by each number.

    Parameters
    ----------
    members, timeline, least_ceiling_frac, at
        As for :func:`rise_paths`.
    dome_frac : array, shape (..., n_wanted)
        What a dome as high as the vessel is wide adds to the rise that is seen.

    Returns
    -------
    paths : array, shape (..., n_members, n_wanted)
    slopes : array, shape (..., n_members, n_numbers, n_wanted)
    """
    course = _Course(members, timeline, least_ceiling_frac, at)
    n_wanted = at.shape[-1]
    # The columns of folds, after the wanted ones, are only passed through.
    worth = np.zeros((*dome_frac.shape[:-1], 1, course.path.shape[-1]))
    worth[..., 0, :n_wanted] = dome_frac
    seen: Array = course.path + worth * course.domes
    return seen[..., :n_wanted], course.slopes(worth)[..., :n_wanted]
