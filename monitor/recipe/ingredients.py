"""What goes into a dough: kinds of ingredients, what each is made of, and what a cup of it weighs."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.recipe.formula import YeastForm
from monitor.recipe.measures import CUP_ML, MILLILITRES, Unit


class IngredientKind(StrEnum):
    """What an ingredient is, as far as a dough cares."""

    FLOUR = "flour"  # meal, semolina and starch too
    WATER = "water"
    SALT = "salt"
    SUGAR = "sugar"
    HONEY = "honey"  # and syrups
    OIL = "oil"  # and other fat without water
    BUTTER = "butter"  # and margarine
    MILK = "milk"  # and cream, buttermilk, yoghurt, quark, their powders
    EGG = "egg"
    FRESH_YEAST = "fresh yeast"
    ACTIVE_DRY_YEAST = "active dry yeast"
    INSTANT_YEAST = "instant yeast"
    OSMOTOLERANT_YEAST = "osmotolerant yeast"
    STARTER = "starter"  # ripe sourdough kept from before, with its own flour and water
    OLD_DOUGH = "old dough"  # and ripe preferments kept from before: baker's yeast, with its own flour and water
    MALT = "malt"  # with its enzymes alive
    OTHER = "other"  # seeds, fruit, beer: what it is made of, the table of ingredients or the recipe says
    PART = "part"  # another part of the recipe


@dataclass(frozen=True, slots=True)
class Composition:
    """Shares by weight, 0..1; what is left over is none of these.

    Flour counts as flour throughout: bakers leave its own water, fat and sugar out of their percentages.
    """

    flour: float = 0.0
    water: float = 0.0
    salt: float = 0.0
    sugar: float = 0.0
    fat: float = 0.0

    @property
    def rest(self) -> float:
        """What is none of these: protein, starch, fibre outside the flour. [-]"""
        return max(1.0 - self.flour - self.water - self.salt - self.sugar - self.fat, 0.0)


YEASTS = {
    IngredientKind.FRESH_YEAST: YeastForm.FRESH,
    IngredientKind.ACTIVE_DRY_YEAST: YeastForm.ACTIVE_DRY,
    IngredientKind.INSTANT_YEAST: YeastForm.INSTANT,
    IngredientKind.OSMOTOLERANT_YEAST: YeastForm.OSMOTOLERANT,
}
RIPE = (IngredientKind.STARTER, IngredientKind.OLD_DOUGH)  # fermented before, with flour and water of their own
PERISHABLE = (IngredientKind.EGG, IngredientKind.MILK)

STATED_DOUBT_FRAC = 0.10  # judgement: a cup is filled more or less well even when what it holds is known
PIECE_DOUBT_FRAC = 0.14  # judgement: an egg without its shell weighs 44 to 58 g (from memory)
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
    IngredientKind.OSMOTOLERANT_YEAST: _DRY_YEAST_CUP_G,
    # From memory: table salt 6 g a teaspoon; coarse flakes only half of that.
    IngredientKind.SALT: (6.0 * _TSP_PER_CUP, 3.0 * _TSP_PER_CUP, 6.5 * _TSP_PER_CUP),
    IngredientKind.WATER: (CUP_ML, 0.97 * CUP_ML, 1.03 * CUP_ML),  # 1 g/mL; the doubt is judgement
    IngredientKind.MILK: (1.03 * CUP_ML, 1.0 * CUP_ML, 1.06 * CUP_ML),  # from memory
    IngredientKind.OIL: (0.92 * CUP_ML, 0.90 * CUP_ML, 0.94 * CUP_ML),  # from memory
    IngredientKind.BUTTER: (227.0, 220.0, 234.0),  # from memory: two US sticks
    IngredientKind.HONEY: (1.42 * CUP_ML, 1.37 * CUP_ML, 1.45 * CUP_ML),  # from memory
}
