"""``batch``: start, list, log an event or a level, end, export, archive, import batches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FILE, FOLDER, MOMENT, NUMBER, POSITIVE
from monitor.commands.terminal import (
    Group,
    config_of,
    data_dir,
    examples,
    for_programs,
    reader_of,
    say_when_unwatched,
    show_states,
    store_of,
)
from monitor.commands.what_if import what_if
from monitor.errors import ConfigError, StoreError
from monitor.recipe.events import PLACES, EventKind
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.translatable import N_, Number, Translatable, harmless

if TYPE_CHECKING:
    from monitor.published.tables import Form
    from monitor.recipe.batch import Batch
    from monitor.settings.config import Config
    from monitor.store.store import Store
    from monitor.wording.reader import Reader

EVENT_KINDS = tuple(kind.value for kind in EventKind)
DEFAULT_EYE_SD_MM = 3.0  # judgement: a domed top read against a scale on the tub

ID = click.argument("id_", type=NUMBER, metavar="ID")
AT = click.option("--at", type=MOMENT, help="When it was (default: now).")


@click.group(
    "batch",
    cls=Group,
    epilog=examples("batch start loaf.toml --now", "batch list", "batch event 3 fold", "batch what-if 3 --air 27C"),
)
def command() -> None:
    """Start, list, log, end, export and archive batches; ask what if.

    ID is the number of a batch, as `batch list` shows it.
    """


@command.command(
    "start",
    epilog=examples(
        "batch start loaf.toml --now",
        "batch start loaf.toml --node urn:dev:mac:020000fffe5e0001",
        "batch start loaf.toml --node air_temp_c=urn:dev:mac:020000fffe5e0002",
        "batch start loaf.toml --at cabinet-1/shelf-2",
        "batch start loaf.toml --now --place proofer --covered",
    ),
)
@click.argument("file", type=FILE, metavar="BATCH.toml")
@click.option(
    "--node",
    "nodes",
    multiple=True,
    metavar="[CHANNEL=]URN",
    help="Read every channel, or one, from a node. May be repeated.",
)
@click.option(
    "--at", metavar="CABINET/SHELF", help="Read from the nodes that stand there; see [places] in config.toml."
)
@click.option(
    "--now", is_flag=True, help="It starts now, whatever the file says. So it does when the file says nothing."
)
@click.option("--place", type=click.Choice(PLACES), help="Where it stands: by that its air is judged.")
@click.option("--covered", is_flag=True, help="It is covered: dry air does it no harm.")
@data_dir
def start(
    file: Path, nodes: tuple[str, ...], at: str | None, now: bool, place: str | None, covered: bool, data_dir: Path
) -> None:
    """Begin watching a dough described in a batch file."""
    from monitor.archive.replay import read_batch
    from monitor.node.sights import require_seen
    from monitor.recipe.batch import placed_and_covered, require_near_start
    from monitor.store.heartbeat import absence_here
    from monitor.store.pace import clock_of
    from monitor.store.store import Store
    from monitor.wording.phrases import channel_word

    reader = reader_of(data_dir)
    with Store(data_dir / DATABASE_NAME) as store:
        now_at = clock_of(store).now()
        batch = read_batch(file, now=now_at)
        if at is not None:
            batch = placed(batch, at, config_of(data_dir), store)
        batch = mapped(batch, nodes)
        if now:
            batch = replace(batch, started_at=now_at, events=(), ended_at=None)
        batch = placed_and_covered(batch, place, is_covered=covered)
        planned = [event for event in batch.events if event.at > now_at]
        if planned:  # what has not happened yet may still come otherwise
            batch = replace(batch, events=batch.events[: -len(planned)])
        if batch.ended_at is not None and batch.ended_at > now_at:
            batch = replace(batch, ended_at=None)
        require_near_start(batch, now_at)
        require_seen(batch, data_dir, reader)
        batch = store.batches.add(batch)
        is_unwatched = absence_here(store, now_at) is not None
        begun = N_("batch {id}: {name} has begun") if is_unwatched else N_("batch {id}: {name} is being watched")
        click.echo(reader.say(begun, id=batch.id, name=harmless(batch.name)))
        say_when_unwatched(store, reader)
    if at is not None:
        for channel, node in batch.nodes:
            click.echo("  " + reader.say("{what} from {node}", what=channel_word(channel, reader), node=node))
    if planned:
        left_out = reader.count(
            len(planned),
            "{n} event still to come was left out: log it when it happens",
            "{n} events still to come were left out: log each when it happens",
        )
        click.echo("  " + left_out)
    if not batch.nodes:
        by_eye = N_(
            "it is watched by eye: note its level with `batch level`, or name its sensor in [nodes] of the file"
        )
        click.echo("  " + reader.say(by_eye))


def mapped(batch: Batch, choices: Sequence[str]) -> Batch:
    """The batch with channels read from the nodes given as ``URN`` (all of them) or ``CHANNEL=URN``.

    Raises
    ------
    ConfigError
        For a channel that no sensor has, or a name that is no device URN.
    """
    from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId

    nodes = dict(batch.nodes)
    for choice in choices:
        name, _, urn = choice.rpartition("=")
        if not urn.startswith("urn:dev:"):
            raise ConfigError("--node {choice}: a node's name looks like urn:dev:mac:020000fffe5e0001", choice=choice)
        if name and name not in SENSOR_CHANNELS:
            raise ConfigError(
                "--node {choice}: {name!r} is no channel; there are {sensor_channels}",
                choice=choice,
                name=name,
                sensor_channels=", ".join(SENSOR_CHANNELS),
            )
        for channel in [Channel(name)] if name else SENSOR_CHANNELS:
            nodes[channel] = NodeId(urn)
    return replace(batch, nodes=tuple(nodes.items()))


def placed(batch: Batch, at: str, config: Config, store: Store) -> Batch:
    """The batch with channels read from the nodes that stand at a place of this site.

    Raises
    ------
    ConfigError
        When it is no place, or no node that was heard stands there.
    """
    from monitor.settings.places import nodes_at, place_within

    place = place_within(config.site, at)
    measured = {row.node: {reading.channel for reading in row.newest} for row in store.nodes.all()}
    found = nodes_at(place, config.places, measured)
    if not found:
        known = ", ".join(sorted({each.within_site for each in config.places.values()})) or Translatable("none")
        raise ConfigError(
            "--at {at}: no node that was heard stands there; places in [places] of {config_name}: {known}",
            at=at,
            config_name=CONFIG_NAME,
            known=known,
        )
    return replace(batch, nodes=tuple({**dict(batch.nodes), **found}.items()))


@command.command("list", epilog=examples("batch list", "batch list --data-dir practice", "batch list --csv"))
@for_programs
@data_dir
def list_(form: Form | None, data_dir: Path) -> None:
    """List every batch and how it stands."""
    from monitor.published.states import BatchState, batch_states
    from monitor.store.pace import clock_of
    from monitor.wording.alerts import stage_word

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        if form is not None:
            show_states(batch_states(store, clock_of(store).now()), BatchState, form)
            return
        batches = store.batches.all()
        if not batches:
            click.echo(
                reader.say("no batch yet: describe one in a file and run `proofing-monitor batch start FILE.toml`")
            )
        for batch in batches:
            stage, standing = stage_word(batch.stage, reader), _standing(store, batch, reader)
            click.echo(f"{batch.id:>4}  {harmless(batch.name)}  ({stage})  {standing}")
        if any(batch.ended_at is None for batch in batches):
            say_when_unwatched(store, reader)


def _standing(store: Store, batch: Batch, reader: Reader) -> str:
    from monitor.wording.alerts import clock_text, outlook_sentence

    outlook = store.outlooks.latest(batch.id)
    if outlook is None and batch.ended_at is not None:
        return reader.say("ended {at}", at=clock_text(batch.ended_at, reader))
    return reader.say("not yet estimated") if outlook is None else outlook_sentence(batch, outlook, reader)


# -- what a baker does to a running batch -------------------------------------------------------------------------


@command.command(
    "event",
    epilog=examples(
        "batch event 3 fold", 'batch event 3 poke --note "springs back slowly"', "batch event 3 pH --note 4.8"
    ),
)
@ID
@click.argument("kind", type=click.Choice(EVENT_KINDS), metavar=f"[{'|'.join(EVENT_KINDS)}]")
@click.option(
    "--note", default="", metavar="TEXT", help="In your own words; of a temperature (C), pH or TTA (mL) the number."
)
@AT
@data_dir
def event(id_: int, kind: str, note: str, at: datetime | None, data_dir: Path) -> None:
    """Log what you did to a dough."""
    _log(data_dir, id_, EventKind(kind), note, at)


@command.command("end", epilog=examples("batch end 3", "batch end 3 --at 2026-03-02T08:15:00+01:00"))
@ID
@AT
@data_dir
def end(id_: int, at: datetime | None, data_dir: Path) -> None:
    """Say that the stage of a batch is over."""
    _log(data_dir, id_, EventKind.END, "", at)


@command.command("level", epilog=examples("batch level 3 95", "batch level 3 95 --sd 2"))
@ID
@click.argument("mm", type=POSITIVE, metavar="MM")
@click.option(
    "--sd",
    "sd_mm",
    type=POSITIVE,
    default=DEFAULT_EYE_SD_MM,
    show_default=True,
    metavar="MM",
    help="How sure: half of it either way.",
)
@AT
@data_dir
def level(id_: int, mm: float, sd_mm: float, at: datetime | None, data_dir: Path) -> None:
    """Log how high a dough stands at the wall, read by eye.

    MM is over the tub's base, in millimetres.
    """

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        batch = _running(store, id_)
        store.readings.add_level(batch.id, _when(batch, at, store), mm, sd_mm)
        logged, name = N_("batch {id}: {name}: {mm} mm give or take {sd} logged"), harmless(batch.name)
        click.echo(reader.say(logged, id=batch.id, name=name, mm=Number(mm, "g"), sd=Number(sd_mm, "g")))
        say_when_unwatched(store, reader)


def _log(data_dir: Path, id_: int, kind: EventKind, note: str, at: datetime | None) -> None:
    from monitor.recipe.batch import Event, require_measured
    from monitor.wording.phrases import event_text

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        batch = _running(store, id_)
        event = Event(_when(batch, at, store), kind, note)
        try:
            require_measured(event)
        except ValueError as error:
            raise ConfigError("{why}; give it with --note", why=error) from error
        store.batches.add_event(batch.id, event)
        noted, what = N_("batch {id}: {name}: noted: {event}"), harmless(event_text(event, reader))
        click.echo(reader.say(noted, id=batch.id, name=harmless(batch.name), event=what))
        if kind is not EventKind.END:
            say_when_unwatched(store, reader)


def _running(store: Store, id_: int) -> Batch:
    from monitor.recipe.batch import BatchId

    batch = store.batches.get(BatchId(id_))
    if batch.ended_at is not None:
        raise StoreError(
            "batch {batch_id} ({name}) has ended; nothing more can be logged for it", batch_id=id_, name=batch.name
        )
    return batch


def _when(batch: Batch, at: datetime | None, store: Store) -> datetime:
    from monitor.store.pace import clock_of

    now = clock_of(store).now()
    found = now if at is None else at
    if not batch.started_at <= found <= now:
        raise ConfigError("batch {id}: the time must lie between its start and now", id=batch.id)
    return found


# -- batches that travel ------------------------------------------------------------------------------------------


@command.command("export", epilog=examples("batch export 3 loaf-of-monday"))
@ID
@click.argument("folder", type=FOLDER, metavar="DIR")
@data_dir
def export(id_: int, folder: Path, data_dir: Path) -> None:
    """Write the files of a batch that `replay` reads.

    They are READINGS.csv, BATCH.toml and every outlook; DIR is made when it is not there.
    """
    from monitor.archive.export import BATCH_NAME, OUTLOOKS_NAME, READINGS_NAME, export_batch
    from monitor.recipe.batch import BatchId

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        done = export_batch(store, store.batches.get(BatchId(id_)), folder)
    click.echo(_rows_sentence(folder / READINGS_NAME, done.rows, reader))
    path = folder / BATCH_NAME
    n_events = reader.count(
        done.events, "{path}: the batch with {n} event", "{path}: the batch with {n} events", path=path
    )
    click.echo(n_events)
    click.echo(reader.count(done.outlooks, "{path}: {n} outlook", "{path}: {n} outlooks", path=folder / OUTLOOKS_NAME))


@command.command("archive", epilog=examples("batch archive 3 kept/loaf", "batch archive 3 kept/loaf --as parquet"))
@ID
@click.argument("folder", type=FOLDER, metavar="DIR")
@click.option(
    "--as",
    "kind",
    type=click.Choice(("csv", "parquet")),
    default="csv",
    show_default=True,
    help="What its tables are written as.",
)
@data_dir
def archive(id_: int, folder: Path, kind: str, data_dir: Path) -> None:
    """Write everything there is of a batch, to be imported elsewhere."""
    from monitor.archive.batch_files import archive_batch
    from monitor.recipe.batch import BatchId

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        for path, n_rows in archive_batch(store, BatchId(id_), folder, kind).items():
            click.echo(_rows_sentence(path, n_rows, reader))


@command.command("import", epilog=examples("batch import kept/loaf"))
@click.argument("folder", type=FOLDER, metavar="DIR")
@data_dir
def import_(folder: Path, data_dir: Path) -> None:
    """Take in an archived batch that has ended."""
    from monitor.archive.batch_files import import_batch
    from monitor.store.store import Store

    reader = reader_of(data_dir)
    with Store(data_dir / DATABASE_NAME) as store:
        batch = import_batch(store, folder)
        n_readings = len(store.readings.of(batch))
    is_here = reader.count(
        n_readings,
        "batch {id}: {name} is here with {n} reading",
        "batch {id}: {name} is here with {n} readings",
        id=batch.id,
        name=harmless(batch.name),
    )
    click.echo(is_here)


def _rows_sentence(path: Path, n_rows: int, reader: Reader) -> str:
    return reader.count(n_rows, "{path}: {n} row", "{path}: {n} rows", path=path)


command.add_command(what_if)
