"""Whether all that is locked can be had ready-made wherever this is said to run: ``python -m tests.platforms``.

Nothing is installed. For each Python and each kind of machine uv looks whether every package of the lock has a wheel.
For a 32-bit Raspberry Pi, which uv does not know, pip looks: whether the core lacks what the guide says, and no more.
Where the package index cannot be reached nothing can be said, which is printed and is no failure.
"""

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
MACHINES = ("x86_64-manylinux_2_28", "aarch64-manylinux_2_28", "aarch64-apple-darwin")
SMALL = ("manylinux2014_armv7l", "manylinux_2_31_armv7l", "linux_armv7l")
GUIDE = ROOT / "dashboard" / "guide" / "data.md"
_LACKING = re.compile(r"For a 32-bit Raspberry Pi \(armv7l\) even the core lacks ready packages:\s+([^(]+?)\s+\(")


def lacking(guide: str) -> list[str]:
    """The packages that the guide says a 32-bit machine has to compile.

    >>> lacking("For a 32-bit Raspberry Pi (armv7l) even the core lacks ready packages: numpy and cffi (seen)")
    ['numpy', 'cffi']
    """
    found = _LACKING.search(guide)
    return [] if found is None else re.split(r",\s+|\s+and\s+", found[1])


def without(lock: str, names: Sequence[str]) -> str:
    """A lock file's text without some packages.

    >>> without("a==1 \\\\\\n    --hash=x\\nb==2 \\\\\\n    --hash=y\\n", ["a"])
    'b==2 \\\\\\n    --hash=y\\n'
    """
    return re.sub(rf"(?m)^(?:{'|'.join(names)})==.*\n(?: .*\n)*", "", lock) if names else lock


def _uv(python: str, machine: str) -> str:
    """What uv has against the lock there; empty when every package has a wheel."""
    command = [sys.executable, "-m", "uv", "pip", "compile", "--quiet", "--no-header", "--no-deps", "--only-binary"]
    where = [":all:", "--python-version", python, "--python-platform", machine, "requirements.lock", "-o", os.devnull]
    done = subprocess.run([*command, *where], cwd=ROOT, capture_output=True, text=True, check=False)
    return done.stderr.strip() or "refused" if done.returncode else ""


def _is_ready_for_small(requirements: str) -> bool:
    """Whether each of some packages has a wheel for a 32-bit Raspberry Pi."""
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "wanted.txt"
        wanted.write_text(requirements)
        command = [sys.executable, "-m", "pip", "install", "--quiet", "--dry-run", "--no-deps", "--ignore-installed"]
        where = [part for tag in SMALL for part in ("--platform", tag)]
        where += ["--only-binary", ":all:", "--python-version", PYTHONS[0], "--implementation", "cp"]
        done = subprocess.run([*command, *where, "--target", folder, "-r", wanted], capture_output=True, check=False)
    return done.returncode == 0


def main() -> int:
    """1 when something cannot be had where it should, or could where the guide says that it cannot."""
    faults: list[str] = []
    for python in PYTHONS:
        for machine in MACHINES:
            why = _uv(python, machine)
            if why and "no usable wheels" not in why and "unsatisfiable" not in why:
                print(f"platforms: not possible here: {why.splitlines()[-1]}")
                return 0
            faults += [f"Python {python} on {machine}: {why}"] if why else []
    core = (ROOT / "requirements-core.lock").read_text()
    lacks = lacking(GUIDE.read_text(encoding="utf-8"))
    if not lacks or not _is_ready_for_small(without(core, lacks)):
        faults.append(f"a 32-bit Raspberry Pi lacks more of the core than {', '.join(lacks)}")
    for name in lacks:
        others = [each for each in re.findall(r"(?m)^([a-z0-9-]+)==", core) if each != name]
        if _is_ready_for_small(without(core, others)):
            faults.append(f"{name} is ready-made for a 32-bit Raspberry Pi by now: the guide need not warn")
    print(
        f"platforms: {len(PYTHONS) * len(MACHINES)} resolved, armv7l looked at: {len(faults)} faults",
        *faults,
        sep="\n  ",
    )
    return int(bool(faults))


if __name__ == "__main__":
    sys.exit(main())
