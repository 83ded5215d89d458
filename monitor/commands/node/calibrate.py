"""``node calibrate``: a sensor compared with what is known."""

from __future__ import annotations

import sys
from datetime import timedelta
from pathlib import Path

import click

from monitor.commands.node.options import NODE, listening, node_called, opened
from monitor.commands.parameters import POSITIVE
from monitor.commands.terminal import data_dir, examples, reader_of
from monitor.errors import ConfigError
from monitor.wire.readings import SENSOR_CHANNELS, Channel

HOWS = ("empty", "block", "ice", "two-points", "reference", "list")
READINGS = 5


@click.command(
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
    type=click.Choice([channel.wire_name for channel in SENSOR_CHANNELS]),
    help="For reference: which sensor (default: dough).",
)
@click.option("--truth", type=float, metavar="VALUE", help="What the trusted instrument shows; a block's height.")
@click.option("--truth-sd", type=POSITIVE, metavar="VALUE", help="How sure that is: half of it either way.")
@click.option(
    "--readings", "n_readings", type=int, default=READINGS, show_default=True, metavar="N", help="How many to take."
)
@click.option("--depth", type=POSITIVE, metavar="MM", help="For empty: how deep the vessel is; its rim must be seen.")
@click.option("--measured", metavar="V,V,V", help="Readings taken down before, instead of new ones.")
@listening
@data_dir
def calibrate(
    node: str,
    how: str,
    channel: str | None,
    truth: float | None,
    truth_sd: float | None,
    n_readings: int,
    depth: float | None,
    measured: str | None,
    port: str | None,
    wait: timedelta,
    data_dir: Path,
) -> None:
    """Compare a sensor with what is known, and keep the difference.

    HOW is what it is compared with: empty (the vessel), block, ice, two-points or reference. `list` shows what was
    found so far.
    """
    from monitor.node.calibration import Wish, heard, listed
    from monitor.node.calibration import calibrate as calibrated
    from monitor.node.live_readings import listening as listening_at
    from monitor.recipe.calibration import Comparison

    reader = reader_of(data_dir)
    urn, settings = node_called(node, data_dir)
    store, clock = opened(data_dir)
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
        usual = Channel.DISTANCE if way in (Comparison.EMPTY, Comparison.BLOCK) else Channel.DOUGH_TEMP
        sensor = next((each for each in SENSOR_CHANNELS if each.wire_name == channel), usual)
        if way is not Comparison.REFERENCE and sensor is not usual:
            raise ConfigError(
                "--channel {channel}: {how} is for the {usual} sensor", channel=channel, how=how, usual=usual.wire_name
            )
        wish = Wish(way, sensor, truth, truth_sd, _typed(measured), depth)

        def hear() -> tuple[float, ...]:
            with listening_at(port, urn, store, clock) as ear:
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
