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

from firmware_sim.bench.air import Air, air_named
from firmware_sim.bench.bench import TUBS, Bench, DoughSensors
from firmware_sim.bench.faults import CLOCK_JUMP_S, Faults, FaultyLink, FaultySensors, Link, SensorSet, episodes
from firmware_sim.bench.power import MAINS, Power, power_of
from firmware_sim.bench.replay import SCALES, ReplayedSensors, read_recording
from firmware_sim.boards.hal_sim import DoughTime, PtyPort, SimClockBoard
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
REPORT_EVERY_S = 10.0
LAST_ANSWERS_S = 10.0  # for what is still on its way when it ends
EASE_MS = 0.25  # a turn's nap grows by this for each node, or hundreds would turn more often than they have to
ROOMS = ("steady:24", "drift:22:25", "cabinet:28", "warm:31")


@dataclass(frozen=True, slots=True)
class PracticeSettings:
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


class PracticeNode:
    """One simulated node through all its boots."""

    def __init__(
        self,
        key: str,
        sensors: SensorSet,
        make_link: Callable[[], Link],
        settings: PracticeSettings,
        power: Power = MAINS,
    ) -> None:
        rng = random.Random(f"faults {key} {settings.seed}")
        self.key = key
        self._settings = settings
        self._make_link = make_link
        self._power = power
        now_s = settings.pace.now_s
        self._sensors = FaultySensors(sensors, settings.faults, rng, now_s)
        self._reboots = [one.start_s for one in episodes(rng, settings.faults.reboot, (0.0, 0.0), (0.0, 0.0))]
        self._jumps = episodes(rng, settings.faults.clock, (0.0, 0.0), CLOCK_JUMP_S)
        self._rng = rng
        self.boots = 0
        self._before = (0, 0)
        self._begin()

    def _jump_s(self) -> float:
        now_s = self._settings.pace.now_s()
        return sum(one.size for one in self._jumps if one.start_s <= now_s)

    def _begin(self, cause: str = "power") -> None:
        board = SimClockBoard(urn_of(self.key), self._sensors, self._settings.pace, self._power, self._jump_s, cause)
        self.link = FaultyLink(self._make_link(), self._settings.faults, self._rng, self._settings.pace.now_s)
        self._node = Node(board, self.link, round(1000 * self._settings.every_s), Ring(ROOM))
        self.boots += 1

    def turn(self) -> float:
        """Do what is due; returns how long to sleep. [ms]"""
        if self._reboots and self._reboots[0] <= self._settings.pace.now_s():
            self._reboots.pop(0)
            self._before = (self.made, self.freed)
            self._node.close()
            self._begin("reset")
        # At high speed it must turn more often than it measures.
        return min(float(self._node.turn()), 250.0 * self._settings.every_s / self._settings.pace.speed)

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


def tub_of(settings: PracticeSettings, index: int, key: str) -> PracticeTub:
    """The dough under one node.

    Raises
    ------
    ValueError
        For a dough or a room that is not known.
    """
    rng = random.Random(f"practice {settings.seed} {index}")
    kind = rng.choice(names_of("digital")) if settings.dough == MIXED else settings.dough
    if kind not in KINDS:
        raise ValueError(f"dough {kind!r} is not known; there are {', '.join(KINDS)}, or {MIXED}")
    recipe = KINDS[kind].recipe
    air: Air = air_named(settings.room or rng.choice(ROOMS), settings.seed + index)
    order = Order(
        dough=kind, seed=settings.seed + index, room="", tub=rng.choice(sorted(TUBS)), noise=settings.noise,
        every_s=settings.every_s, hours=0.0, start_at=settings.pace.epoch,
        target_rise_pct=None if recipe.stage == "preferment" else recipe.default_target_pct,
    )  # fmt: skip
    bench, weighed = bench_of(order, air)
    name = f"{kind} {index + 1}"
    text = batch_toml(
        name=name, stage=recipe.stage, started_at=settings.pace.epoch, target_rise_pct=order.target_rise_pct,
        tub=bench.tub, grams=formula_g(weighed, bench.flour_g),
        nodes=[(channel, urn_of(key)) for channel in SCALES],
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

    def __init__(self, settings: PracticeSettings) -> None:
        if settings.count > len(settings.serial) and settings.mqtt is None:
            raise ValueError(f"{settings.count} nodes for {len(settings.serial)} ports: name a broker for the others")
        for path in settings.serial:
            if path.exists() and not path.is_symlink():
                raise ValueError(f"{path}: is there already; name a path where a port can be made")
        self._settings = settings
        self._ports: list[PtyPort] = []
        self._tubs: list[PracticeTub] = []
        rows = None if settings.recording is None else read_recording(settings.recording)
        self.nodes = [self._node(index, rows) for index in range(settings.count)]
        self._stop = threading.Event()
        self._fault: BaseException | None = None

    def _node(self, index: int, rows: list[tuple[float, dict[str, int]]] | None) -> PracticeNode:
        settings, key = self._settings, key_at(self._settings.seed, index)
        sensors: SensorSet
        if rows is None:
            tub = tub_of(settings, index, key)
            self._tubs.append(tub)
            sensors = DoughSensors(tub.bench, settings.pace.now_s)
        else:
            sensors = ReplayedSensors(rows, settings.pace.now_s)
        if index < len(settings.serial):
            port = PtyPort(settings.serial[index])
            self._ports.append(port)
            return PracticeNode(key, sensors, lambda: SerialLink(port), settings)
        assert settings.mqtt is not None
        host, number = settings.mqtt
        password = settings.passwords.get(key, "")
        power = power_of(f"{key} {settings.seed}", has_radio=True)
        return PracticeNode(key, sensors, lambda: MqttLink(host, number, key, password), settings, power)

    def run(self, is_stopped: Callable[[float], bool], report: Callable[[str], None]) -> None:
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
        last_s = None if self._settings.hours is None else 3600.0 * self._settings.hours
        reported_s = time.monotonic()
        try:
            while not is_stopped(0.2) and self._fault is None:
                if last_s is not None and self._settings.pace.now_s() >= last_s:
                    break
                if time.monotonic() - reported_s >= REPORT_EVERY_S:
                    reported_s = time.monotonic()
                    report(self.progress_line())
            self._await_answers(is_stopped)
        finally:
            self._stop.set()
            for worker in workers:
                worker.join(LAST_ANSWERS_S)
            report(self.progress_line())
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

    def progress_line(self) -> str:
        """What all the nodes have done, in one line."""
        nodes = self.nodes
        return (
            f"nodes {len(nodes)}, up {sum(node.link.is_up for node in nodes)}, boots {sum(n.boots for n in nodes)}, "
            f"packs {sum(n.made for n in nodes)}, acknowledged {sum(n.freed for n in nodes)}, "
            f"waiting {sum(n.waiting for n in nodes)}"
        )

    def _write_batches(self) -> None:
        if self._settings.batches is not None:
            self._settings.batches.mkdir(parents=True, exist_ok=True)
            for tub in self._tubs:
                path = self._settings.batches / f"{tub.name.replace(' ', '-')}.toml"
                path.write_text(tub.batch, encoding="utf-8")

    def _write_truth(self) -> None:
        if self._settings.batches is not None:
            truths = [truth_of(tub.bench, tub.name, self._settings.pace.epoch) for tub in self._tubs]
            text = "".join(json.dumps(truth) + "\n" for truth in truths)
            (self._settings.batches / "truth.jsonl").write_text(text, encoding="utf-8")


def kept_passwords(path: Path, count: int, seed: int) -> dict[str, str]:
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


def collect_command(settings: PracticeSettings) -> str:
    """How to start the collector that these nodes speak to."""
    parts = ["proofing-monitor collect"]
    if settings.mqtt is not None and settings.count > len(settings.serial):
        parts.append(f"--mqtt mqtt://{COLLECTOR}@{settings.mqtt[0]}:{settings.mqtt[1]}")
    parts += [f"--serial {path}" for path in settings.serial]
    if settings.pace.speed != 1.0:
        parts.append(f"--epoch {rfc3339(settings.pace.epoch)} --speed {settings.pace.speed:g}")
    return " ".join(parts)


def run_nodes(settings: PracticeSettings, is_stopped: Callable[[float], bool], report: Callable[[str], None]) -> None:
    """Run all the nodes in threads of this process: see :meth:`Practice.run`."""
    Practice(settings).run(is_stopped, report)
