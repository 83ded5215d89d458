"""``node``: set up, look at and calibrate nodes; simulate some."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from monitor.commands.parameters import DURATION, FILE, FOLDER, MOMENT, POSITIVE
from monitor.commands.terminal import Group, data_dir, examples, reader_of, refuse_both
from monitor.errors import ConfigError, SourceError
from monitor.settings.data_dir import DATABASE_NAME
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.clock import Clock
    from monitor.node.settings import NodeSettings
    from monitor.store.store import Store
    from monitor.wire.readings import NodeId

NODE_PASSWORD = "PROOFING_NODE_PASSWORD"
WIFI_PASSWORD = "PROOFING_WIFI_PASSWORD"
HOWS = ("empty", "block", "ice", "two-points", "reference", "list")
READINGS = 5

Command = TypeVar("Command", bound=Callable[..., object])

NODE = click.argument("node")


def _listening(command: Command) -> Command:
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


@click.group(
    "node",
    cls=Group,
    epilog=examples(
        "node configure tub-3 --serial --distance tof",
        "node boards --ask",
        "node copy tub-3",
        "node readings tub-3 --port /dev/ttyUSB0",
        "node calibrate tub-3 empty",
    ),
)
def command() -> None:
    """Set up, look at and calibrate nodes; simulate some.

    NODE is what you called it in `node configure`, or its urn:dev:... name.
    """


# -- configure ----------------------------------------------------------------------------------------------------


@command.command(
    "configure",
    epilog=examples(
        "node configure tub-3 --serial --air sht4x --distance tof --sensor-height 310",
        'node configure tub-3 --mqtt mqtts://bakery.lan:8883 --ca --wifi "Bakery"',
        "node configure tub-3 --period 15s",
    ),
)
@NODE
@click.option("--name", metavar="URN", help="Its name on the wire (default: one is drawn).")
@click.option("--site", metavar="TEXT", help="Where it stands, in your words.")
@click.option("--board", type=click.Choice(("esp32", "rp2040")), help="Class of board (default: esp32).")
@click.option("--serial", is_flag=True, help="It speaks over its USB cable (default).")
@click.option(
    "--mqtt",
    metavar="URL",
    help="It speaks to this broker: mqtt://host:port or mqtts://host:port. "
    f"Its password is drawn, unless {NODE_PASSWORD} gives one.",
)
@click.option("--ca", is_flag=True, help="With mqtts: trust the certificate given to `node copy --ca`.")
@click.option(
    "--wifi", metavar="NAME", help=f"Wireless network; its password is asked for, unless {WIFI_PASSWORD} gives it."
)
@click.option(
    "--watchdog/--no-watchdog", default=None, help="The board restarts itself when it hangs (default: it does not)."
)
@click.option("--period", type=DURATION, metavar="30s", help="Time between measurements (default: 30s).")
@click.option(
    "--sensor-height", type=POSITIVE, metavar="MM", help="From the distance sensor to the empty vessel's base."
)
@click.option("--air", type=click.Choice(("sht4x", "none")), help="Class of air sensor.")
@click.option("--probe", type=click.Choice(("ds18b20", "none")), help="Class of dough probe.")
@click.option("--distance", type=click.Choice(("tof", "ultrasonic", "none")), help="Class of distance sensor.")
@data_dir
def configure(node: str, name: str | None, data_dir: Path, **given: Any) -> None:
    """Write what a board is told; once more changes what is given.

    NODE is what you call it: letters, digits, - and _, such as tub-3.
    """
    from monitor.node.settings import Link, NodeSettings, drawn_name, read_settings, write_settings
    from monitor.recipe.toml_tables import NODE_NAME
    from monitor.wire.frames import key_of
    from monitor.wire.readings import NodeId

    refuse_both(serial=given["serial"], mqtt=given["mqtt"])
    reader = reader_of(data_dir)
    old = read_settings(data_dir, node)
    if name is not None and not NODE_NAME.fullmatch(name):
        raise ConfigError("--name {name}: a node's name looks like urn:dev:mac:020000fffe5e0001", name=name)
    urn = NodeId(name) if name is not None else drawn_name()
    settings = old if old is not None and name is None else replace(old or NodeSettings(urn), name=urn)
    settings = replace(settings, **_sensors_given(given), **_link_given(given, settings, os.environ))
    path = write_settings(data_dir, node, settings)
    is_kept = N_("{path}: changed; only you can read it") if old else N_("{path}: written; only you can read it")
    click.echo(reader.say(is_kept, path=path))
    click.echo(reader.say("{node} is {name}", node=node, name=settings.name))
    if settings.link is Link.MQTT:
        click.echo(
            reader.say(
                "broker {mqtt_host}:{mqtt_port}: it logs in as {name} with the mqtt_password in that "
                "file;\n  `proofing-monitor broker configure` tells the broker, and keeps it to its own "
                "topics",
                mqtt_host=settings.mqtt_host,
                mqtt_port=settings.mqtt_port,
                name=key_of(settings.name),
            )
        )
    if settings.sensor_height_mm is None:
        unknown = N_("the sensor's height is not known yet: `proofing-monitor node calibrate {node} empty`")
        click.echo(reader.say(unknown, node=node))
    click.echo(reader.say("next: `proofing-monitor node copy {node}` with the board plugged in", node=node))


def _sensors_given(given: Mapping[str, Any]) -> dict[str, Any]:
    from monitor.node.settings import AirSensor, Board, Probe, Ranger

    found = {
        "site": given["site"],
        "board": given["board"] and Board(given["board"]),
        "period_s": given["period"] and round(given["period"].total_seconds()),
        "sensor_height_mm": given["sensor_height"],
        "watchdog": None if given["watchdog"] is None else int(given["watchdog"]),
        "air": given["air"] and AirSensor(given["air"]),
        "dough": given["probe"] and Probe(given["probe"]),
        "distance": given["distance"] and Ranger(given["distance"]),
    }
    return {key: value for key, value in found.items() if value is not None}


def _link_given(given: Mapping[str, Any], old: NodeSettings, environ: Mapping[str, str]) -> dict[str, Any]:
    from monitor.node.boards import CA_NAME
    from monitor.node.settings import Link, drawn_password
    from monitor.settings.brokers import mqtt_address

    found: dict[str, Any] = {}
    if given["serial"]:
        found["link"] = Link.SERIAL
    if given["mqtt"] is not None:
        address = mqtt_address(given["mqtt"])
        found |= {"link": Link.MQTT, "mqtt_host": address.host, "mqtt_port": address.port}
        found["mqtt_tls"] = int(address.scheme == "mqtts")
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


# -- boards -------------------------------------------------------------------------------------------------------


@command.command("boards", epilog=examples("node boards", "node boards --ask --port /dev/ttyUSB0"))
@click.option("--ask", is_flag=True, help="Ask each what it runs (this stops a node until its reset).")
@click.option("--port", metavar="PORT", help="Look at this port alone.")
@data_dir
def boards(ask: bool, port: str | None, data_dir: Path) -> int:
    """List the boards that are plugged in.

    The exit status is 1 when there is none, or one that was asked does not answer.
    """
    from monitor.node.boards import NO_BOARD, BoardError, FoundPort, asked, found_boards

    reader = reader_of(data_dir)
    found = found_boards() if port is None else [FoundPort(port, "", "")]
    if not found:
        click.echo(reader.text(NO_BOARD))
        return 1
    is_any_silent = False
    for board in found:
        click.echo("  ".join(part for part in (board.path, board.hwid, board.description) if part))
        if ask:
            try:
                click.echo(f"    {asked(board.path)}")
            except BoardError as err:
                is_any_silent = True
                click.echo(f"    {reader.text(err)}")
    return int(is_any_silent)


@command.command("copy", epilog=examples("node copy tub-3", "node copy tub-3 --port /dev/ttyUSB0 --ca ca.pem"))
@NODE
@click.option("--port", metavar="PORT", help="The board's (default: the only one there is).")
@click.option("--ca", type=FILE, metavar="FILE", help="Certificate (PEM) of the broker to trust.")
@data_dir
def copy(node: str, port: str | None, ca: Path | None, data_dir: Path) -> None:
    """Put firmware and configuration on a board."""
    from monitor.node.boards import NO_BOARD, BoardError, copy_firmware, found_boards
    from monitor.node.settings import read_settings

    reader = reader_of(data_dir)
    settings = read_settings(data_dir, node)
    if settings is None:
        raise ConfigError(
            "{node}: has no configuration; write it with `proofing-monitor node configure {node}`", node=node
        )
    if port is None:
        found = found_boards()
        if not found:
            raise BoardError(NO_BOARD)
        if len(found) > 1:
            raise BoardError(
                "several boards are plugged in; name one with --port: {found}", found=", ".join(b.path for b in found)
            )
        port = found[0].path
    copy_firmware(port, settings, ca, sys.stdout)
    click.echo(reader.say("the board starts as {name}", name=settings.name))
    click.echo(reader.say("next: `proofing-monitor node readings {node} --port {port}`", node=node, port=port))


# -- readings and calibration -------------------------------------------------------------------------------------


def _node_called(called: str, data_dir: Path) -> tuple[NodeId, NodeSettings | None]:
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


def _opened(data_dir: Path) -> tuple[Store, Clock]:
    from monitor.store.pace import clock_of
    from monitor.store.store import Store

    store = Store(data_dir / DATABASE_NAME)
    return store, clock_of(store)


@command.command(
    "readings", epilog=examples("node readings tub-3", "node readings tub-3 --port /dev/ttyUSB0 --count 3")
)
@NODE
@click.option("--count", type=int, metavar="N", default=0, help="End after so many (default: Ctrl-C ends it).")
@_listening
@data_dir
def readings(node: str, count: int, port: str | None, wait: timedelta, data_dir: Path) -> None:
    """Show live readings, to see whether all is wired right."""
    from monitor.node.live_readings import listening
    from monitor.node.reading_lines import pack_line, set_right_line
    from monitor.settings.reader import local_zone

    urn, settings = _node_called(node, data_dir)
    store, clock = _opened(data_dir)
    with store, listening(port, urn, store, clock) as ear:
        calibrations = store.calibrations.all(urn)
        click.echo(reader_of(data_dir).text(set_right_line(calibrations)))
        height_mm = None if settings is None else settings.sensor_height_mm
        shown = 0
        while count <= 0 or shown < count:
            pack = ear.hear(clock.real_s() + wait.total_seconds())
            if not pack:
                raise SourceError(ear.explanation())
            click.echo(pack_line(pack, calibrations, height_mm, local_zone()))
            shown += 1


@command.command(
    "calibrate",
    epilog=examples(
        "node calibrate tub-3 empty",
        "node calibrate tub-3 block --truth 60",
        "node calibrate tub-3 ice",
        "node calibrate tub-3 two-points --truth 39.8",
        "node calibrate tub-3 reference --channel humidity --truth 61",
        "node calibrate tub-3 list",
    ),
)
@NODE
@click.argument("how", type=click.Choice(HOWS), metavar="HOW")
@click.option(
    "--channel",
    type=click.Choice(("air", "humidity", "dough", "distance")),
    help="For reference: which sensor (default: dough).",
)
@click.option("--truth", type=float, metavar="VALUE", help="What the trusted instrument shows; a block's height.")
@click.option("--truth-sd", type=POSITIVE, metavar="VALUE", help="How sure that is: half of it either way.")
@click.option(
    "--readings", "n_readings", type=int, default=READINGS, show_default=True, metavar="N", help="How many to take."
)
@click.option("--measured", metavar="V,V,V", help="Readings taken down before, instead of new ones.")
@_listening
@data_dir
def calibrate(
    node: str,
    how: str,
    channel: str | None,
    truth: float | None,
    truth_sd: float | None,
    n_readings: int,
    measured: str | None,
    port: str | None,
    wait: timedelta,
    data_dir: Path,
) -> None:
    """Compare a sensor with what is known, and keep the difference.

    HOW is what it is compared with: empty (the vessel), block, ice, two-points or reference. `list` shows what was
    found so far.
    """
    from monitor.node.calibration import CHANNELS, Wish, heard, listed
    from monitor.node.calibration import calibrate as calibrated
    from monitor.node.live_readings import listening
    from monitor.recipe.calibration import Comparison

    reader = reader_of(data_dir)
    urn, settings = _node_called(node, data_dir)
    store, clock = _opened(data_dir)
    with store:
        if how == "list":
            listed(store.calibrations.all(urn), sys.stdout, reader)
            return
        way = {
            "empty": Comparison.EMPTY,
            "block": Comparison.BLOCK,
            "ice": Comparison.ICE,
            "two-points": Comparison.TWO_POINTS,
        }.get(how, Comparison.REFERENCE)
        usual = "distance" if way in (Comparison.EMPTY, Comparison.BLOCK) else "dough"
        if channel is not None and way is not Comparison.REFERENCE and channel != usual:
            raise ConfigError(
                "--channel {channel}: {how} is for the {usual} sensor", channel=channel, how=how, usual=usual
            )
        sensor = CHANNELS[channel or usual]
        wish = Wish(way, sensor, truth, truth_sd, _typed(measured))

        def hear() -> tuple[float, ...]:
            with listening(port, urn, store, clock) as ear:
                until_s = clock.real_s() + wait.total_seconds()
                return heard(ear, urn, sensor, n_readings, clock.now(), until_s, sys.stdout, reader)

        calibrated(wish, urn, node, settings, store, data_dir, clock.now(), hear, sys.stdout, reader)


def _typed(text: str | None) -> tuple[float, ...] | None:
    if text is None:
        return None
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise ConfigError(
            "--measured {text}: must be numbers with commas between, such as 298.2,298.6,298.1", text=text
        ) from None


# -- simulated nodes ----------------------------------------------------------------------------------------------


@command.command(
    "simulate",
    epilog=examples(
        "node simulate --mqtt mqtt://127.0.0.1:1883 --count 12 --batches doughs",
        "node simulate --serial /tmp/tub-1 --dough mixed --speed 60",
        "node simulate --serial /tmp/tub-1 --recording READINGS.csv",
    ),
)
@click.option("--count", type=int, metavar="N", help="How many nodes (default: one, or one for each --serial).")
@click.option("--mqtt", metavar="URL", help="Your broker: mqtt://host:port; each node logs in as its node key.")
@click.option("--secrets", type=FILE, metavar="FILE", help="JSON of node key and password; made when missing.")
@click.option("--serial", type=FILE, multiple=True, metavar="PATH", help="Make this port for one. May be repeated.")
@click.option("--speed", type=POSITIVE, default=1.0, show_default=True, help="Dough time over real time.")
@click.option("--epoch", type=MOMENT, help="When dough time begins to run fast (default: now).")
@click.option(
    "--period", type=DURATION, default="30s", show_default=True, metavar="30s", help="Time between measurements."
)
@click.option("--dough", metavar="NAME", help="Which dough (default: mixed).")
@click.option("--recording", type=FILE, metavar="READINGS.csv", help="Say again what was recorded.")
@click.option("--room", metavar="AIR", help="The air they stand in, such as steady:24 or cabinet:28.")
@click.option("--noise", metavar="KIND", help="How good the sensors are: clean, mild, usual, rough.")
@click.option(
    "--fault",
    multiple=True,
    metavar="KIND=RATE",
    help="hand, dropout, unplug, reboot, clock: so often an hour; corrupt: this share of frames. May be repeated.",
)
@click.option("--micropython", is_flag=True, help="Real MicroPython, a process for each node.")
@click.option("--hours", type=POSITIVE, help="End after so much dough time (default: Ctrl-C ends it).")
@click.option("--seed", type=int, default=1, show_default=True, metavar="N", help="Another number, other doughs.")
@click.option("--batches", type=FOLDER, metavar="DIR", help="Write a batch file for each dough, and the truth.")
@data_dir
def simulate(data_dir: Path, **options: Any) -> None:
    """Start simulated nodes, to practise or to load a broker.

    `collect --practice` on the same data directory takes them in.
    """
    from monitor.clock import SystemClock
    from monitor.node.simulator import Practice, simulator_command

    refuse_both(dough=options["dough"], recording=options["recording"])
    if options["epoch"] is None and options["speed"] != 1.0:
        options["epoch"] = SystemClock().now()
    words = simulator_command(**options)
    Practice(tuple(map(str, options["serial"])), options["epoch"], options["speed"]).keep(data_dir)
    sys.stdout.flush()
    os.execv(words[0], words)  # this process becomes the simulator: nothing is left behind when it ends
