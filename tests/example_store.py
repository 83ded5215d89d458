"""Make the example day anew, ``python -m tests.example_store``: four weeks of a loaf, then the demo's morning.

The doughs are those of the demo, their nodes' packs go through a collector, and the demo's baker lives the day; only
the clock is set by hand, and stands still when everything is worth looking at. It takes some minutes.
"""

import gzip
import json
import queue
import sqlite3
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from collector_bench import framed

from firmware_sim.bench.air import air_named
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.demo.day import Day, bench_of, plan_day, write_day
from monitor.alerts.calls import Call, DecisionReason
from monitor.alerts.dough import Rules
from monitor.collector.loop import Collector
from monitor.collector.plan_runner import StageForecasts, run_plans
from monitor.demo import example, oven
from monitor.demo.day import Baker, read_day
from monitor.dough.forecast import outlook, outlooks
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.settings.data_dir import DATABASE_NAME
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wording.reader import Reader

MORNING = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)
STANDS_AFTER = timedelta(minutes=104)  # judgement: something is ready, something calls, something bakes soon
STEP = timedelta(minutes=2)
WEEKS = 4
LOAF, SEED = "country-loaf", 1
KEPT_EVERY_MIN = 4  # an outlook is kept so often: the curves look the same
VERDICTS = (
    (Verdict.RIGHT, ""),
    (Verdict.UNDER, "a colder kitchen"),
    (Verdict.RIGHT, ""),
    (Verdict.RIGHT, "good crumb"),
)


class HandClock:
    """A clock for doughs and machine alike, set by hand."""

    def __init__(self, now: datetime) -> None:
        self.at = now

    def now(self) -> datetime:
        return self.at

    def real_s(self) -> float:
        return self.at.timestamp()

    def wait(self, seconds: float) -> None:
        raise NotImplementedError("nobody waits here")


class Nodes:
    """The nodes of a day, which measure when they are asked."""

    def __init__(self, day: Day) -> None:
        self._day = day
        self._benches = {key: bench_of(day, key) for key in day.batches}
        airs = {node.key: node.air for node in day.nodes if node.air is not None}
        self._airs = {key: (air_named(air, day.seed), Sensors(NOISE[day.noise], key)) for key, air in airs.items()}

    def packs(self, at: datetime, seq: int) -> list[tuple[str, str, bytes]]:
        """What each node sends at a moment: its key, how it is wired, its pack."""
        at_s, found = (at - self._day.start_at).total_seconds(), []
        boot = f"{int(self._day.start_at.timestamp()):08x}"  # switched on that morning
        for node in self._day.nodes:
            values: list[tuple[str, str, float]] = []
            if node.key in self._airs:
                air, sensors = self._airs[node.key]
                seen = sensors.air(at_s, air.temp_c(at_s), air.humidity_pct(at_s))
                values += [] if seen is None else [("air", "Cel", seen[0] / 100), ("humidity", "%RH", seen[1] / 100)]
            bench = None if node.batch is None else self._benches[node.batch]
            dough_c = None if bench is None else bench.read_dough(at_s)
            distance = None if bench is None else bench.read_distance(at_s)
            values += [] if dough_c is None else [("dough", "Cel", dough_c / 100)]
            values += [] if distance is None else [("distance", "m", distance / 10_000)]
            if values:
                records = [{"n": name, "u": unit, "v": round(value, 4)} for name, unit, value in values]
                records[0] |= {"bn": f"{node.urn}_", "bt": 0}
                found.append((node.key, node.link, framed(json.dumps(records), boot=boot, seq=seq)))
        return found


def live(store: Store, day: Day, folder: Path, until: datetime, *, is_baked: bool) -> None:
    """Let a day pass up to a moment, or until its last dough was taken."""
    write_day(day, folder)
    clock, inbox = HandClock(day.start_at), queue.Queue[Item](1000)
    collector = Collector(store, inbox, clock, outlook, together=outlooks, rules=Rules(), reader=Reader(UTC), speed=1.0)
    tubs = read_day(folder)
    baker, nodes, hands = Baker(store, tubs, day.start_at), Nodes(day), None
    seq = 1
    while clock.at <= until and not baker.is_done:
        baker.act(clock.at)
        if is_baked and hands is None:
            proof = next(tub.id for tub in tubs if tub.key == oven.BAKED)
            assert proof is not None
            hands = oven.planned(store, proof, clock.at, UTC)
        for key, link, data in nodes.packs(clock.at, seq):
            inbox.put(Frame(data, clock.at, link, key, lambda _: None))
        for _ in range(4):
            collector.turn(0.0)
        if hands is not None:
            run_plans(store, clock.at, Reader(UTC), StageForecasts(store))
            hands.act(clock.at)
        clock.at += STEP
        seq += 1


def loaf_of(day: Day) -> Day:
    """A day on which nothing but the loaf was made."""
    nodes = tuple(node for node in day.nodes if node.batch == LOAF)
    return replace(day, batches={LOAF: day.batches[LOAF]}, nodes=nodes)


def make(path: Path) -> None:
    """Write the example's store."""
    with tempfile.TemporaryDirectory() as work, Store(Path(work) / DATABASE_NAME) as store:
        for week in range(WEEKS, 0, -1):
            day = plan_day(SEED + week, MORNING - timedelta(weeks=week))
            folder = Path(work) / f"week-{week}"
            folder.mkdir()
            live(store, loaf_of(day), folder, day.start_at + timedelta(minutes=170), is_baked=False)
            batch = store.batches.ended()[-1]
            store.reviews.save_intent(batch.id, Intent(26.5))
            verdict, notes = VERDICTS[WEEKS - week]
            store.reviews.save_judgement(batch.id, Judgement(batch.ended_at or batch.started_at, verdict, notes))
            print(f"week {week}: {batch.name}, {batch.started_at} to {batch.ended_at}", file=sys.stderr)
        day = plan_day(SEED, MORNING)
        folder = Path(work) / "today"
        folder.mkdir()
        live(store, day, folder, MORNING + STANDS_AFTER, is_baked=True)
        for batch in store.batches.all():
            last = store.outlooks.latest(batch.id)
            assert last is not None
            print(f"{batch.name}: {last.state}, ended {batch.ended_at}", file=sys.stderr)
        for message in store.outbox.messages():
            at = message.created_at
            store.outbox.save_call(Call(message.id, 1, "baker", at, at, "phone", 1), 1)
            store.outbox.close_message(message.id, DecisionReason.SAID)
        example.stand_still(store, MORNING + STANDS_AFTER)
        store.close()
        shrunk(Path(work) / DATABASE_NAME)
        path.write_bytes(gzip.compress((Path(work) / DATABASE_NAME).read_bytes(), 9, mtime=0))
    print(f"{path}: {path.stat().st_size} bytes", file=sys.stderr)


def shrunk(path: Path) -> None:
    """Leave out outlooks that no curve misses, and the fans that nobody is shown."""
    with sqlite3.connect(path) as connection:
        newest = "(SELECT max(at_us) FROM outlook AS newer WHERE newer.batch_id = outlook.batch_id)"
        every = f"(at_us / 60000000) % {KEPT_EVERY_MIN} != 0"
        connection.execute(f"DELETE FROM outlook WHERE at_us != {newest} AND {every}")
        connection.execute(f"UPDATE outlook SET fan = '[]' WHERE at_us != {newest}")
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.execute("VACUUM")
    connection.close()


if __name__ == "__main__":
    make(example.STORE)
