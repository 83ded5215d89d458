"""Boards on this machine's serial ports, asked and filled through ``mpremote``, which runs as a process of its own."""

import hashlib
import importlib.util
import ssl
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TextIO

from serial.tools import list_ports

from monitor.child import child_command
from monitor.errors import MonitorError
from monitor.files import bounded_bytes
from monitor.node.profiles import FIRMWARE
from monitor.node.settings import NodeSettings, config_text
from monitor.sources.serial import hardware_id
from monitor.translatable import N_, Number, Translatable

ANSWER_WITHIN_S = 20.0  # judgement: a board that has just been plugged in needs some seconds
COPIED_WITHIN_S = 300.0  # judgement: a hundred kilobytes over a slow line, with a margin
CONFIG_NAME = "config.txt"
CA_NAME = "ca.der"
LARGEST_CA_BYTES = 100_000
WHO = (
    "import sys; print('board', sys.platform, '.'.join([str(n) for n in sys.implementation[1][:3]]), "
    "getattr(sys.implementation, '_machine', ''))"
)
# onewire and ds18x20 are part of MicroPython for all of these boards
_PROBES = """
import machine, onewire, ds18x20, time
line = ds18x20.DS18X20(onewire.OneWire(machine.Pin(%d)))
found = line.scan()
if found:
    line.convert_temp()
    time.sleep_ms(800)
for rom in found:
    print("probe", "".join(["%%02x" %% byte for byte in rom]), line.read_temp(rom))
"""
# What lies beside each other on a board, with its SHA-256; a line each.
HASHES = """\
import binascii, hashlib, os
for name in os.listdir():
    if os.stat(name)[0] & 0x8000:
        found = hashlib.sha256()
        with open(name, "rb") as file:
            while True:
                part = file.read(512)
                if not part:
                    break
                found.update(part)
        print("file", binascii.hexlify(found.digest()).decode(), name)
"""
RUNS = (".py", ".mpy")

NO_BOARD = Translatable("""\
no board is plugged in (no USB device of this machine is a serial port). What to do:
  1. plug the board in with a USB cable that carries data: many only charge;
  2. on Linux this user must belong to the group that owns the port: sudo usermod -a -G dialout $USER, then log in anew;
  3. a new board needs MicroPython once: follow https://micropython.org/download for its class;
  4. then run `proofing-monitor node boards --ask` again.
To practise without any board: proofing-monitor node simulate --help""")
NO_MPREMOTE = N_(
    "mpremote is not installed, and only it can speak to a board; install it into the same environment: "
    "pip install mpremote"
)


class BoardError(MonitorError):
    """A board, or the tool that speaks to it, does not do what it was asked."""


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A serial port with a device behind it.

    Attributes
    ----------
    hwid
        ``hwid:VID:PID[:SERIAL]``, which finds it again at whatever path; empty where nobody looked for it.
    """

    path: str
    hwid: str
    description: str


class Deviation(StrEnum):
    """How a file on a board is not what it would be after a copy."""

    CHANGED = "changed"
    MISSING = "missing"
    FOREIGN = "foreign"  # a program that this one does not copy


@dataclass(frozen=True, slots=True)
class Answer:
    """What a board says of itself; ``machine`` is empty where its MicroPython is too old to tell."""

    platform: str
    version: str
    machine: str

    def __str__(self) -> str:
        return f"MicroPython {self.version} on {self.machine or self.platform}"


def found_boards() -> list[FoundPort]:
    """Every serial port of this machine that could be a board, by path: those on USB, never the machine's own."""
    return [
        FoundPort(
            str(port.device),
            hardware_id(port.vid, port.pid, port.serial_number),
            str(port.description or "").replace("n/a", "").strip(),
        )
        for port in sorted(list_ports.comports(), key=lambda port: str(port.device))
        if port.vid is not None
    ]


def only_board() -> FoundPort:
    """The board that is plugged in.

    Raises
    ------
    BoardError
        When there is none, or more than one.
    """
    found = found_boards()
    if not found:
        raise BoardError(NO_BOARD)
    if len(found) > 1:
        raise BoardError(
            "several boards are plugged in; name one with --port: {found}", found=", ".join(b.path for b in found)
        )
    return found[0]


def lasting_name(port: str) -> str:
    """The name by which a port is found again: its hardware id where no other has it, else the path itself."""
    ids = {board.path: board.hwid for board in found_boards()}
    hwid = ids.get(port, "")
    return hwid if list(ids.values()).count(hwid) == 1 else port


def _mpremote(arguments: Sequence[str], within_s: float) -> str:
    """What mpremote says when all goes well.

    Raises
    ------
    BoardError
        When it is not there, takes too long, or fails: with its last words.
    """
    if importlib.util.find_spec("mpremote") is None:
        raise BoardError(NO_MPREMOTE)
    command = child_command("mpremote", *arguments)
    try:
        done = subprocess.run(command, capture_output=True, stdin=subprocess.DEVNULL, timeout=within_s, check=False)
    except subprocess.TimeoutExpired:
        raise BoardError(
            "the board did not answer within {within_s} s; press its reset button, close whatever "
            "else uses its port (a collector, a terminal), and try again",
            within_s=Number(within_s, ".0f"),
        ) from None
    except OSError as err:
        raise BoardError(
            "mpremote cannot be started ({why}); {no_mpremote}", why=err.strerror, no_mpremote=NO_MPREMOTE
        ) from err
    output = done.stdout.decode("utf-8", "replace")
    if done.returncode:
        lines = [
            line.strip() for line in (output + done.stderr.decode("utf-8", "replace")).splitlines() if line.strip()
        ]
        raise BoardError(
            "the board could not do it: {lines}; check that it runs MicroPython (`proofing-monitor "
            "node boards --ask`) and that nothing else uses its port",
            lines=lines[-1] if lines else "mpremote said nothing",
        )
    return output


def asked(port: str) -> Answer:
    """What runs on the board at a port. It stops whatever ran there.

    Raises
    ------
    BoardError
        When no MicroPython answers.
    """
    output = _mpremote(["connect", port, "resume", "exec", WHO], ANSWER_WITHIN_S)
    words = output.split()
    if words[:1] != ["board"] or len(words) < 3:
        raise BoardError(
            "{port}: something answers, but not as MicroPython does: {said!r}", port=port, said=output.strip()[:60]
        )
    return Answer(words[1], words[2], " ".join(words[3:]))


def run_on_board(port: str, script: Path) -> str:
    """Run a script on the board without keeping it there; what it printed comes back.

    Raises
    ------
    BoardError
        When no MicroPython answers, or the script fails.
    """
    return _mpremote(["connect", port, "resume", "run", str(script)], ANSWER_WITHIN_S)


def firmware_files() -> list[Path]:
    """The files of the node's firmware, as they are copied.

    Raises
    ------
    BoardError
        When they are not installed beside the monitor.
    """
    spec = importlib.util.find_spec(FIRMWARE)
    if spec is None or not spec.submodule_search_locations:
        raise BoardError(
            "the node's firmware is not installed; install the whole package: pip install proofing-monitor"
        )
    folder = Path(next(iter(spec.submodule_search_locations)))
    return [
        *sorted(path for path in (folder / "node").glob("*.py") if path.name != "__init__.py"),
        folder / "boards" / "hal_board.py",
    ]


def probes_on(port: str, pin: int) -> list[tuple[str, float]]:
    """Address and temperature [C] of each probe on the one-wire line at a pin of a board.

    Raises
    ------
    BoardError
        When no MicroPython answers, or it cannot look.
    """
    words = [
        line.split()
        for line in _mpremote(["connect", port, "resume", "exec", _PROBES % pin], ANSWER_WITHIN_S).splitlines()
    ]
    return [(line[1], float(line[2])) for line in words if len(line) == 3 and line[0] == "probe"]


def deviations(port: str) -> list[tuple[str, Deviation]]:
    """The programs on the board at a port that are not those which a copy would put there, by name.

    The board itself is asked, so this finds what was changed on it by mistake or in passing, not a board whose
    MicroPython lies. Its configuration is not looked at. It stops whatever ran there.

    Raises
    ------
    BoardError
        When no MicroPython answers, or one that cannot hash.
    """
    ours = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in firmware_files()}
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "hashes.py"
        script.write_text(HASHES, encoding="utf-8")
        lines = [line.split(None, 2) for line in run_on_board(port, script).splitlines()]
    there = {line[2]: line[1] for line in lines if len(line) == 3 and line[0] == "file"}
    found = {name: Deviation.MISSING if name not in there else Deviation.CHANGED for name in ours}
    found = {name: what for name, what in found.items() if there.get(name) != ours[name]}
    found |= {name: Deviation.FOREIGN for name in there.keys() - ours.keys() if name.endswith(RUNS)}
    return sorted(found.items())


def draw_wiring(tubs: Sequence[NodeSettings], out: Path) -> None:
    """Draw the wiring of a board's tubs into an SVG file.

    Raises
    ------
    BoardError
        When the file cannot be written, or the firmware is not installed.
    """
    with tempfile.TemporaryDirectory() as folder:
        configs = [Path(folder) / f"{number}.txt" for number in range(len(tubs))]
        for config, tub in zip(configs, tubs, strict=True):
            config.write_text(config_text(tub), encoding="utf-8")
        command = child_command("firmware_sim.boards.wiring", *map(str, configs), str(out.absolute()))
        done = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False)
    if done.returncode:
        lines = done.stderr.strip().splitlines()
        raise BoardError("{out}: cannot be drawn: {why}", out=out, why=lines[-1] if lines else done.returncode)


def copy_firmware(
    port: str, settings: NodeSettings, ca_file: Path | None, out: TextIO, beside: Sequence[NodeSettings] = ()
) -> None:
    """Copy the firmware and its configuration to the board at a port, and start it anew.

    Parameters
    ----------
    ca_file
        Certificate to trust, in PEM; the board gets it in DER, which is all that MicroPython reads.
    beside
        Further tubs whose sensors hang on this board.

    Raises
    ------
    BoardError
        When a file is missing, or the board does not take it.
    """
    files = firmware_files()
    missing = [path.name for path in files if not path.exists()]
    if missing:
        raise BoardError("the firmware lacks {missing}; install the package anew", missing=", ".join(missing))
    with tempfile.TemporaryDirectory() as folder:  # made with mode 0700: the configuration holds passwords
        config = Path(folder) / CONFIG_NAME
        places = [tub.name.rpartition("_")[2] for tub in beside]
        config.write_text(config_text(settings, places), encoding="utf-8")
        extra = [config]
        for place, tub in zip(places, beside, strict=True):
            extra.append(config.with_stem(f"{config.stem}_{place}"))
            extra[-1].write_text(config_text(tub), encoding="utf-8")
        if settings.mqtt_ca:
            extra.append(Path(folder) / settings.mqtt_ca)
            extra[-1].write_bytes(_der(ca_file))
        for path in (*files, *extra):
            print(f"copying {path.name}", file=out)
        _mpremote(
            ["connect", port, "fs", "cp", *(str(path) for path in (*files, *extra)), ":", "+", "reset"], COPIED_WITHIN_S
        )


def _der(ca_file: Path | None) -> bytes:
    if ca_file is None:
        raise BoardError("this node checks the broker's certificate: name the file to trust with --ca FILE (PEM)")
    try:
        text = bounded_bytes(ca_file, LARGEST_CA_BYTES).decode("ascii")
        return ssl.PEM_cert_to_DER_cert(
            text[text.index(ssl.PEM_HEADER) :].partition(ssl.PEM_FOOTER)[0] + ssl.PEM_FOOTER
        )
    except (OSError, ValueError) as err:
        raise BoardError("{ca_file}: is no certificate in PEM ({why})", ca_file=ca_file, why=err) from err
