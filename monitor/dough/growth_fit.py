"""Growth curves fitted to a measured course by least squares, with the covariance of their numbers.

The covariance says how well the numbers of a curve are known *if the course is that curve*. No course is: a fit to its
first half is over-confident about its second.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.dough.kinetics import GOMPERTZ, LOGISTIC, richards

Array = NDArray[np.float64]
Curve = Callable[[Array, Array], Array]
"""Values of shape (k, n) at times (n,) for numbers of shape (k, p)."""

MOST_STEPS = 400
MOST_DAMPING = 1e14


def logistic_curve(t_h: Array, numbers: Array) -> Array:
    """Greatest rise, steepest slope, lag: :func:`monitor.dough.kinetics.logistic`."""
    return richards(t_h, numbers[:, 0:1], numbers[:, 1:2], numbers[:, 2:3], LOGISTIC)


def gompertz_curve(t_h: Array, numbers: Array) -> Array:
    """Greatest rise, steepest slope, lag: :func:`monitor.dough.kinetics.gompertz`."""
    return richards(t_h, numbers[:, 0:1], numbers[:, 1:2], numbers[:, 2:3], GOMPERTZ)


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
    """Derivative of the curve by each number, by central differences.

    Parameters
    ----------
    curve
        Such as :func:`logistic_curve`.
    t : array, shape (n,)
    numbers : array, shape (p,)

    Returns
    -------
    array, shape (n, p)
    """
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
    """Greatest rise, steepest slope and lag to begin a search from, read off a course.

    Parameters
    ----------
    t_h : array, shape (n,)
        Times, ascending. [h]
    y : array, shape (n,)
        The course, in any unit.

    Returns
    -------
    array, shape (3,)
        In the unit of the course, that per hour, and hours.
    """
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


CURVES: dict[str, tuple[Curve, float]] = {
    "logistic": (logistic_curve, LOGISTIC),
    "gompertz": (gompertz_curve, GOMPERTZ),
}
