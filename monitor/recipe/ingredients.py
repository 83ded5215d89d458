"""What goes into a dough: kinds of ingredients, what each is made of, and what a cup of it weighs."""

import re
from dataclasses import dataclass
from enum import StrEnum

from monitor.recipe.formula import YeastForm
from monitor.recipe.measures import CUP_ML, MILLILITRES, Unit


class IngredientKind(StrEnum):
    """What an ingredient is, as far as a dough cares."""

    FLOUR = "flour"
    WATER = "water"
    SALT = "salt"
    SUGAR = "sugar"
    HONEY = "honey"  # and syrups
    OIL = "oil"  # and other fat without water
    BUTTER = "butter"
    MILK = "milk"  # and cream, buttermilk, yoghurt
    EGG = "egg"
    FRESH_YEAST = "fresh yeast"
    ACTIVE_DRY_YEAST = "active dry yeast"
    INSTANT_YEAST = "instant yeast"
    STARTER = "starter"  # ripe sourdough kept from before, with its own flour and water
    OTHER = "other"  # seeds, raisins, bran: neither flour nor liquid
    PART = "part"  # another part of the recipe


@dataclass(frozen=True, slots=True)
class Composition:
    """Shares by weight, 0..1; what is left over is none of these."""

    flour: float = 0.0
    water: float = 0.0
    salt: float = 0.0
    sugar: float = 0.0
    fat: float = 0.0


# Water, sugar and fat of milk, egg, butter and honey: from memory, food composition tables, good to a few hundredths.
COMPOSITION = {
    IngredientKind.FLOUR: Composition(flour=1.0),
    IngredientKind.WATER: Composition(water=1.0),
    IngredientKind.SALT: Composition(salt=1.0),
    IngredientKind.SUGAR: Composition(sugar=1.0),
    IngredientKind.HONEY: Composition(water=0.17, sugar=0.82),
    IngredientKind.OIL: Composition(fat=1.0),
    IngredientKind.BUTTER: Composition(water=0.16, fat=0.81),
    IngredientKind.MILK: Composition(water=0.88, sugar=0.05, fat=0.035),
    IngredientKind.EGG: Composition(water=0.76, fat=0.10),
}

YEASTS = {
    IngredientKind.FRESH_YEAST: YeastForm.FRESH,
    IngredientKind.ACTIVE_DRY_YEAST: YeastForm.ACTIVE_DRY,
    IngredientKind.INSTANT_YEAST: YeastForm.INSTANT,
}
PERISHABLE = (IngredientKind.EGG, IngredientKind.MILK)

STATED_DOUBT_FRAC = 0.10  # judgement: a cup is filled more or less well even when what it holds is known
DRY_YEAST_G_PER_TSP = 7.0 / 2.25  # 2 1/4 teaspoons are 7 g (culinary reference, seen)
_TSP_PER_CUP = MILLILITRES[Unit.CUP] / MILLILITRES[Unit.TEASPOON]
_DRY_YEAST_G = DRY_YEAST_G_PER_TSP * _TSP_PER_CUP
_DRY_YEAST_CUP_G = (_DRY_YEAST_G, 0.9 * _DRY_YEAST_G, 1.1 * _DRY_YEAST_G)  # its doubt is judgement

CUP_G: dict[IngredientKind, tuple[float, float, float]] = {
    # Likeliest, least, most. All-purpose flour 120 g, spooned cups between 113 and 142 g (culinary reference, seen).
    IngredientKind.FLOUR: (120.0, 113.0, 142.0),
    IngredientKind.SUGAR: (198.0, 188.0, 208.0),  # 198 g, 7 oz (seen); its doubt is judgement
    IngredientKind.INSTANT_YEAST: _DRY_YEAST_CUP_G,
    IngredientKind.ACTIVE_DRY_YEAST: _DRY_YEAST_CUP_G,
    # From memory: table salt 6 g a teaspoon; coarse flakes only half of that.
    IngredientKind.SALT: (6.0 * _TSP_PER_CUP, 3.0 * _TSP_PER_CUP, 6.5 * _TSP_PER_CUP),
    IngredientKind.WATER: (CUP_ML, 0.97 * CUP_ML, 1.03 * CUP_ML),  # 1 g/mL; the doubt is judgement
    IngredientKind.MILK: (1.03 * CUP_ML, 1.0 * CUP_ML, 1.06 * CUP_ML),  # from memory
    IngredientKind.OIL: (0.92 * CUP_ML, 0.90 * CUP_ML, 0.94 * CUP_ML),  # from memory
    IngredientKind.BUTTER: (227.0, 220.0, 234.0),  # from memory: two US sticks
    IngredientKind.HONEY: (1.42 * CUP_ML, 1.37 * CUP_ML, 1.45 * CUP_ML),  # from memory
}
PIECE_G = {IngredientKind.EGG: (50.0, 44.0, 58.0)}  # from memory: a large egg without its shell

# What the name of an ingredient says about its kind; the first that fits counts.
_WORDS: tuple[tuple[str, IngredientKind], ...] = (
    (r"\bfresh yeast\b|\bcompressed yeast\b|\bcake yeast\b", IngredientKind.FRESH_YEAST),
    (r"\bactive[ -]dry\b", IngredientKind.ACTIVE_DRY_YEAST),
    (r"\b(instant|dry|dried) yeast\b", IngredientKind.INSTANT_YEAST),
    (r"\bstarter\b", IngredientKind.STARTER),
    (r"\b(salted )?butter\b", IngredientKind.BUTTER),
    (r"milk\b|\bcream\b|\byogh?urt\b|\bwhey\b", IngredientKind.MILK),
    (r"\begg(s|\b)|\byolks?\b", IngredientKind.EGG),
    (r"\bhoney\b|\bsyrup\b|\bmolasses\b", IngredientKind.HONEY),
    (r"\bsugar\b", IngredientKind.SUGAR),
    (r"\boil\b|\blard\b|\bshortening\b", IngredientKind.OIL),
    (r"\bsalt\b", IngredientKind.SALT),
    (r"\bwater\b", IngredientKind.WATER),
    (r"flour\b|\bsemolina\b|\brye meal\b", IngredientKind.FLOUR),
    (r"\bseeds?\b|\bnuts?\b|\braisins?\b|\bbran\b|\boats?\b|\bflakes\b|\bolives?\b|\bcheese\b", IngredientKind.OTHER),
)


def kind_of(name: str) -> IngredientKind | None:
    """What an ingredient is by its name; None when the name does not say.

    >>> kind_of("strong white flour"), kind_of("buttermilk"), kind_of("magic")
    (<IngredientKind.FLOUR: 'flour'>, <IngredientKind.MILK: 'milk'>, None)
    """
    words = name.casefold()
    return next((kind for pattern, kind in _WORDS if re.search(pattern, words)), None)


def composition(kind: IngredientKind, hydration_pct: float | None = None) -> Composition:
    """What an ingredient is made of. A starter is made of flour and water by its hydration (100 when not said)."""
    if kind is IngredientKind.STARTER:
        water = 1.0 if hydration_pct is None else hydration_pct / 100.0
        return Composition(flour=1.0 / (1.0 + water), water=water / (1.0 + water))
    return COMPOSITION.get(kind, Composition())
