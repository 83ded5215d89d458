"""Batches in the store: their events, their readings, levels read by eye, and that somebody else changed them."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from harness import START
from made_up_rows import CABINET, at, batch, outlook, reading

from monitor.errors import StoreError, UnfitError
from monitor.plan.day import Plan, PlanId
from monitor.plan.kitchen import Kitchen
from monitor.recipe.batch import BatchId, Event, EventKind, Target
from monitor.store.batches import eye_node
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


@pytest.mark.parametrize("level_mm", [-1.0, 250.5, 800.0])
def test_a_level_outside_the_vessel_is_refused_with_its_depth(store: Store, level_mm: float) -> None:
    kept = store.batches.add(batch(nodes=()))
    with pytest.raises(UnfitError, match="250 mm deep"):
        store.readings.add_level(kept.id, at(10), level_mm, 2.0)
    assert store.readings.of(kept) == []


def test_a_batch_just_begun_is_taken_back_and_is_as_if_it_had_not_been(store: Store) -> None:
    kept = store.batches.add(batch(nodes=(), events=(Event(START, EventKind.COVER),)))
    store.readings.add_level(kept.id, START, 81.0, 2.0)  # said with its beginning
    assert store.batches.can_take_back(kept.id)
    before = store.changes()
    store.batches.take_back(kept.id, at(1))
    assert (store.batches.all(), store.batches.running(), store.batches.ended()) == ([], [], [])
    assert store.changes() != before
    assert store.batches.get(kept.id) == kept


@pytest.mark.parametrize(
    "note",
    [
        lambda store, batch_id: store.batches.add_event(batch_id, Event(at(5), EventKind.FOLD)),
        lambda store, batch_id: store.batches.add_event(batch_id, Event(at(5), EventKind.END)),
        lambda store, batch_id: store.readings.add_level(batch_id, at(5), 90.0, 2.0),
    ],
)
def test_a_batch_of_which_something_was_noted_since_stays(store: Store, note) -> None:
    kept = store.batches.add(batch(nodes=(), events=()))
    note(store, kept.id)
    assert not store.batches.can_take_back(kept.id)
    with pytest.raises(UnfitError, match="something was noted of it since"):
        store.batches.take_back(kept.id, at(6))
    assert [each.id for each in store.batches.all()] == [kept.id]


def test_a_stage_of_a_plan_that_was_taken_back_is_still_to_do_unless_it_ended_another(store: Store) -> None:
    plan = store.plans.add(Plan(PlanId(0), START, Kitchen(), ()))
    first, second = (store.batches.add(batch(events=(), started_at=at(minute))) for minute in (0, 60))
    for step, begun in (("loaf/0/mix", first), ("loaf/1/shape", second)):
        store.plans.link_batch(plan.id, step, begun.id)
    store.batches.take_back(first.id, at(1))
    assert list(store.plans.batches_of(plan.id)) == ["loaf/1/shape"]
    again = store.batches.add(batch(events=(), started_at=at(2)))
    store.plans.link_batch(plan.id, "loaf/0/mix", again.id)
    store.batches.add_event(again.id, Event(at(60), EventKind.END))
    assert not store.batches.can_take_back(second.id)


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
