"""Batches of one recipe, day after day, by the simulators' own program: five teach, the next are forecast better."""

import shutil
import subprocess
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from harness import PATIENCE_S

from monitor.archive.replay import known_at, read_batch
from monitor.backtest.recordings import BATCH_NAME, READINGS_NAME, load_recording, moments_of
from monitor.collector.recorded_lessons import learned_about, lessons_in
from monitor.dough.forecast import outlook
from monitor.dough.learning import READY, RecipeExperience, learned_from
from monitor.dough.scores import interval_score

FIRST_DAY = datetime.fromisoformat("2026-03-02T05:40:00+00:00")
RECIPES = {  # of three simulators, in rooms as kitchens have them: hours recorded
    "proof": 4.0,
    "enriched": 4.0,
    "bubble-slow": 8.0,
    "wild-loaf": 11.0,
}
EARLY_S = 1200.0
Array = np.ndarray
ROOMS = ("steady:24", "drift:21:25", "cabinet:26", "steady:22", "drift:23:26", "steady:25", "cabinet:24", "steady:23")
N_PAST = 5


@dataclass(frozen=True)
class Held:
    """One forecast of *ready* held against the truth; ``score_min`` is Winkler's for the 90 % interval. [min]"""

    off_min: float
    width_min: float
    is_held: bool
    score_min: float


def recorded(folder: Path, recipe: str, hours: float) -> list[Path]:
    """Recordings of batches in each of the rooms, one a day."""
    folders, running = [], []
    for day, room in enumerate(ROOMS):
        out = folder / f"{recipe}-{day}"
        command = [
            sys.executable,
            "-m",
            "firmware_sim",
            "record",
            "--dough",
            recipe,
            "--seed",
            str(201 + day),
            "--recipe-seed",
            "201",
        ]
        command += ["--out", str(out), "--room", room, "--hours", f"{hours:g}", "--every", "60s"]
        command += ["--start", (FIRST_DAY + timedelta(days=day)).isoformat().replace("+00:00", "Z")]
        running.append(subprocess.Popen(command, stdout=subprocess.DEVNULL))
        folders.append(out)
    assert [process.wait(timeout=PATIENCE_S) for process in running] == [0] * len(running)
    for out in folders:
        path = out / BATCH_NAME
        path.write_text(f'recipe = "{recipe}"\n{path.read_text()}')
    return folders


def held(folder: Path, learned: RecipeExperience | None) -> list[Held]:
    """Forecasts of *ready* twenty minutes after the start and at 25, 50 and 75 % of the target."""
    recording = load_recording(folder, outlook)
    ready_s = [moment.at_s for moment in moments_of(recording) if moment.what == READY]
    assert len(ready_s) == 3
    truth = recording.batch.started_at + timedelta(seconds=recording.ready_s)
    found = []
    for at_s in (EARLY_S, *ready_s):
        at = recording.batch.started_at + timedelta(seconds=at_s)
        ready = outlook(known_at(recording.batch, at), recording.track, at, learned=learned).ready
        low, middle, high = ready.p05, ready.p50, ready.p95
        assert low is not None
        assert middle is not None
        assert high is not None
        found.append(
            Held(
                abs((middle - truth).total_seconds()) / 60.0,
                (high - low).total_seconds() / 60.0,
                low <= truth <= high,
                float(interval_score(*((each - at).total_seconds() / 60.0 for each in (truth, low, high)), 0.9)),
            )
        )
    return found


@pytest.fixture(scope="module")
def enriched(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return recorded(tmp_path_factory.mktemp("enriched"), "enriched", RECIPES["enriched"])


@pytest.fixture(scope="module")
def forecasts(
    tmp_path_factory: pytest.TempPathFactory, enriched: list[Path]
) -> tuple[dict[str, list[Held]], dict[str, list[Held]]]:
    """By recipe: forecasts of the next batches without and with what the first five taught."""
    without, with_learned = {}, {}
    for recipe, hours in RECIPES.items():
        folder = tmp_path_factory.mktemp(recipe)
        folders = enriched if recipe == "enriched" else recorded(folder, recipe, hours)
        lessons = lessons_in(linked(folder / "past", folders[:N_PAST]))
        assert len(lessons) == N_PAST
        without[recipe] = [each for path in folders[N_PAST:] for each in held(path, None)]
        with_learned[recipe] = [
            each
            for path in folders[N_PAST:]
            for each in held(path, learned_from(lessons, read_batch(path / BATCH_NAME)))
        ]
    return without, with_learned


def linked(folder: Path, recordings: list[Path]) -> Path:
    """A folder that holds copies of recordings."""
    for recording in recordings:
        shutil.copytree(recording, folder / recording.name)
    return folder


def all_of(by_recipe: dict[str, list[Held]], what: str) -> Array:
    """One number of each forecast, shape (n_batches, 4): early on, then on the way."""
    return np.array([[getattr(each, what) for each in found] for found in by_recipe.values()]).reshape(-1, 4)


def test_a_dough_that_has_not_begun_to_rise_is_forecast_much_nearer(forecasts):
    without, with_learned = (all_of(each, "off_min")[:, 0] for each in forecasts)
    assert np.median(with_learned) < 0.8 * np.median(without)


def test_forecasts_on_the_way_are_nearer_with_what_was_learned(forecasts):
    without, with_learned = (all_of(each, "off_min")[:, 1:] for each in forecasts)
    assert np.median(with_learned) <= np.median(without)


def test_intervals_are_narrower_and_better_and_hold(forecasts):
    without, with_learned = forecasts
    assert np.median(all_of(with_learned, "width_min") / all_of(without, "width_min")) < 0.9
    assert np.mean(all_of(with_learned, "score_min")) < 0.9 * np.mean(all_of(without, "score_min"))
    assert np.mean(all_of(with_learned, "is_held")) >= 0.75


def test_one_odd_batch_among_them_changes_little(enriched, tmp_path):
    """One of the five was made with a sixth of the yeast by mistake, and the file does not say so."""
    batch = read_batch(enriched[5] / BATCH_NAME)
    usual = learned_about(batch, linked(tmp_path / "usual", enriched[:N_PAST]), sys.stderr)
    past = linked(tmp_path / "past", enriched[:N_PAST])
    slow = recorded(tmp_path / "slow", "bubble-slow", RECIPES["bubble-slow"])[2]
    shutil.copy(slow / READINGS_NAME, past / enriched[2].name / READINGS_NAME)
    found = learned_about(batch, past, sys.stderr)
    assert usual is not None
    assert found is not None
    assert (usual.n_batches, usual.n_odd) == (5, 0)
    assert (found.n_batches, found.n_odd) == (5, 1)
    assert found.speed == pytest.approx(usual.speed, rel=0.1)
