"""Sensor distance -> dough height -> volume, for round and rectangular vessels, straight or tapered."""

from dataclasses import dataclass
from enum import StrEnum
from math import hypot, isfinite, pi
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.errors import UnfitError
from monitor.translatable import Number

Floats = TypeVar("Floats", float, NDArray[np.float64])


class Shape(StrEnum):
    """Cross-section of a vessel."""

    ROUND = "round"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True, slots=True)
class Vessel:
    """A tub, jar or tin, by its inner measures.

    Attributes
    ----------
    base_mm, top_mm
        Length and width at the base and at the rim; a round vessel has its diameter twice.
    depth_mm
        Inner depth from base to rim.
    sensor_to_base_mm
        Distance reading of the empty vessel; None when no distance sensor looks into it.
    sensor_sd_mm
        How sure that is, one standard deviation; 0 when nobody has said.

    Raises
    ------
    ValueError
        When a measure is not positive and finite, a doubt is negative, or a round vessel has two different diameters at
        one level.
    """

    shape: Shape
    base_mm: tuple[float, float]
    top_mm: tuple[float, float]
    depth_mm: float
    sensor_to_base_mm: float | None = None
    sensor_sd_mm: float = 0.0

    def __post_init__(self) -> None:
        measures = {"base_mm": self.base_mm, "top_mm": self.top_mm, "depth_mm": (self.depth_mm,)}
        if self.sensor_to_base_mm is not None:
            measures["sensor_to_base_mm"] = (self.sensor_to_base_mm,)
        for name, sides in measures.items():
            for side in sides:
                if not (side > 0 and isfinite(side)):
                    raise UnfitError(
                        "vessel {name} = {side}: every inner measure must be more than 0 mm", name=name, side=side
                    )
        if not (self.sensor_sd_mm >= 0 and isfinite(self.sensor_sd_mm)):
            raise UnfitError(
                "vessel sensor_sd_mm = {sensor_sd_mm}: a doubt is 0 mm or more", sensor_sd_mm=self.sensor_sd_mm
            )
        if self.shape is Shape.ROUND and (self.base_mm[0] != self.base_mm[1] or self.top_mm[0] != self.top_mm[1]):
            raise UnfitError(
                "vessel base_mm, top_mm = {base_mm}, {top_mm}: a round vessel has one diameter",
                base_mm=self.base_mm,
                top_mm=self.top_mm,
            )

    @property
    def volume_ml(self) -> float:
        """Volume up to the rim. [mL]"""
        return volume_ml(self, self.depth_mm)


@dataclass(frozen=True, slots=True)
class _Wall:
    """A piece of wall: cross-section length x width at its foot, and how much they grow per height. [mm, mm/mm]"""

    factor: float
    length: float
    width: float
    length_slope: float
    width_slope: float

    def area_mm2(self, z: Any) -> Any:
        return self.factor * (self.length + self.length_slope * z) * (self.width + self.width_slope * z)

    def volume_mm3(self, z: Any) -> Any:
        """Integral of the area from the foot to height ``z``, exact for straight walls."""
        linear = self.length * self.width_slope + self.width * self.length_slope
        square = self.length_slope * self.width_slope
        return self.factor * z * (self.length * self.width + z * (linear / 2.0 + z * square / 3.0))


def _walls(vessel: Vessel) -> tuple[_Wall, _Wall]:
    """The wall from base to rim, and its continuation above the rim."""
    factor = pi / 4.0 if vessel.shape is Shape.ROUND else 1.0
    length_slope = (vessel.top_mm[0] - vessel.base_mm[0]) / vessel.depth_mm
    width_slope = (vessel.top_mm[1] - vessel.base_mm[1]) / vessel.depth_mm
    return (
        _Wall(factor, *vessel.base_mm, length_slope, width_slope),
        _Wall(factor, *vessel.top_mm, max(length_slope, 0.0), max(width_slope, 0.0)),
    )


def require_inside(vessel: Vessel, level_mm: float) -> None:
    """Refuse a level that nobody can have read at the wall: under the base, or over the rim. [mm]

    Raises
    ------
    UnfitError
        With how deep the vessel is.
    """
    if not 0.0 <= level_mm <= vessel.depth_mm:
        raise UnfitError(
            "a level of {level} mm: the vessel is {depth} mm deep inside; measure from its base up the wall",
            level=Number(level_mm, "g"),
            depth=Number(vessel.depth_mm, "g"),
        )


def height_mm(vessel: Vessel, distance_mm: Floats) -> Floats:
    """Dough height over the base for a sensor distance. [mm]  Below an empty base it is negative: the caller judges.

    Raises
    ------
    ValueError
        When the vessel has no ``sensor_to_base_mm``.
    """
    if vessel.sensor_to_base_mm is None:
        raise UnfitError("vessel sensor_to_base_mm is not known: measure the empty vessel with the sensor in place")
    return vessel.sensor_to_base_mm - distance_mm


def volume_ml(vessel: Vessel, level_mm: Floats) -> Floats:
    """Volume of a dough that stands ``level_mm`` high with a flat top. [mL]  NaN stays NaN.

    Above the rim the walls are continued (upright where they lean inwards, or they would meet). Below the base it goes
    on negative, so that noise stays unbiased.

    Examples
    --------
    A frustum 80 mm wide at the base and 100 mm at 150 mm (computed from the frustum formula):

    >>> tub = Vessel(Shape.ROUND, (80.0, 80.0), (100.0, 100.0), 150.0)
    >>> round(volume_ml(tub, 60.0), 2), round(tub.volume_ml, 2)
    (332.76, 958.19)
    """
    wall, above = _walls(vessel)
    level = np.asarray(level_mm, dtype=np.float64)
    volume_mm3 = (
        wall.area_mm2(0.0) * np.minimum(level, 0.0)
        + wall.volume_mm3(np.clip(level, 0.0, vessel.depth_mm))
        + above.volume_mm3(np.maximum(level - vessel.depth_mm, 0.0))
    )
    return _like(level_mm, volume_mm3 / 1000.0)


def level_mm(vessel: Vessel, volume: Floats) -> Floats:
    """Height of a dough of a volume [mL]: the inverse of :func:`volume_ml`. [mm]  NaN stays NaN.

    Examples
    --------
    >>> tub = Vessel(Shape.ROUND, (80.0, 80.0), (100.0, 100.0), 150.0)
    >>> round(level_mm(tub, 2 * 332.76), 2)
    110.71
    """
    wall, above = _walls(vessel)
    wanted = np.asarray(volume, dtype=np.float64)
    below_mm = np.minimum(wanted, 0.0) * 1000.0 / wall.area_mm2(0.0)  # all of it, when the volume is negative
    inside = np.clip(wanted, 0.0, vessel.volume_ml)
    over_ml = np.maximum(wanted - vessel.volume_ml, 0.0)
    height_mm = _height_in(wall, inside, np.asarray(vessel.depth_mm))
    over_mm = _height_in(above, over_ml, over_ml * 1000.0 / above.area_mm2(0.0))
    return _like(volume, below_mm + height_mm + over_mm)


def _height_in(wall: _Wall, volume: NDArray[np.float64], highest_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height over the wall's foot for a volume [mL] from 0 to that at ``highest_mm``. [mm]

    Newton's method kept inside a shrinking bracket, so that a strong taper cannot throw it out.
    """
    low, high = np.zeros_like(volume), np.broadcast_to(highest_mm, volume.shape)
    height = np.where(np.isnan(volume), np.nan, (low + high) / 2.0)
    for _ in range(80):
        excess = wall.volume_mm3(height) - volume * 1000.0
        low, high = np.where(excess < 0.0, height, low), np.where(excess > 0.0, height, high)
        newton = height - excess / wall.area_mm2(height)
        stepped = np.where((newton < low) | (newton > high), (low + high) / 2.0, newton)
        is_moving = np.abs(stepped - height) > 1e-12 * (1.0 + np.abs(height))
        height = stepped
        if not np.any(is_moving):
            break
    return height


def width_mm(vessel: Vessel, level: Floats) -> Floats:
    """Narrower inner width at a level, that at the base or the rim beyond them. [mm]"""
    base, top = min(vessel.base_mm), min(vessel.top_mm)
    share = np.clip(np.asarray(level, dtype=np.float64) / vessel.depth_mm, 0.0, 1.0)
    return _like(level, base + (top - base) * share)


def surface_mm2(vessel: Vessel, level: float) -> float:
    """Whole surface of a dough that stands ``level`` [mm] high, up to the rim: base, wall and top. [mm2]

    >>> jar = Vessel(Shape.ROUND, (100.0, 100.0), (100.0, 100.0), 200.0)
    >>> round(surface_mm2(jar, 111.0))
    50580
    """
    wall, _ = _walls(vessel)
    level = min(max(level, 0.0), vessel.depth_mm)
    length, width = wall.length + wall.length_slope * level, wall.width + wall.width_slope * level
    slant_on_length = hypot(level, (width - wall.width) / 2.0)
    slant_on_width = hypot(level, (length - wall.length) / 2.0)
    sides = (wall.length + length) * slant_on_length + (wall.width + width) * slant_on_width
    # A round wall is pi/4 of the square one around it, as the areas are.
    return float(wall.area_mm2(0.0) + wall.area_mm2(level) + wall.factor * sides)


def _like(model: Floats, result: Any) -> Floats:
    """A plain number for a plain number, an array for an array."""
    return np.asarray(result) if isinstance(model, np.ndarray) else float(result)
