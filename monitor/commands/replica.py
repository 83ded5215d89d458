"""``replica``: ship the whole store to another place, continuously."""

from __future__ import annotations

import os
import signal
import threading
from pathlib import Path

import click

from monitor.commands.terminal import Group, data_dir, examples, log_to_stderr, settings_files
from monitor.errors import ConfigError


@click.group("replica", cls=Group, epilog=examples("replica run"))
def command() -> None:
    """Ship the whole database to another place, continuously."""


@command.command("run", epilog=examples("replica run", "replica run --data-dir practice"))
@data_dir
@settings_files
def run(data_dir: Path, config: Path | None, secrets: Path | None) -> None:
    """Ship what the collector stores, until stopped.

    Where to stands under [replica] in config.toml. `backup restore` brings it back.
    """
    from monitor.replica.litestream import program
    from monitor.replica.shipping import Shipper
    from monitor.settings.config import load_config

    log_to_stderr()
    settings = load_config(data_dir, os.environ, config_path=config, secrets_path=secrets)
    if settings.shipping is None:
        raise ConfigError(
            "{data_dir}: it is not said where to; write [replica] and its url into config.toml", data_dir=data_dir
        )
    program()
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    url = settings.shipping.target.url
    click.echo(settings.reader.say("shipping {data_dir} to {url} (Ctrl-C ends it)", data_dir=data_dir, url=url))
    Shipper(settings, settings.shipping).run(stop)
