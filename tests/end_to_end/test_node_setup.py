"""A node set up and practised with from the command line: simulated nodes as processes, real lines, a real broker."""

import re
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from harness import PATIENCE_S, Mosquitto, wait_until
from programs import PROGRAM, CollectorProcess, environment, run_program

from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

FIRST = NodeId("urn:dev:mac:020001fffe000000")  # of seed 1
LONG_AGO, FAR_AHEAD = datetime(2000, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)


class Simulation:
    """``node simulate`` as a process, told to end with Ctrl-C."""

    def __init__(self, log: Path, *options: str | Path) -> None:
        self.log = log
        self.command = [*PROGRAM, "node", "simulate", *map(str, options)]
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(self.command, stdout=log, stderr=log, env=environment())

    def said(self) -> str:
        return self.log.read_text()

    def end(self) -> dict[str, int]:
        """Ctrl-C; the numbers of its last line come back."""
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        assert self.process.wait(PATIENCE_S) == 0, self.said()
        assert "Traceback" not in self.said()
        return {name: int(number) for name, number in re.findall(r"(\w+) (\d+)", self.said().splitlines()[-1])}


@contextmanager
def simulated(tmp_path: Path, *options: str | Path) -> Iterator[Simulation]:
    simulation = Simulation(tmp_path / "simulate.log", *options)
    simulation.start()
    try:
        yield simulation
    finally:
        assert simulation.process is not None
        if simulation.process.poll() is None:
            simulation.process.kill()
            simulation.process.wait(PATIENCE_S)


def packs(store: Store) -> list[tuple[str, str, int]]:
    """Identity of every pack in a store."""
    found = set()
    for row in store.nodes.all():
        for channel in Channel:
            for reading in store.readings.between(row.node, channel, LONG_AGO, FAR_AHEAD):
                found.add((reading.node, reading.boot, reading.seq))
    return sorted(found)


def test_live_readings_and_a_calibration_over_a_line(tmp_path: Path) -> None:
    port, data_dir = tmp_path / "ttyNode", tmp_path / "data"
    done = run_program("node", "configure", "tub-1", "--name", FIRST, "--data-dir", data_dir)
    assert done.returncode == 0, done.stderr
    # an empty vessel stands still: a dough would not, least of all in its first minutes
    still = tmp_path / "still.csv"
    columns, row = "time,air_temp_c,humidity_pct,dough_temp_c,distance_mm", "24.5,70,26.1,298"
    still.write_text(f"{columns}\n2026-03-02T05:00:00Z,{row}\n2026-03-02T15:00:00Z,{row}\n")
    with simulated(tmp_path, "--serial", port, "--period", "1s", "--recording", still) as simulation:
        wait_until(port.is_symlink, "the port is there")
        done = run_program("node", "readings", "tub-1", "--port", port, "--count", "3", "--data-dir", data_dir)
        assert done.returncode == 0, done.stderr
        first, *lines = done.stdout.splitlines()
        assert "never calibrated" in first
        assert len(lines) == 3
        for line in lines:
            assert re.fullmatch(
                r"\d\d:\d\d:\d\d  air [\d.]+ °C  humidity [\d.]+ %  dough [\d.]+ °C  distance [\d.]+ mm", line
            )

        def calibrate(truth: str) -> "subprocess.CompletedProcess[str]":
            options = ("--truth", truth, "--port", port, "--wait", "60s", "--data-dir", data_dir)
            return run_program("node", "calibrate", "tub-1", "empty", *options)

        done = calibrate("400")  # so large an offset is a fault
        assert done.returncode == 2
        assert "reading 5 of 5" in done.stdout
        assert "that is no small error" in done.stderr
        done = calibrate("300")
        assert done.returncode == 0, done.stderr
        done = run_program("node", "readings", "tub-1", "--port", port, "--count", "1", "--data-dir", data_dir)
        assert "set right by: distance +2.00 (empty vessel)" in done.stdout
        assert "distance 300.0 mm  height 0.0 mm" in done.stdout
        numbers = simulation.end()
    with Store(data_dir / DATABASE_NAME) as store:
        (calibration,) = store.calibrations.all(FIRST)
        assert calibration.offset == 2.0
        assert len(packs(store)) >= numbers["acknowledged"] > 8


def test_a_port_that_is_not_there_is_told_at_once(tmp_path: Path) -> None:
    done = run_program("node", "readings", FIRST, "--port", tmp_path / "nothing", "--data-dir", tmp_path)
    assert done.returncode == 2
    assert "cannot be opened" in done.stderr
    assert "Traceback" not in done.stderr


def test_ctrl_c_ends_live_readings_quietly(tmp_path: Path) -> None:
    port = tmp_path / "ttyNode"
    with simulated(tmp_path, "--serial", port, "--period", "1s") as simulation:
        wait_until(port.is_symlink, "the port is there")
        log = tmp_path / "readings.log"
        with log.open("wb") as out:
            command = [*PROGRAM, "node", "readings", FIRST, "--port", str(port), "--data-dir", str(tmp_path)]
            looking = subprocess.Popen(command, stdout=out, stderr=out, env=environment())
        wait_until(lambda: log.read_text().count("dough") >= 2, "two readings are shown")
        looking.send_signal(signal.SIGINT)
        assert looking.wait(PATIENCE_S) == 130
        assert "Traceback" not in log.read_text()
        simulation.end()


def test_calibrating_through_a_running_collector(tmp_path: Path, mosquitto: Mosquitto) -> None:
    data_dir = tmp_path / "data"
    options = ("--mqtt", mosquitto.url, "--period", "1s", "--noise", "clean", "--room", "steady:24")
    with CollectorProcess(data_dir, "--mqtt", mosquitto.url), simulated(tmp_path, *options) as simulation:
        done = run_program(
            "node", "calibrate", FIRST, "reference", "--channel", "air", "--truth", "24.5", "--wait", "60s",
            "--data-dir", data_dir,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        simulation.end()
    with Store(data_dir / DATABASE_NAME) as store:
        (calibration,) = store.calibrations.all(FIRST)
        assert calibration.channel is Channel.AIR_TEMP
        assert 0.0 < abs(calibration.offset) < 3.0


def test_nobody_heard_is_explained(tmp_path: Path) -> None:
    done = run_program("node", "calibrate", FIRST, "ice", "--wait", "1s", "--data-dir", tmp_path)
    assert done.returncode == 2
    assert "proofing-monitor collect" in done.stderr


def test_many_nodes_with_every_fault_are_in_the_store_exactly_once(tmp_path: Path, mosquitto: Mosquitto) -> None:
    data_dir = tmp_path / "data"
    epoch = (datetime.now(UTC) + timedelta(seconds=5)).isoformat(timespec="seconds")
    faults = ("corrupt=0.05", "unplug=2", "reboot=1", "dropout=0.5", "hand=1", "clock=0.5")
    options = [option for fault in faults for option in ("--fault", fault)]
    pace = ("--epoch", epoch, "--speed", "300")
    with (
        CollectorProcess(data_dir, "--mqtt", mosquitto.url, *pace) as collector,
        simulated(tmp_path, "--mqtt", mosquitto.url, "--count", "20", "--hours", "1", *pace, *options) as simulation,
    ):
        assert simulation.process is not None
        simulation.process.wait(PATIENCE_S)
        numbers = simulation.end()
        assert numbers["nodes"] == 20
        assert numbers["boots"] > 20
        with collector.open_store() as store:
            stored = packs(store)
            bad = sum(fault.count for fault in store.nodes.faults() if fault.reason == "checksum")
            quarantined = store.nodes.quarantined()
    assert numbers["acknowledged"] > 500
    # whatever the nodes let go is kept; a pack whose answer never came back may be in the store all the same
    assert numbers["acknowledged"] <= len(stored) <= numbers["packs"]
    assert bad > 10
    assert quarantined == []


def test_a_recording_comes_out_as_it_went_in(tmp_path: Path) -> None:
    recording, port, data_dir = tmp_path / "READINGS.csv", tmp_path / "ttyNode", tmp_path / "data"
    rows = [f"2026-03-02T05:{minute:02d}:00Z,24.50,70.00,26.{minute:02d},{220 - minute}.5" for minute in range(30)]
    recording.write_text("\n".join(["time,air_temp_c,humidity_pct,dough_temp_c,distance_mm", *rows]) + "\n")
    epoch = (datetime.now(UTC) + timedelta(seconds=6)).isoformat(timespec="seconds")
    pace = ("--epoch", epoch, "--speed", "40")  # a pack that takes a second to arrive counts as 40 s later
    with (
        simulated(tmp_path, "--serial", port, "--recording", recording, "--hours", "0.2", *pace) as simulation,
    ):
        wait_until(port.is_symlink, "the port is there")
        with CollectorProcess(data_dir, "--serial", str(port), *pace) as collector:
            assert simulation.process is not None
            simulation.process.wait(PATIENCE_S)
            numbers = simulation.end()
            with collector.open_store() as store:
                found = store.readings.between(FIRST, Channel.DISTANCE, LONG_AGO, FAR_AHEAD)
    assert numbers["waiting"] == 0
    assert len(found) == numbers["acknowledged"] >= 10
    begun = datetime.fromisoformat(epoch)
    for reading in found:
        minute = (reading.measured_at - begun).total_seconds() / 60.0
        assert abs(220.5 - minute - reading.value) < 1.5


def test_nodes_of_real_micropython_practise_too(tmp_path: Path, mosquitto: Mosquitto) -> None:
    data_dir = tmp_path / "data"
    epoch = (datetime.now(UTC) + timedelta(seconds=12)).isoformat(timespec="seconds")
    pace = ("--epoch", epoch, "--speed", "60")
    options = ("--mqtt", mosquitto.url, "--count", "2", "--hours", "0.5", "--micropython", "--fault", "reboot=4", *pace)
    with CollectorProcess(data_dir, "--mqtt", mosquitto.url, *pace) as collector:
        with simulated(tmp_path, *options) as simulation:
            assert simulation.process is not None
            simulation.process.wait(PATIENCE_S)
            numbers = simulation.end()
        with collector.open_store() as store:
            stored = packs(store)
    assert numbers["boots"] > 2
    assert 20 < numbers["acknowledged"] <= len(stored)
    assert 0 < numbers["heap"] < 48 * 1024


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "name your broker"),
        (("--mqtt", "mqtts://10.0.0.2"), "plain mqtt"),
        (("--mqtt", "mqtt://somebody@127.0.0.1"), "leave the user out"),
        (("--serial", "/dev/null"), "is there already"),
        (("--mqtt", "mqtt://127.0.0.1:1", "--fault", "fire=1"), "there are hand"),
        (("--serial", "/tmp/never-made", "--micropython"), "speak to a broker"),
        (("--mqtt", "mqtt://127.0.0.1:1", "--micropython", "--fault", "hand=1"), "only reboot"),
        (("--mqtt", "mqtt://127.0.0.1:1", "--room", "moon:24"), "is not known"),
        (("--mqtt", "mqtt://127.0.0.1:1", "--recording", "/nowhere.csv"), "No such file"),
    ],
)
def test_what_cannot_be_simulated_is_said(options: tuple[str, ...], why: str) -> None:
    done = run_program("node", "simulate", *options)
    assert done.returncode == 2
    assert why in done.stderr
    assert "Traceback" not in done.stderr
