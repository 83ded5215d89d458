"""The broker that ``broker configure`` sets up, for real: each node is kept to itself, and strangers stay out."""

import queue
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from doors import ConfiguredBroker, commanded, configured_node
from harness import PATIENCE_S, wait_until
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from programs import BOOT, CollectorProcess, good_frame

from monitor.cli import main
from monitor.remote_access.broker import LARGEST_PACKET_BYTES
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import load_config
from monitor.sources.broker_probe import Answer, Try, tried
from monitor.wire.frames import acknowledgement, key_of


class Speaker:
    """A client that has logged in over TLS, and what it heard."""

    def __init__(
        self, broker: ConfiguredBroker, user: str, password: str, *, hears: str = "", client_id: str = ""
    ) -> None:
        self.heard: queue.Queue[tuple[str, bytes]] = queue.Queue()
        self.is_cut = threading.Event()
        self._is_ready = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id, protocol=MQTTProtocolVersion.MQTTv311)
        self.client.username_pw_set(user, password)
        self.client.tls_set(str(broker.ca))
        self.client.on_message = lambda _client, _data, message: self.heard.put((message.topic, bytes(message.payload)))
        self.client.on_disconnect = lambda *_: self.is_cut.set()
        self.client.on_subscribe = lambda *_: self._is_ready.set()
        self.client.on_connect = self._on_connect
        self._hears = hears
        self.client.connect_timeout = PATIENCE_S
        self.client.connect("localhost", broker.port)
        self.client.loop_start()
        assert self._is_ready.wait(PATIENCE_S)

    def _on_connect(self, client: paho.Client, *_: Any) -> None:
        if self._hears:
            client.subscribe(self._hears, 1)
        else:
            self._is_ready.set()

    def say(self, topic: str, payload: bytes) -> None:
        """Publish, once connected, and wait for the answer, which under MQTT 3.1.1 tells nothing of a refusal."""
        wait_until(self.client.is_connected, "the speaker is at the broker")
        self.client.publish(topic, payload, 1).wait_for_publish(PATIENCE_S)

    def leave(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory, mosquitto_program: str) -> Iterator[ConfiguredBroker]:
    broker = ConfiguredBroker(tmp_path_factory.mktemp("bakery"))
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def speaking(bakery: ConfiguredBroker) -> Iterator[Any]:
    speakers: list[Speaker] = []

    def speak(user: str, **more: str) -> Speaker:
        secrets = load_config(bakery.folder, {}).secrets
        passwords = dict(zip(bakery.keys, (bakery.one.mqtt_password, bakery.other.mqtt_password), strict=True))
        passwords["collector"] = secrets.mqtt_passwords[f"collector@localhost:{bakery.port}"]
        speakers.append(Speaker(bakery, user, passwords[user], **more))
        return speakers[-1]

    yield speak
    for speaker in speakers:
        speaker.leave()


def attempt(bakery: ConfiguredBroker, attempt: Try, scheme: str = "mqtts") -> Answer:
    return tried(MqttAddress("localhost", bakery.port, None, scheme), bakery.ca, attempt, PATIENCE_S)


def test_strangers_and_wrong_passwords_stay_out(bakery: ConfiguredBroker) -> None:
    assert attempt(bakery, Try()) is Answer.REFUSED
    assert attempt(bakery, Try(bakery.keys[0], "guessed")) is Answer.REFUSED
    assert attempt(bakery, Try(bakery.keys[0], bakery.other.mqtt_password)) is Answer.REFUSED
    assert attempt(bakery, Try(bakery.keys[0], bakery.one.mqtt_password)) is Answer.TAKEN


def test_nobody_speaks_without_tls_or_to_a_broker_that_is_not_ours(bakery: ConfiguredBroker) -> None:
    assert attempt(bakery, Try(bakery.keys[0], bakery.one.mqtt_password), "mqtt") is not Answer.TAKEN
    untrusting = tried(MqttAddress("localhost", bakery.port, None, "mqtts"), None, Try(), PATIENCE_S)
    assert untrusting is Answer.UNTRUSTED


def test_a_node_is_told_that_it_may_not_speak_as_another(bakery: ConfiguredBroker) -> None:
    one, other = bakery.keys
    for topic, answer in (
        (f"proofing/{one}/pack", Answer.TAKEN),
        (f"proofing/{one}/status", Answer.TAKEN),
        (f"proofing/{other}/pack", Answer.REFUSED),
        (f"proofing/{other}/status", Answer.REFUSED),
        (f"proofing/{one}/ack", Answer.REFUSED),
        (f"proofing/{other}/ack", Answer.REFUSED),
        ("anything/else", Answer.REFUSED),
    ):
        assert attempt(bakery, Try(one, bakery.one.mqtt_password, topic, 1)) is answer, topic


def test_what_a_node_says_as_another_reaches_nobody(bakery: ConfiguredBroker, speaking: Any) -> None:
    one, other = bakery.keys
    collector = speaking("collector", hears="proofing/+/pack")
    node = speaking(one)
    node.say(f"proofing/{other}/pack", b"as the other")
    node.say(f"proofing/{one}/pack", b"as itself")
    assert collector.heard.get(timeout=PATIENCE_S) == (f"proofing/{one}/pack", b"as itself")


def test_a_node_hears_only_its_own_acknowledgements(bakery: ConfiguredBroker, speaking: Any) -> None:
    one, other = bakery.keys
    curious = speaking(one, hears="proofing/#")
    collector = speaking("collector")
    collector.say(f"proofing/{other}/ack", b"for the other")
    collector.say(f"proofing/{one}/ack", b"for this one")
    assert curious.heard.get(timeout=PATIENCE_S) == (f"proofing/{one}/ack", b"for this one")


def test_a_node_cannot_cut_another_off_by_its_client_id(bakery: ConfiguredBroker, speaking: Any) -> None:
    one, other = bakery.keys
    steady = speaking(other, client_id=other, hears=f"proofing/{other}/ack")
    speaking(one, client_id=other)
    collector = speaking("collector")
    collector.say(f"proofing/{other}/ack", b"still there")
    assert steady.heard.get(timeout=PATIENCE_S) == (f"proofing/{other}/ack", b"still there")
    assert not steady.is_cut.is_set()


def test_packets_over_64_kib_are_refused_by_every_version(bakery: ConfiguredBroker, speaking: Any) -> None:
    one, password = bakery.keys[0], bakery.one.mqtt_password
    topic = f"proofing/{one}/pack"
    assert attempt(bakery, Try(one, password, topic, LARGEST_PACKET_BYTES + 1)) is Answer.REFUSED
    assert attempt(bakery, Try(one, password, topic, LARGEST_PACKET_BYTES - 200)) is Answer.TAKEN
    old = speaking(one)
    old.client.publish(topic, b"x" * (LARGEST_PACKET_BYTES + 1), 1)
    assert old.is_cut.wait(PATIENCE_S)


def test_readings_come_through_the_secured_broker_and_over_its_restart(bakery: ConfiguredBroker, speaking: Any) -> None:
    """The real collector, by the settings the command wrote; the node's own frames; nothing said by hand."""
    one, _ = bakery.keys

    def is_acknowledged(seq: int) -> bool:
        node.say(f"proofing/{one}/pack", good_frame(bakery.one.name, seq))  # again, as a node does
        try:
            return node.heard.get(timeout=2.0)[1] == acknowledgement(BOOT, seq)
        except queue.Empty:
            return False

    with CollectorProcess(bakery.folder) as collector:
        node = speaking(one, hears=f"proofing/{one}/ack")
        wait_until(lambda: is_acknowledged(1), "a reading is kept")
        node.say(f"proofing/{one}/pack", good_frame(bakery.other.name, 2))  # the other's name in its own topic
        node.leave()  # else it would come back too, and the broker lets in only one of a name
        bakery.stop()
        bakery.start()
        node = speaking(one, hears=f"proofing/{one}/ack")
        wait_until(lambda: is_acknowledged(3), "the collector has come back to the broker")
        with collector.open_store() as store:
            assert [row.node for row in store.nodes.all()] == [bakery.one.name]
            assert "name" in {fault.reason for fault in store.nodes.faults()}


def test_check_vouches_for_what_was_set_up(bakery: ConfiguredBroker) -> None:
    said = commanded("check", "--data-dir", bakery.folder)
    for right in (
        "turns strangers away",
        "keeps each node to its own topics",
        "refuses packets over 64 KiB",
        "broker files: nothing is open that should not be",
    ):
        assert any(right in line and line.startswith("ok") for line in said.splitlines()), said


def test_check_finds_a_broker_that_was_opened_by_hand(
    tmp_path: Path, mosquitto_program: str, capsys: pytest.CaptureFixture[str]
) -> None:
    broker = ConfiguredBroker(tmp_path)
    text = broker.settings.read_text().replace("allow_anonymous false", "allow_anonymous true")
    text = "\n".join(line for line in text.splitlines() if not line.startswith(("acl_file", "max_packet", "use_user")))
    broker.settings.write_text(text + "\n")
    configured_node(tmp_path, "tub-3", broker.port)  # the broker was not told of it
    (tmp_path / "broker" / "passwords").chmod(0o644)
    broker.start()
    assert main(["check", "--data-dir", str(tmp_path)]) == 1
    broker.stop()
    said = capsys.readouterr().out
    for wrong in (
        "lets in anybody without a password",
        "lets one node speak as another",
        "takes packets over 64 KiB",
        "allow_anonymous is true",
        "acl_file is not set",
        "max_packet_size is not set",
        "is not known to it",
        "chmod 600",
    ):
        assert any(wrong in line and line.startswith("WRONG") for line in said.splitlines()), (wrong, said)


def test_configuring_again_adds_a_node_and_changes_nobodys_password(tmp_path: Path, mosquitto_program: str) -> None:
    broker = ConfiguredBroker(tmp_path)
    secrets = (tmp_path / "secrets.toml").read_text()
    third = configured_node(tmp_path, "tub-3", broker.port)
    assert "node tub-3: may speak as" in commanded("broker", "configure", "--data-dir", tmp_path)
    assert (tmp_path / "secrets.toml").read_text() == secrets
    broker.start()
    assert attempt(broker, Try(key_of(third.name), third.mqtt_password)) is Answer.TAKEN
    assert attempt(broker, Try(broker.keys[0], broker.one.mqtt_password)) is Answer.TAKEN
    broker.stop()
