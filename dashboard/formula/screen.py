"""Recipes of the folder: weights to read across a table, what they come to, and what does not add up."""

import html

import streamlit as st

from dashboard import queries
from dashboard.access import preferences
from dashboard.drawing import markup
from monitor.errors import ConfigError
from monitor.recipe.findings import recipe_findings
from monitor.recipe.parts import Part, Recipe, scaled_to_pieces
from monitor.settings.recipes import read_recipe, recipes_in
from monitor.units import grams, ounces
from monitor.wording import recipe_sheet
from monitor.wording.phrases import mass_text, printable
from monitor.wording.reader import Reader

MOST_PIECES = 500
LARGEST_PIECE_G = 20_000.0


def show() -> None:
    """One recipe, for as many pieces as wanted."""
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
        return
    path = st.selectbox(reader.say("Recipe"), recipes, format_func=lambda each: each.stem)
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
    if (pieces, each_g) != (recipe.pieces, recipe.each_g):
        recipe = scaled_to_pieces(recipe, int(pieces), each_g)
    st.html("".join(_part(recipe, part, reader) for part in recipe.parts) + _totals(recipe, reader))
    for finding in recipe_findings(recipe):
        st.html(f'<p class="note">{html.escape(recipe_sheet.finding_sentence(finding, recipe, reader))}</p>')
    st.download_button(
        reader.say("Page to print"), recipe_sheet.sheet_html(recipe, reader), f"{path.stem}.html", "text/html"
    )


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
    return f'<div class="panel"><h2 class="section">{head}</h2><table class="rows">{rows}</table></div>'


def _totals(recipe: Recipe, reader: Reader) -> str:
    rows = "".join(f'<tr><td>{html.escape(what)}</td><td class="n">{html.escape(text)}</td></tr>' for what, text in
                   recipe_sheet.totals(recipe, reader))  # fmt: skip
    return (
        '<div class="panel">' + markup.section(reader.say("Altogether")) + f'<table class="rows">{rows}</table></div>'
    )
