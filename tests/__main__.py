"""Everything that must hold, in one command: ``python3 -m tests``.

Needs nothing but Python: it makes the virtual environment, installs the locked packages, fetches the system tools where
the machine lets it (mosquitto as the broker, InfluxDB as the central store, Chromium as the browser, QEMU as a board),
and runs the tests, and beside them style, types, imports and the audit. What could not be run is listed with its
reason; with ``CI=true`` that is a failure. When all tests run, the branches they took are counted against floors.

Arguments are handed on to pytest: ``python3 -m tests -k vessel``.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import venv
from pathlib import Path

from tests.installer import ways_to_install

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / "bin"
LOCK = "requirements-dev.lock"
OLDEST_PYTHON = (3, 11)
# program that tells a tool is there: (Debian packages, Homebrew formula, what it is for)
SYSTEM_TOOLS = {
    "mosquitto": ("mosquitto", "mosquitto", "tests with a real MQTT broker"),
    "mosquitto_sub": ("mosquitto-clients", "mosquitto", "tests of the broker's health check"),
    "systemd-analyze": ("systemd", "", "tests of the units"),
    "mandoc": ("mandoc", "mandoc", "tests of the manual page"),
    "nginx": ("nginx-light", "nginx", "tests with a proxy before the screens"),
    "influxd": ("influxdb", "influxdb@1", "tests with a real InfluxDB as the central store"),
    "cc": ("gcc libc6-dev", "gcc", "tests with a disk that fails"),
    "chromium-headless-shell": ("chromium-headless-shell", "chromium", "tests of the screens in a real browser"),
    "qemu-system-arm": ("qemu-system-arm firmware-microbit-micropython", "qemu", "tests on an emulated board"),
}

STAND_INS = {"chromium-headless-shell": "chromium"}
"""What serves as well, at twice the cost, where a system does not have the first."""

TAKEN_OUT = {"promtool": ("prometheus", "usr/bin/promtool")}
"""Programs that run by themselves, of packages that would bring a service and a hundred megabytes: which, and where."""


def spelled(command: tuple[str | Path, ...]) -> str:
    """A command as one types it."""
    return " ".join(map(str, command)).replace(f"{ROOT}/", "")


def run(*command: str | Path, quiet: bool = False) -> int:
    """Exit status of a command run in the project's folder."""
    print("==>", spelled(command), flush=True)
    return subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL if quiet else None, check=False).returncode


def must(*command: str | Path, quiet: bool = False) -> None:
    """Run a set-up command, or end with its status: nothing after it would work."""
    status = run(*command, quiet=quiet)
    if status:
        sys.exit(f"set-up failed with status {status}: {spelled(command)}")


def set_up_packages() -> None:
    """Virtual environment with the locked packages and this project."""
    if not (BIN / "python").exists():
        try:
            venv.create(VENV, with_pip=True)
        except subprocess.CalledProcessError:
            sys.exit("Python's venv has no pip here; on Debian: apt-get install python3-venv, then once more")
    installer = VENV / "installer.txt"
    installer.write_text(next(re.finditer(r"(?m)^uv==.*(\n .*)*", (ROOT / LOCK).read_text()))[0])
    python = BIN / "python"
    must(*ways_to_install(python, python, "--require-hashes", "-r", installer)[-1])  # uv itself
    quicker, other = ways_to_install(python, python, "--require-hashes", "-r", LOCK)
    if run(*quicker):
        must(*other)
    must(*ways_to_install(python, python, "--no-deps", "--editable", ".")[-1])


def find(program: str) -> str | None:
    """Path of a program; daemons may live outside a user's search path."""
    return shutil.which(program, path=os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"]))


def set_up_tools() -> None:
    """Install missing system tools where this user may; the tests themselves list what stays missing."""
    missing = [program for program in SYSTEM_TOOLS if find(program) is None]
    if not missing:
        return
    may_install = os.geteuid() == 0 or shutil.which("sudo") is not None
    if shutil.which("apt-get") and may_install:
        packages = [package for program in missing for package in SYSTEM_TOOLS[program][0].split()]
        prefix = [] if os.geteuid() == 0 else ["sudo", "-n"]
        os.environ["DEBIAN_FRONTEND"] = "noninteractive"
        run(*prefix, "apt-get", "update", quiet=True)
        install = (*prefix, "apt-get", "install", "-y", "--no-install-recommends")
        if run(*install, *packages, quiet=True):  # one that this release does not have keeps all from coming
            for package in packages:
                if run(*install, package, quiet=True) and package in STAND_INS:
                    run(*install, STAND_INS[package], quiet=True)
    elif shutil.which("brew"):
        run("brew", "install", *filter(None, (SYSTEM_TOOLS[program][1] for program in missing)))
    for program in missing:
        if find(program) is None and find(STAND_INS.get(program, program)) is None:
            print(f"not installed: {program}; without it there are no {SYSTEM_TOOLS[program][2]}", flush=True)


def take_out_tools() -> None:
    """Put what is missing of ``TAKEN_OUT`` beside this environment's programs."""
    for program, (package, path) in TAKEN_OUT.items():
        if find(program) is not None or (BIN / program).exists() or shutil.which("apt-get") is None:
            continue
        with tempfile.TemporaryDirectory() as folder:
            fetch = ("sh", "-c", f"cd {folder} && apt-get -qq download {package} && dpkg-deb --extract *.deb .")
            if run(*fetch, quiet=True) and os.geteuid() == 0 and not run("apt-get", "update", quiet=True):
                run(*fetch, quiet=True)
            if (Path(folder) / path).exists():
                shutil.copy(Path(folder) / path, BIN / program)
            else:
                print(f"not installed: {program}; without it nobody looks through rules and metrics", flush=True)


def besides() -> list[tuple[str | Path, ...]]:
    """What is checked beside the tests, the quickest first."""
    return [
        (BIN / "ruff", "check", "."),
        (BIN / "ruff", "format", "--check", "."),
        (BIN / "lint-imports", "--no-cache"),
        (BIN / "mypy",),
        (BIN / "python", "-m", "tests.audit"),
        (BIN / "python", "-m", "tests.board_types"),
        (BIN / "python", "-m", "tests.core_alone"),
    ]


def check_quietly(command: tuple[str | Path, ...]) -> int:
    """Exit status of a check; what it said stands in one piece, once it has ended."""
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    how = f"failed with status {done.returncode}" if done.returncode else "passed"
    print(f"\n==> {spelled(command)}: {how}\n{done.stdout.strip()}", flush=True)
    return done.returncode


def tests(pytest_arguments: list[str]) -> list[tuple[str | Path, ...]]:
    """The tests on several workers, and the floors of their coverage when all of them run.

    Most long tests wait for processes, so there are two workers a core, and one that fills up what they leave.
    ``tests/conftest.py`` says who runs what.
    """
    workers = ("-n", str(2 * (os.cpu_count() or 1) + 1))
    if pytest_arguments:
        return [(BIN / "python", "-m", "pytest", *workers, *pytest_arguments)]
    return [
        (BIN / "python", "-m", "pytest", *workers, "--durations=40", "--cov", "--cov-report="),
        (BIN / "python", "-m", "tests.coverage_floors"),
    ]


def main(pytest_arguments: list[str]) -> int:
    """Set up, then run every check; the first failure decides the status, but all are run."""
    if sys.version_info < OLDEST_PYTHON:
        sys.exit(f"Python {'.'.join(map(str, OLDEST_PYTHON))} or newer is needed; this is {sys.version.split()[0]}")
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # hundreds of processes would compile everything anew
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # there are more workers than cores
    tools = threading.Thread(target=set_up_tools)
    tools.start()
    try:
        set_up_packages()
    finally:
        tools.join()
    take_out_tools()
    failed: list[tuple[tuple[str | Path, ...], int]] = []

    def noted(check: tuple[str | Path, ...], status: int) -> None:
        if status:
            failed.append((check, status))

    def check_besides() -> None:
        for check in besides():
            noted(check, check_quietly(check))

    beside = threading.Thread(target=check_besides)
    beside.start()
    if not pytest_arguments:  # the tests are compiled once, which each worker would else do
        run(BIN / "python", "-m", "pytest", "--collect-only", "-q", quiet=True)
    for check in tests(pytest_arguments):
        noted(check, run(*check))
    beside.join()
    for check, _ in failed:
        print("failed:", spelled(check), flush=True)
    return failed[0][1] if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
