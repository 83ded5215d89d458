"""``backup``: make, list, verify and restore backups."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FILE, FOLDER
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


@command.command("verify", epilog=examples("backup verify", "backup verify /media/stick/FILE"))
@click.argument("files", type=FILE, nargs=-1, metavar="[FILE]...")
@data_dir
def verify(files: tuple[Path, ...], data_dir: Path) -> None:
    """Look backups through, and say what each holds.

    Without FILE it is every backup there is.
    """
    from monitor.archive.backup import backups_in, verified

    config = _config(data_dir)
    for path in files or backups_in(_folder(config, None)):
        ok = config.reader.say("ok")
        click.echo(f"{ok:<5}  {path}: {_said(verified(path), config.reader)}")


@command.command("restore", epilog=examples("backup restore /media/stick/FILE --yes"))
@click.argument("file", type=FILE)
@click.option("--yes", "is_sure", is_flag=True, help="Yes, do it.")
@data_dir
def restore(file: Path, is_sure: bool, data_dir: Path) -> None:
    """Put a backup in the database's place.

    What was there before is renamed and stays.
    """
    from monitor.archive.backup import restore as put_back
    from monitor.archive.backup import verified
    from monitor.clock import SystemClock
    from monitor.store.collector_lock import hold_collector_lock

    config = _config(data_dir)
    reader = config.reader
    found = _said(verified(file), reader)
    if not is_sure:
        raise ConfigError(
            "{backup}: {found}. It would take the place of {database}, which is renamed and stays. Say --yes to do it",
            backup=file,
            found=found,
            database=config.database,
        )
    with hold_collector_lock(config.data_dir):  # no collector may write meanwhile
        aside = put_back(file, config.database, SystemClock().now())
    as_there = N_("{database}: is now as in {backup}: {found}")
    click.echo(reader.say(as_there, database=config.database, backup=file, found=found))
    if aside is not None:
        before = N_("what was there before lies in {aside}; a dashboard that is open must be started anew")
        click.echo(reader.say(before, aside=aside))


def _said(found: Verified, reader: Reader) -> str:
    """What a backup holds."""
    from monitor.settings.reader import local_zone

    size = reader.say(
        "{size} MB, {batches}, {readings}",
        size=reader.number(found.size_bytes / 1e6, 1),
        batches=reader.count(found.batches, "{n} batch", "{n} batches"),
        readings=reader.count(found.readings, "{n} reading", "{n} readings"),
    )
    if found.newest_at is None:
        return size
    newest = found.newest_at.astimezone(local_zone())
    return reader.say("{size}, the newest of {at}", size=size, at=f"{newest:%Y-%m-%d %H:%M}")


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
