"""Tells running doughs at an MQTT broker, beside the collector: retained messages, taken away when a dough has ended.

It has a log-in of its own, so that what it does never cuts off the line by which readings come. What the broker kept
from before, of doughs that ended while nobody told, is looked for after each log-in and taken away.
"""

import contextlib
import logging
import queue
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from monitor.alerts.troubles import OthersToldNothing
from monitor.clock import Clock
from monitor.errors import StoreError
from monitor.health.supervisor import Symptom
from monitor.published.states import MonitorState, Work, batch_states
from monitor.published.topics import batch_topic, descriptions, discovery_topic, monitor_topic, state_message
from monitor.settings.brokers import MqttAddress
from monitor.sources.tls import secure
from monitor.store.background import StoreThread
from monitor.store.store import Store
from monitor.wording.reader import Reader

log = logging.getLogger(__name__)

CLIENT_ID = "proofing-monitor-publisher"
QOS = 1
KEEPALIVE_S = 30
TURN_S = 2.0  # judgement: so far what is told lags behind
REPEAT_S = 60.0  # judgement: so often a dough is told though nothing has changed but the age of its readings
FIRST_RETRY_S, LAST_RETRY_S = 1, 30
TOLD_AFTER_S = 600.0  # judgement: a broker is restarted meanwhile, and no dough waits for it
LEAVE_WITHIN_S = 5.0  # judgement: a broker that does not take a good-bye by then says the last will


class Publisher(StoreThread):
    """Tells until stopped.

    Parameters
    ----------
    path
        The store's file; the publisher opens its own.
    is_well
        Whether the collector's loop works.
    discovery
        The level under which programs for homes look; None: nothing is described to them.
    reader
        How the names of sensors are told.

    Raises
    ------
    ConfigError
        When the certificates cannot be used. A broker that does not answer is no error: it is waited for.
    """

    def __init__(
        self,
        path: Path,
        address: MqttAddress,
        password: str | None,
        site: str,
        clock: Clock,
        *,
        is_well: Callable[[], bool],
        reader: Reader,
        discovery: str | None = None,
        ca_file: Path | None = None,
    ) -> None:
        super().__init__("publisher", path)
        self._address, self._site, self._clock = address, site, clock
        self._is_well, self._reader, self._discovery = is_well, reader, discovery
        self._said: dict[str, object] = {}
        self._kept: queue.SimpleQueue[str] = queue.SimpleQueue()  # topics that the broker holds something under
        self._is_new = False  # logged in since the last turn
        self._trouble = ""
        self._client = paho.Client(CallbackAPIVersion.VERSION2, f"{CLIENT_ID}-{site}", protocol=paho.MQTTv311)
        self._client.reconnect_delay_set(FIRST_RETRY_S, LAST_RETRY_S)
        if address.user is not None:
            self._client.username_pw_set(address.user, password)
        if address.scheme == "mqtts":
            secure(self._client, address.url, ca_file)
        self._topic = monitor_topic(site)
        will = MonitorState(site=site, state=Work.GONE, at=None)
        self._client.will_set(self._topic, state_message(will), QOS, retain=True)
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = lambda *_: self._say_once("no answer")
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message

    def start(self) -> None:
        """Begin to connect and to tell; returns at once."""
        self._client.connect_async(self._address.host, self._address.port, KEEPALIVE_S)
        self._client.loop_start()
        super().start()

    def stop(self) -> None:
        """Say that the monitor is gone, and leave; what was told of the doughs stays, and is as old as it says."""
        super().stop()
        if self._client.is_connected():
            gone = self._publish(self._topic, self._monitor(Work.GONE))
            with contextlib.suppress(RuntimeError):  # the line went meanwhile; then its will tells
                gone.wait_for_publish(LEAVE_WITHIN_S)
        self._client.disconnect()
        self._client.loop_stop()

    def troubles(self) -> Iterator[Symptom]:
        """What keeps other programs from being told, for the supervisor."""
        if self._trouble:
            yield Symptom(OthersToldNothing(self._address.url, self._trouble), TOLD_AFTER_S)

    def turns(self, store: Store) -> Iterator[float]:
        """Tell what has changed, again and again."""
        while True:
            if self._client.is_connected():
                try:
                    self._tell(dict(self._wanted(store)))
                except StoreError:
                    self._publish(self._topic, self._monitor(Work.IN_TROUBLE))
                    self._said.pop(self._topic, None)
                    raise
            yield TURN_S

    def _wanted(self, store: Store) -> Iterator[tuple[str, tuple[object, bytes]]]:
        """Topic -> what it is to tell, and the message: another message that tells the same need not be sent."""
        minute = self._clock.real_s() // REPEAT_S
        work = Work.AT_WORK if self._is_well() else Work.IN_TROUBLE
        yield self._topic, ((work, minute), self._monitor(work))
        for state in batch_states(store, self._clock.now(), is_running=True):
            if self._discovery is not None:
                for topic, text in descriptions(state, self._discovery, self._site, self._reader):
                    yield topic, (text, text)
            told = msgspec.structs.replace(state, data_age_s=None)
            yield batch_topic(self._site, state.batch), ((told, minute), state_message(state))

    def _tell(self, wanted: dict[str, tuple[object, bytes]]) -> None:
        if self._is_new:
            self._is_new, self._said = False, {}
        over = self._said.keys() - wanted.keys()
        while not self._kept.empty():
            over |= {self._kept.get()} - wanted.keys()
        for topic, (told, text) in wanted.items():
            if self._said.get(topic) != told:
                self._publish(topic, text)
        for topic in over:
            self._publish(topic, b"")  # takes away what the broker kept
        self._said = {topic: told for topic, (told, _) in wanted.items()}

    def _monitor(self, work: Work) -> bytes:
        return state_message(MonitorState(site=self._site, state=work, at=self._clock.now()))

    def _publish(self, topic: str, text: bytes) -> paho.MQTTMessageInfo:
        return self._client.publish(topic, text, QOS, retain=True)

    # -- called by the library's thread ------------------------------------------------------------------------------

    def _on_connect(
        self, client: paho.Client, userdata: Any, flags: paho.ConnectFlags, code: ReasonCode, properties: Any
    ) -> None:
        if code.is_failure:
            self._say_once(str(code))
            return
        log.info("publisher broker=%s state=ok", self._address.url)
        self._trouble = ""
        self._is_new = True
        client.subscribe(batch_topic(self._site, "+"), QOS)
        if self._discovery is not None:
            client.subscribe(discovery_topic(self._discovery, self._site, "+"), QOS)

    def _on_disconnect(
        self, client: paho.Client, userdata: Any, flags: paho.DisconnectFlags, code: ReasonCode, properties: Any
    ) -> None:
        if not self._stopping.is_set() and code.is_failure:
            self._say_once(str(code))

    def _on_message(self, client: paho.Client, userdata: Any, message: paho.MQTTMessage) -> None:
        if message.retain:  # kept from before; what is told from here on comes back without that mark
            self._kept.put(message.topic)

    def _say_once(self, reason: str) -> None:
        if reason != self._trouble:
            log.warning("publisher broker=%s state=failing reason=%r", self._address.url, reason)
            self._trouble = reason
