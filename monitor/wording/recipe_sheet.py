"""A recipe on paper: its table of weights for a screen of letters, and a page to print and hang up."""

from collections.abc import Iterator
from html import escape
from typing import assert_never

from monitor.recipe.findings import (
    HYDRATION_PCT,
    MOST_PREFERMENTED_PCT,
    MOST_YEAST_PCT,
    SALT_PCT,
    Finding,
    FindingKind,
    recipe_findings,
)
from monitor.recipe.ingredients import YEASTS, IngredientKind
from monitor.recipe.method import Bake, MethodStage
from monitor.recipe.parts import Ingredient, Part, PartKind, Recipe
from monitor.translatable import N_
from monitor.wording.phrases import in_place_text, mass_text, printable, stage_word, temp_text, weigh_text
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

TOO_MANY_STEAMS = 6  # judgement: more than this and a sentence is no longer read


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
    return found


def stage_text(stage: MethodStage, reader: Reader) -> str:
    """One stage of the method, in words."""
    name, where = stage_word(stage.stage, reader), in_place_text(stage.place, reader)
    if stage.hours is not None:
        time = duration_text(60.0 * stage.hours)
        goal = reader.say("{stage} for {time}", stage=name, time=time)
    elif stage.target.rise_pct is None:
        goal = reader.say("{stage} to its peak", stage=name)
    else:
        goal = reader.say("{stage} until {rise} % up", stage=name, rise=f"{stage.target.rise_pct:.0f}")
    if stage.cold_h > 0.0:
        cold = duration_text(60.0 * stage.cold_h)
        where = reader.say("first {time} in the refrigerator, then {where}", time=cold, where=where)
    parts = [f"{goal}, {where}"]
    if stage.dough_c is not None:
        parts.append(reader.say("dough at {temp}", temp=temp_text(stage.dough_c, reader)))
    if stage.hands_min > 0.0:
        hands = duration_text(stage.hands_min)
        if stage.mixer_min > 0.0:
            mixer = duration_text(stage.mixer_min)
            parts.append(reader.say("hands {time} before it, {mixer} of it at the mixer", time=hands, mixer=mixer))
        else:
            parts.append(reader.say("hands {time} before it", time=hands))
    return f"{printable(stage.part)}: {'; '.join(parts)}"


def bake_text(bake: Bake, reader: Reader) -> str:
    """The bake in words."""
    oven, preheat = temp_text(bake.oven_c, reader), duration_text(bake.preheat_min)
    parts = [
        reader.say("{time} at {temp}", time=duration_text(bake.minutes), temp=oven),
        reader.say("oven on {time} before loading", time=preheat),
    ]
    if 0 < len(bake.steam_min) <= TOO_MANY_STEAMS:
        times = ", ".join(f"{at:g}" for at in bake.steam_min)
        parts.append(reader.say("steam {times} min after loading", times=times))
    if bake.at_once is not None:
        parts.append(reader.say("{n} at once", n=bake.at_once))
    return "; ".join(parts)


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
        yield f"{printable(part.name)} ({part_word(part.kind, reader)}), {mass_text(part.mass_g, reader)}"
        for each in part.ingredients:
            weight, share = weight_text(each, reader), share_text(each, part, reader)
            yield f"  {printable(each.name):<28} {weight:>28} {share:>8}"
    yield ""
    for what, how_much in totals(recipe, reader):
        yield f"  {what:<28} {how_much:>28}"
    if recipe.method or recipe.bake is not None:
        yield ""
    for stage in recipe.method:
        yield f"  {stage_text(stage, reader)}"
    if recipe.bake is not None:
        yield "  " + reader.say("bake: {how}", how=bake_text(recipe.bake, reader))
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


def sheet_html(recipe: Recipe, reader: Reader) -> str:
    """A page that stands alone and prints on A4, its weights large enough to read from across a table."""
    name = escape(printable(recipe.name))
    body = [f"<h1>{name}</h1>"]
    if recipe.note:
        body.append(f"<p>{escape(printable(recipe.note))}</p>")
    for part in recipe.parts:
        body.append(f"<h2>{escape(printable(part.name))} &middot; {escape(mass_text(part.mass_g, reader))}</h2>")
        body.append(f"<table>{''.join(_rows(part, reader))}</table>")
    body.append("<h2>" + escape(reader.say("Altogether")) + "</h2><table>")
    body += [
        f'<tr><td>{escape(what)}</td><td class="share">{escape(text)}</td></tr>'
        for what, text in totals(recipe, reader)
    ]
    body.append("</table>")
    steps = [stage_text(stage, reader) for stage in recipe.method]
    if recipe.bake is not None:
        steps.append(reader.say("bake: {how}", how=bake_text(recipe.bake, reader)))
    if steps:
        items = "".join(f"<li>{escape(step)}</li>" for step in steps)
        body.append("<h2>" + escape(reader.say("Method")) + f"</h2><ol>{items}</ol>")
    wrong = recipe_findings(recipe)
    if wrong:
        items = "".join(f"<li>{escape(finding_sentence(each, recipe, reader))}</li>" for each in wrong)
        body.append('<div class="wrong"><h2>' + escape(reader.say("Does not add up")) + f"</h2><ul>{items}</ul></div>")
    return (
        f'<!doctype html>\n<html lang="{reader.language.code}"><head><meta charset="utf-8"><title>{name}</title>'
        f"<style>{_STYLE}</style></head><body>{''.join(body)}</body></html>\n"
    )
