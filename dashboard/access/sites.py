"""Which site's copy the screens show, where a data directory holds copies of several sites' stores."""

from pathlib import Path

import streamlit as st

from dashboard.access import visitor
from monitor.store.copies import copies_in
from monitor.wording.reader import Reader

_KEY = "site"


def names(folder: Path) -> tuple[str, ...]:
    """The sites whose copies lie in a data directory and that the person at this session may look at."""
    return tuple(name for name in copies_in(folder) if visitor.role(folder, name) is not None)


def chosen(folder: Path) -> str | None:
    """The site that is looked at: of the address, or chosen before, or the first; None where there are no copies."""
    found = names(folder)
    wanted = (st.query_params.get(_KEY), st.session_state.get(_KEY))
    return next((name for name in (*wanted, *found) if name in found), None)


def show_choice(folder: Path, reader: Reader) -> None:
    """A choice of the site that is looked at, where there are several."""
    found = names(folder)
    if len(found) > 1:
        st.session_state[_KEY] = chosen(folder)
        label = reader.say("Site")
        st.selectbox(label, found, key=_KEY, on_change=_name_in_address, label_visibility="collapsed", width=200)


def copy_words(reader: Reader) -> str:
    """What stands on a copy where something could be noted: where it is done instead."""
    return reader.say("A copy to look at: what is done is noted at its own site.")


def _name_in_address() -> None:
    st.query_params[_KEY] = st.session_state[_KEY]
