"""What ``check`` looks at of the monitor's own upkeep: clock, damage, backups, messages that wait."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from monitor.archive.backup import backups_in, made_at, verified
from monitor.clock import is_calendar_right
from monitor.config import Config
from monitor.errors import ConfigError, StoreError
from monitor.pace import clock_of
from monitor.sinks.damage import set_aside_before
from monitor.sinks.store import Store
from monitor.watch.heartbeat import checked_host

LATE = timedelta(minutes=5)  # judgement: a message that has not gone out by then will not by itself
Looked = Iterator[tuple[str, str | None]]
"""What was seen, and what to do about it; None when it is right as it is."""


def looked_at_upkeep(config: Config, now: datetime) -> Looked:
    """Everything of it, a line each."""
    date = f"date and time: {now:%Y-%m-%d %H:%M} UTC"
    yield date, None if is_calendar_right() else "set this machine's clock; readings would be stored under a wrong date"
    for path in set_aside_before(config.database):
        yield (
            f"database: was damaged once, and set aside as {path}",
            "bring back what is missing with `proofing-monitor backup restore`, then move that file away",
        )
    yield from _backups(config, now)
    yield from _waiting(config)
    if config.secrets.heartbeat_url is None:
        yield "outside watch: none; nobody calls you when this whole machine fails (heartbeat_url)", None
        return
    try:
        checked_host(config.secrets.heartbeat_url, config.notify_inside)
    except ConfigError as error:
        yield "outside watch: must not be called", str(error)
    else:
        yield "outside watch: called every minute", None


def _backups(config: Config, now: datetime) -> Looked:
    folder = config.upkeep.backup_dir
    if folder is None:
        yield "backups: none are made by themselves (backup_dir under [upkeep] in config.toml)", None
        return
    if not folder.is_dir():
        yield f"backups: {folder} is not there", "plug the drive in, or make the folder"
        return
    found = backups_in(folder)
    if not found:
        yield f"backups: none yet in {folder}", "start the collector, or run `proofing-monitor backup make`"
        return
    try:
        verified(found[0])
    except StoreError as error:
        yield f"backups: the newest cannot be used: {error}", "run `proofing-monitor backup make`"
        return
    at = made_at(found[0])
    is_old = at is not None and now - at > 2 * timedelta(hours=config.upkeep.backup_every_h)
    yield (
        f"backups: {len(found)} in {folder}, the newest found whole ({found[0].name})",
        "start the collector, or run `proofing-monitor backup make`: it is old" if is_old else None,
    )


def _waiting(config: Config) -> Looked:
    if not config.database.exists():
        return
    try:
        with Store(config.database) as store:
            now = clock_of(store).now()
            late = [
                message
                for message, _, calls in store.open_messages()
                if message.delivered_at is None and now - message.created_at > LATE
                if calls
                or config.calls.quiet is None
                or message.kind in config.calls.wakes  # the rest waits for morning
            ]
    except StoreError as error:
        yield f"messages: cannot be looked at: {error}", "mend the database first"
        return
    if late:
        yield (
            f"messages: {len(late)} wait, the oldest since {min(each.created_at for each in late):%Y-%m-%d %H:%M} UTC",
            "start the collector where it does not run; else see which of `notify_urls` fails in its log",
        )
    else:
        yield "messages: none waits", None
