"""Types of the node's code against what MicroPython offers on each board: ``python -m tests.board_types``.

The published stubs of each board, of two versions each (of the -S3 and the -C3 there are none of 1.25), are files
of the same names: in one environment each would overwrite the other, and mypy would take them for Python's own modules.
So each set lies in a folder of its own under ``build``, installed there from a lock file with hashes, and mypy is run
once for each with that folder in place of its usual library. Where a package index cannot be reached nothing can be
said, which is printed and is no failure unless ``CI=true``.

The code has no annotations (MicroPython 1.9.2 takes none), so what is checked is what it asks of a board: modules,
names, and the number and kind of arguments.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.installer import installed

ROOT = Path(__file__).resolve().parent.parent
LOCKS = ROOT / "tests" / "data" / "board_stubs"
STUBS = ROOT / "build" / "board_stubs"
FIRMWARE = ROOT / "firmware_sim"
ASKED = ("attr-defined", "call-arg", "call-overload", "arg-type", "import-not-found", "name-defined", "operator")
CONFIG = """[mypy]
python_version = 3.11
check_untyped_defs = true
disable_error_code = no-redef
[mypy-firmware_sim.*]
ignore_missing_imports = true
"""
PROBE = """import machine, network
machine.Pin(1, machine.Pin.UPSIDE_DOWN)
machine.WDT(timeouts=5)
network.WLAN(network.STA_IF).connected()
"""
"""Three calls that no board knows: a check that lets them pass checks nothing."""
ACCEPTED = {
    ("link_mqtt.py", '"SSLContext" has no attribute "verify_mode"'): "its documentation has it",
    ("hal_board.py", '"ADC" has no attribute "atten"'): "asked only of a board that has ATTN_11DB",
    (
        "hal_board.py",
        'Unexpected keyword argument "timeout" for overloaded function "I2C"',
    ): "documented; new in the stubs",
    (
        "hal_board.py",
        'No overload variant of "I2C" matches argument types "Any", "Any", "Any", "int", "int"',
    ): "the same, said twice",
}
"""What is looked at and lived with: (file, message) -> why the stubs are wrong."""
_LINE = re.compile(r"(?P<file>[^:\n]+):(?P<line>\d+): error: (?P<message>.*?)  \[(?P<code>[\w-]+)\]")


def faults(said: str) -> tuple[list[str], int]:
    """What mypy has against the node's own files, and how many of the probe's calls it has found.

    What it has against the stubs themselves, or says of values whose type it had to guess, is passed over.
    """
    found, n_probed = [], 0
    for each in _LINE.finditer(said):
        name, message = each["file"], each["message"]
        if name == "probe.py":
            n_probed += 1
        elif "/" not in name and each["code"] in ASKED and (name, message) not in ACCEPTED:
            found.append(f"{name}:{each['line']}: {message}")
    return found, n_probed


def stubs_of(lock: Path) -> Path | None:
    """The folder with the stubs of a lock file; None when they cannot be had."""
    folder = STUBS / lock.stem
    mark = folder / "lock.txt"
    if mark.exists() and mark.read_bytes() == lock.read_bytes():
        return folder
    shutil.rmtree(folder, ignore_errors=True)
    python = sys.executable
    if not installed(python, python, "--no-deps", "--require-hashes", "--target", folder, "-r", lock, folder=ROOT):
        return None
    shutil.copy(lock, mark)
    return folder


def said_of(stubs: Path) -> str:
    """What mypy says of the files as they lie on a board, with a board's stubs as its library."""
    with tempfile.TemporaryDirectory() as folder:
        flash = Path(folder)
        for path in (*(FIRMWARE / "node").glob("*.py"), FIRMWARE / "boards" / "hal_board.py"):
            if path.name != "__init__.py":
                shutil.copy(path, flash)
        (flash / "probe.py").write_text(PROBE)
        (flash / "mypy.ini").write_text(CONFIG)
        command = [sys.executable, "-m", "mypy", "--config-file", "mypy.ini", "--custom-typeshed-dir", stubs]
        done = subprocess.run(
            [
                *command,
                "--cache-dir",
                stubs / ".mypy_cache",
                "--no-pretty",
                *sorted(path.name for path in flash.glob("*.py")),
            ],
            cwd=flash,
            env={**os.environ, "MYPYPATH": str(stubs)},
            capture_output=True,
            text=True,
            check=False,
        )
        return done.stdout + done.stderr


def main() -> int:
    """Check against each set of stubs; 1 when a board does not know what is asked of it."""
    status = 0
    for lock in sorted(LOCKS.glob("*.txt")):
        stubs = stubs_of(lock)
        if stubs is None:
            print(f"types on {lock.stem}: not possible here: the stubs cannot be installed")
            status |= int(os.environ.get("CI") == "true")
            continue
        found, n_probed = faults(said_of(stubs))
        if n_probed < len(PROBE.splitlines()) - 1:
            found.append(f"only {n_probed} of the wrong calls that it was shown were found: it checks nothing")
        print(f"types on {lock.stem}: {len(found)} faults")
        for line in found:
            print(f"  {line}")
        status |= int(bool(found))
    return status


if __name__ == "__main__":
    sys.exit(main())
