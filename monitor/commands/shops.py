"""``shops``: several shops brought together by way of a central store: verify it, prepare it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.terminal import Group, data_dir, examples, log_to_stderr, settings_files
from monitor.errors import CentralError, CentralKind, ConfigError, UnfitError
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.settings.config import Config
    from monitor.shops.influx import Link


@contextmanager
def _central(data_dir: Path, config_path: Path | None, secrets_path: Path | None) -> Iterator[tuple[Config, Link]]:
    from monitor.settings.config import load_config
    from monitor.shops.influx import Link

    log_to_stderr()
    config = load_config(data_dir, os.environ, config_path=config_path, secrets_path=secrets_path)
    if config.centre is None:
        raise ConfigError(
            "{data_dir}: no central store is set; write [central] and its url into config.toml, and "
            "influx_token into secrets.toml",
            data_dir=data_dir,
        )
    with Link(config.centre, config.secrets.influx_token) as link:
        yield config, link


@click.group("shops", cls=Group, epilog=examples("shops verify", "shops prepare --yes"))
def command() -> None:
    """Bring several shops together by way of a central store."""


@command.command("verify", epilog=examples("shops verify", "shops verify --send-again"))
@click.option("--send-again", is_flag=True, help="Send everything once more.")
@data_dir
@settings_files
def verify(send_again: bool, data_dir: Path, config: Path | None, secrets: Path | None) -> int:
    """Count what is here, and what the central store has of it.

    The exit status is 1 when it has less than it was sent.
    """
    from monitor.shops.sender import target_of
    from monitor.store.store import Store

    with _central(data_dir, config, secrets) as (found, link):
        reader = found.reader
        target = target_of(link.centre, found.site)
        with Store(found.database) as store:
            if send_again:
                store.spool.send_again(target)
            backlog = store.spool.backlog(target)
            here = store.spool.counts()
        waiting = reader.count(backlog.rows, "{n} row waits to be sent", "{n} rows wait to be sent")
        parked = reader.count(backlog.parked, "{n} cannot be taken", "{n} cannot be taken")
        click.echo(f"{waiting}, {parked}")
        lost = -backlog.rows - backlog.parked
        for stream, n_here in here.items():
            n_there = link.count(stream, found.site)
            lost += max(0, n_here - n_there)
            row = N_("{table:<14}{n_here:>12} here{n_there:>12} there")
            click.echo(reader.say(row, table=stream, n_here=n_here, n_there=n_there))
    if lost <= 0:
        return 0
    missed = reader.count(lost, "{n} is missing there", "{n} are missing there")
    why = reader.say(
        "Readings go when their bucket lets them go; if that is not it, "
        "`proofing-monitor shops verify --send-again` sends everything once more"
    )
    click.echo(f"{missed}. {why}")
    return 1


@command.command(
    "prepare", epilog=examples("shops prepare --keep-readings 90", "shops prepare --keep-readings 90 --yes")
)
@click.option(
    "--keep-readings",
    type=int,
    metavar="DAYS",
    help="How long single readings stay (default: for good).",
)
@click.option("--yes", "is_sure", is_flag=True, help="Carry it out there.")
@data_dir
@settings_files
def prepare(
    keep_readings: int | None, is_sure: bool, data_dir: Path, config: Path | None, secrets: Path | None
) -> None:
    """Show what makes an InfluxDB 1 ready: buckets, retention, means."""
    from monitor.shops.buckets import statements

    with _central(data_dir, config, secrets) as (found, link):
        try:
            wanted = statements(link.centre, keep_readings)
        except UnfitError as error:
            raise ConfigError("central: {why}", why=error) from error
        for bucket, statement in wanted:
            click.echo(f"{statement};")
            if is_sure:
                try:
                    link.do(bucket, statement)
                except CentralError as error:
                    if error.kind is CentralKind.AWAY or "DROP" not in statement:
                        raise
        if not is_sure:
            undone = N_("nothing was done; --yes carries it out. Only InfluxDB 1 takes these statements")
            click.echo(f"-- {found.reader.say(undone)}")
