"""The bake itself: what comes next at the oven, in minutes and seconds large enough to read with a tray in hand."""

import html

import streamlit as st

from dashboard import page, queries
from dashboard.access import preferences, sites
from dashboard.plan import actions, exports, lookups, pictures
from monitor.plan.cues import is_done
from monitor.plan.day import StepKind, steps
from monitor.translatable import N_
from monitor.wording.phrases import printable
from monitor.wording.plan import step_text
from monitor.wording.times import clock_text

TICK_S = 1.0
DONE_WORDS = {
    StepKind.OVEN_ON: N_("The oven is on"),
    StepKind.LOAD: N_("It is in"),
    StepKind.STEAM: N_("Steam is given"),
    StepKind.OUT: N_("It is out"),
}
SOON_S = 60.0


def show() -> None:
    """The countdown, a second at a time."""
    reader = preferences.reader(queries.database().parent)
    subtitle = reader.say("Oven, loads, steam and out, as the dough has it now.")
    st.html(page.heading(reader.say("Bake"), subtitle))

    @st.fragment(run_every=TICK_S)
    def live() -> None:
        page.shown(_draw)

    live()
    page.shown(page.put_live_saves)


def _draw(scene: page.Scene) -> None:
    live = lookups.current_plan(scene.now)
    step = None if live is None else pictures.next_bake_step(live)
    if live is None or step is None:
        title = html.escape(scene.reader.say("Nothing to bake"))
        told = html.escape(scene.reader.say("A plan with a bake counts down here."))
        st.html(f'<div class="panel empty"><h2>{title}</h2><p>{told}</p></div>')
        return
    dough = live.now.dough(step.dough)
    seconds = (step.at - scene.now).total_seconds()
    words = step_text(dough, step, scene.reader)
    colour = ' style="color: var(--ember)"' if seconds < SOON_S else ""
    name = html.escape(printable(dough.recipe.name))
    at = scene.reader.say("at {at}", at=clock_text(step.at, scene.reader, scene.now))
    st.html(
        f'<div class="panel"><p class="saying">{name}: {html.escape(words)}</p>'
        f'<p class="huge countdown"{colour}>{pictures.countdown_words(seconds)}</p>'
        f'<p class="quiet">{html.escape(at)}</p></div>'
    )
    if scene.store.is_copy:
        st.html(page.quiet(sites.noted_there(scene.reader)))
    else:
        st.button(
            page.plain(scene.reader.say(DONE_WORDS[step.kind])),
            key=f"done-{step.key}",
            type="primary",
            on_click=actions.done,
            args=(live.made.id, step.key, words),
        )
    rows = []
    for later in steps(live.now):
        owner = live.now.dough(later.dough)
        if later.kind not in pictures.BAKE_KINDS or later.key == step.key or is_done(owner, later, live.progress):
            continue
        limit = ""
        if later.not_after is not None:
            limit = scene.reader.say("good until {at}", at=clock_text(later.not_after, scene.reader, later.at))
        rows.append(
            f'<tr><td class="n">{html.escape(clock_text(later.at, scene.reader, scene.now))}</td>'
            f"<td>{html.escape(step_text(owner, later, scene.reader))}</td><td>{html.escape(limit)}</td></tr>"
        )
    if rows:
        st.html(f'<div class="panel"><table class="rows">{"".join(rows)}</table></div>')
    page.keep(exports.bake_exhibit(live, scene), "bake")
