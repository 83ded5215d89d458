"""The planned day: how it stands, what to begin next, and making one for an hour from a recipe in the folder."""

import html
from datetime import time as clock_time
from datetime import timedelta
from pathlib import Path

import streamlit as st

from dashboard import figures, page, queries
from dashboard.access import preferences, sites
from dashboard.drawing import markup
from dashboard.plan import beginning, making, pictures
from dashboard.plans import current_plan
from monitor.collector.plan_runner import food_words
from monitor.errors import ConfigError
from monitor.plan.live import largest_air_difference
from monitor.plan.remarks import early_breads
from monitor.settings.recipes import recipes_in
from monitor.translatable import N_
from monitor.wording.cues import planned_air_sentence
from monitor.wording.phrases import printable
from monitor.wording.plan import out_sentence, remark_sentence, window_sentence
from monitor.wording.reader import Reader

USUAL_HOUR = clock_time(12, 30)
DAYS = (N_("today"), N_("tomorrow"), N_("the day after"))
HEADINGS = (N_("otherwise"), N_("begin"), N_("out"), N_("by itself"), N_("its loaves"))


def show() -> None:
    """The newest plan, looked at again every few seconds; below it, the way to a new one."""
    reader = preferences.reader(queries.database().parent)
    subtitle = reader.say("The day backwards from the hour it must be out of the oven, moved by the dough.")
    st.html(markup.heading(reader.say("Plan"), subtitle))

    @page.live()
    def live() -> None:
        page.render(_draw)

    live()
    beginning.ask_early(reader)
    page.render(figures.show_live_downloads)
    page.render(_ask)


def _draw(view: page.View) -> None:
    live = current_plan(view.store, view.now)
    doughs = () if live is None else live.now.doughs
    food = {dough.key: food_words(view.store, live, dough, view.reader) for dough in doughs if live is not None}
    if live is None:
        title = html.escape(view.reader.say("No plan for today"))
        if view.store.is_copy:
            st.html(f'<div class="panel empty"><h2>{title}</h2></div>')
            return
        hint = html.escape(view.reader.say("Make one below, or with this command:"))
        st.html(
            f'<div class="panel empty"><h2>{title}</h2><p>{hint} '
            "<code>proofing-monitor plan make RECIPE.toml --out 12:30</code></p></div>"
        )
        return
    for early in early_breads(live.now):
        st.html(f'<p class="note">{html.escape(remark_sentence(early, live.now, view.reader, view.now))}</p>')
    for dough in doughs:
        name = html.escape(printable(dough.recipe.name))
        st.html(f'<p class="section">{name}</p>{pictures.day_picture(dough, view)}')
        figures.keep(pictures.day_figure(dough, live, view), f"day-{dough.key}")
        sentences = [
            out_sentence(dough, view.reader, view.now),
            window_sentence(dough, view.reader, view.now),
            food[dough.key],
        ]
        st.html("".join(f'<p class="quiet">{html.escape(sentence)}</p>' for sentence in sentences if sentence))
    air = largest_air_difference(live.made, live.progress)
    if air is not None:
        words = planned_air_sentence(air, view.reader)
        st.html(f'<p class="note">{html.escape(words)}</p>')
    if not view.store.is_copy:
        beginning.show(live, view)
    st.html(pictures.step_table(live, view))


def _ask(view: page.View) -> None:
    """A form that plans a recipe of the folder for an hour; of a copy where that is done instead."""
    reader = view.reader
    if view.store.is_copy:
        st.html(markup.quiet(sites.copy_words(reader)))
        return
    folder = queries.database().parent
    recipes = recipes_in(folder)
    st.html('<p class="section">' + html.escape(reader.say("Plan another")) + "</p>")
    if not recipes:
        hint = reader.say("Recipes that lie in {folder} can be planned here.", folder=folder / "recipes")
        st.html(f'<p class="quiet">{html.escape(hint)}</p>')
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
        is_planned = buttons[0].form_submit_button(reader.say("Plan it"))
        is_compared = buttons[1].form_submit_button(reader.say("Otherwise, side by side"))
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
