"""One running batch: its curve and forecast, its air, its tub, and what a baker notes about it."""

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, cards, page, queries
from dashboard.access import address, sites
from dashboard.batch import logbook, plots, scenarios, zip_file
from monitor.recipe.batch import Batch, BatchId
from monitor.wording.alerts import clock_text, stage_word
from monitor.wording.reader import Reader


def show(finished_page: StreamlitPage, start_page: StreamlitPage) -> None:
    """The batch named in the address, or the one that began first."""
    page.render(lambda view: _draw(view, finished_page, start_page))


def _draw(view: page.View, finished_page: StreamlitPage, start_page: StreamlitPage) -> None:
    batches = {batch.id: batch for batch in view.store.batches(running=True)}
    asked = queries.asked_batch_id()
    if asked is not None and asked not in batches and asked in {batch.id for batch in view.store.batches()}:
        st.html(page.heading(view.store.batch(asked).name, view.reader.say("This stage is over.")))
        st.page_link(finished_page, label=view.reader.say("See how it went"), query_params={"batch": str(asked)})
        return
    if not batches:
        st.html(
            page.heading(
                view.reader.say("No dough is proofing"), view.reader.say("Begin a batch, and its curve stands here.")
            )
        )
        if not view.store.is_copy:
            st.page_link(start_page, label=view.reader.say("Start a batch"), icon=":material/arrow_forward:")
        return
    title, choice = st.columns([2.3, 1], gap="large", vertical_alignment="bottom")
    key, batch = _chosen(batches, asked, view.reader)
    began = clock_text(batch.started_at, view.reader, view.now)
    told = view.reader.say("{stage}, begun {at}", stage=stage_word(batch.stage, view.reader), at=began)
    title.html(page.heading(batch.name, told))
    with st.container(key="bench"):
        side, notes, curve = (st.container(key=key) for key in ("side", "notes", "curve"))
    question = curve.container()
    with side:
        _live_side(batch)
    with curve:
        _live_curve(batch)
    page.wait_for_first_chart("batch")
    with choice:
        _show_choice(key, batches, view.reader)
    with notes:
        if view.store.is_copy:
            st.html(page.quiet(sites.copy_words(view.reader)))
        else:
            logbook.show_logbook(batch, finished_page, view.reader)
    with question:
        scenarios.show_question(view, batch)
    with curve:
        _live_air(batch)
        page.show_live_downloads(view)
        zip_file.show_batch_download(view, batch)


def _chosen(batches: dict[BatchId, Batch], asked: BatchId | None, reader: Reader) -> tuple[str, Batch]:
    """The batch to show, by the address or by what was chosen last; and the key of the choice that is put later."""
    key = f"which, in {reader.language.code}"  # a browser keeps the words of a choice as long as its key
    first = next(iter(batches))
    address.synced_key(key, asked if asked in batches else first)
    if st.session_state[key] not in batches:  # its stage has ended meanwhile
        st.session_state[key] = first
    return key, batches[st.session_state[key]]


def _show_choice(key: str, batches: dict[BatchId, Batch], reader: Reader) -> None:
    """The other batches; the address follows the choice."""
    chosen = st.selectbox(
        reader.say("Another batch"),
        list(batches),
        format_func=lambda batch_id: f"{batches[batch_id].name} · {stage_word(batches[batch_id].stage, reader)}",
        key=key,
        label_visibility="collapsed",
    )
    address.remember(key, chosen)
    address.write({"batch": str(chosen)}, ["batch"])


@st.fragment(run_every=page.REFRESH_S)
def _live_side(batch: Batch) -> None:
    def draw(view: page.View) -> None:
        row = queries.running_batch(view.store, view.store.batch(batch.id), view.now)
        st.html(cards.side(row, view))
        alerts.show_of_batch(queries.active_alerts(view.store, row.batch), alerts.calls_of_batch(view, batch.id), view)

    page.render(draw)


@st.fragment(run_every=page.REFRESH_S)
def _live_curve(batch: Batch) -> None:
    def draw(view: page.View) -> None:
        now = view.store.batch(batch.id)
        supposed = scenarios.asked(view, now)
        plots.show_running(view, now, supposed)

    page.render(draw)


@st.fragment(run_every=page.REFRESH_S)
def _live_air(batch: Batch) -> None:
    def draw(view: page.View) -> None:
        now = view.store.batch(batch.id)
        supposed = scenarios.asked(view, now)
        plots.show_air(view, now, view.store.track(now), plots.running_span(view, now, supposed), "running")

    page.render(draw)
