"""What is installed by ``requirements-core.lock`` alone collects and calls; the rest says what it lacks."""

import re
import subprocess
import sys
from collections.abc import Iterable
from datetime import UTC, datetime
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from documents import ROOT
from harness import PATIENCE_S
from programs import CollectorProcess, environment

from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

RUN = """
import importlib.util, sys

class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {missing}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)

found = importlib.util.find_spec
importlib.util.find_spec = lambda name, *more: None if name.partition(".")[0] in {missing} else found(name, *more)
sys.meta_path.insert(0, Missing())
from monitor.cli import main
for line in {lines}:
    print("status", main(line), flush=True)
"""


def locked(name: str) -> set[str]:
    return set(re.findall(r"(?m)^([a-z0-9-]+)==", (ROOT / name).read_text()))


def missing_modules() -> set[str]:
    """The modules of every package that the whole program has and its core has not."""
    left_out = locked("requirements.lock") - locked("requirements-core.lock")

    def are_left_out(packages: Iterable[str]) -> bool:
        return {re.sub(r"[-_.]+", "-", package).lower() for package in packages} <= left_out

    return {module for module, packages in packages_distributions().items() if are_left_out(packages)}


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    """With a batch that is looked at by eye."""
    tub = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0)
    with Store(tmp_path / DATABASE_NAME) as store:
        store.batches.add(Batch(BatchId(0), "Plain tub", Stage.FIRST_RISE, datetime.now(UTC), tub))
    return tmp_path


def program(*lines: list[str]) -> list[str]:
    """The command lines, one after the other in one process that finds none of those modules."""
    return [sys.executable, "-P", "-c", RUN.format(missing=missing_modules(), lines=lines)]


def told(data_dir: Path, *lines: list[str]) -> str:
    command = program(*([*line, "--data-dir", str(data_dir)] for line in lines))
    done = subprocess.run(command, env=environment(), capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def test_the_core_collects_lists_and_checks(data_dir: Path) -> None:
    assert {"streamlit", "pandas", "pyarrow", "ortools", "altair", "influxdb_client", "amqtt"} <= missing_modules()
    collect = ["collect", "--by-eye", "--data-dir", str(data_dir)]
    with CollectorProcess(data_dir, command=program(collect)):
        said = told(
            data_dir,
            *([*words.split()] for words in ("batch list", "alerts list", "readings newest", "plan list", "check")),
        )
    assert "Plain tub" in said
    assert re.findall(r"(?m)^status (\d)", said)[:4] == ["0"] * 4
    assert "streamlit not installed" in said.replace(" and altair", "")


def test_what_is_left_out_is_said_with_what_to_install(data_dir: Path) -> None:
    recipe = str(ROOT / "monitor/demo/recipes/country-loaf.toml")
    archive = ["batch", "archive", "1", str(data_dir / "kept"), "--as", "parquet"]
    said = told(data_dir, ["plan", "make", recipe], ["dashboard"], ["demo"], archive)
    lacks = re.findall(r'this needs (\w+), which is not installed; run `pip install "(\w+)[^"]+"`', said)
    assert lacks == [(name, name) for name in ("ortools", "streamlit", "ortools", "pyarrow")]
    assert re.findall(r"(?m)^status (\d)", said) == ["2"] * 4
