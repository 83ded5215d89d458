"""The MQTT source at the embedded broker of the demo, as a process, with its passwords and access list."""

import json
import queue
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from zlib import crc32

import paho.mqtt.client as paho
import pytest
from harness import PATIENCE_S, SetClock, free_port, next_of, wait_until
from paho.mqtt.enums import CallbackAPIVersion

from monitor.sources.intake import Frame, Item, Status
from monitor.sources.mqtt import MqttSource
from monitor.wire.frames import acknowledgement, decode

KEY = "mac-020000fffe5e0001"
PASSWORDS = {"collector": "made-up-1", KEY: "made-up-2"}


def frame(seq: int) -> bytes:
    checked = f'@0a1b2c3d {seq} [{{"bn":"urn:dev:mac:020000fffe5e0001_","n":"air","u":"Cel","v":25}}]'.encode()
    return checked + b" %08x" % crc32(checked)


@pytest.fixture
def broker_port(tmp_path: Path) -> Iterator[int]:
    secrets = tmp_path / "secrets.json"
    secrets.write_text(json.dumps(PASSWORDS))
    port = free_port()
    command = [sys.executable, "-m", "firmware_sim", "broker", "--port", str(port), "--secrets", str(secrets)]
    with (tmp_path / "broker.log").open("wb") as told:
        process = subprocess.Popen(command, stdout=told, stderr=told, cwd=Path(__file__).parents[2])

    def answers() -> bool:
        if process.poll() is not None:
            pytest.fail(f"the broker ended: {(tmp_path / 'broker.log').read_text()}")
        try:
            socket.create_connection(("127.0.0.1", port), 1.0).close()
        except OSError:
            return False
        return True

    wait_until(answers, "the embedded broker accepts connections")
    yield port
    process.send_signal(signal.SIGTERM)
    process.wait(PATIENCE_S)


@pytest.fixture
def node(broker_port: int) -> Iterator[tuple[paho.Client, "queue.Queue[bytes]"]]:
    heard: queue.Queue[bytes] = queue.Queue()
    subscribed = threading.Event()
    client = paho.Client(CallbackAPIVersion.VERSION2, KEY)
    client.username_pw_set(KEY, PASSWORDS[KEY])
    client.will_set(f"proofing/{KEY}/status", b"offline", 1, retain=True)
    client.on_connect = lambda client, *_: client.subscribe(f"proofing/{KEY}/ack", 1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = lambda _client, _data, message: heard.put(bytes(message.payload))
    client.connect_timeout = PATIENCE_S
    client.connect("127.0.0.1", broker_port)
    client.loop_start()
    assert subscribed.wait(PATIENCE_S)
    yield client, heard
    client.disconnect()
    client.loop_stop()


def test_packs_states_and_acknowledgements_pass_the_embedded_broker(
    broker_port: int, node: tuple[paho.Client, "queue.Queue[bytes]"], clock: SetClock
) -> None:
    client, heard = node
    items: queue.Queue[Item] = queue.Queue(1000)
    source = MqttSource(f"mqtt://collector@127.0.0.1:{broker_port}", clock, items, password=PASSWORDS["collector"])
    source.start()
    assert next_of(items, Status).node_key is None
    client.publish(f"proofing/{KEY}/status", b"online", 1, retain=True)
    known = next_of(items, Status)
    assert (known.node_key, known.is_online) == (KEY, True)
    for seq in range(1, 101):
        client.publish(f"proofing/{KEY}/pack", frame(seq), 1)
    waiting = set(range(1, 101))
    while waiting:
        got = next_of(items, Frame)
        seq = decode(got.data, got.node_key).seq
        got.acknowledge(acknowledgement("0a1b2c3d", seq))
        waiting.discard(seq)
    missing = {acknowledgement("0a1b2c3d", seq) for seq in range(1, 101)}
    while missing:
        missing.discard(heard.get(timeout=PATIENCE_S))
    source.stop()


def test_packs_sent_while_the_collector_was_away_are_not_kept_for_it(
    broker_port: int, node: tuple[paho.Client, "queue.Queue[bytes]"], clock: SetClock
) -> None:
    client, _ = node
    items: queue.Queue[Item] = queue.Queue(1000)
    url = f"mqtt://127.0.0.1:{broker_port}"
    first = MqttSource(url, clock, items, "collector", PASSWORDS["collector"])
    first.start()
    next_of(items, Status)
    client.publish(f"proofing/{KEY}/pack", frame(1), 1)
    next_of(items, Frame).acknowledge(acknowledgement("0a1b2c3d", 1))
    first.stop()
    client.publish(f"proofing/{KEY}/pack", frame(2), 1).wait_for_publish(PATIENCE_S)
    second = MqttSource(url, clock, items, "collector", PASSWORDS["collector"])
    second.start()
    next_of(items, Status)
    client.publish(f"proofing/{KEY}/pack", frame(3), 1)
    assert next_of(items, Frame).data == frame(3)
    second.stop()


def test_user_who_may_not_read_the_topics_is_told(
    broker_port: int, clock: SetClock, caplog: pytest.LogCaptureFixture
) -> None:
    items: queue.Queue[Item] = queue.Queue()
    source = MqttSource(f"mqtt://127.0.0.1:{broker_port}", clock, items, KEY, PASSWORDS[KEY])
    source.start()
    wait_until(lambda: "this user may not read" in caplog.text, "the refused subscription is explained")
    source.stop()
    assert items.empty()
