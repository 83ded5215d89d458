"""Programs on a board held against those that would be copied, with real MicroPython in a folder for the board."""

import shutil
import subprocess
from pathlib import Path

import pytest

from firmware_sim.boards import unix_process
from monitor.cli import main
from monitor.node.boards import Deviation, deviations, firmware_files

pytestmark = pytest.mark.skipif(unix_process.interpreter() is None, reason="the MicroPython Unix port is not installed")


@pytest.fixture
def board(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder that is a board's flash, with what a copy puts there."""
    flash = tmp_path / "flash"
    flash.mkdir()
    for path in firmware_files():
        shutil.copy(path, flash / path.name)
    (flash / "config.txt").write_text("name=tub-3\n")
    (flash / "lib").mkdir()

    def run_there(port: str, script: Path) -> str:
        assert port == "/dev/ttyBoard"
        command = [str(unix_process.interpreter()), str(script)]
        return subprocess.run(command, cwd=flash, capture_output=True, text=True, check=True).stdout

    monkeypatch.setattr("monitor.node.boards.run_on_board", run_there)
    return flash


def test_what_was_copied_is_as_it_should_be(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert deviations("/dev/ttyBoard") == []
    assert main(["node", "verify", "--port", "/dev/ttyBoard"]) == 0
    assert capsys.readouterr().out == f"{len(firmware_files())} files are as they should be\n"


def test_a_bit_that_changed_a_file_that_is_gone_and_a_strangers_are_named(
    board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main_py = (board / "main.py").read_bytes()
    (board / "main.py").write_bytes(bytes([main_py[0] ^ 1]) + main_py[1:])
    (board / "ring.py").unlink()
    (board / "boot.py").write_text("import elsewhere\n")
    found = [("boot.py", Deviation.FOREIGN), ("main.py", Deviation.CHANGED), ("ring.py", Deviation.MISSING)]
    assert deviations("/dev/ttyBoard") == found
    assert main(["node", "verify", "--port", "/dev/ttyBoard"]) == 1
    said = capsys.readouterr().out.splitlines()
    assert [line.partition(":")[0] for line in said] == ["boot.py", "main.py", "ring.py", "next"]


def test_a_program_that_is_none_of_ours_is_told_and_fails_nothing(board: Path) -> None:
    (board / "boot.py").write_text("# as MicroPython itself puts it there\n")
    assert main(["node", "verify", "--port", "/dev/ttyBoard"]) == 0
