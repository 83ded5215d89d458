"""A line to a broker that cannot be trusted, or that goes away while it is opened, does not stay open."""

import gc
import socket
import ssl
import threading
import warnings
from collections.abc import Iterator

import pytest
from harness import PATIENCE_S

from monitor.clock import SystemClock
from monitor.settings.brokers import MqttAddress
from monitor.sources.broker_probe import Answer, Try, tried
from monitor.sources.claim import retained


@pytest.fixture
def hanging_up() -> Iterator[MqttAddress]:
    """One who takes a line and closes it in the middle of the handshake."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(PATIENCE_S)

        def hang_up() -> None:
            line, _ = listening.accept()
            with line:
                line.recv(1)

        thread = threading.Thread(target=hang_up)
        thread.start()
        yield MqttAddress("127.0.0.1", listening.getsockname()[1], None, "mqtts")
        thread.join()


def test_whoever_looks_for_a_claim_leaves_no_line_open(hanging_up: MqttAddress) -> None:
    with warnings.catch_warnings(record=True) as left_open:
        warnings.simplefilter("always")
        with pytest.raises((ssl.SSLError, ConnectionError)):
            retained(hanging_up, None, None, SystemClock())
        gc.collect()
    assert [str(each.message) for each in left_open] == []


def test_whoever_tries_a_broker_leaves_no_line_open(hanging_up: MqttAddress) -> None:
    with warnings.catch_warnings(record=True) as left_open:
        warnings.simplefilter("always")
        assert tried(hanging_up, None, Try()) in (Answer.SILENT, Answer.UNTRUSTED)
        gc.collect()
    assert [str(each.message) for each in left_open] == []
