"""What each class of board has: its pins and what else needs them, its buses and serial lines.

The figures are data, in ``firmware_sim/boards/profiles.toml``, beside what goes on a board.
"""

import importlib.util
import tomllib
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any

from monitor.errors import ConfigError
from monitor.translatable import N_, Translatable

FIRMWARE = "firmware_sim"
FILE_NAME = "profiles.toml"
LONGEST_LIST = 12  # pins named in a sentence


class Board(StrEnum):
    """Class of board; it decides which pins there are."""

    ESP32 = "esp32"
    ESP32_S3 = "esp32-s3"
    ESP32_C3 = "esp32-c3"
    ESP32_C6 = "esp32-c6"
    PICO_W = "pico-w"
    PICO_2_W = "pico2-w"

    @classmethod
    def _missing_(cls, value: object) -> "Board | None":
        return cls.PICO_W if value == "rp2040" else None  # as files of an earlier version have it


class Job(StrEnum):
    """What a pin is used for; ``pin_`` before it is its key in the node's file."""

    SDA = "sda"
    SCL = "scl"
    PROBE = "probe"
    TX = "tx"
    RX = "rx"
    TRIGGER = "trigger"
    ECHO = "echo"
    BATTERY = "battery"
    LIGHT = "light"
    BUZZER = "buzzer"
    BUTTON = "button"
    SHUT = "shut"


_LISTENING = (Job.RX, Job.ECHO, Job.BATTERY)
_TAKEN = {
    "flash": N_("holds the program's memory on"),
    "console": N_("is the line that you copy by on"),
    "usb": N_("is the USB plug on"),
    "radio": N_("belongs to the radio on"),
}
_CAUTIONS = {
    "start": N_("GPIO {pin} decides how the {board} starts: what is wired to it may keep it from starting"),
    "memory": N_("GPIO {pin} is not free on the {board} with additional memory"),
    "light": N_("GPIO {pin} has a lamp on many boards like the {board}"),
}


@dataclass(frozen=True, slots=True)
class Profile:
    """One class of board.

    Attributes
    ----------
    chip
        The last word of what MicroPython calls such a board.
    pins
        Numbers that are led out.
    taken, caution
        Pin -> what else needs it; pin -> why others are better.
    inputs, adc, adc_silent
        Pins that can only hear; that measure a voltage; that do so only while the radio is off.
    uarts
        Numbers of the serial lines beside the console's.
    pairs
        (bus or line, number, job) -> the pins that will do; whatever is not there takes any.
    wired
        The pin of each job unless another is chosen; of lamp, buzzer, button and a ranger's XSHUT there is none.
    i2c, uart
        The bus and the line unless another is chosen.
    sleeps
        Whether it sleeps lightly, keeps count of time in it, and wakes by itself.
    """

    title: str
    chip: str
    pins: frozenset[int]
    taken: Mapping[int, str]
    caution: Mapping[int, str]
    inputs: frozenset[int]
    adc: frozenset[int]
    adc_silent: frozenset[int]
    uarts: tuple[int, ...]
    i2cs: tuple[int, ...]
    pairs: Mapping[tuple[str, int, Job], frozenset[int]]
    wired: Mapping[Job, int]
    i2c: int
    uart: int
    sleeps: bool

    def faults(self, pins: Mapping[Job, int], i2c: int, uart: int) -> Iterator[str]:
        """What is wrong with the pins in use, each as a sentence with what would do."""
        if i2c not in self.i2cs:
            yield Translatable(
                "i2c: the {board} has no bus {number}; it has {known}",
                board=self.title,
                number=i2c,
                known=listed(self.i2cs),
            )
        if uart not in self.uarts:
            yield Translatable(
                "uart: the {board} has no free serial line {number}; it has {known}",
                board=self.title,
                number=uart,
                known=listed(self.uarts),
            )
        for job, pin in pins.items():
            why = self._why_not(job, pin, i2c, uart)
            if why is not None:
                yield Translatable(
                    "pin_{job}: {why}; free ones are {free}",
                    job=job,
                    why=why,
                    free=listed(self.free(job, i2c, uart, _others(job, pins))),
                )
        for at, (job, pin) in enumerate(pins.items()):
            other = next((each for each in list(pins)[:at] if pins[each] == pin), None)
            if other is not None:
                yield Translatable(
                    "pin_{job}: GPIO {pin} is wired as pin_{other} already; free ones are {free}",
                    job=job,
                    pin=pin,
                    other=other,
                    free=listed(self.free(job, i2c, uart, _others(job, pins))),
                )

    def cautions(self, pins: Mapping[Job, int]) -> list[str]:
        """What to mind about the pins in use, though they work."""
        return [
            Translatable(_CAUTIONS[self.caution[pin]], pin=pin, board=self.title)
            for pin in pins.values()
            if pin in self.caution
        ]

    def _why_not(self, job: Job, pin: int, i2c: int, uart: int) -> str | None:
        """Why a pin will not do; None when it does."""
        if pin in self.taken:
            return Translatable(
                "GPIO {pin} {use} the {board}", pin=pin, use=Translatable(_TAKEN[self.taken[pin]]), board=self.title
            )
        if pin not in self.pins:
            return Translatable("GPIO {pin} does not exist on the {board}", pin=pin, board=self.title)
        if pin in self.inputs and job not in _LISTENING:
            return Translatable("GPIO {pin} can only hear on the {board}", pin=pin, board=self.title)
        if job is Job.BATTERY and pin in self.adc_silent:
            return Translatable(
                "GPIO {pin} measures no voltage on the {board} while its radio is on", pin=pin, board=self.title
            )
        if job is Job.BATTERY and pin not in self.adc:
            return Translatable("GPIO {pin} measures no voltage on the {board}", pin=pin, board=self.title)
        for kind, number in (("i2c", i2c), ("uart", uart)):
            fitting = self.pairs.get((kind, number, job))
            if fitting is not None and pin not in fitting:
                return Translatable(
                    "GPIO {pin} is not a pin of {kind} {number} on the {board}",
                    pin=pin,
                    kind=kind,
                    number=number,
                    board=self.title,
                )
        return None

    def free(self, job: Job, i2c: int, uart: int, used: Set[int]) -> list[int]:
        """The pins that would do for a job beside those in use."""
        fitting = self.pins - used - set(self.caution)
        return [pin for pin in sorted(fitting) if self._why_not(job, pin, i2c, uart) is None]


@lru_cache
def profile_of(board: Board) -> Profile:
    """The profile of a class of board.

    Raises
    ------
    ConfigError
        When the firmware is not installed beside the monitor.
    """
    return _profile(_tables()[board.value])


def board_of(machine: str) -> Board | None:
    """The class of a board by what its MicroPython calls it; None for one that is not known here.

    >>> board_of("Generic ESP32S3 module with ESP32S3")
    <Board.ESP32_S3: 'esp32-s3'>
    """
    chip = machine.rpartition(" ")[2]
    return next((board for board in Board if profile_of(board).chip == chip), None)


@lru_cache
def _tables() -> Mapping[str, Any]:
    spec = importlib.util.find_spec(FIRMWARE)
    if spec is None or not spec.submodule_search_locations:
        raise ConfigError(
            "the node's firmware is not installed; install the whole package: pip install proofing-monitor"
        )
    folder = Path(next(iter(spec.submodule_search_locations)))
    return tomllib.loads((folder / "boards" / FILE_NAME).read_text(encoding="utf-8"))


def _profile(table: Mapping[str, Any]) -> Profile:
    pairs = {
        (kind, number, Job(key.rpartition("_")[2])): frozenset(_numbers(text))
        for kind, keys in (("i2c", ("i2c_sda", "i2c_scl")), ("uart", ("uart_tx", "uart_rx")))
        for key in keys
        for number, text in enumerate(table.get(key, ()))
    }
    return Profile(
        table["title"],
        table["chip"],
        frozenset(_numbers(table["pins"])),
        {pin: what for what, text in table["taken"].items() for pin in _numbers(text)},
        {pin: why for why, text in table["caution"].items() for pin in _numbers(text)},
        frozenset(_numbers(table["inputs"])),
        frozenset(_numbers(table["adc"])),
        frozenset(_numbers(table["adc_silent"])),
        tuple(table["uarts"]),
        tuple(range(table["i2cs"])),
        pairs,
        {Job(job): pin for job, pin in table["wired"].items()},
        table["bus"]["i2c"],
        table["bus"]["uart"],
        table["sleeps"],
    )


def _numbers(text: str) -> Iterator[int]:
    """The numbers of a list of numbers and ranges, such as ``0-5,12``."""
    for part in text.split(",") if text else ():
        first, _, last = part.partition("-")
        yield from range(int(first), int(last or first) + 1)


def _others(job: Job, pins: Mapping[Job, int]) -> Set[int]:
    return {pin for each, pin in pins.items() if each is not job}


def listed(numbers: Sequence[int]) -> str:
    """Numbers for a sentence, not too many of them."""
    return ", ".join(map(str, numbers[:LONGEST_LIST]))
