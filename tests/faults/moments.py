"""A collector, a broker and lines that stop and go on again, between the firmware's own node and the store.

Whatever was away, each stored moment must be the true one within two seconds of real time: as near as a node that
measures and a collector that listens can be.
"""

import contextlib
import math
import selectors
import socket
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from faults.brokers import KEY, Board, Sensors, collecting
from faults.table import Line
from harness import Mosquitto, free_port, wait_until

from firmware_sim.node.link_mqtt import MqttLink
from firmware_sim.node.main import run as run_node
from firmware_sim.node.ring import Ring
from monitor.clock import Pace, ScaledClock
from monitor.store.rows import from_us
from monitor.store.store import Store
from monitor.wire.readings import Channel

PERIOD_MS = 250  # real time
ROOM = 2000  # packs: all that is measured, so that each can be looked for
MOST_OFF_S = 2.0  # real time


class FreezingLine:
    """A TCP line that can freeze: it loses nothing and carries nothing, as a network that is away for a while."""

    def __init__(self, to_port: int) -> None:
        self.port = free_port()
        self._to_port = to_port
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._pairs: dict[socket.socket, socket.socket] = {}
        self.is_frozen = False
        self._is_over = threading.Event()
        self._thread = threading.Thread(target=self._carry, name="line")
        self._thread.start()

    def _carry(self) -> None:
        waiting = selectors.DefaultSelector()
        waiting.register(self._listener, selectors.EVENT_READ)
        while not self._is_over.is_set():
            if self.is_frozen:
                time.sleep(0.02)
                continue
            for key, _ in waiting.select(0.05):
                if key.fileobj is self._listener:
                    self._join(waiting)
                elif key.fileobj in self._pairs:
                    self._pass_on(waiting, key.fileobj)  # type: ignore[arg-type]
        for end in self._pairs:
            end.close()
        self._listener.close()
        waiting.close()

    def _join(self, waiting: selectors.BaseSelector) -> None:
        near, _ = self._listener.accept()
        try:
            far = socket.create_connection(("127.0.0.1", self._to_port), 5.0)
        except OSError:
            near.close()
            return
        self._pairs |= {near: far, far: near}
        for end in (near, far):
            waiting.register(end, selectors.EVENT_READ)

    def _pass_on(self, waiting: selectors.BaseSelector, end: socket.socket) -> None:
        other = self._pairs[end]
        try:
            data = end.recv(65536)
            if data:
                other.sendall(data)
                return
        except OSError:
            pass
        for each in (end, other):
            waiting.unregister(each)
            del self._pairs[each]
            each.close()

    def close(self) -> None:
        """End it."""
        self._is_over.set()
        self._thread.join()


class TimedSensors(Sensors):
    """Note the true moment of each reading, by the air temperature that it gives: a hundredth more each time."""

    def __init__(self, clock: ScaledClock) -> None:
        self._clock = clock
        self.truth: dict[float, datetime] = {}

    def read_air(self) -> tuple[int, int]:
        self.reads += 1
        self.truth[self.reads / 100.0] = self._clock.now()
        return self.reads, 7000


@dataclass
class PacedBoard(Board):
    """A board whose dough lives at the clock's pace."""

    clock: ScaledClock = field(default_factory=lambda: ScaledClock(Pace(datetime.now(UTC), 1.0)))

    def dough_ticks_ms(self) -> int:
        return int(1000 * self.clock.now().timestamp())


def _stored(database: Path) -> dict[float, datetime]:
    """The moment of each stored air temperature."""
    with contextlib.closing(sqlite3.connect(database)) as connection:
        found = connection.execute(
            "SELECT value, measured_us FROM reading WHERE channel = ?", (Channel.AIR_TEMP.value,)
        ).fetchall()
    return {round(value, 2): from_us(measured_us) for value, measured_us in found}


@contextmanager
def _locked(database: Path) -> Iterator[None]:
    """Nobody else may write the store."""
    with contextlib.closing(sqlite3.connect(database, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        yield
        connection.execute("ROLLBACK")


@contextmanager
def _frozen(line: FreezingLine) -> Iterator[None]:
    line.is_frozen = True
    yield
    line.is_frozen = False


def run(away_s: float, speed: float = 1.0) -> Line:
    """Let each be away for so long, one after the other; then look at every moment that was stored."""
    wrong, off_s = [], {}
    with tempfile.TemporaryDirectory() as name, ExitStack() as ended:
        folder = Path(name)
        broker = Mosquitto(folder)
        broker.start()
        ended.callback(broker.stop)
        to_node, to_collector = FreezingLine(broker.port), FreezingLine(broker.port)
        ended.callback(to_node.close)
        ended.callback(to_collector.close)
        clock = ScaledClock(Pace(datetime.now(UTC), speed))
        board = PacedBoard(sensors=TimedSensors(clock), clock=clock)
        ring, link = Ring(ROOM), MqttLink("127.0.0.1", to_node.port, KEY, "none")
        database = folder / "proofing.sqlite"
        Store(database).close()
        node = threading.Thread(target=run_node, args=(board, link, int(PERIOD_MS * speed), ring))
        node.start()
        ended.callback(node.join)
        ended.callback(board.stop.set)
        url = f"mqtt://127.0.0.1:{to_collector.port}"

        @contextmanager
        def broker_away() -> Iterator[None]:
            broker.stop()
            yield
            broker.start()

        def none_waits() -> None:
            wait_until(lambda: len(ring) < 4, "what waited has come through")

        outages: dict[str, Callable[[], contextlib.AbstractContextManager[None]]] = {
            "line of the node": lambda: _frozen(to_node),
            "line of the collector": lambda: _frozen(to_collector),
            "broker": broker_away,
            "disk": lambda: _locked(database),
        }
        seen: set[float] = set()
        for outage in (*outages, "collector"):
            with collecting(database, url, clock, speed):
                none_waits()
                time.sleep(1.0)
                if outage in outages:
                    with outages[outage]():
                        time.sleep(away_s)
                    none_waits()
            if outage == "collector":
                time.sleep(away_s)
                with collecting(database, url, clock, speed):
                    none_waits()
            stored = _stored(database)
            truth = board.sensors.truth  # type: ignore[attr-defined]
            errors_s = [abs((stored[air] - truth[air]).total_seconds()) / speed for air in stored.keys() - seen]
            off_s[outage] = max(errors_s, default=math.inf)
            seen |= stored.keys()
            if off_s[outage] > MOST_OFF_S:
                wrong.append(f"after the {outage}: {off_s[outage]:.1f} s off")
        n_seen = len(seen)
    return Line(
        "away and back: line of the node, line of the collector, broker, disk, collector",
        f"{away_s:g} s each, a pack each {PERIOD_MS / 1000:g} s, at speed {speed:g}",
        f"{n_seen} packs stored, each moment true within "
        + ", ".join(f"{worst_s:.1f}" for worst_s in off_s.values())
        + " s of real time",
        tuple(wrong),
    )
