"""What a baker finds out about a running dough by hand: poke, windowpane, strength by a tap; numbers typed."""

import streamlit as st

from dashboard import actions
from dashboard.drawing import markup
from monitor.recipe.batch import Batch, EventKind
from monitor.recipe.events import MEASURED
from monitor.translatable import N_
from monitor.wording.phrases import event_word
from monitor.wording.reader import Reader

TAPPED = (
    (
        EventKind.POKE,
        N_("Poked: it springs back"),
        {
            N_("fast"): N_("springs back fast"),
            N_("slowly"): N_("springs back slowly"),
            N_("not at all"): N_("stays"),
        },
    ),
    (
        EventKind.WINDOWPANE,
        N_("Windowpane: drawn thin, it"),
        {N_("holds"): N_("holds"), N_("tears late"): N_("tears late"), N_("tears"): N_("tears")},
    ),
    (
        EventKind.STRENGTH,
        N_("Strength: in the hand it is"),
        {N_("slack"): N_("slack"), N_("good"): N_("good"), N_("tight"): N_("tight")},
    ),
)
"""The kind, what stands above its buttons, and for each button its label and what is noted."""


def show(batch: Batch, reader: Reader) -> None:
    """Each check in one touch, and those that are numbers in a form."""
    for kind, heading, answers in TAPPED:
        st.html(markup.quiet(reader.say(heading)))
        with st.container(horizontal=True, gap="small"):
            for label, words in answers.items():
                key, args = f"{kind.value} {label}", (batch.id, kind, words)
                st.button(reader.say(label), key=key, width="stretch", on_click=actions.add_event, args=args)
    with st.form("measured", border=False, clear_on_submit=True):
        words = reader.say("Measured by hand")
        kind = st.radio(words, list(MEASURED), format_func=lambda each: _label(each, reader), horizontal=True)
        with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
            number = st.number_input(reader.say("Number"), value=None, step=0.1, format="%.1f")
            if st.form_submit_button(reader.say("Note the number")):
                _note(batch, kind, number, reader)


def _label(kind: EventKind, reader: Reader) -> str:
    """A check with its unit."""
    word = reader.say("dough") if kind is EventKind.DOUGH_TEMP else event_word(kind, reader)  # a phone is narrow
    unit = {EventKind.DOUGH_TEMP: reader.degree, EventKind.TTA: "mL"}.get(kind)
    return word if unit is None else f"{word}, {unit}"


def _note(batch: Batch, kind: EventKind, number: float | None, reader: Reader) -> None:
    is_temp = kind is EventKind.DOUGH_TEMP
    low, high = MEASURED[kind]
    value = reader.temp_c(number) if is_temp and number is not None else number
    if value is None or not low <= value <= high:
        low, high = (reader.degrees(low), reader.degrees(high)) if is_temp else (low, high)
        bounds = {"low": reader.number(low, 1), "high": reader.number(high, 1)}
        actions.say_now(reader.say("Not noted: type a number from {low} to {high}.", **bounds))
        return
    actions.add_event(batch.id, kind, f"{value:.4g}")
