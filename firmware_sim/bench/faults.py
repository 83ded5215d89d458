"""What goes wrong round a node, chosen by rate: hands, silent sensors, pulled cables, reboots, clocks, bad frames.

Lengths and sizes are judgement: what a busy kitchen does.
"""

import random
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Protocol

HAND_S, HAND_MM = (40.0, 140.0), (350, 900)  # seconds; tenths of a millimetre
DROPOUT_S = (120.0, 900.0)
UNPLUG_S = (60.0, 1200.0)
CLOCK_JUMP_S = (-120.0, 1800.0)
AHEAD_S = 48 * 3600.0  # episodes are drawn for this long


@dataclass(frozen=True, slots=True)
class Faults:
    """How often things go wrong. All but ``corrupt`` are times an hour of dough time.

    Attributes
    ----------
    hand
        A hand is held under the distance sensor.
    dropout
        The sensors stop answering for minutes.
    unplug
        The link goes down for minutes.
    reboot
        The board loses its supply, and with it what it had kept.
    clock
        The board's own clock jumps.
    corrupt
        Share of frames in which a byte changes on the way.
    """

    hand: float = 0.0
    dropout: float = 0.0
    unplug: float = 0.0
    reboot: float = 0.0
    clock: float = 0.0
    corrupt: float = 0.0

    def __post_init__(self) -> None:
        for item in fields(self):
            rate, most = getattr(self, item.name), 1.0 if item.name == "corrupt" else 60.0
            if not 0.0 <= rate <= most:
                raise ValueError(f"fault {item.name}={rate:g}: must be from 0 to {most:g}")


def faults_named(texts: Sequence[str]) -> Faults:
    """Faults from ``KIND=RATE`` texts.

    Raises
    ------
    ValueError
        For a kind there is not, or a rate that is no number in its range.
    """
    names = [item.name for item in fields(Faults)]
    rates: dict[str, float] = {}
    for text in texts:
        kind, _, rate = text.partition("=")
        if kind not in names:
            raise ValueError(f"fault {text!r}: there are {', '.join(names)}; write hand=2 for two an hour")
        try:
            rates[kind] = float(rate)
        except ValueError as err:
            raise ValueError(f"fault {text!r}: write KIND=RATE, such as hand=2 or corrupt=0.01") from err
    return Faults(**rates)


@dataclass(frozen=True, slots=True)
class Episode:
    """From when to when [s], and how much."""

    start_s: float
    end_s: float
    size: float

    def covers(self, at_s: float) -> bool:
        """Whether it is on at a moment."""
        return self.start_s <= at_s < self.end_s


def episodes(
    rng: random.Random, per_h: float, length_s: tuple[float, float], size: tuple[float, float]
) -> list[Episode]:
    """Episodes at random times, ``per_h`` an hour on average, ascending."""
    found, at_s = [], 0.0
    while per_h > 0:
        at_s += rng.expovariate(per_h) * 3600.0
        if at_s > AHEAD_S:
            break
        found.append(Episode(at_s, at_s + rng.uniform(*length_s), rng.uniform(*size)))
    return found


def episode_at(found: Sequence[Episode], now_s: float) -> Episode | None:
    """The episode that is on at a moment, or None."""
    return next((one for one in found if one.covers(now_s)), None)


class SensorSet(Protocol):
    """What the node's loop asks of the sensors; values are scaled integers, None for what could not be read.

    ``wanted``, ``pins`` and ``faults`` are those of the node's instruments.py, for its report.
    """

    @property
    def wanted(self) -> Sequence[str]: ...
    @property
    def pins(self) -> Mapping[str, str]: ...
    @property
    def faults(self) -> Mapping[tuple[str, str], int]: ...

    def start(self) -> int: ...
    def read_air(self) -> tuple[int, int] | None: ...
    def read_dough(self) -> int | None: ...
    def read_distance(self) -> int | None: ...


class Link(Protocol):
    """What the node's loop asks of its link: see link_serial.py of the node."""

    @property
    def is_up(self) -> bool: ...
    def poll(self, now_ms: int) -> None: ...
    def send(self, frame: bytes) -> bool: ...
    def send_report(self, line: bytes) -> bool: ...
    def take_acks(self) -> list[bytes]: ...
    def close(self, now_ms: int) -> None: ...


class FaultySensors:
    """Sensors with hands under them and times of silence. ``now_s`` tells dough time."""

    def __init__(self, sensors: SensorSet, faults: Faults, rng: random.Random, now_s: Callable[[], float]) -> None:
        self._sensors = sensors
        self._now_s = now_s
        self._hands = episodes(rng, faults.hand, HAND_S, HAND_MM)
        self._dropouts = episodes(rng, faults.dropout, DROPOUT_S, (0.0, 0.0))
        self.wanted, self.pins = sensors.wanted, sensors.pins
        self._silent: Counter[tuple[str, str]] = Counter()

    @property
    def faults(self) -> Mapping[tuple[str, str], int]:
        """How often each sensor did not answer, or gave another fault."""
        return Counter(self._sensors.faults) + self._silent

    def start(self) -> int:
        """See instruments.py of the node."""
        return self._sensors.start()

    def _is_silent(self, which: str) -> bool:
        is_silent = episode_at(self._dropouts, self._now_s()) is not None
        self._silent[which, "silent"] += is_silent
        return is_silent

    def read_air(self) -> tuple[int, int] | None:
        """Air temperature [0.01 C] and humidity [0.01 %]."""
        return None if self._is_silent("air") else self._sensors.read_air()

    def read_dough(self) -> int | None:
        """Dough temperature [0.01 C]."""
        return None if self._is_silent("dough") else self._sensors.read_dough()

    def read_distance(self) -> int | None:
        """One distance shot [0.1 mm]."""
        shot = None if self._is_silent("distance") else self._sensors.read_distance()
        hand = episode_at(self._hands, self._now_s())
        return shot if shot is None or hand is None else min(shot, round(hand.size))


class FaultyLink:
    """A link whose cable is pulled now and then, and that changes a byte here and there."""

    def __init__(self, link: Link, faults: Faults, rng: random.Random, now_s: Callable[[], float]) -> None:
        self._link = link
        self._rng = rng
        self._now_s = now_s
        self._corrupt = faults.corrupt
        self._pulls = episodes(rng, faults.unplug, UNPLUG_S, (0.0, 0.0))
        self._is_pulled = False
        self.broke = False

    @property
    def is_up(self) -> bool:
        """Whether frames can go out."""
        return self._link.is_up and not self._is_pulled

    def poll(self, now_ms: int) -> None:
        """See link_serial.py of the node."""
        was_up, self._is_pulled = self.is_up, episode_at(self._pulls, self._now_s()) is not None
        if not self._is_pulled:
            self._link.poll(now_ms)
        elif self._link.is_up:
            self._link.close(now_ms)
        self.broke = was_up and not self.is_up

    def send(self, frame: bytes) -> bool:
        """One frame, perhaps with a byte that is another at the other end."""
        if self._rng.random() < self._corrupt:
            place = self._rng.randrange(1, len(frame))
            other = self._rng.choice([byte for byte in range(33, 127) if byte != frame[place]])
            frame = frame[:place] + bytes([other]) + frame[place + 1 :]
        return self._link.send(frame)

    def send_report(self, line: bytes) -> bool:
        """How the node is, undamaged: a report that is lost is followed by the next."""
        return self._link.send_report(line)

    def take_acks(self) -> list[bytes]:
        """Acknowledgements that came."""
        return self._link.take_acks()

    def close(self, now_ms: int) -> None:
        """Leave in order."""
        self._link.close(now_ms)
