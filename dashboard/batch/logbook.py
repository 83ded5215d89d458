"""What a baker notes of a running batch, each in one touch or two."""

from functools import partial

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions
from dashboard.batch import checks
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.queries import RunningBatch
from monitor.alerts.limits import is_covered
from monitor.dough.outlook import State
from monitor.recipe.batch import LARGEST_RISE_PCT, Batch, EventKind
from monitor.translatable import N_
from monitor.wording.phrases import event_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text

BAND_STEPS_PCT = (-10, -5, 5, 10)
DONE = {N_("Folded"): EventKind.FOLD, N_("Moved"): EventKind.MOVE}
TOO_FAR_TO_FOLD = (State.AT_PEAK, State.PAST_PEAK)  # a fold now begins the rise anew: more likely a slip


def show_logbook(running: RunningBatch, review_page: StreamlitPage, view: View) -> None:
    """The few things a baker logs, each one touch; a fold of a dough at its peak or past it asks first."""
    batch, reader = running.batch, view.reader
    state = None if running.outlook is None else running.outlook.state
    st.html(markup.section(reader.say("Note what you did")))
    with st.container(horizontal=True, gap="small"):
        is_bare = not is_covered(batch, view.now)
        covering = {N_("Covered"): EventKind.COVER} if is_bare else {N_("Uncovered"): EventKind.UNCOVER}
        for label, kind in (DONE | covering).items():
            if kind is EventKind.FOLD and state in TOO_FAR_TO_FOLD:
                if st.button(f"{reader.say(label)} …", key=kind.value, width="stretch"):
                    _confirm_fold(batch, reader)
            else:
                note = partial(actions.add_event, batch.id, kind)
                st.button(reader.say(label), key=kind.value, width="stretch", on_click=note)
    checks.show(batch, reader)
    if batch.target.rise_pct is not None:
        _show_band(batch, batch.target.rise_pct, reader)
    with st.form("level", border=False), st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        level_mm = st.number_input(
            reader.say("Level at the wall, mm over the base"),
            min_value=0.0,
            max_value=batch.vessel.depth_mm,
            value=None,
            step=1.0,
            format="%.0f",
        )
        if st.form_submit_button(reader.say("Note")):
            actions.add_level(batch.id, level_mm)
    if st.button(reader.say("End of stage …"), key="end", width="stretch"):
        _confirm_end(batch, review_page, reader)
    _show_noted(batch, view)


def _show_noted(batch: Batch, view: View) -> None:
    """What was noted of this dough so far, each with its way back; that it was begun, while nothing else was noted."""
    reader = view.reader
    noted = [event for event in batch.events if event.kind is not EventKind.END]
    is_only_begun = view.store.batches.can_take_back(batch.id)
    if not noted and not is_only_begun:
        return
    with st.expander(reader.say("What was noted"), key="noted", type="compact"):
        for number, event in enumerate(noted):
            what = f"{clock_text(event.at, reader)} {event_text(event, reader)}"
            with st.container(key=f"noted-{number}", horizontal=True, gap="small", vertical_alignment="center"):
                st.html(markup.note(what), width="stretch")
                label = reader.say("Take back")
                st.button(label, key=f"back-{number}", on_click=actions.take_back_event, args=(batch.id, event))
        if is_only_begun:
            with st.container(key="noted-begun", horizontal=True, gap="small", vertical_alignment="center"):
                began = clock_text(batch.started_at, reader, view.now)
                st.html(markup.note(reader.say("begun {at}", at=began)), width="stretch")
                args = (batch.id,)
                st.button(reader.say("Take back"), key="back-begun", on_click=actions.take_back_batch, args=args)


def _confirm_fold(batch: Batch, reader: Reader) -> None:
    @st.dialog(reader.say("Folded now?"))
    def ask() -> None:
        words = reader.say("It is at its peak or past it. A fold begins its rise anew, and its calls with it.")
        st.html(markup.heading(batch.name, words))
        if st.button(reader.say("Yes, it was folded"), key="fold-now", type="primary", width="stretch"):
            actions.add_event(batch.id, EventKind.FOLD)
            st.rerun()

    ask()


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
            if actions.end_stage(batch.id):
                st.switch_page(review_page, query_params={"batch": str(batch.id)})
            st.rerun()

    ask()
