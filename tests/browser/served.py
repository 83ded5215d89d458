"""The dashboard as a process, and a page of a real browser that notes whatever goes wrong on it."""

import os
import subprocess
import urllib.request
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, ClassVar, Self

import pytest
from harness import PATIENCE_S, free_port, wait_until
from imported import IMPORTED, serve

from monitor.child import child_command

if TYPE_CHECKING:
    from playwright.sync_api import Page

STRANGER = "stranger.example"  # a name that somebody has made to lead to this machine
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # Asked about each connection (``ignore_https_errors``), a busy browser gives files up with ERR_TOO_MANY_RETRIES.
    # What a certificate says is tested without a browser.
    "--ignore-certificate-errors",
    f"--host-resolver-rules=MAP {STRANGER} 127.0.0.1",
]
SENDS_SELDOM = """
import streamlit.runtime.runtime
streamlit.runtime.runtime.MESSAGE_FLUSH_INTERVAL_SECS = 3.0
"""
"""What a page is made of is sent so seldom that parts of it are drawn again meanwhile."""
SERVES = """
import runpy
runpy.run_module("dashboard", run_name="__main__", alter_sys=True)
"""


class Served:
    """The dashboard as a process on a free port, started from a folder that is not the project's.

    By the command that bakers use, and with the data directory that the environment names, when there is a ``named``;
    when there is a ``before``, what it says is run in it first. Ports are used again: a browser keeps by them the
    scripts that it has read.
    """

    _ports: ClassVar[set[int]] = set()  # that nobody serves on now; a set, for one may be served again after its end

    def __init__(self, folder: Path, named: str | None = None, *, before: str = "") -> None:
        self.folder = folder
        self.named = named
        self.before = before
        self.port = self._ports.pop() if self._ports else free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.log = folder / "dashboard.log"
        self._process: subprocess.Popen[bytes] | BaseProcess | None = None

    def __enter__(self) -> Self:
        arguments = ["--port", str(self.port), "--data-dir", str(self.folder)]
        environ = {
            name: value for name, value in os.environ.items() if not name.startswith(("PROOFING_", "STREAMLIT_"))
        }
        self._ports.discard(self.port)
        self.log.write_bytes(b"")
        environ |= {"TZ": "UTC", "HOME": str(self.folder)}
        if self.before:
            self._start([*child_command("dashboard")[:2], "-c", self.before + SERVES, *arguments], environ)
        elif self.named is not None:
            command = child_command("monitor.cli", "dashboard", "--port", str(self.port))
            self._start(command, environ | {"PROOFING_DATA_DIR": self.named})
        else:
            self._process = IMPORTED.Process(target=serve, args=(arguments, self.folder, environ, self.log))
            self._process.start()
        wait_until(self._answers, f"the dashboard answers (its log: {self.log})")
        return self

    def _start(self, command: list[str], environ: dict[str, str]) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(command, cwd=self.folder, env=environ, stdout=log, stderr=log)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        assert self.stopped() is not None, f"the dashboard does not end when told to (its log: {self.log})"
        self._ports.add(self.port)

    @property
    def pid(self) -> int:
        """Its number among the machine's processes."""
        assert self._process is not None
        assert self._process.pid is not None
        return self._process.pid

    def stopped(self) -> int | None:
        """Its exit status, after it was told to end."""
        assert self._process is not None
        self._process.terminate()
        if isinstance(self._process, subprocess.Popen):
            return self._process.wait(PATIENCE_S)
        self._process.join(PATIENCE_S)
        return self._process.exitcode

    def _answers(self) -> bool:
        assert self._process is not None
        ended = self._process.poll() if isinstance(self._process, subprocess.Popen) else self._process.exitcode
        if ended is not None:
            pytest.fail(f"the dashboard ended with {ended}: {self.log.read_text()}")
        try:
            with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=2.0) as answer:
                return bool(answer.status == 200)
        except OSError:
            return False


@dataclass
class Watched:
    """A page, with what went wrong on it."""

    page: "Page"
    url: str
    wrong: list[str] = field(default_factory=list)

    def open(self, path: str, awaited: str) -> "Page":
        """Go to a screen and wait until something of it is there."""
        self.page.goto(self.url + path)
        self.page.locator(awaited).first.wait_for()
        return self.page

    def listen(self) -> None:
        """Note errors of the console and of scripts, dialogs, and requests to anywhere else."""
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.wrong.append(f"script error: {error}"))
        self.page.on("dialog", lambda dialog: (self.wrong.append(f"dialog: {dialog.message}"), dialog.dismiss()))
        self.page.on("request", self._request)
        self.page.on("websocket", lambda socket: self._request(socket, scheme="ws"))

    def forget(self) -> None:
        """Leave nothing to the next page but the files that the browser has read."""
        kept = {"origin": self.url, "storageTypes": "cookies,local_storage,indexeddb,service_workers"}
        self.page.context.new_cdp_session(self.page).send("Storage.clearDataForOrigin", kept)
        self.page.close()

    def _console(self, message: object) -> None:
        kind, text, place = (getattr(message, name) for name in ("type", "text", "location"))
        if kind == "error":
            self.wrong.append(f"console: {text} ({place.get('url')})")

    def _request(self, request: object, scheme: str = "http") -> None:
        url = str(request.url)  # type: ignore[attr-defined]
        if not url.startswith((self.url.replace("http", scheme), "data:", "blob:")):
            self.wrong.append(f"request elsewhere: {url}")
