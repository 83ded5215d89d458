"""The core alone, as a small machine has it: ``python -m tests.core_alone``.

Installs ``requirements-core.lock`` and this program into an environment of its own, and runs the tests of what a core
is for. The tools of the tests stand in a folder beside it. Ends with a fault when the core weighs too much.
"""

import os
import re
import shutil
import subprocess
import sys
import venv
from pathlib import Path

from tests.installer import installed

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("monitor", "dashboard", "firmware_sim")
BESIDE = ("pyproject.toml", "README.md", "LICENSE", "CHANGELOG.md", *(path.name for path in ROOT.glob("*.lock")))
PLACE = ROOT / "build" / "core"
MOST_MB = 150
TOOLS = (
    "pytest", "pytest-cov", "pytest-xdist", "coverage", "execnet", "hypothesis", "iniconfig", "pluggy", "psutil",
    "pyyaml", "sortedcontainers",
)  # fmt: skip
ABOUT = (
    "alerts", "batch_file", "collector_batches", "collector_frames", "frames", "node_settings", "notify_outbox",
    "replay",
)  # fmt: skip
TESTS = ("tests/scenarios", *(f"tests/unit/test_{what}.py" for what in ABOUT))


def copy_sources(folder: Path) -> None:
    """What a wheel is built from, in a folder of its own: a build writes beside what it builds."""
    for package in PACKAGES:
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / package, folder / package, ignore=ignored, symlinks=True)
    for name in BESIDE:
        shutil.copy(ROOT / name, folder)


def requirements(lock: Path, names: tuple[str, ...]) -> str:
    """The lines of some packages in a lock file, hashes and all."""
    return "".join(re.findall(rf"(?m)^(?:{'|'.join(names)})==.*\n(?: .*\n)*", lock.read_text()))


def weight_mb(folder: Path) -> float:
    """What a folder's files hold, in blocks of 4 kB as most disks have them."""
    sizes = (path.lstat().st_size for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
    return sum(-(-size // 4096) * 4096 for size in sizes) / 1e6


def main() -> int:
    """Exit status of the tests, or 1 for a core that weighs too much."""
    core, tools, source = PLACE / "python", PLACE / "tools", PLACE / "source"
    python = core / "bin" / "python"
    venv.create(core, with_pip=False, clear=True)
    tools.mkdir(exist_ok=True)
    shutil.rmtree(source, ignore_errors=True)
    copy_sources(source)
    wanted = PLACE / "tools.lock"
    wanted.write_text(requirements(ROOT / "requirements-dev.lock", TOOLS))
    for what in (("--require-hashes", "-r", "requirements-core.lock"), ("--no-deps", source)):
        if not installed(sys.executable, python, *what, folder=ROOT):
            return 1
    weight = weight_mb(core)
    print(f"the core weighs {weight:.0f} MB", flush=True)
    beside = ("--require-hashes", "--no-deps", "--upgrade", "--target", tools, "-r", wanted)
    if not installed(sys.executable, python, *beside, folder=ROOT):
        return 1
    environ = {**os.environ, "PYTHONPATH": str(tools), "PYTHONDONTWRITEBYTECODE": "1"}
    options = ["-q", "-p", "no:cacheprovider", "--import-mode=importlib", "--no-header"]
    tested = [str(python), "-P", "-m", "pytest", *options, *TESTS]
    status = subprocess.run(tested, cwd=ROOT, env=environ, check=False).returncode
    return status or int(weight > MOST_MB)


if __name__ == "__main__":
    sys.exit(main())
