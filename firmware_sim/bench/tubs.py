"""Simulated vessels: how high a volume stands in them."""

from dataclasses import dataclass
from math import pi


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
        part = level_mm / self.depth_mm
        sides = [base + (top - base) * part for base, top in zip(self.base_mm, self.top_mm, strict=True)]
        return sides[0] * sides[1] * (pi / 4.0 if self.shape == "round" else 1.0)

    def volume_ml(self, level_mm: float) -> float:
        """Volume below a level. [mL]  Simpson's rule is exact here: the area is a parabola in the height."""
        middle = self.area_mm2(0.5 * level_mm)
        return level_mm * (self.area_mm2(0.0) + 4.0 * middle + self.area_mm2(level_mm)) / 6000.0

    def level_mm(self, volume_ml: float) -> float:
        """Level of a volume, by bisection. [mm]"""
        low, high = 0.0, 10.0 * self.depth_mm
        for _ in range(50):
            middle = 0.5 * (low + high)
            if self.volume_ml(middle) < volume_ml:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)


TUBS = {  # invented sizes
    "round-taper": Tub("round", (180.0, 180.0), (210.0, 210.0), 250.0, 300.0),
    "round-steep": Tub("round", (150.0, 150.0), (220.0, 220.0), 180.0, 240.0),
    "rect-straight": Tub("rectangular", (260.0, 180.0), (260.0, 180.0), 200.0, 260.0),
    "rect-taper": Tub("rectangular", (300.0, 200.0), (330.0, 230.0), 150.0, 220.0),
    "jar": Tub("round", (95.0, 95.0), (95.0, 95.0), 170.0, 230.0),
    "tin": Tub("rectangular", (220.0, 95.0), (230.0, 105.0), 110.0, 190.0),
}
