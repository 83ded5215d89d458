"""One batch as files: ``READINGS.csv`` and ``BATCH.toml``, which ``replay`` reads, and every outlook of the time."""

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from monitor.archive.replay import line_of
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, Event
from monitor.recipe.formula import FORMULA_KEYS
from monitor.recipe.vessel import Shape
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, Reading

READINGS_NAME = "READINGS.csv"
BATCH_NAME = "BATCH.toml"
OUTLOOKS_NAME = "OUTLOOKS.jsonl"

_CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE, Channel.LEVEL)
_COLUMNS = ("time", *(channel.value for channel in _CHANNELS), "level_sd_mm")


@dataclass(frozen=True, slots=True)
class Exported:
    """How much of a batch was written into each of its files: rows of readings, events, outlooks."""

    rows: int
    events: int
    outlooks: int


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _quoted(text: str) -> str:
    """A TOML basic string: JSON's escapes, and DEL, which TOML alone forbids (TOML 1.0, String)."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def write_readings(readings: Iterable[Reading], out: TextIO) -> int:
    """Write the usable readings as CSV, one row for each moment of a node; returns the number of rows.

    Readings that were flagged when they came are left out, as the estimator leaves them out.
    """
    rows: dict[tuple[datetime, str, str, int], dict[str, str]] = {}
    for reading in readings:
        if reading.flag is not Flag.OK or reading.channel not in _CHANNELS:
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


def batch_toml(batch: Batch) -> str:
    """A batch as the text of a batch file; reading it back gives the same batch but for its id."""
    lines = [
        f"name = {_quoted(batch.name)}",
        *([f"recipe = {_quoted(batch.recipe)}"] if batch.recipe else []),
        f"stage = {_quoted(batch.stage)}",
        f"started = {_stamp(batch.started_at)}",
    ]
    if batch.target.rise_pct is None:
        lines.append('target = "peak"')
    else:
        lines.append(f"target_rise_pct = {batch.target.rise_pct!r}")
    if batch.preheat_min is not None:
        lines.append(f"preheat_min = {batch.preheat_min!r}")
    vessel = batch.vessel
    lines += ["", "[vessel]", f"shape = {_quoted(vessel.shape)}"]
    for key, sides in (("base_mm", vessel.base_mm), ("top_mm", vessel.top_mm)):
        lines.append(f"{key} = {sides[0]!r}" if vessel.shape is Shape.ROUND else f"{key} = {list(sides)!r}")
    lines.append(f"depth_mm = {vessel.depth_mm!r}")
    if vessel.sensor_to_base_mm is not None:
        lines.append(f"sensor_to_base_mm = {vessel.sensor_to_base_mm!r}")
    if batch.sensor_sd_mm > 0.0:
        lines.append(f"sensor_sd_mm = {batch.sensor_sd_mm!r}")
    if batch.start_volume_ml is not None:
        lines.append(f"start_volume_ml = {batch.start_volume_ml!r}")
    if batch.formula is not None:
        grams = {key: getattr(batch.formula, key) for key in FORMULA_KEYS}
        lines += ["", "[formula]", *(f"{key} = {value!r}" for key, value in grams.items() if value or key == "flour_g")]
    if batch.nodes:
        lines += ["", "[nodes]", *(f"{channel.value} = {_quoted(node)}" for channel, node in batch.nodes)]
    for event in batch.events:
        lines += _event_toml(event)
    return "\n".join(lines) + "\n"


def _event_toml(event: Event) -> list[str]:
    lines = ["", "[[events]]", f"time = {_stamp(event.at)}", f"kind = {_quoted(event.kind)}"]
    if event.note:
        lines.append(f"note = {_quoted(event.note)}")
    return lines


def export_batch(store: Store, batch: Batch, folder: Path) -> Exported:
    """Write a batch's files into a folder, made when missing.

    Raises
    ------
    StoreError
        When the folder cannot be written.
    """
    outlooks = store.outlooks(batch.id)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / READINGS_NAME).open("w", encoding="utf-8", newline="") as out:
            n_rows = write_readings(store.readings(batch), out)
        (folder / BATCH_NAME).write_text(batch_toml(batch), encoding="utf-8")
        with (folder / OUTLOOKS_NAME).open("w", encoding="utf-8") as out:
            out.writelines(json.dumps(line_of(outlook)) + "\n" for outlook in outlooks)
    except OSError as err:
        raise StoreError(
            "{folder}: cannot be written ({why}); name a folder this user may write", folder=folder, why=err.strerror
        ) from err
    return Exported(n_rows, len(batch.events), len(outlooks))
