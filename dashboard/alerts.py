"""The alerts that stand, each on a line with what can be said to it: that one knows, or that it shall rest.

And the calls that went out for a batch that has ended.
"""

import html
from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard import actions
from dashboard.page import View, quiet, section
from dashboard.queries import ActiveAlert
from monitor.alerts.calls import QuietHours, nights
from monitor.alerts.dough import Message, Phase, Sort
from monitor.recipe.batch import BatchId
from monitor.store.alerts import Told
from monitor.wording.alerts import alert_kind_word, clock_text, standing_text, subject_word
from monitor.wording.reader import Reader

MOST_ON_BOARD = 6  # judgement: more would push the doughs off a phone
SHELF_MIN = 30  # judgement: a door mended, a tray moved
_CALLING = (Phase.UNACKNOWLEDGED, Phase.RETURNED)


def show_unseen(standing: Sequence[ActiveAlert], view: View) -> None:
    """On the board: the monitor's own troubles while they last; then what nobody has acknowledged yet, newest last.

    All that nobody has acknowledged is acknowledged by one touch.
    """
    own = [each for each in standing if each.alert.subject.sort is Sort.MONITOR and each.alert.is_firing]
    calling = [each for each in standing if each.alert.phase in _CALLING and each not in own]
    if not own and not calling:
        return
    with st.container(key=f"calling{view.site}", gap="small"):
        for each in own:
            _put(each, view, where="board")
        for each in calling[-MOST_ON_BOARD:]:
            _put(each, view, where="board")
        more = len(calling) - MOST_ON_BOARD
        if more > 0:
            one, many = "and {n} more, on the screen of its batch", "and {n} more, on the screens of their batches"
            st.html(quiet(view.reader.count(more, one, many)))
        numbers = tuple(each.alert.number for each in (*own, *calling) if each.alert.phase in _CALLING)
        if len(numbers) > 1 and not view.store.is_copy:
            label = view.reader.say("Acknowledge all")
            st.button(label, key="acknowledge-all", on_click=actions.acknowledge, args=numbers)


def show_of_batch(standing: Sequence[ActiveAlert], told: Told | None, view: View) -> None:
    """On a batch's screen: what stands of it and of the nodes it is read from, and how often it has called.

    What has become another alert, or is over, stands folded below: it would push the rest off a phone.
    """
    earlier = [each for each in standing if each.is_earlier]
    now = [each for each in standing if not each.is_earlier]
    if now:
        st.html(section(view.reader.say("What calls for you")))
    for each in now:
        _put(each, view, where="batch")
    if earlier:
        label = view.reader.count(len(earlier), "{n} earlier alert", "{n} earlier alerts")
        # One key whatever their number, or the fold would close when another comes.
        with st.expander(label, key="earlier-alerts", type="compact"):
            for each in earlier:
                _put(each, view, where="batch")
    if told is not None and told.calls:
        calls = _calls_words(told.calls, told.messages, view.reader)
        st.html(quiet(view.reader.say("This batch so far: {calls}.", calls=calls)))


def _put(each: ActiveAlert, view: View, *, where: str) -> None:
    alert = each.alert
    what = f"{subject_word(alert.subject, view.reader, each.batch_name)}: {alert_kind_word(alert.kind, view.reader)}"
    key = f"alert-{where}-{view.site}{alert.number}"
    with st.container(key=key, horizontal=True, gap="small", vertical_alignment="center"):
        how = standing_text(alert, view.reader, view.now)
        st.html(f'<p class="note"><b>{html.escape(what)}</b>, {html.escape(how)}</p>', width="stretch")
        for label, offer, call, args in () if view.store.is_copy else _offers(each, view.reader):
            st.button(label, key=f"{offer}-{where}-{alert.number}", on_click=call, args=args)


def _offers(each: ActiveAlert, reader: Reader) -> Iterable[tuple[str, str, actions.Action, tuple[int, ...]]]:
    """What can be said to an alert now: label, key, what is done."""
    alert = each.alert
    if alert.phase in _CALLING:
        yield reader.say("Acknowledge"), "acknowledge", actions.acknowledge, (alert.number,)
    if alert.phase is Phase.SHELVED:
        yield reader.say("Unshelve"), "unshelve", actions.shelve, (alert.number, 0)
    elif not each.is_earlier:
        yield reader.say("Shelve {min} min", min=SHELF_MIN), "shelve", actions.shelve, (alert.number, SHELF_MIN)


def night_words(view: View, hours: QuietHours | None) -> str:
    """How often anybody was called in the last night, as a sentence."""
    ((start, end),) = nights(hours, view.now, view.reader.zone, 1)
    told = view.store.call_counts(start, end)
    calls, alerts = sum(each.calls for each in told), sum(each.messages for each in told)
    return view.reader.say("Last night: {calls}.", calls=_calls_words(calls, alerts, view.reader))


def _calls_words(calls: int, alerts: int, reader: Reader) -> str:
    """How many calls for how many alerts."""
    return reader.say(
        "{calls} for {alerts}",
        calls=reader.count(calls, "{n} call", "{n} calls"),
        alerts=reader.count(alerts, "{n} alert", "{n} alerts"),
    )


def calls_of_batch(view: View, batch_id: BatchId) -> Told | None:
    """How often a batch has called so far."""
    return next((each for each in view.store.call_counts() if each.batch_id == batch_id), None)


def calls_table(messages: tuple[Message, ...], view: View) -> str:
    """The calls that went out for a batch, and whether each arrived, as HTML."""
    if not messages:
        return quiet(view.reader.say("None."))
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
