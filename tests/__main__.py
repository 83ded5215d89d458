"""Everything that must hold, in one command: ``python3 -m tests``.

Needs nothing but Python: it makes the virtual environment, installs the locked packages, fetches the system tools where
the machine lets it (mosquitto as the broker, InfluxDB as the central store, Chromium as the browser, QEMU as a board),
and runs style, types, imports and tests. What could not be run is listed with its reason; with ``CI=true`` that is a
failure.

Arguments are handed on to pytest: ``python3 -m tests -k vessel``.
"""

import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / "bin"
OLDEST_PYTHON = (3, 11)
# program that tells a tool is there: (Debian packages, Homebrew formula, what it is for)
SYSTEM_TOOLS = {
    "mosquitto": ("mosquitto", "mosquitto", "tests with a real MQTT broker"),
    "mosquitto_sub": ("mosquitto-clients", "mosquitto", "tests of the broker's health check"),
    "systemd-analyze": ("systemd", "", "tests of the units"),
    "nginx": ("nginx-light", "nginx", "tests with a proxy before the screens"),
    "influxd": ("influxdb", "influxdb@1", "tests with a real InfluxDB as the central store"),
    "cc": ("gcc libc6-dev", "gcc", "tests with a disk that fails"),
    "chromium": ("chromium", "chromium", "tests of the screens in a real browser"),
    "qemu-system-arm": ("qemu-system-arm firmware-microbit-micropython", "qemu", "tests on an emulated board"),
}


def run(*command: str | Path, quiet: bool = False) -> int:
    """Exit status of a command run in the project's folder."""
    print("==>", *(str(part) for part in command), flush=True)
    return subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL if quiet else None, check=False).returncode


def must(*command: str | Path, quiet: bool = False) -> None:
    """Run a set-up command, or end with its status: nothing after it would work."""
    status = run(*command, quiet=quiet)
    if status:
        sys.exit(f"set-up failed with status {status}: {' '.join(map(str, command))}")


def set_up_packages() -> None:
    """Virtual environment with the locked packages and this project."""
    if not (BIN / "python").exists():
        try:
            venv.create(VENV, with_pip=True)
        except subprocess.CalledProcessError:
            sys.exit("Python's venv has no pip here; on Debian: apt-get install python3-venv, then once more")
    pip = (BIN / "python", "-m", "pip", "--quiet", "--disable-pip-version-check")
    must(*pip, "install", "--require-hashes", "-r", "requirements-dev.lock")
    must(*pip, "install", "--no-deps", "--editable", ".")


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
        run(*prefix, "apt-get", "install", "-y", "--no-install-recommends", *packages, quiet=True)
    elif shutil.which("brew"):
        run("brew", "install", *filter(None, (SYSTEM_TOOLS[program][1] for program in missing)))
    for program in missing:
        if find(program) is None:
            print(f"not installed: {program}; without it there are no {SYSTEM_TOOLS[program][2]}", flush=True)


def main(pytest_arguments: list[str]) -> int:
    """Set up, then run every check; the first failure decides the status, but all are run."""
    if sys.version_info < OLDEST_PYTHON:
        sys.exit(f"Python {'.'.join(map(str, OLDEST_PYTHON))} or newer is needed; this is {sys.version.split()[0]}")
    set_up_packages()
    set_up_tools()
    checks: list[tuple[str | Path, ...]] = [
        (BIN / "ruff", "check", "."),
        (BIN / "ruff", "format", "--check", "."),
        (BIN / "mypy",),
        (BIN / "lint-imports", "--no-cache"),
        (BIN / "python", "-m", "tests.audit"),
        (BIN / "python", "-m", "pytest", *pytest_arguments),
    ]
    failed = [check for check in checks if run(*check)]
    for check in failed:
        print("failed:", *(str(part) for part in check), flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
