"""Oven, steam, electricity in damp places, food: what to mind, deferring to local codes and licensed practice."""

import html

import streamlit as st

from dashboard import queries
from dashboard.access import preferences
from dashboard.drawing.markup import heading
from monitor.wording.alerts import CAUTIONS, DEFERENCE


def show() -> None:
    """What to mind, as one page of text."""
    reader = preferences.reader(queries.database().parent)
    st.html(heading(reader.say("Safety"), reader.say(DEFERENCE)))
    panels = "".join(
        f'<div class="panel"><h2 class="section">{html.escape(reader.say(caution.title))}</h2>'
        f'<p class="reading">{html.escape(reader.say(caution.text))}</p></div>'
        for caution in CAUTIONS
    )
    st.html(f'<div class="grid">{panels}</div>')
