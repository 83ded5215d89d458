"""What other programs are told at a broker: the table ``[publish]`` of ``config.toml``.

.. code-block:: toml

    [publish]
    mqtt = "mqtts://publisher@localhost:8883"   # absent: nothing is told; a log-in that nothing else has
    discovery = "homeassistant"                 # absent: nobody is told what the doughs' topics mean
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from monitor.errors import ConfigError, message_of_error
from monitor.settings.brokers import MqttAddress, login_fault, mqtt_address
from monitor.settings.secrets import Secrets
from monitor.settings.toml_file import unknown_keys
from monitor.translatable import Translatable

KEYS = ("mqtt", "discovery")
_LEVEL = re.compile(r"[A-Za-z0-9_-]{1,64}")


@dataclass(frozen=True, slots=True)
class Publish:
    """The settings in force.

    Attributes
    ----------
    mqtt
        Where running doughs are told as retained messages; None: nowhere.
    discovery
        The level under which programs for homes look for what describes itself; None: nothing does.
    """

    mqtt: MqttAddress | None = None
    discovery: str | None = None

    def fault(self, sources: Iterable[MqttAddress], secrets: Secrets) -> str:
        """Why nothing could be told at that broker; empty when it can.

        Parameters
        ----------
        sources
            The log-ins by which readings come.
        """
        if self.mqtt is None:
            return ""
        if self.mqtt.user is not None and self.mqtt.key in {each.key for each in sources}:
            # where a broker takes user names for the names of sessions, each would cut the other off
            return Translatable(
                "publish.mqtt = {url}: readings come by this log-in; name another user", url=self.mqtt.url
            )
        return login_fault(self.mqtt, secrets.password_for(self.mqtt))


def publish_from(table: Mapping[str, Any], *, may_be_plain: bool) -> tuple[Publish, list[str]]:
    """The settings of a parsed table, and every fault of it."""
    faults = unknown_keys(table, KEYS, "publish.")
    address, discovery = None, table.get("discovery")
    try:
        if "mqtt" in table:
            address = mqtt_address(str(table["mqtt"]), may_be_plain=may_be_plain)
    except ConfigError as err:
        faults.append(Translatable("publish.mqtt: {why}", why=message_of_error(err)))
    if discovery is not None and not (isinstance(discovery, str) and _LEVEL.fullmatch(discovery)):
        faults.append(Translatable("publish.discovery must be one level of a topic: letters, digits, _ and -"))
        discovery = None
    return Publish(address, discovery), faults
