"""What comes in, beside the barest that could take it in: ``python -m tests.benchmark intake``.

Three pairs, each measured in turns in one run, the median of the turns told as a ratio: messages of a real broker
(mosquitto, QoS 1), published meanwhile, against a paho-mqtt client that only counts them; frames from a pseudo-terminal
against pyserial that only counts line ends; commits of packs against bare sqlite3 with the same rows, tables, indices
and durability (WAL, synchronous FULL). By wall time, since waiting for disk and broker is part of it, and by this
process's processor time, which other loads of the machine touch less. To note, never to pass or fail.
"""

import argparse
import os
import queue
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho
import serial
from numpy.typing import NDArray
from paho.mqtt.enums import CallbackAPIVersion

from monitor.alerts.dough import Rules
from monitor.clock import SystemClock
from monitor.collector.batch_step import Estimate
from monitor.collector.loop import Collector
from monitor.dough.forecast import outlook
from monitor.health.counters import Pulse
from monitor.sources.intake import QUEUE_SIZE, Item, Status
from monitor.sources.mqtt import QOS, ROOT, MqttSource
from monitor.sources.serial import BAUD, SerialSource
from monitor.store import rows
from monitor.store.nodes import Arrivals, Heard
from monitor.store.rows import to_us
from monitor.store.store import Store
from monitor.wire.frames import decode, key_of, readings
from monitor.wording.reader import Reader
from tests.benchmark import Counting, framed, invented_batch, invented_values, node_named
from tests.harness import Mosquitto

Array = NDArray[np.float64]

ROOT_FOLDER = Path(__file__).resolve().parents[1]
NODES = 20
PATIENCE_S = 120.0
PACKS_A_COMMIT = (1, 20, 256)  # a quiet bakery; what mosquitto sends ahead of its PUBACKs; the collector's most
MESSAGES, FRAMES, COMMITTED_PACKS, TURNS = 3000, 5000, 2560, 3
SHORT_BY = 20  # the short form takes so many times less


def frames_of(n: int) -> list[tuple[str, bytes]]:
    """Keys and frames of ``NODES`` nodes that take turns."""
    rng, found = np.random.default_rng(4), []
    for number in range(n):
        node, seq = node_named(number % NODES), 1 + number // NODES
        found.append((key_of(node), framed(node, seq, invented_values(seq / 360.0, rng))))
    return found


def now_s() -> Array:
    """By the wall clock and by this process's use of the processor. [s]"""
    return np.array([time.perf_counter(), time.process_time()])


def waited_s(is_done: Callable[[], bool]) -> Array:
    """How long it takes until something is so, see :func:`now_s`."""
    began_s = now_s()
    while not is_done():
        if time.perf_counter() > began_s[0] + PATIENCE_S:
            raise TimeoutError(f"not done within {PATIENCE_S:g} s")
        time.sleep(0.002)
    return now_s() - began_s


@contextmanager
def at_work(place: Path, inbox: "queue.Queue[Item]", estimate: Estimate, batches: int) -> Iterator[Pulse]:
    """A collector with a store of its own in a thread, as the program runs it."""
    clock, stop = SystemClock(), threading.Event()
    pulse = Pulse(clock)

    def run() -> None:
        with Store(place / f"{time.perf_counter_ns()}.sqlite3") as store:
            for number in range(batches):
                batch = invented_batch(node_named(number % NODES))
                store.batches.add(replace(batch, name=f"invented {number}", started_at=clock.now()))
            Collector(store, inbox, clock, estimate, rules=Rules(), reader=Reader(UTC), pulse=pulse).run(stop)

    thread = threading.Thread(target=run)
    thread.start()
    waited_s(lambda: pulse.beat_s > pulse.started_s)
    try:
        yield pulse
    finally:
        stop.set()
        thread.join()


# -- a broker ---------------------------------------------------------------------------------------------------------


def client_of(name: str) -> paho.Client:
    """A client of the broker."""
    client = paho.Client(CallbackAPIVersion.VERSION2, name, protocol=paho.MQTTv311)
    client.max_inflight_messages_set(1000)
    return client


def publish(port: int, frames: list[tuple[str, bytes]]) -> None:
    """Hand frames to the broker, as fast as it takes them."""
    node = client_of("nodes")
    node.connect("127.0.0.1", port)
    node.loop_start()
    sent = [node.publish(f"{ROOT}/{key}/pack", frame, QOS) for key, frame in frames]
    for each in sent:
        each.wait_for_publish(PATIENCE_S)
    node.disconnect()
    node.loop_stop()


@contextmanager
def published(broker: Mosquitto, frames: list[tuple[str, bytes]]) -> Iterator[None]:
    """Another process publishes frames from now on."""
    command = [sys.executable, "-m", "tests.benchmark_intake", "--publish", str(broker.port), str(len(frames))]
    nodes = subprocess.Popen(command, cwd=ROOT_FOLDER)
    try:
        yield
        nodes.wait(PATIENCE_S)
    finally:
        nodes.kill()
        nodes.wait()


def counted_s(broker: Mosquitto, frames: list[tuple[str, bytes]]) -> Array:
    """A bare subscriber counts them, from the first to the last. [s]"""
    seen: list[object] = []
    client, subscribed = client_of("bare"), threading.Event()
    client.on_connect = lambda client, *_: client.subscribe(f"{ROOT}/+/pack", QOS)
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = lambda *_: seen.append(None)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    subscribed.wait(PATIENCE_S)
    with published(broker, frames):
        waited_s(lambda: len(seen) > 0)
        took_s = waited_s(lambda: len(seen) >= len(frames))
    client.disconnect()
    client.loop_stop()
    return took_s


def collected_s(
    broker: Mosquitto,
    frames: list[tuple[str, bytes]],
    place: Path,
    estimate: Estimate,
    batches: int,
) -> Array:
    """The collector takes them in, each acknowledged to broker and node after its commit, and works each batch. [s]"""
    inbox: queue.Queue[Item] = queue.Queue(QUEUE_SIZE)
    with at_work(place, inbox, estimate, batches) as pulse:
        source = MqttSource(broker.url, SystemClock(), inbox)
        source.start()
        waited_s(lambda: source.is_up)
        with published(broker, frames):
            waited_s(lambda: pulse.packs > 0)
            took_s = waited_s(lambda: pulse.packs >= len(frames) and pulse.steps >= batches)
        source.stop()
    return took_s


# -- a serial line ----------------------------------------------------------------------------------------------------

WRITER = "import os, sys; data = sys.stdin.buffer.read()\nwhile data: data = data[os.write({fd}, data):]"


@contextmanager
def line_with(data: bytes) -> Iterator[tuple[str, Callable[[], None]]]:
    """A pseudo-terminal on which another process says all of it, once it is told to; what comes back is thrown away.

    It must not begin before the line was opened: what stands there then is lost.
    """
    node_fd, port_fd = os.openpty()
    tty.setraw(port_fd)
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER.format(fd=node_fd)], stdin=subprocess.PIPE, pass_fds=[node_fd]
    )
    drain = subprocess.Popen(["cat"], stdin=node_fd, stdout=subprocess.DEVNULL)
    assert writer.stdin is not None
    try:
        path = os.ttyname(port_fd)
        feeding = threading.Thread(target=lambda: (writer.stdin.write(data), writer.stdin.close()))  # type: ignore[union-attr,func-returns-value]
        yield path, feeding.start
        feeding.join()
        writer.wait()
    finally:
        for process in (writer, drain):
            process.kill()
            process.wait()
        os.close(node_fd)
        os.close(port_fd)


def lines_counted_s(data: bytes) -> Array:
    """Bare pyserial reads and counts line ends. [s]"""
    wanted, seen = data.count(b"\n"), 0
    with line_with(data) as (path, speak), serial.Serial(path, BAUD, timeout=PATIENCE_S) as port:
        speak()
        began_s = now_s()
        while seen < wanted:
            read = port.read(max(1, port.in_waiting))
            if not read:
                raise TimeoutError(f"{seen} of {wanted} lines came, and then none for {PATIENCE_S:g} s")
            seen += read.count(b"\n")
        return now_s() - began_s


class Inbox(queue.Queue[Item]):
    """A collector's inbox that knows when a source has told that it is open."""

    def __init__(self) -> None:
        super().__init__(QUEUE_SIZE)
        self.is_open = threading.Event()

    def put(self, item: Item, block: bool = True, timeout: float | None = None) -> None:
        """As a queue does."""
        if isinstance(item, Status) and item.is_online:
            self.is_open.set()
        super().put(item, block, timeout)


def lines_collected_s(data: bytes, place: Path) -> Array:
    """The collector takes in the same line, each frame acknowledged after its commit. [s]"""
    wanted = data.count(b"\n")
    inbox = Inbox()
    with at_work(place, inbox, Counting(), 0) as pulse, line_with(data) as (path, speak):
        source = SerialSource(path, SystemClock(), inbox)
        source.start()
        inbox.is_open.wait(PATIENCE_S)
        speak()
        began_s = now_s()
        waited_s(lambda: pulse.packs >= wanted)
        took_s = now_s() - began_s
        source.stop()
    return took_s


# -- commits ----------------------------------------------------------------------------------------------------------


def arrivals_of(n_packs: int, a_commit: int) -> list[Arrivals]:
    """What turns of so many packs bring, decoded."""
    found, at = [], datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
    frames = frames_of(n_packs)
    for start in range(0, n_packs, a_commit):
        at += timedelta(seconds=10.0)
        arrived = Arrivals()
        for _, frame in frames[start : start + a_commit]:
            pack = decode(frame)
            arrived.readings += readings(pack, at)
            arrived.heard.append(Heard(pack.node, "bench", at))
        found.append(arrived)
    return found


def kept_s(path: Path, turns: list[Arrivals]) -> Array:
    """The store keeps them, a transaction each. [s]"""
    with Store(path) as store:
        began_s = now_s()
        for arrived in turns:
            store.keep(arrived, arrived.heard[0].at)
        return now_s() - began_s


def bare_kept_s(path: Path, turns: list[Arrivals]) -> Array:
    """Bare sqlite3 keeps the same rows in the same tables, from tuples that lie ready. [s]"""
    with Store(path):
        pass  # makes the tables
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous = FULL")
    numbers: dict[tuple[str, str, str], int | None] = {}

    def number(table: str, node: str, name: str) -> int | None:
        if (table, node, name) not in numbers:
            inserted = connection.execute(f"INSERT INTO {table} VALUES (NULL, ?, ?)", (node, name))
            numbers[table, node, name] = inserted.lastrowid
        return numbers[table, node, name]

    def sample_of(row: tuple[Any, ...]) -> tuple[Any, ...]:
        node, boot, seq, channel, *rest = row
        return number("sensor", node, channel), number("boot", node, boot), seq, *rest

    ready = [
        ([sample_of(rows.reading_to_row(each)) for each in arrived.readings],
         [(each.node, each.source, to_us(each.at), to_us(each.at)) for each in arrived.heard])
        for arrived in turns
    ]  # fmt: skip
    reading = "INSERT OR IGNORE INTO sample VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?)"
    node = "INSERT OR REPLACE INTO node VALUES (?, ?, ?, ?, NULL, NULL, NULL)"
    began_s = now_s()
    for of_readings, of_nodes in ready:
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(reading, of_readings)
        connection.executemany(node, of_nodes)
        connection.execute("COMMIT")
    took_s = now_s() - began_s
    connection.close()
    return took_s


# -- the table --------------------------------------------------------------------------------------------------------


def compare(what: str, unit: str, n: int, turns: int, ours: Callable[[], Array], bare: Callable[[], Array]) -> None:
    """Both in turns; one line with the medians and the ratios of what they do in a second."""
    times_s = np.array([(ours(), bare()) for _ in range(turns)])
    ours_s, bare_s = np.median(times_s, axis=0)
    by_wall, by_processor = 100.0 * bare_s / ours_s
    told = f"{what:56} {n / ours_s[0]:8.0f} {n / bare_s[0]:8.0f} {unit:11}"
    print(f"{told} {by_wall:5.0f} % {by_processor:5.0f} %", flush=True)


def main(arguments: list[str] | None = None) -> None:
    """Measure, and print one line a pair."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--short", action="store_true", help="does it run?")
    asked.add_argument("--publish", type=int, nargs=2, metavar=("PORT", "N"), help="be the nodes of a broker")
    options = asked.parse_args(arguments)
    if options.publish is not None:
        publish(options.publish[0], frames_of(options.publish[1]))
        return
    is_short = options.short
    turns, by = (1, SHORT_BY) if is_short else (TURNS, 1)
    frames = frames_of(MESSAGES // by)
    data = b"".join(frame + b"\n" for _, frame in frames_of(FRAMES // by))
    print(
        f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; medians of {turns}; ours, bare, a second, ours / bare"
    )
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        broker = Mosquitto(place)
        broker.start()
        try:
            for what, estimate, batches in (
                ("committed", Counting(), 0),
                (f"and {NODES} batches estimated", outlook, NODES),
            ):
                collect = partial(collected_s, broker, frames, place, estimate, batches)
                count = partial(counted_s, broker, frames)
                compare(f"broker: {what}", "messages/s", len(frames), turns, collect, count)
        finally:
            broker.stop()
        n_lines = data.count(b"\n")
        compare(
            "pseudo-terminal: committed", "frames/s", n_lines, turns,
            lambda: lines_collected_s(data, place), lambda: lines_counted_s(data),
        )  # fmt: skip
        for a_commit in PACKS_A_COMMIT:
            arrived = arrivals_of(max(a_commit, min(COMMITTED_PACKS, 200 * a_commit) // by), a_commit)

            def path(kind: str) -> Path:
                return place / f"{kind}-{time.perf_counter_ns()}.sqlite3"

            compare(
                f"commits of {a_commit} packs", "commits/s", len(arrived), turns,
                lambda arrived=arrived: kept_s(path("ours"), arrived),  # type: ignore[misc]
                lambda arrived=arrived: bare_kept_s(path("bare"), arrived),  # type: ignore[misc]
            )  # fmt: skip


if __name__ == "__main__":
    main()
