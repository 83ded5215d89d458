"""Many nodes at once, each in a thread with the board's own code, until told to stop; and the truth beside them."""

import json
import logging
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
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
LOOK_EVERY_S = 0.2  # how often the truth is written and the links are looked at
END_WITHIN_S = 5.0


@dataclass
class _RunningNode:
    planned: PlannedNode
    link: Any  # SerialLink or MqttLink: untyped code of the board
    port: PtyPort | None
    thread: threading.Thread | None = None
    was_up: bool = False
    fault: BaseException | None = None


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
        self._stop = threading.Event()
        self._day = day
        self._benches = {key: bench_of(day, key) for key in day.batches}
        self._nodes: list[_RunningNode] = []
        strangers = set(serial) - {node.key for node in day.nodes}
        if strangers:
            raise ValueError(f"node {sorted(strangers)[0]!r} is none of this day's")
        for planned in day.nodes:
            if planned.key in serial:
                continue
            if broker is None or planned.key not in passwords:
                raise ValueError(f"node {planned.key!r} needs a broker (--mqtt) and a password in secrets.json")
        for planned in day.nodes:
            link: Any
            port = None
            if planned.key in serial:
                port = PtyPort(serial[planned.key])
                link = SerialLink(port)
            else:
                assert broker is not None
                link = MqttLink(broker[0], broker[1], planned.key, passwords[planned.key])
            node = _RunningNode(planned, link, port)
            board = self._board(planned, pace, has_radio=planned.key not in serial)
            node.thread = threading.Thread(target=self._live, args=(node, board), daemon=True)
            self._nodes.append(node)

    def _board(self, planned: PlannedNode, pace: DoughTime, *, has_radio: bool) -> SimBoard:
        sensors = Sensors(NOISE[self._day.noise], f"{planned.key} {self._day.seed}")
        return SimBoard(
            urn=planned.urn,
            pace=pace,
            stop=self._stop,
            bench=None if planned.batch is None else self._benches[planned.batch],
            air=None if planned.air is None else air_named(planned.air, self._day.seed),
            air_sensors=None if planned.air is None else sensors,
            power=power_of(f"{planned.key} {self._day.seed}", has_radio=has_radio),
        )

    def _live(self, node: _RunningNode, board: SimBoard) -> None:
        log.info("node=%s boot=%s state=started", node.planned.key, board.boot)
        try:
            run(board, node.link, PERIOD_MS, Ring(ROOM))
        except BaseException as err:
            node.fault = err
            raise

    def run(self, folder: Path, is_stopped: Callable[[float], bool]) -> None:
        """Run until ``is_stopped`` (waits up to some seconds, then says whether to stop) says so.

        Raises
        ------
        RuntimeError
            When a node's own code failed: that is a fault of this program.
        """
        truths = folder / "truth"
        truths.mkdir(exist_ok=True)
        written: dict[str, str] = {}
        for node in self._nodes:
            assert node.thread is not None
            node.thread.start()
        try:
            while not is_stopped(LOOK_EVERY_S):
                self._note_links()
                for key, bench in self._benches.items():
                    text = self._truth(key, bench)
                    if written.get(key) != text:
                        _write_whole(truths / f"{key}.json", text)
                        written[key] = text
        finally:
            self._end()

    def _truth(self, key: str, bench: Bench) -> str:
        return json.dumps(truth_of(bench, self._day.batches[key].name, self._day.start_at)) + "\n"

    def _note_links(self) -> None:
        """Log changes of the links, and pass on a node's fault."""
        for node in self._nodes:
            if node.fault is not None:
                raise RuntimeError(f"node {node.planned.key} failed") from node.fault
            is_up = bool(node.link.is_up)
            if is_up != node.was_up:
                why = getattr(node.link, "fault", "")
                log.info("node=%s link=%s why=%r", node.planned.key, "up" if is_up else "down", "" if is_up else why)
            node.was_up = is_up

    def _end(self) -> None:
        self._stop.set()
        for node in self._nodes:
            if node.thread is not None and node.thread.is_alive():
                node.thread.join(END_WITHIN_S)
            if node.port is not None:
                with suppress(OSError):
                    node.port.close()


def read_passwords(folder: Path) -> dict[str, str]:
    """Passwords by node key from ``secrets.json``; none when there is no such file.

    Raises
    ------
    ValueError
        When the file is no JSON object of texts.
    """
    path = folder / "secrets.json"
    if not path.exists():
        return {}
    table = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(table, dict) or not all(isinstance(value, str) for value in table.values()):
        raise ValueError(f"{path}: must be a JSON object of node key and password")
    return table


def dough_time(epoch: datetime, speed: float) -> DoughTime:
    """Pace of the doughs.

    Raises
    ------
    ValueError
        When time would stand still or run backwards.
    """
    if not speed > 0:
        raise ValueError(f"speed {speed:g}: must be more than 0")
    return DoughTime(epoch, speed)
