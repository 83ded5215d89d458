"""What the baker has set: one TOML file, secrets apart from it, every fault named at once.

Everything works with no file at all. The file is ``config.toml`` in the data directory:

.. code-block:: toml

    serial = ["/dev/ttyUSB0"]                         # paths or hardware ids of nodes on a cable
    mqtt = ["mqtts://collector@192.168.1.20:8883"]    # brokers; plain mqtt:// on this machine alone
    mqtt_ca_file = "authority/ca.pem"                 # for mqtts:// with a certificate of your own making
    notify_inside = ["127.0.0.1"]                     # hosts in this machine that messages may go to all the same
    timezone = "Europe/Vienna"                        # and how else things are told: see monitor.settings.manners
    site = "high-street"                              # this shop, where there are several: see monitor.settings.places

    [alerts]                                          # any limit of the alert rules, for example
    silence_min = 10

    [calls]                                           # how calls go out: see monitor.bakery.calls
    quiet = "21:30-04:00"                             # only what wakes is called then
    wakes = ["ready", "node silent"]                  # and again until it is answered

    [dashboard]                                       # who may look and write, see monitor.settings.access
    login = "proxy"
    bakers = ["anna"]

    [central]                                         # where several sites come together: see monitor.settings.centre
    url = "https://central.example:8086"

    [places]                                          # which node stands where
    "urn:dev:mac:020000fffe5e0001" = "cabinet-2/shelf-3"

Secrets never stand in that file. They come from the environment (``PROOFING_MQTT_PASSWORD``,
``PROOFING_NOTIFY_URLS`` with one address a word, and with it ``PROOFING_NOTIFY_INSIDE``) or from ``secrets.toml``
beside it, which only its owner may read:

.. code-block:: toml

    mqtt_password = "..."                             # for every broker not named below
    notify_urls = ["ntfy://...", "mailto://..."]      # where messages go: the second when the first does not take one

    [[recipients]]                                    # or, for several people: who is called first, and who next
    name = "early shift"
    notify_urls = ["ntfy://..."]
    proxy_secret = "..."                              # by which the screens know their proxy
    heartbeat_url = "https://..."                     # called every minute while all works; it holds a key
    influx_token = "..."                              # for the central store

    [mqtt_passwords]
    "collector@192.168.1.20:1883" = "..."
"""

import difflib
import os
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from monitor.bakery.alerts import AlertKind, Rules
from monitor.bakery.calls import CallRules
from monitor.bakery.manner import Manner
from monitor.errors import ConfigError, MonitorError, saying_of
from monitor.files import bounded_bytes, privacy_fault
from monitor.network import is_loopback
from monitor.sayings import Saying, several
from monitor.settings import manners
from monitor.settings.access import Access, Login, access_from
from monitor.settings.calling import ONLY_RECIPIENT, Reachable, calls_from, recipients_from
from monitor.settings.centre import Centre, centre_from, centre_lines
from monitor.settings.places import USUAL_SITE, Place, places_from, serves_from, site_from
from monitor.settings.upkeep import Upkeep, upkeep_from
from monitor.wire.readings import NodeId

CONFIG_NAME = "config.toml"
SECRETS_NAME = "secrets.toml"
DATABASE_NAME = "proofing.sqlite"
SITES_NAME = "sites"
"""Folder of a data directory in which copies of other sites' stores lie, each in a folder of its site's name."""
MQTT_PORTS = {"mqtt": 1883, "mqtts": 8883}  # IANA service name registry: "mqtt", "secure-mqtt"
MASK = "****"
LARGEST_FILE_BYTES = 1_000_000  # judgement: a hundred times what anybody writes by hand

_KEYS = (
    "serial",
    "mqtt",
    "mqtt_ca_file",
    "notify_inside",
    *manners.KEYS,
    "alerts",
    "calls",
    "dashboard",
    "upkeep",
    "central",
    "site",
    "serves",
    "places",
)
_SECRET_KEYS = (
    "mqtt_password",
    "mqtt_passwords",
    "notify_urls",
    "recipients",
    "proxy_secret",
    "heartbeat_url",
    "influx_token",
)


def default_data_dir(environ: Mapping[str, str]) -> Path:
    """Where the database and the settings lie when nothing else is said."""
    if environ.get("PROOFING_DATA_DIR"):
        return Path(environ["PROOFING_DATA_DIR"]).expanduser()
    base = environ.get("XDG_DATA_HOME") or "~/.local/share"  # XDG Base Directory Specification 0.8
    return Path(base).expanduser() / "proofing-monitor"


def settings_folder(data_dir: Path) -> Path:
    """Where the settings of a data directory lie: in itself; those of a copy, where it was copied into."""
    is_copy = data_dir.parent.name == SITES_NAME and not (data_dir / CONFIG_NAME).exists()
    return data_dir.parent.parent if is_copy else data_dir


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


@dataclass(frozen=True, slots=True)
class Config:
    """The settings in force.

    Attributes
    ----------
    mqtt_ca_file
        Certificates to trust for ``mqtts``; None: the machine's own.
    notify_inside
        Hosts inside this machine or network that messages may go to all the same.
    manner
        How messages and screens tell things.
    site
        Name of the shop this is, for whoever looks at several.
    places
        Where nodes stand, as far as it was said.
    serves
        Other sites, without a collector, whose nodes speak to this one over a central broker.
    """

    data_dir: Path
    serial: tuple[str, ...] = ()
    mqtt: tuple[MqttAddress, ...] = ()
    mqtt_ca_file: Path | None = None
    manner: Manner = field(default_factory=lambda: Manner(manners.local_zone()))
    rules: Rules = field(default_factory=Rules)
    calls: CallRules = field(default_factory=CallRules)
    notify_inside: tuple[str, ...] = ()
    access: Access = field(default_factory=Access)
    upkeep: Upkeep = field(default_factory=Upkeep)
    secrets: Secrets = field(default_factory=Secrets)
    site: str = USUAL_SITE
    places: Mapping[NodeId, Place] = field(default_factory=dict)
    serves: tuple[str, ...] = ()
    centre: Centre | None = None

    @property
    def database(self) -> Path:
        """The file that holds readings, batches, outlooks and messages."""
        return self.data_dir / DATABASE_NAME

    @property
    def has_sources(self) -> bool:
        """True when there is at least one place where readings can come from."""
        return bool(self.serial or self.mqtt)

    def with_sources(self, serial: Iterable[str], mqtt: Iterable[MqttAddress]) -> "Config":
        """These settings with sources named on the command line added, each once.

        Raises
        ------
        ConfigError
            When it is not known who logs in at a broker beyond this machine.
        """
        together = replace(
            self,
            serial=tuple(dict.fromkeys((*self.serial, *serial))),
            mqtt=tuple(dict.fromkeys((*self.mqtt, *mqtt))),
        )
        faults = [fault for address in together.mqtt if (fault := together.login_fault(address))]
        if faults:
            raise ConfigError(several(faults, "\n"))
        return together

    def login_fault(self, address: MqttAddress) -> str:
        """What is missing to log in at a broker beyond this machine; empty when nothing is."""
        if is_loopback(address.host) or (address.user and self.secrets.password_for(address)):
            return ""
        if not address.user:
            return Saying(
                "broker {url}: say who logs in there: {scheme}://collector@{key}",
                url=address.url,
                scheme=address.scheme,
                key=address.key,
            )
        return (
            f"broker {address.url}: its password is not known; set PROOFING_MQTT_PASSWORD, or write it into "
            f'{SECRETS_NAME} under [mqtt_passwords]: "{address.key}" = "..."'
        )


class _Faults:
    """Every fault of one file, told together."""

    def __init__(self, where: Path) -> None:
        self.where = where
        self.found: list[str] = []

    def unknown(self, table: Mapping[str, Any], known: Iterable[str], prefix: str = "") -> None:
        names = tuple(known)
        for key in table:
            if key not in names:
                near = difflib.get_close_matches(key, names, n=1)
                hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(names)}"
                self.found.append(Saying("{prefix}{key} is not a setting; {hint}", prefix=prefix, key=key, hint=hint))

    def texts(self, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
        value = table.get(key, [])
        if isinstance(value, list) and all(isinstance(item, str) and item.strip() for item in value):
            return tuple(item.strip() for item in value)
        self.found.append(Saying('{key} must be a list of texts, such as {key} = ["..."]', key=key))
        return ()


def mqtt_address(url: str) -> MqttAddress:
    """A broker's address from ``mqtt://user@host:port``, or ``mqtts://`` for a secured line.

    Raises
    ------
    ConfigError
        When it is no such address, holds a password, which others could read in a list of processes, or would speak
        unsecured beyond this machine.
    """
    parts = urlsplit(url)
    try:
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
    if parts.scheme == "mqtt" and not is_loopback(parts.hostname):
        secured = replace(address, scheme="mqtts", port=MQTT_PORTS["mqtts"])
        raise ConfigError(
            "mqtt address {url}: readings and passwords would cross the network for all to read; "
            "plain mqtt:// is for this machine alone. Write {secured}; `proofing-monitor broker "
            "configure` makes the broker's settings and certificates for it",
            url=address.url,
            secured=secured.url,
        )
    return address


def _mqtt(urls: Iterable[str], faults: _Faults) -> tuple[MqttAddress, ...]:
    found = []
    for url in urls:
        try:
            found.append(mqtt_address(url))
        except ConfigError as err:
            faults.found.append(saying_of(err))
    return tuple(found)


def _rules(table: object, faults: _Faults) -> Rules:
    if not isinstance(table, Mapping):
        faults.found.append(Saying("alerts must be a table: [alerts] with one limit a line"))
        return Rules()
    known = [item.name for item in fields(Rules) if isinstance(getattr(Rules(), item.name), int | float)]
    faults.unknown(table, known, "alerts.")
    values: dict[str, Any] = {}
    for key in known:
        if key in table:
            value = table[key]
            if isinstance(value, int | float) and not isinstance(value, bool):
                values[key] = float(value)
            else:
                faults.found.append(Saying("alerts.{key} = {value!r} must be a number", key=key, value=value))
    try:
        return replace(Rules(), **values)
    except ValueError as err:
        faults.found.append(Saying("alerts: {why}", why=err))
        return Rules()


def _table(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(bounded_bytes(path, LARGEST_FILE_BYTES).decode())
    except FileNotFoundError:
        raise ConfigError("{path}: there is no such file; check the name", path=path) from None
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); check its owner and rights", path=path, why=err.strerror
        ) from err
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as err:
        raise ConfigError("{path}: is not valid TOML: {why}", path=path, why=err) from err


def _secrets(path: Path | None, environ: Mapping[str, str], faults: list[str]) -> Secrets:
    password: str | None = None
    passwords: dict[str, str] = {}
    urls: tuple[str, ...] = ()
    proxy_secret: str | None = None
    heartbeat_url: str | None = None
    recipients: tuple[Reachable, ...] = ()
    influx_token: str | None = None
    if path is not None:
        mine = _Faults(path)
        if fault := privacy_fault(path):
            mine.found.append(fault)
        table = _table(path)
        mine.unknown(table, _SECRET_KEYS)
        urls = mine.texts(table, "notify_urls")
        recipients, recipient_faults = recipients_from(table.get("recipients", []))
        mine.found += recipient_faults
        if urls and recipients:
            mine.found.append(Saying("give either notify_urls or [[recipients]], not both"))
        password = table.get("mqtt_password")
        named = table.get("mqtt_passwords", {})
        if password is not None and not isinstance(password, str):
            mine.found.append(Saying("mqtt_password must be a text in quotes"))
        proxy_secret = table.get("proxy_secret")
        if proxy_secret is not None and not (isinstance(proxy_secret, str) and proxy_secret):
            mine.found.append(Saying("proxy_secret must be a text in quotes"))
        heartbeat_url = table.get("heartbeat_url")
        if heartbeat_url is not None and not (
            isinstance(heartbeat_url, str) and heartbeat_url.startswith(("https://", "http://"))
        ):
            mine.found.append(Saying("heartbeat_url must be a text in quotes that begins with https:// or http://"))
        influx_token = table.get("influx_token")
        if influx_token is not None and not (isinstance(influx_token, str) and influx_token):
            mine.found.append(Saying("influx_token must be a text in quotes"))
        if isinstance(named, Mapping) and all(isinstance(value, str) for value in named.values()):
            passwords = dict(named)
        else:
            mine.found.append(Saying('mqtt_passwords must hold lines like "user@host:1883" = "..."'))
        faults.extend(Saying("{path}: {fault}", path=path, fault=fault) for fault in mine.found)
    if environ.get("PROOFING_NOTIFY_URLS"):
        urls, recipients = tuple(environ["PROOFING_NOTIFY_URLS"].split()), ()
    heartbeat_url = environ.get("PROOFING_HEARTBEAT_URL") or heartbeat_url
    password = environ.get("PROOFING_MQTT_PASSWORD") or password
    influx_token = environ.get("PROOFING_INFLUX_TOKEN") or influx_token
    return Secrets(password, passwords, urls, proxy_secret, heartbeat_url, recipients, influx_token)


def load_config(
    data_dir: Path,
    environ: Mapping[str, str] = os.environ,
    *,
    config_path: Path | None = None,
    secrets_path: Path | None = None,
) -> Config:
    """The settings in force for a data directory.

    Parameters
    ----------
    config_path, secrets_path
        Files named by the baker, which must exist; None: ``config.toml`` and ``secrets.toml`` in ``data_dir``, each
        of which may be absent.

    Raises
    ------
    ConfigError
        With every fault of both files, one a line: file, key, and what would be right.
    """
    home = settings_folder(data_dir)
    path = config_path or home / CONFIG_NAME
    table: dict[str, Any] = _table(path) if config_path is not None or path.exists() else {}
    faults = _Faults(path)
    faults.unknown(table, _KEYS)
    serial = faults.texts(table, "serial")
    mqtt = _mqtt(faults.texts(table, "mqtt"), faults)
    ca_file = table.get("mqtt_ca_file")
    if ca_file is not None and not isinstance(ca_file, str):
        faults.found.append(Saying("mqtt_ca_file must be a text in quotes, the name of a file"))
    manner, manner_faults = manners.manner_from(table)
    faults.found += manner_faults
    rules = _rules(table.get("alerts", {}), faults)
    calls, call_faults = calls_from(table.get("calls", {}))
    faults.found += call_faults
    inside = (*faults.texts(table, "notify_inside"), *environ.get("PROOFING_NOTIFY_INSIDE", "").split())
    site, site_faults = site_from(table.get("site") if home == data_dir else data_dir.name)
    access, access_faults = access_from(table.get("dashboard", {}), site)
    faults.found += access_faults
    upkeep, upkeep_faults = upkeep_from(table.get("upkeep", {}), data_dir)
    faults.found += upkeep_faults
    places, place_faults = places_from(table.get("places", {}), site)
    serves, serves_faults = serves_from(table.get("serves", []), site)
    faults.found += site_faults + place_faults + serves_faults
    centre, centre_faults = centre_from(table.get("central"), path.parent)
    faults.found += centre_faults
    found: list[str] = [Saying("{path}: {fault}", path=path, fault=fault) for fault in faults.found]
    beside = home / SECRETS_NAME
    if secrets_path is not None and not secrets_path.exists():
        found.append(Saying("{secrets_path}: there is no such file; check the name", secrets_path=secrets_path))
        secrets_path = None
    elif secrets_path is None and beside.exists():
        secrets_path = beside
    secrets = _secrets(secrets_path, environ, found)
    if found:
        raise ConfigError(several(found, "\n"))
    return Config(
        data_dir,
        serial,
        mqtt,
        None if ca_file is None else path.parent / ca_file,
        manner,
        rules,
        calls,
        inside,
        access,
        upkeep,
        secrets,
        site,
        places,
        serves,
        centre,
    )


def manner_of(data_dir: Path, config_path: Path | None = None) -> Manner:
    """How things are told by the settings of a data directory; as is usual where these cannot be read."""
    try:
        return load_config(data_dir, {}, config_path=config_path).manner
    except MonitorError:
        return Config(data_dir).manner


def load_access(data_dir: Path) -> tuple[Access, str | None]:
    """Who may look and write, and the proxy's secret, whatever else the settings say.

    Raises
    ------
    ConfigError
        When that cannot be known for sure.
    """
    home = settings_folder(data_dir)
    path = home / CONFIG_NAME
    table = _table(path) if path.exists() else {}
    site, found = site_from(table.get("site") if home == data_dir else data_dir.name)
    access, access_faults = access_from(table.get("dashboard", {}), site)
    faults: list[str] = [Saying("{path}: {fault}", path=path, fault=fault) for fault in found + access_faults]
    secrets = Secrets()
    if access.login is Login.PROXY:
        beside = home / SECRETS_NAME
        secrets = _secrets(beside if beside.exists() else None, {}, faults)
        if secrets.proxy_secret is None:
            faults.append(
                Saying("{beside}: holds no proxy_secret; run `proofing-monitor proxy configure`", beside=beside)
            )
    if faults:
        raise ConfigError(several(faults, "\n"))
    return access, secrets.proxy_secret


def effective_settings(config: Config) -> list[str]:
    """The settings in force, one a line, with every secret masked."""
    lines = [
        f"data_dir = {config.data_dir}",
        f"site = {config.site}",
        f"serves = {', '.join(config.serves) or 'itself'}",
        f"serial = {', '.join(config.serial) or 'none'}",
        f"mqtt = {', '.join(address.url for address in config.mqtt) or 'none'}",
        *manners.settings_lines(config.manner),
    ]
    lines += [
        f"alerts.{item.name} = {getattr(config.rules, item.name):g}"
        for item in fields(config.rules)
        if isinstance(getattr(config.rules, item.name), int | float)
    ]
    lines += [
        f"notify_inside = {', '.join(config.notify_inside) or 'none'}",
        f"dashboard.login = {config.access.login}, {len(config.access.bakers)} bakers, "
        f"{len(config.access.viewers)} viewers; at single sites {len(config.access.at_sites)}",
    ]
    lines += [
        f"mqtt password for {address.key} = {MASK if config.secrets.password_for(address) else 'none'}"
        for address in config.mqtt
    ]
    quiet = config.calls.quiet
    lines += [
        f"calls.quiet = {f'{quiet.start:%H:%M}-{quiet.end:%H:%M}' if quiet else 'never'}",
        f"calls.wakes = {', '.join(kind for kind in AlertKind if kind in config.calls.wakes) or 'nothing'}",
        f"calls.repeat_min = {config.calls.repeat_min:g}",
    ]
    lines += [
        f"recipient {who.name} = {', '.join(f'{urlsplit(url).scheme}://{MASK}' for url in who.urls)}"
        for who in config.secrets.recipients
    ]
    lines += [f"places.{node} = {place.within_site}" for node, place in config.places.items()]
    lines += [f"upkeep.{item.name} = {getattr(config.upkeep, item.name) or 'none'}" for item in fields(Upkeep)]
    lines += centre_lines(config.centre)
    lines.append(f"influx_token = {MASK if config.secrets.influx_token else 'none'}")
    lines.append(f"heartbeat_url = {MASK if config.secrets.heartbeat_url else 'none'}")
    return lines
