"""Sensor distance -> dough height -> volume, for round and rectangular vessels, straight or tapered."""

from dataclasses import dataclass
from enum import StrEnum
from math import pi
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

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

    Raises
    ------
    ValueError
        When a measure is not positive, or a round vessel has two different diameters at one level.
    """

    shape: Shape
    base_mm: tuple[float, float]
    top_mm: tuple[float, float]
    depth_mm: float
    sensor_to_base_mm: float | None = None

    def __post_init__(self) -> None:
        measures = {"base_mm": min(self.base_mm), "top_mm": min(self.top_mm), "depth_mm": self.depth_mm}
        if self.sensor_to_base_mm is not None:
            measures["sensor_to_base_mm"] = self.sensor_to_base_mm
        for name, measure in measures.items():
            if not measure > 0:
                raise ValueError(f"vessel {name} = {measure}: every inner measure must be more than 0 mm")
        if self.shape is Shape.ROUND and (self.base_mm[0] != self.base_mm[1] or self.top_mm[0] != self.top_mm[1]):
            raise ValueError(f"vessel base_mm, top_mm = {self.base_mm}, {self.top_mm}: a round vessel has one diameter")

    @property
    def volume_ml(self) -> float:
        """Volume up to the rim. [mL]"""
        return volume_ml(self, self.depth_mm)


def _area_coefficients(vessel: Vessel) -> tuple[float, float, float]:
    """Cross-section area over height z as a + b z + c z^2 [mm2], exact for linear walls."""
    factor = pi / 4.0 if vessel.shape is Shape.ROUND else 1.0
    length, width = vessel.base_mm
    length_slope = (vessel.top_mm[0] - length) / vessel.depth_mm
    width_slope = (vessel.top_mm[1] - width) / vessel.depth_mm
    return (
        factor * length * width,
        factor * (length * width_slope + width * length_slope),
        factor * length_slope * width_slope,
    )


def height_mm(vessel: Vessel, distance_mm: Floats) -> Floats:
    """Dough height over the base for a sensor distance. [mm]  Below an empty base it is negative: the caller judges.

    Raises
    ------
    ValueError
        When the vessel has no ``sensor_to_base_mm``.
    """
    if vessel.sensor_to_base_mm is None:
        raise ValueError("vessel sensor_to_base_mm is not known: measure the empty vessel with the sensor in place")
    return vessel.sensor_to_base_mm - distance_mm


def volume_ml(vessel: Vessel, level_mm: Floats) -> Floats:
    """Volume of a dough that stands ``level_mm`` high with a flat top. [mL]

    Above the rim the walls are continued; below the base it goes on negative, so that noise stays unbiased.

    Examples
    --------
    A frustum 80 mm wide at the base and 100 mm at 150 mm (computed from the frustum formula):

    >>> tub = Vessel(Shape.ROUND, (80.0, 80.0), (100.0, 100.0), 150.0)
    >>> round(volume_ml(tub, 60.0), 2), round(tub.volume_ml, 2)
    (332.76, 958.19)
    """
    a, b, c = _area_coefficients(vessel)
    return (a * level_mm + b * level_mm**2 / 2.0 + c * level_mm**3 / 3.0) / 1000.0


def level_mm(vessel: Vessel, volume: Floats) -> Floats:
    """Height of a dough of a volume: the inverse of :func:`volume_ml`. [mm]

    Newton's method from the straight-walled guess; volume grows steadily with height, so it cannot stray.

    Examples
    --------
    >>> tub = Vessel(Shape.ROUND, (80.0, 80.0), (100.0, 100.0), 150.0)
    >>> round(float(level_mm(tub, 2 * 332.76)), 2)
    110.71
    """
    a, b, c = _area_coefficients(vessel)
    mean_area = vessel.volume_ml * 1000.0 / vessel.depth_mm
    level: Floats = volume * 1000.0 / mean_area
    for _ in range(20):
        area = a + b * level + c * level**2
        level = level - (volume_ml(vessel, level) - volume) * 1000.0 / area
    return level
