"""The bake itself: what comes next at the oven, in minutes and seconds large enough to read with a tray in hand."""

import html
from functools import partial

import streamlit as st

from dashboard import actions, figures, page, queries
from dashboard.access import preferences, sites
from dashboard.drawing import markup
from dashboard.drawing.exports import Figure
from dashboard.plans import current_plan, steps_table
from monitor.collector.plan_runner import LivePlan
from monitor.plan.cues import is_done
from monitor.plan.day import HEATING, Step, StepKind
from monitor.plan.steps import steps
from monitor.wording.phrases import printable
from monitor.wording.plan import done_word, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_in_line, clock_text

TICK_S = 1.0
SOON_S = 60.0
AT_OVEN = (*HEATING, StepKind.LOAD, StepKind.STEAM, StepKind.OUT, StepKind.OVEN_OFF)


def show() -> None:
    """The countdown, a second at a time."""
    reader = preferences.reader(queries.database().parent)
    subtitle = reader.say("Oven, loads, steam and out, as the dough has it now.")
    st.html(markup.heading(reader.say("Bake"), subtitle))

    @page.live(TICK_S)
    def live() -> None:
        page.render(_draw)

    live()
    page.render(figures.show_live_downloads)


def _draw(view: page.View) -> None:
    live = current_plan(view.store, view.now)
    step = None if live is None else next_step(live)
    if live is None or step is None:
        title = html.escape(view.reader.say("Nothing to bake"))
        hint = html.escape(view.reader.say("A plan with a bake counts down here."))
        st.html(f'<div class="panel empty"><h2>{title}</h2><p>{hint}</p></div>')
        return
    dough = live.now.dough(step.dough)
    seconds = (step.at - view.now).total_seconds()
    words = step_text(dough, step, view.reader)
    colour = ' style="color: var(--ember)"' if seconds < SOON_S else ""
    name = html.escape(printable(dough.recipe.name))
    at = view.reader.say("at {at}", at=clock_text(step.at, view.reader, view.now))
    st.html(
        f'<div class="panel"><p class="saying">{name}: {html.escape(words)}</p>'
        f'<p class="huge countdown"{colour}>{countdown_words(seconds)}</p>'
        f'<p class="quiet">{html.escape(at)}</p></div>'
    )
    if view.store.is_copy:
        st.html(markup.quiet(sites.copy_words(view.reader)))
    else:
        st.button(
            markup.plain(done_word(step.kind, view.reader)),
            key=f"done-{step.key}",
            type="primary",
            on_click=actions.mark_done,
            args=(live.made.id, step.key, words),
        )
    rows = []
    for later in steps(live.now):
        owner = live.now.dough(later.dough)
        if later.kind not in AT_OVEN or later.key == step.key or is_done(owner, later, live.progress):
            continue
        limit = ""
        if later.not_after is not None:
            limit = view.reader.say(
                "good until {at}", at=clock_in_line(later.not_after, later.at, view.reader, view.now)
            )
        who = f"{printable(owner.recipe.name)}: " if len(live.now.doughs) > 1 else ""
        rows.append(
            f'<tr><td class="n">{html.escape(clock_text(later.at, view.reader, view.now))}</td>'
            f"<td>{html.escape(who + step_text(owner, later, view.reader))}</td><td>{html.escape(limit)}</td></tr>"
        )
    if rows:
        st.html(f'<div class="panel"><table class="rows">{"".join(rows)}</table></div>')
    figures.keep(_figure(live, view.reader), "bake")


def _figure(live: LivePlan, reader: Reader) -> Figure:
    """The steps at the oven, of all doughs, to save."""
    names = ", ".join(printable(dough.recipe.name) for dough in live.now.doughs)
    table = partial(steps_table, live, reader, lambda step: step.kind in AT_OVEN)
    return Figure(names, reader.say("bake"), "", table)


def next_step(live: LivePlan) -> Step | None:
    """The first step at the oven that is not done; None when the bread is out."""
    for step in steps(live.now):
        if step.kind in AT_OVEN and not is_done(live.now.dough(step.dough), step, live.progress):
            return step
    return None


def countdown_words(seconds: float) -> str:
    """Time to go, or gone by, as a clock shows it.

    >>> countdown_words(754.0), countdown_words(-61.0), countdown_words(7300.0)
    ('12:34', '-1:01', '2:01:40')
    """
    whole = round(abs(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    sign = "-" if seconds <= -0.5 else ""
    return f"{sign}{hours}:{minutes:02d}:{left:02d}" if hours else f"{sign}{minutes}:{left:02d}"
