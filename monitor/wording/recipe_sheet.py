"""A recipe on paper: its table of weights for a screen of letters, and a page to print and hang up."""

from collections.abc import Iterable, Iterator
from html import escape
from typing import assert_never

from monitor.recipe.findings import (
    HYDRATION_PCT,
    MOST_MALT_PCT,
    MOST_PREFERMENTED_PCT,
    MOST_YEAST_PCT,
    SALT_PCT,
    Finding,
    FindingKind,
    recipe_findings,
)
from monitor.recipe.heat_balance import water_chart
from monitor.recipe.ingredient_table import recognised, row_of
from monitor.recipe.ingredients import YEASTS, Composition, IngredientKind
from monitor.recipe.mixing import Friction
from monitor.recipe.parts import Ingredient, Part, PartKind, Recipe
from monitor.recipe.total_formula import TotalLine, needed, total_formula
from monitor.translatable import N_
from monitor.wording.cautions import cautions_of_recipe, reminder_lines
from monitor.wording.method import method_lines
from monitor.wording.mixing_water import water_text
from monitor.wording.phrases import mass_text, printable, temp_text, weigh_text
from monitor.wording.reader import Reader

LEAST_SHARE = 0.0005  # judgement: less of an ingredient is not worth a word
_PLAIN = (Composition(water=1.0), Composition(salt=1.0))


def pct_text(share_pct: float, reader: Reader) -> str:
    """A baker's percentage, finer where it is small.

    >>> from datetime import UTC
    >>> [pct_text(share_pct, Reader(UTC)) for share_pct in (68.0, 2.04, 0.36)]
    ['68 %', '2 %', '0.36 %']
    """
    text = f"{share_pct:.0f}" if share_pct >= 20.0 else f"{share_pct:.1f}" if share_pct >= 1.0 else f"{share_pct:.2f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text.replace('.', reader.language.decimal)} %"


def weight_text(ingredient: Ingredient, reader: Reader) -> str:
    """What to weigh, with its doubt where it was measured by volume."""
    weight = ingredient.weight
    text = weigh_text(weight.g, reader)
    if not weight.is_doubtful:
        return text
    low, high = weigh_text(weight.low_g, reader).rpartition(" ")[0], weigh_text(weight.high_g, reader)
    doubt = reader.say("{low} to {high}", low=low, high=high)
    written = f"{ingredient.written}: " if ingredient.written else ""
    return f"{text} ({written}{doubt})"


def share_text(ingredient: Ingredient, part: Part, reader: Reader) -> str:
    """An ingredient's percentage on its part's own flour; empty when there is none to count on."""
    return pct_text(100.0 * ingredient.weight.g / part.own_flour_g, reader) if part.own_flour_g > 0.0 else ""


def made_of_text(made_of: Composition, reader: Reader) -> str:
    """What counts of an ingredient: its shares of flour, water, fat, sugar and salt; empty without any."""
    shares = (
        (made_of.flour, reader.say("flour")),
        (made_of.water, reader.say("water")),
        (made_of.fat, reader.say("fat")),
        (made_of.sugar, reader.say("sugar")),
        (made_of.salt, reader.say("salt")),
    )
    return ", ".join(f"{pct_text(100.0 * share, reader)} {what}" for share, what in shares if share >= LEAST_SHARE)


def taken_for(recipe: Recipe, reader: Reader) -> list[tuple[str, str]]:
    """What each ingredient of a recipe was taken for, as pairs of its name and that; water and salt left out."""
    found: dict[str, str] = {}
    for part in recipe.parts:
        for each in part.ingredients:
            is_plain = each.kind in (IngredientKind.WATER, IngredientKind.SALT) and each.composition in _PLAIN
            if each.kind is not IngredientKind.PART and not (is_plain and _is_sure(each)):
                found[printable(each.name)] = _taken_for(each, reader)
    return list(found.items())


def _is_sure(ingredient: Ingredient) -> bool:
    known = recognised(ingredient.name)
    return known is not None and known.is_sure


def _taken_for(ingredient: Ingredient, reader: Reader) -> str:
    known, by_name = row_of(ingredient.name, ingredient.kind), recognised(ingredient.name)
    shares = made_of_text(ingredient.composition, reader) or reader.say("nothing that counts")
    if ingredient.declared is not None:
        return reader.say("as the recipe says: {shares}", shares=shares)
    if known is None:
        return shares
    name = known.row.name(reader.language.code)
    if known.row.is_whole:
        text = reader.say("{ingredient}, which stays whole: {shares}", ingredient=name, shares=shares)
    elif ingredient.kind in YEASTS or ingredient.composition.flour == 1.0:
        text = name
    else:
        text = reader.say("{ingredient}: {shares}", ingredient=name, shares=shares)
    if by_name is None or by_name.row is not known.row:
        return reader.say("{what} (by the kind that the recipe says)", what=text)
    return text if known.is_sure else reader.say("{what} (a guess by the end of its name)", what=text)


def part_word(kind: PartKind, reader: Reader) -> str:
    """What a part of a recipe is."""
    match kind:
        case PartKind.PREFERMENT:
            return reader.say("preferment")
        case PartKind.SOURDOUGH:
            return reader.say("sourdough")
        case PartKind.SOAKER:
            return reader.say("soaker")
        case PartKind.DOUGH:
            return reader.say("dough")
        case _:
            assert_never(kind)


def totals(recipe: Recipe, reader: Reader) -> list[tuple[str, str]]:
    """What the whole dough comes to, as pairs of what and how much; percent on all flour."""
    total = recipe.total
    found = [
        (reader.say("dough"), mass_text(total.mass_g, reader)),
        (reader.say("all flour"), mass_text(total.flour_g, reader)),
        (reader.say("true hydration"), pct_text(total.hydration_pct, reader)),
        (reader.say("dough yield (TA)"), reader.number(total.dough_yield)),
        (reader.say("salt"), pct_text(total.pct(total.salt_g), reader)),
    ]
    for what, mass_g in (
        (reader.say("yeast, as instant"), total.yeast_g),
        (reader.say("fat"), total.fat_g),
        (reader.say("sugar"), total.sugar_g),
        (reader.say("prefermented flour"), total.prefermented_g),
    ):
        if mass_g > 0.0:
            found.append((what, pct_text(total.pct(mass_g), reader)))
    each = mass_text(recipe.each_g, reader)
    pieces = reader.count(recipe.pieces, "{n} piece of {weight}", "{n} pieces of {weight}", weight=each)
    found.append((reader.say("divided into"), pieces))
    if recipe.dividing_loss_pct > 0.0:
        found.append((reader.say("lost in dividing"), pct_text(recipe.dividing_loss_pct, reader)))
    is_said = recipe.bake is not None and recipe.bake.loss_pct is not None
    baked = N_("{weight}, {loss} lost") if is_said else N_("about {weight}, {loss} lost as is usual")
    loss = pct_text(recipe.bake_loss_pct, reader)
    found.append(
        (reader.say("out of the oven, each"), reader.say(baked, weight=mass_text(recipe.baked_g, reader), loss=loss))
    )
    return found


def total_rows(recipe: Recipe, reader: Reader) -> list[tuple[str, str, str]]:
    """Everything over all parts: name, weight, percent on all flour; empty where the dough alone says it."""
    lines = total_formula(recipe)
    if {line.name for line in lines} == {each.name for each in recipe.dough.ingredients}:
        return []
    return [
        (_total_name(line, reader), weigh_text(line.mass_g, reader), pct_text(recipe.total.pct(line.mass_g), reader))
        for line in lines
    ]


def needed_lines(recipes: Iterable[Recipe], reader: Reader) -> Iterator[str]:
    """All that is weighed for several recipes, a line each."""
    for line in needed(recipes):
        yield f"{printable(line.name):<28} {weigh_text(line.mass_g, reader):>28}"


def _total_name(line: TotalLine, reader: Reader) -> str:
    if line.name:
        return printable(line.name)
    inside = {
        IngredientKind.FLOUR: N_("flour in {ingredient}"),
        IngredientKind.WATER: N_("water in {ingredient}"),
        IngredientKind.SALT: N_("salt in {ingredient}"),
    }[line.kind]
    return reader.say(inside, ingredient=printable(line.of))


def part_text(part: Part, reader: Reader) -> str:
    """What a part is, and how a sourdough is fed: starter, flour, water."""
    feed = part.feed
    if feed is None:
        return part_word(part.kind, reader)
    ratio = ":".join(["1", *(f"{each:.3g}".replace(".", reader.language.decimal) for each in feed)])
    return reader.say("{part} {ratio}", part=part_word(part.kind, reader), ratio=ratio)


def finding_sentence(finding: Finding, recipe: Recipe, reader: Reader) -> str:
    """What does not add up, as a clause."""
    part = printable(finding.part)
    mass, made = reader.number(finding.mass_g), reader.number(finding.made_g)
    piece = reader.number(recipe.piece_g or 0.0)
    share, tenths = reader.number(finding.share_pct), reader.number(finding.share_pct, 1)
    match finding.kind:
        case FindingKind.PART_UNUSED:
            return reader.say("{part} is made and nowhere used", part=part)
        case FindingKind.PART_SHORT:
            return reader.say(
                "{part}: {used_g} g are used and only {made_g} g are made", part=part, used_g=mass, made_g=made
            )
        case FindingKind.PART_LEFT_OVER:
            return reader.say("{part}: {left_g} g of {made_g} g are left over", part=part, left_g=mass, made_g=made)
        case FindingKind.PART_WATER:
            return reader.say(
                "{part}: water is {water_pct} % of its flour, which is neither a stiff nor a liquid one",
                part=part,
                water_pct=share,
            )
        case FindingKind.NO_FLOUR:
            return reader.say("{part} has no flour", part=part)
        case FindingKind.NO_LEAVEN:
            return reader.say("{part} has nothing that leavens it: no yeast, no starter, no sourdough", part=part)
        case FindingKind.NO_STARTER:
            return reader.say("{part} is a sourdough without a ripe starter in it", part=part)
        case FindingKind.NO_SALT:
            return reader.say("there is no salt in it")
        case FindingKind.SALT:
            low, high = SALT_PCT
            return reader.say(
                "salt is {salt_pct} % of all flour; {low} to {high} % is usual",
                salt_pct=tenths,
                low=f"{low:g}",
                high=f"{high:g}",
            )
        case FindingKind.WATER:
            low, high = HYDRATION_PCT
            return reader.say(
                "water is {water_pct} % of all flour, preferments counted in; {low} to {high} % is usual",
                water_pct=share,
                low=f"{low:g}",
                high=f"{high:g}",
            )
        case FindingKind.YEAST:
            return reader.say(
                "yeast is {yeast_pct} % of all flour as instant yeast; more than {most_yeast_pct} % is unusual",
                yeast_pct=tenths,
                most_yeast_pct=f"{MOST_YEAST_PCT:g}",
            )
        case FindingKind.SUGAR:
            return reader.say(
                "sugar is {sugar_pct} % of all flour: ordinary yeast slows down, an osmotolerant one does not",
                sugar_pct=share,
            )
        case FindingKind.PREFERMENTED:
            return reader.say(
                "{prefermented_pct} % of the flour is prefermented; more than {most_prefermented_pct} % is unusual",
                prefermented_pct=share,
                most_prefermented_pct=f"{MOST_PREFERMENTED_PCT:g}",
            )
        case FindingKind.MALT:
            return reader.say(
                "malt with its enzymes alive is {malt_pct} % of all flour; more than {most_malt_pct} % makes the crumb "
                "sticky",
                malt_pct=tenths,
                most_malt_pct=f"{MOST_MALT_PCT:g}",
            )
        case FindingKind.PIECES_SHORT:
            return reader.say(
                "{pieces} pieces of {piece_g} g need {wanted_g} g and the dough is {made_g} g",
                pieces=recipe.pieces,
                piece_g=piece,
                wanted_g=mass,
                made_g=made,
            )
        case FindingKind.PIECES_LEFT_OVER:
            return reader.say(
                "{left_g} g of dough are left over after {pieces} pieces of {piece_g} g",
                left_g=mass,
                pieces=recipe.pieces,
                piece_g=piece,
            )
        case FindingKind.DOUBTFUL_WEIGHT:
            return _doubtful_weight_sentence(finding, reader)
        case _:
            assert_never(finding.kind)


def _doubtful_weight_sentence(finding: Finding, reader: Reader) -> str:
    ingredient = finding.ingredient
    assert ingredient is not None
    weight = ingredient.weight
    low_g, high_g, g = (
        f"{each:.4g}".replace(".", reader.language.decimal) for each in (weight.low_g, weight.high_g, weight.g)
    )
    return reader.say(
        N_(
            "{part}: {written} of {ingredient} is {low_g} to {high_g} g; counted as {g} g, and yeast sets the pace. "
            "Weigh it"
        )
        if ingredient.kind in YEASTS
        else N_("{part}: {written} of {ingredient} is {low_g} to {high_g} g; counted as {g} g. Weigh it"),
        part=printable(finding.part),
        written=printable(ingredient.written),
        ingredient=printable(ingredient.name),
        low_g=low_g,
        high_g=high_g,
        g=g,
    )


def lines(recipe: Recipe, reader: Reader) -> Iterator[str]:
    """The recipe for a terminal, line by line."""
    yield printable(recipe.name)
    for part in recipe.parts:
        yield ""
        yield f"{printable(part.name)} ({part_text(part, reader)}), {mass_text(part.mass_g, reader)}"
        for each in part.ingredients:
            weight, share = weight_text(each, reader), share_text(each, part, reader)
            yield f"  {printable(each.name):<28} {weight:>28} {share:>8}"
    if taken := taken_for(recipe, reader):
        yield ""
        yield reader.say("Taken for")
        for name, what in taken:
            yield f"  {name:<28} {what}"
    if total := total_rows(recipe, reader):
        yield ""
        yield reader.say("Total formula")
        for name, weight, share in total:
            yield f"  {name:<28} {weight:>28} {share:>8}"
    yield ""
    for what, how_much in totals(recipe, reader):
        yield f"  {what:<28} {how_much:>28}"
    if recipe.method or recipe.bake is not None:
        yield ""
    for line in method_lines(recipe, reader):
        yield f"  {line}"
    for line in reminder_lines(cautions_of_recipe(recipe), reader):
        yield "  " + reader.say("mind: {what}", what=line)
    for finding in recipe_findings(recipe):
        yield "  " + reader.say("does not add up: {what}", what=finding_sentence(finding, recipe, reader))


_STYLE = """
body { font-family: Georgia, 'Times New Roman', serif; color: #2a2420; background: #ffffff; margin: 12mm; }
h1 { font-size: 30pt; margin: 0 0 2mm; } h2 { font-size: 18pt; margin: 8mm 0 1mm; }
table { border-collapse: collapse; width: 100%; break-inside: avoid; }
td { border-bottom: 1px solid #ddd3c5; padding: 1.5mm 2mm; font-size: 16pt; vertical-align: baseline; }
td.weight { text-align: right; font-size: 28pt; font-weight: bold; white-space: nowrap;
  font-variant-numeric: tabular-nums; }
td.share { text-align: right; font-size: 14pt; color: #6b6055; white-space: nowrap; }
p, li { font-size: 14pt; line-height: 1.4; } .doubt { font-size: 12pt; color: #6b6055; }
.wrong { border-left: 2mm solid #a8321a; padding-left: 3mm; }
@page { size: A4; margin: 10mm; } @media print { body { margin: 0; } }
"""


def _rows(part: Part, reader: Reader) -> Iterator[str]:
    for each in part.ingredients:
        doubt = f'<div class="doubt">{escape(weight_text(each, reader))}</div>' if each.weight.is_doubtful else ""
        source = " " + reader.say("(from above)") if each.kind is IngredientKind.PART else ""
        yield (
            f"<tr><td>{escape(printable(each.name))}{escape(source)}{doubt}</td>"
            f'<td class="weight">{escape(weigh_text(each.weight.g, reader))}</td>'
            f'<td class="share">{escape(share_text(each, part, reader))}</td></tr>'
        )


def _section(title: str, rows: Iterable[tuple[str, ...]]) -> str:
    body = "".join(
        f"<tr><td>{escape(first)}</td>" + "".join(f'<td class="share">{escape(each)}</td>' for each in others) + "</tr>"
        for first, *others in rows
    )
    return f"<h2>{escape(title)}</h2><table>{body}</table>"


def water_tables(
    recipe: Recipe, friction: Friction, cold_c: float, reader: Reader
) -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """For each part whose warmth the method says: a title, and its water by how warm flour and room are."""
    for part, rows in water_chart(recipe, friction, cold_c):
        dough = temp_text(rows[0][1].dough_c, reader)
        title = reader.say("Water for {part} at {dough}", part=printable(part.name), dough=dough)
        yield (
            title,
            [
                (reader.say("flour and room at {temp}", temp=temp_text(air_c, reader)), water_text(needed, reader))
                for air_c, needed in rows
            ],
        )


def sheet_html(recipe: Recipe, reader: Reader, friction: Friction, cold_c: float) -> str:
    """A page that stands alone and prints on A4, its weights large enough to read from across a table.

    ``friction`` is of the mixer and ``cold_c`` of the refrigerator: by both the water is worked out. [C]
    """
    name = escape(printable(recipe.name))
    body = [f"<h1>{name}</h1>"]
    if recipe.note:
        body.append(f"<p>{escape(printable(recipe.note))}</p>")
    for part in recipe.parts:
        head = (printable(part.name), part_text(part, reader), mass_text(part.mass_g, reader))
        body.append(f"<h2>{' &middot; '.join(map(escape, head))}</h2>")
        body.append(f"<table>{''.join(_rows(part, reader))}</table>")
    sections: list[tuple[str, Iterable[tuple[str, ...]]]] = [
        (reader.say("Total formula"), total_rows(recipe, reader)),
        (reader.say("Altogether"), totals(recipe, reader)),
        (reader.say("Taken for"), taken_for(recipe, reader)),
        *water_tables(recipe, friction, cold_c, reader),
    ]
    body += [_section(title, rows) for title, rows in sections if rows]
    steps = "".join(f"<li>{escape(step)}</li>" for step in method_lines(recipe, reader))
    if steps:
        body.append("<h2>" + escape(reader.say("Method")) + f"</h2><ol>{steps}</ol>")
    reminders = "".join(f"<li>{escape(line)}</li>" for line in reminder_lines(cautions_of_recipe(recipe), reader))
    if reminders:
        body.append("<h2>" + escape(reader.say("Mind")) + f"</h2><ul>{reminders}</ul>")
    wrong = recipe_findings(recipe)
    if wrong:
        items = "".join(f"<li>{escape(finding_sentence(each, recipe, reader))}</li>" for each in wrong)
        body.append('<div class="wrong"><h2>' + escape(reader.say("Does not add up")) + f"</h2><ul>{items}</ul></div>")
    return (
        f'<!doctype html>\n<html lang="{reader.language.code}"><head><meta charset="utf-8"><title>{name}</title>'
        f"<style>{_STYLE}</style></head><body>{''.join(body)}</body></html>\n"
    )
