"""A dough in its tub under its air, with sensors over it: what a node's board is wired to."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import pi
from typing import Any, Protocol

from firmware_sim.bench.air import Air
from firmware_sim.bench.sensors import Sensors
from firmware_sim.bench.surface import Surface
from firmware_sim.bench.troubles import Trouble, TroubleKind, is_on
from firmware_sim.doughs.dough import STEP_S, Dough


@dataclass(frozen=True, slots=True)
class Tub:
    """A vessel by its inner measures. [mm]

    ``base_mm`` and ``top_mm`` are length and width; a round vessel has its diameter twice.
    """

    shape: str
    base_mm: tuple[float, float]
    top_mm: tuple[float, float]
    depth_mm: float
    sensor_to_base_mm: float

    def area_mm2(self, level_mm: float) -> float:
        """Inside cross-section at a height; the walls go on above the rim."""
        part, share = level_mm / self.depth_mm, pi / 4.0 if self.shape == "round" else 1.0
        (length, width), (top_length, top_width) = self.base_mm, self.top_mm
        return share * (length + (top_length - length) * part) * (width + (top_width - width) * part)

    def volume_ml(self, level_mm: float) -> float:
        """Volume below a level. [mL]  Simpson's rule is exact here: the area is a parabola in the height."""
        middle = self.area_mm2(0.5 * level_mm)
        return level_mm * (self.area_mm2(0.0) + 4.0 * middle + self.area_mm2(level_mm)) / 6000.0

    def level_mm(self, volume_ml: float, near_mm: float | None = None) -> float:
        """Level of a volume, by Newton's method from a level near it. [mm]"""
        level_mm = 1000.0 * volume_ml / self.area_mm2(0.5 * self.depth_mm) if near_mm is None else near_mm
        for _ in range(20):
            step_mm = 1000.0 * (self.volume_ml(level_mm) - volume_ml) / self.area_mm2(level_mm)
            level_mm -= step_mm
            if abs(step_mm) < 1e-9:
                break
        return level_mm

    def width_mm(self, level_mm: float) -> float:
        """Inner width at a height: the diameter, or the shorter side. [mm]"""
        part = level_mm / self.depth_mm
        return min(base + (top - base) * part for base, top in zip(self.base_mm, self.top_mm, strict=True))


TUBS = {  # invented sizes
    "round-taper": Tub("round", (180.0, 180.0), (210.0, 210.0), 250.0, 300.0),
    "round-steep": Tub("round", (150.0, 150.0), (220.0, 220.0), 180.0, 240.0),
    "rect-straight": Tub("rectangular", (260.0, 180.0), (260.0, 180.0), 200.0, 260.0),
    "rect-taper": Tub("rectangular", (300.0, 200.0), (330.0, 230.0), 150.0, 220.0),
    "jar": Tub("round", (95.0, 95.0), (95.0, 95.0), 170.0, 230.0),
    "tin": Tub("rectangular", (220.0, 95.0), (230.0, 105.0), 110.0, 190.0),
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the true volume did after the last fold. Times are seconds after the start, None: not (yet)."""

    ready_s: float | None
    peak_s: float | None
    peak_rise_pct: float | None


class Outcomes:
    """Watches the true rise go by and notes when it was ready and when it peaked."""

    FALLEN_PCT = 1.0  # the peak is known once the rise has fallen this far below it

    def __init__(self, target_rise_pct: float | None, last_fold_s: float) -> None:
        self._target_rise_pct = target_rise_pct
        self._last_fold_s = last_fold_s
        self._ready_s: float | None = None
        self._highest_s: float | None = None
        self._highest_pct = float("-inf")
        self._has_peaked = False

    def note(self, at_s: float, rise_pct: float) -> None:
        """Take one value of the true rise; times must not run backwards."""
        if at_s < self._last_fold_s:
            return
        if self._target_rise_pct is not None and self._ready_s is None and rise_pct >= self._target_rise_pct:
            self._ready_s = at_s
        if rise_pct > self._highest_pct:
            self._highest_s, self._highest_pct = at_s, rise_pct
            self._has_peaked = False
        elif rise_pct < self._highest_pct - self.FALLEN_PCT:
            self._has_peaked = True

    @property
    def outcome(self) -> Outcome:
        """What is known by now."""
        if not self._has_peaked:
            return Outcome(self._ready_s, None, None)
        return Outcome(self._ready_s, self._highest_s, self._highest_pct)


class Bench:
    """One dough, its place and its sensors.

    Parameters
    ----------
    dough
        At its start, with the same air round it and its folds ahead of it.
    flour_g
        Flour in the tub; the dough's equations are per 100 g.
    surface
        Its top.
    troubles
        What happens to the probe; what happens over the dough is the sensors' own.
    last_fold_s
        When it is folded for the last time; 0 for never. [s]
    step_s
        How finely its outcome is watched.
    """

    def __init__(
        self,
        *,
        dough: Dough[Any],
        flour_g: float,
        tub: Tub,
        air: Air,
        sensors: Sensors,
        surface: Surface,
        troubles: tuple[Trouble, ...] = (),
        last_fold_s: float = 0.0,
        target_rise_pct: float | None = None,
        step_s: float = STEP_S,
    ) -> None:
        self.dough = dough
        self._step_s = step_s
        self.tub = tub
        self.air = air
        self.sensors = sensors
        self.surface = surface
        self._troubles = troubles
        self.flour_g = flour_g
        self.outcomes = Outcomes(target_rise_pct, last_fold_s)
        self._level: tuple[float, float] = (-1.0, 0.0)
        self._look()

    def advance_to(self, at_s: float) -> None:
        """Let the dough live up to a time after its start. [s]"""
        while self.dough.now_s < at_s:
            self.dough.advance_to(min(at_s, self.dough.now_s + self._step_s))
            rise_pct = self.dough.rise_pct
            if rise_pct is not None:
                self.outcomes.note(self.dough.now_s, rise_pct)
            self._look()

    def _look(self) -> None:
        """Let the top follow the volume."""
        self.surface.look(self.dough.now_s, self.mean_mm, self.tub.width_mm(self.mean_mm))

    @property
    def volume_ml(self) -> float:
        """True volume in the tub. [mL]"""
        return self.dough.volume_ml * self.flour_g / 100.0

    @property
    def start_volume_ml(self) -> float:
        """True volume that the rise is counted from. [mL]"""
        return self.dough.stage_start_ml * self.flour_g / 100.0

    @property
    def mean_mm(self) -> float:
        """Level at which the dough would stand with a flat top. [mm]"""
        if self._level[0] != self.dough.now_s:
            self._level = (self.dough.now_s, self.tub.level_mm(self.volume_ml, self._level[1] or None))
        return self._level[1]

    @property
    def edge_mm(self) -> float | None:
        """True height of the dough at the wall; None as long as it does not touch it. [mm]"""
        return self.surface.edge_mm(self.mean_mm)

    @property
    def distance_mm(self) -> float:
        """True distance from the sensor to the middle of the dough's top. [mm]"""
        return self.tub.sensor_to_base_mm - self.surface.centre_mm(self.mean_mm)

    def read_air(self, at_s: float) -> tuple[int, int] | None:
        """What the air sensor answers."""
        return self.sensors.air(at_s, self.air.temp_c(at_s), self.air.humidity_pct(at_s))

    def read_dough(self, at_s: float) -> int | None:
        """What the probe answers."""
        self.advance_to(at_s)
        is_out = is_on(self._troubles, TroubleKind.PROBE_OUT, at_s)
        return self.sensors.dough(at_s, self.air.temp_c(at_s) if is_out else self.dough.probe_c)

    def read_distance(self, at_s: float) -> int | None:
        """What one shot of the distance sensor answers."""
        self.advance_to(at_s)
        return self.sensors.distance(at_s, self.distance_mm)


class MeasuringPoint(Protocol):
    """What a board's probe and distance sensor are over, and the air there; times are seconds after the start."""

    air: Air

    def read_dough(self, at_s: float) -> int | None: ...
    def read_distance(self, at_s: float) -> int | None: ...


class DoughSensors:
    """Sensors over a simulated dough; what is asked between two starts is of one moment. None ever has a fault."""

    wanted: Sequence[str] = ("air", "dough", "distance")
    pins: Mapping[str, str] = {}
    faults: Mapping[tuple[str, str], int] = {}

    def __init__(self, bench: Bench, now_s: Callable[[], float]) -> None:
        self._bench = bench
        self._now_s = now_s
        self._at_s = 0.0

    def start(self) -> int:
        """Take the moment."""
        self._at_s = max(self._at_s, self._now_s())
        return 0

    def read_air(self) -> tuple[int, int] | None:
        """Air temperature [0.01 C] and humidity [0.01 %]."""
        return self._bench.read_air(self._at_s)

    def read_dough(self) -> int | None:
        """Dough temperature [0.01 C]."""
        return self._bench.read_dough(self._at_s)

    def read_distance(self) -> int | None:
        """One distance shot [0.1 mm]."""
        return self._bench.read_distance(self._at_s)
