"""What the commands about nodes share: options, and what was given by them."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from monitor.commands.parameters import DURATION, POSITIVE
from monitor.commands.terminal import config_of, refuse_both
from monitor.errors import ConfigError
from monitor.settings.data_dir import DATABASE_NAME

if TYPE_CHECKING:
    from monitor.clock import Clock
    from monitor.node.settings import NodeSettings
    from monitor.store.store import Store
    from monitor.wire.readings import NodeId

NODE_PASSWORD = "PROOFING_NODE_PASSWORD"
WIFI_PASSWORD = "PROOFING_WIFI_PASSWORD"
BOARDS = ("esp32", "esp32-s3", "esp32-c3", "esp32-c6", "pico-w", "pico2-w")
JOBS = ("sda", "scl", "probe", "tx", "rx", "trigger", "echo", "battery", "light", "buzzer", "button", "shut")
ADDRESSES = ("0x44", "0x45", "0x46")
SENSORS = {  # option -> kinds, the usual one first
    "air": ("sht4x", "none"),
    "probe": ("ds18b20", "none"),
    "distance": ("tof", "vl53l1x", "ultrasonic", "none"),
}
USUAL = "usual"
OF_THE_BOARD = ("name", "board", "serial", "mqtt", "ca", "wifi", "ntp", "watchdog", "period", "keep", "sleep", "air")

Command = TypeVar("Command", bound=Callable[..., object])

NODE = click.argument("node")
_BOARD_OPTIONS = (
    click.option("--name", metavar="URN", help="Its name on the wire (default: one is drawn)."),
    click.option(
        "--beside", metavar="NODE", help="Its sensors hang on the board of this node, and it goes on that one's file."
    ),
    click.option("--site", metavar="TEXT", help="Where it stands, in your words."),
    click.option("--board", type=click.Choice(BOARDS), help="Class of board (default: esp32)."),
    click.option("--serial", is_flag=True, help="It speaks over its USB cable (default)."),
    click.option(
        "--mqtt",
        metavar="URL",
        help="It speaks to this broker: mqtt://host:port or mqtts://host:port. "
        f"Its password is drawn, unless {NODE_PASSWORD} gives one.",
    ),
    click.option("--ca", is_flag=True, help="With mqtts: trust the certificate given to `node copy --ca`."),
    click.option(
        "--wifi", metavar="NAME", help=f"Wireless network; its password is asked for, unless {WIFI_PASSWORD} gives it."
    ),
    click.option("--ntp", metavar="HOST", help="With mqtts: who tells it the time (default: the broker's machine)."),
    click.option(
        "--watchdog/--no-watchdog", default=None, help="The board restarts itself when it hangs (default: it does not)."
    ),
    click.option(
        "--keep",
        type=int,
        metavar="MIN",
        help="How often it writes to its flash what nobody has answered, at most (default: 10; 0: never).",
    ),
    click.option(
        "--sleep",
        type=int,
        metavar="MIN",
        help="On a battery: it sleeps between measurements, and sends only every so many minutes, 1 to 4 (default: 0, "
        "never). It hears no call.",
    ),
    click.option(
        "--room",
        type=int,
        metavar="PACKS",
        help="How many packs it keeps in memory while nobody answers (default: 240).",
    ),
    click.option("--period", type=DURATION, metavar="30s", help="Time between measurements (default: 30s)."),
    click.option(
        "--sensor-height", type=POSITIVE, metavar="MM", help="From the distance sensor to the empty vessel's base."
    ),
    click.option("--air", type=click.Choice(SENSORS["air"]), help="Class of air sensor."),
    click.option("--probe", type=click.Choice(SENSORS["probe"]), help="Class of dough probe."),
    click.option("--distance", type=click.Choice(SENSORS["distance"]), help="Class of distance sensor."),
    click.option(
        "--probe-id", metavar="HEX", help="Which of several probes on one wire it is; `node probes` shows them."
    ),
    click.option(
        "--least-distance",
        type=POSITIVE,
        metavar="MM",
        help="Nearer it sees nothing (default: as is usual for its kind).",
    ),
    click.option("--greatest-distance", type=POSITIVE, metavar="MM", help="Farther it sees nothing."),
    click.option(
        "--pin",
        "pins",
        multiple=True,
        metavar="JOB=GPIO",
        help=f"Another pin for {', '.join(JOBS)}; JOB=usual for the board's own. May be repeated.",
    ),
    click.option("--i2c", type=int, metavar="N", help="Another I2C bus for the air sensor."),
    click.option("--uart", type=int, metavar="N", help="Another serial line for the ranger by light."),
    click.option("--air-address", type=click.Choice(ADDRESSES), help="The air sensor's address (default: 0x44)."),
    click.option("--battery-ratio", type=float, metavar="X", help="The battery's voltage over its pin's (default: 2)."),
)


def board_options(command: Command) -> Command:
    """Give a command the options that say what a board is told."""
    for option in reversed(_BOARD_OPTIONS):
        command = option(command)
    return command


def listening(command: Command) -> Command:
    """Give a command the options of listening to a node."""
    wait = click.option(
        "--wait",
        type=DURATION,
        default="5m",  # ten readings of a node that measures each half minute
        show_default=True,
        help="How long to wait for a reading.",
    )
    port = click.option(
        "--port", metavar="PORT", help="Listen on the node's own line (default: what a running collector stores)."
    )
    return port(wait(command))


def configured(data_dir: Path, node: str) -> NodeSettings:
    """The settings of a node that has some.

    Raises
    ------
    ConfigError
        When it has none.
    """
    from monitor.node.settings import read_settings

    settings = read_settings(data_dir, node)
    if settings is None:
        raise ConfigError(
            "{node}: has no configuration; write it with `proofing-monitor node configure {node}`", node=node
        )
    return settings


def settings_given(old: NodeSettings | None, given: Mapping[str, Any], data_dir: Path) -> NodeSettings:
    """A node's settings with what was given by options; a new node's name is drawn."""
    from monitor.node.settings import NodeSettings, drawn_name
    from monitor.recipe.toml_tables import NODE_NAME
    from monitor.wire.frames import first_tub
    from monitor.wire.readings import NodeId

    refuse_both(serial=given["serial"], mqtt=given["mqtt"])
    if given["beside"] is not None or (old is not None and first_tub(old.name) != old.name):
        return _tub_given(old, given, data_dir)
    name = given["name"]
    if name is not None and not NODE_NAME.fullmatch(name):
        raise ConfigError("--name {name}: a node's name looks like urn:dev:mac:020000fffe5e0001", name=name)
    urn = NodeId(name) if name is not None else drawn_name()
    settings = old if old is not None and name is None else replace(old or NodeSettings(urn), name=urn)
    may_be_plain = given["mqtt"] is not None and config_of(data_dir).allow_plain_mqtt
    link = _link_given(given, settings, os.environ, may_be_plain=may_be_plain)
    return replace(settings, **_sensors_given(given), **link)


def _tub_given(old: NodeSettings | None, given: Mapping[str, Any], data_dir: Path) -> NodeSettings:
    """The settings of a further tub on a board; what is the board's is said to its first tub."""
    from monitor.node.settings import AirSensor, NodeSettings
    from monitor.node.tubs import next_name, tubs_on
    from monitor.wire.frames import first_tub

    beside = None if given["beside"] is None else configured(data_dir, given["beside"]).name
    tubs = tubs_on(data_dir, beside or (old.name if old is not None else ""))  # type: ignore[arg-type]
    label, first = next(iter(tubs.items()))
    for option in OF_THE_BOARD:
        if given[option]:
            raise ConfigError("--{option} is the board's; give it to {first}", option=option, first=label)
    if old is not None and first_tub(old.name) != first.name:
        raise ConfigError("it hangs on a board of its own already; call the tub beside {first} otherwise", first=label)
    tub = old or NodeSettings(next_name(tubs), board=first.board, air=AirSensor.NONE)
    return replace(tub.on_board_of(first), **_sensors_given(given))


def _sensors_given(given: Mapping[str, Any]) -> dict[str, Any]:
    from monitor.node.profiles import Board
    from monitor.node.settings import AirSensor, Probe, Ranger

    found = {
        "site": given["site"],
        "board": given["board"] and Board(given["board"]),
        "period_s": given["period"] and round(given["period"].total_seconds()),
        "sensor_height_mm": given["sensor_height"],
        "least_distance_mm": given["least_distance"],
        "greatest_distance_mm": given["greatest_distance"],
        "watchdog": None if given["watchdog"] is None else int(given["watchdog"]),
        "air": given["air"] and AirSensor(given["air"]),
        "dough": given["probe"] and Probe(given["probe"]),
        "distance": given["distance"] and Ranger(given["distance"]),
        "i2c": given["i2c"],
        "uart": given["uart"],
        "probe_id": given["probe_id"],
        "keep_min": given["keep"],
        "sleep_min": given["sleep"],
        "room": given["room"],
        "air_address": given["air_address"] and int(given["air_address"], 16),
        "battery_ratio": given["battery_ratio"],
    }
    return {key: value for key, value in found.items() if value is not None} | pins_given(given["pins"])


def pins_given(texts: Sequence[str]) -> dict[str, int | None]:
    """Pins of one's own by their keys; None for the board's own."""
    found: dict[str, int | None] = {}
    for text in texts:
        job, _, pin = text.partition("=")
        if job not in JOBS or not (pin == USUAL or pin.isdecimal()):
            raise ConfigError(
                "--pin {text}: write it as sda=8 or sda=usual; it is for {jobs}", text=text, jobs=", ".join(JOBS)
            )
        found[f"pin_{job}"] = None if pin == USUAL else int(pin)
    return found


def _link_given(
    given: Mapping[str, Any], old: NodeSettings, environ: Mapping[str, str], *, may_be_plain: bool
) -> dict[str, Any]:
    from monitor.node.boards import CA_NAME
    from monitor.node.settings import Link, drawn_password
    from monitor.settings.brokers import mqtt_address

    found: dict[str, Any] = {}
    if given["serial"]:
        found["link"] = Link.SERIAL
    if given["mqtt"] is not None:
        address = mqtt_address(given["mqtt"], may_be_plain=may_be_plain)
        found |= {"link": Link.MQTT, "mqtt_host": address.host, "mqtt_port": address.port}
        found["mqtt_tls"] = int(address.scheme == "mqtts")
    if given["ntp"] is not None:
        found["ntp_host"] = given["ntp"]
    if given["ca"]:
        found["mqtt_ca"] = CA_NAME
    if given["wifi"] is not None:
        found["wifi_name"] = given["wifi"]
    if environ.get(NODE_PASSWORD):
        found["mqtt_password"] = environ[NODE_PASSWORD]
    elif given["mqtt"] is not None and not old.mqtt_password:
        found["mqtt_password"] = drawn_password()
    if environ.get(WIFI_PASSWORD):
        found["wifi_password"] = environ[WIFI_PASSWORD]
    elif given["wifi"] is not None and given["wifi"] != old.wifi_name:
        found["wifi_password"] = _asked_for(f"password of the wireless network {given['wifi']}: ")
    return found


def _asked_for(prompt: str) -> str:
    from getpass import getpass

    if not sys.stdin.isatty():
        raise ConfigError(
            "the password of the wireless network is not known: set {wifi_password}, empty for none",
            wifi_password=WIFI_PASSWORD,
        )
    try:
        return getpass(prompt)
    except EOFError:
        raise ConfigError("no password was given; or set {wifi_password}", wifi_password=WIFI_PASSWORD) from None


def node_called(called: str, data_dir: Path) -> tuple[NodeId, NodeSettings | None]:
    from monitor.node.settings import read_settings
    from monitor.recipe.toml_tables import NODE_NAME
    from monitor.wire.readings import NodeId

    if NODE_NAME.fullmatch(called):
        return NodeId(called), None
    settings = read_settings(data_dir, called)
    if settings is None:
        raise ConfigError(
            "{called}: no node is called so here; name it as in `proofing-monitor node configure`, "
            "or by its urn:dev:... name",
            called=called,
        )
    return settings.name, settings


def opened(data_dir: Path) -> tuple[Store, Clock]:
    from monitor.store.pace import clock_of
    from monitor.store.store import Store

    store = Store(data_dir / DATABASE_NAME)
    return store, clock_of(store)
