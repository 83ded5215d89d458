"""What a look at a dough leaves in the store, whole or not at all: its outlook, alerts, messages and calls."""

import math
from dataclasses import replace

import numpy as np
import pytest
from made_up_rows import at, batch, message, outlook

from monitor.alerts.alert import UNNAMED
from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, AlertKind, Change, Phase, Subject
from monitor.alerts.reasons import BatchEnded, HeightUnseen, OvenNeedsTime
from monitor.dough.outlook import Band, State
from monitor.errors import StoreError
from monitor.recipe.batch import BatchId
from monitor.store.store import Store


def test_step_is_kept_whole(store: Store) -> None:
    kept = store.batches.add(batch())
    alert = Alert(
        Subject.batch(kept.id),
        AlertKind.READY,
        1,
        at(89),
        fired_at=at(90),
        quiet_since_at=at(91),
        called_at=at(90),
        suppressed_by=HeightUnseen(),
        reason=OvenNeedsTime(45.0),
        about="distance_mm",
    )
    change = Change(
        alert.subject, alert.kind, 1, at(90), Phase.UNACKNOWLEDGED, OvenNeedsTime(45.0), "", at(90), ("a reading",)
    )
    store.save_step(kept.id, outlook(80), (), ())
    store.save_step(kept.id, outlook(90), (alert,), (message(),), (change,))
    assert store.outlooks.of(kept.id) == [outlook(80), outlook(90)]
    assert store.outlooks.of(kept.id, has_fan=False) == [replace(outlook(80), fan=()), replace(outlook(90), fan=())]
    assert store.outlooks.latest(kept.id) == outlook(90)
    assert store.alerts.all(kept.id) == store.alerts.all() == [alert]
    assert store.alerts.history(kept.id) == store.alerts.history(since=at(90)) == [change]
    assert store.alerts.history(since=at(91)) == []
    assert store.outbox.messages(kept.id) == store.outbox.messages() == [message()]


def test_step_saved_again_says_nothing_twice(store: Store) -> None:
    kept = store.batches.add(batch())
    firing = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90))
    store.save_step(kept.id, outlook(90), (firing,), (message(),))
    resolved = replace(firing, returned_at=at(95), reason=BatchEnded())
    store.save_step(kept.id, replace(outlook(90), state=State.READY), (resolved,), (message(minutes=95),))
    assert [one.state for one in store.outlooks.of(kept.id)] == [State.READY]
    assert store.alerts.all() == [resolved]
    assert store.outbox.messages() == [message()]


def test_step_that_fails_leaves_nothing(store: Store) -> None:
    kept = store.batches.add(batch())
    stranger = Alert(Subject.batch(BatchId(99)), AlertKind.READY, 1, at(1))
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.save_step(kept.id, outlook(90), (stranger,), ())
    assert store.outlooks.latest(kept.id) is None
    assert store.alerts.all() == []


def test_outlook_with_nan_is_refused_when_written(store: Store) -> None:
    kept = store.batches.add(batch())
    with pytest.raises(ValueError, match="JSON"):
        store.save_step(kept.id, replace(outlook(90), rise_pct=Band(math.nan, 1.0, 2.0)), (), ())
    assert store.outlooks.of(kept.id) == []


def test_outlook_of_numpy_floats_is_kept(store: Store) -> None:
    kept = store.batches.add(batch())
    store.save_step(kept.id, replace(outlook(90), rise_pct=Band(np.float64(20.0), 25.5, 31.0)), (), ())
    assert store.outlooks.latest(kept.id) == outlook(90)


def test_message_is_open_until_it_is_closed(store: Store) -> None:
    kept = store.batches.add(batch())
    alert = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90))
    store.save_step(kept.id, outlook(90), (alert,), (message(1, 90), message(2, 91)))
    call = Call("1-ready-1", 1, "baker", at(95))
    store.outbox.save_call(call)
    assert store.outbox.open_messages() == [(message(1, 90), alert, [call]), (message(2, 91), None, [])]
    taken = replace(call, accepted_at=at(96), carrier="phone", tries=2, detail="phone: ok")
    store.outbox.save_call(taken, 2)
    store.outbox.close_message("1-ready-2", "nobody answers")
    told = replace(message(1, 90), attempts=2, delivered_at=at(96))
    assert store.outbox.open_messages() == [(told, alert, [taken])]
    store.outbox.close_message("1-ready-1", "it was told")
    assert store.outbox.open_messages() == []
    assert store.outbox.messages() == [message(2, 91), told]
    assert store.outbox.calls() == store.outbox.calls("1-ready-1") == [taken]


def test_what_somebody_says_to_an_alert_outlives_a_look_that_did_not_know_of_it(store: Store) -> None:
    kept = store.batches.add(batch())
    alert = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90), called_at=at(90))
    store.save_step(kept.id, outlook(90), (alert,), ())
    (number,) = (each.number for each in store.alerts.active())
    assert store.alerts.acknowledge(number, at(91), "Ida").phase is Phase.ACKNOWLEDGED
    assert store.alerts.shelve(number, at(120), at(92)).phase is Phase.SHELVED
    store.save_step(kept.id, outlook(93), (alert,), ())
    (now,) = store.alerts.all(kept.id)
    assert (now.acknowledged_at, now.shelved_until) == (at(91), at(120))
    store.save_step(kept.id, outlook(120), (alert,), ())
    assert store.alerts.all(kept.id)[0].phase is Phase.ACKNOWLEDGED, "unshelved by itself"
    assert [(change.phase, change.by) for change in store.alerts.history()] == [
        (Phase.ACKNOWLEDGED, "Ida"),
        (Phase.SHELVED, UNNAMED),
    ]


def test_alert_that_is_unknown_or_over_is_refused_in_words(store: Store) -> None:
    with pytest.raises(StoreError, match="alerts list"):
        store.alerts.acknowledge(5, at(1))
    kept = store.batches.add(batch())
    over = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90), returned_at=at(91), called_at=at(90))
    store.save_step(kept.id, outlook(92), (over,), ())
    with pytest.raises(StoreError, match=r"alert \d+ is over"):
        store.alerts.shelve(1, at(120), at(92))
    assert [alert.phase for alert in store.alerts.active()] == [Phase.RETURNED]
    store.alerts.acknowledge(1, at(93))
    assert store.alerts.active() == []


def test_calls_are_counted_by_batch_and_hour(store: Store) -> None:
    kept = store.batches.add(batch())
    store.save_step(kept.id, outlook(90), (), (message(1, 90), message(2, 91)))
    store.outbox.save_call(Call("1-ready-1", 0, "terminal", at(90)))
    store.outbox.save_call(Call("1-ready-1", 1, "baker", at(90)))
    store.outbox.save_call(Call("1-ready-1", 2, "baker", at(95)))
    store.outbox.save_call(Call("1-ready-2", 0, "terminal", at(91), at(91)))
    assert [(told.batch_id, told.messages, told.calls) for told in store.outbox.call_counts()] == [(kept.id, 2, 3)]
    assert [told.calls for told in store.outbox.call_counts(at(94), at(96))] == [1]
    assert store.outbox.call_counts(at(96)) == []
