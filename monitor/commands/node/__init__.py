"""``node``: set up, look at and calibrate nodes; simulate some."""

import click

from monitor.commands.node.boards import boards, copy, probes, verify
from monitor.commands.node.calibrate import calibrate
from monitor.commands.node.configure import configure, wiring
from monitor.commands.node.discover import discover
from monitor.commands.node.readings import readings
from monitor.commands.node.setup import setup
from monitor.commands.node.simulate import simulate
from monitor.commands.terminal import Group, examples


@click.group(
    "node",
    cls=Group,
    epilog=examples(
        "node setup tub-3",
        "node configure tub-3 --serial --distance tof",
        "node boards --ask",
        "node copy tub-3",
        "node readings tub-3 --port /dev/ttyUSB0",
        "node calibrate tub-3 empty",
    ),
)
def command() -> None:
    """Set up, look at and calibrate nodes; simulate some.

    NODE is what you called it in `node setup` or `node configure`, or its urn:dev:... name.
    """


for each in (setup, configure, wiring, boards, copy, probes, verify, discover, readings, calibrate, simulate):
    command.add_command(each)
