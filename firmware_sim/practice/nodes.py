"""Any number of simulated nodes against somebody's own broker or port: to practise, and to load a collector.

Each node is the board's own code over sensors that answer from a simulated dough or from a recording. A few threads
turn them all, each node when it is due, so that hundreds fit into one process.
"""

import heapq
import json
import os
import random
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_sim.bench.air import Air, air_named
from firmware_sim.bench.bench import Bench
from firmware_sim.bench.faults import CLOCK_JUMP_S, Faults, Senses, TroubledLink, TroubledSenses, episodes
from firmware_sim.bench.power import MAINS, Health, Power, power_of
from firmware_sim.bench.replay import BenchSenses, RecordedSenses, read_recording
from firmware_sim.bench.tubs import TUBS
from firmware_sim.boards.hal_sim import TICKS_PERIOD, WRAPS_AFTER_MS, DoughTime, PtyPort
from firmware_sim.doughs.catalogue import KINDS, names_of
from firmware_sim.node.link_mqtt import MqttLink
from firmware_sim.node.link_serial import SerialLink
from firmware_sim.node.main import Node
from firmware_sim.node.ring import Ring
from firmware_sim.recordings.record import Order, batch_toml, bench_of, formula_g, rfc3339, truth_of

COLLECTOR = "collector"
MIXED = "mixed"
ROOM = 240  # packs a node keeps
WORKERS = 4
TELL_EVERY_S = 10.0
LAST_ANSWERS_S = 10.0  # for what is still on its way when it ends
EASE_MS = 0.25  # a turn's nap grows by this for each node, or hundreds would turn more often than they have to
ROOMS = ("steady:24", "drift:22:25", "cabinet:28", "warm:31")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to simulate. ``mqtt`` is host and port; nodes beyond those with a ``serial`` path use it."""

    count: int
    seed: int
    pace: DoughTime
    every_s: float
    dough: str
    room: str | None
    noise: str
    faults: Faults
    recording: Path | None = None
    mqtt: tuple[str, int] | None = None
    passwords: dict[str, str] = field(default_factory=dict)
    serial: tuple[Path, ...] = ()
    hours: float | None = None
    batches: Path | None = None


def key_at(seed: int, index: int) -> str:
    """Key of one node: its hardware address is made up, and marked so."""
    return f"mac-02{seed % 65536:04x}fffe{index:06x}"


def urn_of(key: str) -> str:
    """The node's URN."""
    return "urn:dev:" + key.replace("-", ":", 1)


class PracticeBoard:
    """The hal of one node between two losses of its supply."""

    def __init__(self, urn: str, sensors: Senses, pace: DoughTime, jump_s: Callable[[], float], power: Power) -> None:
        self.urn = urn
        self.boot = secrets.token_hex(4)
        self.sensors = sensors
        self._pace = pace
        self._jump_s = jump_s
        self._power = power
        self._started_s = time.monotonic()

    def ticks_ms(self) -> int:
        """Real milliseconds, wrapping."""
        return (int(1000 * (time.monotonic() - self._started_s)) - WRAPS_AFTER_MS) % TICKS_PERIOD

    def dough_ticks_ms(self) -> int:
        """Dough milliseconds, wrapping, as the board's own clock tells them."""
        return (int(1000 * (self._pace.now_s() + self._jump_s())) - WRAPS_AFTER_MS) % TICKS_PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        """Signed difference of two ticks that lie less than half a period apart."""
        return (later - earlier + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2

    def health(self) -> Health:
        """Signal [dBW] and battery [0.01 V]."""
        return self._power.health(self._pace.now_s())


class PracticeNode:
    """One simulated node through all its boots."""

    def __init__(
        self, key: str, senses: Senses, make_link: Callable[[], Any], wanted: Wanted, power: Power = MAINS
    ) -> None:
        rng = random.Random(f"faults {key} {wanted.seed}")
        self.key = key
        self._wanted = wanted
        self._make_link = make_link
        self._power = power
        now_s = wanted.pace.now_s
        self._senses = TroubledSenses(senses, wanted.faults, rng, now_s)
        self._reboots = [one.start_s for one in episodes(rng, wanted.faults.reboot, (0.0, 0.0), (0.0, 0.0))]
        self._jumps = episodes(rng, wanted.faults.clock, (0.0, 0.0), CLOCK_JUMP_S)
        self._rng = rng
        self.boots = 0
        self._before = (0, 0)
        self._begin()

    def _jump_s(self) -> float:
        now_s = self._wanted.pace.now_s()
        return sum(one.size for one in self._jumps if one.start_s <= now_s)

    def _begin(self) -> None:
        board = PracticeBoard(urn_of(self.key), self._senses, self._wanted.pace, self._jump_s, self._power)
        self.link = TroubledLink(self._make_link(), self._wanted.faults, self._rng, self._wanted.pace.now_s)
        self._node = Node(board, self.link, round(1000 * self._wanted.every_s), Ring(ROOM))
        self.boots += 1

    def turn(self) -> float:
        """Do what is due; returns how long to sleep. [ms]"""
        if self._reboots and self._reboots[0] <= self._wanted.pace.now_s():
            self._reboots.pop(0)
            self._before = (self.made, self.freed)
            self._node.close()
            self._begin()
        # At high speed it must turn more often than it measures.
        return min(float(self._node.turn()), 250.0 * self._wanted.every_s / self._wanted.pace.speed)

    def close(self) -> None:
        """Leave in order."""
        self._node.close()

    @property
    def made(self) -> int:
        """Packs made so far, in all boots."""
        return self._before[0] + int(self._node.ring.last_seq)

    @property
    def freed(self) -> int:
        """Packs acknowledged so far."""
        return self._before[1] + int(self._node.freed)

    @property
    def waiting(self) -> int:
        """Packs kept for an acknowledgement now."""
        return len(self._node.ring)


@dataclass(slots=True)
class PracticeTub:
    """A simulated dough under its node, and the text of its batch file."""

    name: str
    bench: Bench
    batch: str


def tub_of(wanted: Wanted, index: int, key: str) -> PracticeTub:
    """The dough under one node.

    Raises
    ------
    ValueError
        For a dough or a room that is not known.
    """
    rng = random.Random(f"practice {wanted.seed} {index}")
    kind = rng.choice(names_of("digital")) if wanted.dough == MIXED else wanted.dough
    if kind not in KINDS:
        raise ValueError(f"dough {kind!r} is not known; there are {', '.join(KINDS)}, or {MIXED}")
    recipe = KINDS[kind].recipe
    air: Air = air_named(wanted.room or rng.choice(ROOMS), wanted.seed + index)
    order = Order(
        dough=kind, seed=wanted.seed + index, room="", tub=rng.choice(sorted(TUBS)), noise=wanted.noise,
        every_s=wanted.every_s, hours=0.0, start_at=wanted.pace.epoch,
        target_rise_pct=None if recipe.stage == "preferment" else recipe.default_target_pct,
    )  # fmt: skip
    bench, weighed = bench_of(order, air)
    name = f"{kind} {index + 1}"
    text = batch_toml(
        name=name, stage=recipe.stage, started_at=wanted.pace.epoch, target_rise_pct=order.target_rise_pct,
        tub=bench.tub, grams=formula_g(weighed, bench.flour_g),
        nodes=[(channel, urn_of(key)) for channel in ("air_temp_c", "humidity_pct", "dough_temp_c", "distance_mm")],
    )  # fmt: skip
    return PracticeTub(name, bench, text)


class Practice:
    """All the nodes that were wanted.

    Raises
    ------
    ValueError
        When a node could reach nobody, a port's path is taken, or a name is not known.
    OSError
        When a recording cannot be read, or a port cannot be made.
    """

    def __init__(self, wanted: Wanted) -> None:
        if wanted.count > len(wanted.serial) and wanted.mqtt is None:
            raise ValueError(f"{wanted.count} nodes for {len(wanted.serial)} ports: name a broker for the others")
        for path in wanted.serial:
            if path.exists() and not path.is_symlink():
                raise ValueError(f"{path}: is there already; name a path where a port can be made")
        self._wanted = wanted
        self._ports: list[PtyPort] = []
        self._tubs: list[PracticeTub] = []
        rows = None if wanted.recording is None else read_recording(wanted.recording)
        self.nodes = [self._node(index, rows) for index in range(wanted.count)]
        self._stop = threading.Event()
        self._fault: BaseException | None = None

    def _node(self, index: int, rows: list[tuple[float, dict[str, int]]] | None) -> PracticeNode:
        wanted, key = self._wanted, key_at(self._wanted.seed, index)
        senses: Senses
        if rows is None:
            tub = tub_of(wanted, index, key)
            self._tubs.append(tub)
            senses = BenchSenses(tub.bench, wanted.pace.now_s)
        else:
            senses = RecordedSenses(rows, wanted.pace.now_s)
        if index < len(wanted.serial):
            port = PtyPort(wanted.serial[index])
            self._ports.append(port)
            return PracticeNode(key, senses, lambda: SerialLink(port), wanted)
        assert wanted.mqtt is not None
        host, number = wanted.mqtt
        password = wanted.passwords.get(key, "")
        power = power_of(f"{key} {wanted.seed}", has_radio=True)
        return PracticeNode(key, senses, lambda: MqttLink(host, number, key, password), wanted, power)

    def run(self, is_stopped: Callable[[float], bool], tell: Callable[[str], None]) -> None:
        """Turn the nodes until ``is_stopped`` (waits some seconds, then says whether to stop) says so.

        Raises
        ------
        RuntimeError
            When a node's own code failed: that is a fault of this program.
        """
        self._write_batches()
        n_workers = min(WORKERS, len(self.nodes))
        workers = [
            threading.Thread(target=self._work, args=(self.nodes[at::n_workers],), daemon=True)
            for at in range(n_workers)
        ]
        for worker in workers:
            worker.start()
        last_s = None if self._wanted.hours is None else 3600.0 * self._wanted.hours
        told_s = time.monotonic()
        try:
            while not is_stopped(0.2) and self._fault is None:
                if last_s is not None and self._wanted.pace.now_s() >= last_s:
                    break
                if time.monotonic() - told_s >= TELL_EVERY_S:
                    told_s = time.monotonic()
                    tell(self.standing())
            self._await_answers(is_stopped)
        finally:
            self._stop.set()
            for worker in workers:
                worker.join(LAST_ANSWERS_S)
            tell(self.standing())
            self._write_truth()
            for port in self._ports:
                port.close()
        if self._fault is not None:
            raise RuntimeError("a simulated node failed") from self._fault

    def _await_answers(self, is_stopped: Callable[[float], bool]) -> None:
        """Let what is on its way be acknowledged, for a while; measuring goes on meanwhile."""
        end_s = time.monotonic() + LAST_ANSWERS_S
        while time.monotonic() < end_s and any(node.waiting for node in self.nodes) and not is_stopped(0.05):
            pass

    def _work(self, nodes: list[PracticeNode]) -> None:
        due = [(0.0, at) for at in range(len(nodes))]
        ease_ms = EASE_MS * len(self.nodes)
        try:
            while not self._stop.is_set():
                due_s, at = heapq.heappop(due)
                left_s = due_s - time.monotonic()
                if left_s > 0 and self._stop.wait(left_s):
                    break
                nap_ms = nodes[at].turn() + ease_ms
                heapq.heappush(due, (time.monotonic() + nap_ms / 1000.0, at))
            for node in nodes:
                node.close()
        except BaseException as err:
            self._fault = err
            raise

    def standing(self) -> str:
        """How all the nodes stand, in one line."""
        nodes = self.nodes
        return (
            f"nodes {len(nodes)}, up {sum(node.link.is_up for node in nodes)}, boots {sum(n.boots for n in nodes)}, "
            f"packs {sum(n.made for n in nodes)}, acknowledged {sum(n.freed for n in nodes)}, "
            f"waiting {sum(n.waiting for n in nodes)}"
        )

    def _write_batches(self) -> None:
        if self._wanted.batches is not None:
            self._wanted.batches.mkdir(parents=True, exist_ok=True)
            for tub in self._tubs:
                path = self._wanted.batches / f"{tub.name.replace(' ', '-')}.toml"
                path.write_text(tub.batch, encoding="utf-8")

    def _write_truth(self) -> None:
        if self._wanted.batches is not None:
            truths = [truth_of(tub.bench, tub.name, self._wanted.pace.epoch) for tub in self._tubs]
            text = "".join(json.dumps(truth) + "\n" for truth in truths)
            (self._wanted.batches / "truth.jsonl").write_text(text, encoding="utf-8")


def settled_passwords(path: Path, count: int, seed: int) -> dict[str, str]:
    """Passwords by node key from a JSON file, which is made, for its owner alone, when it is not there.

    Raises
    ------
    ValueError
        When the file is no JSON object of texts.
    OSError
        When it cannot be read or written.
    """
    if not path.exists():
        names = [COLLECTOR, *(key_at(seed, index) for index in range(count))]
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump({name: secrets.token_urlsafe(18) for name in names}, file, indent=1)
    table = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(table, dict) or not all(isinstance(value, str) for value in table.values()):
        raise ValueError(f"{path}: must be a JSON object of node key and password")
    return table


def collector_advice(wanted: Wanted) -> str:
    """How to start the collector that these nodes speak to."""
    parts = ["proofing-monitor collect"]
    if wanted.mqtt is not None and wanted.count > len(wanted.serial):
        parts.append(f"--mqtt mqtt://{COLLECTOR}@{wanted.mqtt[0]}:{wanted.mqtt[1]}")
    parts += [f"--serial {path}" for path in wanted.serial]
    if wanted.pace.speed != 1.0:
        parts.append(f"--epoch {rfc3339(wanted.pace.epoch)} --speed {wanted.pace.speed:g}")
    return " ".join(parts)
