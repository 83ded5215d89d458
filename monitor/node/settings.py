"""What a board is told: the file ``config.txt`` of ``key=value`` lines, written here and read by the node.

The format stands in ``firmware_sim/README.md``. The file holds passwords, so only its owner may read it; nothing here
prints them.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from math import isfinite
from pathlib import Path

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, write_private
from monitor.recipe.toml_tables import NODE_NAME
from monitor.settings.brokers import MQTT_PORTS
from monitor.translatable import Translatable, joined
from monitor.wire.readings import NodeId

FOLDER = "nodes"
LARGEST_BYTES = 100_000  # judgement: a hundred times such a file
LONGEST_LINE = 200  # bytes: what the node reads at once
SECRET_KEYS = ("wifi_password", "mqtt_password")
PASSWORD_BYTES = 18  # judgement: beyond guessing, short enough for every broker


class Board(StrEnum):
    """Class of board; it decides which pins are wired."""

    ESP32 = "esp32"
    RP2040 = "rp2040"


class Link(StrEnum):
    """How a node speaks to the collector."""

    SERIAL = "serial"  # over the USB cable
    MQTT = "mqtt"


class AirSensor(StrEnum):
    """Class of air sensor."""

    SHT4X = "sht4x"
    NONE = "none"


class Probe(StrEnum):
    """Class of dough probe."""

    DS18B20 = "ds18b20"
    NONE = "none"


class Ranger(StrEnum):
    """Class of distance sensor."""

    TOF = "tof"
    ULTRASONIC = "ultrasonic"
    NONE = "none"


# GPIO numbers free for these jobs on boards of each class: I2C, 1-Wire, the ranger's serial line or its two pins.
PINS: Mapping[Board, Mapping[str, int]] = {
    Board.ESP32: {
        "pin_sda": 21,
        "pin_scl": 22,
        "pin_probe": 27,
        "pin_tx": 17,
        "pin_rx": 16,
        "pin_trigger": 25,
        "pin_echo": 26,
    },
    Board.RP2040: {
        "pin_sda": 4,
        "pin_scl": 5,
        "pin_probe": 15,
        "pin_tx": 8,
        "pin_rx": 9,
        "pin_trigger": 13,
        "pin_echo": 14,
    },
}


@dataclass(frozen=True, slots=True)
class NodeSettings:
    """What one board is told; an empty text or None means that nothing is said. Its text form shows no password.

    Attributes
    ----------
    sensor_height_mm
        Distance sensor to the base of the empty vessel.
    pin_sda and the like
        Pins of one's own; None: those of the board's class.

    Raises
    ------
    ConfigError
        When the board could not work by it: every fault, one a line.
    """

    name: NodeId
    site: str = ""
    board: Board = Board.ESP32
    link: Link = Link.SERIAL
    period_s: int = 30
    room: int = 240
    wifi_name: str = ""
    wifi_password: str = field(default="", repr=False)
    mqtt_host: str = ""
    mqtt_port: int = MQTT_PORTS["mqtt"]
    mqtt_tls: int = 0
    mqtt_ca: str = ""
    mqtt_password: str = field(default="", repr=False)
    air: AirSensor = AirSensor.SHT4X
    dough: Probe = Probe.DS18B20
    distance: Ranger = Ranger.TOF
    sensor_height_mm: float | None = None
    watchdog: int = 0
    pin_sda: int | None = None
    pin_scl: int | None = None
    pin_probe: int | None = None
    pin_tx: int | None = None
    pin_rx: int | None = None
    pin_trigger: int | None = None
    pin_echo: int | None = None
    pin_battery: int | None = None
    battery_ratio: float | None = None

    def __post_init__(self) -> None:
        faults = [fault for fault in self._faults() if fault]
        if faults:
            raise ConfigError(joined(faults, "\n"))

    def _faults(self) -> list[str]:
        height_mm = self.sensor_height_mm
        faults = [
            "" if NODE_NAME.fullmatch(self.name) else "name: must look like urn:dev:mac:020000fffe5e0001",
            "" if 1 <= self.period_s <= 3600 else "period_s: must be from 1 to 3600 seconds",
            "" if 6 <= self.room <= 2000 else "room: must be from 6 to 2000 packs",
            "" if 1 <= self.mqtt_port <= 65535 else "mqtt_port: must be from 1 to 65535",
            "" if self.mqtt_tls in (0, 1) else "mqtt_tls: must be 0 or 1",
            "" if self.watchdog in (0, 1) else "watchdog: must be 0 or 1",
            ""
            if height_mm is None or (isfinite(height_mm) and 5.0 < height_mm <= 4000.0)
            else "sensor_height_mm: must be above 5 and at most 4000",
            ""
            if self.battery_ratio is None or 1.0 <= self.battery_ratio <= 20.0
            else "battery_ratio: must be from 1 to 20",
        ]
        for key in (*PINS[self.board], "pin_battery"):
            pin = getattr(self, key)
            if pin is not None and not 0 <= pin <= 48:
                faults.append(f"{key}: must be from 0 to 48")
        if self.link is Link.MQTT:
            faults.append("" if self.mqtt_host else "mqtt_host: is missing; name the broker with --mqtt")
            faults.append("" if self.wifi_name else "wifi_name: is missing; name the wireless network with --wifi")
        for key in ("site", "wifi_name", "wifi_password", "mqtt_host", "mqtt_ca", "mqtt_password"):
            text = getattr(self, key)
            if text != text.strip() or not text.isprintable():
                faults.append(Translatable("{key}: must be printable text without spaces at its ends", key=key))
            elif len(f"{key}={text}".encode()) > LONGEST_LINE:
                faults.append(
                    Translatable(
                        "{key}: is too long for a line of {longest_line} bytes", key=key, longest_line=LONGEST_LINE
                    )
                )
        return faults


def drawn_name() -> NodeId:
    """A name for a new node: a made-up hardware address, marked as given by hand (bit 1 of the first byte)."""
    digits = secrets.token_hex(5)
    return NodeId(f"urn:dev:mac:02{digits[:4]}fffe{digits[4:]}")


def drawn_password() -> str:
    """A password for one node at its broker."""
    return secrets.token_urlsafe(PASSWORD_BYTES)


def config_text(settings: NodeSettings) -> str:
    """The text of ``config.txt``, pins of the board's class included."""
    lines = ["# What this board is told. Holds passwords: keep it to yourself."]
    for item in fields(settings):
        value = getattr(settings, item.name)
        if value not in ("", None):
            lines.append(f"{item.name}={value:g}" if isinstance(value, float) else f"{item.name}={value}")
    lines += [f"{key}={pin}" for key, pin in PINS[settings.board].items() if getattr(settings, key) is None]
    return "\n".join(lines) + "\n"


def settings_from_text(text: str, where: str) -> NodeSettings:
    """The settings of a ``config.txt``; what it does not say is as a board takes it, unknown keys are ignored.

    Raises
    ------
    ConfigError
        When a value is not understood, or there is no name.
    """
    pairs: dict[str, str] = {}
    for line in text.splitlines():
        key, sign, value = line.strip().partition("=")
        if sign and not key.startswith("#"):
            pairs[key] = value
    kinds = {
        "name": NodeId, "board": Board, "link": Link, "air": AirSensor, "dough": Probe, "distance": Ranger,
        "period_s": int, "room": int, "mqtt_port": int, "mqtt_tls": int, "watchdog": int, "sensor_height_mm": float,
        "pin_battery": int, "battery_ratio": float, **dict.fromkeys(PINS[Board.ESP32], int),
    }  # fmt: skip
    known = {item.name for item in fields(NodeSettings)}
    values: dict[str, object] = {}
    for key, value in pairs.items():
        if key in known:
            try:
                values[key] = kinds.get(key, str)(value)
            except ValueError:
                raise ConfigError(
                    "{where}: {key}={value} is not understood",
                    where=where,
                    key=key,
                    value="" if key in SECRET_KEYS else value,
                ) from None
    for key, pin in PINS[Board(str(values.get("board", Board.ESP32)))].items():
        if values.get(key) == pin:
            del values[key]  # that of the class, and so of another class when the board is changed
    if values.get("mqtt_tls") == 1:
        values.setdefault("mqtt_port", MQTT_PORTS["mqtts"])
    if "name" not in values:
        raise ConfigError("{where}: has no line name=urn:dev:...; write it anew with `node configure`", where=where)
    try:
        return NodeSettings(**values)  # type: ignore[arg-type]  # each was checked above
    except ConfigError as err:
        found = [Translatable("{where}: {fault}", where=where, fault=fault) for fault in err.message.holes.values()]
        raise ConfigError(joined(found, "\n")) from None


def settings_path(data_dir: Path, label: str) -> Path:
    """Where the settings of a node lie that the baker calls ``label``.

    Raises
    ------
    ConfigError
        When the label could not be a file's name everywhere.
    """
    if not (
        0 < len(label) <= 40 and all(letter.isascii() and (letter.isalnum() or letter in "-_") for letter in label)
    ):
        raise ConfigError("{label!r}: call a node by letters, digits, - and _, such as tub-3", label=label)
    return data_dir / FOLDER / f"{label}.txt"


def read_settings(data_dir: Path, label: str) -> NodeSettings | None:
    """The settings of a node, or None when none were written.

    Raises
    ------
    ConfigError
        When they cannot be read.
    """
    path = settings_path(data_dir, label)
    try:
        return settings_from_text(bounded_bytes(path, LARGEST_BYTES).decode(), str(path))
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); check its owner and rights, or remove it", path=path, why=err
        ) from err


def write_settings(data_dir: Path, label: str, settings: NodeSettings) -> Path:
    """Write a node's settings whole, readable by their owner alone; returns the file.

    Raises
    ------
    ConfigError
        When the file cannot be written.
    """
    path = settings_path(data_dir, label)
    write_private(path, config_text(settings))
    return path
