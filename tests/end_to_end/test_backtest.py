"""``proofing-monitor backtest`` as a person runs it: simulated doughs, then a folder of recordings."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest
from programs import PROGRAM, environment

from monitor.backtest.evaluation import METHODS


def backtest(*arguments: str | Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [*PROGRAM, "backtest", *map(str, arguments)], env=environment(), capture_output=True, text=True, timeout=900
    )


@pytest.fixture(scope="module")
def fast(tmp_path_factory):
    """The quick back-test, run once: its folder, and what it said."""
    folder = tmp_path_factory.mktemp("backtest")
    done = backtest("--fast", "--cache", folder / "cache", "--out", folder / "out")
    assert done.returncode == 0, done.stderr
    return folder, done


def test_a_quick_backtest_prints_its_table_and_writes_it(fast):
    folder, done = fast
    assert "10 recorded batches; the baselines learned from 15 others" in done.stdout
    assert (folder / "out" / "table.txt").read_text() == done.stdout
    table = json.loads((folder / "out" / "table.json").read_text())
    pooled = [row for row in table["rows"] if row["grouping"] == "all"]
    for what, share in (("ready", 0.25), ("ready", 0.5), ("ready", 0.75), ("peak", 0.5)):
        there = [row for row in pooled if (row["what"], row["share"]) == (what, share)]
        assert [row["method"] for row in there] == list(METHODS)
        assert len({row["n"] for row in there}) == 1  # each is judged on the very same forecasts
        for row in there:
            assert 0.0 <= row["coverage_50"] <= row["coverage_80"] <= row["coverage_90"] <= 1.0
            assert row["crps_min"] >= 0.0
            assert row["winkler_90_min"] >= row["median_width_90_min"] * 0.1
    assert {row["method"] for row in table["calls"]} == set(METHODS)
    lines = (folder / "out" / "forecasts.jsonl").read_text().splitlines()
    assert len(lines) == sum(row["n"] for row in pooled)


@pytest.mark.parametrize("picture", ["reliability.png", "spread_skill.png"])
def test_the_plots_are_pictures(fast, picture):
    folder, _ = fast
    drawn = (folder / "out" / picture).read_bytes()
    assert drawn.startswith(b"\x89PNG\r\n\x1a\n")
    assert len(drawn) > 10_000


def test_a_folder_of_recordings_without_truth_is_judged_by_what_they_later_showed(fast):
    folder, _ = fast
    mine = folder / "mine"
    recorded = sorted((folder / "cache").glob("*/*/READINGS.csv"))
    steady = [
        path.parent for path in recorded if json.loads((path.parent / "about.json").read_text())["folds"] == "none"
    ]
    for source in steady[:2]:
        (mine / source.name).mkdir(parents=True)
        for name in ("READINGS.csv", "BATCH.toml"):
            shutil.copy(source / name, mine / source.name / name)
    done = backtest(mine, "--train", folder / "cache", "--out", folder / "mine_out")
    assert done.returncode == 0, done.stderr
    assert "2 recorded batches" in done.stdout
    rows = json.loads((folder / "mine_out" / "table.json").read_text())["rows"]
    assert {row["group"] for row in rows if row["grouping"] == "simulator"} == {"unknown"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nowhere"], "holds no recorded batch"),
        (["here", "--simulated", "all"], "not both"),
        (["--seeds", "5:5"], "the second larger"),
        (["--simulated", "all", "--seeds", "0:1", "--train", "nowhere", "--cache", "{tmp}"], "holds no recorded batch"),
    ],
)
def test_what_cannot_be_done_is_said_with_status_2(arguments, said, tmp_path):
    done = backtest(*(argument.format(tmp=tmp_path) for argument in arguments))
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
