"""What sensors make of the truth: noise, offsets, steps, outliers, a hand, a lifted lid, condensation, silence.

Every figure is judgement: ordinary sizes for cheap digital sensors over a tub in a damp kitchen.
"""

import random
from dataclasses import dataclass, replace

from firmware_sim.bench.faults import Episode, episodes
from firmware_sim.bench.troubles import Trouble, seen_distance


@dataclass(frozen=True, slots=True)
class Imperfections:
    """How bad a set of sensors is. Zero everywhere is a perfect set.

    Attributes
    ----------
    temp_sd_c, temp_offset_c, probe_step_c
        Noise and lasting error of both thermometers; step of the dough probe.
    humidity_sd_pct, humidity_offset_pct
        Noise and lasting error of the humidity.
    distance_sd_mm, distance_step_mm
        Noise and step of one distance shot.
    outlier_chance
        That one distance shot is nonsense.
    bad_moment_chance
        That all shots of one measurement are: steam, a drop falling.
    hands_per_h, silences_per_h, drifts_per_h
        How often a hand is held under the sensor, a sensor stops answering for minutes, a film of water begins to
        grow on the lens.
    drift_mm
        How far such a film takes the distance before it is wiped off.
    missing_chance
        That one channel is not read once.
    is_lifted
        Whether the sensor comes off with the lid for every fold.
    """

    temp_sd_c: float = 0.0
    temp_offset_c: float = 0.0
    probe_step_c: float = 0.0
    humidity_sd_pct: float = 0.0
    humidity_offset_pct: float = 0.0
    distance_sd_mm: float = 0.0
    distance_step_mm: float = 0.0
    outlier_chance: float = 0.0
    bad_moment_chance: float = 0.0
    hands_per_h: float = 0.0
    silences_per_h: float = 0.0
    drifts_per_h: float = 0.0
    drift_mm: float = 0.0
    missing_chance: float = 0.0
    is_lifted: bool = True


USUAL = Imperfections(
    temp_sd_c=0.04, temp_offset_c=0.2, probe_step_c=0.0625, humidity_sd_pct=0.4, humidity_offset_pct=1.5,
    distance_sd_mm=1.2, distance_step_mm=1.0, outlier_chance=0.03, bad_moment_chance=0.008, hands_per_h=0.4,
    silences_per_h=0.06, drifts_per_h=0.1, drift_mm=2.5, missing_chance=0.004,
)  # fmt: skip
_MIXED = {
    "mild": replace(
        USUAL, distance_sd_mm=0.6, distance_step_mm=0.5, hands_per_h=0.15, drifts_per_h=0.0, temp_offset_c=0.1
    ),
    "usual": USUAL,
    "rough": replace(
        USUAL, distance_sd_mm=2.5, outlier_chance=0.10, bad_moment_chance=0.03, hands_per_h=1.2, silences_per_h=0.25,
        drifts_per_h=0.35, drift_mm=5.0, missing_chance=0.02, temp_offset_c=0.4,
    ),
}  # fmt: skip
UNTROUBLED = {name: f"{name} alone" for name in _MIXED}  # the same instruments, left in peace
NOISE = {
    "clean": Imperfections(is_lifted=False),
    **_MIXED,
    **{
        UNTROUBLED[name]: replace(
            how, bad_moment_chance=0.0, hands_per_h=0.0, silences_per_h=0.0, drifts_per_h=0.0, is_lifted=False
        )
        for name, how in _MIXED.items()
    },
}


def _stepped(value: float, step: float) -> float:
    return round(value / step) * step if step else value


class Sensors:
    """The sensors over one dough, with their own faults; asked with the truth, they answer as a board would.

    Parameters
    ----------
    lifted_s
        Moments after the start at which the lid with the sensor comes off for a fold. [s]
    troubles
        What gets between the sensors and the truth.
    """

    def __init__(
        self,
        how: Imperfections,
        seed: int | str,
        lifted_s: tuple[float, ...] = (),
        troubles: tuple[Trouble, ...] = (),
    ) -> None:
        rng = random.Random(f"sensors {seed}")
        self._how = how
        self._rng = rng
        self._air_offset_c = max(-2.0, min(2.0, rng.gauss(0.0, 1.0))) * how.temp_offset_c
        self._dough_offset_c = max(-2.0, min(2.0, rng.gauss(0.0, 1.0))) * how.temp_offset_c
        self._humidity_offset_pct = max(-2.0, min(2.0, rng.gauss(0.0, 1.0))) * how.humidity_offset_pct
        self._hands = episodes(rng, how.hands_per_h, (40.0, 140.0), (35.0, 90.0))
        self._silences = episodes(rng, how.silences_per_h, (180.0, 600.0), (0.0, 1.0))
        self._films = episodes(rng, how.drifts_per_h, (2400.0, 6000.0), (0.5 * how.drift_mm, how.drift_mm))
        self._lifts = tuple(
            Episode(at - rng.uniform(10.0, 40.0), at + rng.uniform(40.0, 110.0), rng.uniform(60.0, 260.0))
            for at in lifted_s
        )
        if not how.is_lifted:
            self._lifts = ()
        self._troubles = troubles
        self._bad_moment_at: float | None = None
        self._asked_at: float | None = None

    def _missing(self, at_s: float) -> bool:
        return any(e.covers(at_s) for e in self._silences) or self._rng.random() < self._how.missing_chance

    def air(self, at_s: float, temp_c: float, humidity_pct: float) -> tuple[int, int] | None:
        """Air temperature [0.01 C] and humidity [0.01 %], or None."""
        how = self._how
        if self._missing(at_s):
            return None
        shown_c = temp_c + self._air_offset_c + self._rng.gauss(0.0, how.temp_sd_c)
        shown_pct = humidity_pct + self._humidity_offset_pct + self._rng.gauss(0.0, how.humidity_sd_pct)
        return round(100.0 * shown_c), round(100.0 * max(0.0, min(100.0, shown_pct)))

    def dough(self, at_s: float, temp_c: float) -> int | None:
        """Dough temperature [0.01 C], or None; 85.00 C now and then, as a probe that lost its supply says."""
        how = self._how
        if self._missing(at_s):
            return None
        if self._rng.random() < 0.25 * how.missing_chance:
            return 8500
        shown_c = temp_c + self._dough_offset_c + self._rng.gauss(0.0, how.temp_sd_c)
        return round(100.0 * _stepped(shown_c, how.probe_step_c))

    def distance(self, at_s: float, distance_mm: float) -> int | None:
        """One distance shot [0.1 mm], or None."""
        how, rng = self._how, self._rng
        if at_s != self._asked_at:
            self._asked_at = at_s
            self._bad_moment_at = at_s if rng.random() < how.bad_moment_chance else None
        if any(e.covers(at_s) for e in self._silences):
            return None
        shown_mm, spread = seen_distance(self._troubles, at_s, distance_mm)
        for hand in self._hands:
            if hand.covers(at_s):
                shown_mm = min(hand.size, distance_mm)
        for lift in self._lifts:
            if lift.covers(at_s):
                shown_mm = distance_mm + lift.size
        for film in self._films:
            if film.covers(at_s):
                shown_mm -= film.size * (at_s - film.start_s) / (film.end_s - film.start_s)
        if self._bad_moment_at == at_s or rng.random() < how.outlier_chance:
            shown_mm = rng.uniform(20.0, 2.5 * distance_mm)
        shown_mm += rng.gauss(0.0, spread * how.distance_sd_mm)
        return round(10.0 * max(1.0, _stepped(shown_mm, how.distance_step_mm)))
