"""Sensors that answer from a recording, in place of a simulated dough."""

import csv
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path

LARGEST_BYTES = 64_000_000  # judgement: a year of readings, one each half minute
SCALES = {"air_temp_c": 100, "humidity_pct": 100, "dough_temp_c": 100, "distance_mm": 10}
"""The channels' columns in the order of a measurement, and what makes them the node's whole numbers."""


class ReplayedSensors:
    """Sensors that repeat what was recorded, from its first row on; silent once it is over. None ever has a fault."""

    wanted: Sequence[str] = ("air", "dough", "distance")
    pins: Mapping[str, str] = {}
    faults: Mapping[tuple[str, str], int] = {}

    def __init__(self, rows: Sequence[tuple[float, dict[str, int]]], now_s: Callable[[], float]) -> None:
        self._times = [at_s for at_s, _ in rows]
        self._rows = [values for _, values in rows]
        self._now_s = now_s
        self._row: dict[str, int] = {}

    def start(self) -> int:
        """Take the row of the moment."""
        now_s = self._now_s()
        gap_s = self._times[-1] / max(1, len(self._times) - 1)
        place = bisect_right(self._times, now_s) - 1
        self._row = {} if place < 0 or now_s > self._times[-1] + gap_s else self._rows[place]
        return 0

    def read_air(self) -> tuple[int, int] | None:
        """Air temperature [0.01 C] and humidity [0.01 %]."""
        row = self._row
        return (row["air_temp_c"], row["humidity_pct"]) if {"air_temp_c", "humidity_pct"} <= row.keys() else None

    def read_dough(self) -> int | None:
        """Dough temperature [0.01 C]."""
        return self._row.get("dough_temp_c")

    def read_distance(self) -> int | None:
        """One distance shot [0.1 mm]."""
        return self._row.get("distance_mm")


def read_recording(path: Path) -> list[tuple[float, dict[str, int]]]:
    """Rows of a recording as (seconds after the first, scaled integers by column); empty cells are left out.

    Raises
    ------
    ValueError
        When it has no column ``time``, no row, or a cell that is no number.
    OSError
        When it cannot be read.
    """
    if path.stat().st_size > LARGEST_BYTES:
        raise ValueError(f"{path}: is larger than {LARGEST_BYTES / 1e6:g} MB; such a recording is not read")
    rows: list[tuple[datetime, dict[str, int]]] = []
    with path.open(newline="", encoding="utf-8-sig") as file:
        table = csv.DictReader(file)
        if "time" not in (table.fieldnames or []):
            raise ValueError(f"{path}: has no column 'time'")
        for row in table:
            try:
                values = {
                    key: round(float(row[key]) * by) for key, by in SCALES.items() if (row.get(key) or "").strip()
                }
                moment = datetime.fromisoformat(row["time"])
                if moment.tzinfo is None:
                    raise ValueError("time without an offset")
            except (ValueError, OverflowError) as err:
                raise ValueError(f"{path}: row {table.line_num}: {err}") from err
            rows.append((moment, values))
    if not rows:
        raise ValueError(f"{path}: holds no row")
    rows.sort(key=lambda row: row[0])
    return [((moment - rows[0][0]).total_seconds(), values) for moment, values in rows]
