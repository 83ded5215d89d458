"""What nobody else may read: from the environment, or from a file for its owner alone.

The environment goes first: ``PROOFING_MQTT_PASSWORD``, ``PROOFING_NOTIFY_URLS`` with one address a word,
``PROOFING_HEARTBEAT_URL``, ``PROOFING_INFLUX_TOKEN``. The file is ``secrets.toml`` beside the settings:

.. code-block:: toml

    mqtt_password = "..."                             # for every broker not named below
    notify_urls = ["ntfy://...", "mailto://..."]      # where messages go: the second when the first does not take one
    proxy_secret = "..."                              # by which the screens know their proxy
    heartbeat_url = "https://..."                     # called every minute while all works; it holds a key
    influx_token = "..."                              # for the central store

    [[recipients]]                                    # or, for several people: who is called first, and who next
    name = "early shift"
    notify_urls = ["ntfy://..."]

    [mqtt_passwords]
    "collector@192.168.1.20:1883" = "..."
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from monitor.files import privacy_fault
from monitor.settings.brokers import MqttAddress
from monitor.settings.calls import ONLY_RECIPIENT, Reachable, recipients_from
from monitor.settings.toml_file import of_file, read_table, texts, unknown_keys
from monitor.translatable import Translatable

KEYS = (
    "mqtt_password",
    "mqtt_passwords",
    "notify_urls",
    "recipients",
    "proxy_secret",
    "heartbeat_url",
    "influx_token",
)


@dataclass(frozen=True, slots=True)
class Secrets:
    """What nobody else may read. Its text form shows nothing."""

    mqtt_password: str | None = field(default=None, repr=False)
    mqtt_passwords: Mapping[str, str] = field(default_factory=dict, repr=False)
    notify_urls: tuple[str, ...] = field(default=(), repr=False)
    proxy_secret: str | None = field(default=None, repr=False)
    heartbeat_url: str | None = field(default=None, repr=False)
    named_recipients: tuple[Reachable, ...] = ()
    influx_token: str | None = field(default=None, repr=False)

    @property
    def recipients(self) -> tuple[Reachable, ...]:
        """Whom to call, in this order; those of ``notify_urls`` are one."""
        only = (Reachable(ONLY_RECIPIENT, self.notify_urls),) if self.notify_urls else ()
        return only + self.named_recipients

    def password_for(self, address: MqttAddress) -> str | None:
        """The password to log in with at a broker, or None when there is none."""
        return self.mqtt_passwords.get(address.key, self.mqtt_password)


def read_secrets(path: Path | None, environ: Mapping[str, str]) -> tuple[Secrets, list[str]]:
    """The secrets of the environment and of a file (None: there is none), and what is wrong with the file.

    Raises
    ------
    ConfigError
        When the file cannot be read.
    """
    secrets, faults = (Secrets(), []) if path is None else _from_file(path)
    if environ.get("PROOFING_NOTIFY_URLS"):
        urls = tuple(environ["PROOFING_NOTIFY_URLS"].split())
        secrets = replace(secrets, notify_urls=urls, named_recipients=())
    secrets = replace(
        secrets,
        mqtt_password=environ.get("PROOFING_MQTT_PASSWORD") or secrets.mqtt_password,
        heartbeat_url=environ.get("PROOFING_HEARTBEAT_URL") or secrets.heartbeat_url,
        influx_token=environ.get("PROOFING_INFLUX_TOKEN") or secrets.influx_token,
    )
    return secrets, faults


def _from_file(path: Path) -> tuple[Secrets, list[str]]:
    faults: list[str] = []
    if fault := privacy_fault(path):
        faults.append(fault)
    table = read_table(path)
    faults += unknown_keys(table, KEYS)
    urls = texts(table, "notify_urls", faults)
    recipients, recipient_faults = recipients_from(table.get("recipients", []))
    faults += recipient_faults
    if urls and recipients:
        faults.append(Translatable("give either notify_urls or [[recipients]], not both"))
    password = table.get("mqtt_password")
    if password is not None and not isinstance(password, str):
        faults.append(Translatable("mqtt_password must be a text in quotes"))
    proxy_secret = table.get("proxy_secret")
    if proxy_secret is not None and not (isinstance(proxy_secret, str) and proxy_secret):
        faults.append(Translatable("proxy_secret must be a text in quotes"))
    heartbeat_url = table.get("heartbeat_url")
    if heartbeat_url is not None and not (
        isinstance(heartbeat_url, str) and heartbeat_url.startswith(("https://", "http://"))
    ):
        faults.append(Translatable("heartbeat_url must be a text in quotes that begins with https:// or http://"))
    influx_token = table.get("influx_token")
    if influx_token is not None and not (isinstance(influx_token, str) and influx_token):
        faults.append(Translatable("influx_token must be a text in quotes"))
    passwords: dict[str, str] = {}
    named = table.get("mqtt_passwords", {})
    if isinstance(named, Mapping) and all(isinstance(value, str) for value in named.values()):
        passwords = dict(named)
    else:
        faults.append(Translatable('mqtt_passwords must hold lines like "user@host:1883" = "..."'))
    secrets = Secrets(password, passwords, urls, proxy_secret, heartbeat_url, recipients, influx_token)
    return secrets, of_file(path, faults)
