"""What does not add up in a recipe: said, never mended by itself."""

from collections.abc import Iterator

from monitor.recipe.ingredients import PERISHABLE, YEASTS, Kind
from monitor.recipe.parts import Part, PartKind, Recipe
from monitor.translatable import N_, Number, Saying

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
                yield Saying("{part} is made and nowhere used", part=part.name)
            elif used_g > part.mass_g * (1.0 + SPARE_FRAC):
                yield Saying(
                    "{part}: {used_g} g are used and only {made_g} g are made",
                    part=part.name,
                    used_g=Number(used_g, ".0f"),
                    made_g=Number(part.mass_g, ".0f"),
                )
            elif used_g < part.mass_g * (1.0 - SPARE_FRAC):
                yield Saying(
                    "{part}: {left_g} g of {made_g} g are left over",
                    part=part.name,
                    left_g=Number(part.mass_g - used_g, ".0f"),
                    made_g=Number(part.mass_g, ".0f"),
                )
        yield from _leaven(part, recipe)
        contents = recipe.contents(part)
        if part.kind in (PartKind.PREFERMENT, PartKind.SOURDOUGH) and contents.flour_g > 0.0:
            water_pct = contents.hydration_pct
            if not LEAST_PART_HYDRATION_PCT <= water_pct <= MOST_PART_HYDRATION_PCT:
                yield Saying(
                    "{part}: water is {water_pct} % of its flour, which is neither a stiff nor a liquid one",
                    part=part.name,
                    water_pct=Number(water_pct, ".0f"),
                )


def _leaven(part: Part, recipe: Recipe) -> Iterator[str]:
    """Whether what should ferment has something that makes it."""
    if part.kind is PartKind.SOAKER:
        return
    found = recipe.contents(part)
    if found.flour_g <= 0.0:
        yield Saying("{part} has no flour", part=part.name)
    elif found.yeast_g == 0.0 and found.sour_flour_g == 0.0:
        yield Saying("{part} has nothing that leavens it: no yeast, no starter, no sourdough", part=part.name)
    elif part.kind is PartKind.SOURDOUGH and not any(
        each.kind in (Kind.STARTER, Kind.PART) for each in part.ingredients
    ):
        yield Saying("{part} is a sourdough without a ripe starter in it", part=part.name)


def _whole(recipe: Recipe) -> Iterator[str]:
    total = recipe.total
    if total.flour_g <= 0.0:
        return
    salt_pct, water_pct, yeast_pct = total.pct(total.salt_g), total.hydration_pct, total.pct(total.yeast_g)
    if total.salt_g == 0.0:
        yield Saying("there is no salt in it")
    elif not SALT_PCT[0] <= salt_pct <= SALT_PCT[1]:
        yield Saying(
            "salt is {salt_pct} % of all flour; {low} to {high} % is usual",
            salt_pct=Number(salt_pct, ".1f"),
            low=Number(SALT_PCT[0], "g"),
            high=Number(SALT_PCT[1], "g"),
        )
    if not HYDRATION_PCT[0] <= water_pct <= HYDRATION_PCT[1]:
        low, high = HYDRATION_PCT
        yield Saying(
            "water is {water_pct} % of all flour, preferments counted in; {low} to {high} % is usual",
            water_pct=Number(water_pct, ".0f"),
            low=Number(low, "g"),
            high=Number(high, "g"),
        )
    if yeast_pct > MOST_YEAST_PCT:
        yield Saying(
            "yeast is {yeast_pct} % of all flour as instant yeast; more than {most_yeast_pct} % is unusual",
            yeast_pct=Number(yeast_pct, ".1f"),
            most_yeast_pct=Number(MOST_YEAST_PCT, "g"),
        )
    sugar_pct = total.pct(total.sugar_g)
    if sugar_pct > MUCH_SUGAR_PCT:
        yield Saying(
            "sugar is {sugar_pct} % of all flour: ordinary yeast slows down, an osmotolerant one does not",
            sugar_pct=Number(sugar_pct, ".0f"),
        )
    prefermented_pct = total.pct(total.prefermented_g)
    if prefermented_pct > MOST_PREFERMENTED_PCT:
        yield Saying(
            "{prefermented_pct} % of the flour is prefermented; more than {most_prefermented_pct} % is unusual",
            prefermented_pct=Number(prefermented_pct, ".0f"),
            most_prefermented_pct=Number(MOST_PREFERMENTED_PCT, "g"),
        )


def _pieces(recipe: Recipe) -> Iterator[str]:
    if recipe.piece_g is None:
        return
    wanted_g, made_g = recipe.pieces * recipe.piece_g, recipe.dough.mass_g
    if wanted_g > made_g * 1.005:
        yield Saying(
            "{pieces} pieces of {piece_g} g need {wanted_g} g and the dough is {made_g} g",
            pieces=recipe.pieces,
            piece_g=Number(recipe.piece_g, ".0f"),
            wanted_g=Number(wanted_g, ".0f"),
            made_g=Number(made_g, ".0f"),
        )
    elif wanted_g < made_g * (1.0 - SPARE_FRAC):
        yield Saying(
            "{left_g} g of dough are left over after {pieces} pieces of {piece_g} g",
            left_g=Number(made_g - wanted_g, ".0f"),
            pieces=recipe.pieces,
            piece_g=Number(recipe.piece_g, ".0f"),
        )


def _doubts(recipe: Recipe) -> Iterator[str]:
    for part in recipe.parts:
        for each in part.ingredients:
            weight = each.weight
            if weight.high_g - weight.low_g > 2.0 * DOUBT_FRAC * weight.g:
                said = (
                    N_("{part}: {written} of {ingredient} is {low_g} to {high_g} g; counted as {g} g. Weigh it")
                    if each.kind not in YEASTS
                    else N_(
                        "{part}: {written} of {ingredient} is {low_g} to {high_g} g; counted as {g} g, and yeast sets "
                        "the pace. Weigh it"
                    )
                )
                yield Saying(
                    said,
                    part=part.name,
                    written=each.written,
                    ingredient=each.name,
                    low_g=Number(weight.low_g, ".4g"),
                    high_g=Number(weight.high_g, ".4g"),
                    g=Number(weight.g, ".4g"),
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
