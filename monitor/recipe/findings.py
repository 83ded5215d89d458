"""What does not add up in a recipe: found, never mended by itself."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto

from monitor.recipe.ingredients import IngredientKind
from monitor.recipe.parts import Ingredient, Part, PartKind, Recipe

# judgement, from common practice without a source: outside these a slip of the pen is likelier than a bread
SALT_PCT = (1.0, 3.0)
HYDRATION_PCT = (50.0, 100.0)
PART_HYDRATION_PCT = (40.0, 150.0)  # a stiff preferment, a liquid one
MOST_YEAST_PCT = 3.0  # instant, on all flour
MUCH_SUGAR_PCT = 10.0
MOST_PREFERMENTED_PCT = 60.0
MOST_MALT_PCT = 2.0  # with its enzymes alive; beyond, the crumb turns sticky
SPARE_FRAC = 0.05  # a preferment clings to its tub: so much may be left over, or be short, without a finding
DOUBT_FRAC = 0.05  # a weight less sure than this is a finding


class FindingKind(Enum):
    """What cannot be, or hardly can."""

    PART_UNUSED = auto()
    PART_SHORT = auto()
    PART_LEFT_OVER = auto()
    PART_WATER = auto()
    NO_FLOUR = auto()
    NO_LEAVEN = auto()
    NO_STARTER = auto()
    NO_SALT = auto()
    SALT = auto()
    WATER = auto()
    YEAST = auto()
    SUGAR = auto()
    PREFERMENTED = auto()
    MALT = auto()
    PIECES_SHORT = auto()
    PIECES_LEFT_OVER = auto()
    DOUBTFUL_WEIGHT = auto()


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not add up.

    Attributes
    ----------
    part
        Name of the part it is about; empty: the whole recipe.
    share_pct
        The share that is unusual, in baker's percent. [%]
    mass_g, made_g
        What is needed or left over, and what is made. [g]
    ingredient
        Whose weight is in doubt.
    """

    kind: FindingKind
    part: str = ""
    share_pct: float = 0.0
    mass_g: float = 0.0
    made_g: float = 0.0
    ingredient: Ingredient | None = None


def recipe_findings(recipe: Recipe) -> tuple[Finding, ...]:
    """Everything in a recipe that cannot be, or hardly can; empty when it adds up."""
    return (*_parts(recipe), *_whole(recipe), *_pieces(recipe), *_doubts(recipe))


def _parts(recipe: Recipe) -> Iterator[Finding]:
    for part in recipe.parts:
        used_g = sum(line.weight.g for _, line in recipe.uses_of(part))
        if part is not recipe.dough:
            if used_g == 0.0:
                yield Finding(FindingKind.PART_UNUSED, part.name)
            elif used_g > part.mass_g * (1.0 + SPARE_FRAC):
                yield Finding(FindingKind.PART_SHORT, part.name, mass_g=used_g, made_g=part.mass_g)
            elif used_g < part.mass_g * (1.0 - SPARE_FRAC):
                yield Finding(FindingKind.PART_LEFT_OVER, part.name, mass_g=part.mass_g - used_g, made_g=part.mass_g)
        yield from _leaven(part, recipe)
        contents = recipe.contents(part)
        is_fermented = part.kind in (PartKind.PREFERMENT, PartKind.SOURDOUGH) and contents.flour_g > 0.0
        if is_fermented and not PART_HYDRATION_PCT[0] <= contents.hydration_pct <= PART_HYDRATION_PCT[1]:
            yield Finding(FindingKind.PART_WATER, part.name, share_pct=contents.hydration_pct)


def _leaven(part: Part, recipe: Recipe) -> Iterator[Finding]:
    """Whether what should ferment has something that makes it."""
    if part.kind is PartKind.SOAKER:
        return
    found = recipe.contents(part)
    ripe = (IngredientKind.STARTER, IngredientKind.PART)
    if found.flour_g <= 0.0:
        yield Finding(FindingKind.NO_FLOUR, part.name)
    elif found.yeast_g == found.sour_flour_g == found.grown_yeast_g == 0.0:
        yield Finding(FindingKind.NO_LEAVEN, part.name)
    elif part.kind is PartKind.SOURDOUGH and not any(each.kind in ripe for each in part.ingredients):
        yield Finding(FindingKind.NO_STARTER, part.name)


def _whole(recipe: Recipe) -> Iterator[Finding]:
    total = recipe.total
    if total.flour_g <= 0.0:
        return
    salt_pct, water_pct = total.pct(total.salt_g), total.hydration_pct
    if total.salt_g == 0.0:
        yield Finding(FindingKind.NO_SALT)
    elif not SALT_PCT[0] <= salt_pct <= SALT_PCT[1]:
        yield Finding(FindingKind.SALT, share_pct=salt_pct)
    if not HYDRATION_PCT[0] <= water_pct <= HYDRATION_PCT[1]:
        yield Finding(FindingKind.WATER, share_pct=water_pct)
    for kind, mass_g, most_pct in (
        (FindingKind.YEAST, total.yeast_g, MOST_YEAST_PCT),
        (FindingKind.SUGAR, 0.0 if total.osmotolerant_g == total.yeast_g > 0.0 else total.sugar_g, MUCH_SUGAR_PCT),
        (FindingKind.MALT, total.malt_g, MOST_MALT_PCT),
        (FindingKind.PREFERMENTED, total.prefermented_g, MOST_PREFERMENTED_PCT),
    ):
        if total.pct(mass_g) > most_pct:
            yield Finding(kind, share_pct=total.pct(mass_g))


def _pieces(recipe: Recipe) -> Iterator[Finding]:
    if recipe.piece_g is None:
        return
    wanted_g, made_g = recipe.pieces * recipe.piece_g, recipe.divided_g
    if wanted_g > made_g * 1.005:
        yield Finding(FindingKind.PIECES_SHORT, mass_g=wanted_g, made_g=made_g)
    elif wanted_g < made_g * (1.0 - SPARE_FRAC):
        yield Finding(FindingKind.PIECES_LEFT_OVER, mass_g=made_g - wanted_g, made_g=made_g)


def _doubts(recipe: Recipe) -> Iterator[Finding]:
    for part in recipe.parts:
        for each in part.ingredients:
            if each.weight.high_g - each.weight.low_g > 2.0 * DOUBT_FRAC * each.weight.g:
                yield Finding(FindingKind.DOUBTFUL_WEIGHT, part.name, ingredient=each)
