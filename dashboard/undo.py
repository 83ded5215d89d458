"""What was just done, said on every screen, with its way back for twenty seconds."""

import html

import streamlit as st

from dashboard import actions, page, queries
from dashboard.access import preferences


def show() -> None:
    """The last thing done in this session while it can be undone; drawn anew by itself, so that it goes in time."""

    @page.live()
    def live() -> None:
        found = actions.offered()
        if found is None:
            return
        with st.container(key="undo", horizontal=True, gap="small", vertical_alignment="center"):
            st.html(f'<p role="status">{html.escape(found.words)}</p>', width="content")
            label = preferences.reader(queries.database().parent).say("Undo")
            if st.button(label, key="take-back"):
                actions.undo()
                st.rerun()  # all of the page: the dough that it is about may be gone

    live()
