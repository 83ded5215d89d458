"""What the estimator costs on this machine: ``python -m tests.benchmark``. Figures to note, never to pass or fail.

Times are medians, given also as ratios to two yardsticks of the same run: reading one pack with ``json.loads``, and one
NumPy operation (the exponential of 400 x 150 numbers). Processor time of one core.
"""

import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

import numpy as np

from monitor.dough.forecast import outlook
from monitor.dough.track import track_from_readings
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.sinks.store import Store
from monitor.wire.frames import decode, readings
from monitor.wire.readings import Channel, NodeId, Reading

ROOT = Path(__file__).resolve().parents[1]
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
EVERY_S = 10.0
HOURS = 4.0
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
BATCHES, FORECAST_EVERY_S = 1000, 60.0


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


def invented_batch() -> Batch:
    """A straight round tub, to double."""
    vessel = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 220.0, 280.0)
    nodes = tuple((channel, NODE) for channel in (Channel.AIR_TEMP, Channel.DOUGH_TEMP, Channel.DISTANCE))
    return Batch(BatchId(1), "invented", Stage.BULK_RISE, START, vessel, Target(100.0), nodes=nodes)


def invented_readings(hours: float) -> list[Reading]:
    """A dough that has made three quarters of its target after ``HOURS``, read each ten seconds."""
    rng, found = np.random.default_rng(1), []
    for seq in range(1, int(hours * 3600.0 / EVERY_S) + 1):
        t_h = seq * EVERY_S / 3600.0
        rise = 1.6 / (1.0 + np.exp(-1.4 * (t_h - 0.8 * HOURS)))
        values = {
            Channel.AIR_TEMP: 25.0 + rng.normal(0.0, 0.1),
            Channel.DOUGH_TEMP: 24.5 + rng.normal(0.0, 0.05),
            Channel.DISTANCE: 280.0 - 60.0 * (1.0 + rise) + rng.normal(0.0, 0.7),
        }
        at = START + timedelta(seconds=seq * EVERY_S)
        found += [Reading(NODE, "0a1b2c3d", seq, channel, value, at, at) for channel, value in values.items()]
    return found


def import_time_s(module: str) -> float:
    """Processor time of a new interpreter that imports a module, over one that imports nothing. [s]"""

    def run(code: str) -> float:
        began = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
        ended = resource.getrusage(resource.RUSAGE_CHILDREN)
        return ended.ru_utime + ended.ru_stime - began.ru_utime - began.ru_stime

    return max(0.0, median(run(f"import {module}") for _ in range(7)) - median(run("pass") for _ in range(7)))


def main() -> None:
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

    batch, all_readings = invented_batch(), invented_readings(HOURS)
    arrived_at = START + timedelta(hours=1)
    reading_s = cost_of_many_s(lambda: readings(decode(golden), arrived_at), 500)
    line("one pack to checked readings", reading_s)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "store.sqlite3") as store:
        commits = iter(range(0, len(all_readings) - 3, 3))
        kept_s = cost_s(lambda: store.append(all_readings[(first := next(commits)) : first + 3]), 101)
    line("one pack's readings committed to the store", kept_s)
    for hours in (0.5, 1.0, 2.0, HOURS):
        part = [reading for reading in all_readings if reading.measured_at <= START + timedelta(hours=hours)]
        track_s = cost_s(lambda part=part: track_from_readings(batch, part), 11)
        line(f"all readings of {hours:g} h, one each {EVERY_S:g} s, to arrays", track_s)
        track = track_from_readings(batch, part)
        at = START + timedelta(hours=hours)
        outlook_s = cost_s(lambda track=track, at=at: outlook(batch, track, at), 15)
        line(f"one forecast after {hours:g} h", outlook_s)

    load = BATCHES * (reading_s / EVERY_S + outlook_s / FORECAST_EVERY_S)
    print(f"{BATCHES} live batches, a reading each {EVERY_S:g} s, a forecast a minute: {load:.1f} cores")
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    held = invented_readings(HOURS)
    after, _ = tracemalloc.get_traced_memory()
    arrays = track_from_readings(batch, held)
    last, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(f"memory of {HOURS:g} h of one batch: {(after - before) / 1024:.0f} KB as readings", end="")
    print(f" ({len(held)}), {(last - after) / 1024:.0f} KB as arrays ({arrays.distance_mm.t_s.size} heights)")
    for module in ("monitor", "monitor.cli", "monitor.dough.forecast", "monitor.collector"):
        print(f"import {module}: {import_time_s(module):.2f} s")


if __name__ == "__main__":
    if (
        ONE_THREAD.keys() - os.environ.keys()
    ):  # only heeded before the array library is loaded, as the command line does
        os.execve(sys.executable, [sys.executable, "-m", "tests.benchmark"], {**os.environ, **ONE_THREAD})
    main()
