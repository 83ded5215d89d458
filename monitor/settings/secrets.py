"""What nobody else may read: from the environment, or from a file for its owner alone.

The environment goes first: ``PROOFING_MQTT_PASSWORD``, ``PROOFING_NOTIFY_URLS`` with one address a word,
``PROOFING_HEARTBEAT_URL``, ``PROOFING_INFLUX_TOKEN``, ``PROOFING_REPLICA_ACCESS_KEY_ID``,
``PROOFING_REPLICA_SECRET_ACCESS_KEY``, ``PROOFING_REPLICA_PASSWORD``. The file is ``secrets.toml`` beside the settings:

.. code-block:: toml

    mqtt_password = "..."                             # for every broker not named below
    notify_urls = ["ntfy://...", "mailto://..."]      # where messages go: the second when the first does not take one
    proxy_secret = "..."                              # by which the screens know their proxy
    api_token = "..."                                 # by which other programs may read: see the guide, "programs"
    calendar_key = "..."                              # the secret part of the calendar's address
    heartbeat_url = "https://..."                     # called every minute while all works; it holds a key
    influx_token = "..."                              # for the central store
    replica_access_key_id = "..."                     # for S3, where the store is shipped to or looked at from
    replica_secret_access_key = "..."
    replica_password = "..."                          # for SFTP, where it is no key_file

    [[recipients]]                                    # or, for several people: who is called first, and who next
    name = "early shift"
    notify_urls = ["ntfy://..."]

    [mqtt_passwords]
    "collector@192.168.1.20:1883" = "..."
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from monitor.files import privacy_fault
from monitor.settings.brokers import MqttAddress
from monitor.settings.calls import ONLY_RECIPIENT, Reachable, recipients_from
from monitor.settings.toml_file import of_file, read_table, texts, unknown_keys
from monitor.translatable import Translatable

REPLICA_KEYS = ("replica_access_key_id", "replica_secret_access_key", "replica_password")
"""What to log in with where a store is shipped to: two keys at an S3 server, or a password at an SFTP server."""
FROM_OUTSIDE = ("mqtt_password", "heartbeat_url", "influx_token", *REPLICA_KEYS)
DRAWN = ("api_token", "calendar_key")
TEXTS = (*FROM_OUTSIDE, "proxy_secret", *DRAWN)
LEAST_TOKEN_CHARS = 20  # judgement: of letters and digits drawn by chance, more than anybody can try
_IN_ADDRESS = re.compile(r"[A-Za-z0-9_-]*")
KEYS = (*TEXTS, "mqtt_passwords", "notify_urls", "recipients")


@dataclass(frozen=True, slots=True)
class Secrets:
    """What nobody else may read. Its text form shows nothing."""

    mqtt_password: str | None = field(default=None, repr=False)
    mqtt_passwords: Mapping[str, str] = field(default_factory=dict, repr=False)
    notify_urls: tuple[str, ...] = field(default=(), repr=False)
    proxy_secret: str | None = field(default=None, repr=False)
    api_token: str | None = field(default=None, repr=False)
    calendar_key: str | None = field(default=None, repr=False)
    heartbeat_url: str | None = field(default=None, repr=False)
    named_recipients: tuple[Reachable, ...] = ()
    influx_token: str | None = field(default=None, repr=False)
    replica_access_key_id: str | None = field(default=None, repr=False)
    replica_secret_access_key: str | None = field(default=None, repr=False)
    replica_password: str | None = field(default=None, repr=False)

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
    outside: dict[str, Any] = {key: said for key in FROM_OUTSIDE if (said := environ.get(f"PROOFING_{key.upper()}"))}
    return replace(secrets, **outside), faults


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
    said = {key: table[key] for key in TEXTS if key in table}
    faults += [
        Translatable("{key} must be a text in quotes", key=key)
        for key, value in said.items()
        if not (isinstance(value, str) and value)
    ]
    faults += [
        Translatable("{key} must have at least {n} characters: draw it by chance", key=key, n=LEAST_TOKEN_CHARS)
        for key in DRAWN
        if isinstance(said.get(key), str) and 0 < len(said[key]) < LEAST_TOKEN_CHARS
    ]
    calendar_key = said.get("calendar_key")
    if isinstance(calendar_key, str) and not _IN_ADDRESS.fullmatch(calendar_key):
        faults.append(Translatable("calendar_key stands in an address: letters, digits, - and _ alone"))
    heartbeat_url = said.get("heartbeat_url")
    if isinstance(heartbeat_url, str) and not heartbeat_url.startswith(("https://", "http://")):
        faults.append(Translatable("heartbeat_url must be a text in quotes that begins with https:// or http://"))
    passwords: dict[str, str] = {}
    named = table.get("mqtt_passwords", {})
    if isinstance(named, Mapping) and all(isinstance(value, str) for value in named.values()):
        passwords = dict(named)
    else:
        faults.append(Translatable('mqtt_passwords must hold lines like "user@host:1883" = "..."'))
    secrets = Secrets(mqtt_passwords=passwords, notify_urls=urls, named_recipients=recipients, **said)
    return secrets, of_file(path, faults)
