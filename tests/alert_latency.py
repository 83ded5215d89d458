"""How long an alert takes from the reading that causes it to a web hook: ``python -m tests.alert_latency``.

Fifty doughs in the middle of their rise, each with a node that sends every half minute, at moments of its own. In the
second half minute the air of each is suddenly too warm, and nothing must hold. The estimator takes the median of the
newest three readings of the air, so the second warm one is the one that causes the alert. The collector's loop, its
estimator, its store on the disk, the thread that calls and a web hook over HTTP are the real ones; the packs are put
where a source's thread would put them, so a broker or a line comes on top. Time is real: it runs for about two minutes.
Nothing is asserted: the figure belongs to the machine.
"""

import argparse
import http.server
import json
import os
import queue
import sys
import tempfile
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zlib import crc32

import numpy as np

from monitor.alerts.dough import Rules
from monitor.alerts.limits import AIR_LIMITS
from monitor.clock import SystemClock
from monitor.collector.loop import Collector
from monitor.dough.forecast import outlook
from monitor.notify.carriers import apprise_carriers
from monitor.notify.outbox import Notifier, Recipient
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.sources.intake import QUEUE_SIZE, Frame, Item
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.reader import Reader

EVERY_S = 30.0
PAST_H = 2.0
WARM_C, HOT_C = 25.0, 40.0
CHANNELS = (Channel.AIR_TEMP, Channel.DOUGH_TEMP, Channel.DISTANCE)
FIRST_HOT = 2
PATIENCE_S = 120.0


class Phone(http.server.ThreadingHTTPServer):
    """A web hook that notes when each message came."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Answer)
        self.came_s: dict[str, float] = {}


class _Answer(http.server.BaseHTTPRequestHandler):
    server: Phone

    def do_POST(self) -> None:
        title = str(json.loads(self.rfile.read(int(self.headers["Content-Length"])))["title"])
        self.server.came_s.setdefault(title.partition(":")[0], time.monotonic())
        self.send_response(200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        pass


def node(number: int) -> NodeId:
    return NodeId(f"urn:dev:mac:{0x020000FFFE000000 + number:016x}")


def distance_mm(t_h: float) -> float:
    """The sensor over a dough that has made about half of its way after ``PAST_H``. [mm]"""
    return 280.0 - 60.0 * (1.0 + 1.6 / (1.0 + np.exp(-1.4 * (t_h - 3.0))))


def fill(store: Store, doughs: int, now: datetime) -> None:
    """The doughs with their past."""
    rng = np.random.default_rng(1)
    started_at = now - timedelta(hours=PAST_H)
    vessel = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 220.0, 280.0)
    for number in range(doughs):
        mapped = tuple((channel, node(number)) for channel in CHANNELS)
        name = f"tub {number:02d}"
        store.batches.add(Batch(BatchId(0), name, Stage.FIRST_RISE, started_at, vessel, Target(100.0), nodes=mapped))
        readings = []
        for seq in range(1, int(PAST_H * 3600.0 / EVERY_S)):
            at = started_at + timedelta(seconds=seq * EVERY_S)
            values = (WARM_C, 24.5, distance_mm(seq * EVERY_S / 3600.0))
            for channel, value in zip(CHANNELS, values, strict=True):
                noisy = float(value + rng.normal(0.0, 0.2))
                readings.append(Reading(node(number), "0a1b2c3d", seq, channel, noisy, at, at))
        store.readings.add(readings)


def pack(number: int, seq: int, air_c: float) -> bytes:
    """What a node sends, framed."""
    body = (
        f'[{{"bn":"{node(number)}_","n":"air","u":"Cel","v":{air_c}}},{{"n":"dough","u":"Cel","v":24.5}},'
        f'{{"n":"distance","u":"m","v":{distance_mm(PAST_H) / 1000.0:.5f}}}]'
    )
    head = f"@0b1b2c3d {seq} {body}".encode()
    return head + f" {crc32(head):08x}".encode()


def send(inbox: "queue.Queue[Item]", clock: SystemClock, doughs: int, phone: Phone, sent_s: dict[str, float]) -> None:
    """Send every node's packs at its own moments until every alert has come, or for too long."""
    began_s = time.monotonic()
    seq = 0
    while time.monotonic() - began_s < PATIENCE_S and len(phone.came_s) < doughs:
        seq += 1
        for number in range(doughs):
            due_s = began_s + (seq - 1) * EVERY_S + number * EVERY_S / doughs
            clock.wait(max(due_s - time.monotonic(), 0.0))
            is_hot = seq >= FIRST_HOT
            if seq == FIRST_HOT + 1:
                sent_s.setdefault(f"tub {number:02d}", time.monotonic())
            data = pack(number, seq, HOT_C if is_hot else WARM_C)
            inbox.put(Frame(data, clock.now(), "line", None, lambda line: None))


def measured(doughs: int, folder: Path) -> tuple[list[float], float]:
    """Seconds from each causing reading to its call, and the share of one core that all of it took."""
    clock = SystemClock()
    inbox: queue.Queue[Item] = queue.Queue(QUEUE_SIZE)
    stop = threading.Event()
    rules = Rules(air={stage: replace(limits, hold_min=0.0) for stage, limits in AIR_LIMITS.items()})
    path = folder / "latency.sqlite"
    sent_s: dict[str, float] = {}
    with Store(path) as store, Phone() as phone:
        fill(store, doughs, clock.now())
        answering = threading.Thread(target=phone.serve_forever, args=(0.01,))
        answering.start()
        channels = tuple(apprise_carriers([f"json://127.0.0.1:{phone.server_port}/"], ("127.0.0.1",)))
        notifier = Notifier(path, [Recipient("baker", channels)], clock, zone=UTC)
        collector = Collector(store, inbox, clock, outlook, rules=rules, reader=Reader(UTC))
        notifier.start()

        def send_all() -> None:
            send(inbox, clock, doughs, phone, sent_s)
            stop.set()

        sending = threading.Thread(target=send_all)
        began_s, used_s = time.monotonic(), time.process_time()
        sending.start()
        collector.run(stop)
        load = (time.process_time() - used_s) / (time.monotonic() - began_s)
        sending.join()
        notifier.stop()
        phone.shutdown()
        answering.join()
        return [phone.came_s[name] - at_s for name, at_s in sent_s.items() if name in phone.came_s], load


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--doughs", type=int, default=50)
    args = parser.parse_args()
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        if name not in os.environ:  # as the program itself: it must be known before the array library is loaded
            os.environ.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1"))
            os.execv(sys.executable, [sys.executable, "-m", "tests.alert_latency", *sys.argv[1:]])
    with tempfile.TemporaryDirectory() as folder:
        latencies, load = measured(args.doughs, Path(folder))
    if not latencies:
        print("no alert came")
        return 1
    p50, p95, most = np.quantile(latencies, (0.5, 0.95, 1.0))
    print(f"{len(latencies)} of {args.doughs} alerts came; from reading to call: median {p50:.2f} s, ", end="")
    print(f"95th percentile {p95:.2f} s, longest {most:.2f} s; load {100 * load:.0f} % of a core")
    return 0


if __name__ == "__main__":
    sys.exit(main())
