"""What this program starts is its own, whatever lies in the folder that it is started from."""

import ast
import importlib
import subprocess
from pathlib import Path

import pytest
from programs import HOSTILE, environment, fill_with_hostile_modules

from firmware_sim.boards.unix_process import lay_out
from monitor.backtest.simulated import simulated
from monitor.child import child_command

ROOT = Path(__file__).resolve().parents[2]
SOURCES = [path for room in ("monitor", "dashboard", "firmware_sim") for path in (ROOT / room).rglob("*.py")]
STANDS_ALONE = "firmware_sim/boards/unix_process.py"  # it may import nothing of monitor


def modules_started() -> set[str]:
    """Every module that some code starts as a process of its own."""
    found = set()
    texts = {path: path.read_text(encoding="utf-8") for path in SOURCES}
    for path, text in texts.items():
        for node in ast.walk(ast.parse(text)) if "child_command" in text else ():
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "child_command":
                of = ".".join(path.relative_to(ROOT).with_suffix("").parts)
                found.add(eval(ast.unparse(node.args[0]), vars(importlib.import_module(of))))
    return found


def test_only_one_place_makes_the_command_of_a_child() -> None:
    makers = [str(path.relative_to(ROOT)) for path in SOURCES if "sys.executable" in path.read_text(encoding="utf-8")]
    assert sorted(makers) == [STANDS_ALONE, "monitor/child.py"]
    assert len(modules_started()) > 3


@pytest.mark.parametrize("module", sorted(modules_started()))
def test_a_child_is_not_taken_from_the_working_directory(module: str, tmp_path: Path) -> None:
    fill_with_hostile_modules(tmp_path)
    done = subprocess.run(
        child_command(module, "--help"), cwd=tmp_path, env=environment(), capture_output=True, text=True, timeout=120
    )
    assert done.stdout + done.stderr
    assert HOSTILE not in done.stdout + done.stderr


def test_simulated_doughs_are_made_by_the_installed_simulator(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill_with_hostile_modules(tmp_path)
    monkeypatch.chdir(tmp_path)
    (folder,) = simulated(("wild",), range(1), Path("kept"), 1, lambda _done, _all: None)
    assert (tmp_path / folder / "READINGS.csv").is_file()


def test_firmware_is_compiled_by_the_installed_compiler(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill_with_hostile_modules(tmp_path)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "board").mkdir()
    lay_out(tmp_path / "board")
    assert (tmp_path / "board" / "hal_unix.mpy").is_file()
