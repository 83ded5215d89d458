"""``node simulate``: nodes without a board, to practise or to load a broker."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from monitor.commands.parameters import DURATION, FILE, FOLDER, MOMENT, POSITIVE
from monitor.commands.terminal import data_dir, examples, refuse_both


@click.command(
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
