"""How warm a dough's water must be, from the masses and temperatures of everything in it: heat in is heat out.

Specific heats of water, flour, salt, fat and sugar: from memory, textbooks of food engineering; an empirical fit for
flour carries 2 to 4 % (seen). The heat that flour gives off when it takes up water is part of the friction, which is
found by difference: it is never added by itself. Bowl and air are left out, and so part of the friction too.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum, auto

from monitor.recipe.ingredients import PERISHABLE, RIPE, Composition, IngredientKind
from monitor.recipe.method import REFRIGERATOR
from monitor.recipe.mixing import Friction
from monitor.recipe.parts import Ingredient, Part, PartKind, Recipe

WATER_KJ_KG_K, FLOUR_KJ_KG_K, SALT_KJ_KG_K, FAT_KJ_KG_K, SUGAR_KJ_KG_K = 4.18, 1.8, 0.85, 2.0, 1.25
REST_KJ_KG_K = 1.43  # computed: what flour of 13.5 % water comes to without its water
MELTING_KJ_KG = 335.0  # of ice (144 Btu/lb, trade page, seen)
WARMEST_WATER_C = 43.0  # trade figures (seen): dry yeast is woken at 38 to 46 C; more harms yeast that meets it
USUAL_TAP_C = 15.0  # judgement: cold water out of the tap
LIQUID_WATER_FRAC = 0.8  # judgement: milk that holds so much can be warmed in place of water
COLD_FROM_FRAC = 0.1  # judgement: milk and eggs with more water than this, not their powders, come out of the cold
USUAL_MIX_MIN = 8.0  # a handbook's example (seen)
CHART_C = (16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0)
COLD = (*PERISHABLE, IngredientKind.BUTTER, IngredientKind.FRESH_YEAST)  # kept in the refrigerator


@dataclass(frozen=True, slots=True)
class Share:
    """Something that goes into a dough: its mass [g], specific heat [kJ/(kg K)] and temperature [C]."""

    name: str
    mass_g: float
    kj_kg_k: float
    temp_c: float

    @property
    def j_k(self) -> float:
        """Heat that warms it by a degree. [J/K]"""
        return self.mass_g * self.kj_kg_k


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known of temperatures before mixing. [C]

    Attributes
    ----------
    flour_c
        Of flour; whatever else stands in the room has ``room_c``.
    cold_c
        Of the refrigerator: for milk, egg, butter and fresh yeast, and for parts that stood there last.
    preferment_c
        Of every preferment, sourdough, starter and old dough; None: by where it stood.
    by_name
        Of an ingredient or part by its name, before all else.
    tap_c
        Of the coldest water at hand.
    """

    flour_c: float
    room_c: float
    cold_c: float
    preferment_c: float | None = None
    by_name: Mapping[str, float] = field(default_factory=dict)
    tap_c: float = USUAL_TAP_C


class Impossible(Enum):
    """Why no water will do."""

    NO_LIQUID = auto()
    TOO_HOT = auto()
    TOO_COLD = auto()


@dataclass(frozen=True, slots=True)
class WaterNeeded:
    """The water, milk or the like that brings a part to its temperature.

    Attributes
    ----------
    temp_c
        How warm all of it must be. [C]
    ice_g
        Of it, ice at 0 C, when it must be colder than the tap; the rest comes at ``tap_c``. [g]
    impossible
        Why it cannot be; then nothing of this is to be done.
    reached_c
        What the dough comes to with the warmest water allowed, or with nothing but ice. [C]
    remedy, remedy_c
        When it is impossible: the coldest or warmest thing in it, and how warm that must be instead. [C]
    """

    name: str
    mass_g: float
    temp_c: float
    tap_c: float
    dough_c: float
    friction_c: float
    others: tuple[Share, ...]
    ice_g: float = 0.0
    impossible: Impossible | None = None
    reached_c: float = 0.0
    remedy: str = ""
    remedy_c: float = 0.0


def specific_heat_kj_kg_k(made_of: Composition) -> float:
    """Specific heat of an ingredient by what it is made of. [kJ/(kg K)]

    >>> round(specific_heat_kj_kg_k(Composition(flour=0.5, water=0.5)), 2)
    2.99
    """
    return (
        WATER_KJ_KG_K * made_of.water
        + FLOUR_KJ_KG_K * made_of.flour
        + SALT_KJ_KG_K * made_of.salt
        + FAT_KJ_KG_K * made_of.fat
        + SUGAR_KJ_KG_K * made_of.sugar
        + REST_KJ_KG_K * made_of.rest
    )


def water_c(*, dough_c: float, friction_c: float, others: Sequence[Share], water_j_k: float) -> float:
    """Temperature of the water of a dough of ``dough_c`` after mixing has warmed it by ``friction_c``. [C]

    Examples
    --------
    >>> rest = [Share("flour", 1000, 1.8, 28), Share("salt", 20, 0.85, 28)]
    >>> round(water_c(dough_c=24, friction_c=8, others=rest, water_j_k=650 * 4.18), 1)
    8.0
    """
    all_j_k = water_j_k + sum(each.j_k for each in others)
    return ((dough_c - friction_c) * all_j_k - sum(each.j_k * each.temp_c for each in others)) / water_j_k


def dough_c(*, shares: Sequence[Share], friction_c: float) -> float:
    """What a dough comes to from everything in it, water too: the inverse of :func:`water_c`. [C]"""
    return sum(each.j_k * each.temp_c for each in shares) / sum(each.j_k for each in shares) + friction_c


def ice_g(mass_g: float, tap_c: float, wanted_c: float) -> float:
    """Ice at 0 C that must stand for part of water out of the tap, so that all of it counts as ``wanted_c``. [g]

    >>> round(ice_g(40_000, 20.0, 10.0)), round(ice_g(650, 20.0, 8.0))
    (3994, 78)
    """
    return max(mass_g * (tap_c - wanted_c) / (tap_c + MELTING_KJ_KG / WATER_KJ_KG_K), 0.0)


def made_of_part(recipe: Recipe, part: Part) -> Composition:
    """What a part of a recipe is made of, the parts in it opened."""
    found = recipe.contents(part)
    if found.mass_g <= 0.0:
        return Composition()
    shares = (found.flour_g, found.water_g, found.salt_g, found.sugar_g, found.fat_g)
    return Composition(*(each / found.mass_g for each in shares))


def liquid_of(part: Part) -> Ingredient | None:
    """What can be made warmer or colder: the water, or else the milk; the largest."""
    some = [each for each in part.ingredients if each.weight.g > 0.0]
    water = [each for each in some if each.kind is IngredientKind.WATER]
    milk = [each for each in some if each.kind is IngredientKind.MILK and each.composition.water >= LIQUID_WATER_FRAC]
    return max(water or milk, key=lambda each: each.weight.g, default=None)


def shares_of(recipe: Recipe, part: Part, around: Surroundings, leave_out: Ingredient | None = None) -> list[Share]:
    """Everything that goes into a part, with its temperature; what weighs nothing is left out."""
    return [
        Share(
            each.name,
            each.weight.g,
            specific_heat_kj_kg_k(
                made_of_part(recipe, recipe.part(each.name)) if each.kind is IngredientKind.PART else each.holds
            ),
            _temp_c(each, recipe, around),
        )
        for each in part.ingredients
        if each is not leave_out and each.weight.g > 0.0
    ]


def _temp_c(ingredient: Ingredient, recipe: Recipe, around: Surroundings) -> float:
    said = {name.casefold(): temp_c for name, temp_c in around.by_name.items()}.get(ingredient.name.casefold())
    if said is not None:
        return said
    if ingredient.kind is IngredientKind.PART:
        source = recipe.part(ingredient.name)
        is_fermented = source.kind in (PartKind.PREFERMENT, PartKind.SOURDOUGH)
        if around.preferment_c is not None and is_fermented:
            return around.preferment_c
        stood = [stage.place for stage in recipe.method if stage.part == source.name]
        return around.cold_c if stood[-1:] == [REFRIGERATOR] else around.room_c
    if ingredient.kind in RIPE:
        return around.room_c if around.preferment_c is None else around.preferment_c
    is_dry = ingredient.kind in PERISHABLE and ingredient.composition.water < COLD_FROM_FRAC
    if ingredient.kind in COLD and not is_dry:
        return around.cold_c
    return around.flour_c if ingredient.kind is IngredientKind.FLOUR else around.room_c


def mixed_to_c(recipe: Recipe, part: Part) -> float | None:
    """How warm a part is to be when it has been mixed, by the recipe's method; None when it does not say. [C]"""
    return next(
        (stage.dough_c for stage in recipe.method if stage.part == part.name and stage.dough_c is not None), None
    )


def mixer_min(recipe: Recipe, part: Part) -> float:
    """How long a part is in the mixer, by the recipe's method, or as is usual. [min]"""
    return next(
        (stage.mixer_min for stage in recipe.method if stage.part == part.name and stage.mixer_min), USUAL_MIX_MIN
    )


def heat_shares(recipe: Recipe, part: Part) -> tuple[float, float]:
    """Of the heat that warms a part by a degree: what its water takes, and its preferments. [-, -]"""
    liquid = liquid_of(part)
    at_rest = shares_of(recipe, part, Surroundings(flour_c=0.0, room_c=0.0, cold_c=0.0, preferment_c=1.0))
    all_j_k = sum(each.j_k for each in at_rest) or 1.0
    water_j_k = sum(each.j_k for each in at_rest if liquid is not None and each.name == liquid.name)
    return water_j_k / all_j_k, sum(each.j_k for each in at_rest if each.temp_c == 1.0) / all_j_k


def water_chart(
    recipe: Recipe, friction: Friction, cold_c: float
) -> list[tuple[Part, list[tuple[float, WaterNeeded]]]]:
    """For each part whose warmth the method says: its water by how warm flour and room are. [C]"""
    found = []
    for part in recipe.parts:
        wanted_c = mixed_to_c(recipe, part)
        if wanted_c is None or liquid_of(part) is None:
            continue
        rise_c, _ = friction.of(mixer_min(recipe, part))
        rows = [
            (air_c, water_needed(recipe, part, wanted_c=wanted_c, friction_c=rise_c,
                                 around=Surroundings(flour_c=air_c, room_c=air_c, cold_c=cold_c)))
            for air_c in CHART_C
        ]  # fmt: skip
        found.append((part, rows))
    return found


def water_needed(
    recipe: Recipe, part: Part, *, wanted_c: float, friction_c: float, around: Surroundings
) -> WaterNeeded:
    """How warm the water of a part must be, and how much of it ice, for a dough of ``wanted_c``; or why none does."""
    liquid = liquid_of(part)
    others = shares_of(recipe, part, around, leave_out=liquid)
    if liquid is None:
        reached_c = dough_c(shares=others, friction_c=friction_c) if others else around.room_c
        empty = WaterNeeded("", 0.0, reached_c, around.tap_c, wanted_c, friction_c, tuple(others))
        return replace(empty, impossible=Impossible.NO_LIQUID, reached_c=reached_c)
    kj_kg_k, mass_g = specific_heat_kj_kg_k(liquid.composition), liquid.weight.g
    needed_c = water_c(dough_c=wanted_c, friction_c=friction_c, others=others, water_j_k=mass_g * kj_kg_k)
    found = WaterNeeded(liquid.name, mass_g, needed_c, around.tap_c, wanted_c, friction_c, tuple(others))
    can_be_ice = liquid.kind is IngredientKind.WATER
    coldest_c = -MELTING_KJ_KG / WATER_KJ_KG_K if can_be_ice else 0.0  # ice counts as water that much colder
    if needed_c > WARMEST_WATER_C:
        return _impossible(found, Impossible.TOO_HOT, WARMEST_WATER_C, kj_kg_k, around)
    if needed_c < coldest_c:
        return _impossible(found, Impossible.TOO_COLD, coldest_c, kj_kg_k, around)
    return replace(found, ice_g=ice_g(mass_g, around.tap_c, needed_c)) if can_be_ice else found


def _impossible(
    found: WaterNeeded, why: Impossible, limit_c: float, kj_kg_k: float, around: Surroundings
) -> WaterNeeded:
    """What the limit comes to, and how warm the one thing most to blame must be for the limit to do."""
    at_limit = Share(found.name, found.mass_g, kj_kg_k, limit_c)
    reached_c = dough_c(shares=(*found.others, at_limit), friction_c=found.friction_c)
    sign = 1.0 if why is Impossible.TOO_HOT else -1.0
    blamed = max(found.others, key=lambda each: sign * each.j_k * (found.dough_c - each.temp_c), default=at_limit)
    remedy_c = blamed.temp_c + (found.temp_c - limit_c) * at_limit.j_k / blamed.j_k
    is_to_be_had = around.cold_c <= remedy_c <= max(around.room_c, found.dough_c)
    return replace(
        found,
        impossible=why,
        reached_c=reached_c,
        remedy=blamed.name if is_to_be_had else "",
        remedy_c=remedy_c if is_to_be_had else 0.0,
    )
