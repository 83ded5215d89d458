"""What ``check`` looks at of the monitor's own upkeep: clock, damage, room, backups, messages that wait."""

import shutil
from datetime import datetime, timedelta

from monitor.archive.backup import backups_in, made_at, verified
from monitor.clock import is_calendar_right
from monitor.errors import ConfigError, StoreError
from monitor.health.findings import Finding, Findings
from monitor.health.heartbeat import checked_host
from monitor.settings.config import Config
from monitor.store.damage import set_aside_before
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import Number, Translatable

BYTES_A_READING = 107  # measured: tests/benchmark_storage.py
ROOM_D = 90  # judgement: who hears of it a quarter ahead can choose what to do
LATE = timedelta(minutes=5)  # judgement: a message that has not gone out by then will not by itself


def looked_at_upkeep(config: Config, now: datetime) -> Findings:
    """Everything of it, a line each."""
    date = Translatable("date and time: {at} UTC", at=f"{now:%Y-%m-%d %H:%M}")
    yield Finding(
        date,
        None
        if is_calendar_right()
        else Translatable("set this machine's clock; readings would be stored under a wrong date"),
    )
    for path in set_aside_before(config.database):
        yield Finding(
            Translatable("database: was damaged once, and set aside as {path}", path=path),
            Translatable("bring back what is missing with `proofing-monitor backup restore`, then move that file away"),
        )
    yield from _room(config)
    yield from _backups(config, now)
    yield from _waiting(config)
    if config.secrets.heartbeat_url is None:
        yield Finding(
            Translatable("outside watch: none; nobody calls you when this whole machine fails (heartbeat_url)")
        )
        return
    try:
        checked_host(config.secrets.heartbeat_url, config.notify_inside)
    except ConfigError as error:
        yield Finding(Translatable("outside watch: must not be called"), error.message)
    else:
        yield Finding(Translatable("outside watch: called every minute"))


def _room(config: Config) -> Findings:
    """How much the readings take, and for how long the disk has room."""
    if not config.database.exists():
        return
    try:
        with Store(config.database) as store:
            a_day = store.readings.arrived_since(clock_of(store).now() - timedelta(days=1))
    except StoreError as error:
        yield Finding(
            Translatable("readings: cannot be counted: {why}", why=error), Translatable("mend the database first")
        )
        return
    free = shutil.disk_usage(config.data_dir).free
    kept = config.upkeep.keep_whole_days
    holds = {
        "size": Number(config.database.stat().st_size / 1e9, ".1f"),
        "year": Number(a_day * 365 * BYTES_A_READING / 1e9, ".1f"),
        "free": Number(free / 1e9, ".1f"),
    }
    if kept is not None:
        yield Finding(
            Translatable(
                "readings: {size} GB, {free} GB are free; outside batches they stay whole for {n} days",
                n=kept,
                **holds,
            )
        )
        return
    is_short = a_day * BYTES_A_READING * ROOM_D > free
    yield Finding(
        Translatable("readings: {size} GB, {year} GB more in a year at today's pace; {free} GB are free", **holds),
        Translatable(
            "make room, or have old readings replaced by five-minute values (keep_whole_days under [upkeep] in "
            "config.toml; `proofing-monitor readings downsample --keep-days 30` shows first what would go)"
        )
        if is_short
        else None,
    )


def _backups(config: Config, now: datetime) -> Findings:
    folder = config.upkeep.backup_dir
    if folder is None:
        yield Finding(Translatable("backups: none are made by themselves (backup_dir under [upkeep] in config.toml)"))
        return
    if not folder.is_dir():
        yield Finding(
            Translatable("backups: {folder} is not there", folder=folder),
            Translatable("plug the drive in, or make the folder"),
        )
        return
    found = backups_in(folder)
    if not found:
        yield Finding(
            Translatable("backups: none yet in {folder}", folder=folder),
            Translatable("start the collector, or run `proofing-monitor backup make`"),
        )
        return
    try:
        verified(found[0])
    except StoreError as error:
        yield Finding(
            Translatable("backups: the newest cannot be used: {why}", why=error),
            Translatable("run `proofing-monitor backup make`"),
        )
        return
    at = made_at(found[0])
    is_old = at is not None and now - at > 2 * timedelta(hours=config.upkeep.backup_every_h)
    yield Finding(
        Translatable(
            "backups: {n} in {folder}, the newest found whole ({name})", n=len(found), folder=folder, name=found[0].name
        ),
        Translatable("start the collector, or run `proofing-monitor backup make`: it is old") if is_old else None,
    )


def _waiting(config: Config) -> Findings:
    if not config.database.exists():
        return
    try:
        with Store(config.database) as store:
            now = clock_of(store).now()
            late = [
                message
                for message, _, calls in store.outbox.open_messages()
                if message.delivered_at is None and now - message.created_at > LATE
                if calls
                or config.calls.quiet is None
                or message.kind in config.calls.wakes  # the rest waits for morning
            ]
    except StoreError as error:
        yield Finding(
            Translatable("messages: cannot be looked at: {why}", why=error), Translatable("mend the database first")
        )
        return
    if late:
        yield Finding(
            Translatable(
                "messages: {n} wait, the oldest since {at} UTC",
                n=len(late),
                at=f"{min(each.created_at for each in late):%Y-%m-%d %H:%M}",
            ),
            Translatable("start the collector where it does not run; else see which of `notify_urls` fails in its log"),
        )
    else:
        yield Finding(Translatable("messages: none waits"))
