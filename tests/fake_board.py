"""The modules that only boards have, as stand-ins that behave as MicroPython's documentation says, and may fail.

``machine``, ``network``, ``ntptime``, ``socket`` with a broker behind it, and a board's ``time``. Under them stand the
simulated chips of the bench, so that the file that goes on a board runs whole. A call's name in ``Troubles.raising``
raises its error once.
"""

import importlib.util
import sys
import time
import types
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firmware_sim.bench.chips import I2cBus, RangerChip, SensorClock, buses
from firmware_sim.boards import hal_sim
from firmware_sim.node import kept, link_mqtt, names, packet, rest, ring, settings, signals, told_time
from firmware_sim.node.main import Node
from monitor.node.profiles import Board, profile_of
from monitor.wire.asides import call_line

HAL = Path(hal_sim.__file__).parent / "hal_board.py"
TICKS_PERIOD = 1 << 30
SINCE_2000_S = 946_684_800
NAP_SCALE = 30  # a nap of 100 ms is 3 s: a day is 29,000 turns
LONGEST_AWAKE_MS = 100  # a longer nap is sleep, and is as long as it says
NAMED = b"\xc0\x0c\0\1\0\1\0\0\0\x3c\0\4\xc0\0\2\x14"  # a record of type A: 192.0.2.20
MAC = bytes.fromhex("0200005e0001")


class Reset(BaseException):
    """The board starts anew."""


@dataclass
class Troubles:
    """What the next calls do: name of a call -> the errors that its next calls raise, one each."""

    raising: dict[str, list[Exception]] = field(default_factory=dict)
    called: Counter[str] = field(default_factory=Counter)

    def call(self, name: str) -> None:
        """Note a call; raise what waits for it."""
        self.called[name] += 1
        if self.raising.get(name):
            raise self.raising[name].pop(0)


@dataclass
class FakeBoard:
    """A board: its clock, its pins, its network. ``buses`` are the simulated chips (None: nothing is wired)."""

    pins: frozenset[int] = frozenset(range(49))
    buses: Any = None
    is_joined: bool = False
    joins: bool = True
    is_radio_on: bool = False
    radio_on_ms: int = 0  # so far
    slept_ms: int = 0
    measured_ms: list[int] = field(default_factory=list)  # when the air was read
    platform: str = "esp32"
    reset_cause_code: int = 1
    now_ms: int = 0
    fed_ms: int = 0
    longest_unfed_ms: int = 0
    watchdog_ms: int | None = None
    date_is_set: bool = False
    began_s: int = 1_772_431_200  # by the calendar, when its clock stood at zero
    ntp_hosts: list[str] = field(default_factory=list)
    troubles: Troubles = field(default_factory=Troubles)
    on_sleep: Callable[[int], None] = lambda ms: None
    broker: "Broker" = field(default_factory=lambda: Broker())
    printed: list[str] = field(default_factory=list)
    levels: dict[int, list[tuple[int, int]]] = field(default_factory=dict)  # of each pin, when it was set to what
    lines: dict[tuple[str, int], Any] = field(default_factory=dict)  # (what, its number) -> what hangs there of its own
    held: set[int] = field(default_factory=set)  # pins that a button leads to GND

    # -- time ---------------------------------------------------------------------------------------------------------

    def ticks_ms(self) -> int:
        return (self.now_ms + TICKS_PERIOD - 5000) % TICKS_PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        return (later - earlier + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2

    def sleep_ms(self, ms: int) -> None:
        self.now_ms += ms
        self.radio_on_ms += ms * self.is_radio_on
        self.longest_unfed_ms = max(self.longest_unfed_ms, self.now_ms - self.fed_ms)
        self.on_sleep(ms)

    def time(self) -> int:
        """Seconds since 2000, as the ESP32's port counts them; from 2000 on until it is told the date."""
        return self.now_ms // 1000 + (self.began_s - SINCE_2000_S if self.date_is_set else 0)

    def gmtime(self, at_s: int | None = None) -> tuple[int, ...]:
        return time.gmtime((self.time() if at_s is None else at_s) + SINCE_2000_S)

    def feed(self) -> None:
        self.fed_ms = self.now_ms

    # -- the modules --------------------------------------------------------------------------------------------------

    def modules(self) -> dict[str, types.ModuleType]:
        """What a board's file imports, by name."""
        return {
            "machine": _machine(self),
            "network": _network(self),
            "ntptime": _ntptime(self),
            "time": _module(
                "time",
                ticks_ms=self.ticks_ms,
                ticks_diff=self.ticks_diff,
                sleep_ms=self.sleep_ms,
                sleep_us=lambda us: None,
                time=self.time,
                gmtime=self.gmtime,
            ),
            "gc": _module("gc", threshold=lambda n: None, collect=lambda: None, mem_free=lambda: 100_000),
            "onewire": _module("onewire", OneWire=self._onewire),
            "kept": kept,
            "told_time": told_time,
            "rest": rest,
            "ring": ring,
            "settings": settings,
            "names": names,
            "signals": signals,
            "socket": _socket(self),
        }

    def _line(self, what: str, number: int) -> Any:
        """What hangs at a bus, a line or a pin: chips of its own, or those that every node has."""
        return self.lines.get((what, number)) or getattr(self.buses, what)()

    def _onewire(self, pin: Any) -> Any:
        self.troubles.call("onewire")
        return self._line("onewire", pin.number)

    def is_low(self, pin: int) -> bool:
        """True when the board pulled a pin down last."""
        return self.levels.get(pin, [(0, 1)])[-1][1] == 0

    @contextmanager
    def running(self) -> Iterator[Any]:
        """The board's file, loaded over this board."""
        spec = importlib.util.spec_from_file_location("hal_board", HAL)
        assert spec is not None
        assert spec.loader is not None
        hal = importlib.util.module_from_spec(spec)
        modules = self.modules()
        sockets = modules.pop("socket")
        kept = {name: sys.modules.get(name) for name in modules}
        platform, real_socket = sys.platform, link_mqtt.socket
        sys.modules.update(modules)
        link_mqtt.socket = names.socket = sockets
        sys.platform = self.platform
        sys.print_exception = lambda err: self.printed.append(repr(err))  # type: ignore[attr-defined]
        try:
            spec.loader.exec_module(hal)
            yield hal
        finally:
            sys.platform = platform
            link_mqtt.socket = names.socket = real_socket
            del sys.print_exception  # type: ignore[attr-defined]
            for name, module in kept.items():
                if module is None:
                    sys.modules.pop(name, None)
                else:
                    sys.modules[name] = module


class RangersOnOneBus:
    """An I2C bus with several rangers whose XSHUT wires lead to the board: whoever is held down does not answer.

    ``is_down`` says so of each, by its number.
    """

    def __init__(self, rangers: Sequence[RangerChip], others: I2cBus, is_down: Callable[[int], bool]) -> None:
        self._rangers, self._others, self._is_down = rangers, others, is_down
        self._was_down = [True] * len(rangers)

    def _at(self, address: int) -> list[RangerChip]:
        for at, ranger in enumerate(self._rangers):
            was_down, self._was_down[at] = self._was_down[at], self._is_down(at)
            if was_down and not self._was_down[at]:
                ranger.power_on()
        return [
            ranger
            for ranger, is_down in zip(self._rangers, self._was_down, strict=True)
            if not is_down and ranger.address == address
        ]

    def writeto(self, address: int, data: bytes) -> int:
        """As a bus; all that answer at an address take it."""
        found = self._at(address)
        for ranger in found:
            ranger.write(bytes(data))
        return len(data) if found else self._others.writeto(address, data)

    def readfrom_into(self, address: int, buffer: bytearray) -> None:
        """As a bus; of several at an address whoever says 0 is heard."""
        said = [ranger.read(len(buffer)) or bytes(len(buffer)) for ranger in self._at(address)]
        if not said:
            self._others.readfrom_into(address, buffer)
        for at in range(len(buffer) if said else 0):
            buffer[at] = min(each[at] for each in said)


class Broker:
    """A broker with a collector behind it, which answers each pack; of those answers every ``loses``-th is lost."""

    def __init__(self, loses: int = 7) -> None:
        self.call = ""  # what it says is called, beside each acknowledgement
        self.packs: list[tuple[bytes, bytes]] = []  # boot and sequence number of each that came
        self.frames: list[bytes] = []
        self.came_ms: list[int] = []  # when each of them did
        self.states: list[bytes] = []  # what nodes said of whether they are there
        self.reports: list[bytes] = []
        self.loses = loses
        self._now_ms = 0

    def answer(self, data: bytes, now_ms: int) -> tuple[bytes, bytes]:
        """What the broker says to what it was sent, and what of that was no whole packet yet."""
        self._now_ms = now_ms
        said = b""
        while len(data) > 1 and (found := link_mqtt.split(data)) is not None:
            kind, content, data = found
            said += self._said(kind, content)
        return said, data

    def beside(self, boot: str) -> list[bytes]:
        """What is said to a boot beside its acknowledgements."""
        return [call_line(boot, self.call)] if self.call else []

    def _said(self, kind: int, content: bytes) -> bytes:
        if kind & 0xF0 == 0x10:
            return link_mqtt.packet(0x20, b"\0\0")
        if kind & 0xF0 == 0x80:
            return link_mqtt.packet(0x90, content[:2] + b"\1")
        if kind & 0xF0 == 0xC0:
            return link_mqtt.packet(0xD0, b"")
        if kind & 0xF0 != 0x30:
            return b""
        size = content[0] << 8 | content[1]
        topic, number, payload = content[2 : 2 + size], content[2 + size : 4 + size], content[4 + size :]
        said = link_mqtt.packet(0x40, number)
        if topic.endswith(b"/report"):
            self.reports.append(payload)
        if topic.endswith(b"/status"):
            self.states.append(payload)
        if not topic.endswith(b"/pack"):
            return bytes(said)
        boot, seq = payload.split(b" ")[:2]
        self.packs.append((boot, seq))
        self.frames.append(payload)
        self.came_ms.append(self._now_ms)
        if len(self.packs) % self.loses == 0:
            return bytes(said)
        head = b"!" + boot[1:] + b" " + seq
        line = head + b" %08x" % packet.crc32(head)
        to = topic.replace(b"/pack", b"/ack")
        head = bytes([len(to) >> 8, len(to) & 255]) + to
        for other in self.beside(boot[1:].decode()):
            said += link_mqtt.packet(0x30, head + other)
        return bytes(said + link_mqtt.packet(0x30, head + line))


def _socket(board: FakeBoard) -> types.ModuleType:
    class Line:
        def __init__(self, family: int, kind: int) -> None:
            board.troubles.call("socket")
            self._heard = b""
            self._waiting = b""

        def settimeout(self, seconds: float) -> None:
            pass

        def setblocking(self, is_blocking: bool) -> None:
            pass

        def connect(self, where: object) -> None:
            board.sleep_ms(200)
            board.troubles.call("socket.connect")

        def recv(self, most: int) -> bytes:
            board.troubles.call("socket.recv")
            if not self._waiting:
                raise OSError(11, "EAGAIN")
            data, self._waiting = self._waiting[:most], self._waiting[most:]
            return data

        def send(self, data: bytes) -> int:
            board.troubles.call("socket.send")
            said, self._heard = board.broker.answer(self._heard + data, board.now_ms)
            self._waiting += said
            return len(data)

        def sendto(self, data: bytes, where: object) -> int:
            """A question for a name: one answer, an address."""
            board.troubles.call("socket.sendto")
            self._waiting = data[:2] + b"\x81\x80\0\1\0\1\0\0\0\0" + data[12:] + NAMED
            return len(data)

        def close(self) -> None:
            pass

    def getaddrinfo(host: str, port: int, family: int = 0, kind: int = 0) -> list[tuple[Any, ...]]:
        board.troubles.call("getaddrinfo")
        assert names.is_address(host), "a name would be waited for"
        return [(2, kind, 0, "", (host, port))]

    return _module("socket", socket=Line, getaddrinfo=getaddrinfo, AF_INET=2, SOCK_STREAM=1, SOCK_DGRAM=2)


def _module(name: str, **what: Any) -> types.ModuleType:
    made = types.ModuleType(name)
    for key, value in what.items():
        setattr(made, key, value)
    return made


def _machine(board: FakeBoard) -> types.ModuleType:
    class Pin:
        IN, OUT, PULL_UP, OPEN_DRAIN = 0, 1, 2, 3

        def __init__(self, number: int, mode: int = -1, pull: int = -1, *, value: int | None = None) -> None:
            board.troubles.call("Pin")
            if number not in board.pins:
                raise ValueError("invalid pin")
            self.number = number
            if value is not None:
                self.value(value)

        def value(self, level: int | None = None) -> int:
            if level is not None:
                board.levels.setdefault(self.number, []).append((board.now_ms, level))
            return int(self.number not in board.held)

    class ADC:
        ATTN_11DB = 3

        def __init__(self, pin: Pin) -> None:
            board.troubles.call("ADC")

        def atten(self, how: int) -> None:
            board.troubles.call("ADC.atten")

        def read_uv(self) -> int:
            board.troubles.call("ADC.read_uv")
            return 1_950_000

    class RTC:
        def datetime(self, at: tuple[int, ...]) -> None:
            year, month, day, _, hour, minute, second, _ = at
            now = datetime(year, month, day, hour, minute, second, tzinfo=UTC)
            board.began_s = int(now.timestamp()) - board.now_ms // 1000
            board.date_is_set = True

    class WDT:
        def __init__(self, timeout: int) -> None:
            board.troubles.call("WDT")
            board.watchdog_ms = timeout
            board.feed()

        def feed(self) -> None:
            board.feed()

    def i2c(bus: int, *, scl: Pin, sda: Pin, freq: int, timeout: int) -> Any:
        board.troubles.call("I2C")
        if bus > 1:
            raise ValueError(f"I2C({bus}) doesn't exist")
        return board._line("i2c", bus)

    def uart(number: int, **how: Any) -> Any:
        board.troubles.call("UART")
        if number > 2:
            raise ValueError(f"UART({number}) does not exist")
        return board._line("uart", number)

    def time_pulse_us(pin: Pin, level: int, timeout_us: int) -> int:
        board.troubles.call("time_pulse_us")
        return int(board._line("pins", pin.number).echo_us(timeout_us))

    def lightsleep(ms: int) -> None:
        assert ms > 0
        assert not board.is_radio_on, "the maker's manual: stop the radio first"
        board.troubles.call("lightsleep")
        board.slept_ms += ms
        board.sleep_ms(ms)

    def reset() -> None:
        raise Reset

    return _module(
        "machine", Pin=Pin, ADC=ADC, RTC=RTC, WDT=WDT, I2C=i2c, UART=uart, time_pulse_us=time_pulse_us, reset=reset,
        lightsleep=lightsleep,
        unique_id=lambda: b"\x01\x02\x03\x04\x05\x06", reset_cause=lambda: board.reset_cause_code,
        PWRON_RESET=1, HARD_RESET=2, WDT_RESET=3, DEEPSLEEP_RESET=4, SOFT_RESET=5,
    )  # fmt: skip


def _network(board: FakeBoard) -> types.ModuleType:
    class WLAN:
        def __init__(self, which: int) -> None:
            board.troubles.call("WLAN")

        def active(self, is_on: bool) -> None:
            board.troubles.call("active")
            board.is_radio_on = is_on
            board.is_joined = board.is_joined and is_on

        def isconnected(self) -> bool:
            return board.is_joined

        def connect(self, name: str, password: str) -> None:
            board.troubles.call("connect")
            board.is_joined = board.joins

        def status(self, what: str) -> int:
            board.troubles.call("status")
            if not board.is_joined:
                raise OSError("STA not associated")
            return -61

        def config(self, what: str) -> bytes:
            return MAC

        def ifconfig(self) -> tuple[str, str, str, str]:
            board.troubles.call("ifconfig")
            return ("192.0.2.7", "255.255.255.0", "192.0.2.1", "192.0.2.1")

    return _module("network", WLAN=WLAN, STA_IF=0)


def _ntptime(board: FakeBoard) -> types.ModuleType:
    module = _module("ntptime", host="pool.example", timeout=1)

    def settime() -> None:
        board.ntp_hosts.append(module.host)
        board.sleep_ms(1000 * module.timeout)
        board.troubles.call("settime")
        board.date_is_set = True

    module.settime = settime  # type: ignore[attr-defined]
    return module


# -- the whole file, with chips, network and broker -------------------------------------------------------------------


def wired(board: Board, **changes: Any) -> FakeBoard:
    """A board of a class: only its own pins are there, and every sensor is wired."""
    profile = profile_of(board)
    made = FakeBoard(
        pins=profile.pins | frozenset(profile.taken),
        platform="rp2" if board.value.startswith("pico") else "esp32",
        **changes,
    )
    clock = SensorClock(lambda: made.now_ms)

    def air() -> tuple[int, int]:
        made.measured_ms.append(made.now_ms)
        return (2531, 7620)

    made.buses = buses(
        clock, air=air, dough=lambda: 2488, distance=lambda: 2124, air_c=lambda: 25.3
    )  # fmt: skip
    return made


def lived(board: FakeBoard, hours: float) -> Node:
    """Run the file as a board does, from its first line, for so long; the node as it is then."""
    made: list[Node] = []

    def run(hal_board: Any, link: Any, period_ms: int, kept: Any) -> None:
        node = Node(hal_board, link, period_ms, kept)
        made.append(node)
        end_ms = board.now_ms + hours * 3_600_000
        while board.now_ms < end_ms:
            nap_ms = node.turn()
            hal_board.sleep_ms(nap_ms if nap_ms > LONGEST_AWAKE_MS else NAP_SCALE * nap_ms)
        node._read_ms, node._next_ms = None, TICKS_PERIOD  # nothing more is measured
        for _ in range(400):  # what is on its way still comes
            hal_board.sleep_ms(node.turn())

    with board.running() as hal:
        hal.begin(run)
    return made[-1]
