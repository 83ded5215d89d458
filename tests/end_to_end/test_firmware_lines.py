"""The node's links on a real pseudo-terminal, a real broker and the embedded one; the fleet as a process."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import serial
from harness import PATIENCE_S, Mosquitto, free_port, wait_until
from paho.mqtt import client as paho

from firmware_sim.boards.hal_sim import PtyPort
from firmware_sim.node import link_mqtt, packet
from firmware_sim.node.link_mqtt import MqttLink
from firmware_sim.node.link_serial import SerialLink

KEY = "mac-020000fffe5e0001"
ACK_TOPIC = f"proofing/{KEY}/ack"


def real_ms() -> int:
    return int(1000 * time.monotonic())


def polled(link: Any, condition: Callable[[], bool]) -> Callable[[], bool]:
    """A condition that lets the link work before it is looked at."""

    def look() -> bool:
        link.poll(real_ms())
        return condition()

    return look


class Listener:
    """A collector made of paho: keeps what it hears."""

    def __init__(self, port: int, user: str | None = None, password: str | None = None) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._is_subscribed = False
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="collector")
        if user is not None:
            self.client.username_pw_set(user, password)
        self.client.on_message = lambda _client, _data, message: self.heard.append((message.topic, message.payload))
        self.client.on_connect = lambda client, *_: client.subscribe("proofing/#", 1)
        self.client.on_subscribe = lambda *_: setattr(self, "_is_subscribed", True)
        self.client.connect_timeout = PATIENCE_S
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        wait_until(lambda: self._is_subscribed, "the listener is subscribed")

    def count(self, topic: str, payload: bytes) -> int:
        return self.heard.count((f"proofing/{topic}", payload))

    def close(self) -> None:
        self.client.loop_stop()
        self.client.disconnect()


@pytest.fixture
def listener(mosquitto: Mosquitto) -> Iterator[Listener]:
    heard = Listener(mosquitto.port)
    yield heard
    heard.close()


def test_mqtt_link_speaks_hears_and_leaves_in_order(mosquitto: Mosquitto, listener: Listener) -> None:
    link = MqttLink("127.0.0.1", mosquitto.port, KEY, "secret")
    wait_until(polled(link, lambda: link.is_up), "the link is up")
    assert link.send(b"@pack")
    wait_until(polled(link, lambda: listener.count(f"{KEY}/pack", b"@pack") == 1), "the pack arrives")
    assert listener.count(f"{KEY}/status", b"online") == 1
    listener.client.publish(ACK_TOPIC, b"!ack", qos=1)
    heard: list[bytes] = []
    wait_until(polled(link, lambda: bool(heard.extend(link.take_acks())) or heard == [b"!ack"]), "the answer arrives")
    link.close(real_ms())
    wait_until(lambda: listener.count(f"{KEY}/status", b"offline") == 1, "it says that it leaves")


def test_last_will_speaks_for_a_node_that_vanishes(mosquitto: Mosquitto, listener: Listener) -> None:
    link = MqttLink("127.0.0.1", mosquitto.port, KEY, "secret")
    wait_until(polled(link, lambda: listener.count(f"{KEY}/status", b"online") == 1), "the node is online")
    link._sock.close()
    wait_until(lambda: listener.count(f"{KEY}/status", b"offline") == 1, "the will is delivered")


def test_mqtt_link_outlives_its_broker(mosquitto: Mosquitto) -> None:
    link = MqttLink("127.0.0.1", mosquitto.port, KEY, "secret")
    wait_until(polled(link, lambda: link.is_up), "the link is up")
    mosquitto.stop()
    broke: list[bool] = []
    wait_until(polled(link, lambda: broke.append(link.broke) or not link.is_up), "the link notices")
    assert broke.count(True) == 1
    assert not link.send(b"@pack")
    mosquitto.start()
    wait_until(polled(link, lambda: link.is_up), "the link is up again")
    link.close(real_ms())


@pytest.fixture
def stranger() -> Iterator[socket.socket]:
    """Something that listens and is no broker."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server


def test_silent_broker_is_given_up_and_tried_again_later(stranger: socket.socket) -> None:
    link = MqttLink("127.0.0.1", stranger.getsockname()[1], KEY, "secret")
    link.poll(0)
    first, _ = stranger.accept()
    with first:
        link.poll(link_mqtt._ANSWER_MS)
        assert link.fault == ""
        link.poll(link_mqtt._ANSWER_MS + 1)
    assert (link.is_up, link.fault) == (False, "no answer from the broker")
    stranger.settimeout(0.0)
    link.poll(link_mqtt._ANSWER_MS + 2)
    with pytest.raises(BlockingIOError):
        stranger.accept()
    link.poll(link_mqtt._ANSWER_MS + 2 + link_mqtt._FIRST_PAUSE_MS)
    stranger.settimeout(20.0)
    stranger.accept()[0].close()
    link.close(0)


@pytest.mark.parametrize(
    "noise", [b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x30\xff\xff\xff\xff\xff", b"\x20\x02\x00\x05"]
)
def test_nonsense_from_the_other_side_ends_the_connection_and_nothing_else(
    stranger: socket.socket, noise: bytes
) -> None:
    link = MqttLink("127.0.0.1", stranger.getsockname()[1], KEY, "secret")
    link.poll(0)
    other, _ = stranger.accept()
    with other:
        other.sendall(noise)
        wait_until(lambda: (link.poll(1), link.fault != "")[1], "the link drops it")
    assert not link.is_up


def test_quiet_connection_is_kept_alive_and_a_dead_one_dropped(stranger: socket.socket) -> None:
    link = MqttLink("127.0.0.1", stranger.getsockname()[1], KEY, "secret")
    link.poll(0)
    other, _ = stranger.accept()
    with other:
        other.settimeout(20.0)
        other.sendall(b"\x20\x02\x00\x00\x90\x03\x00\x01\x01")
        wait_until(lambda: (link.poll(1), link.is_up)[1], "the link is up")
        link.poll(link_mqtt._KEEP_ALIVE_S * 500 + 10)
        seen = b""
        while b"\xc0\x00" not in seen[-2:]:
            seen += other.recv(4096)
        link.poll(link_mqtt._SILENCE_MS + 10)
    assert (link.is_up, link.broke) == (False, True)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PtyPort]:
    made = PtyPort(tmp_path / "tty-node")
    yield made
    made.close()
    assert not (tmp_path / "tty-node").exists()


def test_serial_link_is_up_only_while_somebody_listens(port: PtyPort) -> None:
    link = SerialLink(port)
    link.poll(0)
    assert not link.is_up
    assert not link.send(b"@pack")
    with serial.Serial(str(port.link), 115200, timeout=PATIENCE_S) as collector:
        wait_until(polled(link, lambda: link.is_up), "the line is up")
        assert link.send(b"@pack")
        assert collector.readline() == b"@pack\n"
        collector.write(b"!one\r\nhello\n!tw")
        collector.write(b"o\n" + b"x" * 500 + b"!no\n!three\n")
        heard: list[bytes] = []
        wait_until(polled(link, lambda: bool(heard.extend(link.take_acks())) or len(heard) == 3), "three answers")
        assert heard == [b"!one", b"!two", b"!three"]
    link.poll(0)
    assert (link.is_up, link.broke) == (False, True)


def test_what_nobody_read_is_not_left_for_the_next_listener(port: PtyPort) -> None:
    link = SerialLink(port)
    with serial.Serial(str(port.link), 115200, timeout=PATIENCE_S):
        wait_until(polled(link, lambda: link.is_up), "the line is up")
        assert link.send(b"@stale")
    wait_until(polled(link, lambda: not link.is_up), "the line is down")
    with serial.Serial(str(port.link), 115200, timeout=PATIENCE_S) as collector:
        wait_until(polled(link, lambda: link.is_up), "the line is up again")
        assert link.send(b"@fresh")
        assert collector.readline() == b"@fresh\n"


Started = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Started]:
    """Starts ``python -m firmware_sim`` with arguments; ends it and wants status 0."""
    running: list[subprocess.Popen[str]] = []

    def start(*arguments: str) -> "subprocess.Popen[str]":
        log = (tmp_path / f"log-{len(running)}").open("w")
        with log:
            process = subprocess.Popen([sys.executable, "-m", "firmware_sim", *arguments], stderr=log, text=True)
        running.append(process)
        return process

    yield start
    for number, process in reversed(list(enumerate(running))):
        process.send_signal(signal.SIGTERM)
        status = process.wait(PATIENCE_S)
        assert status == 0, (tmp_path / f"log-{number}").read_text()


def answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1.0).close()
    except OSError:
        return False
    return True


def test_embedded_broker_lets_in_who_has_the_password_and_keeps_nodes_apart(tmp_path: Path, started: Started) -> None:
    other = "mac-020000fffe5e0002"
    (tmp_path / "secrets.json").write_text(json.dumps({"collector": "c", KEY: "k", other: "o"}))
    broker_port = free_port()
    started("broker", "--port", str(broker_port), "--secrets", str(tmp_path / "secrets.json"))
    wait_until(lambda: answers(broker_port), "the broker answers")
    listener = Listener(broker_port, "collector", "c")
    wrong = MqttLink("127.0.0.1", broker_port, KEY, "guessed")
    wait_until(polled(wrong, lambda: wrong.fault != ""), "the wrong password is refused")
    assert not wrong.is_up
    link = MqttLink("127.0.0.1", broker_port, KEY, "k")
    wait_until(polled(link, lambda: link.is_up), "the link is up")
    link._publish(link_mqtt._text(f"proofing/{other}/pack"), b"@spoof", 0x32)
    wait_until(polled(link, lambda: not link._out), "the spoof is out")
    assert link.send(b"@own")
    wait_until(polled(link, lambda: listener.count(f"{KEY}/pack", b"@own") == 1), "the own pack arrives")
    assert listener.count(f"{other}/pack", b"@spoof") == 0
    link.close(real_ms())
    listener.close()


def test_fleet_sends_over_serial_and_mqtt_and_writes_the_truth(tmp_path: Path, started: Started) -> None:
    epoch = datetime.now(UTC).isoformat()
    plan = [sys.executable, "-m", "firmware_sim", "plan", "--out", str(tmp_path), "--start", epoch, "--seed", "1"]
    subprocess.run(plan, check=True)
    nodes = json.loads((tmp_path / "day.json").read_text())["nodes"]
    secrets = {node["key"]: "pw" for node in nodes} | {"collector": "c"}
    (tmp_path / "secrets.json").write_text(json.dumps(secrets))
    broker_port = free_port()
    started("broker", "--port", str(broker_port), "--secrets", str(tmp_path / "secrets.json"))
    wait_until(lambda: answers(broker_port), "the broker answers")
    listener = Listener(broker_port, "collector", "c")
    tty = tmp_path / "tty"
    run = ["run", "--dir", str(tmp_path), "--epoch", epoch, "--speed", "600", "--seed", "1", "--serial", f"{tty}={KEY}"]
    started(*run, "--mqtt", f"127.0.0.1:{broker_port}")
    wait_until(tty.is_symlink, "the serial line is there")
    with serial.Serial(str(tty), 115200, timeout=PATIENCE_S) as collector:
        line = b""
        while not line.startswith(b"@"):  # how the node is comes first
            line = collector.readline().rstrip()
        checked, _, crc = line.rpartition(b" ")
        assert crc == b"%08x" % packet.crc32(checked)
        assert b'"bn":"urn:dev:mac:020000fffe5e0001_"' in checked
        head = b"!" + checked.split(b" [")[0][1:]
        collector.write(head + b" %08x\n" % packet.crc32(head))
        others = {f"proofing/{node['key']}/pack" for node in nodes if node["key"] != KEY}
        wait_until(lambda: others <= {topic for topic, _ in listener.heard}, "every MQTT node sends")
    truth = tmp_path / "truth" / "milk-rolls.json"
    wait_until(lambda: truth.exists() and json.loads(truth.read_text())["start_volume_ml"] is not None, "the truth")
    wait_until(lambda: json.loads(truth.read_text())["ready_at"] is not None, "it is ready")
    listener.close()


def test_fleet_refuses_a_stranger(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    run = [sys.executable, "-m", "firmware_sim"]
    subprocess.run([*run, "plan", "--out", str(tmp_path)], check=True)
    epoch = datetime.now(UTC).isoformat()
    done = subprocess.run(
        [*run, "run", "--dir", str(tmp_path), "--epoch", epoch, "--serial", f"{tmp_path}/tty=mac-0"], check=False
    )
    assert done.returncode == 2
    assert "mac-0" in capfd.readouterr().err
    assert not os.path.lexists(tmp_path / "tty")
