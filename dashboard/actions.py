"""What a baker does on a screen, written at once through the store, at the dough's own now."""

from datetime import tzinfo

import streamlit as st

from dashboard import queries
from monitor.bakery.wording import clock_text, event_word
from monitor.errors import AccessError, StoreError
from monitor.pace import clock_of
from monitor.recipe.batch import BatchId, Event, EventKind

# How far off a level read by eye against a wall is, one standard deviation: judgement (a domed top, a slanting look).
LEVEL_SD_MM = 3.0


def note(batch_id: BatchId, kind: EventKind, words: str = "") -> None:
    """Keep something that was done to a dough, and say so."""
    try:
        with queries.opened_to_write() as store:
            now = clock_of(store).now()
            store.add_event(batch_id, Event(now, kind, words))
    except (AccessError, StoreError) as error:
        st.toast(f"Not noted: {error}", duration="infinite")
        return
    said = f"{event_word(kind)}: {words}" if words else event_word(kind)
    st.toast(f"Noted: {said}, {clock_text(now, _zone())}")


def note_level(batch_id: BatchId, level_mm: float | None) -> None:
    """Keep a level that was read off the tub's wall, and say so."""
    if level_mm is None:
        st.toast("Type the level in millimetres first.")
        return
    try:
        with queries.opened_to_write() as store:
            now = clock_of(store).now()
            store.add_level(batch_id, now, level_mm, LEVEL_SD_MM)
    except (AccessError, StoreError) as error:
        st.toast(f"Not noted: {error}", duration="infinite")
        return
    st.toast(f"Noted: level {level_mm:.0f} mm, {clock_text(now, _zone())}")


def _zone() -> tzinfo:
    return queries.manner(str(queries.database().parent)).zone
