"""``readings``: replace old ones by five-minute values, pack those of batches, look back at that, write a table."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FILE, MOMENT
from monitor.commands.terminal import (
    Group,
    config_of,
    data_dir,
    examples,
    for_programs,
    reader_of,
    show_states,
    store_of,
)
from monitor.errors import ConfigError, StoreError
from monitor.settings.upkeep import LEAST_WHOLE_DAYS

if TYPE_CHECKING:
    from monitor.published.tables import Form
    from monitor.settings.config import Config


@click.group(
    "readings",
    cls=Group,
    epilog=examples("readings downsample --keep-days 30", "readings pack --after-days 14 --yes", "readings history"),
)
def command() -> None:
    """See the newest, make old ones small, export a node's."""


@command.command("newest", epilog=examples("readings newest", "readings newest --csv"))
@for_programs
@data_dir
def newest(form: Form | None, data_dir: Path) -> None:
    """Show what every sensor measured last."""
    from monitor.published.states import SensorState, sensor_states
    from monitor.store.pace import clock_of
    from monitor.wording.phrases import channel_word, printable
    from monitor.wording.times import clock_text

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        found, now = list(sensor_states(store)), clock_of(store).now()
    if form is not None:
        show_states(found, SensorState, form)
        return
    if not found:
        click.echo(reader.say("no sensor has been heard yet"))
    for each in found:
        at, what = clock_text(each.measured_at, reader, now), channel_word(each.channel, reader)
        click.echo(f"{printable(each.node)}  {at:>15}  {what} {reader.number(each.value, 1)} {each.unit}")


@command.command("downsample", epilog=examples("readings downsample --keep-days 30", "readings downsample --yes"))
@click.option(
    "--keep-days", type=click.IntRange(min=LEAST_WHOLE_DAYS), metavar="DAYS", help="Newer ones stay whole (as set)."
)
@click.option("--yes", "is_sure", is_flag=True, help="Yes, do it.")
@data_dir
def downsample(keep_days: int | None, is_sure: bool, data_dir: Path) -> None:
    """Replace old readings by five-minute values.

    Without --yes it shows what would go. A five-minute value holds the least, mean and greatest of a sensor, and how
    many readings there were. Batches stay whole, with an hour before and after. The collector may be at work meanwhile.
    """
    from monitor.store.pace import clock_of
    from monitor.wording.times import date_words

    config = config_of(data_dir)
    reader = config.reader
    days = keep_days if keep_days is not None else config.upkeep.keep_whole_days
    if days is None:
        raise ConfigError(
            "how long readings stay whole is not set: give --keep-days, or write keep_whole_days under [upkeep] in "
            "config.toml"
        )
    target = _centre_of(config)
    with store_of(data_dir) as store:
        now = clock_of(store).now()
        until = now - timedelta(days=days)
        if is_sure:
            step = partial(store.rollups.step, now, until, target=target, is_by_hand=True)
            gone = _with_rests(n for gone_through, n in iter(step, (0, 0)))
            done = reader.count(
                gone, "{n} reading replaced by a five-minute value", "{n} readings replaced by five-minute values"
            )
            click.echo(f"{done}. " + reader.say("The file keeps its size; new readings take the room."))
            return
        due = store.rollups.due(now, until, target=target)
    if due.first_at is None or due.last_at is None:
        click.echo(reader.say("nothing to do: outside batches no reading so old is left"))
        return
    click.echo(
        reader.say(
            "to be replaced by about {values}: {readings}, measured from {first} to {last}",
            values=reader.count(due.rollups, "{n} five-minute value", "{n} five-minute values"),
            readings=reader.count(due.readings, "{n} reading", "{n} readings"),
            first=date_words(due.first_at, reader),
            last=date_words(due.last_at, reader),
        )
    )
    click.echo(reader.say("Single values cannot be brought back, unless from a backup. Say --yes to do it."))


@command.command("pack", epilog=examples("readings pack --after-days 14", "readings pack --yes"))
@click.option(
    "--after-days", type=click.IntRange(min=LEAST_WHOLE_DAYS), metavar="DAYS", help="After a batch's end (as set)."
)
@click.option("--yes", "is_sure", is_flag=True, help="Yes, do it.")
@data_dir
def pack(after_days: int | None, is_sure: bool, data_dir: Path) -> None:
    """Pack the readings of old batches: a fortieth of the room, and nothing is lost.

    Without --yes it shows how many batches that would be. Screens, exports and backups read packed readings as before.
    The collector may be at work meanwhile.
    """
    from monitor.store.pace import clock_of

    config = config_of(data_dir)
    reader = config.reader
    days = after_days if after_days is not None else config.upkeep.pack_after_days
    if days is None:
        raise ConfigError(
            "when readings of a batch are packed is not set: give --after-days, or write pack_after_days under "
            "[upkeep] in config.toml"
        )
    with store_of(data_dir) as store:
        now = clock_of(store).now()
        until, target = now - timedelta(days=days), _centre_of(config)
        if is_sure:
            n = _with_rests(store.blocks.packing(now, until, target=target, is_by_hand=True))
            click.echo(reader.count(n, "{n} reading packed", "{n} readings packed"))
            return
        n_batches = store.blocks.due(until, target=target)
    click.echo(reader.count(n_batches, "{n} batch to be packed", "{n} batches to be packed"))


@command.command("unpack", epilog=examples("readings unpack", "readings unpack --yes"))
@click.option("--yes", "is_sure", is_flag=True, help="Yes, do it.")
@data_dir
def unpack(is_sure: bool, data_dir: Path) -> None:
    """Put all packed readings back as they were.

    Without --yes it shows how many there are and what room they take. Take pack_after_days out of config.toml first.
    """
    from monitor.archive.checks import BYTES_A_READING
    from monitor.store.pace import clock_of

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        if is_sure:
            n = _with_rests(store.blocks.unpacking(clock_of(store).now()))
            click.echo(reader.count(n, "{n} reading unpacked", "{n} readings unpacked"))
            return
        held = store.blocks.held()
    packed = reader.count(held, "{n} reading is packed", "{n} readings are packed")
    size = reader.number(held * BYTES_A_READING / 1e9, 1)
    click.echo(reader.say("{packed}; unpacked they take {size} GB", packed=packed, size=size))


def _centre_of(config: Config) -> str | None:
    """The central store that must have been sent what is made small; None where there is none."""
    from monitor.shops.sender import target_of

    return None if config.centre is None else target_of(config.centre, config.site)


def _with_rests(steps: Iterable[int]) -> int:
    """Take steps, and rest after each so that others may write; the sum of what they give."""
    from monitor.archive.downsampling import rest_s
    from monitor.clock import SystemClock

    machine, total = SystemClock(), 0
    began_s = machine.real_s()
    for n in steps:
        total += n
        machine.wait(rest_s(machine.real_s() - began_s))
        began_s = machine.real_s()
    return total


@command.command("history", epilog=examples("readings history"))
@data_dir
def history(data_dir: Path) -> None:
    """List when old readings were replaced by five-minute values, packed or unpacked, newest first."""
    from monitor.wording.times import date_words

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        downsampled, packings = store.rollups.history(), store.blocks.history()
    lines = []
    for gone in downsampled:
        n = reader.count(gone.readings, "{n} reading", "{n} readings")
        at, until = date_words(gone.at, reader), date_words(gone.until, reader)
        said = reader.say("{at}: {readings}, measured before {until}", at=at, readings=n, until=until)
        lines.append((gone.at, said, gone.is_by_hand))
    for packing in packings:
        n = (
            reader.count(packing.readings, "{n} reading unpacked", "{n} readings unpacked")
            if packing.is_back
            else reader.count(packing.readings, "{n} reading packed", "{n} readings packed")
        )
        said = reader.say("{at}: {readings}", at=date_words(packing.at, reader), readings=n)
        lines.append((packing.at, said, packing.is_by_hand))
    for _, said, is_by_hand in sorted(lines, reverse=True):
        click.echo(reader.say("{line}, by hand", line=said) if is_by_hand else said)
    if not lines:
        click.echo(reader.say("all readings are kept whole"))


@command.command(
    "export", epilog=examples("readings export urn:dev:mac:020000fffe5e0001 YEAR.csv --since 2026-01-01T00:00:00Z")
)
@click.argument("node")
@click.argument("file", type=FILE)
@click.option("--since", type=MOMENT, help="From then on (default: from the first).")
@click.option("--until", type=MOMENT, help="Up to then (default: to the last).")
@data_dir
def export(node: str, file: Path, since: datetime | None, until: datetime | None, data_dir: Path) -> None:
    """Write a node's readings as a table, five minutes a row.

    Least, mean, greatest and number, by channel, whether single readings are kept still or not.
    """
    from monitor.archive.export import write_five_minutes
    from monitor.store.pace import clock_of
    from monitor.wire.readings import NodeId

    with store_of(data_dir) as store:
        if node not in {row.node for row in store.nodes.all()}:
            raise StoreError("{node}: nothing was ever heard of it; the screen Sensors lists the nodes", node=node)
        start, end = since or datetime.fromtimestamp(0, UTC), until or clock_of(store).now()
        try:
            with file.open("w", encoding="utf-8", newline="") as out:
                n = write_five_minutes(store, NodeId(node), start, end, out)
        except OSError as error:
            raise StoreError(
                "{folder}: cannot be written ({why}); name a folder this user may write",
                folder=file,
                why=error.strerror,
            ) from error
    click.echo(reader_of(data_dir).count(n, "{file}: {n} row", "{file}: {n} rows", file=file))
