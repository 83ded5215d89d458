"""Short recordings of simulated doughs with fixed seeds, and what the estimator says of them at several moments.

``python -m tests.recordings`` writes the recordings of ``data/recordings`` anew: they change only with the simulators.
What the estimator said of each stands beside it in ``outlooks.json``.
"""

import csv
import io
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from firmware_sim.recordings.record import Order, record
from monitor.archive.replay import known_at, read_batch, read_readings
from monitor.dough.forecast import outlook
from monitor.dough.outlook import Band, Moments, Outlook
from monitor.dough.track import Track, track_from_readings
from monitor.recipe.batch import Batch

RECORDINGS = Path(__file__).parent / "data" / "recordings"
START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
LOOKS = 6  # moments of each recording, spread evenly up to its end

Row = dict[str, str]
BREAD = Order("lean", 11, "steady:24.5", "round-taper", "usual", 60.0, 4.0, START, 75.0)


@dataclass(frozen=True, slots=True)
class Recording:
    """What is recorded, and what then happens to its rows; ``minutes`` of a row count from the start."""

    order: Order
    mend: Callable[[float, Row], Row | None] = lambda minutes, row: row
    events: str = ""


def _gap(minutes: float, row: Row) -> Row | None:
    """The node was off the air for fifty minutes, and its distance sensor for half an hour more."""
    if 60.0 <= minutes < 110.0:
        return None
    return row | {"distance_mm": ""} if 110.0 <= minutes < 140.0 else row


def _lid(minutes: float, row: Row) -> Row | None:
    """A hand and then the lid stood under the sensor; the tub was put back 7 mm nearer to it."""
    if not row["distance_mm"]:
        return row
    distance_mm = float(row["distance_mm"])
    if 70.0 <= minutes < 76.0:
        distance_mm = 62.0
    elif minutes >= 76.0:
        distance_mm -= 7.0
    return row | {"distance_mm": f"{distance_mm:.1f}"}


def _lifeless(minutes: float, row: Row) -> Row | None:
    """The yeast was forgotten: nothing but the sensor's flicker."""
    return row | {"distance_mm": f"{214.0 + (0.0, 0.4, -0.3, 0.1)[round(minutes) % 4]:.1f}"}


LIFTED = f"""
[[events]]
time = {(START + timedelta(minutes=76)).isoformat()}
kind = "move"
"""

KINDS: dict[str, Recording] = {
    "bread": Recording(BREAD),
    "folded": Recording(replace(BREAD, seed=12, folds_min=(45.0, 90.0), hours=4.5)),
    "gap": Recording(replace(BREAD, seed=13), _gap),
    "lid": Recording(replace(BREAD, seed=14), _lid, LIFTED),
    "lifeless": Recording(replace(BREAD, seed=16, every_s=120.0), _lifeless),
    "unseen": Recording(
        replace(BREAD, seed=15), lambda minutes, row: row | {"distance_mm": ""}
    ),
    "starter": Recording(Order("preferment", 21, "cabinet:27", "jar", "usual", 60.0, 3.0, START, None)),
    "cold": Recording(Order("lean-slow", 31, "fridge-in:23:5:45", "rect-straight", "mild", 300.0, 12.0, START, 60.0)),
    "past peak": Recording(Order("proof", 41, "warm:34", "tin", "usual", 60.0, 3.5, START, 80.0)),
    "sour": Recording(
        Order("wild-loaf", 51, "drift:21:25", "rect-taper", "rough", 180.0, 9.0, START, 50.0, has_probe=False)
    ),
}  # fmt: skip


def recorded(order: Order, folder: Path) -> tuple[Batch, Track]:
    """A simulated dough as a batch and its readings."""
    record(order, folder)
    return read(folder)


def read(folder: Path) -> tuple[Batch, Track]:
    """The batch and the readings of a recording."""
    batch, faults = read_batch(folder / "BATCH.toml"), io.StringIO()
    return batch, track_from_readings(batch, read_readings(folder / "READINGS.csv", faults))


def write(name: str, folder: Path) -> None:
    """Record one of ``KINDS`` into a folder."""
    kind = KINDS[name]
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as fresh:
        record(kind.order, Path(fresh))
        batch = (Path(fresh) / "BATCH.toml").read_text(encoding="utf-8")
        (folder / "BATCH.toml").write_text(batch + kind.events, encoding="utf-8")
        with (
            (Path(fresh) / "READINGS.csv").open(newline="", encoding="utf-8") as of,
            (folder / "READINGS.csv").open("w", newline="", encoding="utf-8") as to,
        ):
            rows = csv.DictReader(of)
            table = csv.DictWriter(to, rows.fieldnames or [])
            table.writeheader()
            for row in rows:
                minutes = (datetime.fromisoformat(row["time"]) - START) / timedelta(minutes=1)
                mended = kind.mend(minutes, row)
                if mended is not None:
                    table.writerow(mended)


def looks(folder: Path) -> list[dict[str, Any]]:
    """What is said of a recording at several moments, as it is kept beside it: minutes from the start, and percent."""
    batch, track = read(folder)
    assert track.last_t_s is not None
    moments = [batch.started_at + timedelta(seconds=round(track.last_t_s * n / LOOKS)) for n in range(1, LOOKS + 1)]
    return [_numbers(outlook(known_at(batch, at), track, at), batch) for at in moments]


def _numbers(found: Outlook, batch: Batch) -> dict[str, Any]:
    return {
        "at": _minutes(found.at, batch),
        "state": found.state.value,
        "cause": None if found.cause is None else found.cause.value,
        "from_heights": found.is_from_heights,
        "rise": None
        if found.rise_pct is None
        else {each.name: round(getattr(found.rise_pct, each.name), 3) for each in fields(Band)},
        "ready": _quantiles(found.ready, batch),
        "peak": _quantiles(found.peak, batch),
        "peak_soon_chance": _percent(found.peak_soon_chance),
        "past_peak_chance": _percent(found.past_peak_chance),
        "state_chance": _percent(found.state_chance),
        "fan": [round(point.p50, 2) for point in found.fan[::8]],
    }


def _quantiles(moments: Moments, batch: Batch) -> dict[str, float | None]:
    return {each.name: _minutes(getattr(moments, each.name), batch) for each in fields(Moments)}


def _minutes(at: datetime | None, batch: Batch) -> float | None:
    return None if at is None else round((at - batch.started_at) / timedelta(minutes=1), 3)


def _percent(chance: float | None) -> float | None:
    return None if chance is None else round(100.0 * chance, 3)


def main() -> int:
    """Write every recording anew."""
    for name in KINDS:
        write(name, RECORDINGS / name.replace(" ", "-"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
