"""Planning another day: a recipe of the folder for an hour, kept, or held against the same bread made otherwise."""

import html
from datetime import time as clock_time
from datetime import timedelta
from pathlib import Path

import streamlit as st

from dashboard import queries
from dashboard.access import sites
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.plan import making
from monitor.errors import ConfigError
from monitor.settings.recipes import recipes_in
from monitor.translatable import N_
from monitor.wording.reader import Reader

USUAL_HOUR = clock_time(12, 30)
DAYS = (N_("today"), N_("tomorrow"), N_("the day after"))
HEADINGS = (N_("otherwise"), N_("begin"), N_("out"), N_("by itself"), N_("its loaves"))


def show(view: View) -> None:
    """A form that plans a recipe of the folder for an hour; of a copy where that is done instead."""
    reader = view.reader
    if view.store.is_copy:
        st.html(markup.quiet(sites.copy_words(reader)))
        return
    folder = queries.database().parent
    recipes = recipes_in(folder)
    st.html(markup.section(reader.say("Plan another")))
    if not recipes:
        st.html(
            markup.quiet(reader.say("Recipes that lie in {folder} can be planned here.", folder=folder / "recipes"))
        )
        return
    with st.form("make a plan"):
        path = st.selectbox(reader.say("Recipe"), recipes, format_func=lambda each: each.stem)
        columns = st.columns(2)
        day = columns[0].selectbox(
            reader.say("Day"),
            range(len(DAYS)),
            index=1,
            format_func=lambda ahead: reader.say(DAYS[ahead]),
        )
        at = columns[1].time_input(reader.say("Out of the oven at"), USUAL_HOUR, step=timedelta(minutes=5))
        buttons = st.columns(2)
        is_planned = buttons[0].form_submit_button(reader.say("Plan it"), width="stretch")
        is_compared = buttons[1].form_submit_button(reader.say("Otherwise, side by side"), width="stretch")
    if is_planned:
        _make(path, day, at, reader)
    if is_compared:
        _compare(path, day, at, reader)


def _make(path: Path, day: int, at: clock_time, reader: Reader) -> None:
    try:
        made = making.make(path, day, at)
    except ConfigError as error:
        made = making.Made([reader.text(error)])
    st.html("".join(f'<p class="note">{html.escape(line)}</p>' for line in made.lines))
    if made.is_asked:
        st.button(reader.say("Keep this plan"), type="primary", on_click=making.keep, args=(path, day, at))


def _compare(path: Path, day: int, at: clock_time, reader: Reader) -> None:
    try:
        rows = making.side_by_side(path, day, at)
    except ConfigError as error:
        st.html(f'<p class="note">{html.escape(reader.text(error))}</p>')
        return
    head = "".join("<th>" + html.escape(reader.say(words)) + "</th>" for words in HEADINGS)
    body = "".join(f"<tr>{''.join(f'<td>{html.escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    st.html(f'<div class="panel"><table class="rows"><tr>{head}</tr>{body}</table></div>')
