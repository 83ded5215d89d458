"""The alerts that are open, each on a line with what can be said to it: that one has seen it, or that it shall wait.

And the calls that went out for a batch that has ended.
"""

import html
from collections.abc import Iterable, Sequence

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import actions
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.queries import OpenAlert
from monitor.alerts.calls import QuietHours, nights
from monitor.alerts.dough import Alert, AlertKind, Message, Phase, Sort
from monitor.alerts.reasons import TroubleSeen
from monitor.alerts.troubles import CarriersFail
from monitor.recipe.batch import BatchId
from monitor.store.heartbeat import absence
from monitor.wording.alerts import alert_kind_word, clock_text, status_text, subject_word
from monitor.wording.reader import Reader
from monitor.wording.silence import no_collector_text, no_messages_text

MOST_ON_BOARD = 3  # judgement: more would push the doughs off a phone
LATER_MIN = 30  # judgement: a door mended, a tray moved
UNSEEN = (Phase.UNACKNOWLEDGED, Phase.RETURNED)
SILENT = (AlertKind.NODE_SILENT, AlertKind.SENSOR_SILENT)
GRAVE = (AlertKind.PAST_PEAK, AlertKind.OVER_BAND, AlertKind.NOT_RISING, *SILENT)
GRAVEST_FIRST = (
    AlertKind.PAST_PEAK,
    AlertKind.OVER_BAND,
    AlertKind.NOT_RISING,
    AlertKind.AT_PEAK,
    AlertKind.READY,
    AlertKind.OVEN_ON,
    *SILENT,
    AlertKind.READY_SOON,
)


def unwatched_html(view: View) -> str:
    """Over the whole width: that no collector runs or no message gets through, since when; empty while all is well."""
    if view.store.is_copy:
        return ""
    away, running = absence(view.store, view.now), view.store.batches.running()
    if away is not None and (running or away.since):
        words = html.escape(no_collector_text(away.since, view.now, view.reader))
        by_eye = " --by-eye" if running and not any(batch.nodes for batch in running) else ""
        return f'<p class="trouble" role="alert">{words} <code>proofing-monitor collect{by_eye}</code></p>'
    for alert in view.store.alerts.active():
        match alert.reason:
            case TroubleSeen(CarriersFail(names)) if alert.is_firing:
                words = html.escape(no_messages_text(names, alert.since_at, view.now, view.reader))
                return f'<p class="trouble" role="alert">{words}</p>'
    return ""


def show_in_card(alerts: Sequence[OpenAlert], view: View) -> None:
    """In the card of a dough: the gravest of its alerts that nobody has seen, and one answer for all of them."""
    unseen = [each for each in alerts if each.alert.phase in UNSEEN and not each.is_earlier]
    folds = [each for each in unseen if each.alert.kind is AlertKind.FOLD_DUE]
    for each in folds:  # by itself: answered together with others it would be noted undone
        number = each.alert.number
        with _call(each.alert, view):
            if not view.store.is_copy:
                label = view.reader.say("Folded")
                st.button(label, key=f"folded-card-{number}", on_click=actions.confirm_fold, args=(number,))
    unseen = [each for each in unseen if each not in folds]
    if not unseen:
        return
    gravest = min(unseen, key=lambda each: _gravity(each.alert.kind))
    number = gravest.alert.number
    with _call(gravest.alert, view):
        if not view.store.is_copy:
            numbers = tuple(each.alert.number for each in unseen)
            st.button(view.reader.say("Seen"), key=f"seen-card-{number}", on_click=actions.acknowledge, args=numbers)
            st.button(
                _later(view.reader), key=f"later-card-{number}", on_click=actions.shelve, args=(number, LATER_MIN)
            )


def _call(alert: Alert, view: View) -> DeltaGenerator:
    """A row of a card that says what calls; its answers go into it."""
    key = f"call-{view.site}{alert.number}"
    row = st.container(key=key, horizontal=True, gap="small", vertical_alignment="center")
    at = clock_text(alert.fired_at or alert.since_at, view.reader, view.now)
    words = view.reader.say("{alert}, since {at}", alert=alert_kind_word(alert.kind, view.reader), at=at)
    grave = " grave" if alert.kind in GRAVE else ""
    row.html(f'<p class="call{grave}">{html.escape(words)}</p>', width="stretch")
    return row


def _gravity(kind: AlertKind) -> int:
    return GRAVEST_FIRST.index(kind) if kind in GRAVEST_FIRST else len(GRAVEST_FIRST)


def _later(reader: Reader) -> str:
    return reader.say("In {min} min", min=LATER_MIN)


def show_own(alerts: Sequence[OpenAlert], view: View) -> None:
    """On the board, above all: the monitor's own troubles while they last."""
    own = [each for each in alerts if each.alert.subject.sort is Sort.MONITOR and each.alert.is_firing]
    for each in own:
        _show_alert(each, view, where="board")


def show_others(alerts: Sequence[OpenAlert], view: View) -> None:
    """On the board, below the doughs: what nobody has seen yet and no card shows, newest last; one touch for all."""
    unseen = [each for each in alerts if each.alert.phase in UNSEEN and each.alert.subject.sort is not Sort.MONITOR]
    if not unseen:
        return
    with st.container(key=f"calling{view.site}", gap="small"):
        for each in unseen[-MOST_ON_BOARD:]:
            _show_alert(each, view, where="board")
        more = len(unseen) - MOST_ON_BOARD
        if more > 0:
            st.html(markup.quiet(view.reader.count(more, "and {n} more alert", "and {n} more alerts")))
        if len(unseen) > 1 and not view.store.is_copy:
            numbers = tuple(each.alert.number for each in unseen)
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
    if alert.kind is AlertKind.FOLD_DUE and alert.is_firing:
        yield reader.say("Folded"), "folded", actions.confirm_fold, (alert.number,)
    elif alert.phase in UNSEEN:
        yield reader.say("Seen"), "seen", actions.acknowledge, (alert.number,)
    if alert.phase is Phase.SHELVED:
        yield reader.say("Call again"), "again", actions.shelve, (alert.number, 0)
    elif not each.is_earlier:
        yield _later(reader), "later", actions.shelve, (alert.number, LATER_MIN)


def night_words(view: View, hours: QuietHours | None) -> str:
    """How often anybody was called in the last night, as a sentence; empty when nobody was."""
    ((start, end),) = nights(hours, view.now, view.reader.zone, 1)
    counts = view.store.outbox.call_counts(start, end)
    calls, alerts = sum(each.calls for each in counts), sum(each.messages for each in counts)
    if not calls:
        return ""
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
