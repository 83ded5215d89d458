"""The processes of a demo: started one by one, watched, and ended together; and what they need of the machine."""

import os
import signal
import socket
import subprocess
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from monitor.clock import Clock, Pace, wall_clock
from monitor.errors import ConfigError, MonitorError
from monitor.network import DASHBOARD_PORT
from monitor.settings.data_dir import DATABASE_NAME, default_data_dir
from monitor.store.pace import pace_of
from monitor.store.store import Store
from monitor.translatable import Number

HOST = "127.0.0.1"
READY_WITHIN_S = 60.0  # judgement: a slow machine's first start of a screen
END_WITHIN_S = 8.0  # judgement: after that a process is ended by force
LOG_TAIL_LINES = 15


class DemoError(MonitorError):
    """A process of the demo did not start, or ended before its time."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def dashboard_port(wanted: int | None) -> int:
    if wanted is None:
        return DASHBOARD_PORT if _is_free(DASHBOARD_PORT) else free_port()
    if not _is_free(wanted):
        raise ConfigError(
            "--port {wanted}: another program listens there; name another, or leave it out", wanted=wanted
        )
    return wanted


@dataclass(slots=True)
class _Child:
    name: str
    process: "subprocess.Popen[bytes]"
    log: Path


@dataclass(slots=True)
class Household:
    """The processes of a demo: started one by one, watched, and ended together, the last started first."""

    folder: Path
    clock: Clock
    children: list[_Child] = field(default_factory=list)

    def start(self, name: str, command: Sequence[str], *, cwd: Path | None = None, **environ: str) -> None:
        """Start one; all it says goes to ``logs/NAME.log``."""
        log = self.folder / "logs" / f"{name}.log"
        log.parent.mkdir(exist_ok=True)
        with log.open("wb") as out:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                cwd=cwd,
                env={**os.environ, "PYTHONUNBUFFERED": "1", **environ},
                start_new_session=True,  # Ctrl-C reaches this process alone, which then ends them in order
            )
        self.children.append(_Child(name, process, log))

    def run(self, name: str, command: Sequence[str]) -> None:
        """Run one to its end."""
        self.start(name, command)
        child = self.children[-1]
        self.until(lambda: child.process.poll() is not None, f"{name} ends", may_end=True)
        self.children.remove(child)
        if child.process.returncode != 0:
            raise self._died(child)

    def check(self) -> None:
        """Raise when one has ended by itself."""
        for child in self.children:
            if child.process.poll() is not None:
                raise self._died(child)

    def until(self, condition: Callable[[], bool], what: str, *, may_end: bool = False) -> None:
        """Wait for a condition, as long as all are alive."""
        end_s = self.clock.real_s() + READY_WITHIN_S
        while not condition():
            if not may_end:
                self.check()
            if self.clock.real_s() > end_s:
                raise DemoError(
                    "waited {ready_within_s} s in vain until {what}; see the logs in {folder}/logs",
                    ready_within_s=Number(READY_WITHIN_S, "g"),
                    what=what,
                    folder=self.folder,
                )
            self.clock.wait(0.05)

    def end(self) -> None:
        """End all that still run: politely, then by force."""
        for child in reversed(self.children):  # one after the other: nobody loses a peer before its own end
            child.process.terminate()
            try:
                child.process.wait(END_WITHIN_S)
            except subprocess.TimeoutExpired:
                child.process.kill()
                child.process.wait()
        self.children.clear()

    @staticmethod
    def _died(child: _Child) -> DemoError:
        lines = child.log.read_text(encoding="utf-8", errors="replace").splitlines()[-LOG_TAIL_LINES:]
        tail = "\n".join(f"    {line}" for line in lines)
        return DemoError(
            "{name} ended with status {returncode}; the end of {log}:\n{tail}",
            name=child.name,
            returncode=child.process.returncode,
            log=child.log,
            tail=tail,
        )


@contextmanager
def household_of(folder: Path, clock: Clock) -> Iterator[Household]:
    household = Household(folder, clock)
    try:
        yield household
    finally:
        kept = {number: signal.signal(number, signal.SIG_IGN) for number in (signal.SIGINT, signal.SIGTERM)}
        household.end()  # a second Ctrl-C must not leave half of them running
        for number, handler in kept.items():
            signal.signal(number, handler)


def new_folder(wanted: Path | None) -> Path:
    folder = wanted or default_data_dir(os.environ) / f"demo-{wall_clock():%Y%m%d-%H%M%S}"
    if (folder / DATABASE_NAME).exists():
        raise ConfigError(
            "--data-dir {folder}: holds batches already; name an empty directory for a demo", folder=folder
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise ConfigError(
            "--data-dir {folder}: cannot be made ({why}); name another directory", folder=folder, why=err.strerror
        ) from err
    return folder.resolve()


def answers(port: int) -> bool:
    try:
        socket.create_connection((HOST, port), 1.0).close()
    except OSError:
        return False
    return True


def is_healthy(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://{HOST}:{port}/_stcore/health", timeout=2.0) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def stamp(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


def has_pace(database: Path, pace: Pace) -> bool:
    with Store(database) as store:
        return pace_of(store) == pace
