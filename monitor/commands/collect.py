"""``collect``: the collector, until it is stopped."""

import os
import sys
from datetime import datetime
from pathlib import Path

import click

from monitor.commands.parameters import MOMENT, POSITIVE
from monitor.commands.terminal import data_dir, examples, log_to_stderr, settings_files
from monitor.errors import ConfigError


@click.command(
    "collect",
    epilog=examples(
        "collect",
        "collect --serial /dev/ttyUSB0",
        "collect --mqtt mqtt://collector@127.0.0.1:1883",
        "collect --by-eye --data-dir practice",
    ),
)
@click.option("--serial", multiple=True, metavar="PORT", help="A node's port: path or hardware id. May be repeated.")
@click.option(
    "--mqtt",
    multiple=True,
    metavar="URL",
    help="A broker: mqtt://user@host:port. Its password: PROOFING_MQTT_PASSWORD. May be repeated.",
)
@click.option("--by-eye", is_flag=True, help="Go without nodes: work levels logged by eye.")
@click.option("--practice", is_flag=True, help="Take in the nodes of `node simulate`, at their pace.")
@click.option("--epoch", type=MOMENT, help="With --speed: when dough time began to run fast.")
@click.option("--speed", type=POSITIVE, help="With --epoch: dough time over real time.")
@click.option("--verbose", is_flag=True, help="Log more.")
@data_dir
@settings_files
def command(
    serial: tuple[str, ...],
    mqtt: tuple[str, ...],
    by_eye: bool,
    practice: bool,
    epoch: datetime | None,
    speed: float | None,
    verbose: bool,
    data_dir: Path,
    config: Path | None,
    secrets: Path | None,
) -> int:
    """Take in readings, estimate, forecast and alert, until stopped."""
    from monitor.clock import Pace
    from monitor.collector.service import collect
    from monitor.node.simulator import practice_in
    from monitor.settings.brokers import mqtt_address
    from monitor.settings.config import load_config

    settings = load_config(data_dir, os.environ, config_path=config, secrets_path=secrets)
    settings = settings.with_sources(
        serial, [mqtt_address(url, may_be_plain=settings.allow_plain_mqtt) for url in mqtt]
    )
    pace = None
    if practice:
        found = practice_in(data_dir)
        settings = settings.with_sources(found.serial, [])
        epoch, speed = (found.epoch, found.speed) if found.epoch else (None, None)
    if epoch is not None and speed is not None:
        pace = Pace(epoch, speed)
    elif epoch is not None or speed is not None:
        raise ConfigError("--epoch and --speed go together: both, or neither for the machine's own clock")
    log_to_stderr(is_verbose=verbose)
    return collect(settings, pace, sys.stdout, is_by_eye=by_eye)
