"""What several end-to-end tests stand on."""

from collections.abc import Iterator

import paho.mqtt.client as paho
import pytest
from harness import Mosquitto
from paho.mqtt.enums import CallbackAPIVersion


@pytest.fixture
def publisher(mosquitto: Mosquitto) -> Iterator[paho.Client]:
    client = paho.Client(CallbackAPIVersion.VERSION2, "mac-020000fffe5e0002")
    client.connect("127.0.0.1", mosquitto.port)
    client.loop_start()
    yield client
    client.disconnect()
    client.loop_stop()
