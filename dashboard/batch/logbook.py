"""What a baker notes of a running batch, each in one touch or two."""

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions
from dashboard.drawing import markup
from monitor.recipe.batch import LARGEST_RISE_PCT, Batch, EventKind
from monitor.translatable import N_
from monitor.wording.reader import Reader

BAND_STEPS_PCT = (-10, -5, 5, 10)
DONE = {N_("Folded"): EventKind.FOLD, N_("Moved"): EventKind.MOVE}
POKES = {N_("fast"): "springs back fast", N_("slowly"): "springs back slowly", N_("not at all"): "stays"}


def show_logbook(batch: Batch, review_page: StreamlitPage, reader: Reader) -> None:
    """The few things a baker logs, each one touch."""
    st.html(markup.section(reader.say("Note what you did")))
    with st.container(horizontal=True, gap="small"):
        for label, kind in DONE.items():
            st.button(
                reader.say(label), key=kind.value, width="stretch", on_click=actions.add_event, args=(batch.id, kind)
            )
    st.html(markup.quiet(reader.say("Poked: it springs back")))
    with st.container(horizontal=True, gap="small"):
        for label, words in POKES.items():
            key = f"poke {label}"
            args = (batch.id, EventKind.POKE, words)
            st.button(reader.say(label), key=key, width="stretch", on_click=actions.add_event, args=args)
    if batch.target.rise_pct is not None:
        _show_band(batch, batch.target.rise_pct, reader)
    with st.form("level", border=False), st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        level_mm = st.number_input(
            reader.say("Level by eye, mm over the base"),
            min_value=0.0,
            max_value=batch.vessel.depth_mm * 1.2,
            value=None,
            step=1.0,
            format="%.0f",
        )
        if st.form_submit_button(reader.say("Note")):
            actions.add_level(batch.id, level_mm)
    if st.button(reader.say("End of stage"), key="end", width="stretch"):
        _confirm_end(batch, review_page, reader)


def _show_band(batch: Batch, at_pct: float, reader: Reader) -> None:
    """The band a little lower or higher, each one touch."""
    st.html(markup.quiet(reader.say("The band stands at {rise} %: move it to", rise=f"{at_pct:.0f}")))
    with st.container(horizontal=True, gap="small", key="band"):
        for step_pct in BAND_STEPS_PCT:
            to_pct = min(max(at_pct + step_pct, 5.0), LARGEST_RISE_PCT)
            key = f"band {step_pct}"
            args = (batch.id, to_pct)
            st.button(f"{to_pct:.0f} %", key=key, width="stretch", on_click=actions.move_band, args=args)


def _confirm_end(batch: Batch, review_page: StreamlitPage, reader: Reader) -> None:
    @st.dialog(reader.say("End of stage?"))
    def ask() -> None:
        st.html(markup.heading(batch.name, reader.say("It leaves the board and its calls end. This cannot be undone.")))
        if st.button(reader.say("End it now"), key="end-now", type="primary", width="stretch"):
            actions.add_event(batch.id, EventKind.END)
            st.switch_page(review_page, query_params={"batch": str(batch.id)})

    ask()
