"""Recordings of simulated doughs: made by the simulators' own program, as a process, and kept for the next run."""

import ast
import hashlib
import importlib.util
import signal
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path

from monitor.backtest.recordings import ABOUT_NAME
from monitor.child import child_command
from monitor.errors import ConfigError

SIMULATORS = ("digital", "bubble", "wild", "viscoelastic", "stochastic")
PROGRAM = "firmware_sim"
MAKER = "recordings.histories"  # its module that records whole sets


def _program_folder() -> Path:
    found = importlib.util.find_spec(PROGRAM)
    if found is None or not found.submodule_search_locations:
        raise ConfigError(
            f"the simulated doughs are made by `python -m {PROGRAM}`, which is not installed beside this program; "
            "install the whole project, or give a folder of recorded batches"
        )
    return Path(found.submodule_search_locations[0])


def version_of_simulators() -> str:
    """A short word that changes whenever anything that makes the recordings does: they are kept under it."""
    folder, digest = _program_folder(), hashlib.sha256()
    waiting, done = [MAKER], set[str]()
    while waiting:
        name = waiting.pop(0)
        path = folder.joinpath(*name.split(".")).with_suffix(".py")
        if name in done or not path.is_file():
            continue
        done.add(name)
        text = path.read_text(encoding="utf-8")
        digest.update(text.encode())
        for line in ast.walk(ast.parse(text)):
            if isinstance(line, ast.ImportFrom) and (line.module or "").partition(".")[0] == PROGRAM:
                module = (line.module or "").partition(".")[2]
                waiting += [module] if module else []
                waiting += [f"{module}.{each.name}".strip(".") for each in line.names]
    return digest.hexdigest()[:12]


def default_cache(environ: Mapping[str, str]) -> Path:
    """Where recordings are kept when nobody says where (XDG base directories)."""
    base = Path(environ.get("XDG_CACHE_HOME") or "")
    if not base.is_absolute():  # then it is to be ignored: XDG Base Directory Specification 0.8
        base = Path.home() / ".cache"
    return base / "proofing-monitor" / "histories"


def simulated(
    simulators: tuple[str, ...], seeds: range, cache: Path, jobs: int, progress: Callable[[int, int], None]
) -> list[Path]:
    """The folders of the recordings of some seeds of some simulators, made where they are missing.

    Raises
    ------
    ConfigError
        When the simulators' program is missing or fails.
    """
    kept = cache / version_of_simulators()
    wanted = {(simulator, seed): kept / f"{simulator}-{seed:05d}" for seed in seeds for simulator in simulators}
    total = len(wanted)
    for simulator in simulators:
        missing = [seed for seed in seeds if not (wanted[simulator, seed] / ABOUT_NAME).is_file()]
        for first, end in _runs(missing):
            _record(simulator, first, end, kept, jobs)
            progress(sum((folder / ABOUT_NAME).is_file() for folder in wanted.values()), total)
    progress(total, total)
    return list(wanted.values())


def _runs(seeds: list[int], longest: int = 20) -> list[tuple[int, int]]:
    """Neighbouring seeds as (first, end left out), none longer than ``longest`` so that progress shows."""
    found: list[tuple[int, int]] = []
    for seed in seeds:
        if found and found[-1][1] == seed and seed - found[-1][0] < longest:
            found[-1] = (found[-1][0], seed + 1)
        else:
            found.append((seed, seed + 1))
    return found


def _record(simulator: str, first: int, end: int, out: Path, jobs: int) -> None:
    command = child_command(PROGRAM, "histories", "--simulator", simulator, "--seeds", f"{first}:{end}")
    command += ["--out", str(out), "--processes", str(jobs)]
    try:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    except OSError as err:
        raise ConfigError(f"{' '.join(command)}: cannot be started ({err.strerror})") from err
    try:
        _, stderr = process.communicate()
    except BaseException:
        process.send_signal(signal.SIGINT)  # as Ctrl-C does: killed outright, it would leave its own helpers behind
        process.wait()
        raise
    if process.returncode != 0:
        last_line = stderr.strip().splitlines()[-1:] or ["nothing"]
        raise ConfigError(f"{' '.join(command)}: ended with status {process.returncode} and said: {last_line[0]}")
