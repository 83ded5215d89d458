"""Every running batch: trouble first, then by who needs hands next, under the bar that says what hands must do."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, cards, page, queries
from dashboard.access import preferences, sites
from dashboard.drawing.strips import shared_hours
from dashboard.priority import dues, ordered
from monitor.wording.reader import Reader


def show(batch_page: StreamlitPage, start_page: StreamlitPage) -> None:
    """The board, looked at again every few seconds; of several sites one after the other."""

    @st.fragment(run_every=page.REFRESH_S)
    def live() -> None:
        names = sites.names(queries.data_dir())
        for name in names if len(names) > 1 else ("",):
            page.render(lambda view: _draw(view, batch_page, start_page), name)

    live()


def _draw(view: page.View, batch_page: StreamlitPage, start_page: StreamlitPage) -> None:
    rows = queries.running_batches(view.store, view.now)
    if view.site:
        st.html(page.section(view.site))
    if not rows:
        alerts.show_unseen(queries.active_alerts(view.store), view)
        if view.store.is_copy:  # a batch is begun at its own site
            st.html(page.quiet(view.reader.say("No dough is proofing")))
            return
        _show_nothing_yet(view, start_page)
        return
    st.html(cards.bar(dues(rows, view.now, view.reader), view))
    alerts.show_unseen(queries.active_alerts(view.store), view)
    hours = shared_hours([(row.batch, row.outlook) for row in rows], view.now)
    kept = preferences.in_address(view.store.path.parent) | ({"site": view.site} if view.site else {})
    for row in ordered(rows, view.now, view.reader):
        with st.container(key=f"card-{view.site}{row.batch.id}"):
            st.html(cards.batch_card(row, hours, view))
            label = page.plain(view.reader.say("Open {batch}", batch=row.batch.name))
            st.page_link(batch_page, label=label, query_params={"batch": str(row.batch.id), **kept})
    quiet = preferences.quiet_hours(view.store.path.parent)
    st.html(f'<p class="quiet">{html.escape(alerts.night_words(view, quiet))}</p>')


def _show_nothing_yet(view: page.View, start_page: StreamlitPage) -> None:
    """What to do when no dough is proofing: the way to begin one here, then the one by a file."""
    say = view.reader.say
    st.html(
        page.heading(say("No dough is proofing"), say("Each batch you begin gets its tub and its strip of clock here."))
    )
    st.page_link(start_page, label=say("Start a batch"), icon=":material/arrow_forward:")
    st.html(_by_file(str(view.store.path.parent), view.reader))


def _by_file(folder: str, reader: Reader) -> str:
    """How a batch is begun by command."""
    told = {
        key: html.escape(reader.say(sentence))
        for key, sentence in {
            "title": "Or by a command",
            "describe": "Describe it in a small file:",
            "begin": "Then begin it, and keep the collector running:",
            "demo": "To see a whole morning first, with invented doughs:",
        }.items()
    }
    reads = html.escape(reader.say("This screen reads {folder}.", folder=folder))
    return f"""<div class="panel empty"><h2>{told["title"]}</h2>
<p>{told["describe"]} <code>loaf.toml</code></p>
<pre>name = "Country loaf, tub 3"
stage = "bulk rise"
started = 2026-03-02T05:40:00Z
target_rise_pct = 75

[vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 300</pre>
<p>{told["begin"]}</p>
<pre>proofing-monitor batch start loaf.toml --now
proofing-monitor collect</pre>
<p>{told["demo"]} <code>proofing-monitor demo</code></p>
<p class="quiet">{reads}</p></div>"""
