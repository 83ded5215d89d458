"""The one answer to a step of a plan: a button that begins its stage or ticks it off; early, it asks first.

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
from monitor.plan.day import DoughPlan, Step, first_step_key
from monitor.wording.plan import done_word, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

_ASKED = "step to do early"


def can_be_done(live: LivePlan, dough: DoughPlan, step: Step) -> bool:
    """False for the beginning of a stage whose dough is not there yet."""
    return not begins(dough, step) or step.stage in {
        stage.number for each, stage in next_stages(live) if each.key == dough.key
    }


def show(live: LivePlan, dough: DoughPlan, step: Step, view: View) -> None:
    """The button of a step that can be done: filled when its time comes, quiet before, and then it asks."""
    what = step_text(dough, step, view.reader)
    act: Callable[..., None] = partial(actions.mark_done, live.made.id, step.key, what)
    if begins(dough, step) and step.stage is not None:
        act = partial(actions.begin_stage, live.made.id, dough.key, step.stage)
    ahead = step.at - view.now
    is_early = ahead > NOT_EARLY
    kind: Literal["primary", "secondary"] = "secondary" if is_early else "primary"
    label = markup.plain(done_word(step.kind, view.reader))
    key = f"done-{step.key}"
    if not is_early:
        st.button(label, key=key, type=kind, on_click=act)
    elif st.button(f"{label} …", key=key, type=kind):
        st.session_state[_ASKED] = (what, ahead, act)
        st.rerun()


def ask_early(reader: Reader) -> None:
    """Ask whether the step whose button was touched shall be done before its time; nothing when none was."""
    if _ASKED in st.session_state:
        what, ahead, act = st.session_state.pop(_ASKED)
        _confirm_early(what, ahead, act, reader)


def begins(dough: DoughPlan, step: Step) -> bool:
    """True when a step is the first of a stage."""
    return step.stage is not None and step.key == first_step_key(dough, dough.stages[step.stage])


def _confirm_early(what: str, ahead: timedelta, act: Callable[..., None], reader: Reader) -> None:
    @st.dialog(reader.say("Begin it early?"))
    def ask() -> None:
        words = reader.say(
            "It is planned for {time} from now. Everything after it moves.",
            time=duration_text(ahead.total_seconds() / 60.0),
        )
        st.html(markup.heading(what, words))
        if st.button(reader.say("Begin it now"), key="begin-now", type="primary", width="stretch"):
            act()
            st.rerun()

    ask()
