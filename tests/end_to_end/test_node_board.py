"""What needs a board, on an emulated one: ask, run, a live line. Copying is tried on a stand-in: this board keeps no
files, and no emulator of the boards that do could be had."""

import subprocess
import sys
from pathlib import Path

import pytest
from harness import PATIENCE_S, EmulatedBoard
from programs import environment, run_program

from monitor.node.boards import BoardError, asked, firmware_files, run_on_board

STAND_IN = """
import json, os, sys
from pathlib import Path
folder = Path(os.environ["STAND_IN"])
if os.environ.get("STAND_IN_FAILS"):
    print("could not enter raw repl", file=sys.stderr)
    sys.exit(1)
words = sys.argv[1:]
if words[3:4] == ["exec"]:
    print("board esp32 1.24.1 Generic ESP32S3 module with ESP32S3")
if words[2:4] == ["fs", "cp"]:
    for name in words[4 : words.index(":")]:
        (folder / Path(name).name).write_bytes(Path(name).read_bytes())
(folder / "said.json").write_text(json.dumps(words))
"""


def test_an_emulated_board_says_what_it_runs(emulated_board: EmulatedBoard) -> None:
    done = run_program("node", "boards", "--ask", "--port", emulated_board.url)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "MicroPython 1.9.2 on microbit" in done.stdout


def test_a_script_runs_on_an_emulated_board(emulated_board: EmulatedBoard, tmp_path: Path) -> None:
    script = tmp_path / "look.py"
    script.write_text("for n in range(3):\n    print('shot', 2000 + n)\n")
    assert run_on_board(emulated_board.url, script).split("\r\n")[:3] == ["shot 2000", "shot 2001", "shot 2002"]


def test_a_board_that_was_unplugged_is_told_so(emulated_board: EmulatedBoard) -> None:
    emulated_board.pull()
    with pytest.raises(BoardError, match="nothing else uses its port"):
        asked(emulated_board.url)


def test_a_live_line_without_the_firmware_is_explained(emulated_board: EmulatedBoard, tmp_path: Path) -> None:
    name = "urn:dev:mac:020000fffe5e0001"
    done = run_program(
        "node", "readings", name, "--port", emulated_board.url, "--wait", "2s", "--data-dir", tmp_path
    )  # fmt: skip
    assert done.returncode == 2
    assert "node copy" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.fixture
def stand_in(tmp_path: Path) -> dict[str, str]:
    """Environment in which ``mpremote`` is a program that copies into a folder instead of a board."""
    folder = tmp_path / "stand-in"
    (folder / "board").mkdir(parents=True)
    (folder / "mpremote.py").write_text(STAND_IN)
    return {"PYTHONPATH": str(folder), "STAND_IN": str(folder / "board")}


def configured(data_dir: Path, *options: str, **environ: str) -> None:
    done = run_program("node", "configure", "tub-3", "--data-dir", data_dir, *options, **environ)
    assert done.returncode == 0, done.stderr


def test_firmware_and_configuration_are_copied_and_the_board_started(
    stand_in: dict[str, str], tmp_path: Path
) -> None:  # fmt: skip
    configured(tmp_path, "--sensor-height", "300")
    done = run_program("node", "copy", "tub-3", "--port", "/dev/ttyBoard", "--data-dir", tmp_path, **stand_in)
    assert done.returncode == 0, done.stderr
    board = Path(stand_in["STAND_IN"])
    names = {path.name for path in board.iterdir()}
    assert {path.name for path in firmware_files()} | {"config.txt", "said.json"} == names
    assert {"main.py", "hal_board.py", "packet.py"} <= names
    assert "sensor_height_mm=300" in (board / "config.txt").read_text()
    assert (board / "said.json").read_text().endswith('":", "+", "reset"]')
    assert "node readings tub-3 --port /dev/ttyBoard" in done.stdout


def test_the_copied_configuration_is_read_by_the_firmwares_own_parser(
    stand_in: dict[str, str], tmp_path: Path
) -> None:  # fmt: skip
    from firmware_sim.node import settings

    environ = {"PROOFING_WIFI_PASSWORD": "not so secret = after all", "PROOFING_NODE_PASSWORD": "n0de"}
    configured(
        tmp_path, "--mqtt", "mqtts://broker.lan", "--wifi", "Backstube", "--ca", "--distance", "ultrasonic",
        "--board", "pico-w", "--period", "15s", **environ,
    )  # fmt: skip
    certificate = tmp_path / "ca.pem"
    certificate.write_text("-----BEGIN CERTIFICATE-----\nMAMCAQU=\n-----END CERTIFICATE-----\n")
    done = run_program(
        "node", "copy", "tub-3", "--port", "/dev/ttyBoard", "--ca", certificate, "--data-dir", tmp_path, **stand_in
    )
    assert done.returncode == 0, done.stderr
    board = Path(stand_in["STAND_IN"])
    assert (board / "ca.der").read_bytes() == bytes.fromhex("3003020105")
    found = settings.read(str(board / "config.txt"))
    assert found["wifi_password"] == environ["PROOFING_WIFI_PASSWORD"]
    assert found["mqtt_password"] == "n0de"
    wanted = {"link": "mqtt", "mqtt_host": "broker.lan", "mqtt_port": "8883", "mqtt_tls": "1", "mqtt_ca": "ca.der"}
    wanted |= {"distance": "ultrasonic", "board": "pico-w", "period_s": "15", "pin_trigger": "13", "pin_sda": "4"}
    assert {key: found[key] for key in wanted} == wanted
    assert "n0de" not in done.stdout + done.stderr
    assert "secret" not in done.stdout + done.stderr


def test_a_board_that_fails_is_told_with_its_last_words(stand_in: dict[str, str], tmp_path: Path) -> None:
    configured(tmp_path)
    done = run_program(
        "node", "copy", "tub-3", "--port", "/dev/ttyBoard", "--data-dir", tmp_path, STAND_IN_FAILS="1", **stand_in
    )
    assert done.returncode == 2
    assert "could not enter raw repl" in done.stderr
    assert "Traceback" not in done.stderr


def test_without_mpremote_it_says_how_to_get_it(tmp_path: Path) -> None:
    configured(tmp_path)
    hidden = (
        "import importlib.util as u, runpy, sys; find = u.find_spec; "
        "u.find_spec = lambda name, *rest: None if name == 'mpremote' else find(name, *rest); "
        f"sys.argv[1:] = ['node', 'copy', 'tub-3', '--port', 'x', '--data-dir', {str(tmp_path)!r}]; "
        "from monitor.cli import main; sys.exit(main())"
    )
    done = subprocess.run(
        [sys.executable, "-c", hidden], capture_output=True, text=True, env=environment(), timeout=PATIENCE_S
    )
    assert done.returncode == 2
    assert "pip install mpremote" in done.stderr
