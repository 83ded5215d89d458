"""Amounts as bakers write them, "700 g", "2 1/2 cups", "68 %", and the weight each stands for, with its doubt."""

import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from monitor.errors import UnfitError
from monitor.units import GRAMS_PER_OUNCE

CUP_ML = 236.5882365  # US customary cup, exact: 1/16 of 231 cubic inches
SPOONS_PER_CUP = 16
TEASPOONS_PER_CUP = 48
OUNCES_PER_POUND = 16
FLOUR_PCT = 100.0  # a dough yield ("TA 168") counts the flour too: 100 of flour and 68 of water


class Unit(StrEnum):
    """What an amount is counted in."""

    GRAM = "g"
    KILOGRAM = "kg"
    OUNCE = "oz"
    POUND = "lb"
    MILLILITRE = "ml"
    LITRE = "l"
    CUP = "cup"
    TABLESPOON = "tbsp"
    TEASPOON = "tsp"
    PERCENT = "%"
    PIECE = "piece"
    ALL = "all"


GRAMS = {
    Unit.GRAM: 1.0,
    Unit.KILOGRAM: 1000.0,
    Unit.OUNCE: GRAMS_PER_OUNCE,
    Unit.POUND: OUNCES_PER_POUND * GRAMS_PER_OUNCE,
}
MILLILITRES = {
    Unit.MILLILITRE: 1.0,
    Unit.LITRE: 1000.0,
    Unit.CUP: CUP_ML,
    Unit.TABLESPOON: CUP_ML / SPOONS_PER_CUP,
    Unit.TEASPOON: CUP_ML / TEASPOONS_PER_CUP,
}
_OTHER_NAMES = {"cups": "cup", "pieces": "piece", "grams": "g", "tsps": "tsp", "tbsps": "tbsp", "pct": "%", "": "piece"}
_NUMBER = r"(?:(?P<whole>\d+)\s+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)|(?P<plain>\d+(?:[.,]\d+)?)"


@dataclass(frozen=True, slots=True)
class Amount:
    """A number of units."""

    number: float
    unit: Unit


@dataclass(frozen=True, slots=True)
class Weight:
    """What something weighs: likeliest, and between which weights it lies. [g]"""

    g: float
    low_g: float
    high_g: float

    @property
    def is_doubtful(self) -> bool:
        """True when it was not weighed."""
        return self.high_g > self.low_g

    def times(self, factor: float) -> "Weight":
        """So many times as much."""
        return Weight(self.g * factor, self.low_g * factor, self.high_g * factor)


def weighed(mass_g: float) -> Weight:
    """A weight off the scales, without a doubt that matters."""
    return Weight(mass_g, mass_g, mass_g)


def amount_of(text: str) -> Amount:
    """An amount from a baker's words.

    Raises
    ------
    ValueError
        When it is none, with what one looks like.

    Examples
    --------
    >>> amount_of("2 1/4 tsp"), amount_of("1.5kg")
    (Amount(number=2.25, unit=<Unit.TEASPOON: 'tsp'>), Amount(number=1.5, unit=<Unit.KILOGRAM: 'kg'>))
    >>> amount_of("68 %") == amount_of("TA 168"), amount_of("all").unit
    (True, <Unit.ALL: 'all'>)
    """
    clean = " ".join(text.lower().split())
    if clean == "all":
        return Amount(1.0, Unit.ALL)
    dough_yield = re.fullmatch(r"ta ?(\d{3}(?:[.,]\d+)?)", clean)
    if dough_yield is not None and (above := float(dough_yield[1].replace(",", ".")) - FLOUR_PCT) > 0.0:
        return Amount(above, Unit.PERCENT)
    match = re.fullmatch(rf"(?:{_NUMBER})\s*(?P<unit>[a-z%]*)", clean)
    if match is not None:
        name = _OTHER_NAMES.get(match["unit"], match["unit"])
        if name in list(Unit) and name != Unit.ALL and not (match["bottom"] and int(match["bottom"]) == 0):
            if match["plain"]:
                number = float(match["plain"].replace(",", "."))
            else:
                number = int(match["whole"] or 0) + float(Fraction(int(match["top"]), int(match["bottom"])))
            return Amount(number, Unit(name))
    raise UnfitError(
        "{text!r} is no amount; write for example 700 g, 1.5 kg, 24 oz, 2 1/4 tsp, 3 cups, 250 ml, 68 % or all",
        text=text[:40],
    )


def feed_ratio(text: str) -> tuple[float, float, float]:
    """Starter, flour and water of a feed, by weight, as bakers write it.

    Raises
    ------
    ValueError
        When it is none.

    Examples
    --------
    >>> feed_ratio("1:5:5"), feed_ratio("1 : 2 : 1,2")
    ((1.0, 5.0, 5.0), (1.0, 2.0, 1.2))
    """
    match = re.fullmatch(r"\s*(\d{1,3}(?:[.,]\d+)?)\s*:\s*(\d{1,3}(?:[.,]\d+)?)\s*:\s*(\d{1,3}(?:[.,]\d+)?)\s*", text)
    starter, flour, water = (float(each.replace(",", ".")) for each in match.groups()) if match else (0.0, 0.0, 0.0)
    if min(starter, flour, water) <= 0.0:
        raise UnfitError("{text!r} is no feed; write starter, flour and water by weight, such as 1:5:5", text=text[:40])
    return starter, flour, water


def volume_weight(volume_ml: float, per_cup_g: tuple[float, float, float]) -> Weight:
    """Weight of a volume, by what a cup of the same weighs: likeliest, least and most. [g]

    >>> volume_weight(2 * CUP_ML, (120.0, 113.0, 142.0))
    Weight(g=240.0, low_g=226.0, high_g=284.0)
    """
    cups = volume_ml / CUP_ML
    return Weight(*(cups * each for each in per_cup_g))
