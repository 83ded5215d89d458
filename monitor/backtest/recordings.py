"""A recorded batch with what really became of it, and the moments at which forecasts of it are judged."""

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.archive.replay import LARGEST_READINGS_BYTES, Estimate, read_batch, read_readings
from monitor.dough.learning import PEAK, READY, SHARES
from monitor.dough.observations import observations, rise_over_batch_start
from monitor.dough.outlook import State
from monitor.dough.track import Track, running_median, seconds_since_start, track_from_readings
from monitor.errors import ConfigError
from monitor.files import bounded_bytes
from monitor.recipe.batch import Batch, EventKind

Array = NDArray[np.float64]
Truth = tuple[float, float, Array, Array]  # ready [s], peak [s], times [s] and rise [%]

READINGS_NAME = "READINGS.csv"
BATCH_NAME = "BATCH.toml"
TRUTH_NAME = "truth.json"
TRUE_RISE_NAME = "truth.csv"
ABOUT_NAME = "about.json"

UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Labels:
    """What results are grouped by; ``unknown`` where a recording does not say."""

    dough: str = UNKNOWN
    simulator: str = UNKNOWN
    history: str = UNKNOWN
    folds: str = UNKNOWN
    judged_by: str = UNKNOWN


@dataclass(frozen=True, slots=True)
class Recording:
    """One batch, its readings, and the truth about it.

    Attributes
    ----------
    ready_s, peak_s
        When it truly happened; infinity for not at all while it was recorded. [s since the start]
    last_fold_s
        Of any fold, told or not; 0 without one. [s since the start]
    rise_t_s, rise_pct : arrays, shape (n,)
        The true rise; what the readings later showed where no better truth is known.
    """

    name: str
    batch: Batch
    track: Track
    labels: Labels
    ready_s: float
    peak_s: float
    last_fold_s: float
    rise_t_s: Array
    rise_pct: Array


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment at which a forecast is judged.

    Attributes
    ----------
    what
        ``ready`` or ``peak``.
    share
        Of the target rise reached (ready), or of the time to the peak gone by (peak).
    at_s, truth_s
        Now, and when it truly happens. [s since the start]
    """

    what: str
    share: float
    at_s: float
    truth_s: float


def moments_of(recording: Recording) -> list[Moment]:
    """The moments at which forecasts of a recording are judged.

    *Ready* is judged when the true rise first stands at a quarter, a half and three quarters of the target after the
    last fold; *peak* when these shares of the time from the start to the peak have gone by, where that is after the
    last fold: no forecast can know of a fold to come.
    """
    found = []
    target_pct = recording.batch.target.rise_pct
    if target_pct is not None:
        after = recording.rise_t_s > recording.last_fold_s
        for share in SHARES:
            reached = np.flatnonzero(after & (recording.rise_pct >= share * target_pct))
            if reached.size and recording.rise_t_s[reached[0]] < recording.ready_s:
                found.append(Moment(READY, share, float(recording.rise_t_s[reached[0]]), recording.ready_s))
    if np.isfinite(recording.peak_s):
        for share in SHARES:
            at_s = share * recording.peak_s
            if at_s > recording.last_fold_s:
                found.append(Moment(PEAK, share, at_s, recording.peak_s))
    return found


def find_recordings(folder: Path) -> list[Path]:
    """The folders of recordings below a folder, itself included, sorted by name.

    Raises
    ------
    ConfigError
        When there are none.
    """
    found = sorted(path.parent for path in folder.rglob(READINGS_NAME) if (path.parent / BATCH_NAME).is_file())
    if not found:
        raise ConfigError(
            f"{folder}: holds no recorded batch; each is a folder with {READINGS_NAME} and {BATCH_NAME}, such as "
            "`proofing-monitor batch export` writes"
        )
    return found


def load_recording(folder: Path, estimate: Estimate) -> Recording:
    """A recording from its folder.

    Where it holds no ``truth.json``, ``estimate`` says from all its readings what became of the dough.

    Raises
    ------
    ConfigError
        When a file cannot be used.
    """
    batch = read_batch(folder / BATCH_NAME)
    # Bad rows were named when the batch was recorded or replayed; here they would drown the table.
    track = track_from_readings(batch, read_readings(folder / READINGS_NAME, io.StringIO()))
    about = _json(folder / ABOUT_NAME) if (folder / ABOUT_NAME).is_file() else {}
    truth = _told_truth(folder, batch) if (folder / TRUTH_NAME).is_file() else None
    return recording_of(folder.name, batch, track, estimate, about=about, truth=truth)


def recording_of(
    name: str,
    batch: Batch,
    track: Track,
    estimate: Estimate,
    *,
    about: Mapping[str, Any] = MappingProxyType({}),
    truth: Truth | None = None,
) -> Recording:
    """A recording of a batch and its readings, with what is told about it and what it truly did, where that is known.

    Where it is not, ``estimate`` says from all the readings.
    """
    told_s = [seconds_since_start(batch, event.at) for event in batch.events if event.kind is EventKind.FOLD]
    folds_s = [60.0 * float(at_min) for at_min in about.get("folds_min", [])] or told_s
    labels = Labels(
        dough=str(about.get("dough", batch.stage)),
        simulator=str(about.get("simulator", UNKNOWN)),
        history=str(about.get("history", UNKNOWN)),
        folds=str(about.get("folds", "told" if told_s else "none")),
        judged_by="peak" if batch.target.is_peak else "rise",
    )
    ready_s, peak_s, rise_t_s, rise_pct = _shown_truth(batch, track, estimate) if truth is None else truth
    return Recording(
        name=name,
        batch=batch,
        track=track,
        labels=labels,
        ready_s=ready_s,
        peak_s=peak_s,
        last_fold_s=max(folds_s, default=0.0),
        rise_t_s=rise_t_s,
        rise_pct=rise_pct,
    )


def _json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(bounded_bytes(path, LARGEST_READINGS_BYTES))
    except OSError as err:
        raise ConfigError(f"{path}: cannot be read ({err.strerror})") from err
    except (ValueError, RecursionError) as err:
        raise ConfigError(f"{path}: is no JSON ({err}); mend it or take it away") from err
    if not isinstance(found, dict):
        raise ConfigError(f"{path}: must hold one JSON object")
    return found


def _since_start_s(batch: Batch, text: object, path: Path) -> float:
    if text is None:
        return np.inf
    try:
        return seconds_since_start(batch, datetime.fromisoformat(str(text)).astimezone(UTC))
    except ValueError as err:
        raise ConfigError(f"{path}: {text!r} is no moment such as 2026-03-02T05:40:00Z") from err


def _told_truth(folder: Path, batch: Batch) -> Truth:
    path = folder / TRUTH_NAME
    truth = _json(path)
    rises = folder / TRUE_RISE_NAME
    try:
        with io.StringIO(bounded_bytes(rises, LARGEST_READINGS_BYTES).decode(), newline="") as file:
            table = csv.DictReader(file, strict=True)
            if not {"time", "rise_pct"} <= set(table.fieldnames or ()):
                raise ConfigError(f"{rises}: needs the columns time and rise_pct")
            rows = [(row["time"], row["rise_pct"]) for row in table if row["rise_pct"]]
        course = np.array([(_since_start_s(batch, time, rises), float(rise)) for time, rise in rows]).reshape(-1, 2)
    except OSError as err:
        raise ConfigError(f"{rises}: cannot be read ({err.strerror}); it belongs to {TRUTH_NAME}") from err
    except csv.Error as err:
        raise ConfigError(f"{rises}: {err}; look for a quotation mark that opens and does not close") from err
    except ValueError as err:
        raise ConfigError(f"{rises}: each rise must be a number ({err})") from err
    ready_s, peak_s = (_since_start_s(batch, truth.get(key), path) for key in ("ready_at", "peak_at"))
    return ready_s, peak_s, course[:, 0], course[:, 1]


def _shown_truth(batch: Batch, track: Track, estimate: Estimate) -> Truth:
    """What all the readings together show: the last outlook's moments, and the measured rise; nothing without any."""
    end_s = track.last_t_s
    seen = None if end_s is None else observations(batch, track, end_s)
    if end_s is None or seen is None:
        return np.inf, np.inf, np.empty(0), np.empty(0)
    shown = estimate(batch, track, batch.started_at + timedelta(seconds=end_s))

    def past_s(at: datetime | None) -> float:
        after_s = np.inf if at is None else seconds_since_start(batch, at)
        return after_s if after_s <= end_s else np.inf

    smooth_pct = running_median(100.0 * rise_over_batch_start(batch, seen.rise_frac, seen.start_volume_ml), 5)
    peak_s = past_s(shown.peak.p50) if shown.state is State.PAST_PEAK else np.inf
    return past_s(shown.ready.p50), peak_s, seen.t_s, smooth_pct
