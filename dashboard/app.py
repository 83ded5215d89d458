"""Navigation between the screens, and nothing else: ``python -m dashboard -- --data-dir DIR``."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions, figures, queries
from dashboard.access import login, preferences, sites
from dashboard.bake import screen as bake
from dashboard.batch import screen as batch
from dashboard.board import screen as board
from dashboard.compare import screen as compare
from dashboard.formula import screen as formula
from dashboard.guide import screen as guide
from dashboard.page import show_style
from dashboard.plan import screen as plan
from dashboard.review import screen as review
from dashboard.safety import screen as safety
from dashboard.sensors import screen as sensors
from dashboard.start import screen as start

st.set_page_config(page_title="Proofing monitor", layout="wide", initial_sidebar_state="collapsed")
show_style()
actions.show_later()
figures.forget()
folder = queries.database().parent
if not login.is_open(folder):
    st.stop()
reader = preferences.reader(folder)
say = reader.say
compare_page = st.Page(compare.show, title=say("Compare"), url_path="compare")
review_page: StreamlitPage = st.Page(
    lambda: review.show(review_page, compare_page), title=say("Review"), url_path="review"
)
start_page: StreamlitPage = st.Page(lambda: start.show(batch_page), title=say("Start"), url_path="start")
batch_page: StreamlitPage = st.Page(lambda: batch.show(review_page, start_page), title=say("Batch"), url_path="batch")
pages = [
    st.Page(lambda: board.show(batch_page, start_page), title=say("Board"), url_path="board", default=True),
    batch_page,
    start_page,
    st.Page(plan.show, title=say("Plan"), url_path="plan"),
    st.Page(bake.show, title=say("Bake"), url_path="bake"),
    st.Page(formula.show, title=say("Formula"), url_path="formula"),
    review_page,
    compare_page,
    st.Page(sensors.show, title=say("Sensors"), url_path="sensors"),
    st.Page(guide.show, title=say("Guide"), url_path="guide"),
    st.Page(safety.show, title=say("Safety"), url_path="safety"),
]
current = st.navigation(pages, position="hidden")
nav = st.container(key="nav", horizontal=True)
# Drawn before the curve, the links would hold it back by some 0.4 s: a small machine's browser, measured under load.
if current == batch_page:
    current.run()
with nav:
    chosen = preferences.in_address(folder)
    for page in pages:
        if page == current:
            st.html(f'<span class="here" aria-current="page">{html.escape(page.title)}</span>', width="content")
        else:
            st.page_link(page, label=page.title, query_params=chosen)
    if current.url_path:  # the board shows every site
        sites.show_choice(queries.data_dir(), reader)
    preferences.show_choice(folder)
    login.show_logout(folder)
if current != batch_page:
    current.run()
