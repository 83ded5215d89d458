"""What it takes to follow thousands of batches: ``python -m tests.scale_benchmark``. To note, never to pass or fail.

Batches of many sites in the middle of their rise, each with its own pace, warmth, age, folds and noise, and with its
own readings in the store. The real collector's loop, its estimator, its alerts and its store on the disk follow them
for some minutes; one pack a minute of every batch comes in as from a source. The doughs' clock goes by the processor's
time used, so that other work on the machine does not count: with two collectors (``--collectors 2``: sites are
independent, so each half of them has a process and a store of its own) a minute of doughs may take two minutes of
processor time.

The budget is the machine's two cores, a minute of work for a minute of doughs. Nothing is asserted.
"""

import argparse
import os
import queue
import resource
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from zlib import crc32

ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
if ONE_THREAD.keys() - os.environ.keys():  # only heeded before the array library is loaded, as the command line does
    os.environ.update(ONE_THREAD)

import numpy as np  # noqa: E402

from monitor.alerts.dough import Rules  # noqa: E402
from monitor.collector.loop import Collector  # noqa: E402
from monitor.dough.forecast import outlook, outlooks  # noqa: E402
from monitor.health.counters import Pulse  # noqa: E402
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target  # noqa: E402
from monitor.recipe.vessel import Shape, Vessel, level_mm, volume_ml  # noqa: E402
from monitor.sources.intake import Frame, Item  # noqa: E402
from monitor.store.store import Store  # noqa: E402
from monitor.wire.readings import Channel, NodeId, Reading  # noqa: E402
from monitor.wording.reader import Reader  # noqa: E402

START = datetime.fromisoformat("2026-03-02T05:00:00+00:00")
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)
START_LEVEL_MM = 70.0
TUBS_A_CABINET = 10
PACK_EVERY_S = 60.0
MINUTES, SETTLING_MINUTES = 3.0, 1.5
NEAR = timedelta(minutes=10)
SIZES = (1, 100, 1000)
CHANNELS = ((Channel.AIR_TEMP, Channel.HUMIDITY), (Channel.DOUGH_TEMP, Channel.DISTANCE))  # of a cabinet, of a tub


class WorkClock:
    """A doughs' clock that goes by the processor time of this process; what would be waited for is skipped."""

    def __init__(self) -> None:
        self._began_s = time.process_time()
        self._skipped_s = 0.0

    def now(self) -> datetime:
        return START + timedelta(seconds=self.real_s())

    def real_s(self) -> float:
        return time.process_time() - self._began_s + self._skipped_s

    def wait(self, seconds: float) -> None:
        self._skipped_s += seconds

    @property
    def used_s(self) -> float:
        return time.process_time() - self._began_s


@dataclass(frozen=True, slots=True)
class Dough:
    """One batch's own numbers."""

    number: int
    site: int
    age_h: float
    per_h: float
    lag_h: float
    ceiling: float
    temp_c: float
    fold_ages_h: tuple[float, ...]

    @property
    def nodes(self) -> tuple[NodeId, NodeId]:
        """Its cabinet's and its own."""
        return node(self.site, 0x8000 + self.number // TUBS_A_CABINET), node(self.site, self.number % 0x8000)

    def distance_mm(self, age_h: np.ndarray) -> np.ndarray:
        """What the sensor over it says without noise."""
        awake_h = 0.2 * np.logaddexp(0.0, (age_h - self.lag_h) / 0.2)
        rise = self.ceiling * np.tanh(self.per_h * awake_h / self.ceiling)
        for fold_h in self.fold_ages_h:
            rise = rise - np.where(age_h >= fold_h, 0.4 * np.interp(fold_h, age_h, rise), 0.0)
        return 300.0 - level_mm(TUB, volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise))

    def values(self, age_h: np.ndarray, rng: np.random.Generator) -> dict[Channel, np.ndarray]:
        """What is measured of it and of the air beside it."""
        n = age_h.size
        return {
            Channel.AIR_TEMP: self.temp_c + rng.normal(0.0, 0.2, n),
            Channel.HUMIDITY: 72.0 + rng.normal(0.0, 1.0, n),
            Channel.DOUGH_TEMP: self.temp_c - 0.4 + rng.normal(0.0, 0.05, n),
            Channel.DISTANCE: self.distance_mm(age_h) + rng.normal(0.0, 0.8, n),
        }


def node(site: int, number: int) -> NodeId:
    return NodeId(f"urn:dev:mac:{0x02 << 56 | site << 16 | number:016x}")


def doughs_of(sites: range, batches: int) -> list[Dough]:
    """The doughs of some sites, each site always with the same."""
    found = []
    for site in sites:
        rng = np.random.default_rng([2026, site])
        for number in range(batches):
            age_h = rng.uniform(0.4, 5.0)
            folds = sorted(rng.uniform(0.2, age_h, rng.integers(0, 3)) if age_h > 1.0 else [])
            pace, lag, ceiling = rng.uniform(0.2, 0.5), rng.uniform(0.3, 1.0), rng.uniform(1.2, 2.5)
            found.append(Dough(number, site, age_h, pace, lag, ceiling, rng.uniform(21.0, 28.0), tuple(folds)))
    return found


def fill(path: Path, doughs: list[Dough]) -> None:
    """A store in which all of them run, with their past."""
    with Store(path) as store:
        for dough in doughs:
            rng = np.random.default_rng([2027, dough.site, dough.number])
            started_at = START - timedelta(hours=dough.age_h)
            mapped = [(channel, at) for channels, at in zip(CHANNELS, dough.nodes, strict=True) for channel in channels]
            events = tuple(Event(started_at + timedelta(hours=h), EventKind.FOLD) for h in dough.fold_ages_h)
            name = f"site {dough.site}, tub {dough.number}"
            target = Target(float(rng.integers(60, 120)))
            store.batches.add(
                Batch(BatchId(0), name, Stage.FIRST_RISE, started_at, TUB, target, nodes=tuple(mapped), events=events)
            )
            age_h = np.arange(0.0, dough.age_h, PACK_EVERY_S / 3600.0)
            values = dough.values(age_h, rng)
            is_cabinets_first = dough.number % TUBS_A_CABINET == 0
            readings = []
            for channel, at in mapped[0 if is_cabinets_first else 2 :]:
                for seq, (h, value) in enumerate(zip(age_h.tolist(), values[channel].tolist(), strict=True), start=1):
                    moment = started_at + timedelta(hours=h)
                    readings.append(Reading(at, "0a1b2c3d", seq, channel, round(value, 2), moment, moment))
            store.readings.add(readings)


class Packs:
    """What the nodes of some doughs send from now on, each once a minute at a moment of its own."""

    def __init__(self, doughs: list[Dough]) -> None:
        self._rng = np.random.default_rng(7)
        senders = [(dough, 1) for dough in doughs]
        senders += [(dough, 0) for dough in doughs if dough.number % TUBS_A_CABINET == 0]
        self._due = sorted((float(self._rng.uniform(0.0, PACK_EVERY_S)), n) for n in range(len(senders)))
        self._senders, self._sent = senders, 0

    def send(self, clock: WorkClock, inbox: "queue.Queue[Item]") -> None:
        """Put what has become due into the inbox."""
        while True:
            rounds, place = divmod(self._sent, len(self._due))
            at_s, number = self._due[place]
            if rounds * PACK_EVERY_S + at_s > clock.real_s():
                return
            dough, which = self._senders[number]
            ages_h = np.append(np.array(dough.fold_ages_h), dough.age_h + (rounds * PACK_EVERY_S + at_s) / 3600.0)
            values = dough.values(ages_h, self._rng)
            units = {Channel.AIR_TEMP: "Cel", Channel.HUMIDITY: "%RH", Channel.DOUGH_TEMP: "Cel", Channel.DISTANCE: "m"}
            names = dict(zip(units, ("air", "humidity", "dough", "distance"), strict=True))
            sender = dough.nodes[which]
            records = ",".join(
                f'{{"n":"{names[channel]}","u":"{units[channel]}",'
                f'"v":{values[channel][-1] / (1000.0 if channel is Channel.DISTANCE else 1.0):.4f}}}'
                for channel in CHANNELS[which]
            )
            head = f'@0b1b2c3d {rounds + 1} [{{"bn":"{sender}_",{records[1:]}]'.encode()
            key = sender.removeprefix("urn:dev:").replace(":", "-")
            inbox.put(Frame(head + f" {crc32(head):08x}".encode(), clock.now(), "bench", key, lambda line: None))
            self._sent += 1


@dataclass(frozen=True, slots=True)
class Found:
    """What one collector took."""

    resumed_s: float
    first_s: float
    used_s: float
    forecasts: int
    peak_bytes: int
    intervals_s: tuple[float, ...]
    near_intervals_s: tuple[float, ...]
    late_s: tuple[float, ...]


def follow(path: Path, doughs: list[Dough], minutes: float) -> Found:
    """Start a collector on a store, let it estimate every batch once, and then follow them for some minutes."""
    with Store(path) as store:
        clock = WorkClock()
        pulse = Pulse(clock)
        inbox: queue.Queue[Item] = queue.Queue()
        last: dict[BatchId, datetime] = {}
        ready: dict[BatchId, datetime | None] = {}
        intervals: list[float] = []
        near: list[float] = []
        late: list[float] = []
        asked_n = 0

        def together(asked):  # type: ignore[no-untyped-def]
            nonlocal asked_n
            found = outlooks(asked)
            for each, said in zip(asked, found, strict=True):
                before, foretold = last.get(each.batch.id), ready.get(each.batch.id)
                if is_steady and before is not None:
                    intervals.append((each.at - before).total_seconds())
                    if foretold is not None and before < foretold <= before + NEAR:
                        near.append(intervals[-1])
                    if foretold is not None and before < foretold <= each.at:
                        late.append((each.at - foretold).total_seconds())
                last[each.batch.id], ready[each.batch.id] = each.at, said.ready.p50
            asked_n += len(found)
            return found

        def alone(batch, track, at, *, learned=None):  # type: ignore[no-untyped-def]
            nonlocal asked_n
            asked_n += 1
            return outlook(batch, track, at, learned=learned)

        collector = Collector(
            store,
            inbox,
            clock,
            alone,
            together=together,
            rules=Rules(),
            reader=Reader(UTC),
            pulse=pulse,
        )
        is_steady = False
        collector.find_batches()
        resumed_s = clock.used_s
        packs = Packs(doughs)

        def turn() -> None:
            packs.send(clock, inbox)
            before = clock.used_s, asked_n
            collector.turn(0.0)
            if asked_n == before[1] and inbox.empty():
                clock.wait(0.1)

        while len(last) < len(doughs) and asked_n < len(doughs):
            turn()
        first_s = clock.used_s
        settled_s = clock.real_s() + 60.0 * SETTLING_MINUTES
        while clock.real_s() < settled_s:  # what was late at the start is made up for
            turn()
        is_steady, asked_n = True, 0
        began_s, began_used_s = clock.real_s(), clock.used_s
        while clock.real_s() < began_s + 60.0 * minutes:
            turn()
        if pulse.refused:
            raise RuntimeError(f"the benchmark is at fault: {dict(pulse.refused)}")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
        return Found(
            resumed_s,
            first_s,
            (clock.used_s - began_used_s) / minutes,
            asked_n,
            peak,
            tuple(intervals),
            tuple(near),
            tuple(late),
        )


def measured(batches: int, sites: int, collectors: int, minutes: float) -> list[Found]:
    """What each of some collectors takes that share the sites."""
    parts = [range(sites)[part::collectors] for part in range(collectors)]
    doughs = [doughs_of(part, batches // sites) for part in parts]
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{part}.sqlite" for part in range(collectors)]
        spawn = get_context("spawn")
        with ProcessPoolExecutor(collectors, mp_context=spawn) as pool:
            list(pool.map(fill, paths, doughs))
        with ProcessPoolExecutor(collectors, mp_context=spawn) as pool:  # in new processes: their memory is their own
            return list(pool.map(follow, paths, doughs, [minutes] * collectors))


def quantile(found: list[Found], name: str, share: float) -> float:
    values = [value for each in found for value in getattr(each, name)]
    return float(np.quantile(values, share)) if values else float("nan")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--batches", type=int, default=10_000)
    parser.add_argument("--sites", type=int, default=100)
    parser.add_argument("--collectors", type=int, default=2, help="that share the sites")
    parser.add_argument("--minutes", type=float, default=MINUTES)
    parser.add_argument("--only", action="store_true", help="no smaller numbers beside it")
    args = parser.parse_args()
    runs = [] if args.only else [(size, 1, 1) for size in SIZES if size < args.batches]
    runs.append((args.batches, args.sites, args.collectors))
    print(
        "batches sites collectors  resumed  all once  cores (a batch)  forecasts/min  interval 50/95 %  near 95 %"
        "  late 95 %  peak MB"
    )
    for batches, sites, collectors in runs:
        found = measured(batches, sites, collectors, args.minutes)
        cores = sum(each.used_s for each in found) / 60.0
        per_min = sum(each.forecasts for each in found) / args.minutes
        print(
            f"{batches:7} {sites:5} {collectors:10} {max(each.resumed_s for each in found):7.2f}s"
            f" {max(each.first_s for each in found):8.1f}s {cores:6.2f} ({1e3 * cores * 60.0 / batches:5.2f} ms)"
            f" {per_min:14.0f} {quantile(found, 'intervals_s', 0.5):8.0f} {quantile(found, 'intervals_s', 0.95):5.0f} s"
            f" {quantile(found, 'near_intervals_s', 0.95):8.0f} s {quantile(found, 'late_s', 0.95):8.1f} s"
            f" {sum(each.peak_bytes for each in found) / 2**20:8.0f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
