"""The estimator on simulated doughs it was not tuned on: error, bias and coverage stay within limits, whatever changes.

Thirty doughs, six of each simulator, every other one with what gets between a sensor and a dough; their seeds belong
to no tuning and no back-test. They are judged at the checkpoints of ``accuracy.judging``; the three of *ready* are
pooled, and the three of the peak. Errors are shares of the time truly left, so that a dough of two hours counts as much
as one of ten.

Each limit stands beside the figure that was measured when it was set, with a margin: a fifth more error; a tenth more
CRPS, which the same doughs reckoned a hair differently move by a fiftieth; five points of bias, of the time left, to
either side; ten points of coverage of the middle half and six of the middle nine tenths, to either side, for with
seventy moments of thirty doughs a coverage is uncertain by that much, and one that is too high is a doubt that is too
wide. They are to catch a step backwards; a step forwards moves them by hand.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from accuracy.figures import figures_of, first_false_s
from accuracy.judging import PEAK, READY, Course, Findings, Look, Task, findings

from firmware_sim.doughs.catalogue import SIMULATORS
from firmware_sim.recordings.histories import CLEAN, ROUGH_STEP_S, TROUBLED, Wanted, write_history

SEEDS = range(2000, 2006)
EVERY = 4  # of the looks along a course; what is said at the checkpoints counts as looks too
POOLS = {"start": "start", "ready": READY, "peak": PEAK}


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> list[Findings]:
    folder = tmp_path_factory.mktemp("recorded")
    return [_found(simulator, seed, folder) for simulator in SIMULATORS for seed in SEEDS]


def _found(simulator: str, seed: int, folder: Path) -> Findings:
    catalogue = TROUBLED if seed % 2 else CLEAN
    write_history(simulator, seed, folder, Wanted(has_formula=True, catalogue=catalogue, step_s=ROUGH_STEP_S))
    return findings(Task(folder / f"{simulator}-{seed:05d}", has_course=True, is_timed=False, every=EVERY))


@dataclass(frozen=True, slots=True)
class Limit:
    """A figure as measured, and how far it may be from that."""

    measured: float
    down: float
    up: float

    def holds(self, figure: float) -> bool:
        return self.measured - self.down <= figure <= self.measured + self.up


MOST_FALSELY_CALLED = 4  # of thirty, as measured, and none more
LIMITS = {
    "start": {
        "moments": Limit(20, 0, 2),
        "error_share": Limit(0.270, 0.270, 0.054),
        "crps_share": Limit(0.208, 0.208, 0.021),
        "late_share": Limit(0.166, 0.05, 0.05),
        "covers_50": Limit(0.350, 0.1, 0.1),
        "covers_90": Limit(0.750, 0.06, 0.06),
    },
    "ready": {
        "moments": Limit(54, 0, 5),
        "error_share": Limit(0.227, 0.227, 0.045),
        "crps_share": Limit(0.165, 0.165, 0.017),
        "late_share": Limit(-0.033, 0.05, 0.05),
        "covers_50": Limit(0.481, 0.1, 0.1),
        "covers_90": Limit(0.907, 0.06, 0.06),
    },
    "peak": {
        "moments": Limit(68, 0, 7),
        "error_share": Limit(0.164, 0.164, 0.033),
        "crps_share": Limit(0.249, 0.249, 0.025),
        "late_share": Limit(0.004, 0.05, 0.05),
        "covers_50": Limit(0.676, 0.1, 0.1),
        "covers_90": Limit(0.926, 0.06, 0.06),
    },
}


def _figures(found: Sequence[Findings], pool: str) -> dict[str, float]:
    rows = [
        row for one in found for row in one.judged if row.checkpoint.startswith(POOLS[pool]) and row.truth_s is not None
    ]
    return {"moments": float(len(rows))} | {name: figure.value for name, figure in figures_of(rows).items()}


@pytest.mark.parametrize("pool", LIMITS)
def test_it_foretells_no_worse_than_it_did(found: list[Findings], pool: str) -> None:
    figures = _figures(found, pool)
    off = {name: figures[name] for name, limit in LIMITS[pool].items() if not limit.holds(figures[name])}
    assert not off, f"measured { {name: figures[name] for name in LIMITS[pool]} }, limits {LIMITS[pool]}"


def _watched(one: Findings) -> Course:
    """The course with what was said at the checkpoints."""
    assert one.course is not None
    looks = [*one.course.looks, *(Look(row.at_s, row.state, None) for row in one.judged)]
    return replace(one.course, looks=tuple(sorted(looks, key=lambda look: look.at_s)))


def test_it_calls_no_more_doughs_too_early_than_it_did(found: list[Findings]) -> None:
    called = [_watched(one).recording for one in found if first_false_s(_watched(one))]
    assert len(called) <= MOST_FALSELY_CALLED, called
