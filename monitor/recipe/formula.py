"""What was weighed in: ingredients in grams, and their baker's percentages."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Formula:
    """A dough's ingredients. [g]

    Attributes
    ----------
    flour_g
        All flour, the base of every baker's percentage.
    sourdough_g
        Ripe sourdough, taken as equal parts flour and water (judgement: the commonest build).
    """

    flour_g: float
    water_g: float = 0.0
    salt_g: float = 0.0
    sugar_g: float = 0.0
    fat_g: float = 0.0
    instant_yeast_g: float = 0.0
    active_dry_yeast_g: float = 0.0
    fresh_yeast_g: float = 0.0
    sourdough_g: float = 0.0

    def __post_init__(self) -> None:
        if not self.flour_g > 0:
            raise ValueError(f"formula flour_g = {self.flour_g}: percentages are counted on it, give more than 0 g")
        for name in FORMULA_KEYS:
            if getattr(self, name) < 0:
                raise ValueError(f"formula {name} = {getattr(self, name)}: a weight cannot be less than 0 g")


FORMULA_KEYS = tuple(Formula.__dataclass_fields__)
