"""What was weighed in: ingredients in grams, their baker's percentages, and how warm the water must be."""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from monitor.errors import UnfitError


@dataclass(frozen=True, slots=True)
class Formula:
    """A dough's ingredients. [g]

    Attributes
    ----------
    flour_g
        All flour weighed in, the base of every baker's percentage; the flour inside a sourdough is not counted in it.
    sourdough_g
        Ripe sourdough, taken as equal parts flour and water (judgement: the commonest build).
    osmotolerant_yeast_g
        Instant yeast that sugar hardly slows.

    Raises
    ------
    ValueError
        When a weight is negative or no finite number, or there is no flour.
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
    osmotolerant_yeast_g: float = 0.0

    def __post_init__(self) -> None:
        if not (self.flour_g > 0 and isfinite(self.flour_g)):
            raise UnfitError(
                "formula flour_g = {flour_g}: percentages are counted on it, give more than 0 g", flour_g=self.flour_g
            )
        for name in FORMULA_KEYS:
            if not 0 <= getattr(self, name) < float("inf"):
                raise UnfitError(
                    "formula {name} = {grams}: a weight is a number of grams, 0 or more",
                    name=name,
                    grams=getattr(self, name),
                )

    @property
    def dough_g(self) -> float:
        """Everything together. [g]"""
        return float(sum(getattr(self, name) for name in FORMULA_KEYS))

    @property
    def total_pct(self) -> float:
        """Everything together, on the flour weighed in (100 for the flour itself). [%]

        >>> Formula(flour_g=1000, water_g=580, salt_g=17.5, sugar_g=20, instant_yeast_g=3.75).total_pct
        162.125
        """
        return 100.0 * self.dough_g / self.flour_g

    @property
    def all_flour_g(self) -> float:
        """Flour weighed in and flour inside the sourdough. [g]"""
        return self.flour_g + SOURDOUGH_FLOUR_FRAC * self.sourdough_g

    @property
    def all_water_g(self) -> float:
        """Water weighed in and water inside the sourdough. [g]"""
        return self.water_g + (1.0 - SOURDOUGH_FLOUR_FRAC) * self.sourdough_g

    def pct(self, ingredient: str) -> float:
        """Baker's percentage of an ingredient, named as its field is. [%]

        >>> Formula(flour_g=1000, water_g=600, instant_yeast_g=2, salt_g=10).pct("instant_yeast_g")
        0.2

        Raises
        ------
        ValueError
            When there is no such ingredient.
        """
        if ingredient not in FORMULA_KEYS:
            raise UnfitError(
                "{ingredient!r} is no ingredient; there are {formula_keys}",
                ingredient=ingredient,
                formula_keys=", ".join(FORMULA_KEYS),
            )
        return float(100.0 * getattr(self, ingredient) / self.flour_g)

    def scaled_to_flour(self, flour_g: float) -> "Formula":
        """The same percentages on another weight of flour.

        >>> Formula(flour_g=640, water_g=371.2, salt_g=11.2).scaled_to_flour(800).salt_g
        14.0
        """
        factor = flour_g / self.flour_g
        return Formula(**{name: getattr(self, name) * factor for name in FORMULA_KEYS})

    def scaled_to_dough(self, dough_g: float) -> "Formula":
        """The same percentages for another weight of dough."""
        return self.scaled_to_flour(100.0 * dough_g / self.total_pct)


FORMULA_KEYS = tuple(Formula.__dataclass_fields__)
SOURDOUGH_FLOUR_FRAC = 0.5  # judgement: equal parts flour and water


class YeastForm(StrEnum):
    """How baker's yeast is sold."""

    FRESH = "fresh"
    ACTIVE_DRY = "active dry"
    INSTANT = "instant"
    OSMOTOLERANT = "osmotolerant"  # an instant yeast bred for sweet doughs


YEAST_PER_FRESH = {
    YeastForm.FRESH: 1.0,
    YeastForm.ACTIVE_DRY: 0.40,
    YeastForm.INSTANT: 0.33,
    YeastForm.OSMOTOLERANT: 0.33,
}
"""Weight that does the work of 1 g fresh yeast. Culinary reference (seen); other published sets give 0.375-0.50 for
active dry and 0.32-0.40 for instant. Osmotolerant as instant: common practice, no source."""

YEAST_SOLIDS_FRAC = {
    YeastForm.FRESH: 0.30,
    YeastForm.ACTIVE_DRY: 0.92,
    YeastForm.INSTANT: 0.95,
    YeastForm.OSMOTOLERANT: 0.95,
}
"""Dry matter. AACC Approved Method 89-01.01 (seen); osmotolerant as instant."""

SOURDOUGH_INSTANT_EQUIVALENT = 0.0055
"""Instant yeast that brings a dough as far as 1 g ripe sourdough does, to a rise of half at 25 C. [g/g]  Computed from
the laws of ``monitor.dough.gassing``: 20 % sourdough, whose yeast grows, and 0.11 % instant yeast both take 5 h."""


def yeast_g(mass_g: float, have: YeastForm, want: YeastForm) -> float:
    """Weight of one form of yeast that does the work of another. [g]

    >>> yeast_g(10.0, YeastForm.FRESH, YeastForm.ACTIVE_DRY), yeast_g(10.0, YeastForm.FRESH, YeastForm.INSTANT)
    (4.0, 3.3000000000000003)
    """
    return mass_g / YEAST_PER_FRESH[have] * YEAST_PER_FRESH[want]


def yeast_pct_instant_equivalent(formula: Formula) -> float:
    """Baker's yeast of every form as instant yeast, on the flour weighed in. [%]  Sourdough is not in it.

    >>> round(yeast_pct_instant_equivalent(Formula(flour_g=1000, fresh_yeast_g=10, instant_yeast_g=2)), 3)
    0.53
    """
    instant_g = (
        formula.instant_yeast_g
        + yeast_g(formula.osmotolerant_yeast_g, YeastForm.OSMOTOLERANT, YeastForm.INSTANT)
        + yeast_g(formula.active_dry_yeast_g, YeastForm.ACTIVE_DRY, YeastForm.INSTANT)
        + yeast_g(formula.fresh_yeast_g, YeastForm.FRESH, YeastForm.INSTANT)
    )
    return 100.0 * instant_g / formula.flour_g


def sourdough_pct_instant_equivalent(formula: Formula) -> float:
    """The sourdough's work as instant yeast, on the flour weighed in. [%]

    >>> round(sourdough_pct_instant_equivalent(Formula(flour_g=1000, sourdough_g=200)), 3)
    0.11
    """
    return 100.0 * formula.sourdough_g * SOURDOUGH_INSTANT_EQUIVALENT / formula.flour_g


def water_temp_c(
    *, dough_c: float, flour_c: float, room_c: float, friction_c: float, preferment_c: float | None = None
) -> float:
    """Water temperature for a wanted dough temperature. [C]

    Parameters
    ----------
    dough_c
        The dough temperature wanted at the end of mixing. [C]
    flour_c, room_c, preferment_c
        Temperatures of flour, room and (when there is one) preferment. [C]
    friction_c
        What the mixing adds to the sum, a difference of temperatures. [C]

    Returns
    -------
    float
        3 x dough - flour - room - friction, or 4 x with a preferment. [C]  Below 0 means that part of it must be ice.

    Notes
    -----
    The trade's rule (Pizza Today, June 2018, seen). It leaves the masses out, so measure the dough afterwards.

    Examples
    --------
    80 F from flour at 65 F in a room of 75 F with 35 F of friction is 65 F, 18.3 C:

    >>> round(water_temp_c(dough_c=26.667, flour_c=18.333, room_c=23.889, friction_c=19.444), 1)
    18.3
    """
    parts = [flour_c, room_c] if preferment_c is None else [flour_c, room_c, preferment_c]
    return (len(parts) + 1) * dough_c - sum(parts) - friction_c


def friction_c(
    *, dough_c: float, flour_c: float, room_c: float, water_c: float, preferment_c: float | None = None
) -> float:
    """What the mixing added, from a dough measured afterwards: the inverse of :func:`water_temp_c`. [C]

    >>> friction_c(dough_c=26.0, flour_c=20.0, room_c=22.0, water_c=24.0)
    12.0
    """
    parts = [flour_c, room_c, water_c] if preferment_c is None else [flour_c, room_c, water_c, preferment_c]
    return len(parts) * dough_c - sum(parts)
