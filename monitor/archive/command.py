"""``backup``: make, list, verify, restore; from the command line."""

import argparse
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from monitor.archive.backup import Progress as Told
from monitor.archive.backup import Verified, back_up, backups_in, restore, verified
from monitor.clock import SystemClock
from monitor.errors import ConfigError, StoreError
from monitor.settings.config import Config, load_config
from monitor.settings.reader import local_zone
from monitor.store.collector_lock import hold_collector_lock
from monitor.wording.reader import Reader


def run(args: argparse.Namespace, data_dir: Path, environ: Mapping[str, str], out: TextIO) -> int:
    """Run one action; the exit status comes back."""
    config = load_config(data_dir, environ)
    if args.action == "make":
        _make(config, args.dir, out)
    elif args.action == "list":
        _list(_folder(config, args.dir), out, config.reader)
    elif args.action == "verify":
        for path in args.files or backups_in(_folder(config, None)):
            ok = config.reader.say("ok")
            print(f"{ok:<5}  {path}: {_said(verified(path), config.reader)}", file=out)
    else:
        _restore(config, args.file, out, is_sure=args.yes)
    return 0


def _folder(config: Config, named: Path | None) -> Path:
    folder = named if named is not None else config.upkeep.backup_dir
    if folder is None:
        raise ConfigError(
            'no folder for backups is known: name one, or write backup_dir = "..." under [upkeep] in config.toml'
        )
    return folder


def _make(config: Config, named: Path | None, out: TextIO) -> None:
    folder = _folder(config, named)
    keep = config.upkeep.backups_kept if named is None else None
    with _bar(out, config.reader) as progress:
        made = back_up(config.database, folder, SystemClock().now(), keep=keep, progress=progress)
    found = _said(verified(made), config.reader)
    print(config.reader.say("{made}: made and found whole: {found}", made=made, found=found), file=out)


def _list(folder: Path, out: TextIO, reader: Reader) -> None:
    found = backups_in(folder)
    if not found:
        raise StoreError("{folder}: no backup lies there; `proofing-monitor backup make` makes one", folder=folder)
    for path in found:
        print(f"{path}  {reader.number(path.stat().st_size / 1e6, 1)} MB", file=out)


def _restore(config: Config, backup: Path, out: TextIO, *, is_sure: bool) -> None:
    reader = config.reader
    found = _said(verified(backup), reader)
    if not is_sure:
        raise ConfigError(
            "{backup}: {found}. It would take the place of {database}, which is renamed and stays. Say --yes to do it",
            backup=backup,
            found=found,
            database=config.database,
        )
    with hold_collector_lock(config.data_dir):  # no collector may write meanwhile
        aside = restore(backup, config.database, SystemClock().now())
    print(
        reader.say("{database}: is now as in {backup}: {found}", database=config.database, backup=backup, found=found),
        file=out,
    )
    if aside is not None:
        print(
            reader.say(
                "what was there before lies in {aside}; a dashboard that is open must be started anew", aside=aside
            ),
            file=out,
        )


def _said(found: Verified, reader: Reader) -> str:
    """What a backup holds."""
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
def _bar(out: TextIO, reader: Reader) -> Iterator[Told]:
    """A bar that moves with the pages copied, on a terminal; elsewhere nothing."""
    columns = (
        TextColumn(reader.say("backing up")),
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(file=out), transient=True, disable=not out.isatty()) as bar:
        task = bar.add_task("backup", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
