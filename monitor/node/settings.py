"""What a board is told: the file ``config.txt`` of ``key=value`` lines, written here and read by the node.

The format stands in ``firmware_sim/README.md``. The file holds passwords, so only its owner may read it; nothing here
prints them.
"""

import re
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum
from math import isfinite
from pathlib import Path

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, write_private
from monitor.node.profiles import Board, Job, profile_of
from monitor.recipe.sight import Sight
from monitor.recipe.toml_tables import NODE_NAME
from monitor.settings.brokers import MQTT_PORTS
from monitor.translatable import N_, Translatable, joined
from monitor.wire.readings import NodeId

FOLDER = "nodes"
LARGEST_BYTES = 100_000  # judgement: a hundred times such a file
LONGEST_LINE = 200  # bytes: what the node reads at once
SECRET_KEYS = ("wifi_password", "mqtt_password")
_PROBE_ID = re.compile("28[0-9a-f]{14}")  # 28: the family of the DS18B20
PASSWORD_BYTES = 18  # judgement: 144 bits, short enough for every broker


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
    VL53L1X = "vl53l1x"
    ULTRASONIC = "ultrasonic"
    NONE = "none"


# What each kind of distance sensor sees. From memory of the public data sheets of such parts, which differ: a laser
# ranger on a serial line from 20 mm to a metre or two, 25 degrees; one of the VL53L1X class in its short mode from 40
# mm to 1.3 m, 27 degrees (the angle read in its data sheet); a closed ultrasonic transducer from 200 to 250 mm, since
# it rings on for so long, some 50 degrees.
SIGHTS: Mapping[Ranger, Sight] = {
    Ranger.TOF: Sight(20.0, 1000.0, 25.0),
    Ranger.VL53L1X: Sight(40.0, 1300.0, 27.0),
    Ranger.ULTRASONIC: Sight(250.0, 4000.0, 50.0),
}
AIR_ADDRESSES = (0x44, 0x45, 0x46)  # data sheet of the SHT4x, by the letter of its type; from memory
LONGEST_SLEEP_MIN = 4  # within the five minutes after which the screens say that a node is silent
_CALLING = (Job.LIGHT, Job.BUZZER, Job.BUTTON)  # of use only on a board that listens
_CHOSEN = (Job.BATTERY, Job.LIGHT, Job.BUZZER, Job.BUTTON, Job.SHUT)  # on no pin unless one is named
# The jobs of the pins that each sensor needs.
_JOBS: Mapping[StrEnum, tuple[Job, ...]] = {
    AirSensor.SHT4X: (Job.SDA, Job.SCL),
    Probe.DS18B20: (Job.PROBE,),
    Ranger.TOF: (Job.TX, Job.RX),
    Ranger.VL53L1X: (Job.SDA, Job.SCL),
    Ranger.ULTRASONIC: (Job.TRIGGER, Job.ECHO),
}


@dataclass(frozen=True, slots=True)
class NodeSettings:
    """What one board is told; an empty text or None means that nothing is said. Its text form shows no password.

    Attributes
    ----------
    sensor_height_mm
        Distance sensor to the base of the empty vessel.
    least_distance_mm, greatest_distance_mm
        What the distance sensor's own data sheet says; None: what is usual for its kind.
    pin_sda and the like, i2c, uart
        Pins, bus and serial line of one's own; None: those of the board's class.
    probe_id
        Which of several probes on one wire is this tub's: its address, as 16 hexadecimal digits.
    keep_min
        Minutes from one writing of unanswered packs to the board's flash to the next; 0: never.
    sleep_min
        Minutes for which it sleeps between measurements, its radio off, before it sends; 0: it is always there.

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
    ntp_host: str = ""
    air: AirSensor = AirSensor.SHT4X
    dough: Probe = Probe.DS18B20
    distance: Ranger = Ranger.TOF
    sensor_height_mm: float | None = None
    least_distance_mm: float | None = None
    greatest_distance_mm: float | None = None
    watchdog: int = 0
    pin_sda: int | None = None
    pin_scl: int | None = None
    pin_probe: int | None = None
    pin_tx: int | None = None
    pin_rx: int | None = None
    pin_trigger: int | None = None
    pin_echo: int | None = None
    pin_battery: int | None = None
    pin_light: int | None = None
    pin_buzzer: int | None = None
    pin_button: int | None = None
    pin_shut: int | None = None
    battery_ratio: float | None = None
    i2c: int | None = None
    uart: int | None = None
    air_address: int = AIR_ADDRESSES[0]
    probe_id: str = ""
    keep_min: int = 10
    sleep_min: int = 0

    def __post_init__(self) -> None:
        faults = [fault for fault in self._faults() if fault]
        if faults:
            raise ConfigError(joined(faults, "\n"))

    def _faults(self) -> list[str]:
        height_mm = self.sensor_height_mm
        rules = (
            (NODE_NAME.fullmatch(self.name), N_("name: must look like urn:dev:mac:020000fffe5e0001")),
            (1 <= self.period_s <= 3600, N_("period_s: must be from 1 to 3600 seconds")),
            (6 <= self.room <= 2000, N_("room: must be from 6 to 2000 packs")),
            (1 <= self.mqtt_port <= 65535, N_("mqtt_port: must be from 1 to 65535")),
            (self.keep_min in (0, *range(5, 1441)), N_("keep_min: must be from 5 to 1440 minutes, or 0 for never")),
            (
                self.sleep_min in range(LONGEST_SLEEP_MIN + 1),
                N_("sleep_min: must be from 1 to 4 minutes, or 0 for never"),
            ),
            (self.mqtt_tls in (0, 1), N_("mqtt_tls: must be 0 or 1")),
            (self.watchdog in (0, 1), N_("watchdog: must be 0 or 1")),
            (
                height_mm is None or (isfinite(height_mm) and 5.0 < height_mm <= 4000.0),
                N_("sensor_height_mm: must be above 5 and at most 4000"),
            ),
            (
                0.0 < (self.least_distance_mm or 1.0) < (self.greatest_distance_mm or 4000.0) <= 4000.0,
                N_("least_distance_mm: must be above 0 and below greatest_distance_mm, which is at most 4000"),
            ),
            (
                self.battery_ratio is None or 1.0 <= self.battery_ratio <= 20.0,
                N_("battery_ratio: must be from 1 to 20"),
            ),
            (
                not self.probe_id or _PROBE_ID.fullmatch(self.probe_id),
                N_("probe_id: must be 16 hexadecimal digits that begin with 28; `node probes` shows them"),
            ),
            (self.link is not Link.MQTT or self.mqtt_host, N_("mqtt_host: is missing; name the broker with --mqtt")),
            (
                self.link is not Link.MQTT or self.wifi_name,
                N_("wifi_name: is missing; name the wireless network with --wifi"),
            ),
        )
        faults: list[str] = [Translatable(rule) for holds, rule in rules if not holds]
        if self.air_address not in AIR_ADDRESSES:
            known = ", ".join(map(hex, AIR_ADDRESSES))
            faults.append(
                Translatable("air_address: {found} must be one of {known}", found=hex(self.air_address), known=known)
            )
        if self.sleep_min:
            faults += self._sleep_faults()
        faults += profile_of(self.board).faults(self.pins(), self.bus("i2c"), self.bus("uart"))
        for key in ("site", "wifi_name", "wifi_password", "mqtt_host", "mqtt_ca", "mqtt_password", "ntp_host"):
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

    def _sleep_faults(self) -> Iterator[str]:
        """Why a node cannot sleep as it is, each as a sentence with what would do."""
        board = profile_of(self.board)
        if not board.sleeps:
            able = ", ".join(profile_of(other).title for other in Board if profile_of(other).sleeps)
            yield Translatable(
                "sleep_min: the {board} does not wake by itself for sure; one that does: {able}",
                board=board.title,
                able=able,
            )
        if self.link is not Link.MQTT:
            yield Translatable("sleep_min: a cable feeds its board, which must listen; only a node with --mqtt sleeps")
        calling = [job for job in _CALLING if job in self.pins()]
        if calling:
            yield Translatable(
                "sleep_min: a node that sleeps hears no call; take away its {parts}: {options}",
                parts=", ".join(calling),
                options=" ".join(f"--pin {job}=usual" for job in calling),
            )
        asleep_s = 60 * self.sleep_min
        if not self.period_s <= asleep_s <= self.period_s * self.room / 2:
            yield Translatable(
                "sleep_min: what is measured in {minutes} min must be one pack at least, and fill half of the room "
                "for {room} at most",
                minutes=self.sleep_min,
                room=self.room,
            )

    def cautions(self) -> list[str]:
        """What to mind about it, though it works."""
        found = profile_of(self.board).cautions(self.pins())
        if self.sleep_min:
            found.append(
                Translatable(
                    "it sleeps: its readings, and so forecasts and calls, come up to {minutes} min late",
                    minutes=self.sleep_min,
                )
            )
        return found

    def pins(self) -> dict[Job, int]:
        """The pin of each job that the chosen sensors need; of battery, lamp and the like only where one is chosen."""
        jobs = [job for sensor in (self.air, self.dough, self.distance) for job in _JOBS.get(sensor, ())]
        chosen = {job: getattr(self, f"pin_{job}") for job in _CHOSEN}
        return {job: self._pin(job) for job in jobs} | {job: pin for job, pin in chosen.items() if pin is not None}

    def pins_of(self, sensor: str) -> list[int]:
        """The pins of one sensor, by the name that the node gives it: ``air``, ``dough`` or ``distance``."""
        found = [self._pin(job) for job in _JOBS.get(getattr(self, sensor), ())]
        if sensor == "distance" and self.distance is Ranger.VL53L1X and self.pin_shut is not None:
            found.append(self.pin_shut)
        return found

    @property
    def sight(self) -> Sight | None:
        """What its distance sensor sees; None without one."""
        usual = SIGHTS.get(self.distance)
        if usual is None:
            return None
        least_mm, greatest_mm = self.least_distance_mm, self.greatest_distance_mm
        return Sight(
            usual.least_mm if least_mm is None else least_mm,
            usual.greatest_mm if greatest_mm is None else greatest_mm,
            usual.view_deg,
        )

    def on_board_of(self, first: "NodeSettings") -> "NodeSettings":
        """The settings of a further tub, with what the board of the first one decides.

        Raises
        ------
        ConfigError
            When its pins are not to be had on that board.
        """
        return replace(self, board=first.board, period_s=first.period_s, watchdog=first.watchdog)

    def bus(self, key: str) -> int:
        """The number of the bus ``i2c`` or of the serial line ``uart``."""
        chosen: int | None = getattr(self, key)
        usual: int = getattr(profile_of(self.board), key)
        return usual if chosen is None else chosen

    def _pin(self, job: Job) -> int:
        chosen: int | None = getattr(self, f"pin_{job}")
        return profile_of(self.board).wired[job] if chosen is None else chosen


def drawn_name() -> NodeId:
    """A name for a new node: a made-up hardware address, marked as given by hand (bit 1 of the first byte)."""
    digits = secrets.token_hex(5)
    return NodeId(f"urn:dev:mac:02{digits[:4]}fffe{digits[4:]}")


def drawn_password() -> str:
    """A password that machines show each other, beyond guessing."""
    return secrets.token_urlsafe(PASSWORD_BYTES)


def config_text(settings: NodeSettings, beside: Sequence[str] = ()) -> str:
    """The text of ``config.txt``, pins of the board's class included.

    Parameters
    ----------
    beside
        Numbers of the further tubs on the board.
    """
    lines = ["# What this board is told. Holds passwords: keep it to yourself."]
    for item in fields(settings):
        value = getattr(settings, item.name)
        if item.name == "air_address":
            lines.append(f"{item.name}={value:#x}")
        elif value not in ("", None):
            lines.append(f"{item.name}={value:g}" if isinstance(value, float) else f"{item.name}={value}")
    if beside:
        lines.append(f"beside={','.join(beside)}")
    lines += [f"{key}={value}" for key, value in _usual(settings.board).items() if getattr(settings, key) is None]
    return "\n".join(lines) + "\n"


def _usual(board: Board) -> dict[str, int]:
    """Pins, bus and line of a class of board, by their keys; a battery is on none."""
    profile = profile_of(board)
    wired = {f"pin_{job}": pin for job, pin in profile.wired.items() if job not in _CHOSEN}
    return wired | {"i2c": profile.i2c, "uart": profile.uart}


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
    kinds: Mapping[str, Callable[[str], object]] = {
        "name": NodeId, "board": Board, "link": Link, "air": AirSensor, "dough": Probe, "distance": Ranger,
        "period_s": int, "room": int, "mqtt_port": int, "mqtt_tls": int, "watchdog": int, "keep_min": int,
        "sleep_min": int,
        "battery_ratio": float, "i2c": int, "uart": int, "air_address": lambda text: int(text, 16),
        **dict.fromkeys(("sensor_height_mm", "least_distance_mm", "greatest_distance_mm"), float),
        **{f"pin_{job}": int for job in Job},
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
    for key, usual in _usual(Board(str(values.get("board", Board.ESP32)))).items():
        if values.get(key) == usual:
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
