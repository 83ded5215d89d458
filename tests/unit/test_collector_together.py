"""The loop with many batches: side by side, one bad one alone, the far ones less often when it is too much."""

import queue
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, timedelta

import pytest
from harness import START, SetClock
from made_up import batch_of

from monitor.alerts.dough import Rules
from monitor.collector.batch_step import STEP_FAULT
from monitor.collector.loop import Collector
from monitor.collector.running_batches import TOGETHER
from monitor.dough.forecast import ForecastRequest
from monitor.dough.learning import RecipeExperience
from monitor.dough.outlook import Moments, NoForecast, Outlook, State
from monitor.dough.track import Track
from monitor.recipe.batch import Batch, BatchId
from monitor.store.store import Store
from monitor.wording.reader import Reader


class Bench:
    """A collector whose estimators note who asked, and take as long as the test wants."""

    def __init__(self, store: Store, clock: SetClock, batches: int) -> None:
        self.store, self.clock = store, clock
        self.second = self.cost_s = 0.0
        self.groups: list[list[BatchId]] = []
        self.alone: list[BatchId] = []
        self.bad: set[BatchId] = set()
        self.ready_min: dict[BatchId, float] = {}
        self.ids = [store.batches.add(replace(batch_of(f"tub {n}"), started_at=START)).id for n in range(batches)]
        clock.real_s = lambda: self.second  # type: ignore[method-assign]
        self.collector = Collector(
            store, queue.Queue(), clock, self._one, together=self._many, rules=Rules(), reader=Reader(UTC)
        )

    def _said(self, batch: Batch, at) -> Outlook:  # type: ignore[no-untyped-def]
        if batch.id in self.bad:
            raise ZeroDivisionError("a fault of the estimator")
        self.second += self.cost_s
        ready_at = at + timedelta(minutes=self.ready_min.get(batch.id, 600.0))
        return Outlook(at, State.RISING, ready=Moments(*[ready_at] * 5), peak=Moments(*[at + timedelta(hours=20)] * 5))

    def _one(self, batch: Batch, track: Track, at, *, learned: RecipeExperience | None = None) -> Outlook:  # type: ignore[no-untyped-def]
        self.alone.append(batch.id)
        return self._said(batch, at)

    def _many(self, asked: Sequence[ForecastRequest]) -> list[Outlook]:
        self.groups.append([each.batch.id for each in asked])
        return [self._said(each.batch, each.at) for each in asked]

    def pass_minutes(self, minutes: int) -> None:
        """Turn until nothing is due, each minute."""
        for _ in range(minutes):
            before = -1
            while before != (before := len(self.groups) + len(self.alone)):
                self.collector.turn(0.0)
            self.clock.advance(minutes=1)

    def count(self, batch_id: BatchId) -> int:
        return sum(batch_id in group for group in self.groups) + self.alone.count(batch_id)


@pytest.fixture
def bench(store: Store, clock: SetClock) -> Bench:
    return Bench(store, clock, 20)


def test_batches_due_together_are_asked_about_together(bench: Bench) -> None:
    bench.collector.turn(0.0)
    bench.collector.turn(0.0)
    assert [len(group) for group in bench.groups] == [TOGETHER, 20 - TOGETHER]
    assert sorted(batch_id for group in bench.groups for batch_id in group) == bench.ids
    assert all(bench.store.outlooks.latest(batch_id) is not None for batch_id in bench.ids)


def test_one_bad_batch_does_not_spoil_its_group(bench: Bench) -> None:
    bad = bench.ids[3]
    bench.bad.add(bad)
    bench.pass_minutes(1)
    for batch_id in bench.ids:
        found = bench.store.outlooks.latest(batch_id)
        assert found is not None
        assert found.why == (NoForecast.NOT_ESTIMATED if batch_id == bad else None)
    assert {(fault.node, fault.reason): fault.count for fault in bench.store.nodes.faults()} == {
        (f"batch {bad}", STEP_FAULT): 1
    }


def test_a_machine_that_bears_it_looks_at_each_every_minute(bench: Bench) -> None:
    bench.cost_s = 0.1
    bench.pass_minutes(10)
    assert {bench.count(batch_id) for batch_id in bench.ids} == {10}


def test_a_machine_that_does_not_looks_at_the_far_ones_less_often(bench: Bench) -> None:
    bench.cost_s = 4.0  # twenty of them: more than a minute a minute
    near = bench.ids[7]
    bench.ready_min[near] = 15.0
    bench.pass_minutes(21)
    assert bench.count(near) >= 19
    assert all(4 <= bench.count(batch_id) <= 8 for batch_id in bench.ids if batch_id != near)
