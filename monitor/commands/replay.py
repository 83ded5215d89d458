"""``replay``: recorded readings through the estimator."""

import sys
from datetime import timedelta
from pathlib import Path

import click

from monitor.commands.parameters import DURATION, FILE, FOLDER
from monitor.commands.terminal import examples


@click.command(
    "replay",
    epilog=examples(
        "replay READINGS.csv --batch BATCH.toml --every 5m",
        "replay READINGS.csv --batch BATCH.toml --every 30m --horizon 12h --learned practice",
    ),
)
@click.argument("readings", type=FILE, metavar="READINGS.csv")
@click.option("--batch", type=FILE, required=True, metavar="BATCH.toml", help="The batch they are of.")
@click.option("--every", type=DURATION, required=True, help="Time between lines.")
@click.option(
    "--horizon", type=DURATION, metavar="24h", default="24h", show_default=True, help="How far to look ahead."
)
@click.option(
    "--learned",
    type=FOLDER,
    metavar="DIR",
    help="A data directory or a folder of exported batches to learn from (default: nothing).",
)
def command(readings: Path, batch: Path, every: timedelta, horizon: timedelta, learned: Path | None) -> None:
    """Run recorded readings through the estimator.

    Each line that it writes is a JSON object.
    """
    from functools import partial

    from monitor.archive.replay import read_batch, replay
    from monitor.collector.recorded_lessons import learned_about
    from monitor.dough.forecast import outlook

    taught = None if learned is None else learned_about(read_batch(batch), learned, sys.stderr)
    estimate = partial(outlook, horizon=horizon, learned=taught)
    replay(readings, batch, every, estimate, sys.stdout, sys.stderr)
