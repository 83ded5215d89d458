"""Whether the phone rings: a test call to everybody, and what each address answered."""

import streamlit as st

from dashboard import actions, page
from dashboard.access import visitor
from dashboard.drawing import markup
from monitor.settings.access import Role
from monitor.store.heartbeat import absence
from monitor.wording.alerts import trial_answer
from monitor.wording.silence import no_collector_text

_RUNG = "the last test call"


def show() -> None:
    """A button, and what it brought."""
    page.render(_ask)
    page.live()(lambda: page.render(_show_answers))()


def _ask(view: page.View) -> None:
    """The button, behind a question: what rings cannot be taken back."""
    if view.store.is_copy or visitor.role(view.store.path.parent) is not Role.BAKER:
        return
    reader = view.reader
    st.html(markup.section(reader.say("Calls")))
    away = absence(view.store, view.now)
    with st.popover(reader.say("Try the calls"), disabled=away is not None):
        st.write(reader.say("Every address of everybody in secrets.toml rings once now, quiet hours or not."))
        if st.button(reader.say("Ring everybody now"), key="ring-everybody"):
            st.session_state[_RUNG] = actions.ring_everybody()
    if away is not None:
        st.html(markup.quiet(no_collector_text(away.since, view.now, reader)))


def _show_answers(view: page.View) -> None:
    """What has been answered so far to the test call of this session."""
    rung: str | None = st.session_state.get(_RUNG)
    if rung is None:
        return
    reader, outbox = view.reader, view.store.outbox
    is_open = outbox.is_open(rung)  # asked before the calls: what closes it comes after the last of them
    lines = [trial_answer(call, reader) for call in outbox.calls(rung) if call.number > 0]
    if is_open:
        lines.append(reader.say("ringing ..."))
    elif not lines:
        lines.append(reader.say("nobody is named in secrets.toml: calls show on the terminal and the board alone"))
    st.html("".join(markup.quiet(line) for line in lines))
