"""From a point forecast to quantiles that hold as often as they say: by what the same method missed on training doughs.

Split conformal prediction with signed misses (Vovk, Gammerman & Shafer 2005, Algorithmic Learning in a Random World,
from memory): the quantile q of a forecast is the forecast plus the quantile q of the misses in training, with the
finite-sample rank q (n + 1), among those that leave it in the future. A miss may be counted in seconds, in the method's
own standard deviations, in shares of the time it saw remaining, or in shares of the whole time from the start:
whichever scored best in training.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.scores import crps_from_quantiles

Array = NDArray[np.float64]

LEAST_SCALE_S = 60.0
LEAST_LEFT = 8  # judgement: misses from which quantiles are still told


@dataclass(frozen=True, slots=True)
class PointForecast:
    """What a method says by itself: seconds from now to the moment, its own doubt of it, and the age of the batch.

    ``sd_s`` is None when the method does not say.
    """

    ahead_s: float
    sd_s: float | None
    now_s: float

    def scales_s(self) -> dict[str, float]:
        """What a miss may be counted in. [s]"""
        found = {
            "seconds": 1.0,
            "time remaining": max(self.ahead_s, LEAST_SCALE_S),
            "time from the start": max(self.now_s + self.ahead_s, LEAST_SCALE_S),
        }
        if self.sd_s is not None:
            found["own deviations"] = max(self.sd_s, LEAST_SCALE_S)
        return found


@dataclass(frozen=True, slots=True)
class ConformalCalibration:
    """How far off a method was in training: all its misses in units of one scale, ascending, shape (n,)."""

    scale: str
    misses: Array

    def quantiles_s(self, point: PointForecast, levels: Array) -> Array:
        """Quantiles of the time from now. [s]

        What is forecast has not come yet, so only misses that put it into the future count, as long as some do.
        """
        ahead = point.ahead_s + point.scales_s()[self.scale] * self.misses
        still = ahead[np.searchsorted(ahead, 0.0, side="right") :]
        if still.size < LEAST_LEFT:
            still = np.maximum(ahead[-LEAST_LEFT:], 0.0)
        # "weibull": the rank q (n + 1), which makes the intervals hold in small samples too
        result: Array = np.quantile(still, levels, method="weibull")
        return result


def calibrate(forecasts: Sequence[PointForecast], true_ahead_s: Sequence[float], levels: Array) -> ConformalCalibration:
    """The calibration whose quantiles score best (CRPS) on the training forecasts themselves.

    Raises
    ------
    ValueError
        When there is no training forecast.
    """
    if not forecasts:
        raise ValueError("a calibration needs training forecasts")
    truth, points = np.array(true_ahead_s), np.array([point.ahead_s for point in forecasts])
    names = set.intersection(*(set(point.scales_s()) for point in forecasts))
    scores: dict[str, float] = {}
    candidates: dict[str, ConformalCalibration] = {}
    for name in sorted(names):
        scale = np.array([point.scales_s()[name] for point in forecasts])
        candidates[name] = ConformalCalibration(name, np.sort((truth - points) / scale))
        quantiles = np.stack([candidates[name].quantiles_s(point, levels) for point in forecasts])
        scores[name] = float(np.mean(crps_from_quantiles(truth, quantiles, levels)))
    return candidates[min(scores, key=lambda name: scores[name])]
