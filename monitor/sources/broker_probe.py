"""Tries what a broker lets in: whether it answers, takes strangers, and keeps a user to its own topics."""

import contextlib
import ssl
import threading
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from monitor.settings.brokers import MqttAddress
from monitor.sources.tls import connect

ANSWER_WITHIN_S = 5.0  # judgement: a broker in the same building, on a slow machine


class Answer(StrEnum):
    """What a broker did."""

    TAKEN = "taken"
    REFUSED = "refused"
    UNTRUSTED = "its certificate is not trusted"
    SILENT = "no answer"


@dataclass(frozen=True, slots=True)
class Try:
    """One thing to try: to log in and, with a topic, to publish something of ``n_bytes`` there."""

    user: str | None = None
    password: str | None = None
    topic: str = ""
    n_bytes: int = 0


def tried(address: MqttAddress, ca_file: Path | None, attempt: Try, within_s: float = ANSWER_WITHIN_S) -> Answer:
    """What the broker does about an attempt.

    Publishing speaks MQTT 5, the first version that says when a topic is refused; logging in alone speaks 3.1.1.
    """
    version = MQTTProtocolVersion.MQTTv5 if attempt.topic else MQTTProtocolVersion.MQTTv311
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=version)
    answers: list[Answer] = []
    is_answered = threading.Event()

    def answer(found: Answer) -> None:
        answers.append(found)
        is_answered.set()

    def on_connect(_client: paho.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:
            answer(Answer.REFUSED)
        elif not attempt.topic:
            answer(Answer.TAKEN)
        else:
            client.publish(attempt.topic, b"x" * attempt.n_bytes, qos=1)

    def on_publish(_client: paho.Client, _data: Any, _mid: int, code: Any, _properties: Any) -> None:
        answer(Answer.REFUSED if code.is_failure else Answer.TAKEN)

    client.on_connect = on_connect
    client.on_publish = on_publish
    client.on_disconnect = lambda *_: answer(Answer.REFUSED)  # thrown out; after another answer it counts no more
    try:
        connect(client, replace(address, user=attempt.user), attempt.password, ca_file, within_s)
    except ssl.SSLError:
        return Answer.UNTRUSTED
    except OSError:
        return Answer.SILENT
    client.loop_start()
    try:
        is_answered.wait(within_s)
    finally:
        with contextlib.suppress(OSError):
            client.disconnect()
        client.loop_stop()
    return answers[0] if answers else Answer.SILENT
