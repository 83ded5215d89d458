"""Forecasts of recorded doughs at fixed checkpoints and along their whole course, each beside what truly came.

Checkpoints:

- *start*: ten minutes after the start, before the height says anything; what the batch is judged by (ready or peak);
- *ready*: when the true rise first stands at a quarter, a half and three quarters of the target after the last fold;
- *peak*: when 35, 50 and 75 % of the time from the start to the peak have gone by, after the last fold.

No forecast can know of a fold to come, so nothing is judged before the last one. A dough that never reaches its target
has no truth there; whether it is given a time all the same is counted apart.
"""

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from monitor.archive.replay import known_at
from monitor.backtest.recordings import ABOUT_NAME, Recording, load_recording
from monitor.dough.forecast import MOMENT_QUANTILES, ForecastRequest, outlook, outlooks
from monitor.dough.learning import PEAK, READY, RecipeExperience
from monitor.dough.outlook import Moments, Outlook
from monitor.dough.recalibration import PEAK_PLACES
from monitor.dough.track import seconds_since_start
from monitor.recipe.batch import Batch

START_S = 600.0
READY_SHARES = (0.25, 0.50, 0.75)
PEAK_SHARES = (0.35, 0.50, 0.75)
CHECKPOINTS = (
    "start",
    *(f"{READY} {share:.0%}" for share in READY_SHARES),
    *(f"{PEAK} {share:.0%}" for share in PEAK_SHARES),
)
SHORTEST_LOOK_S = 300.0
LOOKS = 24  # along the course of a dough, up to its peak
AFTER_FOLD_S = 300.0
TIMED_AT_S = 4.0 * 3600.0
LIFELESS = "lifeless"  # of doughs whose leaven is dead or was forgotten
LEVELS = tuple(MOMENT_QUANTILES.values())

Quantiles = tuple[float | None, ...]  # seconds after the start, at ``LEVELS``; None beyond the horizon


@dataclass(frozen=True, slots=True)
class Said:
    """What a forecaster says at one moment; ``rise_pct``: 5, 50 and 95 % quantile now, None without any."""

    ready_s: Quantiles
    peak_s: Quantiles
    state: str = ""
    rise_pct: tuple[float, float, float] | None = None


Forecaster = Callable[[Path, Recording, Sequence[float]], list[Said]]


@dataclass(frozen=True, slots=True)
class Judged:
    """One forecast at one checkpoint. Times are seconds after the start.

    Attributes
    ----------
    labels
        What results are grouped by.
    truth_s
        When it came; None: never, for the dough peaked below its target or is lifeless.
    quantiles_s
        Of when it comes.
    rise_pct
        Foretold now: 5, 50 and 95 % quantile; None without any.
    true_rise_pct
        Now.
    """

    recording: str
    labels: dict[str, str]
    checkpoint: str
    at_s: float
    truth_s: float | None
    quantiles_s: Quantiles
    state: str
    rise_pct: tuple[float, float, float] | None
    true_rise_pct: float | None


@dataclass(frozen=True, slots=True)
class Look:
    """What was said at one of the evenly spaced moments of a course: the middle of what the batch is judged by.

    ``peak_s`` is the whole forecast of the peak.
    """

    at_s: float
    state: str
    median_s: float | None
    peak_s: Quantiles = ()


@dataclass(frozen=True, slots=True)
class Course:
    """All looks at one dough after its last fold, up to its peak.

    Attributes
    ----------
    ready_s, peak_s
        When it came, None for not while it was recorded; *ready* is the peak for a batch judged by its peak.
    end_s
        Of the recording.
    """

    recording: str
    labels: dict[str, str]
    ready_s: float | None
    peak_s: float | None
    end_s: float
    looks: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class Findings:
    """All that was found on one recording; ``cost_s`` is the processor time of one forecast at four hours."""

    judged: tuple[Judged, ...]
    course: Course | None
    cost_s: float | None


def labels_of(folder: Path) -> dict[str, str]:
    """What a recording says about itself, as far as results are grouped by it."""
    about = json.loads((folder / ABOUT_NAME).read_text(encoding="utf-8"))
    names = ("simulator", "kind", "dough", "stage", "leaven", "history", "folds", "judged_by", "vessel", "noise")
    labels = {name: str(about[name]) for name in names}
    troubles = dict.fromkeys(str(one["kind"]) for one in about["troubles"])
    return labels | {
        "trouble": "; ".join(troubles) or "none",
        "probe": "probe" if about["has_probe"] else "no probe",
        "life": "live" if about["is_live"] else LIFELESS,
    }


def by_program(folder: Path, recording: Recording, at_s: Sequence[float]) -> list[Said]:
    """What the program's own estimator says at some moments of a recording."""
    return said_at(recording, at_s, None)


def by_uncorrected_program(folder: Path, recording: Recording, at_s: Sequence[float]) -> list[Said]:
    """The same without what other doughs taught about forecasts of the peak."""
    with patch.dict(PEAK_PLACES, clear=True):
        return by_program(folder, recording, at_s)


def said_at(recording: Recording, at_s: Sequence[float], learned: RecipeExperience | None) -> list[Said]:
    """The same with what was learned from earlier batches of its recipe."""
    batch = recording.batch
    moments = [batch.started_at + timedelta(seconds=each) for each in at_s]
    asked = [ForecastRequest(known_at(batch, at), recording.track, at, learned=learned) for at in moments]
    return [_said(batch, found) for found in outlooks(asked)]


def _said(batch: Batch, found: Outlook) -> Said:
    """An outlook in the bench's own terms."""

    def quantiles_s(moments: Moments) -> Quantiles:
        at = (getattr(moments, name) for name in MOMENT_QUANTILES)
        return tuple(None if each is None else seconds_since_start(batch, each) for each in at)

    rise = found.rise_pct
    return Said(
        quantiles_s(found.ready),
        quantiles_s(found.peak),
        str(found.state),
        None if rise is None else (rise.p05, rise.p50, rise.p95),
    )


def checkpoints_of(recording: Recording, *, is_live: bool) -> list[tuple[str, float, float]]:
    """The checkpoints of a recording: name, when [s], and when it truly comes [s], infinity for never.

    Left out where the recording ends before it is known what became of the dough.
    """
    target_pct = recording.batch.target.rise_pct
    peaked = is_live and np.isfinite(recording.peak_s)
    found = []
    has_end = not is_live or peaked or (target_pct is not None and np.isfinite(recording.ready_s))
    judged_s = np.inf if not is_live else recording.peak_s if target_pct is None else recording.ready_s
    if recording.last_fold_s < START_S < judged_s and has_end:
        found.append(("start", START_S, judged_s))
    if target_pct is not None and has_end:
        after = recording.rise_t_s > recording.last_fold_s
        for share in READY_SHARES:
            reached = np.flatnonzero(after & (recording.rise_pct >= share * target_pct))
            if reached.size and recording.rise_t_s[reached[0]] < recording.ready_s:
                found.append((f"{READY} {share:.0%}", float(recording.rise_t_s[reached[0]]), recording.ready_s))
    if peaked:
        for share in PEAK_SHARES:
            at_s = share * recording.peak_s
            if at_s > recording.last_fold_s:
                found.append((f"{PEAK} {share:.0%}", at_s, recording.peak_s))
    return found


def _what(recording: Recording, checkpoint: str) -> str:
    if checkpoint == "start":
        return PEAK if recording.batch.target.is_peak else READY
    return checkpoint.partition(" ")[0]


def _judged(recording: Recording, labels: dict[str, str], checkpoint: tuple[str, float, float], said: Said) -> Judged:
    name, at_s, truth_s = checkpoint
    place = int(np.searchsorted(recording.rise_t_s, at_s, side="right")) - 1
    return Judged(
        recording=recording.name,
        labels=labels,
        checkpoint=name,
        at_s=at_s,
        truth_s=truth_s if np.isfinite(truth_s) else None,
        quantiles_s=said.ready_s if _what(recording, name) == READY else said.peak_s,
        state=said.state,
        rise_pct=said.rise_pct,
        true_rise_pct=float(recording.rise_pct[place]) if place >= 0 else None,
    )


def look_times_s(recording: Recording) -> list[float]:
    """The moments of a course."""
    end_s = recording.track.last_t_s or 0.0
    from_s = max(START_S, recording.last_fold_s + AFTER_FOLD_S)
    until_s = min(end_s, recording.peak_s)
    step_s = max(SHORTEST_LOOK_S, (until_s - from_s) / LOOKS)
    return list(np.arange(from_s, until_s, step_s)) if until_s > from_s else []


def _course(recording: Recording, labels: dict[str, str], looks: Sequence[tuple[float, Said]]) -> Course:
    def known(at_s: float) -> float | None:
        return at_s if np.isfinite(at_s) else None

    is_peak = recording.batch.target.is_peak
    place = LEVELS.index(0.5)
    return Course(
        recording=recording.name,
        labels=labels,
        ready_s=known(recording.peak_s if is_peak else recording.ready_s),
        peak_s=known(recording.peak_s),
        end_s=recording.track.last_t_s or 0.0,
        looks=tuple(
            Look(round(at_s, 1), said.state, (said.peak_s if is_peak else said.ready_s)[place], said.peak_s)
            for at_s, said in looks
        ),
    )


@dataclass(frozen=True, slots=True)
class Task:
    """A recording to be judged: by its checkpoints, along its course too or not, and timed or not.

    ``every`` is how many of the looks along a course make one: 2 takes each second, the last one among them.
    """

    folder: Path
    has_course: bool
    is_timed: bool
    every: int = 1


def findings(task: Task, forecaster: Forecaster = by_program) -> Findings:
    """What a forecaster says of one recording, which is read once."""
    recording, labels = load_recording(task.folder, outlook), labels_of(task.folder)
    checkpoints = checkpoints_of(recording, is_live=labels["life"] != LIFELESS)
    looks_s = look_times_s(recording)[:: -task.every][::-1] if task.has_course else []
    said = forecaster(task.folder, recording, [at_s for _, at_s, _ in checkpoints] + looks_s)
    judged = [_judged(recording, labels, each, one) for each, one in zip(checkpoints, said, strict=False)]
    course = _course(recording, labels, list(zip(looks_s, said[len(checkpoints) :], strict=True)))
    cost_s = None
    if task.is_timed and (recording.track.last_t_s or 0.0) >= TIMED_AT_S:
        began_s = time.process_time()
        forecaster(task.folder, recording, [TIMED_AT_S])
        cost_s = time.process_time() - began_s
    return Findings(tuple(judged), course if task.has_course else None, cost_s)


@dataclass(frozen=True, slots=True)
class Run:
    """A whole run, as it is saved: what it was made with, and everything that was said."""

    about: dict[str, Any]
    judged: tuple[Judged, ...]
    courses: tuple[Course, ...]
    costs_s: tuple[float, ...]

    def save(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(asdict(self), separators=(",", ":")) + "\n", encoding="utf-8")


def load_run(path: Path) -> Run:
    """A run that was saved."""
    told = json.loads(path.read_text(encoding="utf-8"))

    def judged(row: dict[str, Any]) -> Judged:
        rise = row.pop("rise_pct")
        return Judged(
            **row | {"quantiles_s": tuple(row["quantiles_s"]), "rise_pct": None if rise is None else tuple(rise)}
        )

    def look(row: dict[str, Any]) -> Look:
        return Look(**row | {"peak_s": tuple(row.get("peak_s", ()))})  # a run of before has none

    return Run(
        about=told["about"],
        judged=tuple(judged(row) for row in told["judged"]),
        courses=tuple(Course(**row | {"looks": tuple(map(look, row["looks"]))}) for row in told["courses"]),
        costs_s=tuple(told["costs_s"]),
    )
