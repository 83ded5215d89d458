"""Packs that come one to five times, shuffled within an hour, and again up to a day late: nothing of it shows.

Two collectors live the same dough minute by minute with the estimator that bakers get. One hears each pack once and in
order; what the other hears at the same minute is copied, shuffled, and mixed with old packs that it has heard before.
At the end a third hears everything in any order at once.
"""

import queue
import random
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from faults.table import Line
from harness import SetClock
from made_up import batch_of, readings_of

from monitor.alerts.dough import Rules
from monitor.collector.loop import Collector
from monitor.dough.forecast import outlook
from monitor.recipe.batch import Batch
from monitor.store.store import Store
from monitor.wire.readings import Reading
from monitor.wording.reader import Reader

BATCH = batch_of("Hazel loaf", target_pct=75.0)
HOURS = 2.0
A_STEP = timedelta(minutes=3)
STEPS_A_PART = 3  # readings come as a node sends them after a gap
OLDEST = timedelta(hours=24)


def _lived(folder: Path, rng: random.Random | None) -> tuple[list[object], list[object]]:
    """Every outlook and every message of a batch; with ``rng`` its packs come as they should not."""
    clock = SetClock(BATCH.started_at)
    readings = readings_of(BATCH, hours=HOURS)
    with Store(folder / "proofing.sqlite") as store:
        batch = store.batches.add(BATCH)
        collector = Collector(store, queue.Queue(), clock, outlook, rules=Rules(), reader=Reader(UTC))
        heard: list[Reading] = []
        steps = int(timedelta(hours=HOURS) / A_STEP)
        for step in range(1, steps + 1):
            now = clock.advance(seconds=A_STEP.total_seconds())
            if step % STEPS_A_PART == 0 or step == steps:
                part = [each for each in readings[len(heard) :] if each.measured_at <= now]
                heard += part
                store.readings.add(part if rng is None else _spoilt(rng, part, heard, now))
            collector.turn(0.0)
        told = [(message.id, message.title, message.text) for message in store.outbox.messages(batch.id)]
        return list(store.outlooks.of(batch.id)), told


def _spoilt(rng: random.Random, part: list[Reading], heard: list[Reading], now: datetime) -> list[Reading]:
    late = [each for each in rng.choices(heard, k=20) if now - each.measured_at <= OLDEST]
    copies = [replace(each, arrived_at=now) for each in part for _ in range(rng.randint(1, 5))]
    mixed = [*copies, *(replace(each, arrived_at=now) for each in late)]
    rng.shuffle(mixed)
    return mixed


def _all_at_once(folder: Path, rng: random.Random, at: datetime) -> object:
    """The outlook of a collector that hears a whole day late of everything, in any order."""
    clock = SetClock(at)
    readings = readings_of(BATCH, hours=HOURS)
    rng.shuffle(readings)
    with Store(folder / "late.sqlite") as store:
        batch: Batch = store.batches.add(BATCH)
        store.readings.add(readings)
        Collector(store, queue.Queue(), clock, outlook, rules=Rules(), reader=Reader(UTC)).turn(0.0)
        return store.outlooks.latest(batch.id)


def run(seeds: int) -> Line:
    """So many ways to be out of order."""
    wrong = []
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "plain").mkdir()
        outlooks, told = _lived(Path(name) / "plain", None)
        if not told:
            wrong.append("nothing was ever called")
        for seed in range(seeds):
            folder = Path(name) / str(seed)
            folder.mkdir()
            rng = random.Random(seed)
            other, other_told = _lived(folder, rng)
            if other != outlooks:
                wrong.append(f"seed {seed}: other outlooks")
            if other_told != told:
                wrong.append(f"seed {seed}: other messages")
            if _all_at_once(folder, rng, outlooks[-1].at) != outlooks[-1]:  # type: ignore[attr-defined]
                wrong.append(f"seed {seed}: another outlook when all comes at once")
    return Line(
        "duplicates x1-5, shuffled, late up to 24 h",
        f"{seeds} ways, every outlook and message of a rise",
        f"identical: {len(outlooks)} outlooks, {len(told)} messages",
        tuple(wrong[:5]),
    )
