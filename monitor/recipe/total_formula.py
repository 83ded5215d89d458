"""Everything in a dough over all its parts, each name once: for a mill, a label, or whoever weighs for a day."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from monitor.recipe.ingredients import IngredientKind
from monitor.recipe.parts import Ingredient, Part, Recipe

LEAST_FRAC = 1e-9  # less is what sums of shares are off by


@dataclass(frozen=True, slots=True)
class TotalLine:
    """An ingredient over all parts.

    Attributes
    ----------
    name
        Empty when only ``of`` is known: flour, water or salt inside that starter or old dough.
    """

    name: str
    kind: IngredientKind
    of: str
    mass_g: float


def total_formula(recipe: Recipe) -> tuple[TotalLine, ...]:
    """The dough, its parts opened and starters taken apart: flour first, then by weight.

    Water and salt of a starter are counted to the dough's own, and its flour to the flour that it is said to be of.
    """
    found: dict[tuple[str, IngredientKind, str], TotalLine] = {}
    for line in _opened(recipe, recipe.dough, 1.0):
        key = (line.name.casefold(), line.kind, line.of)
        before_g = found[key].mass_g if key in found else 0.0
        found[key] = TotalLine(found.get(key, line).name, line.kind, line.of, before_g + line.mass_g)
    return _sorted(found.values())


def needed(recipes: Iterable[Recipe]) -> tuple[TotalLine, ...]:
    """All that is weighed for several recipes, by name; flour first, then by weight. A starter stays whole."""
    found: dict[tuple[str, IngredientKind], TotalLine] = {}
    for part in (part for recipe in recipes for part in recipe.parts):
        for each in part.ingredients:
            if each.kind is not IngredientKind.PART:
                line = found.get((each.name.casefold(), each.kind), TotalLine(each.name, each.kind, "", 0.0))
                found[each.name.casefold(), each.kind] = replace(line, mass_g=line.mass_g + each.weight.g)
    return _sorted(found.values())


def _sorted(lines: Iterable[TotalLine]) -> tuple[TotalLine, ...]:
    return tuple(sorted(lines, key=lambda line: (line.kind is not IngredientKind.FLOUR, -line.mass_g)))


def _opened(recipe: Recipe, part: Part, share: float) -> Iterator[TotalLine]:
    for each in part.ingredients:
        mass_g = each.weight.g * share
        if each.kind is IngredientKind.PART:
            source = recipe.part(each.name)
            if source.mass_g > 0.0:
                yield from _opened(recipe, source, mass_g / source.mass_g)
        elif each.kind is not IngredientKind.FLOUR and each.composition.flour > 0.0:
            yield from _taken_apart(recipe, each, mass_g)
        elif mass_g > 0.0:
            yield TotalLine(each.name, each.kind, "", mass_g)


def _taken_apart(recipe: Recipe, mixed: Ingredient, mass_g: float) -> Iterator[TotalLine]:
    """Flour, water and salt of a starter, an old dough or a paste; what else is in it goes by its name."""
    made_of = mixed.composition
    for kind, name, frac in (
        (IngredientKind.FLOUR, mixed.flour, made_of.flour),
        (IngredientKind.WATER, _name_of(recipe, IngredientKind.WATER), made_of.water),
        (IngredientKind.SALT, _name_of(recipe, IngredientKind.SALT), made_of.salt),
        (mixed.kind, mixed.name, 1.0 - made_of.flour - made_of.water - made_of.salt),
    ):
        if frac > LEAST_FRAC:
            yield TotalLine(name, kind, "" if name else mixed.name, mass_g * frac)


def _name_of(recipe: Recipe, kind: IngredientKind) -> str:
    """What the recipe calls an ingredient of a kind, the dough before its parts; empty when it has none."""
    lines = (each for part in reversed(recipe.parts) for each in part.ingredients)
    return next((each.name for each in lines if each.kind is kind), "")
