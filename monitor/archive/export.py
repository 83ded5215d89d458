"""One batch as files: ``READINGS.csv`` and ``BATCH.toml``, which ``replay`` reads, and every outlook of the time."""

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

import tomlkit

from monitor.archive.replay import line_of
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, Event
from monitor.recipe.formula import FORMULA_KEYS
from monitor.recipe.toml_tables import short_number, vessel_table
from monitor.store.rollups import FIVE_MINUTES
from monitor.store.store import Store
from monitor.wire.readings import DOUGH_CHANNELS, Channel, Flag, NodeId, Reading

READINGS_NAME = "READINGS.csv"
BATCH_NAME = "BATCH.toml"
OUTLOOKS_NAME = "OUTLOOKS.jsonl"

_COLUMNS = ("time", *(channel.value for channel in DOUGH_CHANNELS), "level_sd_mm")


@dataclass(frozen=True, slots=True)
class Exported:
    """How much of a batch was written into each of its files: rows of readings, events, outlooks."""

    rows: int
    events: int
    outlooks: int


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def write_readings(readings: Iterable[Reading], out: TextIO) -> int:
    """Write the usable readings as CSV, one row for each moment of a node; returns the number of rows.

    Readings that were flagged when they came are left out, as the estimator leaves them out.
    """
    rows: dict[tuple[datetime, str, str, int], dict[str, str]] = {}
    for reading in readings:
        if reading.flag is not Flag.OK or reading.channel not in DOUGH_CHANNELS:
            continue
        row = rows.setdefault((reading.measured_at, reading.node, reading.boot, reading.seq), {})
        row[reading.channel.value] = f"{reading.value:.10g}"
        if reading.sd is not None:
            row["level_sd_mm"] = f"{reading.sd:.10g}"
    writer = csv.DictWriter(out, _COLUMNS, lineterminator="\r\n")  # RFC 4180
    writer.writeheader()
    for key in sorted(rows):
        writer.writerow({"time": _stamp(key[0]), **rows[key]})
    return len(rows)


def write_five_minutes(store: Store, node: NodeId, start: datetime, end: datetime, out: TextIO) -> int:
    """Write the sound readings of a node as CSV, a row for each channel and five minutes; returns the number of rows.

    Whether they were downsampled or are whole still.
    """
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(("start", "channel", "readings", "least", "mean", "greatest"))
    n = 0
    for channel in Channel:
        for each in store.readings.five_minutes(node, channel, start, end):
            values = (f"{value:.10g}" for value in (each.least, each.mean, each.greatest))
            writer.writerow((_stamp(each.middle_at - FIVE_MINUTES / 2), channel.value, each.n, *values))
            n += 1
    return n


def batch_toml(batch: Batch) -> str:
    """A batch as the text of a batch file; reading it back gives the same batch but for its id."""
    table: dict[str, object] = {"name": batch.name}
    if batch.recipe:
        table["recipe"] = batch.recipe
    table |= {"stage": batch.stage.value, "started": batch.started_at.astimezone(UTC)}
    if batch.target.rise_pct is None:
        table["target"] = "peak"
    else:
        table["target_rise_pct"] = short_number(batch.target.rise_pct)
    if batch.preheat_min is not None:
        table["preheat_min"] = short_number(batch.preheat_min)
    if batch.folds_min:
        table["folds_min"] = [short_number(at) for at in batch.folds_min]
    if batch.perishable:
        table["perishable"] = list(batch.perishable)
    vessel = vessel_table(replace(batch.vessel, sensor_sd_mm=batch.sensor_sd_mm))
    if batch.start_volume_ml is not None:
        vessel["start_volume_ml"] = short_number(batch.start_volume_ml)
    table["vessel"] = vessel
    if batch.formula is not None:
        grams = {key: getattr(batch.formula, key) for key in FORMULA_KEYS}
        table["formula"] = {key: short_number(value) for key, value in grams.items() if value or key == "flour_g"}
    if batch.nodes:
        table["nodes"] = {channel.value: node for channel, node in batch.nodes}
    if batch.events:
        table["events"] = [_event_table(event) for event in batch.events]
    return tomlkit.dumps(table)


def _event_table(event: Event) -> dict[str, object]:
    table: dict[str, object] = {"time": event.at.astimezone(UTC), "kind": event.kind.value}
    return table | {"note": event.note} if event.note else table


def export_batch(store: Store, batch: Batch, folder: Path) -> Exported:
    """Write a batch's files into a folder, made when missing.

    Raises
    ------
    StoreError
        When the folder cannot be written.
    """
    outlooks = store.outlooks.of(batch.id)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / READINGS_NAME).open("w", encoding="utf-8", newline="") as out:
            n_rows = write_readings(store.readings.of(batch), out)
        (folder / BATCH_NAME).write_text(batch_toml(batch), encoding="utf-8")
        with (folder / OUTLOOKS_NAME).open("w", encoding="utf-8") as out:
            out.writelines(json.dumps(line_of(outlook)) + "\n" for outlook in outlooks)
    except OSError as err:
        raise StoreError(
            "{folder}: cannot be written ({why}); name a folder this user may write", folder=folder, why=err.strerror
        ) from err
    return Exported(n_rows, len(batch.events), len(outlooks))
