"""``backtest``: the estimator, and what else there is, judged on recorded batches."""

import os
import sys
from pathlib import Path

import click

from monitor.commands.parameters import FOLDER, SEEDS, SEEDS_OR_FOLDER
from monitor.commands.terminal import examples
from monitor.errors import ConfigError


@click.command(
    "backtest",
    epilog=examples(
        "backtest --fast",
        "backtest practice --out judged",
        "backtest --simulated bubble --seeds 0:10 --train 500:520 --cores 2",
        "backtest recordings --scheduler tls://host:8786",
    ),
)
@click.argument("folder", type=FOLDER, required=False, metavar="[DIR]")
@click.option(
    "--simulated",
    type=click.Choice(("digital", "bubble", "wild", "all")),
    help="Simulated doughs instead (default: all).",
)
@click.option("--seeds", type=SEEDS, help="Seeds of the simulated doughs, B left out (default: 0:40).")
@click.option(
    "--train", type=SEEDS_OR_FOLDER, help="What the baselines learn from: seeds, or a folder (default: 500:600)."
)
@click.option("--fast", is_flag=True, help="Ten doughs: does it run?")
@click.option("--skip-calls", is_flag=True, help="Forecasts only: half the time.")
@click.option(
    "--cores",
    type=click.IntRange(1, 256),
    default=2,
    show_default=True,
    metavar="N",
    help="Cores of this machine to use.",
)
@click.option("--scheduler", metavar="URL", help="Dask cluster to do it instead: tcp://host:port or tls://host:port.")
@click.option(
    "--trust-network",
    is_flag=True,
    help="Speak tcp to another machine: only where everyone who can reach it is trusted.",
)
@click.option("--cache", type=FOLDER, metavar="DIR", help="Where simulated recordings are kept.")
@click.option("--out", type=FOLDER, metavar="DIR", help="Write table, forecasts and plots there.")
def command(
    folder: Path | None,
    simulated: str | None,
    seeds: range | None,
    train: range | Path | None,
    fast: bool,
    skip_calls: bool,
    cores: int,
    scheduler: str | None,
    trust_network: bool,
    cache: Path | None,
    out: Path | None,
) -> None:
    """Judge the estimator and its baselines on recorded batches.

    DIR holds recorded batches, a folder each; or it is a data directory, whose finished batches are taken.
    """
    from monitor.backtest.report import (
        DEFAULT_SEEDS,
        FAST_SEEDS,
        FAST_TRAIN,
        BacktestOptions,
        backtest,
        simulators_named,
    )
    from monitor.backtest.simulated import default_cache

    if folder is not None and simulated is not None:
        raise ConfigError("backtest takes a folder of recorded batches or --simulated, not both")
    options = BacktestOptions(
        folder=folder,
        simulators=simulators_named(simulated or "all"),
        seeds=seeds or (FAST_SEEDS if fast else DEFAULT_SEEDS),
        train=train or (FAST_TRAIN if fast else None),
        cache=cache or default_cache(os.environ),
        cores=cores,
        has_calls=not skip_calls,
        out=out,
        scheduler=scheduler,
        is_network_trusted=trust_network,
    )
    backtest(options, sys.stdout, sys.stderr)
