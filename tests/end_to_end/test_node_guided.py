"""``node setup``: from a bare board to its first reading, over a real line, with the firmware under real MicroPython.

``mpremote`` is a stand-in that copies into a folder. The board starts from what lies there once it is told to.
"""

import os
import pty
import re
import select
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from harness import PATIENCE_S, wait_until
from node_day import ShakyCable
from programs import PROGRAM, CollectorProcess, environment, run_program
from test_node_board import STAND_IN

from firmware_sim.bench.bus_server import BusServer
from firmware_sim.bench.chips import SensorClock, WireFaults, buses
from firmware_sim.boards import unix_process
from firmware_sim.node import settings as on_board
from monitor.node.profiles import Board
from monitor.node.settings import Ranger, read_settings
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

SECRET = "not so secret = after all"
pytestmark = pytest.mark.skipif(unix_process.interpreter() is None, reason="the MicroPython Unix port is not installed")


class BoardOnCable:
    """A board on a cable, with chips on its pins: nothing runs on it before it has been given files and a start."""

    def __init__(self, folder: Path) -> None:
        self.files = folder / "board"
        self.files.mkdir()
        (folder / "mpremote.py").write_text(STAND_IN)
        self.environ = {"PYTHONPATH": str(folder), "STAND_IN": str(self.files)}
        self.faults = WireFaults()
        self.starts = 0
        self._cable = ShakyCable(folder, damaged_chance=0.0)
        self.port = self._cable.host_path
        began_s = time.monotonic()
        clock = SensorClock(lambda: int(1000 * (time.monotonic() - began_s)))
        self._bench = BusServer(
            buses(
                clock, air=lambda: (2531, 7620), dough=lambda: 2488, distance=lambda: 2980, air_c=lambda: 25.3,
                faults=self.faults,
            )
        )  # fmt: skip
        self._bench.start()
        self._flash = folder / "flash"
        self._flash.mkdir()
        unix_process.lay_out(self._flash)
        self._process: subprocess.Popen[str] | None = None
        self._is_over = threading.Event()
        self._thread = threading.Thread(target=self._watch)
        self._thread.start()

    def _watch(self) -> None:
        told = self.files / "said.json"
        while not self._is_over.wait(0.05):
            if told.exists() and '"reset"' in told.read_text():
                told.unlink()
                self._off()
                config = {**on_board.read(str(self.files / "config.txt"))}
                bench = {
                    "bench": self._bench.address,
                    "speed": 1,
                    "epoch_ms": int(1000 * datetime.now(UTC).timestamp()),
                }
                for path in self.files.glob("config_*.txt"):
                    shutil.copy(path, self._flash)
                self._process = unix_process.start(self._flash, {**config, **bench, "line": str(self._cable.node_path)})
                self.starts += 1

    def _off(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.communicate(timeout=PATIENCE_S)

    def close(self) -> None:
        self._is_over.set()
        self._thread.join()
        self._off()
        self._bench.stop()
        self._cable.close()
        assert self._bench.fault is None


@pytest.fixture
def board(tmp_path: Path) -> Iterator[BoardOnCable]:
    folder = tmp_path / "bench"
    folder.mkdir()
    made = BoardOnCable(folder)
    yield made
    made.close()


@pytest.fixture
def other_board(tmp_path: Path) -> Iterator[BoardOnCable]:
    folder = tmp_path / "another bench"
    folder.mkdir()
    made = BoardOnCable(folder)
    yield made
    made.close()


def readings_of(store: Store, node: NodeId) -> list[Reading]:
    return store.readings.between(node, Channel.DISTANCE, datetime(2000, 1, 1, tzinfo=UTC), datetime.now(UTC))


def test_one_command_leads_from_a_bare_board_to_readings_and_an_empty_tub(board: BoardOnCable, tmp_path: Path) -> None:
    data_dir = tmp_path / "data"
    options = ("--port", board.port, "--period", "1s", "--empty", "--yes", "--data-dir", data_dir)
    done = run_program("node", "setup", "tub-3", *options, **board.environ)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "MicroPython 1.24.1 on Generic ESP32S3 module with ESP32S3" in done.stdout
    for line in (
        "ok     the air sensor on pins 8, 9 is right: 25.31 °C, 76.20 %",
        "ok     the dough probe on pin 4 is right: 24.88 °C",
        "ok     the distance sensor on pins 17, 18 is right: 298.0 mm",
    ):
        assert line in done.stdout
    settings = read_settings(data_dir, "tub-3")
    assert settings is not None
    assert (settings.board, settings.sensor_height_mm) == (Board.ESP32_S3, 298.0)
    assert load_config(data_dir, {}).serial == (str(board.port),)
    with Store(data_dir / DATABASE_NAME) as store:
        assert [each.channel for each in store.calibrations.all(settings.name)] == [Channel.DISTANCE]
    with CollectorProcess(data_dir) as collector, collector.open_store() as store:  # it needs no option
        before = len(readings_of(store, settings.name))
        wait_until(lambda: len(readings_of(store, settings.name)) > before + 2, "the collector hears it")
    # an update: the same command, the same node; with another ranger, on the air sensor's wires
    more = ("--no-empty", "--distance", "vl53l1x")
    done = run_program("node", "setup", "tub-3", *options, *more, **board.environ)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "ok     the distance sensor on pins 8, 9 is right: 298.0 mm" in done.stdout
    assert board.starts == 2
    assert read_settings(data_dir, "tub-3") == replace(settings, distance=Ranger.VL53L1X)
    assert load_config(data_dir, {}).serial == (str(board.port),)


def test_a_second_tub_on_the_board_is_set_up_by_one_command_and_both_are_heard(
    board: BoardOnCable, tmp_path: Path
) -> None:
    data_dir = tmp_path / "data"
    usual = ("--port", board.port, "--room", "60", "--no-empty", "--yes", "--data-dir", data_dir)
    done = run_program("node", "setup", "tub-3", "--period", "1s", *usual, **board.environ)
    assert done.returncode == 0, done.stdout + done.stderr
    wired = ("--distance", "ultrasonic", "--pin", "trigger=11", "--pin", "echo=12", "--pin", "probe=13")
    taken = ("--distance", "ultrasonic", "--pin", "probe=17")
    done = run_program("node", "setup", "tub-3b", "--beside", "tub-3", *taken, *usual, **board.environ)
    assert done.returncode == 2
    assert "tub-3b: pin_probe: GPIO 17 is wired for tub-3 already; free ones are" in done.stderr
    assert board.starts == 1, "nothing was copied"
    done = run_program("node", "setup", "tub-3b", "--beside", "tub-3", *wired, *usual, **board.environ)
    assert done.returncode == 0, done.stdout + done.stderr
    for line in (
        "ok     the dough probe on pin 13 is right: 24.88 °C",
        "ok     the distance sensor on pins 11, 12 is right: 298.0 mm",
    ):
        assert line in done.stdout
    assert "the air sensor" not in done.stdout.rpartition("listening")[2], "that is the first tub's"
    first, second = read_settings(data_dir, "tub-3"), read_settings(data_dir, "tub-3b")
    assert first is not None
    assert second is not None
    assert second.name == f"{first.name}_2"
    assert board.starts == 2
    with CollectorProcess(data_dir) as collector, collector.open_store() as store:
        for node in (first.name, second.name):
            before = len(readings_of(store, node))
            wait_until(lambda n=node, b=before: len(readings_of(store, n)) > b + 2, f"the collector hears {node}")


def test_a_second_board_is_set_up_while_a_collector_is_at_work_with_the_first(
    board: BoardOnCable, other_board: BoardOnCable, tmp_path: Path
) -> None:
    data_dir = tmp_path / "data"
    usual = ("--period", "1s", "--no-empty", "--yes", "--data-dir", data_dir)
    done = run_program("node", "setup", "tub-3", "--port", board.port, *usual, **board.environ)
    assert done.returncode == 0, done.stdout + done.stderr
    first = read_settings(data_dir, "tub-3")
    assert first is not None
    with CollectorProcess(data_dir) as collector, collector.open_store() as store:
        wait_until(lambda: len(readings_of(store, first.name)) > 2, "the collector hears the first")
        done = run_program("node", "setup", "tub-4", "--port", other_board.port, *usual, **other_board.environ)
        assert done.returncode == 0, done.stdout + done.stderr
        assert "a collector is at work here: end it and start it again" in done.stdout
        before = len(readings_of(store, first.name))
        wait_until(lambda: len(readings_of(store, first.name)) > before + 2, "the first is heard all the while")
    second = read_settings(data_dir, "tub-4")
    assert second is not None
    with CollectorProcess(data_dir) as collector, collector.open_store() as store:
        for node in (first.name, second.name):
            before = len(readings_of(store, node))
            wait_until(lambda n=node, b=before: len(readings_of(store, n)) > b + 2, f"the collector hears {node}")


def test_a_wire_that_is_wrong_is_said_sensor_by_sensor(board: BoardOnCable, tmp_path: Path) -> None:
    board.faults.stuck = frozenset({"i2c"})
    options = ("--port", board.port, "--period", "1s", "--probe", "none", "--wait", "12s", "--yes")
    done = run_program("node", "setup", "tub-3", *options, "--data-dir", tmp_path, **board.environ)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "WRONG  the air sensor on pins 8, 9 was never read: nobody answers on the two wires" in done.stdout
    assert "ok     the distance sensor on pins 17, 18 is right" in done.stdout
    assert "dough probe" not in done.stdout
    assert "node setup tub-3 --yes" in done.stdout


def test_without_a_board_nothing_is_written(tmp_path: Path) -> None:
    done = run_program("node", "setup", "tub-3", "--yes", "--data-dir", tmp_path)
    assert done.returncode == 2
    assert "no board is plugged in" in done.stderr
    assert read_settings(tmp_path, "tub-3") is None


class Typist:
    """A person at a terminal: sees what is asked, and types."""

    def __init__(self, *arguments: str | Path, **environ: str) -> None:
        self.seen = ""
        self.pid, self._fd = pty.fork()
        if self.pid == 0:
            os.execve(PROGRAM[0], [*PROGRAM, *map(str, arguments)], environment(**environ))

    def _read(self, within_s: float) -> bool:
        if not select.select([self._fd], [], [], within_s)[0]:
            return True
        try:
            data = os.read(self._fd, 4096)
        except OSError:  # it has ended
            return False
        self.seen += data.decode(errors="replace")
        return bool(data)

    def answer(self, question: str, text: str) -> None:
        """Wait for a question, and type the answer to it."""
        at = len(self.seen)
        wait_until(lambda: self._read(0.05) and question in self.seen[at:], f"{question!r} in {self.seen!r}")
        os.write(self._fd, text.encode() + b"\n")

    def end(self) -> int:
        """Its exit status, once it is done."""
        end_s = time.monotonic() + PATIENCE_S
        while self._read(0.1):
            if time.monotonic() > end_s:
                os.kill(self.pid, signal.SIGKILL)
                break
        status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        os.close(self._fd)
        return status


def test_it_asks_what_it_must_know_and_shows_no_password(board: BoardOnCable, tmp_path: Path) -> None:
    person = Typist(
        "node", "setup", "tub-3", "--port", board.port, "--period", "1s", "--wait", "1s", "--data-dir", tmp_path,
        **board.environ,
    )  # fmt: skip
    person.answer("class of board", "")
    person.answer("air sensor", "none")
    person.answer("probe in the dough", "")
    person.answer("distance sensor", "ultrasonic")
    person.answer("serial), or", "mqtt")
    person.answer("address of the broker", "mqtts://bakery.lan")
    person.answer("name of the wireless network", "Ofen 5")
    person.answer("password of the wireless network Ofen 5", SECRET)
    person.answer("is it wired so: probe 4, trigger 5, echo 6?", "n")
    for job, pin in (("probe", "27"), ("trigger", "5"), ("echo", "6")):
        person.answer(f"GPIO number of {job}", pin)
    person.answer("holds the program's memory", "")  # 27 is its flash; asked again, as it was
    for job in ("trigger", "echo"):
        person.answer(f"GPIO number of {job}", "")
    assert person.end() == 2  # no certificate was given, so the board is not filled
    assert SECRET not in person.seen
    assert not re.search(r"Traceback", person.seen)
    settings = read_settings(tmp_path, "tub-3")
    assert settings is not None
    assert (settings.wifi_name, settings.wifi_password, settings.mqtt_host) == ("Ofen 5", SECRET, "bakery.lan")
    assert settings.pins_of("distance") == [5, 6]
