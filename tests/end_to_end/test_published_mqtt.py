"""What other programs read at a real broker, as ``broker configure`` sets it up: by the schema alone, and to read."""

import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import jinja2
import jsonschema
import paho.mqtt.client as paho
import pytest
from doors import ConfiguredBroker, commanded
from harness import PATIENCE_S, SetClock, free_port, wait_until
from paho.mqtt.enums import CallbackAPIVersion
from programs import CollectorProcess

from monitor.alerts.troubles import OthersToldNothing
from monitor.clock import Clock, SystemClock
from monitor.demo import example
from monitor.dough.outlook import Outlook
from monitor.published import mqtt
from monitor.published.checks import looked_at_publisher
from monitor.published.mqtt import Publisher
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.publish import Publish
from monitor.sources.broker_probe import Answer, Try, tried
from monitor.store.store import Store
from monitor.wording.reader import Reader

MORNING = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)
DATA = Path(__file__).parents[1] / "data"
STATES = json.loads((DATA / "states-schema.json").read_text(encoding="utf-8"))
SENSOR = json.loads((DATA / "discovery-sensor-schema.json").read_text(encoding="utf-8"))


class Subscriber:
    """A program of somebody else's: it knows the topics, the user's password, and the schema's file."""

    def __init__(self, broker: ConfiguredBroker) -> None:
        self.now: dict[str, Any] = {}  # what stands at the broker
        self.told: list[tuple[str, Any]] = []
        self.faults: list[str] = []
        self._validators = {name: self._validator(name) for name in ("BatchState", "MonitorState")}
        self._has_subscribed = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2, "any", protocol=paho.MQTTv311)
        self.client.username_pw_set("reader", password_of(broker, "reader"))
        self.client.tls_set(str(broker.ca))
        self.client.on_connect = lambda client, *_: client.subscribe([("doughs/#", 1), ("homeassistant/#", 1)])
        self.client.on_subscribe = lambda *_: self._has_subscribed.set()
        self.client.on_message = self._on_message
        self.client.connect("localhost", broker.port)
        self.client.loop_start()
        assert self._has_subscribed.wait(PATIENCE_S)

    @staticmethod
    def _validator(name: str) -> jsonschema.Draft202012Validator:
        return jsonschema.Draft202012Validator({"$ref": f"#/$defs/{name}", **STATES})

    def _on_message(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        if not message.payload:
            self.now.pop(message.topic, None)
            self.told.append((message.topic, None))
            return
        found = json.loads(message.payload)
        if message.topic.endswith("/config"):
            validator = jsonschema.Draft202012Validator(SENSOR)
        else:
            validator = self._validators["MonitorState" if message.topic.endswith("/monitor") else "BatchState"]
        self.faults += [f"{message.topic}: {error.message}" for error in validator.iter_errors(found)]
        self.now[message.topic] = found
        self.told.append((message.topic, found))

    def batches(self) -> dict[str, Any]:
        return {topic: found for topic, found in self.now.items() if "/batch/" in topic}

    def leave(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def password_of(broker: ConfiguredBroker, user: str) -> str:
    return load_config(broker.folder, {}).secrets.mqtt_passwords[f"{user}@localhost:{broker.port}"]


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory, mosquitto_program: str) -> Iterator[ConfiguredBroker]:
    broker = ConfiguredBroker(tmp_path_factory.mktemp("bakery"))
    settings = broker.folder / "config.toml"
    told = f'mqtt = "mqtts://publisher@localhost:{broker.port}"\ndiscovery = "homeassistant"\n'
    settings.write_text(f"{settings.read_text()}\n[publish]\n{told}")
    commanded("broker", "configure", "--data-dir", broker.folder)  # lets in who looks for descriptions
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def subscriber(bakery: ConfiguredBroker) -> Iterator[Subscriber]:
    found = Subscriber(bakery)
    yield found
    found.leave()


def publisher_at(bakery: ConfiguredBroker, store: Store, clock: Clock, password: str = "") -> Publisher:
    """As the collector makes it."""
    config = load_config(bakery.folder, {})
    assert config.publish.mqtt is not None
    return Publisher(
        store.path,
        config.publish.mqtt,
        password or config.secrets.password_for(config.publish.mqtt),
        config.site,
        clock,
        is_well=lambda: True,
        reader=config.reader,
        discovery=config.publish.discovery,
        ca_file=config.mqtt_ca_file,
    )


def attempt(bakery: ConfiguredBroker, user: str, password: str, topic: str) -> Answer:
    config = load_config(bakery.folder, {})
    address = config.publish.mqtt
    assert address is not None
    return tried(address, bakery.ca, Try(user, password, topic, 1), PATIENCE_S)


def test_a_reader_and_the_nodes_can_write_nothing_there(bakery: ConfiguredBroker) -> None:
    reader, node = password_of(bakery, "reader"), bakery.one.mqtt_password
    publisher = password_of(bakery, "publisher")
    described = "homeassistant/sensor/proofing-home/1-rise/config"
    for user, password, topic, answer in (
        ("publisher", publisher, "doughs/home/monitor", Answer.TAKEN),
        ("publisher", publisher, described, Answer.TAKEN),
        ("publisher", publisher, f"proofing/{bakery.keys[0]}/ack", Answer.REFUSED),
        ("publisher", publisher, "homeassistant/switch/oven/config", Answer.REFUSED),
        ("reader", reader, "doughs/home/batch/1", Answer.REFUSED),
        ("reader", reader, "doughs/home/monitor", Answer.REFUSED),
        ("reader", reader, described, Answer.REFUSED),
        ("reader", reader, "proofing/reader/pack", Answer.REFUSED),
        (bakery.keys[0], node, "doughs/home/batch/1", Answer.REFUSED),
        (bakery.keys[0], node, described, Answer.REFUSED),
    ):
        assert attempt(bakery, user, password, topic) is answer, (user, topic)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Batch, list[Outlook]]]:
    """The doughs of the demo's morning with what its collector made of them, one after the other."""
    folder = tmp_path_factory.mktemp("lived")
    example.unpack(folder)
    with Store(folder / DATABASE_NAME) as store:
        batches = [batch for batch in store.batches.all() if batch.started_at.date() == MORNING.date()]
        return [(batch, store.outlooks.of(batch.id)) for batch in batches]


def test_a_subscriber_with_the_schema_alone_follows_a_day_until_its_doughs_are_taken(
    bakery: ConfiguredBroker,
    subscriber: Subscriber,
    lived: list[tuple[Batch, list[Outlook]]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(mqtt, "TURN_S", 0.01)
    clock = SetClock(MORNING)

    def is_told(topic: str, at: datetime) -> bool:
        said = subscriber.now.get(topic, {}).get("at")
        return said is not None and datetime.fromisoformat(said) == at

    with Store(tmp_path / DATABASE_NAME) as store:
        publisher = publisher_at(bakery, store, clock)
        publisher.start()
        running = {}
        for batch, outlooks in lived:
            kept = store.batches.add(replace(batch, events=(), ended_at=None))
            running[f"doughs/home/batch/{kept.id}"] = (kept.id, {each.at: each for each in outlooks})
        for at in sorted({each.at for _, outlooks in lived for each in outlooks}):
            clock.put(at)
            for topic, (number, course) in running.items():
                if at in course:
                    store.save_step(number, course[at], (), ())
                    wait_until(partial(is_told, topic, at), f"{topic} is told as it is at {at}")
        described = [found for topic, found in subscriber.now.items() if topic.startswith("homeassistant/")]
        for topic, (number, _) in running.items():
            store.batches.add_event(number, Event(clock.now(), EventKind.END))
            wait_until(lambda topic=topic: topic not in subscriber.now, "a dough that was taken is gone")
        publisher.stop()
    wait_until(lambda: subscriber.now["doughs/home/monitor"]["state"] == "gone", "the good-bye is heard")
    assert subscriber.faults == []
    assert set(subscriber.now) == {"doughs/home/monitor"}, "what described their sensors is gone with them"
    said = {topic: [found for at, found in subscriber.told if at == topic and found] for topic in running}
    for course in said.values():
        rises = [each["rise_pct"]["p50"] for each in course if each["rise_pct"] is not None]
        assert max(rises) > rises[0] + 30.0
    assert {"rising", "ready", "past_peak"} <= {each["state"] for course in said.values() for each in course}
    assert {each["state_topic"] for each in described} == set(said)
    for each in described:
        told = said[each["state_topic"]][-1]
        template = jinja2.Template(each["value_template"])
        value = template.render(value_json=told)
        if each["name"] == "Rise":
            assert float(value) == told["rise_pct"]["p50"]
        elif each["name"] == "Ready":
            assert datetime.fromisoformat(value) == datetime.fromisoformat(told["ready"]["p50"])
        nothing = template.render(value_json=dict.fromkeys(told))
        assert nothing == "None", "such programs take it for unknown"


def test_a_collector_that_is_killed_is_gone_by_its_last_will_and_tidies_up_when_it_is_back(
    bakery: ConfiguredBroker, subscriber: Subscriber
) -> None:
    tub = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0)
    with Store(bakery.folder / DATABASE_NAME) as store:
        batch = store.batches.add(Batch(BatchId(0), "Plain tub", Stage.FIRST_RISE, datetime.now(UTC), tub))
    topic, monitor = f"doughs/home/batch/{batch.id}", "doughs/home/monitor"

    def work() -> str | None:
        return subscriber.now.get(monitor, {}).get("state")

    collector = CollectorProcess(bakery.folder)
    try:
        collector.__enter__()
        wait_until(lambda: topic in subscriber.now and work() == "at work", "the dough is told")
    finally:
        collector.kill()
    wait_until(lambda: work() == "gone", "the broker says the last will")
    assert subscriber.now[monitor]["at"] is None
    assert subscriber.now[topic]["name"] == "Plain tub"
    with Store(bakery.folder / DATABASE_NAME) as store:
        store.batches.add_event(batch.id, Event(datetime.now(UTC), EventKind.END))
        publisher = publisher_at(bakery, store, SystemClock())
        publisher.start()
        wait_until(lambda: topic not in subscriber.now and work() == "at work", "what was kept is taken away")
        publisher.stop()
    wait_until(lambda: work() == "gone", "the good-bye is heard")
    assert not subscriber.batches()
    assert not [at for at in subscriber.now if at.startswith("homeassistant/")]
    assert subscriber.faults == []


def test_a_log_in_that_the_broker_refuses_is_a_trouble(bakery: ConfiguredBroker, store: Store) -> None:
    publisher = publisher_at(bakery, store, SystemClock(), password="guessed")
    assert list(publisher.troubles()) == []
    publisher.start()
    wait_until(lambda: list(publisher.troubles()) != [], "it is noticed")
    publisher.stop()
    (symptom,) = publisher.troubles()
    assert isinstance(symptom.trouble, OthersToldNothing)
    assert "publisher@localhost" in symptom.trouble.url


def looked_at(bakery: ConfiguredBroker, **changes: Any) -> tuple[str, str | None]:
    """What `check` says of the publisher's log-in, and what it says to do."""
    (found,) = looked_at_publisher(replace(load_config(bakery.folder, {}), **changes))
    return str(found.what), None if found.mend is None else str(found.mend)


def test_a_line_that_goes_while_it_says_good_bye_does_not_keep_the_publisher_from_ending(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As where collector and broker are stopped together."""
    address = MqttAddress("127.0.0.1", free_port(), None)
    publisher = Publisher(store.path, address, "", "home", SystemClock(), is_well=lambda: True, reader=Reader(UTC))
    publisher.start()
    monkeypatch.setattr(paho.Client, "is_connected", lambda _: True)  # it was, when it was asked
    publisher.stop()


def test_check_tries_the_log_in_by_which_others_are_told(bakery: ConfiguredBroker, subscriber: Subscriber) -> None:
    what, mend = looked_at(bakery)
    assert "lets in publisher, who tells other programs" in what
    assert mend is None
    config = load_config(bakery.folder, {})
    known = config.secrets.mqtt_passwords
    guessed = replace(config.secrets, mqtt_passwords=dict.fromkeys(known, "guessed"))
    what, mend = looked_at(bakery, secrets=guessed)
    assert "does not let in publisher, so other programs are told nothing" in what
    assert mend is not None
    assert "broker configure" in mend
    address = config.publish.mqtt
    assert address is not None
    as_reader = replace(config.publish, mqtt=replace(address, user="reader"))
    what, mend = looked_at(bakery, publish=as_reader)
    assert "reader may not write doughs/#" in what
    assert mend is not None
    what, _ = looked_at(bakery, mqtt_ca_file=None)
    assert "its certificate is not trusted" in what
    what, _ = looked_at(bakery, publish=replace(config.publish, mqtt=replace(address, port=free_port())))
    assert "does not answer, so other programs are told nothing" in what
    assert list(looked_at_publisher(replace(config, publish=Publish()))) == []
    assert subscriber.faults == []
    assert not any("/batch/0" in topic for topic in subscriber.now)


def test_check_leaves_the_log_in_of_a_collector_at_work_alone(bakery: ConfiguredBroker, subscriber: Subscriber) -> None:
    with CollectorProcess(bakery.folder):
        wait_until(lambda: subscriber.now.get("doughs/home/monitor", {}).get("state") == "at work", "it is told")
        told = len(subscriber.told)
        what, mend = looked_at(bakery)
        assert "not tried as publisher" in what
        assert mend is None
        assert all(found["state"] == "at work" for _, found in subscriber.told[told:] if found)
    assert "lets in publisher" in commanded("check", "--data-dir", bakery.folder)
