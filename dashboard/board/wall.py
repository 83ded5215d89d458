"""The board on a wall, read from three metres: what is due, the clock, and the doughs that need hands next.

Nothing on it can be touched. It goes dark by itself in the bakery's night.
"""

import html
from dataclasses import replace

import streamlit as st

from dashboard import alerts, page, queries
from dashboard.access import preferences
from dashboard.board.bar import what_words, when_words
from dashboard.board.hands import hands_tasks
from dashboard.board.priority import ordered
from dashboard.drawing.markup import picture
from dashboard.drawing.palette import NIGHT
from dashboard.drawing.state_marks import LOOKS, mark_svg
from dashboard.page import View
from dashboard.queries import RunningBatch
from monitor.alerts.calls import USUAL_NIGHT
from monitor.dough.outlook import State
from monitor.dough.tasks import ready_since
from monitor.wording.outlook import outlook_sentence
from monitor.wording.phrases import state_word
from monitor.wording.times import between_text, clock_text

REFRESH_S = 5.0  # nobody waits for it; a screen that hangs for months redraws itself a third as often
MOST_ROWS = 5  # judgement: what has room in letters of 76 pixels on a screen of 1080


def is_wanted() -> bool:
    """True when the address asks for the wall."""
    return "wall" in st.query_params


def show() -> None:
    """The wall and nothing else."""

    @page.live(REFRESH_S)
    def live() -> None:
        page.render(_draw)

    live()


def _draw(view: View) -> None:
    quiet = preferences.quiet_hours(view.store.path.parent) or USUAL_NIGHT
    is_night = quiet.covers(view.now, view.reader.zone)
    shown = replace(view, palette=NIGHT) if is_night else view
    batches = ordered(queries.running_batches(view.store, view.now), view.now)
    rows = "".join(_row(running, shown) for running in batches[:MOST_ROWS])
    more = len(batches) - MOST_ROWS
    if more > 0:
        words = view.reader.count(more, "and {n} more dough", "and {n} more doughs")
        rows += f'<p class="rest">{html.escape(words)}</p>'
    elif not batches:
        rows = f'<p class="rest">{html.escape(view.reader.say("No dough is proofing"))}</p>'
    unwatched = alerts.unwatched_html(view)
    st.html(f'<div class="wall{" dark" if is_night else ""}">{unwatched}{_top(batches, view)}{rows}</div>')


def _top(batches: list[RunningBatch], view: View) -> str:
    """What is due next, and the clock."""
    tasks = hands_tasks(batches, queries.open_alerts(view.store), (), ())
    words = html.escape(view.reader.say("Nothing for hands to do."))
    if tasks:
        what, about = what_words(tasks[0], view.reader, view.now)
        when = html.escape(when_words(tasks[0], view.reader, view.now))
        words = f"<b>{when}</b> {html.escape(what)} <small>{html.escape(about)}</small>"
    clock = html.escape(clock_text(view.now, view.reader))
    return f'<div class="top"><p>{words}</p><p class="hour">{clock}</p></div>'


def _row(running: RunningBatch, view: View) -> str:
    """A dough: its name, its sign and word, its hour with its doubt."""
    batch, outlook = running.batch, running.outlook
    state = State.NO_READINGS if outlook is None or running.stale_since is not None else outlook.state
    mark = picture(mark_svg(state, getattr(view.palette, LOOKS[state].colour)), "", "mark sign")
    hour = doubt = said = ""
    if outlook is not None and state is not State.NO_READINGS:
        said = outlook_sentence(batch, outlook, view.reader)
        since, at = ready_since(outlook), outlook.ready.p50
        if since is not None:
            hour, doubt = clock_text(since, view.reader, view.now), view.reader.say("ready since")
        elif at is not None:
            hour = clock_text(at, view.reader, view.now)
            doubt = between_text(outlook.ready.p05, outlook.ready.p95, view.reader, view.now)
    elif running.stale_since is not None:
        hour, doubt = clock_text(running.stale_since, view.reader, view.now), view.reader.say("last seen")
    label = html.escape(said, quote=True)
    return (
        f'<div class="row" title="{label}"><p class="name">{mark}{html.escape(batch.name)}</p>'
        f'<p class="state-word">{html.escape(state_word(state, view.reader))}</p>'
        f'<p class="hour">{html.escape(hour)}<small>{html.escape(doubt)}</small></p></div>'
    )
