"""Whatever order readings come in, however often and late, and wherever the collector is restarted: one outlook."""

import queue
import random
import tempfile
from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path

from harness import SetClock
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import FIRST_DAY, NODE, batch_of, readings_of

from monitor.alerts.dough import Rules
from monitor.collector.loop import Collector
from monitor.dough.forecast import outlook
from monitor.dough.outlook import Outlook
from monitor.dough.track import track_from_readings
from monitor.recipe.batch import Event, EventKind
from monitor.recipe.calibration import Calibration, Comparison, set_right
from monitor.store.store import Store
from monitor.wire.readings import Channel, Reading
from monitor.wording.reader import Reader

HOURS = 0.8
END = FIRST_DAY + timedelta(hours=HOURS)
BATCH = batch_of("Hazel loaf")
READINGS = readings_of(BATCH, hours=HOURS)
FOLD = Event(FIRST_DAY + timedelta(minutes=30), EventKind.FOLD)
OFFSET = Calibration(NODE, Channel.DISTANCE, 1.7, 0.4, FIRST_DAY - timedelta(days=1), Comparison.EMPTY)
SEEN_AT, LEVEL_MM, LEVEL_SD_MM = FIRST_DAY + timedelta(minutes=20), 74.0, 2.0


def in_memory() -> Outlook:
    """The outlook from readings in order that never went through a store."""
    level = Reading(NODE, "eye", 1, Channel.LEVEL, LEVEL_MM, SEEN_AT, SEEN_AT, sd=LEVEL_SD_MM)
    batch = replace(BATCH, events=(FOLD,), calibrations=(OFFSET,))
    return outlook(batch, track_from_readings(batch, [*(set_right(r, [OFFSET]) for r in READINGS), level]), END)


EXPECTED = in_memory()


def collected(folder: Path, parts: list[list[Reading]], restarts: list[bool]) -> Outlook | None:
    """What a collector comes to at the end, readings coming in part by part, a restart after some of the parts."""
    clock = SetClock(END - timedelta(minutes=len(parts)))

    def collector(store: Store) -> Collector:
        return Collector(store, queue.Queue(), clock, outlook, rules=Rules(), reader=Reader(UTC))

    with Store(folder / "proofing.sqlite") as store:
        store.calibrations.add(OFFSET)
        kept = store.batches.add(BATCH)
        at_work = collector(store)
        for part, is_restarted in zip(parts, restarts, strict=True):
            store.readings.add(part)
            at_work.turn(0.0)
            clock.advance(minutes=1)
            if is_restarted:
                store.reopen()
                at_work = collector(store)
        store.readings.add_level(kept.id, SEEN_AT, LEVEL_MM, LEVEL_SD_MM)
        store.batches.add_event(kept.id, FOLD)
        at_work.turn(0.0)
        return store.outlooks.latest(kept.id)


@settings(max_examples=20)
@given(
    seed=st.integers(0, 2**32), n_copies=st.integers(0, 60), restarts=st.lists(st.booleans(), min_size=1, max_size=4)
)
def test_order_copies_lateness_and_restarts_change_nothing(seed: int, n_copies: int, restarts: list[bool]) -> None:
    rng = random.Random(seed)
    shuffled = [*READINGS, *rng.choices(READINGS, k=n_copies)]
    rng.shuffle(shuffled)
    parts = [shuffled[part :: len(restarts)] for part in range(len(restarts))]
    assert EXPECTED.is_from_heights
    with tempfile.TemporaryDirectory() as folder:
        assert collected(Path(folder), parts, restarts) == EXPECTED


@settings(max_examples=20)
@given(seed=st.integers(0, 2**32), n_copies=st.integers(0, 60))
def test_the_stores_arrays_are_those_of_its_readings(seed: int, n_copies: int) -> None:
    rng = random.Random(seed)
    shuffled = [*READINGS, *rng.choices(READINGS, k=n_copies)]
    rng.shuffle(shuffled)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "proofing.sqlite") as store:
        store.calibrations.add(OFFSET)
        batch = store.batches.add(BATCH)
        store.readings.add(shuffled)
        batch = store.batches.get(batch.id)
        rows, objects = store.readings.track(batch), track_from_readings(batch, store.readings.of(batch))
    for name in ("air_temp_c", "humidity_pct", "dough_temp_c", "distance_mm", "level_mm"):
        one, other = getattr(rows, name), getattr(objects, name)
        assert one.t_s.tobytes() == other.t_s.tobytes()
        assert one.value.tobytes() == other.value.tobytes()
