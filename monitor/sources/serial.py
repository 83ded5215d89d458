"""Readings from a serial line: opened by path, hardware id or URL, and opened again after it was unplugged."""

import logging
import queue
import threading
from collections import deque
from datetime import datetime

import serial
from serial.tools import list_ports

from monitor.clock import Clock
from monitor.errors import ConfigError, SourceError
from monitor.sources.intake import Fault, Frame, Item, Report, Status, put
from monitor.wire.lines import LineSplitter
from monitor.wire.reports import MARK

log = logging.getLogger(__name__)

BAUD = 115_200
HWID_PREFIX = "hwid:"
READ_S = 0.05  # judgement: how long an acknowledgement may wait for the line's thread
WRITE_S = 1.0  # judgement: a node that takes nothing for so long does not listen; it will send again
BYTES_A_READ = 4096
FIRST_RETRY_S, LAST_RETRY_S = 0.5, 4.0  # judgement: quick after a bumped plug; within 5 s however long it was out
FAULTS_EVERY_S = 1.0  # noise is handed over once a second, so that a babbling line cannot fill the queue


def found_ports() -> list[str]:
    """The serial ports of this machine, each as its path and, where it has one, the hardware id to name it by."""
    return [
        port.device if port.vid is None else f"{port.device} ({hardware_id(port.vid, port.pid, port.serial_number)})"
        for port in sorted(list_ports.comports(), key=lambda port: str(port.device))
    ]


def port_of(spec: str) -> str:
    """The path or URL of a port.

    Parameters
    ----------
    spec
        A path, a URL such as ``socket://127.0.0.1:7000``, or ``hwid:VID:PID`` or ``hwid:VID:PID:SERIAL`` with VID and
        PID in hexadecimal, which finds a USB port whatever path it was given this time.

    Raises
    ------
    ConfigError
        When a hardware id is not of that form.
    SourceError
        When no port has this hardware id now, or several have.
    """
    if not spec.startswith(HWID_PREFIX):
        return spec
    vid, pid, serial_number = _parsed_hwid(spec)
    found = [
        port
        for port in list_ports.comports()
        if (port.vid, port.pid) == (vid, pid) and serial_number in (None, port.serial_number)
    ]
    if not found:
        raise SourceError(
            "{spec}: no such device is plugged in; plug it in, or see the list of ports for its id", spec=spec
        )
    if len(found) > 1:
        names = ", ".join(hardware_id(vid, pid, port.serial_number) for port in found)
        raise SourceError(
            "{spec}: {n} devices have this id; name one by its serial number: {names}",
            spec=spec,
            n=len(found),
            names=names,
        )
    return str(found[0].device)


def _parsed_hwid(spec: str) -> tuple[int, int, str | None]:
    parts = spec.removeprefix(HWID_PREFIX).split(":", 2)
    try:
        vid, pid = int(parts[0], 16), int(parts[1], 16)
    except (ValueError, IndexError) as error:
        raise ConfigError(
            "serial port {spec!r}: must be hwid:VID:PID or hwid:VID:PID:SERIAL, such as hwid:1209:0001", spec=spec
        ) from error
    return vid, pid, parts[2] if len(parts) > 2 else None


def hardware_id(vid: int, pid: int, serial_number: str | None) -> str:
    """How a USB port is named whatever path it is given: ``hwid:VID:PID``, and its serial number where it has one."""
    return f"{HWID_PREFIX}{vid:04x}:{pid:04x}" + (f":{serial_number}" if serial_number else "")


class SerialSource:
    """One serial line, read by a thread of its own from :meth:`start` to :meth:`stop`.

    Parameters
    ----------
    spec
        See :func:`port_of`.
    items
        Frames, states and faults go there; while it is full the line is not read.

    Attributes
    ----------
    trouble
        Why the port cannot be opened at the moment; empty when it is open.

    Raises
    ------
    ConfigError
        When ``spec`` is a hardware id of the wrong form. A port that is not there is no error: it is waited for.
    """

    def __init__(self, spec: str, clock: Clock, items: "queue.Queue[Item]") -> None:
        if spec.startswith(HWID_PREFIX):
            _parsed_hwid(spec)
        self.name = f"serial:{spec}"
        self.trouble = ""
        self._spec = spec
        self._clock = clock
        self._items = items
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=self.name)

    def start(self) -> None:
        """Begin to read; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """End reading, close the port and wait for the thread."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        retry_s, reported = FIRST_RETRY_S, ""
        while not self._stopping.is_set():
            try:
                port = self._opened()
            except SourceError as error:
                if str(error) != reported:
                    log.warning("waiting source=%s reason=%r", self.name, str(error))
                    reported = str(error)
                self.trouble = error.message
                self._stopping.wait(retry_s)
                retry_s = min(2 * retry_s, LAST_RETRY_S)
                continue
            log.info("open source=%s port=%s", self.name, port.port)
            retry_s, reported = FIRST_RETRY_S, ""
            self.trouble = ""
            self._tell(is_online=True)
            line = _Line(port, self.name, self._clock, self._items, self._stopping)
            try:
                line.read()
            except SourceError as error:
                log.warning("lost source=%s reason=%r", self.name, str(error))
                self._tell(is_online=False, detail=error.message)
                self._stopping.wait(retry_s)

    def _opened(self) -> serial.Serial:
        path = port_of(self._spec)
        try:
            port = serial.serial_for_url(path, do_not_open=True, baudrate=BAUD, timeout=READ_S, write_timeout=WRITE_S)
            if "://" not in path:
                port.exclusive = True  # a second reader would take half of the bytes
            port.open()
        except (OSError, ValueError) as error:  # SerialException is an OSError; ValueError: a URL of no known kind
            raise SourceError(
                "{path}: cannot be opened: {why}; check the plug, the name and the rights", path=path, why=error
            ) from error
        return port

    def _tell(self, *, is_online: bool, detail: str = "") -> None:
        put(self._items, Status(self.name, None, is_online, self._clock.now(), detail), self._stopping)


class _Line:
    """One opening of a port, to the moment it is lost or stopped."""

    def __init__(
        self,
        port: serial.Serial,
        name: str,
        clock: Clock,
        items: "queue.Queue[Item]",
        stopping: threading.Event,
    ) -> None:
        self._port = port
        self._name = name
        self._clock = clock
        self._items = items
        self._stopping = stopping
        self._splitter = LineSplitter()
        # Written by the line's own thread, so that a node that does not listen can never hold up the collector. An
        # acknowledgement that comes after the port was lost stays here unsent: the node sends its pack again.
        self._acknowledgements: deque[bytes] = deque()
        self._noise = 0
        self._too_long = 0
        self._told_faults_s = clock.real_s()

    def read(self) -> None:
        """Move bytes until the source is stopped; SourceError when the port is lost."""
        try:
            while not self._stopping.is_set():
                self._send_acknowledgements()
                data = self._port.read(max(1, min(self._port.in_waiting, BYTES_A_READ)))
                self._take(data, self._clock.now())
        except OSError as error:  # SerialException is one; in_waiting of a lost port raises the plain one
            raise SourceError(
                "{port}: lost: {why}; it is opened again when it is back", port=self._port.port, why=error
            ) from error
        finally:
            self._tell_faults(self._clock.now())
            self._port.close()

    def _send_acknowledgements(self) -> None:
        while self._acknowledgements:
            try:
                self._port.write(self._acknowledgements.popleft() + b"\n")
            except serial.SerialTimeoutException:
                self._acknowledgements.clear()

    def _take(self, data: bytes, arrived_at: datetime) -> None:
        for line in self._splitter.feed(data):
            if line.startswith(b"@"):
                frame = Frame(line, arrived_at, self._name, None, self._acknowledgements.append)
                put(self._items, frame, self._stopping)
            elif line.startswith(MARK):
                put(self._items, Report(line, arrived_at, self._name, None), self._stopping)
            else:
                self._noise += 1
        if self._clock.real_s() - self._told_faults_s >= FAULTS_EVERY_S:
            self._tell_faults(arrived_at)

    def _tell_faults(self, at: datetime) -> None:
        self._told_faults_s = self._clock.real_s()
        too_long = self._splitter.too_long - self._too_long
        if too_long:
            self._too_long = self._splitter.too_long
            put(self._items, Fault(self._name, None, "too long", too_long, at), self._stopping)
        if self._noise:
            noise, self._noise = self._noise, 0
            put(self._items, Fault(self._name, None, "noise", noise, at), self._stopping)
