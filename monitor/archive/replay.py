"""Recorded readings through the very same estimator: one JSON object a line, for other programs to read."""

import csv
import io
import json
import tomllib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from monitor.dough.outlook import KeptText, Outlook
from monitor.dough.track import Track, track_from_readings
from monitor.errors import ConfigError
from monitor.files import bounded_bytes
from monitor.recipe.batch import Batch, batch_from_toml
from monitor.translatable import Translatable
from monitor.wire.readings import DOUGH_CHANNELS, Channel, Flag, NodeId, Reading, plausibility

RECORDED_NODE = NodeId("urn:dev:ops:32473-recording-1")  # 32473: the enterprise number reserved for examples, RFC 5612
BAD_ROWS_SHOWN = 10
LARGEST_BATCH_BYTES = 1_000_000  # judgement: a thousand times a batch file
LARGEST_READINGS_BYTES = 64_000_000  # judgement: a year of readings, one each half minute

Estimate = Callable[[Batch, Track, datetime], Outlook]


def read_batch(path: Path, *, now: datetime | None = None) -> Batch:
    """The batch of a TOML file; it starts ``now`` when the file does not say when (None: the file must).

    Raises
    ------
    ConfigError
        When the file cannot be read or holds faults, all of them named.
    """
    try:
        return batch_from_toml(tomllib.loads(bounded_bytes(path, LARGEST_BATCH_BYTES).decode()), str(path), now=now)
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); give the path of a batch file", path=path, why=err.strerror
        ) from err
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as err:
        raise ConfigError(
            "{path}: is no TOML file ({why}); mend that line or begin from an exported batch", path=path, why=err
        ) from err


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text.strip())
    if moment.tzinfo is None:
        raise ValueError("time without an offset")
    return moment.astimezone(UTC)


def _row_readings(row: dict[str, str | None], number: int) -> tuple[list[Reading], list[str]]:
    """The readings of one row, and what is wrong with its other cells."""
    text = (row.get("time") or "").strip()
    try:
        at = _moment(text)
    except (ValueError, OverflowError):
        return [], [f"time {text[:40]!r} is no RFC 3339 moment such as 2026-03-02T05:40:00Z"]
    found: list[Reading] = []
    faults: list[str] = []
    for channel in DOUGH_CHANNELS:
        cell = (row.get(channel) or "").strip()
        if not cell:
            continue
        try:
            # float() also takes "1_000", which no sensor writes and no other program reads alike
            value = float(cell if "_" not in cell else "")
        except ValueError:
            faults.append(Translatable("{channel} {cell!r} is no number", channel=channel, cell=cell[:40]))
            continue
        reading = Reading(RECORDED_NODE, "recorded", number, channel, value, at, at)
        flag = plausibility(reading)
        if flag is Flag.OK:
            found.append(reading)
        else:
            faults.append(Translatable("{channel} {cell} is {flag}", channel=channel, cell=cell[:40], flag=flag))
    return found, faults


def read_readings(path: Path, err: TextIO) -> list[Reading]:
    """The readings of a CSV file (RFC 4180), repeated rows once; bad rows are named on ``err`` and left out.

    Raises
    ------
    ConfigError
        When the file cannot be read at all, is no text, or has no ``time`` column.
    """
    found: dict[tuple[datetime, Channel, float], Reading] = {}
    bad = number = 0
    try:
        text = bounded_bytes(path, LARGEST_READINGS_BYTES).decode("utf-8-sig")
        with io.StringIO(text, newline="") as file:
            table = csv.DictReader(file, strict=True)
            names = [(name or "").strip() for name in table.fieldnames or []]
            if "time" not in names:
                raise ConfigError(
                    "{path}: has no column 'time'; its first row must name the columns, time among them", path=path
                )
            table.fieldnames = names
            number = table.line_num
            for row in table:
                if any("\n" in (row.get(name) or "") for name in ("time", *DOUGH_CHANNELS)):
                    raise csv.Error("a cell goes on over several lines")
                number = table.line_num
                readings, faults = _row_readings(row, number)
                for reading in readings:
                    found.setdefault((reading.measured_at, reading.channel, reading.value), reading)
                if faults:
                    bad += 1
                    if bad <= BAD_ROWS_SHOWN:
                        print(f"{path}: row {number}: {'; '.join(faults)}; left out", file=err)
    except OSError as fault:
        raise ConfigError(
            "{path}: cannot be read ({why}); give the path of a CSV file", path=path, why=fault.strerror
        ) from fault
    except csv.Error as fault:
        raise ConfigError(
            "{path}: row {row}: {why}; look for a quotation mark that opens there and does not close",
            path=path,
            row=number + 1,
            why=fault,
        ) from fault
    except UnicodeDecodeError as fault:
        raise ConfigError(
            "{path}: is no CSV text in UTF-8 ({why}); export it again as UTF-8 CSV", path=path, why=fault
        ) from fault
    if bad:
        print(f"{path}: {bad} row{'s' if bad > 1 else ''} with something left out", file=err)
    return list(found.values())


def _time_text(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _number(value: float | None, digits: int = 2) -> float | None:
    return None if value is None or not np.isfinite(value) else round(value, digits)


def line_of(outlook: Outlook) -> dict[str, Any]:
    """One output line of the replay contract, as a dict ready for JSON."""
    rise = outlook.rise_pct
    return {
        "time": _time_text(outlook.at),
        "rise_pct": _number(rise.p50 if rise else None),
        "rise_pct_p05": _number(rise.p05 if rise else None),
        "rise_pct_p95": _number(rise.p95 if rise else None),
        "ready_p05": _time_text(outlook.ready.p05),
        "ready_p50": _time_text(outlook.ready.p50),
        "ready_p95": _time_text(outlook.ready.p95),
        "peak_p05": _time_text(outlook.peak.p05),
        "peak_p50": _time_text(outlook.peak.p50),
        "peak_p95": _time_text(outlook.peak.p95),
        "state": str(outlook.state),
        "why": outlook.why.text if isinstance(outlook.why, KeptText) else outlook.why,
        "state_chance": _number(outlook.state_chance, 3),
        "cause": None if outlook.cause is None else str(outlook.cause),
        "ready_p25": _time_text(outlook.ready.p25),
        "ready_p75": _time_text(outlook.ready.p75),
        "peak_soon_chance": _number(outlook.peak_soon_chance, 3),
        "past_peak_chance": _number(outlook.past_peak_chance, 3),
        "from_heights": outlook.is_from_heights,
        "dough_temp_c": _number(outlook.dough_temp_c),
        "obstructions": [
            {
                "kind": str(one.kind),
                "since": _time_text(one.since),
                "until": _time_text(one.until),
                "chance": _number(one.chance),
            }
            for one in outlook.obstructions
        ],
    }


def known_at(batch: Batch, at: datetime) -> Batch:
    """The batch as it was known at a moment: without what the baker did later."""
    return replace(batch, events=tuple(event for event in batch.events if event.at <= at))


def outlooks(batch: Batch, readings: Iterable[Reading], every: timedelta, estimate: Estimate) -> Iterator[Outlook]:
    """The outlook at the start and every ``every`` after it, up to the last reading."""
    track = track_from_readings(batch, readings)
    last_s = track.last_t_s
    if last_s is None:
        return
    steps = int(last_s / every.total_seconds() + 1e-9)
    for step in range(steps + 1):
        at = batch.started_at + step * every
        yield estimate(known_at(batch, at), track, at)


def replay(
    readings_path: Path, batch_path: Path, every: timedelta, estimate: Estimate, out: TextIO, err: TextIO
) -> None:
    """Write one JSON line per moment to ``out``; messages go to ``err``.

    Raises
    ------
    ConfigError
        When either file cannot be used.
    """
    batch = read_batch(batch_path)
    readings = read_readings(readings_path, err)
    if not any(reading.measured_at >= batch.started_at for reading in readings):
        print(f"{readings_path}: no reading at or after the start of the batch, so there is nothing to say", file=err)
    for outlook in outlooks(batch, readings, every, estimate):
        out.write(json.dumps(line_of(outlook), allow_nan=False) + "\n")
