"""The files of a broker that keeps each node to its own topics: settings, passwords, access list, certificate.

mosquitto reads them as they are: ``mosquitto -c DIR/broker/mosquitto.conf``, started by the user who owns them.
"""

import base64
import getpass
import hashlib
import hmac
import os
import re
import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, write_private
from monitor.network import is_loopback
from monitor.node.settings import FOLDER as NODES_FOLDER
from monitor.node.settings import Link as NodeLink
from monitor.node.settings import NodeSettings, settings_from_text
from monitor.published.topics import ROOT
from monitor.remote_access.bridge import QUEUED_MESSAGES, Link, access_lines, link_of, settings_lines, sites_of
from monitor.remote_access.certificates import Pair, given_pair, kept_pair, own_pair
from monitor.remote_access.settings_files import kept_options, write_table
from monitor.settings.brokers import MQTT_PORTS, MqttAddress
from monitor.sources.claim import STANDBY, TOPIC
from monitor.translatable import Translatable
from monitor.wire.frames import key_of

FOLDER = "broker"
SETTINGS_NAME, PASSWORDS_NAME, ACCESS_NAME, OPTIONS_NAME = "mosquitto.conf", "passwords", "access", "options.toml"
COLLECTOR = "collector"
PROBE = "check"
"""The user by which `check` tries the doors: it may do as little as a node that nobody reads."""
PUBLISHER, READER = "publisher", "reader"
"""The user by which the collector tells other programs what it knows, and the one by which they read it."""
LARGEST_PACKET_BYTES = 64 * 1024  # judgement: many times the longest frame
ROUNDS = 20_000  # judgement: most passwords are drawn, with 144 bits; one chosen by hand costs a guesser something
LARGEST_BYTES = 1_000_000

# What must stand in the settings, whatever else a baker changes there; see also :func:`settings_faults`.
MUST = (
    ("allow_anonymous", "false", Translatable("anybody could speak as a node")),
    ("use_username_as_clientid", "true", Translatable("one node could cut another off by its client id")),
    ("max_packet_size", str(LARGEST_PACKET_BYTES), Translatable("one node could fill the broker's memory")),
)
ACCESS = f"""# Who may say and hear what. Written by `proofing-monitor broker configure`.
user {COLLECTOR}
topic read proofing/+/pack
topic read proofing/+/status
topic read proofing/+/report
topic read proofing/+/senml
topic write proofing/+/ack
topic readwrite {TOPIC}

# A second collector looks here whether the first is at work.
user {STANDBY}
topic read {TOPIC}

# What other programs are told: one tells it, another reads it and says nothing.
user {PUBLISHER}
topic readwrite {ROOT}/#
user {READER}
topic deny proofing/#
topic read {ROOT}/#

# %u is the name a node has logged in with: none can speak as another.
pattern write proofing/%u/pack
pattern write proofing/%u/status
pattern write proofing/%u/report
pattern write proofing/%u/senml
pattern read proofing/%u/ack
"""
# What programs for homes are told of what the doughs' topics mean, under a level of their own.
DESCRIBED = f"""
user {PUBLISHER}
topic readwrite {{discovery}}/sensor/+/+/config
user {READER}
topic read {{discovery}}/#
"""
# What the collector may do besides, at a broker that shops come in to.
SERVED_SITES = """
topic read sites/+/proofing/+/pack
topic read sites/+/proofing/+/status
topic write sites/+/proofing/+/ack

"""


@dataclass(frozen=True, slots=True)
class BrokerOptions:
    """What the baker has chosen; kept, so that configuring again needs only what changes.

    Attributes
    ----------
    listen
        Address to listen on; this machine alone unless said otherwise.
    hosts
        Names and addresses by which nodes reach it, for its certificate.
    certificate, key, ca
        Files signed by someone else; empty for a certificate of one's own.
    """

    listen: str = "127.0.0.1"
    port: int = MQTT_PORTS["mqtts"]
    hosts: tuple[str, ...] = ()
    certificate: str = ""
    key: str = ""
    ca: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.port <= 65535:
            raise ConfigError("--port: must be from 1 to 65535")
        if bool(self.certificate) != bool(self.key):
            raise ConfigError("--certificate and --key go together: both, or neither for a certificate of your own")
        if not is_loopback(self.listen) and not self.hosts and not self.certificate:
            raise ConfigError(
                "--host: by which name or address do nodes reach this machine? name it for its certificate"
            )

    @property
    def reached_as(self) -> str:
        """The host by which the collector on the same machine reaches it."""
        return self.hosts[0] if self.certificate and self.hosts else "localhost"


def broker_folder(data_dir: Path) -> Path:
    """Where the broker's files lie."""
    return data_dir.absolute() / FOLDER


def read_options(data_dir: Path) -> BrokerOptions | None:
    """What was chosen before; None when no broker was ever configured here.

    Raises
    ------
    ConfigError
        When the file cannot be understood.
    """
    return kept_options(broker_folder(data_dir) / OPTIONS_NAME, BrokerOptions, "broker")


def pair_of(data_dir: Path, options: BrokerOptions, now: datetime) -> Pair:
    """The certificate the broker shows: the given one, or one of our own, made when there is none that holds."""
    if options.certificate:
        return given_pair(Path(options.certificate), Path(options.key), Path(options.ca) if options.ca else None)
    return own_pair(data_dir, broker_folder(data_dir), options.hosts, now)


def kept_authority(data_dir: Path, options: BrokerOptions) -> Path | None:
    """The authority to trust for the broker's certificate; None: the machine's own ones."""
    if options.certificate:
        return Path(options.ca) if options.ca else None
    return kept_pair(data_dir, broker_folder(data_dir)).ca


def radio_nodes(data_dir: Path) -> dict[str, NodeSettings]:
    """The nodes that speak to a broker, by what the baker calls them.

    Raises
    ------
    ConfigError
        When the settings of one cannot be understood.
    """
    found = {}
    for path in sorted((data_dir / NODES_FOLDER).glob("*.txt")):
        try:
            settings = settings_from_text(bounded_bytes(path, LARGEST_BYTES).decode(), str(path))
        except (OSError, UnicodeDecodeError) as err:
            raise ConfigError(
                "{path}: cannot be read ({why}); check its owner and rights, or remove it", path=path, why=err
            ) from err
        if settings.link is NodeLink.MQTT:
            found[path.stem] = settings
    return found


def collector_address(options: BrokerOptions, user: str = COLLECTOR) -> MqttAddress:
    """Where the collector (or ``user``) logs in."""
    return MqttAddress(options.reached_as, options.port, user, "mqtts")


def write_broker(
    data_dir: Path,
    options: BrokerOptions,
    passwords: Mapping[str, str],
    now: datetime,
    discovery: str | None = None,
) -> Pair:
    """Write everything the broker needs; returns the certificate it shows.

    Parameters
    ----------
    passwords
        User name -> password: the collector, who stands by for it, the probe, who tells other programs and who reads
        that, and every node by its key.
    discovery
        The level under which programs for homes look for what describes itself; None: nothing does.

    Raises
    ------
    ConfigError
        When a file cannot be written or a given certificate not be used.
    """
    folder = broker_folder(data_dir)
    pair = pair_of(data_dir, options, now)
    write_private(folder / PASSWORDS_NAME, "".join(f"{user}:{hashed(word)}\n" for user, word in passwords.items()))
    write_private(folder / ACCESS_NAME, access_text(folder, discovery))
    write_private(folder / SETTINGS_NAME, settings_text(folder, options, pair, link_of(folder)))
    kept = {key: value for key, value in asdict(options).items() if value not in ("", ())}
    write_table(folder / OPTIONS_NAME, kept)
    return pair


def access_text(folder: Path, discovery: str | None = None) -> str:
    """Who may say and hear what, the shops that come in over bridges too."""
    sites = sites_of(folder)
    text = ACCESS.replace("\n\n", SERVED_SITES, 1) + access_lines(sites) if sites else ACCESS
    return text if discovery is None else text + DESCRIBED.format(discovery=discovery)


def settings_text(folder: Path, options: BrokerOptions, pair: Pair, link: Link | None = None) -> str:
    """The text of ``mosquitto.conf``.

    Parameters
    ----------
    link
        To the central broker, where there is one.
    """
    lines = [
        "# Written by `proofing-monitor broker configure`, which writes it anew each time.",
        f"listener {options.port} {options.listen}",
        f"certfile {pair.certificate}",
        f"keyfile {pair.key}",
        "tls_version tlsv1.2",  # the least, not the only one
        "",
        f"password_file {folder / PASSWORDS_NAME}",
        f"acl_file {folder / ACCESS_NAME}",
        *(f"{key} {value}" for key, value, _ in MUST),
        "",
        "persistence true",
        f"persistence_location {folder}/",
        "autosave_interval 1",
        f"max_queued_messages {QUEUED_MESSAGES}",
        "log_dest stderr",
        *(settings_lines(folder, link) if link is not None else ()),
    ]
    if os.geteuid() == 0:  # else it would become a user of its own, who may not read these files
        lines.insert(1, f"user {getpass.getuser()}")
    return "\n".join(lines) + "\n"


def hashed(password: str, salt: bytes | None = None, rounds: int = ROUNDS) -> str:
    """A password as mosquitto 2 keeps it: PBKDF2 with SHA-512 (its form ``$7$rounds$salt$hash``)."""
    salt = secrets.token_bytes(12) if salt is None else salt
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, rounds)
    return f"$7${rounds}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def is_password(password: str, kept: str) -> bool:
    """True when a password is the one that was kept by :func:`hashed` or by mosquitto's own tool."""
    match = re.fullmatch(r"\$7\$(\d{1,8})\$([A-Za-z0-9+/=]+)\$[A-Za-z0-9+/=]+", kept)
    if match is None:
        return False
    return hmac.compare_digest(hashed(password, base64.b64decode(match[2]), int(match[1])), kept)


def settings_faults(text: str) -> list[str]:
    """What in a broker's settings would let in who should stay out."""
    lines = [line.split(None, 1) for line in map(str.strip, text.splitlines()) if line and not line.startswith("#")]
    pairs = [(line[0], line[1] if len(line) > 1 else "") for line in lines]
    values = dict(pairs)
    unset = Translatable("not set")
    faults: list[str] = [
        Translatable(
            "{key} is {found}, so {why}; set it to {value}",
            key=key,
            found=values.get(key, unset),
            why=why,
            value=value,
        )
        for key, value, why in MUST
        if values.get(key) != value
    ]
    if "connection" in values and not {"bridge_cafile", "bridge_capath"} & values.keys():
        faults.append(Translatable("its bridge speaks without TLS; its password could be read on the way"))
    for key in ("password_file", "acl_file"):
        if not values.get(key):
            faults.append(Translatable("{key} is not set, so every node could speak as any other", key=key))
    # Options after a listener are its own, up to the next one.
    starts = [at for at, (key, _) in enumerate(pairs) if key in ("listener", "port")]
    for start, end in zip(starts, [*starts[1:], len(pairs)], strict=True):
        where = pairs[start][1].split()
        host = where[1] if len(where) > 1 else ""
        own = {key for key, value in pairs[start:end] if value}
        if not is_loopback(host) and not {"certfile", "keyfile"} <= own:
            faults.append(
                Translatable(
                    "it listens on {host} without TLS; passwords could be read on the way",
                    host=host or Translatable("every address"),
                )
            )
    return faults


def kept_passwords(folder: Path) -> dict[str, str]:
    """User name -> hashed password, as the broker's file has them.

    Raises
    ------
    ConfigError
        When the file cannot be read.
    """
    path = folder / PASSWORDS_NAME
    try:
        text = bounded_bytes(path, LARGEST_BYTES).decode()
    except (OSError, UnicodeDecodeError) as err:
        raise ConfigError("{path}: cannot be read ({why}); configure the broker anew", path=path, why=err) from err
    return dict(line.split(":", 1) for line in text.splitlines() if ":" in line)


def users_of(nodes: Mapping[str, NodeSettings]) -> dict[str, str]:
    """User name -> password of each node, by its key on the wire.

    Raises
    ------
    ConfigError
        When one has no password.
    """
    for label, settings in nodes.items():
        if not settings.mqtt_password:
            raise ConfigError(
                "node {label} has no password: write it anew with `node configure {label} --mqtt URL`", label=label
            )
    return {key_of(settings.name): settings.mqtt_password for settings in nodes.values()}
