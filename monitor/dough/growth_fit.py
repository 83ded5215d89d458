"""Growth curves fitted to a measured course by least squares, and an honest interval of when it reaches a level.

The covariance of a fit says how well the numbers of a curve are known *if the course is that curve*. No course is: a
fit to its first half is over-confident about its second. How much so can be seen in the course itself: whoever had
fitted earlier would have missed what came since by so many of its own standard deviations.
"""

from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.dough.kinetics import GOMPERTZ, LOGISTIC, richards, richards_time_h

Array = NDArray[np.float64]
Curve = Callable[[Array, Array], Array]
"""Values of shape (k, n) at times (n,) for numbers of shape (k, p)."""

MOST_STEPS = 400
MOST_DAMPING = 1e14
LEAST_SPARE_POINTS = 2  # judgement: a fit through its points alone says nothing of its doubt
MOST_LOOKS_BACK = 12  # judgement: earlier fits looked at, spread evenly over the course


def logistic_curve(t_h: Array, numbers: Array) -> Array:
    """Greatest rise, steepest slope, lag: :func:`monitor.dough.kinetics.logistic`."""
    return richards(t_h, numbers[:, 0:1], numbers[:, 1:2], numbers[:, 2:3], LOGISTIC)


def gompertz_curve(t_h: Array, numbers: Array) -> Array:
    """Greatest rise, steepest slope, lag: :func:`monitor.dough.kinetics.gompertz`."""
    return richards(t_h, numbers[:, 0:1], numbers[:, 1:2], numbers[:, 2:3], GOMPERTZ)


def richards_curve(t_h: Array, numbers: Array) -> Array:
    """Greatest rise, steepest slope, lag, shape: :func:`monitor.dough.kinetics.richards`."""
    return richards(t_h, numbers[:, 0:1], numbers[:, 1:2], numbers[:, 2:3], np.maximum(numbers[:, 3:4], 0.0))


def ratkowsky_curve(x: Array, numbers: Array) -> Array:
    """b1 / (1 + exp(b2 - b3 x))^(1/b4), the form of two NIST reference problems; three numbers stand for b4 = 1.

    Ratkowsky 1983, Nonlinear Regression Modeling, by way of the files of the NIST StRD (seen). It is the Richards
    curve with A = b1, nu = b4.
    """
    exponent = np.clip(numbers[:, 1:2] - numbers[:, 2:3] * x, -600.0, 600.0)
    power = 1.0 if numbers.shape[1] == 3 else numbers[:, 3:4]
    result: Array = numbers[:, 0:1] * np.exp(-np.logaddexp(0.0, exponent) / power)
    return result


@dataclass(frozen=True, slots=True)
class CurveFit:
    """A curve fitted by least squares.

    Attributes
    ----------
    numbers : array, shape (p,)
    covariance : array, shape (p, p)
        Of the numbers, if the course is this curve; NaN where they cannot be told apart.
    rss
        Sum of squared residuals, each over its standard deviation when those were given.
    dof
        Points less numbers.
    residuals : array, shape (n,)
        Measured less fitted.
    is_settled
        False when the search ended before it came to rest.
    """

    numbers: Array
    covariance: Array
    rss: float
    dof: int
    residuals: Array
    is_settled: bool

    @property
    def sd(self) -> Array:
        """Standard deviations of the numbers."""
        result: Array = np.sqrt(np.diag(self.covariance))
        return result

    @property
    def residual_sd(self) -> float:
        """Standard deviation of a residual."""
        return float(np.sqrt(self.rss / self.dof))


def curve_slopes(curve: Curve, t: Array, numbers: Array) -> Array:
    """Derivative of the curve by each number, by central differences, shape (n, p)."""
    step = 6e-6 * np.maximum(np.abs(numbers), 1e-3)  # the cube root of the rounding error: the best for this formula
    moved = curve(t, np.concatenate([numbers + np.diag(step), numbers - np.diag(step)]))
    half = numbers.size
    result: Array = ((moved[:half] - moved[half:]) / (2.0 * step[:, None])).T
    return result


def fit_curve(
    curve: Curve,
    t: ArrayLike,
    y: ArrayLike,
    start: ArrayLike,
    *,
    sd: ArrayLike | None = None,
    low: ArrayLike = -np.inf,
    high: ArrayLike = np.inf,
    tolerance: float = 1e-12,
) -> CurveFit:
    """The least-squares numbers of a curve, by the method of Levenberg and Marquardt.

    Parameters
    ----------
    curve
        Such as :func:`logistic_curve`.
    t, y : arrays, shape (n,)
        Times and measured values.
    start : array, shape (p,)
        Where the search begins.
    sd : array, shape (n,), optional
        Standard deviation of each value; None: all alike, told from the residuals.
    low, high : arrays, shape (p,), optional
        Bounds of the numbers.
    tolerance
        The search rests when a step moves every number by less than this share.

    Raises
    ------
    ValueError
        When there are no more points than numbers, or a value is not finite.

    Notes
    -----
    Marquardt 1963, J. Soc. Ind. Appl. Math. 11, 431-441 (from memory). Numbers on a bound are
    held there while the search would push them over it.
    """
    times, values = np.asarray(t, dtype=np.float64), np.asarray(y, dtype=np.float64)
    least, most = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    numbers = np.clip(np.asarray(start, dtype=np.float64), least, most)
    if values.size <= numbers.size:
        raise ValueError(f"{numbers.size} numbers cannot be fitted to {values.size} points")
    if not (np.all(np.isfinite(values)) and np.all(np.isfinite(times))):
        raise ValueError("times and values to fit must be finite")
    weight = np.ones_like(values) if sd is None else 1.0 / np.asarray(sd, dtype=np.float64)
    residual = (values - curve(times, numbers[None])[0]) * weight
    cost, damping, is_settled = float(residual @ residual), 1e-3, False
    slopes = curve_slopes(curve, times, numbers) * weight[:, None]
    for _ in range(MOST_STEPS):
        curvature, downhill = slopes.T @ slopes, slopes.T @ residual
        scale = np.maximum(np.diag(curvature), 1e-12 * np.max(np.diag(curvature)) + 1e-300)
        free = ~(((numbers <= least) & (downhill < 0.0)) | ((numbers >= most) & (downhill > 0.0)))
        if not np.any(free):
            is_settled = True
            break
        step = np.zeros_like(numbers)
        step[free] = np.linalg.solve((curvature + damping * np.diag(scale))[np.ix_(free, free)], downhill[free])
        trial = np.clip(numbers + step, least, most)
        moved = (values - curve(times, trial[None])[0]) * weight
        trial_cost = float(moved @ moved)
        is_small = bool(np.all(np.abs(trial - numbers) <= tolerance * (np.abs(numbers) + tolerance)))
        if np.isfinite(trial_cost) and trial_cost <= cost:
            numbers, residual, cost = trial, moved, trial_cost
            slopes = curve_slopes(curve, times, numbers) * weight[:, None]
            damping = max(damping / 5.0, 1e-14)
        else:
            damping *= 4.0
            is_small = is_small and damping > 1.0  # a step may be small for its damping alone
        if is_small or damping > MOST_DAMPING:
            is_settled = True
            break
    dof = values.size - numbers.size
    variance = cost / dof if sd is None else max(1.0, cost / dof)
    return CurveFit(numbers, variance * _inverse(slopes.T @ slopes), cost, dof, residual / weight, is_settled)


def _inverse(curvature: Array) -> Array:
    """Inverse, scaled first so that numbers of very different size do not hide what can be told apart; NaN if none."""
    unknown = np.full_like(curvature, np.nan)
    largest = float(np.max(np.diag(curvature)))
    if not 1e-200 < largest < np.inf:  # below, a curve so far from its course that no number moves it
        return unknown
    scale = np.sqrt(np.maximum(np.diag(curvature), 1e-16 * largest))
    try:
        inverse: Array = np.linalg.inv(curvature / np.outer(scale, scale))
    except np.linalg.LinAlgError:
        return unknown
    return inverse / np.outer(scale, scale) if np.all(np.abs(inverse) < 1e16) else unknown


def growth_start(t_h: ArrayLike, y: ArrayLike) -> Array:
    """Greatest rise, steepest slope and lag to begin a search from, read off a course. Shape (3,)."""
    times, values = np.asarray(t_h, dtype=np.float64), np.asarray(y, dtype=np.float64)
    span = max(1, times.size // 6)
    rise, run = values[span:] - values[:-span], times[span:] - times[:-span]
    slopes = np.divide(rise, run, out=np.zeros_like(rise), where=run > 0.0)
    steepest = int(np.argmax(slopes))
    slope = max(float(slopes[steepest]), 1e-6 * float(np.max(np.abs(values))) + 1e-12)
    middle_t, middle_y = (
        0.5 * (times[steepest] + times[steepest + span]),
        0.5 * (values[steepest] + values[steepest + span]),
    )
    return np.array([max(1.15 * float(np.max(values)), 2.0 * middle_y), slope, middle_t - middle_y / slope])


@dataclass(frozen=True, slots=True)
class TimeInterval:
    """When a course reaches a level: the middle, an honest interval, and that of the plain covariance. [h]

    ``inflation`` is how many times too sure earlier fits of the same course were of what came since; 1 at least. All
    times are infinite when the fitted curve never reaches the level.
    """

    middle_h: float
    low_h: float
    high_h: float
    plain_low_h: float
    plain_high_h: float
    inflation: float


CURVES: dict[str, tuple[Curve, float]] = {
    "logistic": (logistic_curve, LOGISTIC),
    "gompertz": (gompertz_curve, GOMPERTZ),
}


def better_growth_fit(t_h: ArrayLike, y: ArrayLike) -> tuple[str, CurveFit]:
    """The logistic or Gompertz curve, whichever leaves the smaller residuals: both have three numbers."""
    fits = {name: fit_curve(curve, t_h, y, growth_start(t_h, y)) for name, (curve, _) in CURVES.items()}
    name = min(fits, key=lambda each: fits[each].rss)
    return name, fits[name]


def time_to_level(t_h: ArrayLike, y: ArrayLike, level: float, *, coverage: float = 0.9) -> TimeInterval:
    """When a course reaches a level, by the better of two growth curves, with an interval that knows its own past.

    Parameters
    ----------
    t_h, y : arrays, shape (n,)
        Times [h], ascending, and the course, in any unit.
    level
        In the unit of the course.
    coverage
        Of the interval.

    Raises
    ------
    ValueError
        When there are fewer than five points, or a value is not finite.

    Notes
    -----
    Prequential (Dawid 1984, J. R. Stat. Soc. A 147, 278-292, from memory): the same curve is fitted to the first
    points only, for several lengths; each such fit forecasts the points that came since, with its own covariance. The
    root mean square of those misses in standard deviations multiplies the plain standard deviation.
    """
    times, values = np.asarray(t_h, dtype=np.float64), np.asarray(y, dtype=np.float64)
    name, fit = better_growth_fit(times, values)
    curve, shape = CURVES[name]

    def reached_h(numbers: Array) -> Array:
        return richards_time_h(level, numbers[:, 0], numbers[:, 1], numbers[:, 2], shape)

    middle_h = float(reached_h(fit.numbers[None])[0])
    inflation = _overconfidence(curve, times, values, fit.numbers.size)
    if not np.isfinite(middle_h):
        return TimeInterval(np.inf, np.inf, np.inf, np.inf, np.inf, inflation)
    gradient = curve_slopes(lambda _, numbers: reached_h(numbers)[:, None], times[:1], fit.numbers)[0]
    variance = float(gradient @ fit.covariance @ gradient)
    sd_h = float(np.sqrt(variance)) if variance >= 0.0 else np.inf  # NaN and below: the numbers cannot be told apart
    plain_h = student_quantile(0.5 + coverage / 2.0, fit.dof) * sd_h
    return TimeInterval(
        middle_h=middle_h,
        low_h=middle_h - inflation * plain_h,
        high_h=middle_h + inflation * plain_h,
        plain_low_h=middle_h - plain_h,
        plain_high_h=middle_h + plain_h,
        inflation=inflation,
    )


def _overconfidence(curve: Curve, times: Array, values: Array, n_numbers: int) -> float:
    """Root mean square of what earlier fits missed since, in their own standard deviations; 1 at least."""
    shortest = n_numbers + LEAST_SPARE_POINTS
    lengths = np.unique(np.linspace(shortest, times.size - 1, MOST_LOOKS_BACK).astype(int))
    misses = []
    for length in lengths[lengths >= shortest]:
        part_t, part_y = times[:length], values[:length]
        fit = fit_curve(curve, part_t, part_y, growth_start(part_t, part_y), tolerance=1e-8)
        slopes = curve_slopes(curve, times[length:], fit.numbers)
        variance = np.einsum("ij,jk,ik->i", slopes, fit.covariance, slopes) + fit.residual_sd**2
        miss = (values[length:] - curve(times[length:], fit.numbers[None])[0]) ** 2 / variance
        misses.append(miss[np.isfinite(miss) & (variance > 0.0)])
    squares = np.concatenate([np.empty(0), *misses])
    return max(1.0, float(np.sqrt(np.mean(squares)))) if squares.size else 1.0


def student_quantile(level: float, dof: int) -> float:
    """Quantile of Student's t, by the Cornish-Fisher series (Abramowitz & Stegun 26.7.5, from memory).

    Within 2 % for 2 degrees of freedom and 90 % intervals, better for more.

    >>> round(student_quantile(0.95, 6), 3)
    1.943
    """
    z = NormalDist().inv_cdf(level)
    terms = (
        (z**3 + z) / 4.0,
        (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0,
        (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0,
        (79.0 * z**9 + 776.0 * z**7 + 1482.0 * z**5 - 1920.0 * z**3 - 945.0 * z) / 92160.0,
    )
    return z + sum(term / float(dof) ** power for power, term in enumerate(terms, start=1))


def replicate_interval(values: ArrayLike, *, coverage: float = 0.9) -> tuple[float, float]:
    """Where one more replicate will lie, given some: their mean and spread, with Student's t.

    >>> low, high = replicate_interval([9.0, 10.0, 11.0, 10.0, 10.0])
    >>> round(low, 2), round(high, 2)
    (8.35, 11.65)
    """
    found = np.asarray(values, dtype=np.float64)
    if found.size < 3:
        raise ValueError(f"{found.size} replicates tell no spread; three do")
    half = student_quantile(0.5 + coverage / 2.0, found.size - 1) * float(np.std(found, ddof=1))
    half *= float(np.sqrt(1.0 + 1.0 / found.size))
    return float(np.mean(found)) - half, float(np.mean(found)) + half
