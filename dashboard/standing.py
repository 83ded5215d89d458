"""The alerts that stand, each on a line with what can be said to it: that one knows, or that it shall rest."""

import html
from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard import actions
from dashboard.page import Scene
from dashboard.queries import Standing
from monitor.bakery.alerts import Alert, Phase, Sort
from monitor.bakery.calls import QuietHours, nights
from monitor.bakery.wording import alert_kind_word, count_text, standing_text, subject_word
from monitor.recipe.batch import BatchId
from monitor.sinks.alertbook import Told

MOST_ON_BOARD = 6  # judgement: more would push the doughs off a phone
SHELF_MIN = 30  # judgement: a door mended, a tray moved
_CALLING = (Phase.UNACKNOWLEDGED, Phase.RETURNED)


def put_calling(standing: Sequence[Standing], scene: Scene) -> None:
    """On the board: the monitor's own troubles while they last; then what nobody has acknowledged yet, newest last.

    All that nobody has acknowledged is acknowledged by one touch.
    """
    own = [each for each in standing if each.alert.subject.sort is Sort.MONITOR and each.alert.is_firing]
    calling = [each for each in standing if each.alert.phase in _CALLING and each not in own]
    if not own and not calling:
        return
    with st.container(key="calling", gap="small"):
        for each in own:
            _put(each, scene, where="board")
        for each in calling[-MOST_ON_BOARD:]:
            _put(each, scene, where="board")
        more = len(calling) - MOST_ON_BOARD
        if more > 0:
            st.html(f'<p class="quiet">and {more} more, on the screens of their batches</p>')
        numbers = tuple(each.alert.number for each in (*own, *calling) if each.alert.phase in _CALLING)
        if len(numbers) > 1:
            st.button("Acknowledge all", key="acknowledge-all", on_click=actions.acknowledge, args=numbers)


def put_of_batch(standing: Sequence[Standing], told: Told | None, scene: Scene) -> None:
    """On a batch's screen: all that stands of it and of the nodes it is read from, and how often it has called."""
    if standing:
        st.html('<p class="section">What calls for you</p>')
    for each in standing:
        _put(each, scene, where="batch")
    if told is not None and told.calls:
        words = f"{count_text(told.calls, 'call', 'calls')} for {count_text(told.messages, 'alert', 'alerts')}"
        st.html(f'<p class="quiet">This batch so far: {words}.</p>')


def _put(each: Standing, scene: Scene, *, where: str) -> None:
    alert = each.alert
    what = f"{subject_word(alert.subject, scene.manner, each.batch_name)}: {alert_kind_word(alert.kind, scene.manner)}"
    with st.container(key=f"alert-{where}-{alert.number}", horizontal=True, gap="small", vertical_alignment="center"):
        how = standing_text(alert, scene.manner, scene.now)
        st.html(f'<p class="note"><b>{html.escape(what)}</b>, {html.escape(how)}</p>', width="stretch")
        for label, key, call, args in _offers(alert):
            st.button(label, key=f"{key}-{where}-{alert.number}", on_click=call, args=args)


def _offers(alert: Alert) -> Iterable[tuple[str, str, actions.Action, tuple[int, ...]]]:
    """What can be said to an alert now: label, key, what is done."""
    if alert.phase in _CALLING:
        yield "Acknowledge", "acknowledge", actions.acknowledge, (alert.number,)
    if alert.phase is Phase.SHELVED:
        yield "Unshelve", "unshelve", actions.shelve, (alert.number, 0)
    elif alert.is_firing:
        yield f"Shelve {SHELF_MIN} min", "shelve", actions.shelve, (alert.number, SHELF_MIN)


def night_words(scene: Scene, quiet: QuietHours | None) -> str:
    """How often anybody was called in the last night, as a sentence."""
    ((start, end),) = nights(quiet, scene.now, scene.manner.zone, 1)
    told = scene.store.call_counts(start, end)
    calls, alerts = sum(each.calls for each in told), sum(each.messages for each in told)
    return f"Last night: {count_text(calls, 'call', 'calls')} for {count_text(alerts, 'alert', 'alerts')}."


def told_of(scene: Scene, batch_id: BatchId) -> Told | None:
    """How often a batch has called so far."""
    return next((each for each in scene.store.call_counts() if each.batch_id == batch_id), None)
