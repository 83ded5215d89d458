"""Oven, steam, electricity in damp places, food: what to mind, deferring to local codes and licensed practice."""

import html

import streamlit as st

from dashboard.page import heading
from monitor.bakery.wording import CAUTIONS, DEFERENCE


def show() -> None:
    """The cautions, as one page of text."""
    st.html(heading("Cautions", DEFERENCE))
    panels = "".join(
        f'<div class="panel"><h2 class="section">{html.escape(caution.title)}</h2>'
        f'<p class="reading">{html.escape(caution.text)}</p></div>'
        for caution in CAUTIONS
    )
    st.html(f'<div class="grid">{panels}</div>')
