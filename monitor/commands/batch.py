"""What a baker does to batches from the command line: start, list, log an event or a level, end, export, archive."""

import argparse
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TextIO

from monitor.archive.export import BATCH_NAME, OUTLOOKS_NAME, READINGS_NAME, export_batch
from monitor.archive.replay import read_batch
from monitor.errors import ConfigError, StoreError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.recipe.toml_tables import SENSOR_CHANNELS
from monitor.settings.config import Config, load_config, reader_of
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.settings.places import nodes_at, place_within
from monitor.store.batch_transfer import BatchRows
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import N_, Number, Saying
from monitor.wire.readings import Channel, NodeId
from monitor.wording import alerts
from monitor.wording.reader import Reader

# English calls stages and channels by their names in a batch file, whose keys they are.
_STAGES = {
    Stage.PREFERMENT: N_("preferment"),
    Stage.BULK_RISE: N_("bulk rise"),
    Stage.FINAL_PROOF: N_("final proof"),
    Stage.RETARD: N_("retard"),
}
_READ_FROM = {
    Channel.AIR_TEMP: N_("air_temp_c from {node}"),
    Channel.HUMIDITY: N_("humidity_pct from {node}"),
    Channel.DOUGH_TEMP: N_("dough_temp_c from {node}"),
    Channel.DISTANCE: N_("distance_mm from {node}"),
}


def mapped(batch: Batch, choices: list[str]) -> Batch:
    """The batch with channels read from the nodes given as ``URN`` (all of them) or ``CHANNEL=URN``.

    Raises
    ------
    ConfigError
        For a channel that no sensor has, or a name that is no device URN.
    """
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
    place = place_within(config.site, at)
    measured = {row.node: {reading.channel for reading in row.newest} for row in store.nodes()}
    found = nodes_at(place, config.places, measured)
    if not found:
        known = ", ".join(sorted({each.within_site for each in config.places.values()})) or Saying("none")
        raise ConfigError(
            "--at {at}: no node that was heard stands there; places in [places] of {config_name}: {known}",
            at=at,
            config_name=CONFIG_NAME,
            known=known,
        )
    return replace(batch, nodes=tuple({**dict(batch.nodes), **found}.items()))


def _start(store: Store, args: argparse.Namespace, out: TextIO, reader: Reader) -> None:
    now = clock_of(store).now()
    batch = read_batch(args.file)
    if args.at is not None:
        batch = placed(batch, args.at, load_config(store.path.parent, {}), store)
    batch = mapped(batch, args.node)
    if args.now:
        batch = replace(batch, started_at=now, events=(), ended_at=None)
    planned = [event for event in batch.events if event.at > now]
    if planned:  # what has not happened yet may still come otherwise
        batch = replace(batch, events=batch.events[: -len(planned)])
    if batch.ended_at is not None and batch.ended_at > now:
        batch = replace(batch, ended_at=None)
    batch = store.add_batch(batch)
    print(reader.say("batch {id}: {name} is being watched", id=batch.id, name=batch.name), file=out)
    if args.at is not None:
        for channel, node in batch.nodes:
            print("  " + reader.say(_READ_FROM[channel], node=node), file=out)
    if planned:
        left_out = reader.count(
            len(planned),
            "{n} event still to come was left out: log it when it happens",
            "{n} events still to come were left out: log each when it happens",
        )
        print(f"  {left_out}", file=out)
    if not batch.nodes:
        print(
            "  " + reader.say("no node is named: add [nodes] to the file, or log levels by eye with `batch level`"),
            file=out,
        )


def _running(store: Store, batch_id: int) -> Batch:
    batch = store.batch(BatchId(batch_id))
    if batch.ended_at is not None:
        raise StoreError(
            "batch {batch_id} ({name}) has ended; nothing more can be logged for it", batch_id=batch_id, name=batch.name
        )
    return batch


def _when(batch: Batch, args: argparse.Namespace, store: Store) -> datetime:
    now = clock_of(store).now()
    at: datetime = now if args.at is None else args.at
    if not batch.started_at <= at <= now:
        raise ConfigError("batch {id}: the time must lie between its start and now", id=batch.id)
    return at


def _log(store: Store, args: argparse.Namespace, out: TextIO, reader: Reader, kind: EventKind, note: str = "") -> None:
    batch = _running(store, args.id)
    store.add_event(batch.id, Event(_when(batch, args, store), kind, note))
    print(
        reader.say(
            "batch {id}: {name}: noted: {event}", id=batch.id, name=batch.name, event=alerts.event_word(kind, reader)
        ),
        file=out,
    )


def _level(store: Store, args: argparse.Namespace, out: TextIO, reader: Reader) -> None:
    batch = _running(store, args.id)
    store.add_level(batch.id, _when(batch, args, store), args.mm, args.sd)
    print(
        reader.say(
            "batch {id}: {name}: {mm} mm give or take {sd} logged",
            id=batch.id,
            name=batch.name,
            mm=Number(args.mm, "g"),
            sd=Number(args.sd, "g"),
        ),
        file=out,
    )


def _travel(args: argparse.Namespace, database: Path, out: TextIO, reader: Reader) -> None:
    from monitor.archive.batch_files import archive_batch, import_batch  # Parquet's library is large

    with BatchRows(database) as store:
        if args.action == "archive":
            for path, n_rows in archive_batch(store, BatchId(args.id), args.dir, args.as_).items():
                print(_rows_sentence(path, n_rows, reader), file=out)
        else:
            batch = import_batch(store, args.dir)
            is_here = reader.count(
                len(store.readings(batch)),
                "batch {id}: {name} is here with {n} reading",
                "batch {id}: {name} is here with {n} readings",
                id=batch.id,
                name=batch.name,
            )
            print(is_here, file=out)


def _export(store: Store, batch: Batch, folder: Path, out: TextIO, reader: Reader) -> None:
    """Write a batch's files, a line each."""
    done, count = export_batch(store, batch, folder), reader.count
    path = folder / BATCH_NAME
    the_batch = count(done.events, "{path}: the batch with {n} event", "{path}: the batch with {n} events", path=path)
    path = folder / OUTLOOKS_NAME
    the_outlooks = count(done.outlooks, "{path}: {n} outlook", "{path}: {n} outlooks", path=path)
    for sentence in (_rows_sentence(folder / READINGS_NAME, done.rows, reader), the_batch, the_outlooks):
        print(sentence, file=out)


def _rows_sentence(path: Path, n_rows: int, reader: Reader) -> str:
    return reader.count(n_rows, "{path}: {n} row", "{path}: {n} rows", path=path)


def _list(store: Store, out: TextIO, reader: Reader) -> None:
    batches = store.batches()
    if not batches:
        print(
            reader.say("no batch yet: describe one in a file and run `proofing-monitor batch start FILE.toml`"),
            file=out,
        )
    for batch in batches:
        stage, standing = reader.say(_STAGES[batch.stage]), _standing(store, batch, reader)
        print(f"{batch.id:>4}  {batch.name}  ({stage})  {standing}", file=out)


def _standing(store: Store, batch: Batch, reader: Reader) -> str:
    outlook = store.latest_outlook(batch.id)
    if outlook is None and batch.ended_at is not None:
        return reader.say("ended {at}", at=alerts.clock_text(batch.ended_at, reader))
    return reader.say("not yet estimated") if outlook is None else alerts.outlook_sentence(batch, outlook, reader)


def run(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    """Run one ``batch`` action on the store of a data directory; the exit status comes back."""
    database = data_dir / DATABASE_NAME
    if args.action not in ("start", "import") and not database.exists():
        raise StoreError(
            "{data_dir}: no batch was ever started here; name the right directory with --data-dir", data_dir=data_dir
        )
    reader = reader_of(data_dir)
    with Store(database) as store:
        if args.action == "start":
            _start(store, args, out, reader)
        elif args.action == "list":
            _list(store, out, reader)
        elif args.action == "event":
            _log(store, args, out, reader, EventKind(args.kind), args.note)
        elif args.action == "level":
            _level(store, args, out, reader)
        elif args.action == "end":
            _log(store, args, out, reader, EventKind.END)
        elif args.action == "export":
            _export(store, store.batch(BatchId(args.id)), args.dir, out, reader)
        else:
            _travel(args, database, out, reader)
    return 0
