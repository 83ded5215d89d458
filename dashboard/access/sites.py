"""Which site's copy the screens show, where a data directory is set up for several sites' stores."""

from pathlib import Path

import streamlit as st

from dashboard.access import example, preferences, visitor
from monitor.settings.data_dir import copies_in
from monitor.wording.reader import Reader

_KEY = "site"
AT_ONCE = 10  # a copy of each is kept up to date meanwhile: monitor/replica/README.md has what that costs


def shops(folder: str) -> tuple[str, ...]:
    """The shops whose stores are brought here when somebody looks; none when that cannot be known."""
    return tuple(preferences.settings(folder).shops)


def names(folder: Path) -> tuple[str, ...]:
    """The sites that are shown from a data directory and that the person at this session may look at."""
    return tuple(visitor.visible(folder, list(dict.fromkeys((*shops(str(folder)), *copies_in(folder))))))


def at_once(folder: Path) -> tuple[str, ...]:
    """The sites that a board shows one after the other: a few, unless the address asks for one; empty: one alone."""
    found = names(folder)
    return found if 1 < len(found) <= AT_ONCE and st.query_params.get(_KEY) not in found else ()


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
    if example.is_shown():
        return reader.say("An example to look at: what you do is noted with your own doughs.")
    return reader.say("A copy to look at: what is done is noted at its own site.")


def _name_in_address() -> None:
    st.query_params[_KEY] = st.session_state[_KEY]
