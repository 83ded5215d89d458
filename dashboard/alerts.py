"""The alerts that stand, each on a line with what can be said to it: that one knows, or that it shall rest.

And the calls that went out for a batch that has ended.
"""

import html
from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard import actions
from dashboard.page import Scene, quiet, section
from dashboard.queries import Standing
from monitor.alerts.calls import QuietHours, nights
from monitor.alerts.dough import Message, Phase, Sort
from monitor.recipe.batch import BatchId
from monitor.store.alerts import CallCount
from monitor.wording.alerts import alert_kind_word, clock_text, status_text, subject_word
from monitor.wording.reader import Reader

MOST_ON_BOARD = 6  # judgement: more would push the doughs off a phone
LATER_MIN = 30  # judgement: a door mended, a tray moved
_CALLING = (Phase.UNACKNOWLEDGED, Phase.RETURNED)


def put_calling(standing: Sequence[Standing], scene: Scene) -> None:
    """On the board: the monitor's own troubles while they last; then what nobody has seen yet, newest last.

    One touch says of all of them that they were seen.
    """
    own = [each for each in standing if each.alert.subject.sort is Sort.MONITOR and each.alert.is_firing]
    calling = [each for each in standing if each.alert.phase in _CALLING and each not in own]
    if not own and not calling:
        return
    with st.container(key=f"calling{scene.site}", gap="small"):
        for each in own:
            _put(each, scene, where="board")
        for each in calling[-MOST_ON_BOARD:]:
            _put(each, scene, where="board")
        more = len(calling) - MOST_ON_BOARD
        if more > 0:
            n_more = scene.reader.count(
                more, "and {n} more, on the screen of its batch", "and {n} more, on the screens of their batches"
            )
            st.html(quiet(n_more))
        numbers = tuple(each.alert.number for each in (*own, *calling) if each.alert.phase in _CALLING)
        if len(numbers) > 1 and not scene.store.is_copy:
            label = scene.reader.say("All seen")
            st.button(label, key="acknowledge-all", on_click=actions.acknowledge, args=numbers)


def put_of_batch(standing: Sequence[Standing], told: CallCount | None, scene: Scene) -> None:
    """On a batch's screen: what stands of it and of the nodes it is read from, and how often it has called.

    What has become another alert, or is over, stands folded below: it would push the rest off a phone.
    """
    earlier = [each for each in standing if each.is_earlier]
    now = [each for each in standing if not each.is_earlier]
    if now:
        st.html(section(scene.reader.say("What calls for you")))
    for each in now:
        _put(each, scene, where="batch")
    if earlier:
        label = scene.reader.count(len(earlier), "{n} earlier alert", "{n} earlier alerts")
        # One key whatever their number, or the fold would close when another comes.
        with st.expander(label, key="earlier-alerts", type="compact"):
            for each in earlier:
                _put(each, scene, where="batch")
    if told is not None and told.calls:
        calls = _calls_words(told.calls, told.messages, scene.reader)
        st.html(quiet(scene.reader.say("This batch so far: {calls}.", calls=calls)))


def _put(each: Standing, scene: Scene, *, where: str) -> None:
    alert = each.alert
    what = f"{subject_word(alert.subject, scene.reader, each.batch_name)}: {alert_kind_word(alert.kind, scene.reader)}"
    key = f"alert-{where}-{scene.site}{alert.number}"
    with st.container(key=key, horizontal=True, gap="small", vertical_alignment="center"):
        how = status_text(alert, scene.reader, scene.now)
        st.html(f'<p class="note"><b>{html.escape(what)}</b>, {html.escape(how)}</p>', width="stretch")
        for label, offer, call, args in () if scene.store.is_copy else _offers(each, scene.reader):
            st.button(label, key=f"{offer}-{where}-{alert.number}", on_click=call, args=args)


def _offers(each: Standing, reader: Reader) -> Iterable[tuple[str, str, actions.Action, tuple[int, ...]]]:
    """What can be said to an alert now: label, key, what is done."""
    alert = each.alert
    if alert.phase in _CALLING:
        yield reader.say("Seen"), "acknowledge", actions.acknowledge, (alert.number,)
    if alert.phase is Phase.SHELVED:
        yield reader.say("Now again"), "unshelve", actions.shelve, (alert.number, 0)
    elif not each.is_earlier:
        yield reader.say("In {min} min", min=LATER_MIN), "shelve", actions.shelve, (alert.number, LATER_MIN)


def night_words(scene: Scene, hours: QuietHours | None) -> str:
    """How often anybody was called in the last night, as a sentence."""
    ((start, end),) = nights(hours, scene.now, scene.reader.zone, 1)
    told = scene.store.call_counts(start, end)
    calls, alerts = sum(each.calls for each in told), sum(each.messages for each in told)
    return scene.reader.say("Last night: {calls}.", calls=_calls_words(calls, alerts, scene.reader))


def _calls_words(calls: int, alerts: int, reader: Reader) -> str:
    """How many calls for how many alerts."""
    return reader.say(
        "{calls} for {alerts}",
        calls=reader.count(calls, "{n} call", "{n} calls"),
        alerts=reader.count(alerts, "{n} alert", "{n} alerts"),
    )


def told_of(scene: Scene, batch_id: BatchId) -> CallCount | None:
    """How often a batch has called so far."""
    return next((each for each in scene.store.call_counts() if each.batch_id == batch_id), None)


def calls_table(messages: tuple[Message, ...], scene: Scene) -> str:
    """The calls that went out for a batch, and whether each arrived, as HTML."""
    if not messages:
        return quiet(scene.reader.say("None."))
    rows = "".join(
        f'<tr><td class="t">{clock_text(message.created_at, scene.reader)}</td>'
        f'<td class="who">{html.escape(message.text)}</td>'
        f'<td class="quiet">{html.escape(_delivery(message, scene))}</td></tr>'
        for message in messages
    )
    return f'<div class="panel"><table class="rows calls">{rows}</table></div>'


def _delivery(message: Message, scene: Scene) -> str:
    if message.delivered_at is not None:
        return scene.reader.say("delivered {at}", at=clock_text(message.delivered_at, scene.reader))
    if not message.attempts:
        return scene.reader.say("not delivered")
    return scene.reader.count(message.attempts, "not delivered, {n} try", "not delivered, {n} tries")
