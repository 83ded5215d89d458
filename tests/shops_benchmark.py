"""What a centre of many shops costs: ``PYTHONPATH=tests python -m tests.shops_benchmark``.

To note, never to pass or fail.

A real InfluxDB is filled with a day of 10, 100 and 1,000 shops of 20 nodes, each with 20 running doughs. What a shop
says of itself comes at its true rate, once a minute, for that is what the overview asks for. Readings, outlooks and
health come once an hour: the series are all there, the points are not. What a point weighs is measured where they lie
as close as in a bakery: a day of a few shops at the true rates (``--dense``). Growth is then a multiplication, and the
sums are printed with what they are made of.

It takes a quarter of an hour, 1 GB of memory and 1 GB of disk; ``--sizes 10 100`` takes three minutes.
"""

import argparse
import os
import random
import resource
import statistics
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path
from zlib import crc32

import influxdb_client
from influx import TOKEN, Influx
from influxdb_client import WritePrecision

from dashboard.overview.screen import PAGE_ROWS
from dashboard.overview.shops import ordered
from dashboard.overview.table import table
from monitor.clock import SystemClock, wall_clock
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.dough.tasks import Do
from monitor.recipe.batch import Stage
from monitor.settings.reader import local_zone
from monitor.settings.shops import Centre
from monitor.shops.influx import Link
from monitor.shops.points import SLOTS, Point, point_of
from monitor.shops.sender import Sender
from monitor.shops.summary import ShopSummary, summary_point
from monitor.store.rows import to_json, to_us
from monitor.store.spool import SpoolRow
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.reader import Reader

NODES, CHANNELS = 20, ("air_temp_c", "humidity_pct", "dough_temp_c", "distance_mm")
DAY = timedelta(days=1)
HOUR_S = 3600.0
READING_S, OUTLOOK_S, SAID_S = 10.0, 60.0, 60.0
ALERTS_A_DAY = 60
PAGE = 5000
ROUNDS = 15
PACKED_S = 20.0  # files that have not changed for so long are packed


@dataclass(frozen=True, slots=True)
class Rates:
    """How many seconds lie between two points of a series."""

    reading_s: float
    outlook_s: float
    health_s: float
    shop_s: float


TRUE = Rates(READING_S, OUTLOOK_S, SAID_S, SAID_S)
THINNED = Rates(HOUR_S, HOUR_S, HOUR_S, SAID_S)


def moments(now: datetime, every_s: float) -> Iterator[int]:
    """A day of moments up to now. [microseconds]"""
    first_us = to_us(now - DAY)
    return (first_us + round(k * every_s * 1e6) for k in range(int(DAY.total_seconds() / every_s)))


def readings(site: str, now: datetime, every_s: float, rng: random.Random) -> Iterator[Point]:
    for node in range(NODES):
        name = f"urn:dev:mac:0200{crc32(site.encode()) % 0xFFFF:04x}5e{node:04x}"
        jitter = rng.randrange(10_000_000)
        for seq, at_us in enumerate(moments(now, every_s), 1):
            for k, channel in enumerate(CHANNELS):
                value = round(20.0 + 20.0 * k + rng.gauss(0.0, 0.1), 2)
                values = {"node": name, "channel": channel, "seq": seq, "value": value, "sd": None, "flag": "ok"}
                # nodes keep their own time: neither all at one moment nor to the microsecond
                wander = rng.randrange(20_000)
                yield point_of(site, SpoolRow("reading", seq, values | {"measured_us": at_us + jitter + wander}))


def outlooks(site: str, now: datetime, every_s: float, rng: random.Random) -> Iterator[Point]:
    for batch_id in range(1, SLOTS + 1):
        for number, at_us in enumerate(moments(now, every_s), 1):
            at, rise = now - DAY + timedelta(microseconds=at_us - to_us(now - DAY)), rng.uniform(0.0, 100.0)
            when = Moments(*(at + timedelta(minutes=60.0 + rng.uniform(-9.0, 9.0) + k) for k in range(7)))
            outlook = Outlook(at, State.RISING, Band(rise - 5.0, rise, rise + 5.0), when, when)
            values = {"batch_id": batch_id, "dough": f"loaf {batch_id}", "stage": "first rise", "at_us": at_us}
            yield point_of(site, SpoolRow("outlook", number, values | {"body": to_json(outlook)}))


def alerts(site: str, now: datetime, rng: random.Random) -> Iterator[Point]:
    for number in range(1, ALERTS_A_DAY + 1):
        values = {
            "subject": f"batch {number}", "batch_id": number, "dough": "loaf", "episode": 1, "person": "",
            "kind": rng.choice(("ready", "ready soon", "oven on", "air too dry")), "phase": "unacknowledged",
            "reason": '{"code":"target_reached"}', "at_us": to_us(now) - rng.randrange(86_400_000_000),
        }  # fmt: skip
        yield point_of(site, SpoolRow("alert", number, values))


def healths(site: str, now: datetime, every_s: float, rng: random.Random) -> Iterator[Point]:
    for at_us in moments(now, every_s):
        for node in range(NODES):
            heard_us = at_us - rng.randrange(10_000_000)
            fields = {"heard_us": heard_us, "is_silent": False, "is_online": True, "lost_packs": 0, "refused_frames": 0}
            yield Point("health", {"site": site, "node": f"node {node}"}, at_us * 1000, fields)


def summaries(site: str, now: datetime, every_s: float, rng: random.Random) -> Iterator[Point]:
    for at_us in moments(now, every_s):
        is_late = rng.random() < 0.05
        summary = ShopSummary(
            clock_us=at_us, doughs=NODES, late=int(is_late), late_us=at_us if is_late else None,
            next_dough=f"loaf {rng.randrange(SLOTS)}", next_stage=Stage.FIRST_RISE, next_do=Do.NEXT,
            next_us=at_us + rng.randrange(10**9), forecasts=60, held=54,
        )  # fmt: skip
        said = summary_point(site, summary)
        yield Point(said.measurement, said.tags, at_us * 1000, said.fields)


def day_of(site: str, now: datetime, rates: Rates) -> Iterator[Point]:
    """A day of one shop."""
    rng = random.Random(site)
    yield from readings(site, now, rates.reading_s, rng)
    yield from outlooks(site, now, rates.outlook_s, rng)
    yield from alerts(site, now, rng)
    yield from healths(site, now, rates.health_s, rng)
    yield from summaries(site, now, rates.shop_s, rng)


class Server(Influx):
    """An InfluxDB that is filled straight, past its front, and measured; it packs its files soon."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        settings = folder / "server.conf"
        soon = '[data]\n  cache-snapshot-write-cold-duration = "2s"\n  compact-full-write-cold-duration = "5s"\n'
        settings.write_text(settings.read_text().replace("[data]\n", soon))

    def fill(self, bucket: str, points: Iterable[Point]) -> tuple[int, float]:
        """How many points were written, and how long the server took for them. [s]"""
        n, took_s = 0, 0.0
        self.do(f'CREATE DATABASE "{bucket}"')
        found = iter(points)
        while page := list(islice(found, PAGE)):
            body = "\n".join(map(line_of, page)).encode()
            address = f"http://127.0.0.1:{self.http_port}/write?db={bucket}"
            began_s = time.perf_counter()
            urllib.request.urlopen(urllib.request.Request(address, data=body), timeout=600).close()
            took_s += time.perf_counter() - began_s
            n += len(page)
        return n, took_s

    def packed(self, bucket: str) -> float:
        """The weight of a bucket's files once they have been packed, as by itself after some hours. [bytes]"""
        last, since_s = -1.0, time.monotonic()
        while time.monotonic() - since_s < PACKED_S:
            weight = float(sum(path.stat().st_size for path in (self.folder / "data" / bucket).rglob("*.tsm")))
            if weight != last:
                last, since_s = weight, time.monotonic()
            time.sleep(1.0)
        return last

    def memory_mb(self) -> float:
        """What the server holds in memory."""
        status = Path(f"/proc/{self.server_pid}/status").read_text()
        return float(next(line.split()[1] for line in status.splitlines() if line.startswith("VmRSS"))) / 1024.0

    def cpu_s(self) -> float:
        """Processor time that the server has used."""
        fields = Path(f"/proc/{self.server_pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def line_of(point: Point) -> str:
    """A point in InfluxDB's line protocol, as the client writes it."""
    made = influxdb_client.Point.from_dict(point._asdict(), WritePrecision.NS, record_time_key="time_ns")
    return str(made.to_line_protocol())


def median_ms(look: Iterable[float]) -> str:
    found = sorted(look)
    return f"{1000 * statistics.median(found):.0f} ms (worst {1000 * found[-1]:.0f})"


def timed(call: Callable[[], object], rounds: int = ROUNDS) -> Iterator[float]:
    for _ in range(rounds):
        began_s = time.perf_counter()
        call()
        yield time.perf_counter() - began_s


def weigh(server: Server, shops: int, now: datetime) -> dict[str, float]:
    """Bytes a point of each measurement, in a bucket of its own each, at the true rates."""
    weights = {}
    kinds = {
        "reading": lambda site, rng: readings(site, now, READING_S, rng),
        "outlook": lambda site, rng: outlooks(site, now, OUTLOOK_S, rng),
        "health": lambda site, rng: healths(site, now, SAID_S, rng),
        "shop": lambda site, rng: summaries(site, now, SAID_S, rng),
        "alert": lambda site, rng: alerts(site, now, rng),
    }
    for kind, points in kinds.items():
        bucket = f"dense-{kind}"
        n, took_s = 0, 0.0
        for k in range(shops):
            more, more_s = server.fill(bucket, points(f"shop-{k:04}", random.Random(k)))
            n, took_s = n + more, took_s + more_s
        weights[kind] = server.packed(bucket) / n
        print(f"{kind:<8} {n:>9,} points, {weights[kind]:6.1f} bytes a point, taken at {n / took_s:>9,.0f} a second")
        server.do(f'DROP DATABASE "{bucket}"')
    return weights


def sums(weights: dict[str, float]) -> None:
    """What a shop makes, and a thousand."""
    a_day = {
        "reading": NODES * len(CHANNELS) * 86_400 / READING_S,
        "outlook": SLOTS * 86_400 / OUTLOOK_S,
        "health": (NODES + 1) * 86_400 / SAID_S,
        "shop": 86_400 / SAID_S,
        "alert": ALERTS_A_DAY,
    }
    print(
        f"\n{'a shop of 20 nodes':<20}{'points a day':>14}{'MB a day':>10}{'1,000 shops: a second':>24}{'GB a day':>10}"
    )
    for kind, n in a_day.items():
        mb = n * weights[kind] / 1e6
        print(f"{kind:<20}{n:>14,.0f}{mb:>10.2f}{1000 * n / 86_400:>24,.0f}{mb:>10.2f}")
    whole = sum(n * weights[kind] for kind, n in a_day.items()) / 1e6
    n = sum(a_day.values())
    print(f"{'all':<20}{n:>14,.0f}{whole:>10.2f}{1000 * n / 86_400:>24,.0f}{whole:>10.2f}")


def grow(server: Server, size: int, now: datetime) -> None:
    """Fill a bucket with a size, and time what the overview asks of it."""
    bucket = f"shops-{size}"
    n, took_s = 0, 0.0
    for k in range(size):
        more, more_s = server.fill(bucket, day_of(f"shop-{k:04}", now, THINNED))
        n, took_s = n + more, took_s + more_s
    weight = server.packed(bucket)
    series = server.do("SHOW SERIES CARDINALITY", bucket)[0]["values"][0][0]
    centre, reader = Centre(server.url, bucket, bucket), Reader(local_zone())
    with Link(centre, TOKEN) as link:
        found = list(link.summaries())
        assert len(found) == size
        asked = list(timed(lambda: list(link.summaries())))
        before_s = server.cpu_s()
        list(timed(lambda: list(link.summaries())))
        cpu_ms = 1000 * (server.cpu_s() - before_s) / ROUNDS
    shown = timed(lambda: table(ordered(found, now)[:PAGE_ROWS], {}, reader, now))
    print(
        f"{size:>5} shops: {n:,} points, {series:,} series, {weight / 1e6:,.0f} MB, server's memory "
        f"{server.memory_mb():,.0f} MB\n      the overview's question {median_ms(asked)}, of it the server's processor "
        f"{cpu_ms:.0f} ms; ordering all and writing {PAGE_ROWS} rows {median_ms(shown)}",
        flush=True,
    )


def drain(server: Server, folder: Path, now: datetime) -> None:
    """What a shop's sender makes of half a day without a line."""
    path = folder / "proofing.sqlite"
    n_each, at = 43_200, now - DAY
    with Store(path) as store:
        for k, channel in enumerate(CHANNELS):
            moments = (at + timedelta(seconds=seq) for seq in range(n_each))
            node = NodeId("urn:dev:mac:020000fffe5e0001")
            store.readings.add(
                Reading(node, "0a0a0a0a", seq, Channel(channel), 20.0 + k, when, when)
                for seq, when in enumerate(moments)
            )
    sender = Sender(path, Centre(server.url), TOKEN, "drained", SystemClock())
    began_s, began_cpu_s = time.perf_counter(), time.process_time()
    before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with Store(path) as store:
        for wait_s in sender.turns(store):
            if wait_s:
                break
    n, took_s = n_each * len(CHANNELS), time.perf_counter() - began_s
    more_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 - before_mb
    print(
        f"\na shop sends {n:,} readings that had to wait: {n / took_s:,.0f} a second, processor "
        f"{time.process_time() - began_cpu_s:.1f} s, {more_mb:.0f} MB more memory"
    )


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", type=int, nargs="*", default=[10, 100, 1000], help="how many shops")
    parser.add_argument("--dense", type=int, default=2, metavar="SHOPS", help="shops at their true rates; 0: none")
    options = parser.parse_args(arguments)
    now = wall_clock()
    with tempfile.TemporaryDirectory() as folder:
        server = Server(Path(folder) / "influx")
        server.start()
        try:
            if options.dense:
                sums(weigh(server, options.dense, now))
                drain(server, Path(folder), now)
            for size in options.sizes:
                grow(server, size, now)
        finally:
            server.stop()
    print(f"this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB at most")


if __name__ == "__main__":
    main()
