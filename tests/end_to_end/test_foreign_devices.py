"""Devices that are no nodes of ours at a real broker: what four kinds of payload say becomes one forecast."""

import json
import math
import queue
import threading
from collections.abc import Iterator
from datetime import UTC, timedelta
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from collector_bench import StepClock, batch
from harness import PATIENCE_S, Mosquitto, next_of, wait_until
from programs import run_program

from monitor.alerts.dough import Rules
from monitor.collector.loop import Collector
from monitor.dough.forecast import outlook
from monitor.dough.outlook import State
from monitor.settings.config import load_config
from monitor.sources.intake import Foreign, Item, Status
from monitor.sources.mqtt import MqttSource
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId
from monitor.wording.reader import Reader

SENSORS = """
[[sensor]]
topic = "house/cellar/thermometer"
channel = "air"
unit = "F"
[[sensor]]
topic = "house/cellar/climate"
pointer = "/humidity"
channel = "humidity"
unit = "%RH"
[[sensor]]
topic = "bridge/+/state"
pointer = "/readings/0/range~1mm"
channel = "distance"
unit = "mm"
"""
PROBE = "urn:dev:ow:10e2073a01080063"
CHANNELS = (
    (Channel.AIR_TEMP, NodeId("urn:dev:topic:house:cellar:thermometer")),
    (Channel.HUMIDITY, NodeId("urn:dev:topic:house:cellar:climate")),
    (Channel.DISTANCE, NodeId("urn:dev:topic:bridge:tub:state")),
    (Channel.DOUGH_TEMP, NodeId(PROBE)),
)
EMPTY_MM, START_MM, GROWN_MM = 300.0, 70.0, 90.0


def said(minute: int) -> dict[str, str]:
    """What each device says at a minute: 26 C, 75 %, and a dough that has risen by half after ninety minutes."""
    height_mm = START_MM + GROWN_MM / (1.0 + math.exp(-(minute - 110) / 25.0))
    flicker_mm = (minute * 7 % 5 - 2) / 10.0
    return {
        "house/cellar/thermometer": "78.8",
        "house/cellar/climate": json.dumps({"humidity": "75.0", "battery": 88}),
        "bridge/tub/state": json.dumps({"readings": [{"range/mm": round(EMPTY_MM - height_mm + flicker_mm, 1)}]}),
        "proofing/ow-10e2073a01080063/senml": json.dumps(
            [
                {"bn": f"{PROBE}:", "n": "dough", "u": "K", "v": 299.15},
                {"n": "voltage", "u": "V", "v": 3.1},
            ]
        ),
    }


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    (tmp_path / "config.toml").write_text(SENSORS)
    return tmp_path


@pytest.fixture
def inbox() -> "queue.Queue[Item]":
    return queue.Queue(1000)


@pytest.fixture
def clock() -> StepClock:
    return StepClock()


@pytest.fixture
def source(settings: Path, mosquitto: Mosquitto, clock: StepClock, inbox: "queue.Queue[Item]") -> Iterator[MqttSource]:
    topics = [sensor.topic for sensor in load_config(settings, {}).sensors]
    made = MqttSource(mosquitto.url, clock, inbox, topics=topics)
    made.start()
    assert next_of(inbox, Status).is_online
    yield made
    made.stop()


@pytest.mark.usefixtures("source")
def test_four_kinds_of_payload_become_a_forecast(
    settings: Path, publisher: paho.Client, clock: StepClock, inbox: "queue.Queue[Item]", store: Store
) -> None:
    running = store.batches.add(batch(nodes=CHANNELS))
    sensors = load_config(settings, {}).sensors
    collector = Collector(store, inbox, clock, outlook, rules=Rules(), reader=Reader(UTC), sensors=sensors)
    for minute in range(101):
        for topic, payload in said(minute).items():
            publisher.publish(topic, payload)
        wait_until(lambda: inbox.qsize() == 4, "the four payloads are through the broker")
        collector.take_frames(0.0)
        clock.second += 60.0
        if minute % 10 == 0:
            collector.turn(0.0)
        clock.advance(minutes=1)
    clock.second += 60.0
    collector.turn(0.0)
    assert {reading.channel for reading in store.readings.of(running)} == {channel for channel, _ in CHANNELS}
    found = store.outlooks.latest(running.id)
    assert found is not None
    assert found.state is State.RISING
    assert (found.air_temp_c, found.humidity_pct) == (pytest.approx(26.0), pytest.approx(75.0))
    assert found.dough_temp_c == pytest.approx(26.0)
    # from 71.1 to 106.1 mm in a tub that widens from 180 to 210 mm over 250: its volume has grown by 53 %
    assert found.rise_pct is not None
    assert found.rise_pct.p05 < 53.0 < found.rise_pct.p95
    assert found.ready.p50 is not None
    assert timedelta(minutes=-5) < found.ready.p50 - clock.now() < timedelta(hours=1)
    assert [(each.node, each.reason, each.count, each.about) for each in store.nodes.faults()] == [
        (PROBE, "channel", 101, f"{PROBE}:voltage")
    ]
    assert {row.node: row.is_online for row in store.nodes.all()} == dict.fromkeys(dict(CHANNELS).values(), True)


@pytest.mark.usefixtures("source")
def test_what_the_broker_has_kept_is_of_no_known_moment(
    settings: Path, mosquitto: Mosquitto, publisher: paho.Client, clock: StepClock
) -> None:
    kept = publisher.publish("house/cellar/thermometer", "99", 1, retain=True)
    kept.wait_for_publish(PATIENCE_S)
    later: queue.Queue[Item] = queue.Queue(100)
    topics = [sensor.topic for sensor in load_config(settings, {}).sensors]
    second = MqttSource(mosquitto.url, clock, later, client_id="second", topics=topics)
    second.start()
    assert next_of(later, Status).is_online
    publisher.publish("house/cellar/thermometer", "78.8", 1)
    assert next_of(later, Foreign).data == b"78.8"
    second.stop()


def test_what_is_wrong_is_listed_with_its_mend_and_the_newest_first(
    settings: Path, source: MqttSource, publisher: paho.Client, clock: StepClock, inbox: "queue.Queue[Item]"
) -> None:
    with Store(load_config(settings, {}).database) as store:
        sensors = load_config(settings, {}).sensors
        collector = Collector(store, inbox, clock, outlook, rules=Rules(), reader=Reader(UTC), sensors=sensors)
        for topic, payload in (
            ("house/cellar/thermometer", "warm"),
            ("house/cellar/climate", '{"rh": 75}'),
            ("bridge/tub/state", "off"),
        ):
            publisher.publish(topic, payload)
            wait_until(lambda: not inbox.empty(), "it is through the broker")
            collector.take_frames(0.0)
            clock.advance(minutes=1)
        assert [fault.reason for fault in store.nodes.faults()] == ["payload", "pointer", "value"]
    source.stop()
    lines = run_program("check", "--data-dir", settings).stdout.splitlines()
    begun = next(at for at, line in enumerate(lines) if "could not be used" in line)
    assert "topic:bridge:tub:state  no JSON (1)" in lines[begun + 1]
    assert "topic:house:cellar:climate  nothing stands at that JSON pointer: /humidity (1)" in lines[begun + 3]
    assert "mend `pointer` under [[sensor]] in config.toml" in lines[begun + 4]
    assert "topic:house:cellar:thermometer  no number (1)" in lines[begun + 5]


def test_discovery_hears_strangers_and_proposes_tables_that_load(
    tmp_path: Path, mosquitto: Mosquitto, publisher: paho.Client
) -> None:
    stop = threading.Event()

    def talk() -> None:
        while not stop.wait(0.2):
            publisher.publish("cellar/meter", '{"in": {"temp_f": 70.5, "humidity": "61"}, "link": 90}')
            publisher.publish("cellar/tub/distance_cm", "21.2")
            publisher.publish("proofing/mac-020000fffe5e0001/pack", "@not for it")

    talking = threading.Thread(target=talk)
    talking.start()
    try:
        done = run_program("node", "discover", "--mqtt", mosquitto.url, "--for", "2s", "--data-dir", tmp_path)
    finally:
        stop.set()
        talking.join()
    assert done.returncode == 0, done.stderr
    assert "cellar/tub/distance_cm  21.2" in done.stdout
    assert "proofing/" not in done.stdout.split("what might be readings")[0].partition("\n")[2]
    (tmp_path / "config.toml").write_text(done.stdout[done.stdout.index("[[sensor]]") :])
    found = {(each.topic, each.pointer, each.name, each.unit) for each in load_config(tmp_path, {}).sensors}
    assert found == {
        ("cellar/meter", "/in/temp_f", "air", "degF"),
        ("cellar/meter", "/in/humidity", "humidity", "%RH"),
        ("cellar/tub/distance_cm", None, "distance", "cm"),
    }
