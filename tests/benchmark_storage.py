"""What readings weigh on disk and how soon they are read back: ``python -m tests.benchmark_storage --days 30``.

With ``--whole-days 2`` older ones are then downsampled, of nodes that each served a batch of five hours a day, and a
year is worked out from what that leaves. With ``--packed`` those of the batches are packed first.

The store of a bakery whose 20 nodes say four channels each 10 s, made by SQL through the real schema, an hour a
transaction, in the order a collector would have kept them. Then bytes a reading by table and index, and the median time
of what screens and estimator ask of it, beside bare sqlite3 reading as many rows in the table's own order. To note,
never to pass or fail. A year is ``--days 365``.
"""

import argparse
import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from statistics import median

from monitor.archive.backup import back_up, verified
from monitor.recipe.batch import Batch
from monitor.store.damage import damage_of
from monitor.store.rows import to_us
from monitor.store.store import Store
from monitor.wire.readings import Channel
from tests.benchmark import SAMPLED, invented_batch, node_named

NODES, EVERY_S = 20, 10
DAYS, SHORT_DAYS = 7.0, 0.05
FIRST_DAY = datetime(2026, 1, 1, tzinfo=UTC)
BATCH_HOURS = 5.0
TURNS = 7

# Sines of the row's own numbers stand for what a dough does, with noise of two last digits; moments wander by 8 ms, and
# what is measured arrives up to 7 ms later: no block may be small because nothing in it is by chance.
FILL = """
WITH RECURSIVE round (number) AS (SELECT :first UNION ALL SELECT number + 1 FROM round WHERE number + 1 < :end)
INSERT INTO sample (sensor_id, boot_id, seq, value, sd, measured_us, arrived_us, flag)
SELECT sensor_id, boot_id, number, round(base + swing * sin(number * 0.003 + place) + noise, digits), NULL,
    measured_us, measured_us + late_us, 'ok'
FROM (
    SELECT *, :start_us + (number * :every_s + place * :every_s / :nodes) * 1000000 + place * 997
        + CAST(abs(sin(number * 12.9898 + place * 78.233)) * 437585453 AS INTEGER) % 16001 - 8000 AS measured_us,
        CAST(abs(sin(number * 39.3461 + place * 11.135)) * 437585453 AS INTEGER) % 8 * 1000 AS late_us,
        (CAST(abs(sin(number * 73.1564 + sensor_id * 52.235)) * 437585453 AS INTEGER) % 25 - 12) * step AS noise
    FROM round, bench
)
ORDER BY number, place, sensor_id
"""
VALUES = {  # channel -> middle, swing, digits and step of the noise of what is measured
    Channel.AIR_TEMP: (25.0, 3.0, 2, 0.003),
    Channel.HUMIDITY: (70.0, 8.0, 2, 0.01),
    Channel.DOUGH_TEMP: (24.5, 2.0, 2, 0.003),
    Channel.DISTANCE: (180.0, 40.0, 1, 0.1),
}


def filled(path: Path, days: float) -> int:
    """A store with so many days of readings; returns how many there are."""
    with Store(path):
        pass  # makes the tables
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")  # it may be made again
    connection.execute("PRAGMA cache_size = -400000")
    connection.execute(
        "CREATE TEMP TABLE bench "
        "(sensor_id INTEGER, boot_id INTEGER, place INTEGER, base REAL, swing REAL, digits INTEGER, step REAL)"
    )
    for place in range(NODES):
        node = node_named(place)
        boot = connection.execute("INSERT INTO boot (node, boot) VALUES (?, '0a1b2c3d')", (node,)).lastrowid
        for channel in SAMPLED:
            names = (node, channel.value)
            sensor = connection.execute("INSERT INTO sensor (node, channel) VALUES (?, ?)", names).lastrowid
            connection.execute(
                "INSERT INTO bench VALUES (?, ?, ?, ?, ?, ?, ?)", (sensor, boot, place, *VALUES[channel])
            )
    connection.executemany(
        "INSERT INTO node VALUES (?, 'bench', ?, ?, 1, NULL, NULL)",
        [(node_named(n), to_us(FIRST_DAY), to_us(FIRST_DAY + timedelta(days=days))) for n in range(NODES)],
    )
    rounds, hour = int(days * 86_400 / EVERY_S), 3600 // EVERY_S
    for first in range(0, rounds, hour):
        connection.execute(
            FILL,
            {
                "first": first,
                "end": min(first + hour, rounds),
                "start_us": to_us(FIRST_DAY),
                "every_s": EVERY_S,
                "nodes": NODES,
            },
        )
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return rounds * NODES * len(SAMPLED)


def weights(path: Path) -> dict[str, int]:
    """Bytes of each table and index, the largest first."""
    with sqlite3.connect(path) as connection:
        found = connection.execute("SELECT name, sum(pgsize) FROM dbstat GROUP BY name ORDER BY 2 DESC").fetchall()
    connection.close()
    return dict(found)


def median_s(work: Callable[[], object]) -> float:
    """Median of ``TURNS`` calls, after one to warm up. [s]"""
    work()
    times = []
    for _ in range(TURNS):
        began_s = time.perf_counter()
        work()
        times.append(time.perf_counter() - began_s)
    return median(times)


def batch_amid(days: float) -> Batch:
    """A batch of one node in the middle of these days."""
    started_at = FIRST_DAY + timedelta(days=days / 2)
    batch = invented_batch(node_named(7))
    return Batch(
        batch.id, batch.name, batch.stage, started_at, batch.vessel, batch.target, nodes=batch.nodes,
        ended_at=started_at + timedelta(hours=min(BATCH_HOURS, 6.0 * days)),
    )  # fmt: skip


BARE = "SELECT measured_us, value, sd FROM sample WHERE id > 1000 ORDER BY id LIMIT ?"


def read_back(path: Path, days: float) -> None:
    """Ask what estimator and screens ask; a line each."""
    batch = batch_amid(days)
    assert batch.ended_at is not None
    of_batch = int((batch.ended_at - batch.started_at).total_seconds() / EVERY_S) * len(SAMPLED)
    of_chart = int(min(1.0, days / 2) * 86_400 / EVERY_S)
    end = batch.started_at + timedelta(seconds=of_chart * EVERY_S)
    connection = sqlite3.connect(path)

    def bare(n: int) -> None:
        connection.execute(BARE, (n,)).fetchall()

    with Store(path) as store:
        asked: list[tuple[str, int, Callable[[], object]]] = [
            ("a batch as the estimator takes it", of_batch, lambda: store.readings.track(batch)),
            ("a batch as readings", of_batch, lambda: store.readings.of(batch)),
            (
                "a day of one channel",
                of_chart,
                lambda: store.readings.between(node_named(7), Channel.DISTANCE, batch.started_at, end),
            ),
            ("the newest of each channel of all nodes", NODES * len(SAMPLED), store.nodes.all),
        ]
        for what, n, ask in asked:
            ours_s, bare_s = median_s(ask), median_s(partial(bare, n))
            print(f"{what:40} {n:6d} rows {1e3 * ours_s:9.2f} ms {ours_s / bare_s:7.1f} times bare", flush=True)
    connection.close()


def kept_whole_and_safe(path: Path) -> None:
    """How long it takes to open, look through and back up; a line each."""
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:

        def opened() -> None:
            with Store(path) as store:
                store.nodes.all()

        for what, work in (
            ("opened, and the newest of all nodes read", opened),
            ("looked through, as `check` does the database", lambda: damage_of(path)),
            ("looked through, as `check` does a backup", lambda: verified(path)),
            ("backed up, and the backup looked through", lambda: back_up(path, Path(folder), FIRST_DAY)),
        ):
            began_s, worked_s = time.perf_counter(), time.process_time()
            work()
            took_s, processor_s = time.perf_counter() - began_s, time.process_time() - worked_s
            print(f"{what:45} {took_s:9.2f} s, {processor_s:.2f} s of a processor", flush=True)


def used_bytes(path: Path) -> int:
    """Bytes of the pages in use: a file does not shrink, and new readings take the room."""
    with sqlite3.connect(path) as connection:
        size, pages, free = (
            connection.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_size", "page_count", "freelist_count")
        )
    connection.close()
    return int(size * (pages - free))


def with_batches(path: Path, days: float) -> None:
    """Let each node serve a batch of five hours a day."""
    with Store(path) as store:
        for place in range(NODES):
            for day in range(int(days)):
                started_at = FIRST_DAY + timedelta(days=day, hours=place * (24.0 - BATCH_HOURS) / NODES)
                ended_at = started_at + timedelta(hours=BATCH_HOURS)
                store.batches.add(replace(invented_batch(node_named(place)), started_at=started_at, ended_at=ended_at))


def told(what: str, path: Path, steps: Callable[[Store], Iterator[int]]) -> int:
    """Take all steps and say how long they took; the sum of what they give."""
    times_s, n = [], 0
    with Store(path) as store:
        began_s = time.perf_counter()
        for gone in steps(store):
            times_s.append(time.perf_counter() - began_s)
            n += gone
            began_s = time.perf_counter()
    print(
        f"{what}: {n} readings in {len(times_s)} steps, {1e3 * median(times_s or [0.0]):.0f} ms, the longest "
        f"{1e3 * max(times_s, default=0.0):.0f} ms"
    )
    return n


def made_small(path: Path, days: float, whole_days: float, *, is_packed: bool) -> None:
    """Make all but the last days small, and tell what a year takes then."""
    now, old_days = FIRST_DAY + timedelta(days=days), days - whole_days
    until = now - timedelta(days=whole_days)
    whole_day = packed_day = used_bytes(path) / days
    with_batches(path, days)

    def old_day() -> float:
        return (used_bytes(path) - whole_days * whole_day) / old_days

    def downsampling(store: Store) -> Iterator[int]:
        while (step := store.rollups.step(now, until))[0]:
            yield step[1]

    if is_packed:
        n = told("packed", path, lambda store: store.blocks.packing(now, until))
        packed_day, weight = old_day(), sum(of for thing, of in weights(path).items() if thing.startswith("block"))
        print(f"{weight / max(n, 1):.1f} bytes a packed reading; a day takes {packed_day / 1e6:.1f} MB then")
    told("downsampled", path, downsampling)
    small_day = old_day()
    rollups = sum(of for thing, of in weights(path).items() if "rollup" in thing) / old_days
    print(
        f"a day takes {whole_day / 1e6:.1f} MB whole, {small_day / 1e6:.1f} MB downsampled, of which "
        f"{rollups / 1e6:.1f} MB five minutes"
    )
    for kept in (14, 30, 90):
        whole = 14 if is_packed else kept
        year = whole * whole_day + (kept - whole) * packed_day + (365 - kept) * small_day
        between = f"{kept - whole} x {packed_day / 1e6:.1f} MB + " if is_packed else ""
        print(
            f"a year with keep_whole_days = {kept}: {whole} x {whole_day / 1e6:.1f} MB + {between}{365 - kept} x "
            f"{small_day / 1e6:.1f} MB = {year / 1e9:.1f} GB"
        )


def main(arguments: list[str] | None = None) -> None:
    """Make the store, weigh it and read it back."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--days", type=float, default=DAYS, help="(%(default)g)")
    asked.add_argument("--short", action="store_true", help="does it run?")
    asked.add_argument("--place", type=Path, help="a folder with room enough (default: a temporary one)")
    asked.add_argument("--whole-days", type=float, help="downsample what is older")
    asked.add_argument("--packed", action="store_true", help="and pack the batches of that time, a fortnight after")
    options = asked.parse_args(arguments)
    days = SHORT_DAYS if options.short else options.days
    with tempfile.TemporaryDirectory(dir=options.place) as name:
        path = Path(name) / "year.sqlite3"
        began_s = time.perf_counter()
        n = filled(path, days)
        took_s = time.perf_counter() - began_s
        size = path.stat().st_size
        print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; {NODES} nodes, {days:g} days, {n} readings")
        print(
            f"made in {took_s:.0f} s; {size / 1e9:.2f} GB, {size / n:.1f} bytes a reading; "
            f"a year so {size / days * 365 / 1e9:.1f} GB"
        )
        for thing, weight in weights(path).items():
            if weight > 0.01 * size:
                print(f"    {thing:38} {weight / n:8.1f} bytes a reading")
        read_back(path, days)
        kept_whole_and_safe(path)
        if options.whole_days is not None:
            made_small(path, days, options.whole_days, is_packed=options.packed)


if __name__ == "__main__":
    main()
