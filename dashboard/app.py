"""Navigation between the screens, and nothing else: ``python -m dashboard --data-dir DIR``."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions, figures, queries, undo
from dashboard.access import example, login, preferences, sites
from dashboard.batch import screen as batch
from dashboard.board import screen as board
from dashboard.board import wall
from dashboard.compare import screen as compare
from dashboard.formula import screen as formula
from dashboard.guide import screen as guide
from dashboard.overview import screen as overview
from dashboard.page import forget_drawings, show_style
from dashboard.plan import screen as plan
from dashboard.review import screen as review
from dashboard.safety import screen as safety
from dashboard.sensors import screen as sensors
from dashboard.start import screen as start

st.set_page_config(page_title="Proofing monitor", layout="wide", initial_sidebar_state="collapsed")
show_style()
forget_drawings()
actions.show_later()
figures.forget()
folder = queries.database().parent
if not login.is_open(queries.guarding(queries.database())):
    st.stop()
if wall.is_wanted():
    wall.show()
    st.stop()
reader = preferences.reader(folder)
say = reader.say
compare_page = st.Page(compare.show, title=say("Compare"), url_path="compare")
review_page: StreamlitPage = st.Page(
    lambda: review.show(review_page, compare_page), title=say("Review"), url_path="review"
)
start_page: StreamlitPage = st.Page(lambda: start.show(batch_page), title=say("Start"), url_path="start")
batch_page: StreamlitPage = st.Page(lambda: batch.show(review_page, start_page), title=say("Batch"), url_path="batch")
sensors_page = st.Page(sensors.show, title=say("Sensors"), url_path="sensors")
board_page = st.Page(
    lambda: board.show(batch_page, start_page, sensors_page), title=say("Board"), url_path="board", default=True
)
plan_page = st.Page(plan.show, title=say("Plan"), url_path="plan")
# On a phone the first three and the rest behind "More" stand at the thumb; a wide screen has room for a few more.
first = [board_page, start_page, plan_page]
beside = [
    st.Page(formula.show, title=say("Formula"), url_path="formula"),
    review_page,
]
rest = [
    batch_page,
    compare_page,
    sensors_page,
    st.Page(guide.show, title=say("Guide"), url_path="guide"),
    st.Page(safety.show, title=say("Safety"), url_path="safety"),
]
if overview.is_there(queries.data_dir()):
    beside.insert(0, st.Page(overview.show, title=say("All shops"), url_path="overview"))
current = st.navigation([*first, *beside, *rest], position="hidden")
nav = st.container(key="nav", horizontal=True)
example.show_mark(reader)


def show_link(page: StreamlitPage, where: str) -> None:
    """The way to a screen; where one is, its name alone."""
    with st.container(key=f"{where}-{page.url_path or 'board'}", width="content"):
        if page == current:
            st.html(f'<span class="here" aria-current="page">{html.escape(page.title)}</span>', width="content")
        else:
            st.page_link(page, label=page.title, query_params=preferences.in_address(folder))


# Drawn before the curve, the links would hold it back by some 0.4 s: a small machine's browser, measured under load.
if current == batch_page:
    current.run()
with nav:
    for page in first:
        show_link(page, "at-thumb")
    for page in beside if current in (*first, *beside) else (*beside, current):
        show_link(page, "beside")
    if current.url_path != "overview" and (current.url_path or not sites.at_once(queries.data_dir())):
        sites.show_choice(queries.data_dir(), reader)
    with st.popover(say("More"), key="more-places"):
        for page in beside:
            show_link(page, "narrow")
        for page in rest:
            show_link(page, "more")
        preferences.show_choice(folder)
        login.show_logout(folder)
undo.show()
if current != batch_page:
    current.run()
