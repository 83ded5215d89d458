"""The n-th write, sync, truncation or rename of a process made to fail, or all noted: the shim in C, and its plan."""

import mmap
import os
import shutil
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

SOURCE = Path(__file__).with_name("shim.c")
WRITE, SYNC, TRUNCATE, RENAME, UNLINK = 1, 2, 4, 8, 16
FOR_EVER = -1
_HEAD = struct.Struct("=iiqqq")
_FIELDS = {name: 4 * place for place, name in enumerate(("armed_calls", "times", "error", "kinds", "seen", "failed"))}


def compiler() -> str | None:
    """A C compiler that makes what the Linux loader can put before a process's own functions, or None."""
    return shutil.which("cc") if sys.platform == "linux" else None


class Shim:
    """The compiled shim, and the plan that the test and the process under it share."""

    def __init__(self, folder: Path, word: str) -> None:
        binary = compiler() or pytest.fail("no C compiler (Debian: apt-get install gcc libc6-dev)")
        self._library = folder / "shim.so"
        self._plan = folder / "plan"
        self._plan.write_bytes(bytes(4 * len(_FIELDS)))
        self._word = word
        subprocess.run([binary, "-shared", "-fPIC", "-O2", "-o", self._library, SOURCE, "-ldl"], check=True)
        self.plan = Plan(self._plan)

    @property
    def environ(self) -> dict[str, str]:
        """What puts a process under the shim."""
        return {"LD_PRELOAD": str(self._library), "FAULT_PLAN": str(self._plan), "FAULT_WORD": self._word}

    def noting(self, journal: Path) -> dict[str, str]:
        """The same, and all that the process does to its files is noted there, for :func:`noted`."""
        return {**self.environ, "FAULT_JOURNAL": str(journal)}


class Plan:
    """Which calls fail, mapped into both processes."""

    def __init__(self, path: Path) -> None:
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), 4 * len(_FIELDS))

    def _put(self, **values: int) -> None:
        for name, value in values.items():
            struct.pack_into("i", self._map, _FIELDS[name], value)

    def _get(self, name: str) -> int:
        return int(struct.unpack_from("i", self._map, _FIELDS[name])[0])

    def arm(self, nth: int, error: int, *, times: int = 1, kinds: int = WRITE | SYNC | TRUNCATE | RENAME) -> None:
        """From now on the n-th call of these kinds fails, and the next ones too when ``times`` is more than 1."""
        self._put(armed_calls=0, seen=0, failed=0, error=error, times=times, kinds=kinds)
        self._put(armed_calls=nth)

    def disarm(self) -> None:
        """No call fails any more."""
        self._put(armed_calls=0)

    @property
    def seen(self) -> int:
        """Calls of these kinds since the plan was armed."""
        return self._get("seen")

    @property
    def failed(self) -> int:
        """Calls that were made to fail since then."""
        return self._get("failed")


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that was done to a file: its kind, its path, its inode; where, and with which bytes."""

    kind: int
    path: Path
    inode: int
    at: int
    data: bytes


def noted(journal: Path) -> list[Deed]:
    """What a process under :meth:`Shim.noting` did, in its order."""
    whole, place, found = journal.read_bytes(), 0, []
    while place < len(whole):
        kind, path_length, inode, at, n = _HEAD.unpack_from(whole, place)
        place += _HEAD.size
        path, data = whole[place : place + path_length], whole[place + path_length : place + path_length + n]
        place += path_length + n
        found.append(Deed(kind, Path(path.decode()), inode, at, data))
    return found


def plan_of_this_process() -> Plan:
    """The plan of a process that runs under the shim."""
    return Plan(Path(os.environ["FAULT_PLAN"]))
