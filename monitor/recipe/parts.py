"""A recipe of any number of parts (preferments, sourdoughs, soakers, the dough) and what they come to altogether."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from math import log2

from monitor.errors import UnfitError
from monitor.recipe.formula import SOURDOUGH_FLOUR_FRAC, YEAST_PER_FRESH, Formula, YeastForm
from monitor.recipe.ingredient_table import row_of
from monitor.recipe.ingredients import PERISHABLE, RIPE, YEASTS, Composition, IngredientKind
from monitor.recipe.measures import FLOUR_PCT, Weight, weighed
from monitor.recipe.method import Bake, MethodStage

RIPE_GROWN_PCT, RIPE_HALVED_AT_PCT = 0.62, 0.17
"""What baker's yeast gains in a preferment until it is ripe, as instant yeast on its flour: so much where next to none
was weighed in, half of that where 0.17 % was. Computed from the growth and the gas by which school times of liquid
preferments are met (``monitor.dough.gassing``): whatever the dose, ripe ones end at 0.5 to 0.7 %."""
KILO_LOSS_PCT, LOSS_PCT_PER_HALVING = 13.0, 1.6
LEAST_LOSS_PCT, MOST_LOSS_PCT = 8.0, 22.0
"""What a loaf of a kilogram of dough loses in the oven, more for each halving, and within which bounds: a fifth of a
small roll. Common practice, no source."""


class PartKind(StrEnum):
    """What a part of a recipe is for."""

    PREFERMENT = "preferment"  # flour, water and a little yeast, liquid or stiff
    SOURDOUGH = "sourdough"
    SOAKER = "soaker"
    DOUGH = "dough"


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One line of a part.

    Attributes
    ----------
    weight
        What it weighs; with its doubt when it was measured by volume.
    written
        The amount in the baker's own words.
    hydration_pct
        Of a starter or old dough: water on its flour; None: as its name says, or as most are. [%]
    flour
        Of a starter or old dough: the flour in it; empty: not said.
    declared
        What the recipe says it is made of; None: as the table of ingredients says.
    """

    name: str
    kind: IngredientKind
    weight: Weight
    written: str = ""
    hydration_pct: float | None = None
    flour: str = ""
    declared: Composition | None = None

    @property
    def composition(self) -> Composition:
        """What it is made of; a part is not looked into."""
        if self.declared is not None:
            return self.declared
        known = row_of(self.name, self.kind)
        if known is None:
            return Composition()
        return (
            known.composition
            if self.hydration_pct is None
            else replace(known, hydration_pct=self.hydration_pct).composition
        )

    @property
    def holds(self) -> Composition:
        """What is in it whether a baker counts it or not: the water of olives and of yeast too."""
        known = None if self.declared is not None else row_of(self.name, self.kind)
        if known is None or known.row.has_own_fat or self.composition.flour > 0.0:
            return self.composition
        return known.row.own

    @property
    def flour_g(self) -> float:
        """The flour in it, a starter's too; a part's own is not looked into. [g]"""
        return self.weight.g * self.composition.flour


@dataclass(frozen=True, slots=True)
class Part:
    """What is mixed together at one time; an ingredient of kind ``PART`` names an earlier part."""

    name: str
    kind: PartKind
    ingredients: tuple[Ingredient, ...]

    @property
    def mass_g(self) -> float:
        """All of it. [g]"""
        return sum(each.weight.g for each in self.ingredients)

    @property
    def feed(self) -> tuple[float, float] | None:
        """Flour and water to one of ripe starter, "1:5:5"; None when it is not just these three."""
        mass_g = dict.fromkeys((IngredientKind.STARTER, IngredientKind.FLOUR, IngredientKind.WATER), 0.0)
        for each in self.ingredients:
            if each.kind not in mass_g:
                return None
            mass_g[each.kind] += each.weight.g
        starter_g, flour_g, water_g = mass_g.values()
        return (flour_g / starter_g, water_g / starter_g) if starter_g > 0.0 else None

    @property
    def own_flour_g(self) -> float:
        """The flour weighed into this part, the base of its percentages. [g]"""
        return sum(each.weight.g for each in self.ingredients if each.kind is IngredientKind.FLOUR)


@dataclass(frozen=True, slots=True)
class Contents:
    """What a part is made of once the parts inside it are opened. [g]

    Attributes
    ----------
    flour_g, water_g, salt_g, sugar_g, fat_g
        All there is, whichever ingredient it came with: the water of milk is water.
    yeast_g
        Baker's yeast of every form as instant yeast.
    osmotolerant_g
        Of it: what sugar hardly slows.
    prefermented_g
        Of the flour: what came in through preferments, sourdoughs and starters.
    sour_flour_g
        Of the flour: what came in through sourdoughs and starters.
    grown_yeast_g
        What yeast gained in preferments, besides what was weighed.
    malt_g
        With its enzymes alive.
    """

    mass_g: float = 0.0
    flour_g: float = 0.0
    water_g: float = 0.0
    salt_g: float = 0.0
    sugar_g: float = 0.0
    fat_g: float = 0.0
    yeast_g: float = 0.0
    osmotolerant_g: float = 0.0
    prefermented_g: float = 0.0
    sour_flour_g: float = 0.0
    grown_yeast_g: float = 0.0
    malt_g: float = 0.0

    def plus(self, other: "Contents", share: float = 1.0) -> "Contents":
        """This and a share of another."""
        names = Contents.__dataclass_fields__
        return Contents(**{name: getattr(self, name) + share * getattr(other, name) for name in names})

    def pct(self, mass_g: float) -> float:
        """A weight in baker's percent of all flour. [%]  0 without any flour."""
        return 100.0 * mass_g / self.flour_g if self.flour_g > 0.0 else 0.0

    @property
    def hydration_pct(self) -> float:
        """All water on all flour. [%]"""
        return self.pct(self.water_g)

    @property
    def dough_yield(self) -> float:
        """Flour and water to 100 of flour: the *Teigausbeute* of German formulas."""
        return FLOUR_PCT + self.hydration_pct


def _own(part: Part) -> Contents:
    """What the ingredients of a part bring by themselves, other parts left out."""
    found = Contents()
    for each in part.ingredients:
        if each.kind is IngredientKind.PART:
            continue
        share, mass_g = each.composition, each.weight.g
        flour_g = mass_g * share.flour
        found = found.plus(
            Contents(
                mass_g=mass_g,
                flour_g=flour_g,
                water_g=mass_g * share.water,
                salt_g=mass_g * share.salt,
                sugar_g=mass_g * share.sugar,
                fat_g=mass_g * share.fat,
                yeast_g=_as_instant_g(each),
                osmotolerant_g=_as_instant_g(each) if each.kind is IngredientKind.OSMOTOLERANT_YEAST else 0.0,
                prefermented_g=flour_g if each.kind in RIPE else 0.0,
                sour_flour_g=flour_g if each.kind is IngredientKind.STARTER else 0.0,
                grown_yeast_g=flour_g * RIPE_GROWN_PCT / 100.0 if each.kind is IngredientKind.OLD_DOUGH else 0.0,
                malt_g=mass_g if each.kind is IngredientKind.MALT else 0.0,
            )
        )
    return found


def _grown_g(preferment: Contents) -> float:
    """What the yeast of a preferment gains until it is ripe, as instant yeast. [g]"""
    if preferment.yeast_g <= 0.0 or preferment.flour_g <= 0.0:
        return 0.0
    dose_pct = 100.0 * (preferment.yeast_g + preferment.grown_yeast_g) / preferment.flour_g
    gained_pct = RIPE_GROWN_PCT / (1.0 + dose_pct / RIPE_HALVED_AT_PCT)
    return preferment.grown_yeast_g + preferment.flour_g * gained_pct / 100.0


def _as_instant_g(ingredient: Ingredient) -> float:
    form = YEASTS.get(ingredient.kind)
    if form is None:
        return 0.0
    return ingredient.weight.g / YEAST_PER_FRESH[form] * YEAST_PER_FRESH[YeastForm.INSTANT]


@dataclass(frozen=True, slots=True)
class Recipe:
    """A bread from its first preferment to the oven.

    Attributes
    ----------
    name
        Also what its batches learn under.
    parts
        In the order they are mixed; the last is the dough.
    pieces, piece_g
        How many pieces it is divided into, and what each should weigh [g]; None: the dough divided by the pieces.
    method
        The stages it goes through, in order; empty when the file is a formula only.
    bake
        None when the file does not say.
    dividing_loss_pct
        Of the dough, what clings to tub, scraper and bench. [%]
    """

    name: str
    parts: tuple[Part, ...]
    pieces: int = 1
    piece_g: float | None = None
    method: tuple[MethodStage, ...] = ()
    bake: Bake | None = None
    note: str = ""
    dividing_loss_pct: float = 0.0

    @property
    def dough(self) -> Part:
        """The last part, which is baked."""
        return self.parts[-1]

    def part(self, name: str) -> Part:
        """A part by its name.

        Raises
        ------
        ValueError
            When there is none.
        """
        for each in self.parts:
            if each.name == name:
                return each
        raise UnfitError(
            "{name} has no part {part!r}; there are {parts}",
            name=self.name,
            part=name,
            parts=", ".join(each.name for each in self.parts),
        )

    def contents(self, part: Part) -> Contents:
        """What a part is made of, the parts inside it opened: each gives as large a share as is taken of it."""
        found = _own(part)
        if part.kind is PartKind.SOURDOUGH:
            found = replace(found, prefermented_g=found.flour_g, sour_flour_g=found.flour_g)
        for each in part.ingredients:
            if each.kind is not IngredientKind.PART:
                continue
            source = self.part(each.name)
            if source.mass_g <= 0.0:
                continue
            inside = self.contents(source)
            if source.kind in (PartKind.PREFERMENT, PartKind.SOURDOUGH):
                inside = replace(inside, prefermented_g=inside.flour_g, grown_yeast_g=_grown_g(inside))
            found = found.plus(inside, each.weight.g / source.mass_g)
        return found

    @property
    def total(self) -> Contents:
        """What the dough is made of, everything opened."""
        return self.contents(self.dough)

    def uses_of(self, part: Part) -> Iterator[tuple[Part, Ingredient]]:
        """Where a part is used, and the line that says how much of it."""
        for user in self.parts:
            for each in user.ingredients:
                if each.kind is IngredientKind.PART and each.name == part.name:
                    yield user, each

    def perishables(self, part: Part) -> tuple[str, ...]:
        """Names of egg, milk and the like in a part or in what goes into it."""
        found: list[str] = []
        for each in part.ingredients:
            if each.kind is IngredientKind.PART:
                found += self.perishables(self.part(each.name))
            elif each.kind in PERISHABLE:
                found.append(each.name)
        return tuple(dict.fromkeys(found))

    @property
    def each_g(self) -> float:
        """What one piece weighs, as dough. [g]"""
        return self.divided_g / self.pieces if self.piece_g is None else self.piece_g

    @property
    def divided_g(self) -> float:
        """The dough that there is to divide, after what clings. [g]"""
        return self.dough.mass_g * (1.0 - self.dividing_loss_pct / 100.0)

    @property
    def bake_loss_pct(self) -> float:
        """What a piece loses in the oven: as the recipe says, or as most breads of its weight. [%]"""
        if self.bake is not None and self.bake.loss_pct is not None:
            return self.bake.loss_pct
        return usual_bake_loss_pct(self.each_g)

    @property
    def baked_g(self) -> float:
        """What one piece weighs out of the oven. [g]"""
        return self.each_g * (1.0 - self.bake_loss_pct / 100.0)

    def formula_of(self, part: Part) -> Formula | None:
        """A part as the estimator takes it; None when there is no flour in it.

        Sourdough is counted as equal parts flour and water by its flour, and yeast out of a preferment with what it has
        grown there.
        """
        found = self.contents(part)
        sour_flour_g = 0.0 if part.kind is PartKind.SOURDOUGH else found.sour_flour_g
        starter_flour_g = sum(each.flour_g for each in part.ingredients if each.kind is IngredientKind.STARTER)
        if part.kind is PartKind.SOURDOUGH:  # being built: only what is ripe already leavens it
            sour_flour_g = starter_flour_g
        flour_g = found.flour_g - sour_flour_g
        if flour_g <= 0.0:
            return None
        return Formula(
            flour_g=flour_g,
            water_g=max(found.water_g - sour_flour_g * (1.0 / SOURDOUGH_FLOUR_FRAC - 1.0), 0.0),
            salt_g=found.salt_g,
            sugar_g=found.sugar_g,
            fat_g=found.fat_g,
            instant_yeast_g=found.yeast_g - found.osmotolerant_g + found.grown_yeast_g,
            sourdough_g=sour_flour_g / SOURDOUGH_FLOUR_FRAC,
            osmotolerant_yeast_g=found.osmotolerant_g,
        )


def scaled(recipe: Recipe, factor: float) -> Recipe:
    """So many times the recipe, in pieces of about the weight they had; amounts are weights then.

    Raises
    ------
    ValueError
        When the factor is not above 0.
    """
    if not 0.0 < factor < float("inf"):
        raise UnfitError("a recipe cannot be made {factor} times: give a weight or a number above 0", factor=factor)

    def bigger(ingredient: Ingredient) -> Ingredient:
        return replace(ingredient, weight=ingredient.weight.times(factor), written="")

    parts = tuple(replace(part, ingredients=tuple(map(bigger, part.ingredients))) for part in recipe.parts)
    return replace(recipe, parts=parts, pieces=max(1, round(recipe.pieces * factor)))


def scaled_to_flour(recipe: Recipe, flour_g: float) -> Recipe:
    """The recipe for so much flour altogether, that of preferments and starters counted in."""
    if recipe.total.flour_g <= 0.0:
        raise UnfitError("{name} has no flour to scale by", name=recipe.name)
    return scaled(recipe, flour_g / recipe.total.flour_g)


def scaled_to_dough(recipe: Recipe, dough_g: float) -> Recipe:
    """The recipe for so much dough."""
    return scaled(recipe, dough_g / recipe.dough.mass_g)


def scaled_to_pieces(recipe: Recipe, pieces: int, piece_g: float) -> Recipe:
    """The recipe for so many pieces of a weight as dough, and for what clings when it is divided."""
    dough_g = pieces * piece_g / (1.0 - recipe.dividing_loss_pct / 100.0)
    return replace(scaled_to_dough(recipe, dough_g), pieces=pieces, piece_g=piece_g)


def usual_bake_loss_pct(piece_g: float) -> float:
    """What most breads of a weight as dough [g] lose in the oven. [%]

    >>> [round(usual_bake_loss_pct(g), 1) for g in (1000.0, 500.0, 60.0)]
    [13.0, 14.6, 19.5]
    """
    if piece_g <= 0.0:
        return MOST_LOSS_PCT
    usual = KILO_LOSS_PCT - LOSS_PCT_PER_HALVING * log2(piece_g / 1000.0)
    return min(max(usual, LEAST_LOSS_PCT), MOST_LOSS_PCT)


def scaled_to_baked(recipe: Recipe, pieces: int, baked_g: float) -> Recipe:
    """The recipe for so many pieces of a weight out of the oven."""
    piece_g = baked_g
    for _ in range(20):  # the loss goes by the weight of the dough, which it decides: each round is a tenth as far off
        piece_g = baked_g / (1.0 - replace(recipe, piece_g=piece_g).bake_loss_pct / 100.0)
    return scaled_to_pieces(recipe, pieces, piece_g)


def scaled_to_preferment(recipe: Recipe, part: Part, at_hand_g: float) -> Recipe:
    """The recipe that uses up what there is of a preferment or sourdough.

    Raises
    ------
    ValueError
        When the recipe uses none of it.
    """
    used_g = sum(line.weight.g for _, line in recipe.uses_of(part))
    if used_g <= 0.0:
        raise UnfitError("{name} uses none of its {part}: nothing to scale by", name=recipe.name, part=part.name)
    return scaled(recipe, at_hand_g / used_g)


def with_yeast(recipe: Recipe, form: YeastForm) -> Recipe:
    """The recipe with all its baker's yeast in another form, doing the same work."""
    want = next(kind for kind, each in YEASTS.items() if each is form)

    def exchanged(ingredient: Ingredient) -> Ingredient:
        have = YEASTS.get(ingredient.kind)
        if have is None or have is form:
            return ingredient
        factor = YEAST_PER_FRESH[form] / YEAST_PER_FRESH[have]
        return Ingredient(str(want), want, ingredient.weight.times(factor))

    return _changed(recipe, exchanged)


def _changed(recipe: Recipe, change: Callable[[Ingredient], Ingredient]) -> Recipe:
    """The recipe with its ingredients changed one by one; of a part that weighs more now the same share is used."""
    factors: dict[str, float] = {}

    def line(ingredient: Ingredient) -> Ingredient:
        if ingredient.kind is IngredientKind.PART:
            return replace(ingredient, weight=ingredient.weight.times(factors.get(ingredient.name, 1.0)))
        return change(ingredient)

    parts = []
    for part in recipe.parts:
        new = replace(part, ingredients=tuple(map(line, part.ingredients)))
        factors[part.name] = new.mass_g / part.mass_g
        parts.append(new)
    return replace(recipe, parts=tuple(parts))


def with_more_yeast(recipe: Recipe, factor: float) -> Recipe:
    """The recipe with so many times the baker's yeast in the dough itself or, when there is none, in what goes into it.

    A recipe without baker's yeast stays as it is.
    """
    in_dough = [each for each in recipe.dough.ingredients if each.kind in YEASTS]

    def more(ingredient: Ingredient) -> Ingredient:
        if ingredient.kind not in YEASTS or (in_dough and ingredient not in in_dough):
            return ingredient
        return replace(ingredient, weight=weighed(ingredient.weight.g * factor), written="")

    return _changed(recipe, more)
