"""A serial line pulled out and put back under another name, again and again, found by its hardware id each time."""

import os
import tempfile
import threading
import time
from pathlib import Path
from queue import Queue
from types import SimpleNamespace
from unittest.mock import patch

from faults.table import Line
from harness import PtyPair, next_of, wait_until
from programs import good_frame

from monitor.clock import SystemClock
from monitor.sources.intake import Frame, Item
from monitor.sources.serial import SerialSource

SPEC = "hwid:1209:0001"
WITHIN_S = 5.0
NODE = "urn:dev:mac:020000fffe5e0001"


def _open_files() -> int:
    return len(os.listdir("/proc/self/fd" if os.path.isdir("/proc/self/fd") else "/dev/fd"))


def run(times: int) -> Line:
    """Pull and return it so many times."""
    wrong: list[str] = []
    reopened_s: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        line = PtyPair(-1, Path(folder) / "tty0", -1)
        there: list[SimpleNamespace] = []

        def plug_in(n: int) -> None:
            line.path = Path(folder) / f"tty{n}"
            line.plug_in()
            there[:] = [SimpleNamespace(device=str(line.path), vid=0x1209, pid=1, serial_number=None)]

        inbox: Queue[Item] = Queue(1000)
        source = SerialSource(SPEC, SystemClock(), inbox)
        with patch("monitor.sources.serial.list_ports.comports", lambda: list(there)):
            source.start()
            try:
                plug_in(0)
                wait_until(lambda: not source.trouble and _is_read(line, inbox, 1), "the line is read")
                files, threads = _open_files(), threading.active_count()
                for n in range(1, times + 1):
                    there.clear()
                    line.unplug()
                    wait_until(lambda: bool(source.trouble), "the source knows that it is gone")
                    began_s = time.monotonic()
                    plug_in(n)
                    wait_until(lambda: not source.trouble, "it is open again")
                    reopened_s.append(time.monotonic() - began_s)
                    if not _is_read(line, inbox, n + 1):
                        wrong.append(f"after {n}: nothing is read")
                if _open_files() > files or threading.active_count() > threads:
                    wrong.append(f"files {files} -> {_open_files()}, threads {threads} -> {threading.active_count()}")
            finally:
                source.stop()
                line.unplug()
    if max(reopened_s) > WITHIN_S:
        wrong.append("not open within 5 s")
    return Line(
        "serial line pulled and returned under another name",
        f"{times}",
        f"open again within {max(reopened_s):.1f} s at the longest; no file and no thread more than before",
        tuple(wrong),
    )


def _is_read(line: PtyPair, inbox: "Queue[Item]", seq: int) -> bool:
    """True when a frame comes through; one that goes while the port is being opened is sent again, as a node does."""
    frame = good_frame(NODE, seq)
    for _ in range(100):
        line.send(frame + b"\n")
        end_s = time.monotonic() + 0.2
        while time.monotonic() < end_s:
            if any(isinstance(item, Frame) and item.data == frame for item in list(inbox.queue)):
                while next_of(inbox, Frame).data != frame:
                    pass
                return True
            time.sleep(0.005)
    return False
