"""Oven, steam, electricity in damp places, food: what to mind, deferring to local codes and licensed practice."""

import html

import streamlit as st

from dashboard import queries, reading
from dashboard.page import heading
from monitor.bakery.wording import CAUTIONS, DEFERENCE


def show() -> None:
    """The cautions, as one page of text."""
    manner = reading.manner(queries.database().parent)
    st.html(heading(manner.say("Cautions"), manner.say(DEFERENCE)))
    panels = "".join(
        f'<div class="panel"><h2 class="section">{html.escape(manner.say(caution.title))}</h2>'
        f'<p class="reading">{html.escape(manner.say(caution.text))}</p></div>'
        for caution in CAUTIONS
    )
    st.html(f'<div class="grid">{panels}</div>')
