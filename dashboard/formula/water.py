"""How warm the water of a recipe must be, for the temperatures of this morning."""

import html

import streamlit as st

from dashboard import page
from dashboard.drawing import markup
from monitor.plan.kitchen import Kitchen
from monitor.recipe.heat_balance import (
    USUAL_TAP_C,
    Surroundings,
    liquid_of,
    mixed_to_c,
    mixer_min,
    water_needed,
)
from monitor.recipe.ingredients import RIPE, IngredientKind
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C
from monitor.recipe.method import REFRIGERATOR, ROOM
from monitor.recipe.mixing import learned_friction
from monitor.recipe.parts import Part, PartKind, Recipe
from monitor.wording.mixing_water import balance_lines, water_sentence
from monitor.wording.phrases import mass_text, printable
from monitor.wording.reader import Reader

BOUNDS_C = (-5.0, 60.0)
MOST_FRICTION_C = 30.0


def show(recipe: Recipe, kitchen: Kitchen, reader: Reader, key: str) -> None:
    """Ask for temperatures, and say what water brings a part of the recipe to its own."""
    parts = [part for part in reversed(recipe.parts) if liquid_of(part) is not None]
    if not parts:
        return
    st.html(markup.section(reader.say("Water")))
    part = parts[0]
    if len(parts) > 1:
        part = st.selectbox(reader.say("Part"), parts, format_func=lambda each: _named(each, reader), key=f"part {key}")
    key = f"{part.name} {key}"
    wanted_c, room_c = mixed_to_c(recipe, part), kitchen.place(ROOM).temp_c
    rise_c, _ = learned_friction([]).of(mixer_min(recipe, part))
    columns = st.columns(3)
    with columns[0]:
        dough_c = _temp_c(reader.say("Dough wanted"), USUAL_DOUGH_TEMP_C if wanted_c is None else wanted_c, reader, key)
        friction_c = _rise_c(reader.say("Mixing warms it by"), rise_c, reader, key)
    with columns[1]:
        flour_c = _temp_c(reader.say("Flour"), room_c, reader, key)
        air_c = _temp_c(reader.say("Room"), room_c, reader, key)
    with columns[2]:
        preferment_c = _preferment_c(recipe, part, kitchen, reader, key)
        tap_c = _temp_c(reader.say("Coldest water at hand"), USUAL_TAP_C, reader, key)
    needed = water_needed(
        recipe,
        part,
        wanted_c=dough_c,
        friction_c=friction_c,
        around=Surroundings(
            flour_c=flour_c,
            room_c=air_c,
            cold_c=kitchen.place(REFRIGERATOR).temp_c,
            preferment_c=preferment_c,
            tap_c=tap_c,
        ),
    )
    counted = "; ".join(balance_lines(needed, reader))
    st.html(
        f'<p class="note"><strong>{html.escape(water_sentence(needed, reader))}</strong><br>{html.escape(counted)}</p>'
    )


def _named(part: Part, reader: Reader) -> str:
    return f"{printable(part.name)}, {mass_text(part.mass_g, reader)}"


def _preferment_c(recipe: Recipe, part: Part, kitchen: Kitchen, reader: Reader, key: str) -> float | None:
    """How warm the preferment or starter in a part is; None when there is none in it. [C]"""
    fermented = (PartKind.PREFERMENT, PartKind.SOURDOUGH)
    inside = [recipe.part(each.name) for each in part.ingredients if each.kind is IngredientKind.PART]
    inside = [each for each in inside if each.kind in fermented]
    if not inside and not any(each.kind in RIPE for each in part.ingredients):
        return None
    stood = [stage.place for stage in recipe.method if stage.part in [each.name for each in inside]]
    usual_c = kitchen.place(REFRIGERATOR if stood[-1:] == [REFRIGERATOR] else ROOM).temp_c
    return _temp_c(reader.say("Preferment"), usual_c, reader, key)


def _temp_c(what: str, usual_c: float, reader: Reader, key: str) -> float:
    return page.temp_input(what, BOUNDS_C, usual_c, reader, f"{what} {key}")


def _rise_c(what: str, usual_c: float, reader: Reader, key: str) -> float:
    """A difference of temperatures, asked in the reader's scale. [C]"""
    scale = reader.degrees_per_kelvin
    usual = round(scale * min(usual_c, MOST_FRICTION_C), 1)
    label, key = f"{what}, {reader.degree}", f"{what} {key} {reader.temp_unit}"
    return st.number_input(label, 0.0, scale * MOST_FRICTION_C, usual, 0.1, "%.1f", key=key) / scale
