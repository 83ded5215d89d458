"""``shops``: several shops brought together: keep copies from a central store, verify, prepare it."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.terminal import Group, data_dir, examples, log_to_stderr, settings_files
from monitor.errors import CentralError, CentralKind, ConfigError, UnfitError
from monitor.settings.data_dir import SITES_NAME
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.settings.config import Config
    from monitor.settings.shops import Centre
    from monitor.shops.influx import Link


@dataclass(frozen=True, slots=True)
class _Central:
    """The central store, as the settings name it, and the way to it."""

    config: Config
    centre: Centre
    link: Link


@contextmanager
def _central(data_dir: Path, config_path: Path | None, secrets_path: Path | None) -> Iterator[_Central]:
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
        yield _Central(config, config.centre, link)


@click.group(
    "shops", cls=Group, epilog=examples("shops follow --data-dir all-shops", "shops verify", "shops prepare --yes")
)
def command() -> None:
    """Bring several shops together by way of a central store."""


@command.command(
    "follow",
    epilog=examples("shops follow --data-dir all-shops", "shops follow --site rye --once --data-dir all-shops"),
)
@click.option("--site", "sites", multiple=True, metavar="NAME", help="Follow this shop alone. May be repeated.")
@click.option("--once", is_flag=True, help="End when everything there is has been taken in.")
@data_dir
@settings_files
def follow(sites: tuple[str, ...], once: bool, data_dir: Path, config: Path | None, secrets: Path | None) -> None:
    """Keep copies of the shops' databases, until stopped.

    They are kept in DIR, where the screens show them.
    """
    from monitor.shops.follower import Follower
    from monitor.shops.follower import follow as follow_until
    from monitor.store.collector_lock import hold_collector_lock

    with _central(data_dir, config, secrets) as central:
        follower = Follower(central.link, central.centre, data_dir, sites or None)
        reader, folder = central.config.reader, data_dir / SITES_NAME
        with hold_collector_lock(folder):
            if once:
                n_taken = follower.look()
                taken = reader.count(
                    n_taken, "{n} point taken into {folder}", "{n} points taken into {folder}", folder=folder
                )
                click.echo(taken)
                return
            stop = threading.Event()
            for number in (signal.SIGINT, signal.SIGTERM):
                signal.signal(number, lambda *_: stop.set())
            following = N_("following {url} into {folder} (Ctrl-C ends it)")
            click.echo(reader.say(following, url=central.centre.url, folder=folder))
            follow_until(follower, stop)


@command.command("verify", epilog=examples("shops verify", "shops verify --send-again"))
@click.option("--send-again", is_flag=True, help="Send everything once more.")
@data_dir
@settings_files
def verify(send_again: bool, data_dir: Path, config: Path | None, secrets: Path | None) -> int:
    """Count what is here, and what the central store has of it.

    The exit status is 1 when it has less than it was sent.
    """
    from monitor.shops.checks import count_there
    from monitor.shops.sender import target_of
    from monitor.store.store import Store

    with _central(data_dir, config, secrets) as central:
        reader, site, target = (
            central.config.reader,
            central.config.site,
            target_of(central.centre, central.config.site),
        )
        with Store(central.config.database) as store:
            if send_again:
                store.spool.send_again(target)
            backlog = store.spool.backlog(target)
            here = store.spool.counts()
        waiting = reader.count(backlog.rows, "{n} row waits to be sent", "{n} rows wait to be sent")
        parked = reader.count(backlog.parked, "{n} cannot be taken", "{n} cannot be taken")
        click.echo(f"{waiting}, {parked}")
        missing = 0
        for table, n_here in here.items():
            n_there = count_there(central.link, central.centre, table, site)
            missing += max(0, n_here - n_there)
            row = N_("{table:<14}{n_here:>12} here{n_there:>12} there")
            click.echo(reader.say(row, table=table, n_here=n_here, n_there=n_there))
    lost = missing - backlog.rows - backlog.parked
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

    with _central(data_dir, config, secrets) as central:
        try:
            found = statements(central.centre, keep_readings)
        except UnfitError as error:
            raise ConfigError("central: {why}", why=error) from error
        for bucket, statement in found:
            click.echo(f"{statement};")
            if is_sure:
                try:
                    central.link.do(bucket, statement)
                except CentralError as error:
                    if error.kind is CentralKind.AWAY or "DROP" not in statement:
                        raise
        if not is_sure:
            undone = N_("nothing was done; --yes carries it out. Only InfluxDB 1 takes these statements")
            click.echo(f"-- {central.config.reader.say(undone)}")
