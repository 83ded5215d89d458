"""More doughs than cards are read: a row each, by cabinet and shelf, with what is wanted chosen above."""

import html
from collections.abc import Callable, Iterable
from itertools import groupby
from urllib.parse import urlencode

import streamlit as st

from dashboard.access import preferences
from dashboard.board.hands import is_calling
from dashboard.drawing.markup import picture
from dashboard.drawing.state_marks import chip
from dashboard.drawing.strips import Hours, hours_svg, strip_svg
from dashboard.page import View
from dashboard.queries import OpenAlert, RunningBatch
from monitor.dough.outlook import Moments, State
from monitor.recipe.batch import BatchId, Stage
from monitor.translatable import N_
from monitor.wording.alerts import about_text, clock_text, outlook_sentence, stage_word
from monitor.wording.reader import Reader

RISING = (State.NO_RISE, State.RISING, State.NEARLY_READY)
FILTERS = {
    "hands": N_("Needs hands"),
    "rising": N_("Rising"),
    "cold": N_("In the cold"),
}


def show(
    batches: list[RunningBatch], open_alerts: list[OpenAlert], hours: Hours, chosen: dict[str, str], view: View
) -> None:
    """The rows, grouped by place; the doughs without a place come last."""
    calling = {running.batch.id for running in batches if is_calling(running.batch, open_alerts)}
    is_wanted: dict[str, Callable[[RunningBatch], bool]] = {
        "hands": lambda running: running.batch.id in calling or _state(running) not in RISING,
        "rising": lambda running: _state(running) in RISING and running.batch.stage is not Stage.RETARD,
        "cold": lambda running: running.batch.stage is Stage.RETARD,
    }
    counts = {name: sum(map(wanted, batches)) for name, wanted in is_wanted.items()}
    with st.container(key=f"choose{view.site}"):
        wanted = st.pills(
            view.reader.say("Which doughs"),
            list(FILTERS),
            format_func=lambda name: f"{view.reader.say(FILTERS[name])} {counts[name]}",
            key=f"which-doughs{view.site}",
            label_visibility="collapsed",
        )
    kept = [running for running in batches if wanted is None or is_wanted[wanted](running)]
    svg = hours_svg(hours, view.now, view.reader, view.palette)
    words = html.escape(view.reader.count(len(kept), "{n} dough", "{n} doughs"))
    st.html(f'<div class="across hours"><p>{words}</p>{picture(svg, "", "mark hours")}</div>')
    st.html("".join(_groups(kept, calling, hours, chosen, view)))


def _groups(
    batches: list[RunningBatch], calling: set[BatchId], hours: Hours, chosen: dict[str, str], view: View
) -> Iterable[str]:
    folder = view.store.path.parent

    def place(running: RunningBatch) -> str:
        return preferences.place_of(folder, *(node for _, node in running.batch.nodes))

    by_place = sorted(batches, key=lambda running: (not place(running), place(running)))
    for name, group in groupby(by_place, key=place):
        if name:
            yield f'<h2 class="place">{html.escape(name)}</h2>'
        rows = "".join(_row(running, running.batch.id in calling, hours, chosen, view) for running in group)
        yield f'<ul class="dense">{rows}</ul>'


def _state(running: RunningBatch) -> State:
    return State.NO_READINGS if running.outlook is None else running.outlook.state


def _row(running: RunningBatch, is_calling: bool, hours: Hours, chosen: dict[str, str], view: View) -> str:
    batch, outlook = running.batch, running.outlook
    strip = strip_svg(
        batch, outlook, hours, view.now, view.reader, view.palette, stale_since=running.stale_since, has_hours=False
    )
    rise = "" if outlook is None or outlook.rise_pct is None else f"{outlook.rise_pct.p50:.0f} %"
    words = _when(running, view.reader, view)
    address = html.escape(f"./batch?{urlencode({'batch': batch.id, **chosen})}", quote=True)
    said = "" if outlook is None else outlook_sentence(batch, outlook, view.reader)
    return (
        f'<li class="{"calling" if is_calling else "still"}"><a href="{address}" target="_self">'
        f"<b>{html.escape(batch.name)}</b> <small>{html.escape(stage_word(batch.stage, view.reader))}</small></a>"
        f"{chip(_state(running), view.palette, view.reader)}"
        f'<span class="rise">{rise}</span><span class="when">{html.escape(words)}</span>'
        f"{picture(strip, said, 'strip')}</li>"
    )


def _when(running: RunningBatch, reader: Reader, view: View) -> str:
    """When it is ready, in as few words as say it."""
    outlook = running.outlook
    if running.stale_since is not None:
        return reader.say("no readings since {at}", at=clock_text(running.stale_since, reader, view.now))
    if outlook is None:
        return ""
    if _state(running) in RISING:
        return about_text(Moments(p50=outlook.ready.p50), reader, view.now) or ""  # its doubt is the strip's
    return (
        ""
        if outlook.ready.p50 is None
        else reader.say("since {at}", at=clock_text(outlook.ready.p50, reader, view.now))
    )
