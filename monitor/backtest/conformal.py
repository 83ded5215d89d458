"""From a bare forecast to quantiles that hold as often as they say: by what the same method missed on training doughs.

Split conformal prediction with signed misses (Vovk, Gammerman & Shafer 2005, Algorithmic Learning in a Random World,
from memory): the quantile q of a forecast is the forecast plus the quantile q of the misses in training, with the
finite-sample rank q (n + 1). A miss may be counted in seconds, in the method's own standard deviations, in shares of
the time it saw remaining, or in shares of the whole time from the start: whichever scored best in training.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.dough.scores import crps_from_quantiles

Array = NDArray[np.float64]

LEAST_SCALE_S = 60.0


@dataclass(frozen=True, slots=True)
class Bare:
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
class Calibration:
    """How far off a method was in training, in units of one scale; shape (n_levels,) for the levels asked for."""

    scale: str
    misses: Array

    def quantiles_s(self, bare: Bare) -> Array:
        """Quantiles of the time from now, none in the past: what is forecast has not come yet. [s]"""
        result: Array = np.maximum(bare.ahead_s + bare.scales_s()[self.scale] * self.misses, 0.0)
        return result


def calibrated(said: Sequence[Bare], true_ahead_s: Sequence[float], levels: Array) -> Calibration:
    """The calibration whose quantiles score best (CRPS) on the training forecasts themselves.

    Raises
    ------
    ValueError
        When there is no training forecast.
    """
    if not said:
        raise ValueError("a calibration needs training forecasts")
    truth, point = np.array(true_ahead_s), np.array([bare.ahead_s for bare in said])
    names = set.intersection(*(set(bare.scales_s()) for bare in said))
    best, best_score = None, np.inf
    for name in sorted(names):
        scale = np.array([bare.scales_s()[name] for bare in said])
        # "weibull": the rank q (n + 1), which makes the intervals hold in small samples too
        misses = np.quantile((truth - point) / scale, levels, method="weibull")
        quantiles = np.maximum(point[:, None] + scale[:, None] * misses, 0.0)
        score = float(np.mean(crps_from_quantiles(truth, quantiles, levels)))
        if score < best_score:
            best, best_score = Calibration(name, misses), score
    assert best is not None
    return best
