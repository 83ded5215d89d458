"""How long a dough was measured above the temperature at which food is held cold: a time, never a verdict."""

from dataclasses import dataclass

import numpy as np

from monitor.dough.track import Track

WARM_C = 5.0  # 41 F: FDA Food Code 3-501.16 (seen), cold holding at or below
LONGEST_GAP_MIN = 30.0  # judgement: a probe that was silent for longer may have been anywhere


@dataclass(frozen=True, slots=True)
class WarmTime:
    """Minutes of a dough's past.

    Attributes
    ----------
    warm_min
        Measured above ``WARM_C``. [min]
    measured_min
        Measured at all: a gap of more than ``LONGEST_GAP_MIN`` between two readings counts as nothing measured. [min]
    is_of_probe
        True when the dough itself was measured; False when it was the air around it.
    """

    warm_min: float = 0.0
    measured_min: float = 0.0
    is_of_probe: bool = False


def warm_time(track: Track) -> WarmTime:
    """How long a dough was above 5 C: by the probe, or by the air where there was none."""
    is_of_probe = bool(track.dough_temp_c.t_s.size)
    series = track.dough_temp_c if is_of_probe else track.air_temp_c
    gaps_min = np.diff(series.t_s) / 60.0
    is_measured = gaps_min <= LONGEST_GAP_MIN
    is_warm = is_measured & (series.value[:-1] > WARM_C)
    return WarmTime(float(np.sum(gaps_min[is_warm])), float(np.sum(gaps_min[is_measured])), is_of_probe)
