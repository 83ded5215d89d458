"""What arrives is kept once: readings, nodes and what they have lost, faults, and what could not be read."""

import math
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from made_up_rows import CABINET, NODE, at, reading

from monitor.store.nodes import KEPT_FRAME_BYTES, Arrivals
from monitor.store.rows import QuarantinedFrame
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag


def test_reading_comes_back_as_it_was_given(store: Store) -> None:
    kept = [
        reading(1, Channel.DOUGH_TEMP, 24.88),
        replace(reading(2), measured_at=at(2) + timedelta(microseconds=1), flag=Flag.CLOCK),
        replace(reading(3), sd=1.5, seq=999_999_999_999_999_999),
    ]
    assert store.readings.add(kept) == 3
    assert store.readings.between(NODE, Channel.DOUGH_TEMP, at(0), at(5)) == kept[:1]
    assert store.readings.between(NODE, Channel.DISTANCE, at(0), at(5)) == kept[1:]


def test_nan_stays_nan(store: Store) -> None:
    assert store.readings.add([reading(1, value=math.nan, flag=Flag.OUT_OF_RANGE)]) == 1
    (back,) = store.readings.between(NODE, Channel.DISTANCE, at(0), at(5))
    assert math.isnan(back.value)


def test_second_copy_of_a_reading_changes_nothing(store: Store) -> None:
    first = reading(1)
    assert store.readings.add([first, replace(first, value=1.0)]) == 1
    assert store.readings.add([replace(first, arrived_at=at(9)), reading(2)]) == 1
    assert store.readings.between(NODE, Channel.DISTANCE, at(1), at(1)) == [first]


def test_append_is_all_or_nothing(store: Store) -> None:
    broken = replace(reading(2), measured_at=datetime(2026, 3, 2))  # no offset
    with pytest.raises(TypeError):
        store.readings.add([reading(1), broken])
    assert store.readings.add([reading(1)]) == 1


def test_faults_are_counted_by_source_node_and_reason(store: Store) -> None:
    store.nodes.count_fault("serial", NODE, "checksum", at(1))
    store.nodes.count_fault("serial", NODE, "checksum", at(3), n=4)
    store.nodes.count_fault("mqtt", NODE, "checksum", at(2))
    found = store.nodes.faults()
    assert [(one.source, one.node, one.reason, one.count) for one in found] == [
        ("serial", NODE, "checksum", 5),
        ("mqtt", NODE, "checksum", 1),
    ]
    assert (found[0].first_at, found[0].last_at) == (at(1), at(3))


def test_quarantine_keeps_the_newest_and_no_giants(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.store.nodes.KEPT_QUARANTINE", 2)
    refused = [
        QuarantinedFrame(NODE, "serial", "senml", b"one", at(1)),
        QuarantinedFrame(None, "mqtt", "frame", b"two", at(2)),
        QuarantinedFrame(NODE, "mqtt", "value", b"x" * 5000, at(3)),
    ]
    store.keep(Arrivals(refused=refused), at(3))
    newest, second = store.nodes.quarantined()
    assert (newest.node, newest.source, newest.reason, newest.at) == (NODE, "mqtt", "value", at(3))
    assert newest.frame == b"x" * KEPT_FRAME_BYTES
    assert (second.node, second.frame) == (None, b"two")


def test_node_row_shows_newest_values_status_and_lost_packs(store: Store) -> None:
    store.nodes.note(NODE, "mqtt", at(1))
    store.nodes.note(NODE, "mqtt", at(3), is_online=True)
    store.nodes.note(NODE, "mqtt", at(2))
    store.nodes.note(CABINET, "serial", at(1))
    newest = reading(5)
    store.readings.add([newest, reading(2), reading(3, Channel.DOUGH_TEMP, 24.0)])
    store.readings.add([reading(1, Channel.LOST, 3.0), reading(4, Channel.LOST, 2.0)])
    first, second = store.nodes.all()
    assert (first.node, first.source, first.is_online, first.lost_packs) == (NODE, "mqtt", True, 5)
    assert (first.first_seen_at, first.last_seen_at) == (at(1), at(3))
    assert first.last(Channel.DISTANCE) == newest
    assert first.last(Channel.HUMIDITY) is None
    assert (second.node, second.is_online, second.newest, second.lost_packs) == (CABINET, None, (), 0)
    store.nodes.note(NODE, "mqtt", at(6), is_online=False)
    assert store.nodes.all()[0].is_online is False
