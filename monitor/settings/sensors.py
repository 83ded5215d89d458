"""Devices that are no nodes of ours: which number of which MQTT topic is which reading.

.. code-block:: toml

    [[sensor]]
    topic = "house/cellar/state"      # "+" stands for one level, "#" at the end for all that follow
    pointer = "/temperature"          # JSON pointer (RFC 6901); left out: the payload is the number itself
    channel = "air"                   # air, humidity, dough or distance
    unit = "Cel"                      # Cel, K or F; %RH, / or /100; m, mm or cm
    place = "cabinet-2"               # where it stands, as in [places]
    node = "urn:dev:topic:cellar"     # whose reading it is; left out: each topic is a node of its own
"""

from collections.abc import Mapping
from typing import Any

from monitor.errors import ConfigError, message_of_error
from monitor.recipe.toml_tables import NODE_NAME
from monitor.settings.places import Place, place_within
from monitor.settings.toml_file import unknown_keys
from monitor.translatable import Translatable
from monitor.wire.foreign import ForeignSensor, node_of_topic
from monitor.wire.frames import UNITS
from monitor.wire.readings import NodeId
from monitor.wire.units import units_for

CHANNELS = ("air", "humidity", "dough", "distance")
KEYS = ("topic", "pointer", "channel", "unit", "place", "node")
FAHRENHEIT, FAHRENHEIT_ON_WIRE = "F", "degF"  # to SenML, F is the farad
MOST_BYTES = 200  # judgement: of a topic
OWN_ROOTS = ("proofing", "sites")


def units_of(channel: str) -> tuple[str, ...]:
    """The units that a channel may be given in, as the settings name them; its own first.

    >>> units_of("air")
    ('Cel', 'K', 'F')
    """
    return tuple(FAHRENHEIT if unit == FAHRENHEIT_ON_WIRE else unit for unit in units_for(UNITS[channel]))


def sensors_from(value: object, site: str) -> tuple[tuple[ForeignSensor, ...], dict[NodeId, Place], list[str]]:
    """The sensors of the settings' tables ``[[sensor]]``, where they stand, and what is wrong with them."""
    if not isinstance(value, list) or not all(isinstance(each, Mapping) for each in value):
        return (), {}, [Translatable("sensor must be tables: [[sensor]], and below it topic, channel and unit")]
    found: list[ForeignSensor] = []
    places: dict[NodeId, Place] = {}
    faults: list[str] = []
    for number, table in enumerate(value, 1):
        wrong = [*unknown_keys(table, KEYS), *_faults(table)]
        if not wrong:
            sensor = _sensor(table)
            found.append(sensor)
            if "place" in table:
                try:
                    places[sensor.node or node_of_topic(sensor.topic)] = place_within(site, table["place"])
                except ConfigError as err:
                    wrong.append(message_of_error(err))
        faults += [Translatable("[[sensor]] number {number}: {fault}", number=number, fault=fault) for fault in wrong]
    return tuple(found), places, faults


def _sensor(table: Mapping[str, Any]) -> ForeignSensor:
    unit = FAHRENHEIT_ON_WIRE if table["unit"] == FAHRENHEIT else table["unit"]
    node = None if "node" not in table else NodeId(table["node"])
    return ForeignSensor(table["topic"], table.get("pointer"), table["channel"], unit, node)


def _faults(table: Mapping[str, Any]) -> list[str]:
    """What is wrong with one table."""
    for key in KEYS:
        if key in table and not isinstance(table[key], str):
            return [Translatable('{key} must be a text in quotes, such as {key} = "..."', key=key)]
    missing = [key for key in ("topic", "channel", "unit") if key not in table]
    if missing:
        return [Translatable("{key} is missing", key=key) for key in missing]
    topic, pointer, channel, node = table["topic"], table.get("pointer", ""), table["channel"], table.get("node")
    faults: list[str] = []
    levels = topic.split("/")
    if not topic or len(topic.encode()) > MOST_BYTES or any(ord(sign) < 32 for sign in topic):
        faults.append(Translatable("topic {topic!r}: must have 1 to {most} bytes", topic=topic, most=MOST_BYTES))
    elif "#" in levels[:-1] or any(sign in level and sign != level for level in levels for sign in "+#"):
        faults.append(
            Translatable("topic {topic!r}: + and # stand for whole levels, and # is the last one", topic=topic)
        )
    elif levels[0] in ("+", "#", *OWN_ROOTS):
        faults.append(
            Translatable(
                "topic {topic!r}: its first level must be a name, and none of {own}, which nodes speak on",
                topic=topic,
                own=", ".join(OWN_ROOTS),
            )
        )
    if pointer and (not pointer.startswith("/") or "~" in pointer.replace("~0", "").replace("~1", "")):
        faults.append(
            Translatable(
                "pointer {pointer!r}: a JSON pointer looks like /temperature or /outside/0; "
                "~ is written ~0 in it, and / in a name ~1",
                pointer=pointer,
            )
        )
    if channel not in CHANNELS:
        faults.append(
            Translatable("channel {channel!r}: must be one of {known}", channel=channel, known=", ".join(CHANNELS))
        )
    elif table["unit"] not in units_of(channel):
        faults.append(
            Translatable(
                "unit {unit!r}: {channel} must be in one of {known}",
                unit=table["unit"],
                channel=channel,
                known=", ".join(units_of(channel)),
            )
        )
    if node is not None and not NODE_NAME.fullmatch(node):
        faults.append(Translatable("node {node!r}: a node's name looks like urn:dev:topic:cellar", node=node))
    if "place" in table and node is None and ("+" in levels or "#" in levels):
        faults.append(
            Translatable("place: {topic!r} may be several devices; name each under [places], or give node", topic=topic)
        )
    return faults
