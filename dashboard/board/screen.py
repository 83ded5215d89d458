"""Every running batch: trouble first, then by who needs hands next, under the bar that says what hands must do."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, cards, page, queries
from dashboard.access import preferences, sites
from dashboard.drawing.strips import shared_hours
from dashboard.priority import dues, ordered
from monitor.translatable import N_
from monitor.wording.reader import Reader


def show(batch_page: StreamlitPage, start_page: StreamlitPage) -> None:
    """The board, looked at again every few seconds; of several sites one after the other."""

    @st.fragment(run_every=page.REFRESH_S)
    def live() -> None:
        names = sites.names(queries.data_dir())
        for name in names if len(names) > 1 else ("",):
            page.shown(lambda scene: _draw(scene, batch_page, start_page), name)

    live()


def _draw(scene: page.Scene, batch_page: StreamlitPage, start_page: StreamlitPage) -> None:
    rows = queries.board_rows(scene.store, scene.now)
    if scene.site:
        st.html(page.section(scene.site))
    if not rows:
        alerts.put_calling(queries.standing(scene.store), scene)
        if scene.store.is_copy:  # a batch is begun at its own site
            st.html(page.quiet(scene.reader.say("No dough is proofing")))
            return
        _put_nothing_yet(scene, start_page)
        return
    st.html(cards.bar(dues(rows, scene.now, scene.reader), scene))
    alerts.put_calling(queries.standing(scene.store), scene)
    hours = shared_hours([(row.batch, row.outlook) for row in rows], scene.now)
    kept = preferences.in_address(scene.store.path.parent) | ({"site": scene.site} if scene.site else {})
    for row in ordered(rows, scene.now, scene.reader):
        with st.container(key=f"card-{scene.site}{row.batch.id}"):
            st.html(cards.batch_card(row, hours, scene))
            label = page.plain(scene.reader.say("Open {batch}", batch=row.batch.name))
            st.page_link(batch_page, label=label, query_params={"batch": str(row.batch.id), **kept})
    quiet = preferences.quiet_hours(scene.store.path.parent)
    st.html(f'<p class="quiet">{html.escape(alerts.night_words(scene, quiet))}</p>')


def _put_nothing_yet(scene: page.Scene, start_page: StreamlitPage) -> None:
    """What to do when no dough is proofing: the way to begin one here, then the one by a file."""
    say = scene.reader.say
    st.html(
        page.heading(say("No dough is proofing"), say("Each batch you begin gets its tub and its strip of clock here."))
    )
    st.page_link(start_page, label=say("Start a batch"), icon=":material/arrow_forward:")
    st.html(_by_file(str(scene.store.path.parent), scene.reader))


def _by_file(folder: str, reader: Reader) -> str:
    """How a batch is begun by command."""
    told = {
        key: html.escape(reader.say(sentence))
        for key, sentence in {
            "title": N_("Or by a command"),
            "describe": N_("Describe it in a small file:"),
            "begin": N_("Then begin it, and keep the collector running:"),
            "demo": N_("To see a whole morning first, with invented doughs:"),
        }.items()
    }
    reads = html.escape(reader.say("This screen reads {folder}.", folder=folder))
    return f"""<div class="panel empty"><h2>{told["title"]}</h2>
<p>{told["describe"]} <code>loaf.toml</code></p>
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
<p>{told["begin"]}</p>
<pre>proofing-monitor batch start loaf.toml --now
proofing-monitor collect</pre>
<p>{told["demo"]} <code>proofing-monitor demo</code></p>
<p class="quiet">{reads}</p></div>"""
