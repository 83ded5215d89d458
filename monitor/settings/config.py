"""What the baker has set: one TOML file, secrets apart from it, every fault named at once.

Everything works with no file at all. The file is ``config.toml`` in the data directory:

.. code-block:: toml

    serial = ["/dev/ttyUSB0"]                         # paths or hardware ids of nodes on a cable
    mqtt = ["mqtts://collector@192.168.1.20:8883"]    # brokers; plain mqtt:// on this machine alone
    mqtt_ca_file = "authority/ca.pem"                 # for mqtts:// with a certificate of your own making
    allow_plain_mqtt = false                          # true: mqtt:// on a network that is yours alone, too
    notify_inside = ["127.0.0.1"]                     # hosts in this machine that messages may go to all the same
    timezone = "Europe/Vienna"                        # and how else things are told: see monitor.settings.reader
    site = "high-street"                              # this shop, where there are several: see monitor.settings.places

    [alerts]                                          # any limit of the alert rules, for example
    silence_min = 10

    [calls]                                           # how calls go out: see monitor.alerts.calls
    quiet = "21:30-04:00"                             # only what wakes is called then
    wakes = ["ready", "node silent"]                  # and again until it is answered

    [dashboard]                                       # who may look and write, see monitor.settings.access
    login = "proxy"
    bakers = ["anna"]

    [publish]                                         # what other programs are told: see monitor.settings.publish
    mqtt = "mqtts://publisher@localhost:8883"

    [central]                                         # where several sites come together: see monitor.settings.shops
    url = "https://central.example:8086"

    [replica]                                         # where the store is shipped to: see monitor.settings.replica
    url = "s3://bakery/high-street"

    [[sensor]]                                        # a device that is no node: see monitor.settings.sensors
    topic = "house/cellar/state"
    pointer = "/temperature"
    channel = "air"
    unit = "Cel"

    [places]                                          # which node stands where
    "urn:dev:mac:020000fffe5e0001" = "cabinet-2/shelf-3"

Secrets never stand in that file: see monitor.settings.secrets. ``PROOFING_NOTIFY_INSIDE`` adds hosts to
``notify_inside``.
"""

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from monitor.alerts.calls import CallRules
from monitor.alerts.dough import Rules
from monitor.errors import ConfigError, MonitorError
from monitor.settings import reader as reading
from monitor.settings.access import Access, access_from
from monitor.settings.alerts import rules_from
from monitor.settings.brokers import MqttAddress, brokers_from, login_fault
from monitor.settings.calls import calls_from
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME, SECRETS_NAME, settings_folder
from monitor.settings.places import USUAL_SITE, Place, places_from, serves_from, site_from
from monitor.settings.publish import Publish, publish_from
from monitor.settings.replica import Shipping, Target, shipping_from, shops_from
from monitor.settings.secrets import Secrets, read_secrets
from monitor.settings.sensors import sensors_from
from monitor.settings.shops import Centre, centre_from
from monitor.settings.toml_file import of_file, read_table, table_in, texts, unknown_keys
from monitor.settings.upkeep import Upkeep, upkeep_from
from monitor.translatable import Translatable, joined
from monitor.wire.foreign import ForeignSensor
from monitor.wire.readings import NodeId
from monitor.wording.reader import Reader

KEYS = (
    "serial",
    "mqtt",
    "mqtt_ca_file",
    "allow_plain_mqtt",
    "notify_inside",
    *reading.KEYS,
    "alerts",
    "calls",
    "dashboard",
    "upkeep",
    "publish",
    "central",
    "replica",
    "shops",
    "site",
    "serves",
    "places",
    "sensor",
)


@dataclass(frozen=True, slots=True)
class Config:
    """The settings in force.

    Attributes
    ----------
    mqtt_ca_file
        Certificates to trust for ``mqtts``; None: the machine's own.
    notify_inside
        Hosts inside this machine or network that messages may go to all the same.
    reader
        How messages and screens tell things.
    site
        Name of the shop this is, for whoever looks at several.
    places
        Where nodes stand, as far as it was said.
    serves
        Other sites, without a collector, whose nodes speak to this one over a central broker.
    shipping
        Where the store is shipped to, continuously; None: nowhere.
    allow_plain_mqtt
        A broker beyond this machine may be spoken to without TLS.
    sensors
        What devices that are no nodes of ours send.
    shops
        Where the stores of the shops lie that are shown here, by their names.
    """

    data_dir: Path
    serial: tuple[str, ...] = ()
    mqtt: tuple[MqttAddress, ...] = ()
    mqtt_ca_file: Path | None = None
    reader: Reader = field(default_factory=lambda: Reader(reading.local_zone()))
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
    shipping: Shipping | None = None
    shops: Mapping[str, Target] = field(default_factory=dict)
    sensors: tuple[ForeignSensor, ...] = ()
    allow_plain_mqtt: bool = False
    publish: Publish = field(default_factory=Publish)

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
        if told := self.publish.fault(together.mqtt, self.secrets):
            faults.append(told)
        if faults:
            raise ConfigError(joined(faults, "\n"))
        return together

    def login_fault(self, address: MqttAddress) -> str:
        """What is missing to log in at a broker beyond this machine; empty when nothing is."""
        return login_fault(address, self.secrets.password_for(address))


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
    table: dict[str, Any] = read_table(path) if config_path is not None or path.exists() else {}
    faults = unknown_keys(table, KEYS)
    serial = texts(table, "serial", faults)
    allow_plain_mqtt = table.get("allow_plain_mqtt", False)
    if not isinstance(allow_plain_mqtt, bool):
        faults.append(Translatable("allow_plain_mqtt must be true or false"))
    mqtt, mqtt_faults = brokers_from(texts(table, "mqtt", faults), may_be_plain=allow_plain_mqtt is True)
    faults += mqtt_faults
    ca_file = table.get("mqtt_ca_file")
    if ca_file is not None and not isinstance(ca_file, str):
        faults.append(Translatable("mqtt_ca_file must be a text in quotes, the name of a file"))
    reader, reader_faults = reading.reader_from(table)
    rules, rule_faults = rules_from(table_in(table, "alerts", faults) or {})
    calls, call_faults = calls_from(table_in(table, "calls", faults) or {})
    faults += reader_faults + rule_faults + call_faults
    inside = (*texts(table, "notify_inside", faults), *environ.get("PROOFING_NOTIFY_INSIDE", "").split())
    site, site_faults = site_from(table.get("site") if home == data_dir else data_dir.name)
    access, access_faults = access_from(table_in(table, "dashboard", faults) or {}, site)
    upkeep, upkeep_faults = upkeep_from(table_in(table, "upkeep", faults) or {}, data_dir)
    told = table_in(table, "publish", faults) or {}
    publish, publish_faults = publish_from(told, may_be_plain=allow_plain_mqtt is True)
    places, place_faults = places_from(table_in(table, "places", faults) or {}, site)
    sensors, sensor_places, sensor_faults = sensors_from(table.get("sensor", []), site)
    serves, serves_faults = serves_from(table.get("serves", []), site)
    centre = centre_from(table_in(table, "central", faults), path.parent, faults)
    shipped = table_in(table, "replica", faults) if home == data_dir else None
    shipping = shipping_from(shipped, path.parent, faults)
    shops = shops_from(table_in(table, "shops", faults), path.parent, faults)
    faults += sensor_faults
    faults += access_faults + upkeep_faults + publish_faults + site_faults + place_faults + serves_faults
    found = of_file(path, faults)
    beside = home / SECRETS_NAME
    if secrets_path is not None and not secrets_path.exists():
        found.append(Translatable("{secrets_path}: there is no such file; check the name", secrets_path=secrets_path))
        secrets_path = None
    elif secrets_path is None and beside.exists():
        secrets_path = beside
    secrets, secret_faults = read_secrets(secrets_path, environ)
    found += secret_faults
    if found:
        raise ConfigError(joined(found, "\n"))
    return Config(
        data_dir,
        serial,
        mqtt,
        None if ca_file is None else path.parent / ca_file,
        reader,
        rules,
        calls,
        inside,
        access,
        upkeep,
        secrets,
        site,
        {**sensor_places, **places},
        serves,
        centre,
        shipping,
        shops,
        sensors,
        allow_plain_mqtt,
        publish,
    )


def reader_of(data_dir: Path, config_path: Path | None = None) -> Reader:
    """How things are told by the settings of a data directory; as is usual where these cannot be read."""
    try:
        return load_config(data_dir, {}, config_path=config_path).reader
    except (MonitorError, OSError):
        return Config(data_dir).reader
