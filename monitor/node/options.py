"""The options of ``proofing-monitor node``. Loads nothing of what they do."""

import argparse
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from monitor.arguments import duration, moment, path, positive

WIFI_PASSWORD = "PROOFING_WIFI_PASSWORD"
HOWS = ("empty", "block", "ice", "two-points", "reference", "list")
CHANNELS = ("air", "humidity", "dough", "distance")
READINGS = 5
FAULTS = "hand, dropout, unplug, reboot, clock: so often an hour; corrupt: this share of frames"
WAIT = timedelta(minutes=5)  # ten readings of a node that measures each half minute


def add_actions(
    node: argparse.ArgumentParser,
    add_place: Callable[[argparse.ArgumentParser], None],
    run: Callable[[argparse.Namespace], int],
) -> None:
    """The actions of ``node`` with their options; ``run`` is what each is handed to."""
    actions = node.add_subparsers(dest="action", required=True, metavar="ACTION")
    _add_configure(actions.add_parser("configure", help="write what a board is told; again: change what is given"))

    boards = actions.add_parser("boards", help="list the boards that are plugged in")
    boards.add_argument("--ask", action="store_true", help="ask each what it runs (this stops a node until its reset)")
    boards.add_argument("--port", help="look at this port alone")

    copy = actions.add_parser("copy", help="put firmware and configuration on a board")
    _add_node(copy)
    copy.add_argument("--port", help="the board's (default: the only one there is)")
    copy.add_argument("--ca", type=Path, metavar="FILE", help="certificate (PEM) of the broker to trust")

    readings = actions.add_parser("readings", help="show live readings, to see whether all is wired right")
    _add_node(readings)
    readings.add_argument(
        "--count", type=int, default=0, metavar="N", help="end after so many (default: Ctrl-C ends it)"
    )
    _add_ear(readings)

    _add_calibrate(actions.add_parser("calibrate", help="compare a sensor with what is known, and keep the difference"))
    _add_simulate(actions.add_parser("simulate", help="start simulated nodes, to practise or to load a broker"))
    for action in actions.choices.values():
        add_place(action)
        action.set_defaults(run=run)


def _add_node(action: argparse.ArgumentParser) -> None:
    action.add_argument("node", metavar="NODE", help="as you called it in `node configure`, or its urn:dev:... name")


def _add_ear(action: argparse.ArgumentParser) -> None:
    action.add_argument("--port", help="listen on the node's own line (default: what a running collector stores)")
    action.add_argument(
        "--wait", type=duration, default=WAIT, metavar="5m", help="how long to wait for a reading (default: 5m)"
    )


def _add_configure(action: argparse.ArgumentParser) -> None:
    action.add_argument("node", metavar="NODE", help="what you call it: letters, digits, - and _, such as tub-3")
    action.add_argument("--name", metavar="URN", help="its name on the wire (default: one is drawn)")
    action.add_argument("--site", help="where it stands, in your words")
    action.add_argument("--board", choices=("esp32", "rp2040"), help="class of board (default: esp32)")
    link = action.add_mutually_exclusive_group()
    link.add_argument("--serial", action="store_true", help="it speaks over its USB cable (default)")
    link.add_argument("--mqtt", metavar="URL", help="it speaks to this broker: mqtt://host:port or mqtts://host:port")
    action.add_argument("--ca", action="store_true", help="with mqtts: trust the certificate given to `node copy --ca`")
    action.add_argument("--wifi", metavar="NAME", help=f"wireless network; its password is asked, or {WIFI_PASSWORD}")
    action.add_argument(
        "--watchdog",
        action=argparse.BooleanOptionalAction,
        help="the board restarts itself when it hangs (default: no)",
    )
    action.add_argument("--period", type=duration, metavar="30s", help="time between measurements (default: 30s)")
    action.add_argument(
        "--sensor-height", type=positive, metavar="MM", help="distance sensor to the empty vessel's base"
    )
    action.add_argument("--air", choices=("sht4x", "none"), help="class of air sensor")
    action.add_argument("--probe", choices=("ds18b20", "none"), help="class of dough probe")
    action.add_argument("--distance", choices=("tof", "ultrasonic", "none"), help="class of distance sensor")


def _add_calibrate(action: argparse.ArgumentParser) -> None:
    _add_node(action)
    action.add_argument("how", choices=HOWS, help="what it is compared with; list: what was found so far")
    action.add_argument("--channel", choices=CHANNELS, help="for reference: which sensor (default: dough)")
    action.add_argument(
        "--truth", type=float, metavar="VALUE", help="what the trusted instrument shows; a block's height"
    )
    action.add_argument("--truth-sd", type=positive, metavar="VALUE", help="how sure that is: half of it either way")
    action.add_argument("--readings", type=int, default=READINGS, metavar="N", help="how many to take (%(default)s)")
    action.add_argument("--measured", metavar="V,V,V", help="readings taken down before, instead of new ones")
    _add_ear(action)


def _add_simulate(action: argparse.ArgumentParser) -> None:
    action.add_argument("--count", type=int, help="how many nodes (default: one, or one for each --serial)")
    action.add_argument(
        "--mqtt", metavar="URL", help="your broker: mqtt://host:port; each node logs in as its node key"
    )
    action.add_argument("--secrets", type=path, metavar="FILE", help="JSON of node key and password; made when missing")
    action.add_argument(
        "--serial", type=path, action="append", default=[], metavar="PATH", help="make this port for one"
    )
    action.add_argument("--speed", type=positive, default=1.0, help="dough time over real time (%(default)g)")
    action.add_argument(
        "--epoch", type=moment, metavar="TIME", help="when dough time begins to run fast (default: now)"
    )
    action.add_argument("--period", type=duration, default=timedelta(seconds=30), metavar="30s", help="of measuring")
    source = action.add_mutually_exclusive_group()
    source.add_argument("--dough", default="mixed", metavar="NAME", help="which dough, or mixed (default)")
    source.add_argument("--recording", type=path, metavar="READINGS.csv", help="say again what was recorded")
    action.add_argument("--room", metavar="AIR", help="the air they stand in, such as steady:24 or cabinet:28")
    action.add_argument("--noise", metavar="KIND", help="how good the sensors are: clean, mild, usual, rough")
    action.add_argument("--fault", action="append", default=[], metavar="KIND=RATE", help=FAULTS)
    action.add_argument("--micropython", action="store_true", help="real MicroPython, a process for each node")
    action.add_argument("--hours", type=positive, help="end after so much dough time (default: Ctrl-C ends it)")
    action.add_argument("--seed", type=int, default=1, help="another number, other doughs (%(default)s)")
    action.add_argument("--batches", type=path, metavar="DIR", help="write a batch file for each dough, and the truth")
