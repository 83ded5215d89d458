"""Nodes in threads, each with the board's own code: those of a planned day, until it is stopped, and the truth."""

import json
import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from firmware_sim.bench.air import air_named
from firmware_sim.bench.bench import Bench
from firmware_sim.bench.power import power_of
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.boards.hal_sim import DoughTime, PtyPort, SimBoard
from firmware_sim.demo.day import Day, PlannedNode, bench_of
from firmware_sim.node.link_mqtt import MqttLink
from firmware_sim.node.link_serial import SerialLink
from firmware_sim.node.main import run
from firmware_sim.node.ring import Ring
from firmware_sim.recordings.record import truth_of

log = logging.getLogger(__name__)

PERIOD_MS = 30_000  # dough time between measurements
ROOM = 240  # two hours of packs without an answer, before thinning
LOOK_EVERY_S = 0.2  # how often the truth is written and the links are checked
END_WITHIN_S = 5.0


class NodeThread:
    """One node's loop in a thread; it ends when its board says so. ``port``: its end of the line, closed with it."""

    def __init__(self, name: str, board: SimBoard, link: Any, period_ms: int, port: PtyPort | None = None) -> None:
        self._name = name
        self._board = board
        self._link = link  # SerialLink or MqttLink: untyped code of the board
        self._period_ms = period_ms
        self._port = port
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._fault: BaseException | None = None
        self._was_up = False

    def start(self) -> None:
        """Give it its supply."""
        self._thread.start()

    def _run(self) -> None:
        log.info("node=%s boot=%s state=started", self._name, self._board.boot)
        try:
            run(self._board, self._link, self._period_ms, Ring(ROOM))
        except BaseException as err:
            self._fault = err
            raise

    def check(self) -> None:
        """Log whether its link has changed.

        Raises
        ------
        RuntimeError
            When the node's own code failed: that is a fault of this program.
        """
        if self._fault is not None:
            raise RuntimeError(f"node {self._name} failed") from self._fault
        is_up = bool(self._link.is_up)
        if is_up != self._was_up:
            why = "" if is_up else getattr(self._link, "fault", "")
            log.info("node=%s link=%s why=%r", self._name, "up" if is_up else "down", why)
        self._was_up = is_up

    def join(self) -> None:
        """Wait for its end, and give its line back."""
        if self._thread.is_alive():
            self._thread.join(END_WITHIN_S)
        if self._port is not None:
            with suppress(OSError):
                self._port.close()


def run_nodes(
    nodes: Sequence[NodeThread], stop: threading.Event, is_stopped: Callable[[], bool], look: Callable[[], None]
) -> None:
    """Run nodes, and ``look`` now and then, until ``is_stopped`` (waits a while, then says whether to stop) says so.

    Raises
    ------
    RuntimeError
        When a node's own code failed: that is a fault of this program.
    """
    for node in nodes:
        node.start()
    try:
        while not is_stopped():
            for node in nodes:
                node.check()
            look()
    finally:
        stop.set()
        for node in nodes:
            node.join()


def _write_whole(path: Path, text: str) -> None:
    """Replace a file in one go: a reader sees the old text or the new."""
    beside = path.with_suffix(".new")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)


class Fleet:
    """The nodes of a day.

    Parameters
    ----------
    serial
        Node key -> path of the serial line that the collector opens; all other nodes use MQTT.
    broker
        Host and port.
    passwords
        Node key -> password at the broker.

    Raises
    ------
    ValueError
        When a serial node is none of the day's, or an MQTT node has no password or no broker.
    """

    def __init__(
        self,
        day: Day,
        pace: DoughTime,
        serial: Mapping[str, Path],
        broker: tuple[str, int] | None,
        passwords: Mapping[str, str],
    ) -> None:
        strangers = set(serial) - {node.key for node in day.nodes}
        if strangers:
            raise ValueError(f"node {sorted(strangers)[0]!r} is none of this day's")
        for planned in day.nodes:
            if planned.key not in serial and (broker is None or planned.key not in passwords):
                raise ValueError(f"node {planned.key!r} needs a broker (--mqtt) and a password in secrets.json")
        self._stop = threading.Event()
        self._day = day
        self._benches = {key: bench_of(day, key) for key in day.batches}
        self._nodes: list[NodeThread] = []
        for planned in day.nodes:
            link: Any
            port = None
            if planned.key in serial:
                port = PtyPort(serial[planned.key])
                link = SerialLink(port)
            else:
                assert broker is not None
                link = MqttLink(broker[0], broker[1], planned.key, passwords[planned.key])
            board = self._board(planned, pace, has_radio=port is None)
            self._nodes.append(NodeThread(planned.key, board, link, PERIOD_MS, port))

    def _board(self, planned: PlannedNode, pace: DoughTime, *, has_radio: bool) -> SimBoard:
        sensors = Sensors(NOISE[self._day.noise], f"{planned.key} {self._day.seed}")
        return SimBoard(
            urn=planned.urn,
            pace=pace,
            stop=self._stop,
            point=None if planned.batch is None else self._benches[planned.batch],
            air=None if planned.air is None else air_named(planned.air, self._day.seed),
            air_sensors=None if planned.air is None else sensors,
            power=power_of(f"{planned.key} {self._day.seed}", has_radio=has_radio),
        )

    def run(self, folder: Path, is_stopped: Callable[[float], bool]) -> None:
        """Run as :func:`run_nodes` does, and keep the truth written."""
        truths = folder / "truth"
        truths.mkdir(exist_ok=True)
        written: dict[str, str] = {}

        def write_truth() -> None:
            for key, bench in self._benches.items():
                text = self._truth(key, bench)
                if written.get(key) != text:
                    _write_whole(truths / f"{key}.json", text)
                    written[key] = text

        run_nodes(self._nodes, self._stop, partial(is_stopped, LOOK_EVERY_S), write_truth)

    def _truth(self, key: str, bench: Bench) -> str:
        return json.dumps(truth_of(bench, self._day.batches[key].name, self._day.start_at)) + "\n"


def read_passwords(path: Path) -> dict[str, str]:
    """Passwords by user name at the broker, from a JSON file.

    Raises
    ------
    OSError, ValueError
        When the file cannot be read, or is no JSON object of texts.
    """
    table = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(table, dict) or not all(isinstance(value, str) for value in table.values()):
        raise ValueError(f"{path}: must be a JSON object of user name and password")
    return table
