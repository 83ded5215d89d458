"""The collector as a process: real serial line, real broker, restarts, and what reaches the phone."""

import io
import sqlite3
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from faults.beside import Phone
from harness import Mosquitto, PtyPair, wait_until
from programs import CollectorProcess, good_frame, run_program

from monitor.clock import Pace
from monitor.collector import service
from monitor.collector.batch_step import STEP_FAULT
from monitor.settings.config import load_config
from monitor.store.pace import pace_of
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

SERIAL_NODE = NodeId("urn:dev:mac:020000fffe5e0001")
MQTT_NODE = NodeId("urn:dev:mac:020000fffe5e0002")
MQTT_TOPIC = "proofing/mac-020000fffe5e0002/pack"
LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
FAR_AHEAD = datetime(2100, 1, 1, tzinfo=UTC)


def sequence_numbers(store: Store, node: NodeId) -> list[int]:
    return sorted(reading.seq for reading in store.readings.between(node, Channel.DISTANCE, LONG_AGO, FAR_AHEAD))


def write_batch(path: Path, started: datetime, *, node: NodeId = SERIAL_NODE) -> Path:
    path.write_text(
        f'name = "Plain tub"\nstage = "first rise"\nstarted = {started.isoformat()}\ntarget_rise_pct = 75\n'
        '[vessel]\nshape = "round"\nbase_mm = 180\ntop_mm = 210\ndepth_mm = 250\nsensor_to_base_mm = 300\n'
        f'[nodes]\nair_temp_c = "{node}"\ndistance_mm = "{node}"\n'
    )
    return path


def test_readings_come_over_serial_and_mqtt_at_once(
    tmp_path: Path, pty_pair: PtyPair, mosquitto: Mosquitto, publisher: paho.Client
) -> None:
    options = ("--serial", str(pty_pair.path), "--mqtt", mosquitto.url)
    with CollectorProcess(tmp_path / "data", *options) as collector, collector.open_store() as store:
        wait_until(lambda: "connected source=mqtt" in collector.log.read_text(), "the collector reaches the broker")
        wait_until(lambda: "open source=serial" in collector.log.read_text(), "the line is open")
        for seq in range(1, 21):
            pty_pair.send(good_frame(SERIAL_NODE, seq) + b"\n")
            publisher.publish(MQTT_TOPIC, good_frame(MQTT_NODE, seq), 1)
        pty_pair.receive(b"!0a1b2c3d 20 ")
        wait_until(lambda: sequence_numbers(store, MQTT_NODE) == list(range(1, 21)), "all MQTT packs are stored")
        assert sequence_numbers(store, SERIAL_NODE) == list(range(1, 21))
        assert store.nodes.faults() == []
        assert {node.node for node in store.nodes.all()} == {SERIAL_NODE, MQTT_NODE}


def test_the_line_and_the_broker_may_go_and_come_back(
    tmp_path: Path, pty_pair: PtyPair, mosquitto: Mosquitto, publisher: paho.Client
) -> None:
    options = ("--serial", str(pty_pair.path), "--mqtt", mosquitto.url)
    with CollectorProcess(tmp_path / "data", *options) as collector, collector.open_store() as store:
        wait_until(lambda: "connected source=mqtt" in collector.log.read_text(), "the collector reaches the broker")
        wait_until(lambda: "open source=serial" in collector.log.read_text(), "the line is open")
        pty_pair.send(good_frame(SERIAL_NODE, 1) + b"\n")
        pty_pair.receive(b"!0a1b2c3d 1 ")
        pty_pair.unplug()
        mosquitto.stop()
        pty_pair.plug_in()
        mosquitto.start()
        # opening a line drops what waits on it: a node would send again, this one waits
        wait_until(lambda: collector.log.read_text().count("open source=serial") == 2, "the line is open again")
        pty_pair.send(good_frame(SERIAL_NODE, 2) + b"\n")
        pty_pair.receive(b"!0a1b2c3d 2 ")
        wait_until(lambda: collector.log.read_text().count("connected source=mqtt") == 2, "the collector is back")
        wait_until(publisher.is_connected, "the test's own client is back")
        publisher.publish(MQTT_TOPIC, good_frame(MQTT_NODE, 1), 1)
        wait_until(lambda: sequence_numbers(store, MQTT_NODE) == [1], "a pack arrives over the new connection")
        assert sequence_numbers(store, SERIAL_NODE) == [1, 2]


def test_a_batch_goes_on_over_a_power_cut(tmp_path: Path, pty_pair: PtyPair) -> None:
    data_dir = tmp_path / "data"
    file = write_batch(tmp_path / "tub.toml", datetime.now(UTC) - timedelta(minutes=1))
    assert run_program("batch", "start", file, "--data-dir", data_dir).returncode == 0
    first = CollectorProcess(data_dir, "--serial", str(pty_pair.path))
    first.__enter__()
    with first.open_store() as store:
        (running,) = store.batches.running()
        wait_until(lambda: "open source=serial" in first.log.read_text(), "the line is open")
        pty_pair.send(good_frame(SERIAL_NODE, 1) + b"\n")
        pty_pair.receive(b"!0a1b2c3d 1 ")
        wait_until(lambda: store.outlooks.latest(running.id) is not None, "a first outlook")
        first.kill()
        with CollectorProcess(data_dir, "--serial", str(pty_pair.path)) as second:
            wait_until(lambda: second.log.read_text().count("open source=serial") == 2, "the line is open once more")
            pty_pair.send(good_frame(SERIAL_NODE, 1) + b"\n" + good_frame(SERIAL_NODE, 2) + b"\n")
            pty_pair.receive(b"!0a1b2c3d 2 ")
            known = len(store.outlooks.of(running.id))
            assert run_program("batch", "event", "1", "fold", "--data-dir", data_dir).returncode == 0
            wait_until(lambda: len(store.outlooks.of(running.id)) > known, "the fold is worked at once")
        assert sequence_numbers(store, SERIAL_NODE) == [1, 2]
        assert not [fault for fault in store.nodes.faults() if fault.reason == STEP_FAULT]


@pytest.fixture
def phone() -> Iterator[Phone]:
    with Phone() as phone:
        yield phone


def test_silence_reaches_the_phone_and_the_terminal_once(tmp_path: Path, phone: Phone) -> None:
    data_dir = tmp_path / "data"
    file = write_batch(tmp_path / "tub.toml", datetime.now(UTC) - timedelta(hours=1))
    assert run_program("batch", "start", file, "--data-dir", data_dir).returncode == 0
    (data_dir / "config.toml").write_text("[alerts]\nsilence_min = 0.05\n")
    with CollectorProcess(data_dir, "--by-eye", PROOFING_NOTIFY_URLS=phone.url) as collector:
        wait_until(lambda: len(phone.messages) > 0, "the phone rings")
        with collector.open_store() as store:
            wait_until(lambda: all(message.delivered_at for message in store.outbox.messages()), "delivery is recorded")
            assert len(phone.messages) == len(store.outbox.messages()) == 1
        tried = run_program("alerts", "test", "--data-dir", data_dir)
        assert (tried.returncode, tried.stdout.strip()) == (0, "baker, json#1: taken")
    assert "node silent" in phone.messages[0]["title"]
    assert [message["title"] for message in phone.messages[1:]] == ["Test call"]
    said = collector.log.read_text()
    assert "Plain tub: " in said
    assert "secret-path" not in said


def test_nothing_to_listen_to_says_what_to_do(tmp_path: Path) -> None:
    done = run_program("collect", "--data-dir", tmp_path)
    assert done.returncode == 2
    for said in ("no node is set", "--serial PORT", "--mqtt mqtt://", "--by-eye", str(tmp_path / "config.toml")):
        assert said in done.stderr


def test_a_second_collector_on_the_same_data_is_refused(tmp_path: Path) -> None:
    with CollectorProcess(tmp_path, "--by-eye"):
        done = run_program("collect", "--by-eye", "--data-dir", tmp_path)
    assert done.returncode == 2
    assert "at work here already" in done.stderr


def test_a_demos_data_are_not_gone_on_with(tmp_path: Path) -> None:
    pace = ("--epoch", "2026-03-02T05:00:00Z", "--speed", "60")
    with CollectorProcess(tmp_path, "--by-eye", *pace):
        pass
    done = run_program("collect", "--by-eye", "--data-dir", tmp_path)
    assert done.returncode == 2
    assert "belongs to a demo" in done.stderr


def test_a_demo_that_is_stopped_before_it_works_has_kept_its_pace(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(claims: object, site: str, manager: object, stop: threading.Event, *_: object) -> None:
        stop.set()

    monkeypatch.setattr(service.signal, "signal", lambda *_: None)
    monkeypatch.setattr(service, "stand_by", stopped)
    pace = Pace(datetime(2026, 3, 2, 5, 0, tzinfo=UTC), 60.0)
    config = load_config(tmp_path, {})
    assert service.collect(config, pace, io.StringIO(), is_by_eye=True) == 0
    with Store(config.database) as store:
        assert pace_of(store) == pace


def test_a_new_file_that_another_process_is_making_is_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite"
    other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    other.execute("CREATE TABLE half_made (x)")
    other.execute("BEGIN IMMEDIATE")  # whoever wants to switch the file to WAL now is refused without waiting
    release = threading.Timer(0.5, other.execute, ["COMMIT"])
    release.start()
    try:
        with Store(path) as store:
            assert store.batches.all() == []
    finally:
        release.join()
        other.close()
