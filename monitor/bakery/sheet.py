"""A recipe on paper: its table of weights for a screen of letters, and a page to print and hang up."""

from collections.abc import Iterator
from html import escape

from monitor.bakery.manner import Manner
from monitor.bakery.phrases import duration_text, mass_text, printable, stage_word, temp_text
from monitor.recipe.adding_up import what_does_not_add_up
from monitor.recipe.ingredients import Kind
from monitor.recipe.method import Bake, MethodStage
from monitor.recipe.parts import Ingredient, Part, Recipe
from monitor.recipe.recipe_file import grams_text

TOO_MANY_STEAMS = 6  # judgement: more than this and a sentence is no longer read


def pct_text(share_pct: float) -> str:
    """A baker's percentage, finer where it is small.

    >>> pct_text(68.0), pct_text(2.04), pct_text(0.36)
    ('68 %', '2 %', '0.36 %')
    """
    text = f"{share_pct:.0f}" if share_pct >= 20.0 else f"{share_pct:.1f}" if share_pct >= 1.0 else f"{share_pct:.2f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} %"


def weight_text(ingredient: Ingredient) -> str:
    """What to weigh, with its doubt where it was measured by volume."""
    weight = ingredient.weight
    if not weight.is_doubtful:
        return grams_text(weight.g)
    doubt = f"{grams_text(weight.low_g).removesuffix(' g')} to {grams_text(weight.high_g)}"
    written = f"{ingredient.written}: " if ingredient.written else ""
    return f"{grams_text(weight.g)} ({written}{doubt})"


def share_text(ingredient: Ingredient, part: Part) -> str:
    """An ingredient's percentage on its part's own flour; empty when there is none to count on."""
    return pct_text(100.0 * ingredient.weight.g / part.own_flour_g) if part.own_flour_g > 0.0 else ""


def totals(recipe: Recipe, manner: Manner) -> list[tuple[str, str]]:
    """What the whole dough comes to, as pairs of what and how much; percent on all flour."""
    total = recipe.total
    found = [
        ("dough", mass_text(total.mass_g, manner)),
        ("all flour", mass_text(total.flour_g, manner)),
        ("true hydration", pct_text(total.hydration_pct)),
        ("salt", pct_text(total.pct(total.salt_g))),
    ]
    for name, mass_g in (
        ("yeast, as instant", total.yeast_g),
        ("fat", total.fat_g),
        ("sugar", total.sugar_g),
        ("prefermented flour", total.prefermented_g),
    ):
        if mass_g > 0.0:
            found.append((name, pct_text(total.pct(mass_g))))
    pieces = "1 piece" if recipe.pieces == 1 else f"{recipe.pieces} pieces"
    found.append(("divided into", f"{pieces} of {mass_text(recipe.each_g, manner)}"))
    return found


def stage_text(stage: MethodStage, manner: Manner) -> str:
    """One stage of the method, in words."""
    if stage.hours is not None:
        goal = f"for {duration_text(60.0 * stage.hours)}"
    elif stage.target.rise_pct is None:
        goal = "to its peak"
    else:
        goal = f"until {stage.target.rise_pct:.0f} % up"
    place = f"in the {stage.place}"
    if stage.cold_h > 0.0:
        place = f"first {duration_text(60.0 * stage.cold_h)} in the refrigerator, then {place}"
    parts = [f"{stage_word(stage.stage, manner)} {goal}, {place}"]
    if stage.dough_c is not None:
        parts.append(f"dough at {temp_text(stage.dough_c, manner)}")
    if stage.hands_min > 0.0:
        mixer = f", {duration_text(stage.mixer_min)} of it at the mixer" if stage.mixer_min > 0.0 else ""
        parts.append(f"hands {duration_text(stage.hands_min)} before it{mixer}")
    return f"{printable(stage.part)}: {'; '.join(parts)}"


def bake_text(bake: Bake, manner: Manner) -> str:
    """The bake in words."""
    parts = [f"{duration_text(bake.minutes)} at {temp_text(bake.oven_c, manner)}"]
    parts.append(f"oven on {duration_text(bake.preheat_min)} before loading")
    if 0 < len(bake.steam_min) <= TOO_MANY_STEAMS:
        times = ", ".join(f"{at:g}" for at in bake.steam_min)
        parts.append(f"steam {times} min after loading")
    if bake.at_once is not None:
        parts.append(f"{bake.at_once} at once")
    return "; ".join(parts)


def lines(recipe: Recipe, manner: Manner) -> Iterator[str]:
    """The recipe for a terminal, line by line."""
    yield printable(recipe.name)
    for part in recipe.parts:
        yield ""
        yield f"{printable(part.name)} ({part.kind}), {mass_text(part.mass_g, manner)}"
        for each in part.ingredients:
            yield f"  {printable(each.name):<28} {weight_text(each):>28} {share_text(each, part):>8}"
    yield ""
    for what, how_much in totals(recipe, manner):
        yield f"  {what:<28} {how_much:>28}"
    if recipe.method or recipe.bake is not None:
        yield ""
    for stage in recipe.method:
        yield f"  {stage_text(stage, manner)}"
    if recipe.bake is not None:
        yield f"  bake: {bake_text(recipe.bake, manner)}"
    for sentence in what_does_not_add_up(recipe):
        yield f"  does not add up: {printable(sentence)}"


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


def _rows(recipe: Recipe, part: Part) -> Iterator[str]:
    for each in part.ingredients:
        doubt = f'<div class="doubt">{escape(weight_text(each))}</div>' if each.weight.is_doubtful else ""
        source = " (from above)" if each.kind is Kind.PART else ""
        yield (
            f"<tr><td>{escape(printable(each.name))}{source}{doubt}</td>"
            f'<td class="weight">{escape(grams_text(each.weight.g))}</td>'
            f'<td class="share">{escape(share_text(each, part))}</td></tr>'
        )


def sheet_html(recipe: Recipe, manner: Manner) -> str:
    """A page that stands alone and prints on A4, its weights large enough to read from across a table."""
    name = escape(printable(recipe.name))
    body = [f"<h1>{name}</h1>"]
    if recipe.note:
        body.append(f"<p>{escape(printable(recipe.note))}</p>")
    for part in recipe.parts:
        body.append(f"<h2>{escape(printable(part.name))} &middot; {escape(mass_text(part.mass_g, manner))}</h2>")
        body.append(f"<table>{''.join(_rows(recipe, part))}</table>")
    body.append("<h2>Altogether</h2><table>")
    body += [
        f'<tr><td>{escape(what)}</td><td class="share">{escape(text)}</td></tr>'
        for what, text in totals(recipe, manner)
    ]
    body.append("</table>")
    steps = [stage_text(stage, manner) for stage in recipe.method]
    if recipe.bake is not None:
        steps.append(f"bake: {bake_text(recipe.bake, manner)}")
    if steps:
        body.append(f"<h2>Method</h2><ol>{''.join(f'<li>{escape(step)}</li>' for step in steps)}</ol>")
    wrong = what_does_not_add_up(recipe)
    if wrong:
        items = "".join(f"<li>{escape(printable(sentence))}</li>" for sentence in wrong)
        body.append(f'<div class="wrong"><h2>Does not add up</h2><ul>{items}</ul></div>')
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{name}</title>'
        f"<style>{_STYLE}</style></head><body>{''.join(body)}</body></html>\n"
    )
