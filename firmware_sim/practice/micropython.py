"""Practice nodes that are real MicroPython: a process each, with a board's small heap, over simulated chips.

Only for nodes at a broker. Slower to start and larger than the nodes of ``practice``, which a few threads run.
"""

import random
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from firmware_sim.bench.bench import Bench
from firmware_sim.bench.bus_server import BusServer
from firmware_sim.bench.faults import Faults, episodes
from firmware_sim.bench.power import power_of
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.boards.hal_sim import Surroundings
from firmware_sim.boards.unix_process import lay_out, start
from firmware_sim.practice.nodes import PracticeSettings, key_at, tub_of, urn_of

MOST_PROCESSES = 50  # judgement: a process and a thread each
END_WITHIN_S = 5.0
HEAP_EVERY = 5  # measurements between looks at the heap: a node may lose its supply before it has made many


class UnixNode:
    """One node: its chips, and its processor whenever it has its supply."""

    def __init__(self, settings: PracticeSettings, index: int, bench: Bench, folder: Path) -> None:
        assert settings.mqtt is not None
        key = key_at(settings.seed, index)
        air_sensors = Sensors(NOISE[settings.noise], f"{key} {settings.seed}")
        around = Surroundings(settings.pace, point=bench, air=bench.air, air_sensors=air_sensors)
        power = power_of(f"{key} {settings.seed}", has_radio=True)
        self._bus = BusServer(around.buses(), lambda: power.health(settings.pace.now_s()))
        self._folder = folder
        self._config: dict[str, str | int] = {
            **around.parts, "name": urn_of(key), "link": "mqtt",
            "mqtt_host": settings.mqtt[0], "mqtt_port": settings.mqtt[1],
            "mqtt_password": settings.passwords.get(key, ""), "period_s": round(settings.every_s),
            "bench": self._bus.address, "epoch_ms": round(1000 * settings.pace.epoch.timestamp()),
            "speed": round(settings.pace.speed), "heap_every": HEAP_EVERY,
        }  # fmt: skip
        rng = random.Random(f"faults {key} {settings.seed}")
        self._losses_s = [one.start_s for one in episodes(rng, settings.faults.reboot, (0.0, 0.0), (0.0, 0.0))]
        self._process: subprocess.Popen[str] | None = None
        self._reader: threading.Thread | None = None
        self.key, self.boots, self.freed, self.heap_bytes = key, 0, 0, 0
        self.last_line = ""

    def plug_in(self) -> None:
        """Give it its supply."""
        if self.boots == 0:
            self._bus.start()
        self._process = start(self._folder, self._config)
        self._reader = threading.Thread(target=self._listen, args=(self._process,), daemon=True)
        self._reader.start()
        self.boots += 1

    def _listen(self, process: "subprocess.Popen[str]") -> None:
        assert process.stdout is not None
        for line in process.stdout:
            self.last_line = line.strip()
            if line.startswith("acked "):
                self.freed += 1
            elif line.startswith("heap "):
                self.heap_bytes = max(self.heap_bytes, int(line.split()[3]))

    def pull(self) -> None:
        """Take its supply away."""
        if self._process is not None and self._reader is not None:
            self._process.kill()
            self._process.wait(END_WITHIN_S)
            self._reader.join(END_WITHIN_S)
            assert self._process.stdout is not None
            self._process.stdout.close()

    def check(self, now_s: float) -> None:
        """Lose the supply when it is time to.

        Raises
        ------
        RuntimeError
            When the node ended by itself: its last words.
        """
        assert self._process is not None
        if self._process.poll() is not None:
            raise RuntimeError(f"node {self.key} ended: {self.last_line}")
        if self._losses_s and self._losses_s[0] <= now_s:
            self._losses_s.pop(0)
            self.pull()
            self.plug_in()

    def end(self) -> None:
        """Take everything down."""
        self.pull()
        if self.boots:
            self._bus.stop()


def run_nodes(settings: PracticeSettings, is_stopped: Callable[[float], bool], report: Callable[[str], None]) -> None:
    """Run the nodes that were wanted until ``is_stopped`` (waits some seconds, then says whether to stop) says so.

    Raises
    ------
    ValueError
        When something was wanted that only the other nodes can do.
    OSError
        When MicroPython is not installed.
    RuntimeError
        When a node failed.
    """
    if settings.mqtt is None or settings.serial or settings.recording is not None:
        raise ValueError("--micropython: these nodes speak to a broker (--mqtt) and watch doughs, no recording")
    if settings.faults != Faults(reboot=settings.faults.reboot):
        raise ValueError("--micropython: of the faults only reboot")
    if settings.count > MOST_PROCESSES:
        raise ValueError(f"--micropython: at most {MOST_PROCESSES} nodes, a process each")
    if settings.pace.speed != round(settings.pace.speed) or settings.every_s != round(settings.every_s):
        raise ValueError("--micropython: speed and seconds between measurements must be whole numbers")
    tubs = [tub_of(settings, index, key_at(settings.seed, index)) for index in range(settings.count)]
    with ExitStack() as stack:
        root = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        (root / "firmware").mkdir()
        lay_out(root / "firmware")
        nodes = []
        for index, tub in enumerate(tubs):
            shutil.copytree(root / "firmware", root / str(index))
            nodes.append(UnixNode(settings, index, tub.bench, root / str(index)))
            stack.callback(nodes[-1].end)
            nodes[-1].plug_in()
        last_s = float("inf") if settings.hours is None else 3600.0 * settings.hours
        reported_s = time.monotonic()
        while not is_stopped(0.2) and settings.pace.now_s() < last_s:
            for node in nodes:
                node.check(settings.pace.now_s())
            if time.monotonic() - reported_s >= 10.0:
                reported_s = time.monotonic()
                report(_progress_line(nodes))
    report(_progress_line(nodes))


def _progress_line(nodes: list[UnixNode]) -> str:
    return (
        f"nodes {len(nodes)}, boots {sum(node.boots for node in nodes)}, "
        f"acknowledged {sum(node.freed for node in nodes)}, heap {max(node.heap_bytes for node in nodes)}"
    )
