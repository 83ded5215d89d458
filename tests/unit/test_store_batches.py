"""Batches in the store: their events, their readings, levels read by eye, and that somebody else changed them."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from made_up_rows import CABINET, at, batch, outlook, reading

from monitor.errors import StoreError
from monitor.recipe.batch import BatchId, Event, EventKind, Target
from monitor.store.readings import eye_node
from monitor.store.store import Store
from monitor.wire.readings import Channel, Reading


def test_batch_comes_back_with_its_id_and_events(store: Store) -> None:
    added = store.batches.add(batch())
    assert added.id == 1
    assert store.batches.get(added.id) == added == replace(batch(), id=added.id)
    bare = store.batches.add(batch(formula=None, target=Target(None), nodes=(), events=(), preheat_min=30.0))
    assert store.batches.get(bare.id) == bare
    assert store.batches.all() == [added, bare]


def test_end_event_ends_the_batch_once(store: Store) -> None:
    kept = store.batches.add(batch())
    other = store.batches.add(batch(name="other"))
    assert store.batches.add_event(kept.id, Event(at(60), EventKind.FOLD)).ended_at is None
    assert store.batches.add_event(kept.id, Event(at(90), EventKind.END)).ended_at == at(90)
    ended = store.batches.add_event(kept.id, Event(at(95), EventKind.END, "tapped twice"))
    assert ended.ended_at == at(90)
    assert store.batches.ended() == [ended]
    assert store.batches.running() == [other]


def test_same_event_twice_is_one(store: Store) -> None:
    kept = store.batches.add(batch(events=()))
    store.batches.add_event(kept.id, Event(at(60), EventKind.FOLD))
    assert store.batches.add_event(kept.id, Event(at(60), EventKind.FOLD)).events == (Event(at(60), EventKind.FOLD),)


@pytest.mark.parametrize(
    "ask",
    [
        lambda store: store.batches.get(BatchId(7)),
        lambda store: store.batches.add_event(BatchId(7), Event(at(1), EventKind.FOLD)),
        lambda store: store.readings.add_level(BatchId(7), at(1), 80.0, 2.0),
    ],
)
def test_unknown_batch_is_named(store: Store, ask: Callable[[Store], object]) -> None:
    with pytest.raises(StoreError, match="has no batch 7"):
        ask(store)


def test_readings_of_a_batch_are_its_own_channels_between_start_and_end(store: Store) -> None:
    kept = store.batches.add(batch())
    air = reading(1, Channel.AIR_TEMP, 25.0, node=CABINET)
    late = reading(0, seq=7)
    strangers = [
        reading(-1),  # before the start
        reading(2, node=CABINET),  # its distance is another batch's
        reading(3, Channel.AIR_TEMP, 20.0),  # the air comes from the cabinet
        reading(91),
    ]
    store.readings.add([reading(5), air, *strangers, late])
    assert store.readings.of(kept) == [late, air, reading(5), reading(91)]
    ended = store.batches.add_event(kept.id, Event(at(90), EventKind.END))
    assert store.readings.of(ended) == [late, air, reading(5)]


def test_level_read_by_eye_is_a_reading_of_its_batch(store: Store) -> None:
    kept = store.batches.add(batch(nodes=()))
    nobody, row = store.readings.new_levels(None)
    level = store.readings.add_level(kept.id, at(10), 81.0, 2.0)
    again = store.readings.add_level(kept.id, at(10), 82.0, 2.0)
    assert level == Reading(eye_node(kept.id), "eye", 1, Channel.LEVEL, 81.0, at(10), at(10), sd=2.0)
    assert store.readings.of(kept) == [level, again]
    assert nobody == set()
    told, row = store.readings.new_levels(row)
    assert told == {eye_node(kept.id)}
    store.readings.add([reading(11)])
    assert store.readings.new_levels(row)[0] == set()
    assert store.readings.of(store.batches.add(batch(nodes=()))) == []


def test_changes_tells_of_other_processes_and_of_batches(store: Store) -> None:
    def is_changed() -> bool:
        nonlocal before
        before, last = store.changes(), before
        return before != last

    before = store.changes()
    kept = store.batches.add(batch())
    assert is_changed()
    store.batches.add_event(kept.id, Event(at(5), EventKind.FOLD))
    assert is_changed()
    store.readings.add([reading(6)])
    store.save_step(kept.id, outlook(6), [], [])
    assert not is_changed()
    with Store(store.path) as other:
        other.batches.all()
        assert not is_changed()
        other.readings.add_level(kept.id, at(7), 80.0, 2.0)
    assert is_changed()
    store.reopen()
    assert is_changed()
