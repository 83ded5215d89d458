"""The modules that only boards have, as stand-ins that behave as MicroPython's documentation says, and may fail.

``machine``, ``network``, ``ntptime``, ``socket`` with a broker behind it, and a board's ``time``. Under them stand the
simulated chips of the bench, so that the file that goes on a board runs whole. A call's name in ``Troubles.raising``
raises its error once.
"""

import importlib.util
import sys
import types
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_sim.boards import hal_sim
from firmware_sim.node import link_mqtt, names, packet, ring, settings, signals
from monitor.wire.frames import call_line

HAL = Path(hal_sim.__file__).parent / "hal_board.py"
TICKS_PERIOD = 1 << 30
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
    platform: str = "esp32"
    reset_cause_code: int = 1
    now_ms: int = 0
    fed_ms: int = 0
    longest_unfed_ms: int = 0
    watchdog_ms: int | None = None
    date_is_set: bool = False
    ntp_hosts: list[str] = field(default_factory=list)
    troubles: Troubles = field(default_factory=Troubles)
    on_sleep: Callable[[int], None] = lambda ms: None
    broker: "Broker" = field(default_factory=lambda: Broker())
    printed: list[str] = field(default_factory=list)
    levels: dict[int, list[tuple[int, int]]] = field(default_factory=dict)  # of each pin, when it was set to what
    held: set[int] = field(default_factory=set)  # pins that a button leads to GND

    # -- time ---------------------------------------------------------------------------------------------------------

    def ticks_ms(self) -> int:
        return (self.now_ms + TICKS_PERIOD - 5000) % TICKS_PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        return (later - earlier + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2

    def sleep_ms(self, ms: int) -> None:
        self.now_ms += ms
        self.longest_unfed_ms = max(self.longest_unfed_ms, self.now_ms - self.fed_ms)
        self.on_sleep(ms)

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
            ),
            "gc": _module("gc", threshold=lambda n: None, collect=lambda: None, mem_free=lambda: 100_000),
            "onewire": _module("onewire", OneWire=lambda pin: self._line("onewire")),
            "ring": ring,
            "settings": settings,
            "names": names,
            "signals": signals,
            "socket": _socket(self),
        }

    def _line(self, what: str) -> Any:
        self.troubles.call(what)
        return getattr(self.buses, what)()

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


class Broker:
    """A broker with a collector behind it, which answers each pack; of those answers every ``loses``-th is lost."""

    def __init__(self, loses: int = 7) -> None:
        self.call = ""  # what it says is called, beside each acknowledgement
        self.packs: list[tuple[bytes, bytes]] = []  # boot and sequence number of each that came
        self.reports: list[bytes] = []
        self._loses = loses

    def answer(self, data: bytes) -> tuple[bytes, bytes]:
        """What the broker says to what it was sent, and what of that was no whole packet yet."""
        said = b""
        while len(data) > 1 and (found := link_mqtt.split(data)) is not None:
            kind, content, data = found
            said += self._said(kind, content)
        return said, data

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
        if not topic.endswith(b"/pack"):
            return bytes(said)
        boot, seq = payload.split(b" ")[:2]
        self.packs.append((boot, seq))
        if len(self.packs) % self._loses == 0:
            return bytes(said)
        head = b"!" + boot[1:] + b" " + seq
        line = head + b" %08x" % packet.crc32(head)
        to = topic.replace(b"/pack", b"/ack")
        head = bytes([len(to) >> 8, len(to) & 255]) + to
        if self.call:
            said += link_mqtt.packet(0x30, head + call_line(boot[1:].decode(), self.call))
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
            said, self._heard = board.broker.answer(self._heard + data)
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
        IN, OUT, PULL_UP = 0, 1, 2

        def __init__(self, number: int, mode: int = -1, pull: int = -1, *, value: int | None = None) -> None:
            board.troubles.call("Pin")
            if number not in board.pins:
                raise ValueError("invalid pin")
            self.number = number

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
        return board.buses.i2c()

    def uart(number: int, **how: Any) -> Any:
        board.troubles.call("UART")
        if number > 2:
            raise ValueError(f"UART({number}) does not exist")
        return board.buses.uart()

    def time_pulse_us(pin: Pin, level: int, timeout_us: int) -> int:
        board.troubles.call("time_pulse_us")
        return int(board.buses.pins().echo_us(timeout_us))

    def reset() -> None:
        raise Reset

    return _module(
        "machine", Pin=Pin, ADC=ADC, WDT=WDT, I2C=i2c, UART=uart, time_pulse_us=time_pulse_us, reset=reset,
        unique_id=lambda: b"\x01\x02\x03\x04\x05\x06", reset_cause=lambda: board.reset_cause_code,
        PWRON_RESET=1, HARD_RESET=2, WDT_RESET=3, DEEPSLEEP_RESET=4, SOFT_RESET=5,
    )  # fmt: skip


def _network(board: FakeBoard) -> types.ModuleType:
    class WLAN:
        def __init__(self, which: int) -> None:
            board.troubles.call("WLAN")

        def active(self, is_on: bool) -> None:
            board.troubles.call("active")

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
