"""``backup``: make, list, verify and restore backups."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FOLDER, MOMENT
from monitor.commands.terminal import Group, data_dir, examples
from monitor.errors import ConfigError, StoreError
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.archive.backup import Progress as Told
    from monitor.archive.backup import Verified
    from monitor.settings.config import Config
    from monitor.wording.reader import Reader

WHERE = click.argument("folder", type=FOLDER, required=False, metavar="[DIR]")


@click.group(
    "backup",
    cls=Group,
    epilog=examples(
        "backup make /media/stick", "backup list /media/stick", "backup verify", "backup restore FILE --yes"
    ),
)
def command() -> None:
    """Make, list, verify and restore backups.

    They lie in DIR, or in backup_dir of config.toml.
    """


def _config(data_dir: Path) -> Config:
    from monitor.settings.config import load_config

    return load_config(data_dir, os.environ)


def _folder(config: Config, named: Path | None) -> Path:
    folder = named if named is not None else config.upkeep.backup_dir
    if folder is None:
        raise ConfigError(
            'no folder for backups is known: name one, or write backup_dir = "..." under [upkeep] in config.toml'
        )
    return folder


@command.command("make", epilog=examples("backup make", "backup make /media/stick"))
@WHERE
@data_dir
def make(folder: Path | None, data_dir: Path) -> None:
    """Copy the database while all goes on, and check the copy."""
    from monitor.archive.backup import back_up, verified
    from monitor.clock import SystemClock

    config = _config(data_dir)
    keep = config.upkeep.backups_kept if folder is None else None
    with _bar(config.reader) as progress:
        made = back_up(config.database, _folder(config, folder), SystemClock().now(), keep=keep, progress=progress)
    found = _said(verified(made), config.reader)
    click.echo(config.reader.say("{made}: made and found whole: {found}", made=made, found=found))


@command.command("list", epilog=examples("backup list", "backup list /media/stick"))
@WHERE
@data_dir
def list_(folder: Path | None, data_dir: Path) -> None:
    """List the backups there are, newest first."""
    from monitor.archive.backup import backups_in

    config = _config(data_dir)
    place = _folder(config, folder)
    found = backups_in(place)
    if not found:
        raise StoreError("{folder}: no backup lies there; `proofing-monitor backup make` makes one", folder=place)
    for path in found:
        click.echo(f"{path}  {config.reader.number(path.stat().st_size / 1e6, 1)} MB")


@command.command(
    "verify",
    epilog=examples(
        "backup verify", "backup verify /media/stick/FILE", "backup verify sftp://keeper@store.example/srv/rye-street"
    ),
)
@click.argument("sources", nargs=-1, metavar="[FILE|ADDRESS]...")
@data_dir
def verify(sources: tuple[str, ...], data_dir: Path) -> None:
    """Look backups through, and say what each holds.

    Without FILE it is every backup there is. What was shipped to an address is brought back, compared with the
    database here and thrown away.
    """
    from monitor.archive.backup import CHECKSUM, backups_in, rows_apart, verified
    from monitor.replica.bringing_back import brought_back, target_of

    config = _config(data_dir)
    reader = config.reader
    # checksums lie beside the backups, and a * names them too
    named = [each for each in sources if not each.endswith(CHECKSUM)]
    for source in named or map(str, backups_in(_folder(config, None))):
        target = target_of(source, config)
        if target is None:
            found = _said(verified(Path(source).absolute()), reader)
        else:
            with brought_back(target, config) as file:
                found = _said(verified(file), reader, is_shipped=True)
                if config.database.exists():
                    apart = rows_apart(file, config.database)
                    equal = N_("{found}; as the database here")
                    since = N_("{found}; {n} rows of the database here are not in it as they are")
                    found = reader.say(since if apart else equal, found=found, n=apart)
        ok = reader.say("ok")
        click.echo(f"{ok:<5}  {source}: {found}")


@command.command(
    "restore",
    epilog=examples(
        "backup restore /media/stick/FILE --yes",
        "backup restore sftp://keeper@store.example/srv/replicas/rye-street --yes",
        "backup restore s3://bakery/rye-street --at 2026-03-02T05:40:00Z --yes",
    ),
)
@click.argument("source", metavar="FILE|ADDRESS")
@click.option("--at", "moment", type=MOMENT, help="With an address: as it was then.")
@click.option("--yes", "is_sure", is_flag=True, help="Yes, do it.")
@data_dir
def restore(source: str, moment: datetime | None, is_sure: bool, data_dir: Path) -> None:
    """Put a backup, or what was shipped, in the database's place.

    Give a file, or the address or folder it was shipped to. What was there before is renamed and stays.
    """
    from contextlib import ExitStack

    from monitor.archive.backup import restore as put_back
    from monitor.archive.backup import verified
    from monitor.clock import SystemClock
    from monitor.replica.bringing_back import brought_back, take_over, target_of
    from monitor.store.collector_lock import hold_collector_lock, hold_shipping_lock

    config = _config(data_dir)
    reader = config.reader
    target = target_of(source, config)
    if moment is not None and target is None:
        raise ConfigError("--at goes with an address; a file holds one moment")
    with ExitStack() as held:
        if is_sure:
            held.enter_context(hold_collector_lock(config.data_dir))  # no collector may write meanwhile
            held.enter_context(hold_shipping_lock(config.data_dir))
        file = Path(source).absolute()
        if target is not None:
            file = held.enter_context(brought_back(target, config, moment))
        found = _said(verified(file), reader, is_shipped=target is not None)
        if not is_sure:
            raise ConfigError(
                "{backup}: {found}. It would take the place of {database}, which is renamed and stays. Say --yes to "
                "do it",
                backup=source,
                found=found,
                database=config.database,
            )
        aside = put_back(file, config.database, SystemClock().now())
        if target is not None:
            take_over(target, config)
    as_there = N_("{database}: is now as in {backup}: {found}")
    click.echo(reader.say(as_there, database=config.database, backup=source, found=found))
    if aside is not None:
        before = N_("what was there before lies in {aside}; a dashboard that is open must be started anew")
        click.echo(reader.say(before, aside=aside))


def _said(found: Verified, reader: Reader, *, is_shipped: bool = False) -> str:
    """What a backup holds; what was shipped comes in files with checksums of their own."""
    from monitor.settings.reader import local_zone

    size = reader.say(
        "{size} MB, {batches}, {readings}",
        size=reader.number(found.size_bytes / 1e6, 1),
        batches=reader.count(found.batches, "{n} batch", "{n} batches"),
        readings=reader.count(found.readings, "{n} reading", "{n} readings"),
    )
    if found.newest_at is not None:
        newest = found.newest_at.astimezone(local_zone())
        size = reader.say("{size}, the newest of {at}", size=size, at=f"{newest:%Y-%m-%d %H:%M}")
    if found.has_checksum or is_shipped:
        return size
    return reader.say("{found}; no checksum lies beside it, so a figure that has changed is not seen", found=size)


@contextmanager
def _bar(reader: Reader) -> Iterator[Told]:
    """A bar that moves with the pages copied, on a terminal; elsewhere nothing."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn(reader.say("backing up")),
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, transient=True, disable=not sys.stdout.isatty()) as bar:
        task = bar.add_task("backup", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
