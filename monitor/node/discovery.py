"""What is said at a broker by devices that are no nodes of ours, and which of it might be readings."""

import itertools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import tomlkit
from paho.mqtt.enums import CallbackAPIVersion

from monitor.clock import Clock
from monitor.errors import SourceError, WireError
from monitor.settings.brokers import MqttAddress
from monitor.settings.sensors import FAHRENHEIT, OWN_ROOTS
from monitor.sources.tls import connect
from monitor.wire.foreign import is_number, json_of, numbers_in
from monitor.wire.frames import UNITS

MOST_TOPICS = 1000  # judgement: a large house; what speaks on more is not looked through by hand
MOST_NUMBERS = 200  # judgement: numbers of one payload
KEPT_BYTES = 16 * 1024
CONNECT_S = 5.0  # judgement: a broker in the same building
# A sign in a key or a level -> the channel it might be. By such a name alone nothing is sure: the baker says.
_SIGNS = (
    ("dough", "dough"),
    ("probe", "dough"),
    ("temp", "air"),
    ("humid", "humidity"),
    ("dist", "distance"),
    ("range", "distance"),
)


@dataclass(frozen=True, slots=True)
class Proposal:
    """One number that might be a reading, and the table of the settings that would take it."""

    topic: str
    pointer: str | None
    channel: str
    unit: str

    def toml(self) -> str:
        """The table, for ``config.toml``."""
        fields = {"topic": self.topic, "pointer": self.pointer, "channel": self.channel, "unit": self.unit}
        table = tomlkit.table()
        for key, value in fields.items():
            if value is not None:
                table.add(key, value)
        return f"[[sensor]]\n{table.as_string()}"


def proposals(topic: str, payload: bytes) -> list[Proposal]:
    """What of a payload might be a reading, by the names it stands under.

    >>> [each.channel for each in proposals("cellar/state", b'{"temperature": 21.5, "link": 90}')]
    ['air']
    """
    found = []
    for pointer in _numbers(payload):
        name = topic if pointer is None else f"{topic.rpartition('/')[2]}{pointer}"
        guess = _guess(name.lower())
        if guess is not None:
            found.append(Proposal(topic, pointer, *guess))
    return found


def _guess(name: str) -> tuple[str, str] | None:
    """Channel and unit that a name sounds like; what stands last in it says most."""
    places = [(name.rfind(sign), channel) for sign, channel in _SIGNS if sign in name]
    if not places:
        return None
    channel = max(places)[1]
    if channel == "distance":
        return channel, next((unit for unit in ("mm", "cm") if name.endswith(unit)), "mm")
    is_fahrenheit = channel != "humidity" and name.endswith(("_f", "fahrenheit"))
    return channel, FAHRENHEIT if is_fahrenheit else UNITS[channel]


def _numbers(payload: bytes) -> list[str | None]:
    """Where numbers stand in a payload: JSON pointers, or None for a payload that is one."""
    if is_number(payload):
        return [None]
    try:
        return list(itertools.islice(numbers_in(json_of(payload)), MOST_NUMBERS))
    except WireError:
        return []


def heard_at(
    address: MqttAddress, password: str | None, ca_file: Path | None, clock: Clock, for_s: float
) -> dict[str, bytes]:
    """What strangers say at a broker while one listens: topic -> what it said last, by topic.

    Raises
    ------
    SourceError
        When the broker cannot be listened to.
    """
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    heard: dict[str, bytes] = {}
    trouble: list[str] = []

    def on_connect(_client: paho.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:
            trouble.append(str(code))
        else:
            client.subscribe("#", 0)

    def on_message(_client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return
        if topic.partition("/")[0] not in OWN_ROOTS and (topic in heard or len(heard) < MOST_TOPICS):
            heard[topic] = bytes(message.payload[:KEPT_BYTES])

    client.on_connect = on_connect
    client.on_message = on_message
    try:
        connect(client, address, password, ca_file, CONNECT_S)
        end_s = clock.real_s() + for_s
        while clock.real_s() < end_s and not trouble:
            if (code := client.loop(0.1)) != paho.MQTT_ERR_SUCCESS:
                trouble.append(paho.error_string(code))
    except OSError as err:
        trouble.append(str(err))
    finally:
        client.disconnect()
    if trouble:
        raise SourceError("{url}: cannot be listened to: {why}", url=address.url, why=trouble[0])
    return dict(sorted(heard.items()))
