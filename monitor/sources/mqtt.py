"""Readings from an MQTT broker, over MQTT 3.1.1 with a clean session.

A broker keeps nothing for a collector that is away: the age in a frame counts from its sending, so a frame that waited
would tell a wrong moment. Nodes keep what was not acknowledged to them, and send it anew with the age it has then.
While connected, the broker is told that a message is done (PUBACK) when the collector acknowledges it, after its
commit, so that it sends only so many ahead.
"""

import logging
import queue
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.clock import Clock
from monitor.errors import ConfigError, SourceError
from monitor.sources.claim import TOPIC as CLAIM_TOPIC
from monitor.sources.claim import SiteClaim
from monitor.sources.intake import Fault, Foreign, Frame, Item, Report, Status, put
from monitor.sources.tls import secure
from monitor.translatable import Translatable
from monitor.wire.frames import identity, node_of_key

log = logging.getLogger(__name__)

PORTS = {"mqtt": 1883, "mqtts": 8883}  # IANA service name registry
CLIENT_ID = "proofing-monitor-collector"
ROOT = "proofing"
SENML = "senml"
"""The end of the topic on which a device may send SenML without a frame."""
QOS = 1
KEEPALIVE_S = 30
FIRST_RETRY_S, LAST_RETRY_S = 1, 5  # judgement: soon back, well within what another collector waits for this one
MAX_PAYLOAD_BYTES = 64 * 1024  # judgement: many times a frame; a longer one is not even looked at
_STATUS = {b"online": True, b"offline": False}


class MqttSource:
    """One broker, read by a thread of the library from :meth:`start` to :meth:`stop`.

    Parameters
    ----------
    url
        ``mqtt://host:port`` or ``mqtts://host:port`` (TLS); a user name may stand before the host.
    items
        Frames, states and faults go there; while it is full the broker is not read.
    client_id
        Names the session at the broker: two collectors on one broker need two.
    ca_file
        Certificates to trust for ``mqtts``; None: those of the machine.
    sites
        Shops without a collector whose nodes are read here too, at a central broker.
    claim
        The site's claim at this broker, looked at before each log-in; None: log in without.
    topics
        Filters of the topics that devices which are no nodes of ours speak on.
    on_other
        Called when another collector serves the site: nothing is read from here on.

    Attributes
    ----------
    is_up
        True while the broker is read.
    trouble
        Why the broker cannot be read at the moment; empty when it can.

    Raises
    ------
    ConfigError
        When the URL or the certificates cannot be used. A broker that does not answer is no error: it is waited for.
    """

    def __init__(
        self,
        url: str,
        clock: Clock,
        items: "queue.Queue[Item]",
        username: str | None = None,
        password: str | None = None,
        *,
        client_id: str = CLIENT_ID,
        ca_file: Path | None = None,
        sites: Sequence[str] = (),
        claim: SiteClaim | None = None,
        topics: Sequence[str] = (),
        on_other: Callable[[], None] = lambda: None,
    ) -> None:
        scheme, self._host, self._port, url_user = _parsed(url)
        self.name = f"{scheme}://{self._host}:{self._port}"
        self._clock = clock
        self._items = items
        self._roots = (ROOT, *(f"sites/{site}/{ROOT}" for site in sites))
        self._stopping = threading.Event()
        self._connections = 0  # a PUBACK belongs to the connection that its message came by
        self.is_up = False
        self.trouble = ""
        self._claim = claim
        self._topics = tuple(dict.fromkeys(topics))
        self._on_other = on_other
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id,
            clean_session=True,
            protocol=paho.MQTTv311,
            manual_ack=True,
        )
        self._client.reconnect_delay_set(FIRST_RETRY_S, LAST_RETRY_S)
        # No limit: a turn's acknowledgements must not wait for each other, and with one the library looks through all
        # that are on their way each time the broker has one.
        self._client.max_inflight_messages_set(0)
        if username or url_user:
            self._client.username_pw_set(username or url_user, password)
        if scheme == "mqtts":
            secure(self._client, self.name, ca_file)
        if claim is not None:
            self._client.will_set(CLAIM_TOPIC, claim.will, QOS, retain=True)
            self._client.on_pre_connect = self._on_pre_connect
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    def start(self) -> None:
        """Begin to connect and read; returns at once.

        Raises
        ------
        SourceError
            When the library refuses to start.
        """
        try:
            self._client.connect_async(self._host, self._port, KEEPALIVE_S)
            self._client.loop_start()
        except (OSError, ValueError, RuntimeError) as error:
            raise SourceError("{name}: cannot be read: {why}; check the address", name=self.name, why=error) from error

    def stop(self) -> None:
        """Leave the broker and wait for the thread."""
        self._stopping.set()
        if self._claim is not None and self.is_up:
            self._client.publish(CLAIM_TOPIC, b"", retain=True)  # nobody has to wait for one who left in order
        self._client.disconnect()
        self._client.loop_stop()

    def renew_claim(self) -> None:
        """Say that this collector still serves the site, when that is due; to be called by a loop that works."""
        if self._claim is not None and self.is_up and (text := self._claim.renewed()) is not None:
            self._client.publish(CLAIM_TOPIC, text, retain=True)

    # -- called by the library's thread; none may raise, or the thread ends -----------------------------------------

    def _on_pre_connect(self, client: paho.Client, userdata: Any) -> None:
        """Raise an OSError, which the library takes for a line that cannot be opened, and so tries again."""
        assert self._claim is not None
        is_free = self._claim.may_take()
        if self._stopping.is_set():
            raise ConnectionAbortedError
        if not is_free:
            self._on_other()
            raise ConnectionAbortedError

    def _on_connect(
        self, client: paho.Client, userdata: Any, flags: paho.ConnectFlags, code: ReasonCode, properties: Any
    ) -> None:
        if code.is_failure:
            self._say_once(Translatable("refused by the broker: {code}; check user name and password", code=code))
            return
        self._connections += 1
        log.info("logged in source=%s", self.name)
        if self._claim is not None:
            client.publish(CLAIM_TOPIC, self._claim.taken(), QOS, retain=True)
        own = [(f"{root}/+/{kind}", QOS) for root in self._roots for kind in ("pack", "status", "report")]
        # Without a time of their own such readings are of now: what the broker has kept would be of no known moment.
        client.subscribe([*own, *((topic, 0) for topic in (f"{ROOT}/+/{SENML}", *self._topics))])

    def _on_connect_fail(self, client: paho.Client, userdata: Any) -> None:
        if self._claim is not None and self._claim.other is not None:
            self._say_once(
                Translatable("the collector on {machine} serves this site", machine=self._claim.other.machine)
            )
        else:
            self._say_once(Translatable("does not answer; start it, or check host and port"))

    def _on_disconnect(
        self,
        client: paho.Client,
        userdata: Any,
        flags: paho.DisconnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if self._stopping.is_set() or not self.is_up:
            return  # leaving, or refused: said already
        self.is_up = False
        self._say_once(Translatable("connection lost: {code}", code=code))
        self._tell(is_online=False, detail=str(code))

    def _on_subscribe(
        self, client: paho.Client, userdata: Any, mid: int, codes: list[ReasonCode], properties: Properties | None
    ) -> None:
        if any(code.is_failure for code in codes):
            self._say_once(
                Translatable(
                    "this user may not read {root}/+/pack and {root}/+/status; mend the broker's access list", root=ROOT
                )
            )
            return
        log.info("connected source=%s", self.name)  # only now: what is published from here on reaches this source
        self.is_up = True
        self.trouble = ""
        self._tell(is_online=True)

    def _on_message(self, client: paho.Client, userdata: Any, message: paho.MQTTMessage) -> None:
        try:
            root, node_key, kind = message.topic.rsplit("/", 2)
        except ValueError:  # UnicodeDecodeError is one
            root = node_key = kind = ""
        if self._is_foreign(message, root, kind):
            self._take_foreign(message, node_key if root in self._roots else None)
        elif root not in self._roots or node_of_key(node_key) is None:
            self._refuse(message, None, "name")
        elif len(message.payload) > MAX_PAYLOAD_BYTES:
            self._refuse(message, node_key, "too long")
        elif kind == "status":
            self._take_status(message, node_key)
        elif kind == "report":
            if not message.retain:  # what the broker has kept was said at no known moment; the next comes in a minute
                item = Report(bytes(message.payload), self._clock.now(), self.name, node_key)
                put(self._items, item, self._stopping)
            self._client.ack(message.mid, message.qos)
        else:
            self._take_pack(message, root, node_key)

    def _is_foreign(self, message: paho.MQTTMessage, root: str, kind: str) -> bool:
        if root in self._roots:
            return kind == SENML
        return any(paho.topic_matches_sub(topic, _topic_of(message)) for topic in self._topics)

    # -- what comes in ----------------------------------------------------------------------------------------------

    def _take_pack(self, message: paho.MQTTMessage, root: str, node_key: str) -> None:
        connection = self._connections
        payload = bytes(message.payload)

        def acknowledge(line: bytes) -> None:
            # Both calls only put bytes on the library's own queue, which outlives a lost connection.
            self._client.publish(f"{root}/{node_key}/ack", line, QOS)
            if connection == self._connections:
                self._client.ack(message.mid, message.qos)

        put(self._items, Frame(payload, self._clock.now(), self.name, node_key, acknowledge), self._stopping)
        if identity(payload) is None:
            # Damaged: it is counted and never acknowledged to its node. The broker must forget it all the same, for it
            # sends only so many messages ahead of their PUBACKs, and a few damaged ones would silence all nodes.
            self._client.ack(message.mid, message.qos)

    def _take_foreign(self, message: paho.MQTTMessage, node_key: str | None) -> None:
        if node_key is not None and node_of_key(node_key) is None:
            self._refuse(message, None, "name")
        elif len(message.payload) > MAX_PAYLOAD_BYTES:
            self._refuse(message, node_key, "too long")
        elif not message.retain:  # what the broker has kept was measured at no known moment
            item = Foreign(bytes(message.payload), self._clock.now(), self.name, message.topic, node_key)
            put(self._items, item, self._stopping)

    def _take_status(self, message: paho.MQTTMessage, node_key: str) -> None:
        is_online = _STATUS.get(bytes(message.payload))
        if is_online is None:
            self._refuse(message, node_key, "frame")
            return
        put(self._items, Status(self.name, node_key, is_online, self._clock.now()), self._stopping)
        self._client.ack(message.mid, message.qos)

    def _refuse(self, message: paho.MQTTMessage, node_key: str | None, reason: str) -> None:
        about = "" if node_key is not None else _topic_of(message)
        put(self._items, Fault(self.name, node_key, reason, 1, self._clock.now(), about), self._stopping)
        self._client.ack(message.mid, message.qos)

    def _tell(self, *, is_online: bool, detail: str = "") -> None:
        put(self._items, Status(self.name, None, is_online, self._clock.now(), detail), self._stopping)

    def _say_once(self, text: str) -> None:
        if text != self.trouble:
            log.warning("waiting source=%s reason=%r", self.name, text)
            self.trouble = text


def _topic_of(message: paho.MQTTMessage) -> str:
    """The topic of a message; empty for one that is no text."""
    try:
        return message.topic
    except UnicodeDecodeError:
        return ""


def _parsed(url: str) -> tuple[str, str, int, str | None]:
    """Scheme, host, port and user name of a broker's URL."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise ConfigError("broker: its URL cannot be read; write it as mqtt://host:1883") from error
    if parts.password is not None:  # such a URL ends up in logs and process lists
        raise ConfigError(
            "broker {hostname}: take the password out of the URL, it has a place of its own", hostname=parts.hostname
        )
    if parts.scheme not in PORTS or not parts.hostname or parts.path.strip("/") or parts.query:
        raise ConfigError("broker {url!r}: must be mqtt://host:port or mqtts://host:port", url=url)
    return parts.scheme, parts.hostname, PORTS[parts.scheme] if port is None else port, parts.username
