"""Readings of devices that are no nodes of ours: payloads of four styles, and what is wrong with others."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from monitor.errors import WireError
from monitor.recipe.toml_tables import NODE_NAME
from monitor.wire.foreign import ForeignSensor, node_of_topic
from monitor.wire.frames import unframed
from monitor.wire.readings import NO_BOOT, Channel, Flag, NodeId

NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
STATE = json.dumps({"link": 91, "t": {"in/out": [21.5, "8.25"], "~": -1}, "RH": "61.0", "on": True})
NODE = NodeId("urn:dev:mac:020000fffe5e0001")


def sensor(pointer: str | None, unit: str = "Cel", name: str = "air") -> ForeignSensor:
    return ForeignSensor("house/+/state", pointer, name, unit)


@pytest.mark.parametrize(
    ("asked", "payload", "value"),
    [
        pytest.param(sensor(None), "21.5", 21.5, id="plain"),
        pytest.param(sensor(None, "degF"), " 70.7\n", 21.5, id="Fahrenheit"),
        pytest.param(sensor(None, "K"), "294.65", 21.5, id="kelvin"),
        pytest.param(sensor("/t/in~1out/0"), STATE, 21.5, id="nested, a slash in its key"),
        pytest.param(sensor("/t/in~1out/1"), STATE, 8.25, id="of a list, in quotes"),
        pytest.param(sensor("/t/~0"), STATE, -1.0, id="a tilde in its key"),
        pytest.param(sensor("/RH", "%RH", "humidity"), STATE, 61.0, id="a number in quotes"),
        pytest.param(sensor(""), "21.5", 21.5, id="the whole of a JSON text"),
        pytest.param(sensor(None, "cm", "distance"), "+.5e2", 500.0, id="centimetres"),
    ],
)
def test_a_number_is_found_where_it_stands_and_converted(asked: ForeignSensor, payload: str, value: float) -> None:
    got = asked.reading("house/cellar/state", payload.encode(), NOW)
    assert got.value == pytest.approx(value, abs=1e-6)
    assert (got.node, got.boot) == ("urn:dev:topic:house:cellar:state", NO_BOOT)
    assert (got.measured_at, got.arrived_at, got.flag) == (NOW, NOW, Flag.OK)


@pytest.mark.parametrize(
    ("asked", "payload", "reason", "about"),
    [
        pytest.param(sensor(None), "", "value", "", id="nothing"),
        pytest.param(sensor(None), "warm", "value", "", id="a word"),
        pytest.param(sensor(None), "nan", "value", "", id="no number"),
        pytest.param(sensor(None), "1e999", "value", "", id="infinite"),
        pytest.param(sensor(None), "ÿ\x00", "value", "", id="bytes"),
        pytest.param(sensor("/t"), "{", "payload", "", id="half a JSON text"),
        pytest.param(sensor("/t"), "[" * 5000, "payload", "", id="nested without end"),
        pytest.param(sensor("/temp"), STATE, "pointer", "/temp", id="another key"),
        pytest.param(sensor("/t/in~1out/2"), STATE, "pointer", "/t/in~1out/2", id="beyond a list"),
        pytest.param(sensor("/t/in~1out/00"), STATE, "pointer", "/t/in~1out/00", id="no index of a list"),
        pytest.param(sensor("/t"), STATE, "value", "/t", id="an object"),
        pytest.param(sensor("/on"), STATE, "value", "/on", id="true"),
        pytest.param(sensor(None, "V"), "21.5", "unit", "V", id="a unit that is no temperature"),
    ],
)
def test_what_is_no_number_is_refused_with_its_reason(
    asked: ForeignSensor, payload: str, reason: str, about: str
) -> None:

    with pytest.raises(WireError) as refused:
        asked.reading("house/cellar/state", payload.encode(), NOW)
    assert (refused.value.reason, refused.value.about) == (reason, about)


@pytest.mark.parametrize(
    ("filter_", "topic", "is_taken"),
    [
        ("a/b", "a/b", True),
        ("a/b", "a/b/c", False),
        ("a/+", "a/b", True),
        ("a/+", "a", False),
        ("a/+/c", "a//c", True),
        ("a/#", "a", True),
        ("a/#", "a/b/c", True),
        ("a/#", "ab", False),
    ],
)
def test_filters_fit_as_the_standard_of_mqtt_has_it(filter_: str, topic: str, is_taken: bool) -> None:
    assert ForeignSensor(filter_, None, "air", "Cel").takes(topic) is is_taken


def test_topics_that_differ_are_nodes_that_differ() -> None:
    topics = ("a/b", "a:b", "a b", "a_b", "a.5fb", "a//b", "a/b/", "/a/b", "ä")
    nodes = [node_of_topic(topic) for topic in topics]
    assert len(set(nodes)) == len(topics)
    long = [node_of_topic("a/" + "ä" * 300 + end) for end in "xy"]
    assert long[0] != long[1]
    assert all(NODE_NAME.fullmatch(node) for node in (*nodes, *long))


def records(*found: dict[str, Any]) -> bytes:
    return json.dumps(found).encode()


def test_senml_without_a_frame_gives_every_record_that_is_known_with_its_own_moment() -> None:
    first_s = NOW.timestamp() - 60.0
    got, refused = unframed(
        records(
            {"bn": "urn:dev:ow:10e2073a01080063:", "bt": first_s, "bu": "K", "n": "dough", "v": 298.15},
            {"n": "dough", "t": 30, "v": 298.25},
            {"n": "inside.distance", "u": "mm", "v": 212.4},
            {"n": "voltage", "u": "V", "v": 120},
            {"n": "air", "u": "Cel", "vs": "warm"},
            {"n": "humidity", "u": "%RH", "t": 90, "v": 60},
        ),
        NODE,
        NOW,
    )
    begun = NOW - timedelta(seconds=60)
    assert [(each.channel, each.value, each.measured_at - begun) for each in got] == [
        (Channel.DOUGH_TEMP, 25.0, timedelta()),
        (Channel.DOUGH_TEMP, 25.1, timedelta(seconds=30)),
        (Channel.DISTANCE, 212.4, timedelta()),
    ]
    assert [(each.reason, each.about) for each in refused] == [
        ("channel", "urn:dev:ow:10e2073a01080063:voltage"),
        ("value", "air"),
        ("time", ""),
    ]


def test_the_same_senml_twice_is_the_same_readings() -> None:
    sent = records({"bn": "x/", "bt": NOW.timestamp(), "n": "air", "u": "Cel", "v": 25})
    (once,), _ = unframed(sent, NODE, NOW)
    (again,), _ = unframed(sent, NODE, NOW + timedelta(seconds=5))
    assert (once.node, once.boot, once.seq, once.channel) == (again.node, again.boot, again.seq, again.channel)


@pytest.mark.parametrize("payload", [b"", b"21.5", b"{}", b"[]", b"[" * 100, b"\xff"])
def test_what_is_no_senml_is_refused_whole(payload: bytes) -> None:
    with pytest.raises(WireError) as refused:
        unframed(payload, NODE, NOW)
    assert refused.value.reason == "senml"
