"""What shipping a store and looking at other shops' costs: ``python -m tests.replica_benchmark --days 30``.

The stores are those of ``tests.benchmark_storage``: 20 nodes that say four channels each 10 s. One is shipped to a
folder and brought back. Then some shops store as much as 20 nodes say, are shipped and looked at all at once. Told are
bytes there, seconds to bring back, processor time of what ships and of what follows, and how long after it was
committed a row can be read in its copy. To note, never to pass or fail.
"""

import argparse
import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from replicas import ship_now, shipping

from monitor.errors import MonitorError
from monitor.replica.copies import Copies
from monitor.replica.litestream import Litestream
from monitor.settings.data_dir import DATABASE_NAME, copy_of
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from tests.benchmark_storage import EVERY_S, NODES, filled

CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)
PATIENCE_S = 300.0
NEWEST = "ltx/0/*.ltx"


def bytes_in(folder: Path, pattern: str = "*") -> int:
    """Of all files of a folder."""
    return sum(path.stat().st_size for path in folder.rglob(pattern) if path.is_file())


def processor_s(process_ids: list[int]) -> float:
    """Processor time of some processes. [s]"""
    ticks = 0
    for process_id in process_ids:
        fields = Path(f"/proc/{process_id}/stat").read_text().rpartition(")")[2].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def timed(work: Callable[[], object]) -> float:
    """How long it takes. [s]"""
    began_s = time.perf_counter()
    work()
    return time.perf_counter() - began_s


def ship_and_bring_back(folder: Path, days: float) -> None:
    """A store of so many days, shipped once and brought back."""
    shop, there = folder / "shop", folder / "there"
    shop.mkdir()
    n = filled(shop / DATABASE_NAME, days)
    size = (shop / DATABASE_NAME).stat().st_size
    with shipping(shop, there) as one:
        shipped_s = timed(lambda: ship_now(one))
    back = Litestream(one._shipping, one._secrets, folder / "back", folder)
    back_s = timed(lambda: back.bring_back(folder / "back.sqlite"))
    print(
        f"{days:g} days, {n} readings, {size / 1e6:.0f} MB: shipped whole in {shipped_s:.1f} s, "
        f"{bytes_in(there) / 1e6:.0f} MB there; brought back in {back_s:.1f} s",
        flush=True,
    )


class Shop:
    """Stores what 20 nodes say, at their pace."""

    def __init__(self, database: Path) -> None:
        self.database = database
        self.written: list[tuple[int, float]] = []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()

    def _work(self) -> None:
        seq = 10_000_000
        with Store(self.database) as store:
            while not self._stop.wait(EVERY_S / NODES):
                seq += 1
                at, node = datetime.now(UTC), NodeId(f"urn:dev:mac:020000fffe5e{seq % NODES:04x}")
                store.readings.add([Reading(node, "bench", seq, channel, 20.0, at, at) for channel in CHANNELS])
                self.written.append((seq, time.monotonic()))


def newest_in(copy: Path) -> int:
    """The newest row of a copy."""
    with Store(copy) as store, store.reading() as connection:
        return int(connection.execute("SELECT coalesce(max(seq), 0) FROM sample").fetchone()[0])


def look_at_shops(folder: Path, copies: int, days: float, seconds: float, every_s: int) -> None:
    """So many shops at work, shipped and looked at all at once."""
    names = [f"shop-{n}" for n in range(copies)]
    centre = folder / "centre"
    centre.mkdir()
    (centre / "config.toml").write_text(f'[shops]\nnames = {names!r}\nurl = "{folder.as_uri()}/there/{{site}}"\n')
    with ExitStack() as stack:
        shops = []
        for name in names:
            (folder / name).mkdir()
            filled(folder / name / DATABASE_NAME, days)
            one = stack.enter_context(shipping(folder / name, folder / "there" / name, every_s))
            ship_now(one)
            shops.append(Shop(folder / name / DATABASE_NAME))
            stack.callback(shops[-1].stop)
        kept = Copies(centre)
        stack.callback(kept.stop)
        opened_s = timed(lambda: [kept.look(name, within_s=PATIENCE_S) for name in names])
        children = [
            int(each) for each in Path("/proc/self/task").glob("*/children") for each in each.read_text().split()
        ]
        following = [id_ for id_ in children if b"-f" in Path(f"/proc/{id_}/cmdline").read_bytes().split(b"\0")]
        sending = [id_ for id_ in children if b"replicate" in Path(f"/proc/{id_}/cmdline").read_bytes().split(b"\0")]
        before = processor_s(following), processor_s(sending), bytes_in(folder / "there", NEWEST)
        seen = {name: newest_in(copy_of(centre, name)) for name in names}
        end_s, late_s = time.monotonic() + seconds, []
        while time.monotonic() < end_s or (not late_s and time.monotonic() < end_s + PATIENCE_S):
            for name, shop in zip(names, shops, strict=True):
                try:
                    newest = newest_in(copy_of(centre, name))
                except MonitorError:
                    continue
                now_s = time.monotonic()
                late_s += [now_s - at_s for seq, at_s in shop.written if seen[name] < seq <= newest]
                seen[name] = max(seen[name], newest)
            time.sleep(0.1)
        spent = processor_s(following) - before[0], processor_s(sending) - before[1]
        grown = bytes_in(folder / "there", NEWEST) - before[2]
        disk = bytes_in(centre)
    late_s.sort()
    print(
        f"{copies} shops of {days:g} days looked at, shipped each {every_s} s: all here after {opened_s:.1f} s; a row "
        f"is read {statistics.median(late_s):.1f} s after its commit (95 %: {late_s[int(0.95 * len(late_s))]:.1f} s); "
        f"following takes {100 * spent[0] / seconds / copies:.1f} % of a core a shop, shipping "
        f"{100 * spent[1] / seconds / copies:.1f} %; the copies take {disk / 1e6:.0f} MB; a shop ships "
        f"{grown / copies / seconds * 86_400 / 1e6:.0f} MB a day before that is put together there",
        flush=True,
    )


def main(arguments: list[str] | None = None) -> None:
    """Ship, bring back, look."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--days", type=float, nargs="+", default=[1.0], help="stores to bring back")
    asked.add_argument("--copies", type=int, nargs="*", default=[1, 10], help="shops to look at at once")
    asked.add_argument("--seconds", type=float, default=60.0, help="how long (%(default)g)")
    asked.add_argument("--every-s", type=int, default=10, help="how often is shipped (%(default)d)")
    asked.add_argument("--short", action="store_true", help="does it run?")
    asked.add_argument("--place", type=Path, help="a folder with room enough (default: a temporary one)")
    options = asked.parse_args(arguments)
    days, copies, seconds, every_s = options.days, options.copies, options.seconds, options.every_s
    if options.short:
        days, copies, seconds, every_s = [0.01], [2], 5.0, 1
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; {timedelta(seconds=seconds)} each")
    for each in days:
        with tempfile.TemporaryDirectory(dir=options.place) as folder:
            ship_and_bring_back(Path(folder), each)
    for n in copies:
        with tempfile.TemporaryDirectory(dir=options.place) as folder:
            look_at_shops(Path(folder), n, days[0], seconds, every_s)


if __name__ == "__main__":
    main()
