"""A local-trend state-space model: level and slope, both wandering, followed by a Kalman filter in continuous time.

Harvey 1989, Forecasting, Structural Time Series Models and the Kalman Filter (from memory). The level wanders with
variance ``level_q`` per hour and the slope with ``slope_q`` per hour; what the readings scatter is scaled by
``scatter``. All three are tuned by maximum likelihood on training doughs.
"""

from collections.abc import Sequence
from dataclasses import astuple, dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FIRST_SLOPE_SD_PER_H = 0.7  # judgement: before anything was seen a dough may rise by a half or so an hour
TUNING_STEPS = (0.8, 0.4, 0.2, 0.1)  # in ln of the three numbers


@dataclass(frozen=True, slots=True)
class TrendNumbers:
    """What the model is tuned by: variance per hour of level [1/h] and slope [1/h3], and a factor on reading doubt."""

    level_q: float = 1e-4
    slope_q: float = 0.02
    scatter: float = 1.0


@dataclass(frozen=True, slots=True)
class Course:
    """What one dough showed: times [h], rise [-] and its doubt, and the folds [h] after which it begins afresh."""

    t_h: Array
    rise: Array
    sd: Array
    folds_h: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class TrendState:
    """Level and slope [1/h] at a time [h], their covariance, and ln of the likelihood of all that was seen."""

    t_h: float
    level: float
    slope: float
    p00: float
    p01: float
    p11: float
    log_likelihood: float

    def ahead(self, hours: float, numbers: TrendNumbers) -> "TrendState":
        """The state so many hours on, nothing new seen."""
        level_q, slope_q = numbers.level_q, numbers.slope_q
        p00 = self.p00 + hours * (2.0 * self.p01 + hours * self.p11) + level_q * hours + slope_q * hours**3 / 3.0
        p01 = self.p01 + hours * self.p11 + slope_q * hours**2 / 2.0
        level = self.level + hours * self.slope
        p11 = self.p11 + slope_q * hours
        return TrendState(self.t_h + hours, level, self.slope, p00, p01, p11, self.log_likelihood)


def follow(course: Course, numbers: TrendNumbers) -> TrendState | None:
    """The state after all that was seen; None when nothing was."""
    if course.t_h.size == 0:
        return None
    slope_p = FIRST_SLOPE_SD_PER_H**2
    state = TrendState(float(course.t_h[0]), float(course.rise[0]), 0.0, 1.0, 0.0, slope_p, 0.0)
    folds = list(course.folds_h)
    for t_h, rise, sd in zip(course.t_h.tolist(), course.rise.tolist(), course.sd.tolist(), strict=True):
        state = state.ahead(t_h - state.t_h, numbers)
        level, slope, p00, p01, p11 = state.level, state.slope, state.p00, state.p01, state.p11
        while folds and folds[0] <= t_h:  # a fold: the level falls by nobody knows how much, the slope may change
            folds.pop(0)
            p00, p11 = p00 + 1.0, p11 + slope_p
        variance = p00 + (numbers.scatter * sd) ** 2
        miss = rise - level
        gain0, gain1 = p00 / variance, p01 / variance
        state = TrendState(
            t_h,
            level + gain0 * miss,
            slope + gain1 * miss,
            p00 * (1.0 - gain0),
            p01 * (1.0 - gain0),
            p11 - gain1 * p01,
            state.log_likelihood - 0.5 * (np.log(2.0 * np.pi * variance) + miss**2 / variance),
        )
    return state


def tuned(courses: Sequence[Course], start: TrendNumbers | None = None) -> TrendNumbers:
    """The numbers of greatest likelihood over all courses, by a search along each axis in ever smaller steps."""
    best = np.log(astuple(start or TrendNumbers()))

    def likelihood(point: Array) -> float:
        numbers = TrendNumbers(*np.exp(point))
        states = (follow(course, numbers) for course in courses)
        return float(sum(state.log_likelihood for state in states if state is not None))

    height = likelihood(best)
    for step in TUNING_STEPS:
        is_better = True
        while is_better:
            is_better = False
            for axis in range(best.size):
                for sign in (1.0, -1.0):
                    trial = best.copy()
                    trial[axis] += sign * step
                    trial_height = likelihood(trial)
                    if trial_height > height + 1e-3:
                        best, height, is_better = trial, trial_height, True
    return TrendNumbers(*np.exp(best))
