"""A simulated board: what the loop of a node calls, answered by simulated chips, a pseudo-terminal and a clock."""

import os
import secrets
import select
import termios
import threading
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from firmware_sim.bench.air import Air
from firmware_sim.bench.bench import MeasuringPoint
from firmware_sim.bench.chips import ChipBuses, SensorClock, WireFaults, buses
from firmware_sim.bench.faults import SensorSet
from firmware_sim.bench.power import MAINS, Health, Power
from firmware_sim.bench.sensors import Sensors
from firmware_sim.node import settings

TICKS_PERIOD = 1 << 30  # as a board's 32-bit ticks
WRAPS_AFTER_MS = 15_000  # the ticks start just before they wrap, so that every run crosses it
FREE_BYTES, FREE_FLASH_BYTES = 90_000, 1_200_000  # judgement: of an ESP32 with this firmware
A_MEASUREMENT_MS = 5000  # what is asked within it is of one moment


@dataclass(frozen=True, slots=True)
class DoughTime:
    """Dough time: still until the epoch, then ``speed`` times as fast as the wall clock."""

    epoch: datetime
    speed: float

    def __post_init__(self) -> None:
        if not self.speed > 0:
            raise ValueError(f"speed {self.speed:g}: must be more than 0")

    def now_s(self) -> float:
        """Seconds of dough time since the epoch."""
        return max(0.0, time.time() - self.epoch.timestamp()) * self.speed


class Surroundings:
    """What the chips of one board feel: all of one measurement at one moment.

    Parameters
    ----------
    point
        What is under the board's probe and distance sensor; None for a board that only knows the air.
    air, air_sensors
        Where the board hangs, and its air sensor; None for a board without one.
    """

    def __init__(
        self,
        pace: DoughTime,
        *,
        point: MeasuringPoint | None,
        air: Air | None = None,
        air_sensors: Sensors | None = None,
    ) -> None:
        self._pace = pace
        self._point = point
        self._air = air
        self._air_sensors = air_sensors
        self.clock = SensorClock(lambda: int(1000 * pace.now_s()))
        self._at_s = -1.0
        self._until_ms = -1

    def buses(self, faults: WireFaults | None = None) -> ChipBuses:
        """Chips over buses, all of them; a board uses those of its configuration."""
        return buses(
            self.clock, air=self._read_air, dough=self._read_dough, distance=self._read_distance,
            air_c=self._true_air_c, faults=faults,
        )  # fmt: skip

    @property
    def parts(self) -> dict[str, str]:
        """The sensors there are, as the node's configuration says it."""
        has_air = self._air is not None and self._air_sensors is not None
        # Half of the boards have the one ranger, half the other: sound wants to know the air it goes through.
        ranger = "none" if self._point is None else "ultrasonic" if has_air else "tof"
        return {
            **settings.DEFAULTS,
            "air": "sht4x" if has_air else "none",
            "dough": "none" if self._point is None else "ds18b20",
            "distance": ranger,
        }

    def _moment_s(self) -> float:
        now_ms = self.clock.now_ms
        if now_ms > self._until_ms:
            self._at_s = self._pace.now_s()
            self._until_ms = now_ms + A_MEASUREMENT_MS
        return self._at_s

    def _true_air_c(self) -> float:
        air = self._air or (self._point and self._point.air)
        return air.temp_c(self._moment_s()) if air else 20.0

    def _read_air(self) -> tuple[int, int] | None:
        if self._air is None or self._air_sensors is None:
            return None
        at_s = self._moment_s()
        return self._air_sensors.air(at_s, self._air.temp_c(at_s), self._air.humidity_pct(at_s))

    def _read_dough(self) -> int | None:
        return None if self._point is None else self._point.read_dough(self._moment_s())

    def _read_distance(self) -> int | None:
        return None if self._point is None else self._point.read_distance(self._moment_s())


class SimClockBoard:
    """A board's name, sensors, clocks and health; what turns the node's loop does the waiting.

    Parameters
    ----------
    jump_s
        How far the board's own clock has jumped by now. [s]
    cause
        What started it, in a word of the node's report.
    """

    def __init__(
        self,
        urn: str,
        sensors: SensorSet,
        pace: DoughTime,
        power: Power = MAINS,
        jump_s: Callable[[], float] = lambda: 0.0,
        cause: str = "power",
    ) -> None:
        self.urn = urn
        self._cause = cause
        self.boot = secrets.token_hex(4)
        self.sensors = sensors
        self._pace = pace
        self._power = power
        self._jump_s = jump_s
        self._started_s = time.monotonic()

    def ticks_ms(self) -> int:
        """Real milliseconds, wrapping."""
        return (int(1000 * (time.monotonic() - self._started_s)) - WRAPS_AFTER_MS) % TICKS_PERIOD

    def dough_ticks_ms(self) -> int:
        """Dough milliseconds, wrapping, as the board's own clock counts them."""
        return (int(1000 * (self._pace.now_s() + self._jump_s())) - WRAPS_AFTER_MS) % TICKS_PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        """Signed difference of two ticks that lie less than half a period apart."""
        return (later - earlier + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2

    def health(self) -> Health:
        """Signal [dBW] and battery [0.01 V]."""
        return self._power.health(self._pace.now_s())

    def condition(self) -> tuple[str, int, int | None, int]:
        """What started it, free bytes, signal [dBW], free bytes of flash."""
        return self._cause, FREE_BYTES, self.health()[0], FREE_FLASH_BYTES


class SimBoard(SimClockBoard):
    """The hal of a node in a thread of its own: the board's own drivers over simulated chips."""

    def __init__(
        self,
        *,
        urn: str,
        pace: DoughTime,
        stop: threading.Event,
        point: MeasuringPoint | None = None,
        air: Air | None = None,
        air_sensors: Sensors | None = None,
        faults: WireFaults | None = None,
        power: Power = MAINS,
    ) -> None:
        around = Surroundings(pace, point=point, air=air, air_sensors=air_sensors)
        super().__init__(urn, settings.sensors_of(around.parts, around.clock, around.buses(faults)), pace, power)
        self._stop = stop

    def sleep_ms(self, ms: int) -> None:
        """Wait real milliseconds, or until the node is stopped."""
        self._stop.wait(ms / 1000)

    def is_running(self) -> bool:
        """False once the node is to stop."""
        return not self._stop.is_set()


class PtyPort:
    """The node's end of a pseudo-terminal; the collector opens ``link`` as its serial port.

    Raises
    ------
    OSError
        When the link cannot be made.
    """

    def __init__(self, link: Path) -> None:
        self._fd, other_end = os.openpty()
        tty.setraw(other_end)
        self._name = os.ttyname(other_end)
        # Closed again: only so does the terminal say whether somebody else has it open.
        os.close(other_end)
        os.set_blocking(self._fd, False)
        self._poll = select.poll()
        self._poll.register(self._fd, select.POLLIN)
        self._was_open = False
        self.link = link
        link.unlink(missing_ok=True)
        os.symlink(self._name, link)

    def is_open(self) -> bool:
        """True while somebody has the other end open; what they left unread goes when they leave."""
        is_open = not any(event & select.POLLHUP for _, event in self._poll.poll(0))
        if self._was_open and not is_open:
            termios.tcflush(self._fd, termios.TCIOFLUSH)
        self._was_open = is_open
        return is_open

    def read(self, most: int) -> bytes | None:
        """Bytes that came, or None."""
        try:
            return os.read(self._fd, most)
        except OSError:  # nothing now, or nobody there: is_open tells them apart
            return None

    def write(self, data: bytes) -> int | None:
        """How many bytes went out, or None."""
        try:
            return os.write(self._fd, data)
        except OSError:
            return None

    def close(self) -> None:
        """Give the terminal back and take the link away."""
        os.close(self._fd)
        if self.link.is_symlink() and os.readlink(self.link) == self._name:
            self.link.unlink()
