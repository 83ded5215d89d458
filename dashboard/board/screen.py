"""Every running batch: trouble first, then by what is due next, under the bar that says what is to be done."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, cards, page, queries
from dashboard.access import preferences, sites
from dashboard.board import bar, dense, empty
from dashboard.board.hands import alerts_of, hands_tasks, is_calling, plan_tasks
from dashboard.board.priority import ordered
from dashboard.drawing import markup
from dashboard.drawing.markup import picture
from dashboard.drawing.strips import Hours, hours_svg, shared_hours
from dashboard.page import View
from dashboard.plans import current_plan
from dashboard.queries import OpenAlert, RunningBatch
from monitor.collector.plan_runner import LivePlan

MOST_CARDS = 8  # more are rows: judgement, what a tablet shows without scrolling far


def show(batch_page: StreamlitPage, start_page: StreamlitPage, sensors_page: StreamlitPage) -> None:
    """The board, looked at again every few seconds; a few sites one after the other, or the one asked for."""

    @page.live()
    def live() -> None:
        for name in sites.at_once(queries.data_dir()) or ("",):
            page.render(lambda view: _draw(view, batch_page, start_page, sensors_page), name)

    live()


def _draw(view: View, batch_page: StreamlitPage, start_page: StreamlitPage, sensors_page: StreamlitPage) -> None:
    say, folder = view.reader.say, view.store.path.parent
    batches = ordered(queries.running_batches(view.store, view.now), view.now)
    open_alerts = queries.open_alerts(view.store)
    if view.site:
        st.html(markup.section(view.site))
    if unwatched := alerts.unwatched_html(view):
        st.html(unwatched)
    alerts.show_own(open_alerts, view)
    live = current_plan(view.store, view.now)
    if batches or live is not None:
        _show_bar(batches, open_alerts, live, view)
    if not batches and view.store.is_copy:  # a batch is begun at its own site
        st.html(markup.quiet(say("No dough is proofing")))
    elif not batches:
        empty.show(start_page, sensors_page, view)
    hours = shared_hours([(running.batch, running.outlook) for running in batches], view.now)
    chosen = preferences.in_address(folder) | ({"site": view.site} if view.site else {})
    shown: set[int] = set()
    if len(batches) > MOST_CARDS:
        dense.show(batches, open_alerts, hours, chosen, view)
    elif batches:
        st.html(_hours_line(batches, open_alerts, hours, view))
        for running in batches:
            mine = alerts_of(running.batch, open_alerts)
            shown |= {each.alert.number for each in mine}
            _show_card(running, mine, hours, chosen, view, batch_page)
    alerts.show_others([each for each in open_alerts if each.alert.number not in shown], view)
    if words := alerts.night_words(view, preferences.quiet_hours(folder)):
        st.html(markup.quiet(words))


def _show_bar(batches: list[RunningBatch], open_alerts: list[OpenAlert], live: LivePlan | None, view: View) -> None:
    plan_id = None if live is None else live.made.id
    watched = [] if plan_id is None else [batch.id for batch in view.store.plans.batches_of(plan_id).values()]
    planned = [] if live is None else plan_tasks(live, view.store.plans.cues(live.made.id), view.now)
    bar.show(hands_tasks(batches, open_alerts, planned, watched), plan_id, view)


def _show_card(
    running: RunningBatch,
    mine: list[OpenAlert],
    hours: Hours,
    chosen: dict[str, str],
    view: View,
    batch_page: StreamlitPage,
) -> None:
    """A dough with what it calls for; the whole card leads to its screen."""
    batch = running.batch
    with st.container(key=f"card-{view.site}{batch.id}"):
        with st.container(key=f"told-{view.site}{batch.id}", gap="small"):
            st.html(cards.running_card(running, view))
            alerts.show_in_card(mine, view)
        st.html(cards.running_strip(running, hours, view))
        label = markup.plain(view.reader.say("Open {batch}", batch=batch.name))
        st.page_link(batch_page, label=label, query_params={"batch": str(batch.id), **chosen})


def _hours_line(batches: list[RunningBatch], open_alerts: list[OpenAlert], hours: Hours, view: View) -> str:
    """How many doughs there are and how many call; beside it, once for all strips, the hours."""
    n = len(batches)
    calling = sum(is_calling(running.batch, open_alerts) for running in batches)
    words = view.reader.count(n, "{n} dough", "{n} doughs")
    if calling:
        words += ", " + view.reader.count(calling, "{n} calls for you", "{n} call for you")
    svg = hours_svg(hours, view.now, view.reader, view.palette)
    return f'<div class="across hours"><p>{html.escape(words)}</p>{picture(svg, "", "mark hours")}</div>'
