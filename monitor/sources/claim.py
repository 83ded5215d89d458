"""Which collector serves a site: a claim kept at its broker, so that a second one, started by mistake, stands by.

The claim is one retained message. Its holder says it anew every few seconds, fed by the working loop; the holder's last
will marks it as left. Whoever wants to begin looks first, over a short line of its own: with the holder's own name the
broker would cut the holder off. At once goes who finds no claim, a left one, or its own. Who has found another's waits
until that has been left, or not been renewed, for longer than a holder takes to come back after the broker's restart.

Two that find nothing at the same moment both log in, under the one name of the session: the broker lets the later one
in and cuts the earlier one off, which looks again before it comes back, and finds the other's claim. So the broker's
own order decides, and at no moment are packs handed to both.
"""

import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from monitor.clock import Clock
from monitor.settings.brokers import MqttAddress
from monitor.sources.tls import connect

TOPIC = "proofing/collector"
STANDBY = "standby"
"""The user who looks, where a broker takes user names for the names of sessions."""
RENEW_S = 3.0
GRACE_S = 15.0  # judgement: five renewals, and three times the longest wait before a holder tries its broker again
APART_S = 3.0  # judgement: those who wait must not all go at once
LOOK_WITHIN_S = 5.0  # judgement: a broker in the same building, on a slow machine
HELD, LEFT = "held", "left"


@dataclass(frozen=True, slots=True)
class Holder:
    """A collector, by a name drawn when it was started: the clone of a machine has the machine's every other name."""

    name: str
    machine: str

    @classmethod
    def drawn(cls) -> "Holder":
        """A new name on this machine."""
        return cls(secrets.token_hex(8), socket.gethostname())


@dataclass(frozen=True, slots=True)
class Claim:
    """What stands at the broker.

    Attributes
    ----------
    count
        Goes up with each renewal.
    is_left
        True when its holder has gone.
    """

    holder: Holder
    count: int = 0
    is_left: bool = False

    def text(self) -> bytes:
        """As it stands in the message.

        >>> Claim(Holder("0a", "bakery"), 3).text()
        b'held 0a 3 bakery'
        """
        return f"{LEFT if self.is_left else HELD} {self.holder.name} {self.count} {self.holder.machine}".encode()


def claim_of(text: bytes) -> Claim | None:
    """The claim in a message; None for anything else, which claims nothing."""
    try:
        kind, name, count, machine = text.decode().split(" ", 3)
        return Claim(Holder(name, machine), int(count), kind == LEFT) if kind in (HELD, LEFT) else None
    except ValueError:  # UnicodeDecodeError is one
        return None


class SiteClaim:
    """One broker's claim, as one collector sees and holds it.

    Parameters
    ----------
    read
        Reads the retained message; empty where there is none. An OSError when the broker does not answer.

    Attributes
    ----------
    other
        Who serves the site, as seen at the last look; None when it is this collector's to serve.
    """

    def __init__(self, holder: Holder, clock: Clock, read: Callable[[], bytes]) -> None:
        self._mine = Claim(holder)
        self._clock = clock
        self._read = read
        self._patience_s = GRACE_S + int(holder.name, 16) % 1000 / 1000.0 * APART_S
        self._seen: bytes = b""
        self._seen_s = 0.0
        self._given_up: bytes | None = None
        self._renewed_s = float("-inf")
        self.other: Holder | None = None

    @property
    def will(self) -> bytes:
        """What the broker is to say when this holder's line breaks."""
        return replace(self._mine, is_left=True).text()

    def may_take(self) -> bool:
        """Look; True when the site is this collector's to serve.

        Raises
        ------
        OSError
            When the broker does not answer.
        """
        text = self._read()
        found, now_s = claim_of(text), self._clock.real_s()
        if self.other is None:
            self._seen, self._seen_s = text, now_s
            if found is None or found.is_left or found.holder == self._mine.holder or text == self._given_up:
                return True
        elif text != self._seen:
            self._seen, self._seen_s = text, now_s
        elif now_s - self._seen_s >= self._patience_s:
            self.other, self._given_up = None, text  # it still stands there until this one has said its own
            return True
        if found is not None:
            self.other = found.holder
        return False

    def taken(self) -> bytes:
        """What to say once logged in."""
        self.other = None
        self._renewed_s = self._clock.real_s()
        self._mine = replace(self._mine, count=self._mine.count + 1)
        return self._mine.text()

    def renewed(self) -> bytes | None:
        """What to say now to keep it; None while nothing is due."""
        return self.taken() if self._clock.real_s() - self._renewed_s >= RENEW_S else None


def retained(address: MqttAddress, password: str | None, ca_file: Path | None, clock: Clock) -> bytes:
    """The claim's message at a broker; empty where there is none, or where nobody is let in to look.

    Raises
    ------
    OSError
        When the broker does not answer.
    """
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    found: list[bytes] = []
    over: list[bool] = []

    def on_connect(_client: paho.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:  # the collector's own log-in will be refused too, and say so
            over.append(True)
        else:
            client.subscribe(TOPIC, 0)

    def on_subscribe(*_: Any) -> None:
        client.unsubscribe(TOPIC)  # the answer to it comes after what was retained

    client.on_connect = on_connect
    client.on_message = lambda _client, _data, message: found.append(bytes(message.payload))
    client.on_subscribe = on_subscribe
    client.on_unsubscribe = lambda *_: over.append(True)
    connect(client, address, password, ca_file, LOOK_WITHIN_S)
    end_s = clock.real_s() + LOOK_WITHIN_S
    while not over and clock.real_s() < end_s and client.loop(0.1) == paho.MQTT_ERR_SUCCESS:
        pass
    client.disconnect()
    client.loop(0.1)
    if not over:
        raise TimeoutError(f"{address.key} did not say who serves the site")
    return found[-1] if found else b""
