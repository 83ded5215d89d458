"""The example day: whether this session looks at it, in place of the baker's own store."""

import html
from pathlib import Path

import streamlit as st

from monitor.demo import example
from monitor.settings.data_dir import DATABASE_NAME
from monitor.wording.reader import Reader

_KEY = "looks at the example"


def is_shown() -> bool:
    """Whether this session looks at the example."""
    return bool(st.session_state.get(_KEY, False))


def look(is_shown: bool) -> None:
    """Turn to the example, or back to one's own store."""
    st.session_state[_KEY] = is_shown


def database() -> Path:
    """The example's store, a copy that nothing can write."""
    return example.folder() / DATABASE_NAME


def show_mark(reader: Reader) -> None:
    """What says on every screen that all of it is an example, and the way back; nothing while it is not."""
    if not is_shown():
        return
    with st.container(key="example", horizontal=True, gap="small", vertical_alignment="center"):
        words = reader.say("This is an example. Nothing of it is kept.")
        st.html(f'<p role="status">{html.escape(words)}</p>', width="stretch")
        st.button(reader.say("Back to my own"), key="own", on_click=look, args=(False,))
