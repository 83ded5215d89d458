"""A real broker restarted, wiped and gone for long, between the firmware's own node and the collector.

Nothing may be lost that fits the node's buffer; what does not fit must be counted, pack for pack, by gap markers, which
may count a pack twice only where it arrived and its answer did not.
"""

import random
import sqlite3
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC
from pathlib import Path
from queue import Queue

from faults.table import Line
from harness import Mosquitto, wait_until

from firmware_sim.node.link_mqtt import MqttLink
from firmware_sim.node.main import run as run_node
from firmware_sim.node.ring import Ring
from monitor.alerts.dough import Rules
from monitor.clock import Clock, SystemClock
from monitor.collector.loop import Collector
from monitor.dough.outlook import Outlook, State
from monitor.sources.intake import Item
from monitor.sources.mqtt import MqttSource
from monitor.store.store import Store
from monitor.wire.readings import Channel
from monitor.wording.reader import Reader

KEY = "mac-020000fffe5e0001"
URN = "urn:dev:mac:020000fffe5e0001"
PERIOD_MS = 50
ROOM = 240  # packs: the firmware's usual buffer


class Sensors:
    """Counts how often it was read; its air temperature goes round with the count."""

    reads = 0

    def start(self) -> int:
        return 0

    def read_air(self) -> tuple[int, int]:
        self.reads += 1
        return 2000 + self.reads % 1000, 7000

    def read_dough(self) -> int:
        return 2400

    def read_distance(self) -> int:
        return 2000 + self.reads % 1000


@dataclass
class Board:
    """The hal of a node whose dough lives in real time."""

    urn: str = URN
    boot: str = "0a1b2c3d"
    sensors: Sensors = field(default_factory=Sensors)
    stop: threading.Event = field(default_factory=threading.Event)

    def ticks_ms(self) -> int:
        return int(1000 * time.monotonic())

    def dough_ticks_ms(self) -> int:
        return self.ticks_ms()

    def ticks_diff(self, later: int, earlier: int) -> int:
        return later - earlier

    def health(self) -> tuple[int | None, int | None]:
        return -96, 391

    def sleep_ms(self, ms: int) -> None:
        self.stop.wait(ms / 1000)

    def is_running(self) -> bool:
        return not self.stop.is_set()


class WatchedRing(Ring):
    """A node's buffer that notes what it drops.

    dropped: packs that it had no room for. unanswered: those of them that had been sent. They may have arrived without
    an answer, which the node cannot know, so they may be stored and counted as lost.
    """

    dropped = 0
    unanswered = 0

    def _thin(self) -> None:
        self.dropped += 1
        before = self._sent()
        super()._thin()
        self.unanswered += len(before) - len(self._sent())

    def _sent(self) -> list[int]:
        packs = map(self.pack, range(len(self)))
        return [seq for seq, _, _, sent in packs if sent is not None]


@contextmanager
def collecting(database: Path, url: str, clock: Clock, speed: float = 1.0) -> Iterator[None]:
    """A collector that listens to a broker, in threads of this process."""
    inbox, stop = Queue[Item](1000), threading.Event()

    def collect() -> None:
        with Store(database) as store:
            Collector(
                store, inbox, clock, lambda batch, track, at, learned=None: Outlook(at, State.RISING),
                rules=Rules(), reader=Reader(UTC), speed=speed,
            ).run(stop)  # fmt: skip

    source = MqttSource(url, clock, inbox)
    loop = threading.Thread(target=collect)
    loop.start()
    source.start()
    try:
        yield
    finally:
        source.stop()
        stop.set()
        loop.join()


def kept(database: Path) -> tuple[int, int, int]:
    """Packs of measurements, packs that gap markers tell as lost, and readings stored twice."""
    connection = sqlite3.connect(database)
    try:
        count = "SELECT count(DISTINCT boot || seq) FROM reading WHERE channel = ?"
        packs = connection.execute(count, (Channel.AIR_TEMP.value,)).fetchone()[0]
        lost = connection.execute(
            "SELECT coalesce(sum(value), 0) FROM reading WHERE channel = ?", (Channel.LOST.value,)
        ).fetchone()[0]
        every = connection.execute("SELECT count(*) FROM reading").fetchone()[0]
        once = connection.execute("SELECT count(*) FROM (SELECT DISTINCT boot, seq, channel FROM reading)").fetchone()[
            0
        ]
        return packs, int(lost), every - once
    finally:
        connection.close()


def run(restarts: int, wipes: int, absent_s: float, room: int = ROOM, seed: int = 1) -> Line:
    """Restart the broker, wipe it, leave it away for long; then let all come through and count."""
    rng = random.Random(seed)
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder)
        broker.start()
        board = Board()
        ring = WatchedRing(room)
        link = MqttLink("127.0.0.1", broker.port, KEY, "none")
        database = folder / "proofing.sqlite"
        Store(database).close()
        node = threading.Thread(target=run_node, args=(board, link, PERIOD_MS, ring))
        with collecting(database, broker.url, SystemClock()):
            node.start()
            try:
                for n in range(restarts + wipes):
                    time.sleep(rng.uniform(0.2, 1.0))
                    # On a busy machine many short absences would be one that no buffer outlasts.
                    wait_until(lambda: len(ring) < room / 2, "there is room for what comes while it is away")
                    if n < restarts:
                        broker.stop()
                    else:
                        broker.wipe()
                    broker.start()
                wait_until(lambda: len(ring) < 10, "what waited has come through")
                short = kept(database)
                broker.stop()
                time.sleep(absent_s)
                broker.start()
                board.sensors.start = _no_more  # type: ignore[method-assign]
                wait_until(lambda: link.is_up and len(ring) == 0, "all has come through")
            except BaseException:
                board.stop.set()
                raise
            board.stop.set()
            node.join()
        broker.stop()
        packs, lost, doubled = kept(database)
    measured = board.sensors.reads
    if lost != ring.dropped:
        wrong.append(f"{ring.dropped} dropped for want of room, {lost} counted as lost")
    if not 0 <= packs + lost - measured <= ring.unanswered or doubled:
        wrong.append(f"{measured} measured, {packs} stored, {lost} counted as lost, {doubled} doubled")
    return Line(
        "broker restarted / wiped / absent",
        f"{restarts} / {wipes} / {absent_s:g} s at {1000 // PERIOD_MS} packs a second (buffer: {room})",
        f"{measured} packs measured, {packs} stored once; {lost} dropped by a full buffer, all counted, "
        f"{short[1]} of them during the restarts, {packs + lost - measured} though they had arrived",
        tuple(wrong),
    )


def _no_more() -> int:
    """A sensor that takes for ever, so that the node measures no more and only sends."""
    return 10**9
