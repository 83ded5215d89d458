"""Navigation between the screens, and nothing else: ``python -m dashboard -- --data-dir DIR``."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import queries
from dashboard.access import preferences, sites
from dashboard.batch import screen as batch
from dashboard.board import screen as board
from dashboard.compare import screen as compare
from dashboard.formula import screen as formula
from dashboard.login import screen as gate
from dashboard.page import put_style
from dashboard.plan import bake
from dashboard.plan import screen as plan
from dashboard.review import screen as finished
from dashboard.safety import screen as cautions
from dashboard.sensors import screen as nodes
from dashboard.start import screen as start

st.set_page_config(page_title="Proofing monitor", layout="wide", initial_sidebar_state="collapsed")
put_style()
if not gate.is_open(queries.database().parent):
    st.stop()
reader = preferences.reader(queries.database().parent)
compare_page = st.Page(compare.show, title=reader.say("Compare"), url_path="compare")
finished_page: StreamlitPage = st.Page(
    lambda: finished.show(finished_page, compare_page), title=reader.say("Finished"), url_path="finished"
)
start_page: StreamlitPage = st.Page(lambda: start.show(batch_page), title=reader.say("Start"), url_path="start")
batch_page: StreamlitPage = st.Page(
    lambda: batch.show(finished_page, start_page), title=reader.say("Batch"), url_path="batch"
)
pages = [
    st.Page(lambda: board.show(batch_page, start_page), title=reader.say("Board"), url_path="board", default=True),
    batch_page,
    start_page,
    st.Page(plan.show, title=reader.say("Plan"), url_path="plan"),
    st.Page(bake.show, title=reader.say("Bake"), url_path="bake"),
    st.Page(formula.show, title=reader.say("Formula"), url_path="formula"),
    finished_page,
    compare_page,
    st.Page(nodes.show, title=reader.say("Nodes"), url_path="nodes"),
    st.Page(cautions.show, title=reader.say("Cautions"), url_path="cautions"),
]
current = st.navigation(pages, position="hidden")
nav = st.container(key="nav", horizontal=True)
# Drawn before the curve, the links would hold it back by some 0.4 s: a small machine's browser, measured under load.
if current == batch_page:
    current.run()
with nav:
    chosen = preferences.in_address(queries.database().parent)
    for page in pages:
        if page == current:
            st.html(f'<span class="here" aria-current="page">{html.escape(page.title)}</span>', width="content")
        else:
            st.page_link(page, label=page.title, query_params=chosen)
    if current.url_path:  # the board shows every site
        sites.put_choice(queries.data_dir(), reader)
    preferences.put_choice(queries.database().parent)
    gate.put_leave(queries.database().parent)
if current != batch_page:
    current.run()
