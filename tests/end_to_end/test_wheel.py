"""What is published: the wheel of the sources' archive has all it needs, and runs the demo where nothing else lies."""

import os
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest
from harness import free_port
from programs import PROGRAM, environment, read_until, stop

from monitor.store.collector_lock import is_collector_running
from tests.core_alone import PACKAGES, copy_sources

ROOT = Path(__file__).resolve().parents[2]
BUILD = "import sys; from setuptools import build_meta; build_meta.build_{}(sys.argv[1])"


@dataclass(frozen=True, slots=True)
class Published:
    """Both archives, and the folder that the wheel is installed into."""

    sources: Path
    wheel: Path
    installed: Path

    @property
    def environ(self) -> dict[str, str]:
        """In which processes find the installed wheel first."""
        return environment(PYTHONPATH=str(self.installed))


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Published:
    folder = tmp_path_factory.mktemp("published")
    source = folder / "source"
    copy_sources(source)

    def build(what: str, where: Path) -> None:
        command = [sys.executable, "-c", BUILD.format(what), folder]
        subprocess.run(command, cwd=where, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    build("sdist", source)
    (sources,) = folder.glob("*.tar.gz")
    with tarfile.open(sources) as packed:
        packed.extractall(folder, filter="data")
    build("wheel", folder / sources.name.removesuffix(".tar.gz"))
    (wheel,) = folder.glob("*.whl")
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--no-compile"]
    subprocess.run([*install, "--target", folder / "installed", wheel], check=True)
    return Published(sources, wheel, folder / "installed")


def test_the_wheel_carries_types_and_every_file_of_its_packages(published: Published) -> None:
    with zipfile.ZipFile(published.wheel) as packed:
        carried = set(packed.namelist())
    assert {f"{package}/py.typed" for package in PACKAGES} <= carried
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    wanted = {path for package, patterns in asked.items() for each in patterns for path in (ROOT / package).glob(each)}
    wanted |= {path for package in PACKAGES for path in (ROOT / package).rglob("*.py")}
    assert {str(path.relative_to(ROOT)) for path in wanted} <= carried
    assert [name for name in carried if name.endswith("data/share/man/man1/proofing-monitor.1")]


def test_the_archive_of_the_sources_has_what_is_installed_by(published: Published) -> None:
    with tarfile.open(published.sources) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    assert {"CHANGELOG.md", "LICENSE", *(lock.name for lock in ROOT.glob("*.lock"))} <= names


def test_the_demo_runs_from_an_empty_folder_and_leaves_nothing_running(published: Published, tmp_path: Path) -> None:
    data_dir, port = tmp_path / "day", free_port()
    command = [*PROGRAM, "demo", "--no-browser", "--port", str(port), "--data-dir", str(data_dir)]
    with subprocess.Popen(command, cwd=tmp_path, env=published.environ, stdout=subprocess.PIPE, text=True) as demo:
        read_until(demo, "http://127.0.0.1:")
        assert is_collector_running(data_dir)
        stop(demo)
    assert not is_collector_running(data_dir)


def test_an_image_is_built_from_what_is_installed(published: Published, tmp_path: Path) -> None:
    """No clone lies about: the recipe copies what stands beside it, and that runs by itself."""
    (tmp_path / "config.toml").write_text("[upkeep]\nmetrics_port = 9464\n")
    made, environ = tmp_path / "made", published.environ
    service = [*PROGRAM, "service", "--compose", str(made), "--data-dir", str(tmp_path)]
    subprocess.run(service, cwd=tmp_path, env=environ, check=True, stdout=subprocess.DEVNULL)
    image = made / "image"
    recipe = (image / "Containerfile").read_text().splitlines()
    copied = [word for line in recipe if line.startswith("COPY") for word in line.split()[1:-1]]
    assert sorted(copied) == sorted(os.listdir(image))[1:], "the recipe itself stays outside"
    assert (image / "requirements.lock").read_bytes() == (ROOT / "requirements.lock").read_bytes()
    environ["PYTHONPATH"] = str(image / "program")
    asked = [*PROGRAM, "--version"]
    done = subprocess.run(asked, cwd=tmp_path, env=environ, check=True, capture_output=True, text=True)
    assert done.stdout.split()[-1] in published.wheel.name
