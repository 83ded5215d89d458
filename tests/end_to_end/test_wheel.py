"""The wheel as one builds it: what is installed from it has its types and every file that it needs."""

import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("monitor", "dashboard", "firmware_sim")


def test_the_wheel_carries_types_and_every_file_of_its_packages(tmp_path: Path) -> None:
    source = tmp_path / "source"  # a build writes beside what it builds
    for package in PACKAGES:
        shutil.copytree(ROOT / package, source / package, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source / name)
    build = "import sys; from setuptools import build_meta; build_meta.build_wheel(sys.argv[1])"
    subprocess.run([sys.executable, "-c", build, tmp_path], cwd=source, check=True, stdout=subprocess.DEVNULL)
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        carried = set(packed.namelist())
    assert {f"{package}/py.typed" for package in PACKAGES} <= carried
    asked = tomllib.loads((source / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    wanted = {
        path for package, patterns in asked.items() for each in patterns for path in (source / package).glob(each)
    }
    wanted |= {path for package in PACKAGES for path in (source / package).rglob("*.py")}
    assert {str(path.relative_to(source)) for path in wanted} <= carried
