"""What several end-to-end tests stand on."""

from collections.abc import Iterator

import paho.mqtt.client as paho
import pytest
from harness import PATIENCE_S, Mosquitto
from paho.mqtt.enums import CallbackAPIVersion

from monitor.shops import sender


@pytest.fixture
def publisher(mosquitto: Mosquitto) -> Iterator[paho.Client]:
    client = paho.Client(CallbackAPIVersion.VERSION2, "mac-020000fffe5e0002")
    client.connect_timeout = PATIENCE_S
    client.connect("127.0.0.1", mosquitto.port)
    client.loop_start()
    yield client
    client.disconnect()
    client.loop_stop()


@pytest.fixture
def quick_retries(monkeypatch: pytest.MonkeyPatch) -> None:
    """What sends to a central store does not wait for seconds."""
    monkeypatch.setattr(sender, "FIRST_RETRY_S", 0.05)
    monkeypatch.setattr(sender, "LAST_RETRY_S", 0.2)
    monkeypatch.setattr(sender, "TURN_S", 0.05)
