"""The stages of a plan that can begin next, each with its button; one that would begin early asks first.

The buttons stand in a part that is drawn anew by itself, and the question must not: Streamlit drops what such a part
has drawn and not yet sent when its next turn comes, so the question's frame could be lost and its words arrive without
it, which ends the page. So the button has the whole page drawn, and that asks.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Literal

import streamlit as st

from dashboard import actions
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.plans import NOT_EARLY
from monitor.collector.plan_runner import LivePlan, next_stages
from monitor.plan.day import steps_of
from monitor.wording.plan import step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

MOST = 2
_ASKED = "stage to begin early"


def show(live: LivePlan, view: View) -> None:
    """A button for each of the next stages, the first of them filled."""
    waiting = sorted(next_stages(live), key=lambda each: each[1].hands_at)
    for dough, stage in waiting[:MOST]:
        step = next(each for each in steps_of(dough) if each.stage == stage.number)
        at = clock_text(step.at, view.reader, view.now)
        what = step_text(dough, step, view.reader)
        label = markup.plain(view.reader.say("Begin now: {what} ({at})", what=what, at=at))
        begin = partial(actions.begin_stage, live.made.id, dough.key, stage.number)
        kind: Literal["primary", "secondary"] = "primary" if (dough, stage) == waiting[0] else "secondary"
        key = f"begin-{dough.key}-{stage.number}"
        if step.at - view.now <= NOT_EARLY:
            st.button(label, key=key, type=kind, on_click=begin)
        elif st.button(f"{label} …", key=key, type=kind):
            st.session_state[_ASKED] = (what, step.at - view.now, begin)
            st.rerun()


def ask_early(reader: Reader) -> None:
    """Ask whether the stage whose button was touched shall begin before its time; nothing when none was."""
    if _ASKED in st.session_state:
        what, ahead, begin = st.session_state.pop(_ASKED)
        _confirm_early(what, ahead, begin, reader)


def _confirm_early(what: str, ahead: timedelta, begin: Callable[[], object], reader: Reader) -> None:
    @st.dialog(reader.say("Begin it early?"))
    def ask() -> None:
        words = reader.say(
            "It is planned for {time} from now. Everything after it moves.",
            time=duration_text(ahead.total_seconds() / 60.0),
        )
        st.html(markup.heading(what, words))
        if st.button(reader.say("Begin it now"), key="begin-now", type="primary", width="stretch"):
            begin()
            st.rerun()

    ask()
