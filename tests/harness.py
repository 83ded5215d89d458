"""Stand-ins that several tests use: a settable clock, a pseudo-terminal as serial line, a real broker."""

import contextlib
import os
import queue
import shutil
import socket
import subprocess
import sys
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeVar

import pytest

from monitor.sources.intake import Fault, Frame, Item, Status

START = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)


class SetClock:
    """A dough clock that stands where a test puts it; real seconds stay real, so that time-outs work."""

    def __init__(self, now: datetime = START) -> None:
        self._now = now

    def now(self) -> datetime:
        return self._now

    def real_s(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)

    def put(self, now: datetime) -> None:
        """Stand at another moment."""
        self._now = now

    def advance(self, **by: float) -> datetime:
        """Go on by ``minutes=5`` or the like; returns the new moment."""
        self._now += timedelta(**by)
        return self._now


_HELD_PORTS: list[socket.socket] = []  # until this process ends
PATIENCE_S = 240.0  # a deadline is there to end a test that hangs, not to judge a slow machine


def wait_until(condition: Callable[[], bool], what: str, deadline_s: float = PATIENCE_S) -> None:
    """Poll until a condition holds; fail, saying what was awaited, when it does not come true."""
    end_s = time.monotonic() + deadline_s
    while not condition():
        if time.monotonic() > end_s:
            pytest.fail(f"waited {deadline_s:g} s in vain: {what}")
        time.sleep(0.01)


@dataclass
class PtyPair:
    """A serial line without hardware: a test holds the node's end, ``path`` is the collector's port."""

    node_fd: int
    path: Path
    port_fd: int

    def send(self, data: bytes) -> None:
        """Write as the node does, all of it."""
        while data:
            data = data[os.write(self.node_fd, data) :]

    def receive(self, wanted: bytes, deadline_s: float = PATIENCE_S) -> bytes:
        """Read as the node does until ``wanted`` has come; returns all that came."""
        got = b""
        os.set_blocking(self.node_fd, False)
        end_s = time.monotonic() + deadline_s
        try:
            while wanted not in got:
                if time.monotonic() > end_s:
                    pytest.fail(f"waited {deadline_s:g} s in vain for {wanted!r}, got {got!r}")
                try:
                    got += os.read(self.node_fd, 4096)
                except BlockingIOError:
                    time.sleep(0.005)
        finally:
            os.set_blocking(self.node_fd, True)
        return got

    def unplug(self) -> None:
        """Close both ends, as when the cable is pulled."""
        for fd in (self.node_fd, self.port_fd):
            if fd >= 0:
                os.close(fd)
        self.node_fd = self.port_fd = -1

    def plug_in(self) -> None:
        """A new line at the same path."""
        self.node_fd, self.port_fd = os.openpty()
        tty.setraw(self.port_fd)
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(os.ttyname(self.port_fd))


def free_port() -> int:
    """A TCP port of the loopback that the system gives to nobody else while these tests run.

    It is bound and never listened at. Linux lets a server listen at it all the same, for both ask for ``SO_REUSEADDR``,
    and gives it to no other socket that asks for any port; a connection is refused while no server listens. Elsewhere
    the bound socket would keep the server out, so there the port is only free when it is drawn.
    """
    held = socket.socket()
    held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    held.bind(("127.0.0.1", 0))
    port = int(held.getsockname()[1])
    if sys.platform == "linux":
        _HELD_PORTS.append(held)
    else:
        held.close()
    return port


class Mosquitto:
    """A real broker on a free loopback port, to be stopped and started again; no passwords."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.url = f"mqtt://127.0.0.1:{self.port}"
        self._log = folder / "mosquitto.log"
        self._config = folder / "mosquitto.conf"
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nuser root\npersistence true\n"
            f"persistence_location {folder}/\nmax_queued_messages 100000\n"
        )
        self._process: subprocess.Popen[bytes] | None = None

    def demand_passwords(self) -> None:
        """From the next start on, let in nobody (no password is known to it)."""
        self._config.write_text(self._config.read_text().replace("allow_anonymous true", "allow_anonymous false"))

    def start(self) -> None:
        """Start it and wait until it accepts connections."""
        binary = mosquitto_binary()
        if binary is None:
            pytest.fail("mosquitto is not installed, and with CI=true every tool must be there")
        with self._log.open("ab") as log:
            self._process = subprocess.Popen([binary, "-c", str(self._config)], stdout=log, stderr=log)
        wait_until(self._answers, f"mosquitto accepts connections (its log: {self._log})")

    def stop(self) -> None:
        """Ask it to end (it keeps its queues on the disk) and wait until it has."""
        if self._process is not None:
            wait_until(self._has_ended, f"mosquitto ends (its log: {self._log})")
            self._process = None

    def wipe(self) -> None:
        """End it as a power cut does, and take away all that it has kept."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(PATIENCE_S)
        self._process = None
        (self._log.parent / "mosquitto.db").unlink(missing_ok=True)

    def _has_ended(self) -> bool:
        """Asked each second: a signal that comes while a bridge is still being opened is forgotten by mosquitto."""
        assert self._process is not None
        self._process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        return self._process.returncode is not None

    def _answers(self) -> bool:
        assert self._process is not None
        if self._process.poll() is not None:
            pytest.fail(f"mosquitto ended with {self._process.returncode}: {self._log.read_text()}")
        try:
            socket.create_connection(("127.0.0.1", self.port), 1.0).close()
        except OSError:
            return False
        return True


def chromium_binary() -> str | None:
    """Where a browser is that the tests of the screens can drive, or None; the shell costs half of a whole one."""
    programs = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
    bundles = ("Chromium.app/Contents/MacOS/Chromium", "Google Chrome.app/Contents/MacOS/Google Chrome")
    found = [shutil.which(program) for program in programs]
    found += [shutil.which(bundle, path="/Applications") for bundle in bundles]
    return next(filter(None, found), None)


def mosquitto_binary() -> str | None:
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/opt/homebrew/sbin")


MICROBIT_FIRMWARE = Path("/usr/share/firmware-microbit-micropython/firmware.hex")  # where Debian's package puts it


def qemu_binary() -> str | None:
    """The emulator of a small board, when the MicroPython that it runs is there too."""
    return shutil.which("qemu-system-arm") if MICROBIT_FIRMWARE.exists() else None


class EmulatedBoard:
    """A Cortex-M0 board with a MicroPython of 2017 and 9 kB of heap, on a line of its own. No files, no sensors."""

    def __init__(self, firmware: Path = MICROBIT_FIRMWARE) -> None:
        self.url = f"socket://127.0.0.1:{free_port()}"
        self._firmware = firmware
        self._process: subprocess.Popen[bytes] | None = None

    def plug_in(self) -> None:
        """Give it its supply and wait until its line answers, and its prompt where it has one: that comes later."""
        binary = qemu_binary() or pytest.fail("qemu-system-arm or its MicroPython firmware is not installed")
        address = self.url.removeprefix("socket://")
        command = [binary, "-M", "microbit", "-display", "none", "-monitor", "none"]
        command += ["-device", f"loader,file={self._firmware}", "-serial", f"tcp:{address},server=on,wait=off"]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        host, _, port = address.partition(":")

        def answers() -> bool:
            said = b""
            with contextlib.suppress(OSError), socket.create_connection((host, int(port)), 1.0) as line:
                if self._firmware != MICROBIT_FIRMWARE:
                    return True
                line.sendall(b"\r")
                while not said.endswith(b">>> ") and (more := line.recv(256)):
                    said += more
            return said.endswith(b">>> ")

        wait_until(answers, "the emulated board answers")

    def pull(self) -> None:
        """Take its supply away."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(PATIENCE_S)
            self._process = None


def nginx_binary() -> str | None:
    return shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin:/usr/local/sbin:/opt/homebrew/bin")


def promtool_binary() -> str | None:
    """What checks Prometheus' files: of the system, or taken out of its package by ``python3 -m tests``."""
    return shutil.which("promtool") or shutil.which("promtool", path=str(Path(sys.executable).parent))


class SmallDisk:
    """A file system of 3 MB, in memory, that can be filled to the last byte; mounting it takes root on Linux."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "small disk"
        self.log = folder / "collect.log"  # beside it: what is said must not need its room
        self._ballast = self.folder / "ballast"
        self.folder.mkdir()

    @staticmethod
    def mount_binary() -> str | None:
        """The program that mounts, where this user may."""
        return shutil.which("mount") if sys.platform == "linux" and os.geteuid() == 0 else None

    def mount(self) -> None:
        """Make it."""
        binary = self.mount_binary() or pytest.fail("no file system can be mounted: not root, or not Linux")
        subprocess.run([binary, "-t", "tmpfs", "-o", "size=3m", "none", self.folder], check=True)

    def remount(self, how: str) -> None:
        """Change it: ``size=64m``; ``ro``, as the system does with a card that fails."""
        subprocess.run(["mount", "-o", f"remount,{how}", self.folder], check=True)

    def unmount(self) -> None:
        """Take it away."""
        subprocess.run(["umount", self.folder], check=True)

    def fill(self) -> None:
        """Leave no room on it."""
        with self._ballast.open("ab", buffering=0) as file, contextlib.suppress(OSError):
            while True:
                file.write(bytes(512))

    def set_writable(self, is_writable: bool) -> None:
        """Let nobody write it, or everybody again."""
        how = "remount,rw" if is_writable else "remount,ro"
        subprocess.run([self.mount_binary() or "mount", "-o", how, self.folder], check=True)

    def make_room(self) -> None:
        """Take away what filled it."""
        self._ballast.unlink()


ItemT = TypeVar("ItemT", Frame, Status, Fault)


def next_of(items: "queue.Queue[Item]", kind: type[ItemT]) -> ItemT:
    """The next item of a kind; others before it are passed over."""
    while True:
        try:
            item = items.get(timeout=PATIENCE_S)
        except queue.Empty:
            pytest.fail(f"waited {PATIENCE_S:g} s in vain for a {kind.__name__}")
        if isinstance(item, kind):
            return item


def killed_in_a_step(script: str, *arguments: str, steps: int, within_s: float) -> bool:
    """Run a script that waits for a line before each step and says one after it; kill it in the midst of a step.

    After so many whole steps, and so long after the next was begun. True when it had ended by itself before that.
    """
    command = [sys.executable, "-c", script, *arguments]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        for _ in range(steps):
            child.stdin.write(b"\n")
            if not child.stdout.readline():
                return True
        child.stdin.write(b"\n")
        time.sleep(within_s)
        child.kill()
    return False
