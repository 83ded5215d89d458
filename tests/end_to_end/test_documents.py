"""Whoever copies the blocks of README and guide, from top to bottom on a fresh machine, sees each of them work."""

import os
import re
import shutil
import subprocess
import sys
import threading
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from documents import DOCUMENTS, GUIDE, ROOT, Block, Desk, blocks
from harness import Mosquitto, PtyPair, free_port
from programs import environment, good_frame
from test_node_board import STAND_IN

from monitor.recipe.batch import batch_from_toml
from monitor.recipe.recipe_file import recipe_from_toml
from monitor.settings.config import load_config

ORDER = ("first-dough", "sensors", "calls", "plan", "afterwards", "access", "shops", "programs", "data")
BUILDING = "firmware_sim/README.md"
INSTALL = "pip install --require-hashes -r requirements.lock"
URN = "urn:dev:mac:020000fffe5e0031"
READY = {  # what a command that runs until it is stopped says when it is at work
    "proofing-monitor demo": "dashboard: http",
    "proofing-monitor collect": "collecting data_dir",
    "proofing-monitor dashboard": "You can now view",
    "proofing-monitor node simulate": "take them in with",
    "proofing-monitor node readings": "mm",
}
NOT_RUN = {  # every line of a block that is not run, and why
    "python3 -m tests": "this very run",
    "proofing-monitor node boards": "a machine of the tests has no port that could be a board",
    "proofing-monitor node setup tub-3b": "the board of the tests has one tub; test_several_tubs.py has four",
    "proofing-monitor node discover": "no stranger speaks at a broker of the tests; test_foreign_devices.py runs it",
    "proofing-monitor alerts test": "it asks the running collector; test_collect.py runs it",
    "proofing-monitor replica run": "it runs until it is stopped, and wants a place to ship to",
    "proofing-monitor backup restore sftp": "there is no such server",
}


def test_every_page_of_the_guide_has_its_place():
    assert {path.stem for path in GUIDE} == {*ORDER, "README"}


def test_every_document_keeps_to_its_width() -> None:
    names = subprocess.run(["git", "ls-files", "*.md"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    wide = [
        f"{name}: {line[:60]}"
        for name in names.splitlines()
        for line in re.sub(r"(?ms)^```.*?^```$", "", (ROOT / name).read_text(encoding="utf-8")).splitlines()
        if len(line) > 120 and not line.startswith(("|", "!["))
    ]
    assert wide == []


def snippets() -> list[Block]:
    return [block for path in DOCUMENTS for block in blocks(path) if block.language == "toml" and not block.file]


@pytest.mark.parametrize("block", snippets(), ids=lambda block: f"{block.document}:{block.text.splitlines()[0]}")
def test_a_piece_of_settings_is_understood(block, tmp_path):
    table = tomllib.loads(block.text)
    if "nodes" in table:
        whole = next(each for path in GUIDE for each in blocks(path) if each.file == "loaf.toml").text
        batch_from_toml(
            tomllib.loads(whole + block.text) | {"started": datetime(2026, 3, 2, 5, 40, tzinfo=UTC)}, "guide"
        )
        return
    if "stage" in table:
        whole = next(tomllib.loads(each.text) for path in GUIDE for each in blocks(path) if each.file == "alder.toml")
        recipe_from_toml({**whole, **table, "stage": [whole["stage"][0], *table["stage"]]}, "guide")
        return
    name = "secrets.toml" if {"notify_urls", "recipients", "api_token", "calendar_key"} & set(table) else "config.toml"
    (tmp_path / name).write_text(block.text)
    (tmp_path / name).chmod(0o600)
    load_config(tmp_path, {"PROOFING_MQTT_PASSWORD": "drawn", "PROOFING_INFLUX_TOKEN": "drawn"})


class _Node:
    """A board on the cable: a pack each second, for as long as a test lasts."""

    def __init__(self, pair: PtyPair) -> None:
        self._pair = pair
        self._is_over = threading.Event()
        self._thread = threading.Thread(target=self._send)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *_: object) -> None:
        self._is_over.set()
        self._thread.join()

    def _send(self) -> None:
        os.set_blocking(self._pair.node_fd, False)
        seq = 0
        while not self._is_over.wait(0.2):
            seq += 1
            try:
                os.write(self._pair.node_fd, good_frame(URN, seq) + b"\n")
                os.read(self._pair.node_fd, 4096)
            except BlockingIOError:
                pass


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """What is under version control here, in a folder of its own."""
    folder = tmp_path / "clone"
    names = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout.decode()
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    return folder


@pytest.fixture
def board(tmp_path: Path) -> Path:
    """The folder that stands for a board's files."""
    folder = tmp_path / "stand-in"
    (folder / "board").mkdir(parents=True)
    (folder / "mpremote.py").write_text(STAND_IN)
    return folder


def test_each_block_works_from_top_to_bottom(
    clone: Path, board: Path, pty_pair: PtyPair, mosquitto: Mosquitto, tmp_path: Path
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    ports = [free_port() for _ in range(2)]
    in_place_of = {
        "/dev/ttyUSB0": str(pty_pair.path),  # a board of the tests is there
        "node configure tub-3": f"node configure tub-3 --name {URN}",  # so is the one that it speaks as
        "node copy tub-3": "node copy tub-3 --port /dev/ttyBoard",
        "node setup tub-3": f"node setup tub-3 --name {URN} --port {pty_pair.path} --probe none",
        "proofing-monitor demo": f"proofing-monitor demo --no-browser --port {ports[0]}",
        "proofing-monitor dashboard": f"proofing-monitor dashboard --port {ports[1]}",
        "mqtt://127.0.0.1:1883": mosquitto.url,
        "tub-1": str(tmp_path / "tub-1"),
        "tub-2": str(tmp_path / "tub-2"),
        ". .venv/bin/activate": "export PATH=$PWD/.venv/bin:$PATH",
        # By uv, which has the files from when these tests were set up; tests/core_alone.py does the like by pip.
        INSTALL: f"{Path(sys.executable).with_name('uv')} {INSTALL} || {INSTALL}",
    }
    environ = {**environment(), "HOME": str(home), "PYTHONPATH": str(board), "STAND_IN": str(board / "board")}
    environ["UV_CACHE_DIR"] = os.environ.get("UV_CACHE_DIR", str(Path.home() / ".cache" / "uv"))
    environ = {name: value for name, value in environ.items() if name not in ("VIRTUAL_ENV", "XDG_DATA_HOME")}
    python = Path(shutil.which("python3") or "").parent
    environ["PROOFING_WIFI_PASSWORD"] = "as typed"  # which a person is asked for
    environ["PIP_NO_COMPILE"] = "1"  # what is not run need not be compiled
    environ["PATH"] = f"{clone / '.venv' / 'bin'}:/usr/local/bin:/usr/bin:/bin:{python}"
    data_dir = home / ".local" / "share" / "proofing-monitor"
    desk = Desk(clone, environ, READY, in_place_of, set(NOT_RUN))
    pages = [ROOT / "README.md", *(ROOT / "dashboard" / "guide" / f"{name}.md" for name in ORDER), ROOT / BUILDING]
    with _Node(pty_pair):
        try:
            for block in (each for page in pages for each in blocks(page)):
                if block.file:
                    folder = data_dir if block.file == "kitchen.toml" else clone  # where the text says it stands
                    (folder / block.file).write_text(block.text)
                elif block.language == "sh":
                    desk.paste(block)
        finally:
            desk.leave()
