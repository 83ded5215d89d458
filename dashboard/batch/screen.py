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
    page.shown(lambda scene: _draw(scene, finished_page, start_page))


def _draw(scene: page.Scene, finished_page: StreamlitPage, start_page: StreamlitPage) -> None:
    batches = {batch.id: batch for batch in scene.store.batches(running=True)}
    asked = queries.asked_batch_id()
    if asked is not None and asked not in batches and asked in {batch.id for batch in scene.store.batches()}:
        st.html(page.heading(scene.store.batch(asked).name, scene.reader.say("This stage is over.")))
        st.page_link(finished_page, label=scene.reader.say("See how it went"), query_params={"batch": str(asked)})
        return
    if not batches:
        st.html(
            page.heading(
                scene.reader.say("No dough is proofing"), scene.reader.say("Begin a batch, and its curve stands here.")
            )
        )
        if not scene.store.is_copy:
            st.page_link(start_page, label=scene.reader.say("Start a batch"), icon=":material/arrow_forward:")
        return
    title, choice = st.columns([2.3, 1], gap="large", vertical_alignment="bottom")
    key, batch = _chosen(batches, asked, scene.reader)
    began = clock_text(batch.started_at, scene.reader, scene.now)
    told = scene.reader.say("{stage}, begun {at}", stage=stage_word(batch.stage, scene.reader), at=began)
    title.html(page.heading(batch.name, told))
    with st.container(key="bench"):
        side, notes, curve = (st.container(key=key) for key in ("side", "notes", "curve"))
    question = curve.container()
    with side:
        _live_side(batch)
    with curve:
        _live_curve(batch)
    page.head_start("batch")
    with choice:
        _put_choice(key, batches, scene.reader)
    with notes:
        if scene.store.is_copy:
            st.html(page.quiet(sites.noted_there(scene.reader)))
        else:
            logbook.put_notes(batch, finished_page, scene.reader)
    with question:
        scenarios.put_question(scene, batch)
    with curve:
        _live_air(batch)
        page.put_live_saves(scene)
        zip_file.put_whole(scene, batch)


def _chosen(batches: dict[BatchId, Batch], asked: BatchId | None, reader: Reader) -> tuple[str, Batch]:
    """The batch to show, by the address or by what was chosen last; and the key of the choice that is put later."""
    key = f"which, in {reader.language.code}"  # a browser keeps the words of a choice as long as its key
    first = next(iter(batches))
    address.follows(key, asked if asked in batches else first)
    if st.session_state[key] not in batches:  # its stage has ended meanwhile
        st.session_state[key] = first
    return key, batches[st.session_state[key]]


def _put_choice(key: str, batches: dict[BatchId, Batch], reader: Reader) -> None:
    """The other batches; the address follows the choice."""
    chosen = st.selectbox(
        reader.say("Another batch"),
        list(batches),
        format_func=lambda batch_id: f"{batches[batch_id].name} · {stage_word(batches[batch_id].stage, reader)}",
        key=key,
        label_visibility="collapsed",
    )
    address.told(key, chosen)
    address.write({"batch": str(chosen)}, ["batch"])


@st.fragment(run_every=page.REFRESH_S)
def _live_side(batch: Batch) -> None:
    def draw(scene: page.Scene) -> None:
        row = queries.running_row(scene.store, scene.store.batch(batch.id), scene.now)
        st.html(cards.side(row, scene))
        alerts.put_of_batch(queries.standing(scene.store, row.batch), alerts.told_of(scene, batch.id), scene)

    page.shown(draw)


@st.fragment(run_every=page.REFRESH_S)
def _live_curve(batch: Batch) -> None:
    def draw(scene: page.Scene) -> None:
        now = scene.store.batch(batch.id)
        supposed = scenarios.asked(scene, now)
        plots.put_running(scene, now, supposed)

    page.shown(draw)


@st.fragment(run_every=page.REFRESH_S)
def _live_air(batch: Batch) -> None:
    def draw(scene: page.Scene) -> None:
        now = scene.store.batch(batch.id)
        supposed = scenarios.asked(scene, now)
        plots.put_air(scene, now, scene.store.track(now), plots.running_span(scene, now, supposed), "running")

    page.shown(draw)
