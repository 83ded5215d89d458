"""Every running batch: trouble first, then by what is due next, under the bar that says what is to be done."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, cards, page, queries
from dashboard.access import preferences, sites
from dashboard.board.priority import DueTask, due_tasks, due_words, ordered
from dashboard.drawing import markup
from dashboard.drawing.strips import shared_hours
from dashboard.page import View
from monitor.translatable import N_
from monitor.wording.alerts import clock_text
from monitor.wording.reader import Reader

BY_COMMAND = {
    "title": N_("Or by a command"),
    "describe": N_("Describe it in a small file:"),
    "begin": N_("Then begin it, and keep the collector running:"),
    "demo": N_("To see a whole morning first, with invented doughs:"),
}


def show(batch_page: StreamlitPage, start_page: StreamlitPage) -> None:
    """The board, looked at again every few seconds; of several sites one after the other."""

    @st.fragment(run_every=page.REFRESH_S)
    def live() -> None:
        names = sites.names(queries.data_dir())
        for name in names if len(names) > 1 else ("",):
            page.render(lambda view: _draw(view, batch_page, start_page), name)

    live()


def _draw(view: View, batch_page: StreamlitPage, start_page: StreamlitPage) -> None:
    say, folder = view.reader.say, view.store.path.parent
    batches = queries.running_batches(view.store, view.now)
    if view.site:
        st.html(markup.section(view.site))
    if batches:
        st.html(bar(due_tasks(batches, view.now, view.reader), view))
    alerts.show_unseen(queries.open_alerts(view.store), view)
    if not batches and view.store.is_copy:  # a batch is begun at its own site
        st.html(markup.quiet(say("No dough is proofing")))
    elif not batches:
        below = say("Each batch you begin gets its tub and its strip of clock here.")
        st.html(markup.heading(say("No dough is proofing"), below))
        st.page_link(start_page, label=say("Start a batch"), icon=":material/arrow_forward:")
        st.html(_by_command(str(folder), view.reader))
    if not batches:
        return
    hours = shared_hours([(running.batch, running.outlook) for running in batches], view.now)
    chosen = preferences.in_address(folder) | ({"site": view.site} if view.site else {})
    for running in ordered(batches, view.now, view.reader):
        batch = running.batch
        with st.container(key=f"card-{view.site}{batch.id}"):
            st.html(cards.running_card(running, hours, view))
            label = markup.plain(say("Open {batch}", batch=batch.name))
            st.page_link(batch_page, label=label, query_params={"batch": str(batch.id), **chosen})
    st.html(markup.quiet(alerts.night_words(view, preferences.quiet_hours(folder))))


def bar(tasks: list[DueTask], view: View) -> str:
    """The dark bar: the next thing to do, the ones after, and the time."""
    small = html.escape(page.clock_words(view.speed, view.reader))
    hour = html.escape(clock_text(view.now, view.reader))
    clock = f'<div class="clock">{hour}<small>{small}</small></div>'
    if not tasks:
        nothing = html.escape(view.reader.say("Nothing for hands to do."))
        return f'<div class="bar"><p class="next">{nothing}</p>{clock}</div>'
    when, what = due_words(tasks[0], view.reader, view.now)
    then = (due_words(due, view.reader, view.now) for due in tasks[1:3])
    rows = "".join(f"<dt>{html.escape(at.lower())}</dt><dd>{html.escape(words)}</dd>" for at, words in then)
    after = f'<dl class="then">{rows}</dl>' if rows else ""
    return f'<div class="bar"><p class="next"><b>{html.escape(when)}</b>{html.escape(what)}</p>{clock}{after}</div>'


def _by_command(folder: str, reader: Reader) -> str:
    """How a batch is begun by command."""
    words = {key: html.escape(reader.say(sentence)) for key, sentence in BY_COMMAND.items()}
    reads = html.escape(reader.say("This screen reads {folder}.", folder=folder))
    return f"""<div class="panel empty"><h2>{words["title"]}</h2>
<p>{words["describe"]} <code>loaf.toml</code></p>
<pre>name = "Country loaf, tub 3"
stage = "first rise"
started = 2026-03-02T05:40:00Z
target_rise_pct = 75

[vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 300</pre>
<p>{words["begin"]}</p>
<pre>proofing-monitor batch start loaf.toml --now
proofing-monitor collect</pre>
<p>{words["demo"]} <code>proofing-monitor demo</code></p>
<p class="quiet">{reads}</p></div>"""
