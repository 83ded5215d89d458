"""Recipes of the folder: weights to read across a table, what they come to, and what does not add up."""

import html
from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from dashboard import queries
from dashboard.access import preferences
from dashboard.drawing import markup
from dashboard.formula import water, writing
from monitor.errors import ConfigError
from monitor.plan.kitchen import Kitchen
from monitor.recipe.findings import recipe_findings
from monitor.recipe.method import REFRIGERATOR
from monitor.recipe.mixing import learned_friction
from monitor.recipe.parts import Part, Recipe, scaled_to_baked, scaled_to_pieces
from monitor.settings.recipes import read_kitchen, read_recipe, recipes_in
from monitor.units import grams, ounces
from monitor.wording import recipe_sheet
from monitor.wording.cautions import cautions_of_recipe, reminder_lines
from monitor.wording.method import method_lines
from monitor.wording.phrases import mass_text, printable
from monitor.wording.reader import Reader

MOST_PIECES = 500
WIDE_PX = 960
LARGEST_PIECE_G = 20_000.0


def show() -> None:
    """One recipe, for as many pieces as wanted, no wider than an eye can follow a row."""
    with st.container(width=WIDE_PX):
        _show()


def _show() -> None:
    folder = queries.database().parent
    reader = preferences.reader(folder)
    subtitle = reader.say("Baker's percentages on each part's own flour; totals on all flour.")
    st.html(markup.heading(reader.say("Formula"), subtitle))
    recipes = recipes_in(folder)
    if not recipes:
        st.html(
            '<div class="panel empty"><h2>' + html.escape(reader.say("No recipe yet")) + "</h2>"
            "<p>" + html.escape(reader.say("Recipe files that lie here are shown:")) + f" "
            f"<code>{html.escape(str(folder / 'recipes'))}</code></p></div>"
        )
    else:
        _show_recipe(recipes, folder, reader)
    writing.show(reader)


def _show_recipe(recipes: list[Path], folder: Path, reader: Reader) -> None:
    path = st.selectbox(reader.say("Recipe"), recipes, format_func=lambda each: each.stem, key=writing.CHOSEN)
    try:
        recipe = read_recipe(path)
    except ConfigError as error:
        st.html(f'<p class="note">{html.escape(reader.text(error))}</p>')
        return
    columns = st.columns(2)
    key = f"{path} {recipe.pieces}"
    pieces = columns[0].number_input(reader.say("Pieces"), 1, MOST_PIECES, recipe.pieces, key=f"pieces {key}")
    with columns[1]:
        each_g = _each_g(recipe, reader, f"each {key}")
    is_baked = st.toggle(reader.say("Weight out of the oven"), key=f"baked {key}")
    if is_baked:
        recipe = scaled_to_baked(recipe, int(pieces), each_g)
    elif (pieces, each_g) != (recipe.pieces, recipe.each_g):
        recipe = scaled_to_pieces(recipe, int(pieces), each_g)
    parts = "".join(_part(recipe, part, reader) for part in recipe.parts)
    st.html(parts + _method(recipe, reader) + _tables(recipe, reader))
    for finding in recipe_findings(recipe):
        st.html(f'<p class="note">{html.escape(recipe_sheet.finding_sentence(finding, recipe, reader))}</p>')
    kitchen = _kitchen(folder, reader)
    water.show(recipe, kitchen, reader, key)
    page = recipe_sheet.sheet_html(recipe, reader, learned_friction([]), kitchen.place(REFRIGERATOR).temp_c)
    st.download_button(reader.say("Page to print"), page, f"{path.stem}.html", "text/html")


def _kitchen(folder: Path, reader: Reader) -> Kitchen:
    """The bakery's kitchen; the usual one, and a word about it, when its file has a fault."""
    try:
        return read_kitchen(None, folder)
    except ConfigError as error:
        st.html(f'<p class="note">{html.escape(reader.text(error))}</p>')
        return Kitchen()


def _each_g(recipe: Recipe, reader: Reader, key: str) -> float:
    """How much a piece is to weigh, asked in the reader's unit; left alone it is the recipe's own, unrounded. [g]"""
    is_oz = reader.mass_unit == "oz"
    usual = round(ounces(recipe.each_g), 2) if is_oz else float(round(recipe.each_g))
    low, high, step = (0.01, ounces(LARGEST_PIECE_G), 0.25) if is_oz else (1.0, LARGEST_PIECE_G, 10.0)
    label = reader.say("Weight of each, {unit}", unit=reader.mass_unit)
    shown = "%.2f" if is_oz else "%.0f"
    # Under a key of its unit: a number typed in grams is none in ounces.
    typed = st.number_input(label, low, high, usual, step=step, format=shown, key=f"{key} {reader.mass_unit}")
    if typed == usual:
        return recipe.each_g
    return grams(typed) if is_oz else typed


def _part(recipe: Recipe, part: Part, reader: Reader) -> str:
    rows = "".join(
        f"<tr><td>{html.escape(printable(each.name))}</td>"
        f'<td class="n weighed">{html.escape(recipe_sheet.weight_text(each, reader))}</td>'
        f'<td class="n">{html.escape(recipe_sheet.share_text(each, part, reader))}</td></tr>'
        for each in part.ingredients
    )
    head = f"{html.escape(printable(part.name))}, {html.escape(mass_text(part.mass_g, reader))}"
    if part.feed is not None:
        head += f" &middot; {html.escape(recipe_sheet.part_text(part, reader))}"
    return f'<div class="panel"><h2 class="section">{head}</h2><table class="rows">{rows}</table></div>'


def _method(recipe: Recipe, reader: Reader) -> str:
    """The steps in the order of the day, and what to mind; nothing where there is nothing."""
    mind = reminder_lines(cautions_of_recipe(recipe), reader)
    lists = ((reader.say("Method"), "ol", list(method_lines(recipe, reader))), (reader.say("Mind"), "ul", mind))
    return "".join(
        f'<div class="panel">{markup.section(title)}<{kind}>'
        + "".join(f"<li>{html.escape(line)}</li>" for line in lines)
        + f"</{kind}></div>"
        for title, kind, lines in lists
        if lines
    )


def _tables(recipe: Recipe, reader: Reader) -> str:
    sections: list[tuple[str, Sequence[tuple[str, ...]]]] = [
        (reader.say("Total formula"), recipe_sheet.total_rows(recipe, reader)),
        (reader.say("Altogether"), recipe_sheet.totals(recipe, reader)),
        (reader.say("Taken for"), recipe_sheet.taken_for(recipe, reader)),
    ]
    return "".join(_table(title, rows) for title, rows in sections if rows)


def _table(title: str, rows: Sequence[tuple[str, ...]]) -> str:
    body = "".join(
        f"<tr><td>{html.escape(first)}</td>"
        + "".join(f'<td class="said">{html.escape(each)}</td>' for each in others)
        + "</tr>"
        for first, *others in rows
    )
    return f'<div class="panel">{markup.section(title)}<table class="rows">{body}</table></div>'
