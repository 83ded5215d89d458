"""Brokers: their addresses, and what is missing to log in at one."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from urllib.parse import urlsplit

from monitor.errors import ConfigError, message_of_error
from monitor.network import is_loopback
from monitor.settings.data_dir import SECRETS_NAME
from monitor.translatable import Translatable

MQTT_PORTS = {"mqtt": 1883, "mqtts": 8883}  # IANA service name registry: "mqtt", "secure-mqtt"


@dataclass(frozen=True, slots=True)
class MqttAddress:
    """A broker and the name to log in with, without its password."""

    host: str
    port: int = MQTT_PORTS["mqtt"]
    user: str | None = None
    scheme: str = "mqtt"

    @property
    def url(self) -> str:
        """The address as the baker wrote it, port added."""
        return f"{self.scheme}://{self.key}"

    @property
    def key(self) -> str:
        """``user@host:port``: how a secrets file names this broker."""
        return f"{self.user}@{self.host}:{self.port}" if self.user else f"{self.host}:{self.port}"


def mqtt_address(url: str, *, may_be_plain: bool = False) -> MqttAddress:
    """A broker's address from ``mqtt://user@host:port``, or ``mqtts://`` for a secured line.

    Parameters
    ----------
    may_be_plain
        The baker has said that readings and passwords may cross the network for all to read.

    Raises
    ------
    ConfigError
        When it is no such address, holds a password, which others could read in a list of processes, or would speak
        unsecured beyond this machine.
    """
    try:
        parts = urlsplit(url)
        port = parts.port or MQTT_PORTS.get(parts.scheme, 0)
    except ValueError as err:
        raise ConfigError("mqtt address: the port must be a number up to 65535 ({why})", why=err) from err
    if parts.password is not None:
        raise ConfigError(
            "mqtt address of {hostname}: leave the password out of it; set PROOFING_MQTT_PASSWORD or "
            "put it into secrets.toml",
            hostname=parts.hostname,
        )
    if parts.scheme not in MQTT_PORTS or not parts.hostname or parts.path.strip("/") or parts.query:
        raise ConfigError("mqtt address {url!r}: it must look like mqtt://user@host:1883", url=url)
    address = MqttAddress(parts.hostname, port, parts.username, parts.scheme)
    if parts.scheme == "mqtt" and not may_be_plain and not is_loopback(parts.hostname):
        secured = replace(address, scheme="mqtts", port=MQTT_PORTS["mqtts"])
        raise ConfigError(
            "mqtt address {url}: readings and passwords would cross the network for all to read; "
            "plain mqtt:// is for this machine alone. Write {secured}; `proofing-monitor broker "
            "configure` makes the broker's settings and certificates for it. On a network that is yours alone, "
            "allow_plain_mqtt = true in config.toml allows it",
            url=address.url,
            secured=secured.url,
        )
    return address


def brokers_from(urls: Iterable[str], *, may_be_plain: bool) -> tuple[tuple[MqttAddress, ...], list[str]]:
    """The brokers of the settings' ``mqtt``, and what is wrong with it."""
    found: list[MqttAddress] = []
    faults: list[str] = []
    for url in urls:
        try:
            found.append(mqtt_address(url, may_be_plain=may_be_plain))
        except ConfigError as err:
            faults.append(message_of_error(err))
    return tuple(found), faults


def login_fault(address: MqttAddress, password: str | None) -> str:
    """What is missing to log in at a broker beyond this machine; empty when nothing is."""
    if is_loopback(address.host) or (address.user and password):
        return ""
    if not address.user:
        return Translatable(
            "broker {url}: say who logs in there: {scheme}://collector@{key}",
            url=address.url,
            scheme=address.scheme,
            key=address.key,
        )
    return Translatable(
        "broker {url}: its password is not known; set PROOFING_MQTT_PASSWORD, or write it into {file} under "
        '[mqtt_passwords]: "{key}" = "..."',
        url=address.url,
        file=SECRETS_NAME,
        key=address.key,
    )
