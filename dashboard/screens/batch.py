"""One running batch: its curve and forecast, its air, its tub, and what a baker notes about it."""

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions, cards, page, plots, queries, standing, supposing, whole
from monitor.bakery.manner import Manner
from monitor.bakery.wording import clock_text, stage_word
from monitor.recipe.batch import LARGEST_RISE_PCT, Batch, BatchId, EventKind

BAND_STEPS_PCT = (-10, -5, 5, 10)
DONE = {"Folded": EventKind.FOLD, "Moved": EventKind.MOVE}
POKES = {"fast": "springs back fast", "slowly": "springs back slowly", "not at all": "stays"}


def show(finished_page: StreamlitPage, start_page: StreamlitPage) -> None:
    """The batch named in the address, or the one that began first."""
    page.shown(lambda scene: _draw(scene, finished_page, start_page))


def _draw(scene: page.Scene, finished_page: StreamlitPage, start_page: StreamlitPage) -> None:
    batches = {batch.id: batch for batch in scene.store.batches(running=True)}
    asked = queries.asked_batch_id()
    if asked is not None and asked not in batches and asked in {batch.id for batch in scene.store.batches()}:
        st.html(page.heading(scene.store.batch(asked).name, scene.manner.say("This stage is over.")))
        st.page_link(finished_page, label=scene.manner.say("See how it went"), query_params={"batch": str(asked)})
        return
    if not batches:
        st.html(
            page.heading(
                scene.manner.say("No dough is proofing"), scene.manner.say("Begin a batch, and its curve stands here.")
            )
        )
        st.page_link(start_page, label=scene.manner.say("Start a batch"), icon=":material/arrow_forward:")
        return
    title, choice = st.columns([2.3, 1], gap="large", vertical_alignment="bottom")
    with choice:
        batch = batches[_chosen(batches, asked, scene.manner)]
    began = clock_text(batch.started_at, scene.manner, scene.now)
    told = scene.manner.say("{stage}, begun {at}", stage=stage_word(batch.stage, scene.manner), at=began)
    title.html(page.heading(batch.name, told))
    with st.container(key="bench"):
        side, notes, curve = (st.container(key=key) for key in ("side", "notes", "curve"))
    with curve:  # first, since a browser takes longest over it, though it stands last
        supposing.put_question(scene, batch)
        _live_curve(batch)
        page.put_live_saves(scene)
        whole.put_whole(scene, batch)
    with side:
        _live_side(batch)
    if not scene.store.is_copy:  # a copy is looked at; what was done is noted at its own site
        with notes:
            _notes(batch, finished_page, scene.manner)


def _chosen(batches: dict[BatchId, Batch], asked: BatchId | None, manner: Manner) -> BatchId:
    """The batch to show; the address follows the choice."""
    key = f"which, in {manner.language.code}"  # a browser keeps the words of a choice as long as its key
    chosen = st.selectbox(
        manner.say("Another batch"),
        list(batches),
        format_func=lambda batch_id: f"{batches[batch_id].name} · {stage_word(batches[batch_id].stage, manner)}",
        key=page.follows(key, asked if asked in batches else next(iter(batches))),
        label_visibility="collapsed",
    )
    page.told(key, chosen)
    if str(chosen) != st.query_params.get("batch"):
        st.query_params["batch"] = str(chosen)
    return BatchId(chosen)


@st.fragment(run_every=page.REFRESH_S)
def _live_side(batch: Batch) -> None:
    def draw(scene: page.Scene) -> None:
        row = queries.running_row(scene.store, scene.store.batch(batch.id), scene.now)
        st.html(cards.side(row, scene))
        standing.put_of_batch(queries.standing(scene.store, row.batch), standing.told_of(scene, batch.id), scene)

    page.shown(draw)


@st.fragment(run_every=page.REFRESH_S)
def _live_curve(batch: Batch) -> None:
    def draw(scene: page.Scene) -> None:
        now = scene.store.batch(batch.id)
        supposed = supposing.asked(scene, now)
        plots.put_running(scene, now, supposed)
        plots.put_air(scene, now, scene.store.track(now), plots.running_span(scene, now, supposed), "running")

    page.shown(draw)


def _notes(batch: Batch, finished_page: StreamlitPage, manner: Manner) -> None:
    """The few things a baker logs, each one touch."""
    st.html(page.section(manner.say("Note what you did")))
    with st.container(horizontal=True, gap="small"):
        for label, kind in DONE.items():
            st.button(manner.say(label), key=kind.value, width="stretch", on_click=actions.note, args=(batch.id, kind))
    st.html(page.quiet(manner.say("Poked: it springs back")))
    with st.container(horizontal=True, gap="small"):
        for label, words in POKES.items():
            key = f"poke {label}"
            args = (batch.id, EventKind.POKE, words)
            st.button(manner.say(label), key=key, width="stretch", on_click=actions.note, args=args)
    if batch.target.rise_pct is not None:
        _put_band(batch, batch.target.rise_pct, manner)
    with st.form("level", border=False), st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        level_mm = st.number_input(
            manner.say("Level by eye, mm over the base"),
            min_value=0.0,
            max_value=batch.vessel.depth_mm * 1.2,
            value=None,
            step=1.0,
            format="%.0f",
        )
        if st.form_submit_button(manner.say("Note")):
            actions.note_level(batch.id, level_mm)
    if st.button(manner.say("End of stage"), key="end", width="stretch"):
        _confirm_end(batch, finished_page, manner)


def _put_band(batch: Batch, at_pct: float, manner: Manner) -> None:
    """The band a little lower or higher, each one touch."""
    st.html(page.quiet(manner.say("The band stands at {rise} %: move it to", rise=f"{at_pct:.0f}")))
    with st.container(horizontal=True, gap="small", key="band"):
        for step_pct in BAND_STEPS_PCT:
            to_pct = min(max(at_pct + step_pct, 5.0), LARGEST_RISE_PCT)
            key = f"band {step_pct}"
            args = (batch.id, to_pct)
            st.button(f"{to_pct:.0f} %", key=key, width="stretch", on_click=actions.move_band, args=args)


def _confirm_end(batch: Batch, finished_page: StreamlitPage, manner: Manner) -> None:
    @st.dialog(manner.say("End of stage?"))
    def ask() -> None:
        st.html(page.heading(batch.name, manner.say("It leaves the board and its calls end. This cannot be undone.")))
        if st.button(manner.say("End it now"), key="end-now", type="primary", width="stretch"):
            actions.note(batch.id, EventKind.END)
            st.switch_page(finished_page, query_params={"batch": str(batch.id)})

    ask()
