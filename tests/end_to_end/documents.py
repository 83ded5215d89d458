"""README and guide as blocks of text to be copied, and the terminals of somebody who copies them."""

import os
import re
import signal
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from harness import PATIENCE_S, wait_until

ROOT = Path(__file__).resolve().parents[2]
GUIDE = sorted((ROOT / "dashboard" / "guide").glob("*.md"))
DOCUMENTS = (ROOT / "README.md", *GUIDE, ROOT / "firmware_sim" / "README.md")
LEFT_RUNNING = "# leave it running"
_BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FILE = re.compile(r"# ([\w-]+\.toml)\n")


@dataclass(frozen=True)
class Block:
    """One block of a document.

    Attributes
    ----------
    language
        As the block says: ``sh``, ``toml``, or nothing.
    file
        What the block is to be saved as; empty when it does not say.
    """

    document: str
    language: str
    text: str
    file: str


def blocks(document: Path) -> list[Block]:
    """The blocks of a document, in order."""
    name = str(document.relative_to(ROOT))
    found = []
    for language, text in _BLOCK.findall(document.read_text(encoding="utf-8")):
        file = _FILE.match(text) if language == "toml" else None
        found.append(Block(name, language, text, file[1] if file else ""))
    return found


class Desk:
    """A folder and terminals in it: each block of commands is pasted into one of its own."""

    def __init__(
        self,
        folder: Path,
        environ: dict[str, str],
        ready: dict[str, str],
        in_place_of: dict[str, str],
        not_run: set[str],
    ) -> None:
        self._folder = folder
        self._environ = environ
        self._ready = ready  # of a command that runs until it is stopped: what it says or makes when it is at work
        self._in_place_of = in_place_of
        self._not_run = not_run
        self._running: list[subprocess.Popen[bytes]] = []
        self._n = 0

    def paste(self, block: Block) -> None:
        """Run the commands of a block one after the other, as a shell does; the first that fails ends it."""
        exports = ""
        for line in _commands(block.text):
            if any(line.startswith(each) for each in self._not_run):
                continue
            line = self._with_stand_ins(line)
            if line.startswith(("export ", ". ")):
                exports += f"{line}\n"
                continue
            awaited = next((words for name, words in self._ready.items() if name in line), None)
            if awaited is None:
                done = self._shell(f"set -e\n{exports}{line}")
                status = done.wait(PATIENCE_S * 4)
                assert status == 0, f"{block.document}: {line}\n{self._log(done)}"
            else:
                self._stay_at(exports, line, awaited, is_left=LEFT_RUNNING in line)

    def leave(self) -> None:
        """Close all terminals."""
        for process in self._running:
            _interrupt(process)
        self._running.clear()

    def _stay_at(self, exports: str, line: str, awaited: str, *, is_left: bool) -> None:
        command = " ".join(line.split()[:2])
        for other in [each for each in self._running if each.args[1] == command]:  # the text says to end it first
            self._running.remove(other)
            _interrupt(other)
        process = self._shell(f"{exports}exec {line}", command)
        self._running.append(process)

        def at_work() -> bool:
            if process.poll() is not None:
                pytest.fail(f"{line}: ended with {process.returncode}\n{self._log(process)}")
            return awaited in self._log(process)

        wait_until(at_work, f"{line} says {awaited!r}")
        if not is_left:
            self._running.remove(process)
            _interrupt(process)

    def _shell(self, script: str, command: str = "") -> "subprocess.Popen[bytes]":
        self._n += 1
        with (self._folder / f"terminal-{self._n}.log").open("wb") as log:
            process = subprocess.Popen(
                ["bash", "-c", script],
                cwd=self._folder,
                env=self._environ,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        process.args = (str(self._n), command)
        return process

    def _log(self, process: "subprocess.Popen[bytes]") -> str:
        return (self._folder / f"terminal-{process.args[0]}.log").read_text(errors="replace")

    def _with_stand_ins(self, line: str) -> str:
        for real, stand_in in self._in_place_of.items():
            line = line.replace(real, stand_in)
        return line


def _commands(text: str) -> Iterator[str]:
    """The lines of a block that do something."""
    for line in text.replace("\\\n", " ").splitlines():
        if line.strip() and not line.startswith("#"):
            yield line


def _interrupt(process: "subprocess.Popen[bytes]") -> None:
    """Ctrl-C, as a person presses it: the whole terminal hears it."""
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGINT)
        process.wait(PATIENCE_S)
