"""What does not add up in a recipe: said, never mended by itself."""

from collections.abc import Iterator

from monitor.recipe.ingredients import PERISHABLE, YEASTS, Kind
from monitor.recipe.parts import Part, PartKind, Recipe

# judgement, from common practice without a source: outside these a slip of the pen is likelier than a bread
SALT_PCT = (1.0, 3.0)
HYDRATION_PCT = (50.0, 100.0)
LEAST_PART_HYDRATION_PCT = 40.0  # a stiff preferment
MOST_PART_HYDRATION_PCT = 150.0  # a liquid one
MOST_YEAST_PCT = 3.0  # instant, on all flour
MUCH_SUGAR_PCT = 10.0
MOST_PREFERMENTED_PCT = 60.0
SPARE_FRAC = 0.05  # a preferment clings to its tub: so much may be left over, or be short, without a word
DOUBT_FRAC = 0.05  # a weight less sure than this is told


def what_does_not_add_up(recipe: Recipe) -> tuple[str, ...]:
    """Everything in a recipe that cannot be, or hardly can, one sentence each; empty when it adds up."""
    return (*_parts(recipe), *_whole(recipe), *_pieces(recipe), *_doubts(recipe))


def _parts(recipe: Recipe) -> Iterator[str]:
    for part in recipe.parts:
        used_g = sum(line.weight.g for _, line in recipe.uses_of(part))
        if part is not recipe.dough:
            if used_g == 0.0:
                yield f"{part.name} is made and nowhere used"
            elif used_g > part.mass_g * (1.0 + SPARE_FRAC):
                yield f"{part.name}: {used_g:.0f} g are used and only {part.mass_g:.0f} g are made"
            elif used_g < part.mass_g * (1.0 - SPARE_FRAC):
                yield f"{part.name}: {part.mass_g - used_g:.0f} g of {part.mass_g:.0f} g are left over"
        yield from _leaven(part, recipe)
        contents = recipe.contents(part)
        if part.kind in (PartKind.PREFERMENT, PartKind.SOURDOUGH) and contents.flour_g > 0.0:
            water_pct = contents.hydration_pct
            if not LEAST_PART_HYDRATION_PCT <= water_pct <= MOST_PART_HYDRATION_PCT:
                yield f"{part.name}: water is {water_pct:.0f} % of its flour, which is neither a stiff nor a liquid one"


def _leaven(part: Part, recipe: Recipe) -> Iterator[str]:
    """Whether what should ferment has something that makes it."""
    if part.kind is PartKind.SOAKER:
        return
    found = recipe.contents(part)
    if found.flour_g <= 0.0:
        yield f"{part.name} has no flour"
    elif found.yeast_g == 0.0 and found.sour_flour_g == 0.0:
        yield f"{part.name} has nothing that leavens it: no yeast, no starter, no sourdough"
    elif part.kind is PartKind.SOURDOUGH and not any(
        each.kind in (Kind.STARTER, Kind.PART) for each in part.ingredients
    ):
        yield f"{part.name} is a sourdough without a ripe starter in it"


def _whole(recipe: Recipe) -> Iterator[str]:
    total = recipe.total
    if total.flour_g <= 0.0:
        return
    salt_pct, water_pct, yeast_pct = total.pct(total.salt_g), total.hydration_pct, total.pct(total.yeast_g)
    if total.salt_g == 0.0:
        yield "there is no salt in it"
    elif not SALT_PCT[0] <= salt_pct <= SALT_PCT[1]:
        yield f"salt is {salt_pct:.1f} % of all flour; {SALT_PCT[0]:g} to {SALT_PCT[1]:g} % is usual"
    if not HYDRATION_PCT[0] <= water_pct <= HYDRATION_PCT[1]:
        low, high = HYDRATION_PCT
        yield f"water is {water_pct:.0f} % of all flour, preferments counted in; {low:g} to {high:g} % is usual"
    if yeast_pct > MOST_YEAST_PCT:
        yield f"yeast is {yeast_pct:.1f} % of all flour as instant yeast; more than {MOST_YEAST_PCT:g} % is unusual"
    sugar_pct = total.pct(total.sugar_g)
    if sugar_pct > MUCH_SUGAR_PCT:
        yield f"sugar is {sugar_pct:.0f} % of all flour: ordinary yeast slows down, an osmotolerant one does not"
    prefermented_pct = total.pct(total.prefermented_g)
    if prefermented_pct > MOST_PREFERMENTED_PCT:
        yield f"{prefermented_pct:.0f} % of the flour is prefermented; more than {MOST_PREFERMENTED_PCT:g} % is unusual"


def _pieces(recipe: Recipe) -> Iterator[str]:
    if recipe.piece_g is None:
        return
    wanted_g, made_g = recipe.pieces * recipe.piece_g, recipe.dough.mass_g
    if wanted_g > made_g * 1.005:
        yield f"{recipe.pieces} pieces of {recipe.piece_g:.0f} g need {wanted_g:.0f} g and the dough is {made_g:.0f} g"
    elif wanted_g < made_g * (1.0 - SPARE_FRAC):
        yield f"{made_g - wanted_g:.0f} g of dough are left over after {recipe.pieces} pieces of {recipe.piece_g:.0f} g"


def _doubts(recipe: Recipe) -> Iterator[str]:
    for part in recipe.parts:
        for each in part.ingredients:
            weight = each.weight
            if weight.high_g - weight.low_g > 2.0 * DOUBT_FRAC * weight.g:
                kind = "" if each.kind not in YEASTS else ", and yeast sets the pace"
                yield (
                    f"{part.name}: {each.written} of {each.name} is {weight.low_g:.4g} to {weight.high_g:.4g} g; "
                    f"counted as {weight.g:.4g} g{kind}. Weigh it"
                )


def perishables(recipe: Recipe, part: Part) -> tuple[str, ...]:
    """Names of egg, milk and the like in a part or in what goes into it."""
    found: list[str] = []
    for each in part.ingredients:
        if each.kind is Kind.PART:
            found += perishables(recipe, recipe.part(each.name))
        elif each.kind in PERISHABLE:
            found.append(each.name)
    return tuple(dict.fromkeys(found))
