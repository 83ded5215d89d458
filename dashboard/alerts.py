"""The alerts that are open, each on a line with what can be said to it: that one has seen it, or that it shall wait.

And the calls that went out for a batch that has ended.
"""

import html
from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard import actions
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.queries import OpenAlert
from monitor.alerts.calls import QuietHours, nights
from monitor.alerts.dough import Message, Phase, Sort
from monitor.recipe.batch import BatchId
from monitor.wording.alerts import alert_kind_word, clock_text, status_text, subject_word
from monitor.wording.reader import Reader

MOST_ON_BOARD = 6  # judgement: more would push the doughs off a phone
LATER_MIN = 30  # judgement: a door mended, a tray moved
_UNSEEN = (Phase.UNACKNOWLEDGED, Phase.RETURNED)


def show_unseen(alerts: Sequence[OpenAlert], view: View) -> None:
    """On the board: the monitor's own troubles while they last; then what nobody has seen yet, newest last.

    One touch says of all that nobody has seen that somebody has now.
    """
    own = [each for each in alerts if each.alert.subject.sort is Sort.MONITOR and each.alert.is_firing]
    unseen = [each for each in alerts if each.alert.phase in _UNSEEN and each not in own]
    if not own and not unseen:
        return
    with st.container(key=f"calling{view.site}", gap="small"):
        for each in (*own, *unseen[-MOST_ON_BOARD:]):
            _show_alert(each, view, where="board")
        more = len(unseen) - MOST_ON_BOARD
        if more > 0:
            words = view.reader.count(
                more, "and {n} more, on the screen of its batch", "and {n} more, on the screens of their batches"
            )
            st.html(markup.quiet(words))
        numbers = tuple(each.alert.number for each in (*own, *unseen) if each.alert.phase in _UNSEEN)
        if len(numbers) > 1 and not view.store.is_copy:
            st.button(view.reader.say("All seen"), key="all-seen", on_click=actions.acknowledge, args=numbers)


def show_of_batch(alerts: Sequence[OpenAlert], batch_id: BatchId, view: View) -> None:
    """On a batch's screen: the alerts of it and of the nodes it is read from, and how often it has called.

    What has become another alert, or is over, stands folded below: it would push the rest off a phone.
    """
    earlier = [each for each in alerts if each.is_earlier]
    now = [each for each in alerts if not each.is_earlier]
    if now:
        st.html(markup.section(view.reader.say("What calls for you")))
    for each in now:
        _show_alert(each, view, where="batch")
    if earlier:
        label = view.reader.count(len(earlier), "{n} earlier alert", "{n} earlier alerts")
        # One key whatever their number, or the fold would close when another comes.
        with st.expander(label, key="earlier-alerts", type="compact"):
            for each in earlier:
                _show_alert(each, view, where="batch")
    counts = next((each for each in view.store.outbox.call_counts() if each.batch_id == batch_id), None)
    if counts is not None and counts.calls:
        calls = _calls_words(counts.calls, counts.messages, view.reader)
        st.html(markup.quiet(view.reader.say("This batch so far: {calls}.", calls=calls)))


def _show_alert(each: OpenAlert, view: View, *, where: str) -> None:
    alert = each.alert
    what = f"{subject_word(alert.subject, view.reader, each.batch_name)}: {alert_kind_word(alert.kind, view.reader)}"
    key = f"alert-{where}-{view.site}{alert.number}"
    with st.container(key=key, horizontal=True, gap="small", vertical_alignment="center"):
        how = status_text(alert, view.reader, view.now)
        st.html(f'<p class="note"><b>{html.escape(what)}</b>, {html.escape(how)}</p>', width="stretch")
        for label, answer, call, args in () if view.store.is_copy else _answers(each, view.reader):
            st.button(label, key=f"{answer}-{where}-{alert.number}", on_click=call, args=args)


def _answers(each: OpenAlert, reader: Reader) -> Iterable[tuple[str, str, actions.Action, tuple[int, ...]]]:
    """What can be said to an alert now: label, key, what is done."""
    alert = each.alert
    if alert.phase in _UNSEEN:
        yield reader.say("Seen"), "seen", actions.acknowledge, (alert.number,)
    if alert.phase is Phase.SHELVED:
        yield reader.say("Call again"), "again", actions.shelve, (alert.number, 0)
    elif not each.is_earlier:
        yield reader.say("In {min} min", min=LATER_MIN), "later", actions.shelve, (alert.number, LATER_MIN)


def night_words(view: View, hours: QuietHours | None) -> str:
    """How often anybody was called in the last night, as a sentence."""
    ((start, end),) = nights(hours, view.now, view.reader.zone, 1)
    counts = view.store.outbox.call_counts(start, end)
    calls, alerts = sum(each.calls for each in counts), sum(each.messages for each in counts)
    return view.reader.say("Last night: {calls}.", calls=_calls_words(calls, alerts, view.reader))


def _calls_words(calls: int, alerts: int, reader: Reader) -> str:
    """How many calls for how many alerts."""
    return reader.say(
        "{calls} for {alerts}",
        calls=reader.count(calls, "{n} call", "{n} calls"),
        alerts=reader.count(alerts, "{n} alert", "{n} alerts"),
    )


def calls_table(messages: tuple[Message, ...], view: View) -> str:
    """The calls that went out for a batch, and whether each arrived, as HTML."""
    if not messages:
        return markup.quiet(view.reader.say("None."))
    rows = "".join(
        f'<tr><td class="t">{clock_text(message.created_at, view.reader)}</td>'
        f'<td class="who">{html.escape(message.text)}</td>'
        f'<td class="quiet">{html.escape(_delivery(message, view))}</td></tr>'
        for message in messages
    )
    return f'<div class="panel"><table class="rows calls">{rows}</table></div>'


def _delivery(message: Message, view: View) -> str:
    if message.delivered_at is not None:
        return view.reader.say("delivered {at}", at=clock_text(message.delivered_at, view.reader))
    if not message.attempts:
        return view.reader.say("not delivered")
    return view.reader.count(message.attempts, "not delivered, {n} try", "not delivered, {n} tries")
