"""What a baker does to a node: the actions of ``proofing-monitor node``, each told by its options alone."""

import argparse
import os
import sys
from collections.abc import Mapping
from dataclasses import replace
from getpass import getpass
from pathlib import Path
from typing import Any, TextIO

from monitor.clock import Clock
from monitor.errors import ConfigError, SourceError
from monitor.node.boards import CA_NAME, NO_BOARD, BoardError, FoundPort, asked, copy_firmware, found_boards
from monitor.node.calibration import CHANNELS, Wish, calibrate, heard, listed
from monitor.node.live_readings import listening
from monitor.node.options import WIFI_PASSWORD
from monitor.node.reading_lines import pack_line, set_right_line
from monitor.node.settings import (
    AirSensor,
    Board,
    Link,
    NodeSettings,
    Probe,
    Ranger,
    drawn_name,
    drawn_password,
    read_settings,
    write_settings,
)
from monitor.node.simulator import simulator_command
from monitor.recipe.calibration import How
from monitor.recipe.toml_tables import NODE_NAME
from monitor.settings.brokers import mqtt_address
from monitor.settings.config import reader_of
from monitor.settings.data_dir import DATABASE_NAME, default_data_dir
from monitor.settings.reader import local_zone
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wire.frames import key_of
from monitor.wire.readings import NodeId

NODE_PASSWORD = "PROOFING_NODE_PASSWORD"


def run(args: argparse.Namespace) -> int:
    """Run one action; the exit status comes back."""

    data_dir = args.data_dir if args.data_dir is not None else default_data_dir(os.environ)
    actions = {
        "configure": _configure,
        "boards": _boards,
        "copy": _copy,
        "readings": _readings,
        "calibrate": _calibrate,
        "simulate": _simulate,
    }
    return actions[args.action](args, data_dir, sys.stdout)


# -- configure ----------------------------------------------------------------------------------------------------


def _configure(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    reader = reader_of(data_dir)
    old = read_settings(data_dir, args.node)
    if args.name is not None and not NODE_NAME.fullmatch(args.name):
        raise ConfigError("--name {name}: a node's name looks like urn:dev:mac:020000fffe5e0001", name=args.name)
    name = NodeId(args.name) if args.name is not None else drawn_name()
    settings = old if old is not None and args.name is None else replace(old or NodeSettings(name), name=name)
    settings = replace(settings, **_given(args), **_link_given(args, settings, os.environ))
    path = write_settings(data_dir, args.node, settings)
    print(
        reader.say(
            N_("{path}: changed; only you can read it") if old else N_("{path}: written; only you can read it"),
            path=path,
        ),
        file=out,
    )
    print(reader.say("{node} is {name}", node=args.node, name=settings.name), file=out)
    if settings.link is Link.MQTT:
        print(
            reader.say(
                "broker {mqtt_host}:{mqtt_port}: it logs in as {name} with the mqtt_password in that "
                "file;\n  `proofing-monitor broker configure` tells the broker, and keeps it to its own "
                "topics",
                mqtt_host=settings.mqtt_host,
                mqtt_port=settings.mqtt_port,
                name=key_of(settings.name),
            ),
            file=out,
        )
    if settings.sensor_height_mm is None:
        print(
            reader.say(
                "the sensor's height is not known yet: `proofing-monitor node calibrate {node} empty`", node=args.node
            ),
            file=out,
        )
    print(reader.say("next: `proofing-monitor node copy {node}` with the board plugged in", node=args.node), file=out)
    return 0


def _given(args: argparse.Namespace) -> dict[str, Any]:
    given: dict[str, Any] = {
        "site": args.site,
        "board": None if args.board is None else Board(args.board),
        "period_s": None if args.period is None else round(args.period.total_seconds()),
        "sensor_height_mm": args.sensor_height,
        "watchdog": None if args.watchdog is None else int(args.watchdog),
        "air": None if args.air is None else AirSensor(args.air),
        "dough": None if args.probe is None else Probe(args.probe),
        "distance": None if args.distance is None else Ranger(args.distance),
    }
    return {key: value for key, value in given.items() if value is not None}


def _link_given(args: argparse.Namespace, old: NodeSettings, environ: Mapping[str, str]) -> dict[str, Any]:
    given: dict[str, Any] = {}
    if args.serial:
        given["link"] = Link.SERIAL
    if args.mqtt is not None:
        address = mqtt_address(args.mqtt)
        given |= {"link": Link.MQTT, "mqtt_host": address.host, "mqtt_port": address.port}
        given["mqtt_tls"] = int(address.scheme == "mqtts")
    if args.ca:
        given["mqtt_ca"] = CA_NAME
    if args.wifi is not None:
        given["wifi_name"] = args.wifi
    if environ.get(NODE_PASSWORD):
        given["mqtt_password"] = environ[NODE_PASSWORD]
    elif args.mqtt is not None and not old.mqtt_password:
        given["mqtt_password"] = drawn_password()
    if environ.get(WIFI_PASSWORD):
        given["wifi_password"] = environ[WIFI_PASSWORD]
    elif args.wifi is not None and args.wifi != old.wifi_name:
        given["wifi_password"] = _asked_for(f"password of the wireless network {args.wifi}: ")
    return given


def _asked_for(prompt: str) -> str:
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


def _boards(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    reader = reader_of(data_dir)
    found = found_boards() if args.port is None else [FoundPort(args.port, "", "")]
    if not found:
        print(reader.text(NO_BOARD), file=out)
        return 1
    is_any_silent = False
    for board in found:
        print("  ".join(part for part in (board.path, board.hwid, board.description) if part), file=out, flush=True)
        if args.ask:
            try:
                print(f"    {asked(board.path)}", file=out)
            except BoardError as err:
                is_any_silent = True
                print(f"    {reader.text(err)}", file=out)
    return int(is_any_silent)


def _copy(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    reader = reader_of(data_dir)
    settings = read_settings(data_dir, args.node)
    if settings is None:
        raise ConfigError(
            "{node}: has no configuration; write it with `proofing-monitor node configure {node}`", node=args.node
        )
    port = args.port
    if port is None:
        found = found_boards()
        if not found:
            raise BoardError(NO_BOARD)
        if len(found) > 1:
            raise BoardError(
                "several boards are plugged in; name one with --port: {found}", found=", ".join(b.path for b in found)
            )
        port = found[0].path
    copy_firmware(port, settings, args.ca, out)
    print(reader.say("the board starts as {name}", name=settings.name), file=out)
    print(
        reader.say("next: `proofing-monitor node readings {node} --port {port}`", node=args.node, port=port), file=out
    )
    return 0


# -- readings and calibration -------------------------------------------------------------------------------------


def _node_called(called: str, data_dir: Path) -> tuple[NodeId, NodeSettings | None]:
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
    store = Store(data_dir / DATABASE_NAME)
    return store, clock_of(store)


def _readings(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    node, settings = _node_called(args.node, data_dir)
    store, clock = _opened(data_dir)
    with store, listening(args.port, node, store, clock) as ear:
        calibrations = store.calibrations(node)
        print(reader_of(data_dir).text(set_right_line(calibrations)), file=out, flush=True)
        height_mm = None if settings is None else settings.sensor_height_mm
        shown = 0
        while args.count <= 0 or shown < args.count:
            pack = ear.hear(clock.real_s() + args.wait.total_seconds())
            if not pack:
                raise SourceError(ear.explanation())
            print(pack_line(pack, calibrations, height_mm, local_zone()), file=out, flush=True)
            shown += 1
    return 0


def _calibrate(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    reader = reader_of(data_dir)
    node, settings = _node_called(args.node, data_dir)
    store, clock = _opened(data_dir)
    with store:
        if args.how == "list":
            listed(store.calibrations(node), out, reader)
            return 0
        hows = {"empty": How.EMPTY, "block": How.BLOCK, "ice": How.ICE, "two-points": How.TWO_POINTS}
        how = hows.get(args.how, How.REFERENCE)
        usual = "distance" if how in (How.EMPTY, How.BLOCK) else "dough"
        if args.channel is not None and how is not How.REFERENCE and args.channel != usual:
            raise ConfigError(
                "--channel {channel}: {how} is for the {usual} sensor", channel=args.channel, how=args.how, usual=usual
            )
        channel = CHANNELS[args.channel or usual]
        wish = Wish(how, channel, args.truth, args.truth_sd, _typed(args.measured))

        def hear() -> tuple[float, ...]:
            with listening(args.port, node, store, clock) as ear:
                until_s = clock.real_s() + args.wait.total_seconds()
                return heard(ear, node, channel, args.readings, clock.now(), until_s, out, reader)

        calibrate(wish, node, args.node, settings, store, data_dir, clock.now(), hear, out, reader)
    return 0


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


def _simulate(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    command = simulator_command(args)
    out.flush()
    os.execv(command[0], command)  # this process becomes the simulator: nothing is left behind when it ends
