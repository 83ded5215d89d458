"""What estimator and collector cost on this machine: ``python -m tests.benchmark``. To note, never to pass or fail.

The command goes on with what comes in (``tests/benchmark_intake.py``) and what is kept
(``tests/benchmark_storage.py``); name parts to have them alone: ``python -m tests.benchmark intake storage``.

Times are medians, given also as ratios to two yardsticks of the same run: reading one pack with ``json.loads``, and one
NumPy operation (the exponential of 400 x 150 numbers). Processor time of one core.
"""

import argparse
import json
import os
import platform
import queue
import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from zlib import crc32

import numpy as np

from monitor.alerts.dough import Rules
from monitor.collector.batch_step import Estimate
from monitor.collector.loop import Collector
from monitor.dough.forecast import outlook
from monitor.dough.learning import RecipeExperience
from monitor.dough.outlook import Outlook, State
from monitor.dough.track import Track
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wire.frames import decode, readings
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.reader import Reader

ROOT = Path(__file__).resolve().parents[1]
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
EVERY_S = 10.0
HOURS = 4.0
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
BATCHES, FORECAST_EVERY_S = 1000, 60.0
BUSY_ROUNDS = 18  # packs of every node: three minutes
HELD_BATCHES, HELD_HOURS = 10, 24.0
SAMPLED = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)


class BenchClock:
    """A dough clock that stands where it is put."""

    def __init__(self) -> None:
        self.at = START

    def now(self) -> datetime:
        return self.at

    def real_s(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)


def cost_s(work: Callable[[], object], repeats: int) -> float:
    """Median processor time of one call, after one to warm up. [s]"""
    work()
    times = []
    for _ in range(repeats):
        began_s = time.process_time()
        work()
        times.append(time.process_time() - began_s)
    return median(times)


def cost_of_many_s(work: Callable[[], object], calls: int, repeats: int = 9) -> float:
    """The same for work too short to time alone. [s]"""

    def many() -> None:
        for _ in range(calls):
            work()

    return cost_s(many, repeats) / calls


def invented_batch(node: NodeId = NODE) -> Batch:
    """A straight round tub, to double."""
    vessel = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 220.0, 280.0)
    nodes = tuple((channel, node) for channel in SAMPLED)
    return Batch(BatchId(1), "invented", Stage.FIRST_RISE, START, vessel, Target(100.0), nodes=nodes)


def invented_values(t_h: float, rng: np.random.Generator) -> dict[Channel, float]:
    """What is measured of a dough that has made three quarters of its target after ``HOURS``."""
    rise = 1.6 / (1.0 + np.exp(-1.4 * (t_h - 0.8 * HOURS)))
    return {
        Channel.AIR_TEMP: 25.0 + rng.normal(0.0, 0.1),
        Channel.HUMIDITY: 70.0 + rng.normal(0.0, 0.5),
        Channel.DOUGH_TEMP: 24.5 + rng.normal(0.0, 0.05),
        Channel.DISTANCE: 280.0 - 60.0 * (1.0 + rise) + rng.normal(0.0, 0.7),
    }


def invented_readings(hours: float, node: NodeId = NODE) -> list[Reading]:
    """That dough, read each ten seconds."""
    rng, found = np.random.default_rng(1), []
    for seq in range(1, int(hours * 3600.0 / EVERY_S) + 1):
        at = START + timedelta(seconds=seq * EVERY_S)
        values = invented_values(seq * EVERY_S / 3600.0, rng)
        found += [Reading(node, "0a1b2c3d", seq, channel, value, at, at) for channel, value in values.items()]
    return found


def node_named(number: int) -> NodeId:
    """The node of one of many batches."""
    return NodeId(f"urn:dev:mac:020000fffe{number:06x}")


def framed(node: NodeId, seq: int, values: dict[Channel, float]) -> bytes:
    """A pack as a node sends it."""
    air, humidity, dough, distance = (values[channel] for channel in SAMPLED)
    head = (
        f'@0a1b2c3d {seq} [{{"bn":"{node}_","bt":-0.2,"n":"air","u":"Cel","v":{air:.2f}}},'
        f'{{"n":"humidity","u":"%RH","v":{humidity:.2f}}},{{"n":"dough","u":"Cel","v":{dough:.2f}}},'
        f'{{"n":"distance","u":"m","v":{distance / 1000.0:.4f}}}]'
    ).encode()
    return head + f" {crc32(head):08x}".encode()


class Counting:
    """An estimator that counts its calls; without another one to ask it costs nothing."""

    def __init__(self, asked: Estimate | None = None) -> None:
        self.n = 0
        self._asked = asked

    def __call__(self, batch: Batch, track: Track, at: datetime, *, learned: RecipeExperience | None = None) -> Outlook:
        self.n += 1
        return Outlook(at=at, state=State.RISING) if self._asked is None else self._asked(batch, track, at)

    def work_off(self, collector: Collector) -> None:
        """Turn until no batch is due any more."""
        before = -1
        while self.n != before:
            before = self.n
            collector.turn(0.0)


def collector_costs_s(folder: Path) -> tuple[float, float]:
    """The collector with ``BATCHES`` live batches and no estimator to speak of, by the processor's time.

    Returns
    -------
    tuple of float
        One pack, from its bytes to its acknowledgement after the commit, median over turns of ``FRAMES_A_TURN``; one
        step of a batch around the estimate: its track read, alerts judged, all of it saved; mean. [s]
    """
    clock, rng = BenchClock(), np.random.default_rng(3)
    inbox: queue.Queue[Item] = queue.Queue()
    pack_costs, estimator, step_s = [], Counting(), 0.0
    with Store(folder / "busy.sqlite3") as store:
        nodes = [node_named(number) for number in range(BATCHES)]
        for node in nodes:
            store.batches.add(replace(invented_batch(node), name=f"invented {node}"))
        collector = Collector(store, inbox, clock, estimator, rules=Rules(), reader=Reader(UTC))
        collector.find_batches()
        for seq in range(1, BUSY_ROUNDS + 1):
            clock.at += timedelta(seconds=EVERY_S)
            for node in nodes:
                data = framed(node, seq, invented_values(seq * EVERY_S / 3600.0, rng))
                inbox.put(Frame(data, clock.at, "bench", node.removeprefix("urn:dev:").replace(":", "-"), len))
            while True:
                began_s = time.process_time()
                taken = collector.take_frames(0.0)
                if not taken:
                    break
                pack_costs.append((time.process_time() - began_s) / taken)
            began_s = time.process_time()
            estimator.work_off(collector)
            step_s += time.process_time() - began_s
    return median(pack_costs), step_s / estimator.n


def held_bytes(folder: Path) -> float:
    """What a collector holds of one live batch of ``HELD_HOURS`` between steps, the estimator at work. [bytes]"""
    clock, estimator = BenchClock(), Counting(outlook)
    with Store(folder / "held.sqlite3") as store:
        for number in range(HELD_BATCHES):
            node = node_named(number)
            store.readings.add(invented_readings(HELD_HOURS, node))
            store.batches.add(replace(invented_batch(node), name=f"invented {number}"))
        clock.at = START + timedelta(hours=HELD_HOURS)
        outlook(
            invented_batch(), store.readings.track(store.batches.get(BatchId(1))), clock.at
        )  # what is loaded once is no batch's
        tracemalloc.start()
        collector = Collector(store, queue.Queue(), clock, estimator, rules=Rules(), reader=Reader(UTC))
        before, _ = tracemalloc.get_traced_memory()
        collector.find_batches()
        estimator.work_off(collector)
        after, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    return (after - before) / HELD_BATCHES


def import_time_s(module: str) -> float:
    """Processor time of a new interpreter that imports a module, over one that imports nothing. [s]"""

    def run(code: str) -> float:
        began = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
        ended = resource.getrusage(resource.RUSAGE_CHILDREN)
        return ended.ru_utime + ended.ru_stime - began.ru_utime - began.ru_stime

    return max(0.0, median(run(f"import {module}") for _ in range(7)) - median(run("pass") for _ in range(7)))


def estimator_and_collector() -> None:
    """Measure, and print one line a figure."""
    golden = (ROOT / "tests" / "data" / "frames" / "frames.txt").read_bytes().splitlines()[0]
    body = golden.split(b" ", 2)[2].rpartition(b" ")[0]
    grid = np.random.default_rng(2).normal(size=(400, 150))
    pack_s = cost_of_many_s(lambda: json.loads(body), 2000)
    array_s = cost_s(lambda: np.exp(grid), 101)

    def line(what: str, seconds: float) -> None:
        print(f"{what:58} {1e3 * seconds:9.3f} ms {seconds / pack_s:10.0f} {seconds / array_s:9.1f}")

    print(f"Python {platform.python_version()}, NumPy {np.__version__}, {platform.machine()}, {os.cpu_count()} cores")
    print(f"{'':58} {'':>12} {'/ json':>10} {'/ numpy':>9}")
    line("json.loads of one pack", pack_s)
    line("np.exp of 400 x 150 numbers", array_s)

    arrived_at = START + timedelta(hours=1)
    line("one pack to checked readings", cost_of_many_s(lambda: readings(decode(golden), arrived_at), 500))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        pack_cost_s, step_cost_s = collector_costs_s(folder)
        line(f"one pack through the collector, {BATCHES} live batches", pack_cost_s)
        line("one step of a young batch around its estimate", step_cost_s)
        with Store(folder / "one.sqlite3") as store:
            batch = store.batches.add(invented_batch())
            store.readings.add(invented_readings(HELD_HOURS))
            for hours in (0.5, 1.0, 2.0, HOURS, HELD_HOURS):
                at = START + timedelta(hours=hours)
                part = replace(batch, ended_at=at)
                read_s = cost_s(lambda part=part: store.readings.track(part), 11)
                line(f"all readings of {hours:g} h, one each {EVERY_S:g} s, from the store", read_s)
                track = store.readings.track(part)
                outlook_s = cost_s(lambda track=track, at=at: outlook(batch, track, at), 15)
                line(f"one forecast after {hours:g} h", outlook_s)
                taking = BATCHES * pack_cost_s / EVERY_S
                working = BATCHES * (step_cost_s + read_s + outlook_s) / FORECAST_EVERY_S
                print(f"    {BATCHES} such batches live: {taking:.2f} cores for packs, {working:.2f} for forecasts")
        held_kb = held_bytes(folder) / 1024.0
        print(f"held of one live batch after {HELD_HOURS:g} h of a reading each {EVERY_S:g} s: {held_kb:.1f} KB")
    for module in ("monitor", "monitor.cli", "monitor.dough.forecast", "monitor.collector.loop"):
        print(f"import {module}: {import_time_s(module):.2f} s")


def main() -> None:
    """Run the parts asked for, or all."""
    from tests import benchmark_intake, benchmark_storage  # they take their doughs from here

    parts: dict[str, Callable[[], object]] = {
        "estimator": estimator_and_collector,
        "intake": lambda: benchmark_intake.main([]),
        "storage": lambda: benchmark_storage.main([]),
    }
    asked = argparse.ArgumentParser()
    asked.add_argument("parts", nargs="*", metavar="PART", help=f"of {', '.join(parts)} (all)")
    for part in asked.parse_args().parts or parts:
        parts[part]()


if __name__ == "__main__":
    if (
        ONE_THREAD.keys() - os.environ.keys()
    ):  # only heeded before the array library is loaded, as the command line does
        os.execve(
            sys.executable, [sys.executable, "-m", "tests.benchmark", *sys.argv[1:]], {**os.environ, **ONE_THREAD}
        )
    main()
