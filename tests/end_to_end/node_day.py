"""Real firmware under real MicroPython on real lines, while everything around it fails; and a look at what was kept."""

import os
import random
import select
import sqlite3
import subprocess
import threading
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest
from harness import PATIENCE_S, PtyPair, wait_until
from programs import CollectorProcess
from secured_broker import COLLECTOR, SecuredMosquitto

from firmware_sim.bench.air import air_named
from firmware_sim.bench.bus_server import BusServer
from firmware_sim.bench.chips import WireFaults
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.boards import unix_process as unix_node
from firmware_sim.boards.hal_sim import DoughTime, Surroundings
from firmware_sim.demo.day import bench_of, plan_day
from monitor.settings.data_dir import DATABASE_NAME


class ShakyCable:
    """A serial line between a node and the collector that damages bytes and can be pulled out."""

    def __init__(self, folder: Path, *, damaged_chance: float, seed: int = 1) -> None:
        self._node_fd, slave = os.openpty()
        tty.setraw(slave)
        self._slave = slave  # kept open: the node's end is soldered, only the collector's is pulled
        self.node_path = Path(os.ttyname(slave))
        self._host = PtyPair(-1, folder / "tty-collector", -1)
        self._host.plug_in()
        self.host_path = self._host.path
        self.damaged_chance = damaged_chance
        self.damaged = 0
        self._rng = random.Random(seed)
        self._lock = threading.Lock()
        self._is_stopping = threading.Event()
        self._thread = threading.Thread(target=self._carry, name="cable")
        self._thread.start()

    def _carry(self) -> None:
        while not self._is_stopping.is_set():
            with self._lock:
                ends = {self._node_fd: self._host.node_fd, self._host.node_fd: self._node_fd}
                ready = select.select([fd for fd in ends if fd >= 0], [], [], 0)[0]
                for fd in ready:
                    data = self._read(fd)
                    if data and ends[fd] >= 0:
                        self._write(ends[fd], self._over_the_cable(data))
            if not ready:
                time.sleep(0.001)

    def _read(self, fd: int) -> bytes:
        try:
            return os.read(fd, 4096)
        except OSError:  # nobody has the other end open
            return b""

    def _write(self, fd: int, data: bytes) -> None:
        # What does not go at once is lost, as on a line nobody reads: the node sends it again.
        if select.select([], [fd], [], 0)[1]:
            os.write(fd, data)

    def _over_the_cable(self, data: bytes) -> bytes:
        if self._rng.random() >= self.damaged_chance:
            return data
        self.damaged += 1
        spoilt = bytearray(data)
        spoilt[self._rng.randrange(len(spoilt))] ^= 1 << self._rng.randrange(7)
        return bytes(spoilt)

    def pull(self) -> None:
        """The collector's device vanishes."""
        with self._lock:
            self._host.unplug()

    def plug_in(self) -> None:
        """It comes back under the same name."""
        with self._lock:
            self._host.plug_in()

    def close(self) -> None:
        """End of the line."""
        self._is_stopping.set()
        self._thread.join()
        self._host.unplug()
        for fd in (self._node_fd, self._slave):
            os.close(fd)


@dataclass
class HeapLook:
    """What a node said of its heap after tidying it. [bytes]"""

    boot: str
    seq: int
    waiting: int
    used: int
    free: int


@dataclass
class FirmwareNode:
    """One node: a process that can lose its supply, and chips with a dough under them that cannot."""

    key: str
    folder: Path
    config: dict[str, str | int]
    pace: DoughTime
    seed: int = 1
    acked: set[tuple[str, int]] = field(default_factory=set)
    heap: list[HeapLook] = field(default_factory=list)
    boots: list[str] = field(default_factory=list)
    has_nothing_left: bool = False  # every pack is acknowledged
    said: list[str] = field(default_factory=list)  # anything else: a traceback

    def __post_init__(self) -> None:
        day = plan_day(self.seed, self.pace.epoch)
        bench = bench_of(day, next(iter(day.batches)))
        self.faults = WireFaults(rng=random.Random(self.seed))
        around = Surroundings(
            self.pace,
            point=bench,
            air=air_named("steady:24", self.seed),
            air_sensors=Sensors(NOISE["usual"], f"{self.key} {self.seed}"),
        )
        self._buses = BusServer(around.buses(self.faults), lambda: (-96, 391))
        self._buses.start()
        self.folder.mkdir(parents=True, exist_ok=True)
        unix_node.lay_out(self.folder)
        self._process: subprocess.Popen[str] | None = None
        self._thread: threading.Thread | None = None

    @property
    def urn(self) -> str:
        return "urn:dev:" + self.key.replace("-", ":", 1)

    def supply(self) -> None:
        """Power on."""
        time_keys = {"epoch_ms": int(1000 * self.pace.epoch.timestamp()), "speed": int(self.pace.speed)}
        config = {"name": self.urn, "bench": self._buses.address, "heap_every": 20, **time_keys, **self.config}
        self._process = unix_node.start(self.folder, config)
        self._thread = threading.Thread(target=self._listen, args=(self._process,), name=self.key)
        self._thread.start()

    def _listen(self, process: "subprocess.Popen[str]") -> None:
        boot = ""
        assert process.stdout is not None
        for line in process.stdout:
            self.has_nothing_left = line == "empty\n"
            match line.split():
                case ["empty"]:
                    pass
                case ["boot", boot, _]:
                    self.boots.append(boot)
                case ["acked", seq]:
                    self.acked.add((boot, int(seq)))
                case ["heap", *numbers] if len(numbers) == 4:
                    seq, waiting, used, free = map(int, numbers)
                    self.heap.append(HeapLook(boot, seq, waiting, used, free))
                case _:
                    self.said.append(line)

    @property
    def is_running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def cut(self) -> None:
        """Power off, at whatever it was doing."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(PATIENCE_S)
            assert self._thread is not None
            self._thread.join()
            self._process.stdout.close()  # type: ignore[union-attr]
            self._process = None

    def close(self) -> None:
        """Away with the node and its chips."""
        self.cut()
        self._buses.stop()
        if self._buses.fault is not None:
            raise self._buses.fault


def kept_of(database: Path, urn: str) -> dict[tuple[str, int], dict[str, list[float]]]:
    """What the store has of a node: (boot, seq) -> channel -> its values, one each when all is well."""
    kept: dict[tuple[str, int], dict[str, list[float]]] = {}
    with sqlite3.connect(f"file:{database}?mode=ro", uri=True) as store:
        for boot, seq, channel, value in store.execute(
            "SELECT boot, seq, channel, value FROM reading WHERE node = ?", (urn,)
        ):
            kept.setdefault((boot, seq), {}).setdefault(channel, []).append(value)
    store.close()
    return kept


def verdict(node: FirmwareNode, database: Path) -> list[str]:
    """What is wrong between what a node counted as acknowledged and what the store holds; empty when nothing is."""
    kept = kept_of(database, node.urn)
    wrong = [f"{pack} was acknowledged and is not in the store" for pack in sorted(node.acked - kept.keys())]
    for pack, channels in kept.items():
        twice = [channel for channel, values in channels.items() if len(values) > 1]
        wrong += [f"{pack} {channel} is there more than once" for channel in twice]
    wrong += [f"{node.key} said: {line.rstrip()}" for line in node.said]
    return wrong


class Day:
    """A serial node and a node over TLS with one collector, from a start to a verdict.

    Parameters
    ----------
    speed
        Dough time over real time.
    """

    SERIAL_KEY = "mac-020000fffe5e0001"
    MQTT_KEY = "mac-020000fffe5e0002"

    def __init__(self, folder: Path, speed: float) -> None:
        self.pace = DoughTime(datetime.now(UTC), speed)
        self.database = folder / "data" / DATABASE_NAME
        self.cable = ShakyCable(folder, damaged_chance=0.02)
        secrets = {COLLECTOR: "listens", self.MQTT_KEY: "speaks"}
        self.broker = SecuredMosquitto(folder, secrets)
        self.broker.start()
        serial: dict[str, str | int] = {"link": "serial", "line": str(self.cable.node_path), "distance": "tof"}
        mqtt: dict[str, str | int] = {
            "link": "mqtt",
            "distance": "ultrasonic",
            "mqtt_host": "localhost",
            "mqtt_port": self.broker.port,
            "mqtt_tls": 1,
            "mqtt_ca": str(self.broker.ca_der),
            "mqtt_password": secrets[self.MQTT_KEY],
        }
        self.serial = FirmwareNode(self.SERIAL_KEY, folder / "serial", serial, self.pace, seed=1)
        self.mqtt = FirmwareNode(self.MQTT_KEY, folder / "mqtt", mqtt, self.pace, seed=2)
        self.nodes = (self.serial, self.mqtt)
        for node in self.nodes:
            node.faults.damaged = node.faults.unanswered = 0.02
            node.faults.late = 0.01
        self.database.parent.mkdir()
        (self.database.parent / "config.toml").write_text(f'mqtt_ca_file = "{self.broker.ca_pem}"\n')
        pace = ("--epoch", self.pace.epoch.isoformat(), "--speed", f"{speed:g}")
        sources = ("--serial", str(self.cable.host_path), "--mqtt", self.broker.url)
        self.collector = CollectorProcess(
            self.database.parent, *sources, *pace, PROOFING_MQTT_PASSWORD=secrets[COLLECTOR]
        )
        self.collector.__enter__()
        for node in self.nodes:
            node.supply()

    def _until(self, hours: float) -> None:
        while self.pace.now_s() < 3600.0 * hours:
            self._look()
            time.sleep(0.02)

    def _look(self) -> None:
        for node in self.nodes:
            if not node.is_running:
                pytest.fail(f"{node.key} stopped: {''.join(node.said)}")

    def _trouble(self) -> list[Callable[[], None]]:
        """Everything that fails, one thing at a time, each followed by its repair."""
        return [
            self.cable.pull,
            self.cable.plug_in,
            self.broker.stop,
            self.broker.start,
            partial(self._reboot, self.serial),
            partial(setattr, self.serial.faults, "stuck", frozenset({"i2c", "onewire"})),
            partial(setattr, self.serial.faults, "stuck", frozenset()),
            self.broker.kill,
            self.broker.start,
            partial(self._reboot, self.mqtt),
            self._restart_collector,
        ]

    def _reboot(self, node: FirmwareNode) -> None:
        wait_until(lambda: self._is_heard(node), f"{node.key} is heard before its supply goes")
        node.cut()
        node.supply()

    def _is_heard(self, node: FirmwareNode) -> bool:
        self._look()
        has_acked = bool(node.boots) and any(boot == node.boots[-1] for boot, _ in list(node.acked))
        return has_acked and bool(node.heap) and node.heap[-1].boot == node.boots[-1]

    def _restart_collector(self) -> None:
        self.collector.kill()
        self.collector.__enter__()

    def live(self, hours: float, rounds: int) -> None:
        """Let it run for so much dough time, with every trouble in each round."""
        for at in range(rounds):
            trouble = self._trouble()
            for number, strike in enumerate(trouble):
                self._until(hours * (at + (number + 0.5) / len(trouble)) / rounds)
                strike()
        self._until(hours)

    def settle(self) -> list[str]:
        """Heal the lines, let the nodes get rid of what they hold, and compare; what is wrong, if anything."""
        self.cable.damaged_chance = 0.0
        for node in self.nodes:
            wait_until(partial(self._is_heard, node), f"{node.key} is heard")
        for node in self.nodes:
            node.faults.unanswered = 1.0  # its chips say nothing any more: no new packs
        for node in self.nodes:
            wait_until(lambda node=node: node.has_nothing_left, f"{node.key} got rid of what it held")
        for node in self.nodes:
            node.cut()
        return [fault for node in self.nodes for fault in verdict(node, self.database)]

    def close(self) -> None:
        """End every process."""
        for node in self.nodes:
            node.close()
        try:
            self.collector.__exit__(None, None, None)
        finally:
            self.broker.stop()
            self.cable.close()


def describe(day: Day) -> list[str]:
    """What happened, a line a node."""
    lines = [f"{day.pace.now_s() / 3600:.1f} hours of dough time, {day.cable.damaged} pieces damaged on the cable"]
    for node in day.nodes:
        kept = kept_of(day.database, node.urn)
        dropped = sum(sum(channels.get("lost_packs", [])) for channels in kept.values())
        used = [look.used for look in node.heap]
        lines.append(
            f"{node.key}: {len(node.boots)} boots, {len(node.acked)} packs acknowledged, {len(kept)} in the store, "
            f"{dropped:.0f} told as lost, {max(look.waiting for look in node.heap)} waiting at most; "
            f"heap of {unix_node.HEAP_KB} kB after tidying: {min(used)} to {max(used)} bytes used, "
            f"{min(look.free for look in node.heap)} free at least"
        )
    return lines
