"""The node's core on an emulated Cortex-M0: old MicroPython, 9 kB of heap, a line, and a supply that is pulled."""

import os
import select
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from harness import MICROBIT_FIRMWARE, EmulatedBoard, PtyPair, wait_until
from node_day import kept_of
from programs import CollectorProcess

from firmware_sim.boards import microbit_image as microbit
from firmware_sim.node import packet
from monitor.settings.data_dir import DATABASE_NAME

URN = "urn:dev:mac:020000fffe5e00b1"
HEAP_BYTES = 10 * 1024  # 9 kB are free before the program is there


class Wire:
    """From the board's line to the collector's serial port and back; values are put in on the board's side.

    What the board says for people (boot, heap, acked) is kept; all of it is passed on, as on a real line.
    """

    def __init__(self, board: EmulatedBoard, pair: PtyPair) -> None:
        host, _, port = board.url.removeprefix("socket://").partition(":")
        self._sock = socket.create_connection((host, int(port)))
        self._pair = pair
        self._lock = threading.Lock()
        self._is_stopping = threading.Event()
        self._held = b""
        self.boot = ""
        self.acked: set[tuple[str, int]] = set()
        self.heap: list[tuple[int, int]] = []
        self.frames: list[bytes] = []
        self.said: list[str] = []
        self._thread = threading.Thread(target=self._carry, name="wire")
        self._thread.start()

    def _carry(self) -> None:
        while not self._is_stopping.is_set():
            with self._lock:
                ends = [self._sock, *([self._pair.node_fd] if self._pair.node_fd >= 0 else [])]
                for end in select.select(ends, [], [], 0)[0]:
                    try:
                        if end is self._sock:
                            self._from_board(self._sock.recv(4096))
                        else:
                            self._sock.sendall(os.read(self._pair.node_fd, 4096))
                    except OSError:  # the one side or the other is pulled
                        pass
            time.sleep(0.002)

    def _from_board(self, data: bytes) -> None:
        if self._pair.node_fd >= 0 and data:
            os.write(self._pair.node_fd, data)
        *lines, self._held = (self._held + data).split(b"\n")
        for line in lines:
            if line.startswith(b"@"):
                self.frames.append(line)
                self.boot = line[1:9].decode()
                continue
            match line.decode("latin-1").split():
                case ["boot", boot]:
                    self.boot = boot
                case ["acked", seq]:
                    self.acked.add((self.boot, int(seq)))
                case ["heap", used, free]:
                    self.heap.append((int(used), int(free)))
                case words:
                    self.said.append(" ".join(words))

    def feed(self, values: str) -> None:
        """Let the board measure this, and wait until it has."""
        before = len(self.heap)
        self._sock.sendall(f"={values}\n".encode())
        wait_until(lambda: len(self.heap) > before, f"the board takes {values}; it said {self.said}")

    def pull(self) -> None:
        """The collector's end goes."""
        with self._lock:
            self._pair.unplug()

    def plug_in(self) -> None:
        """It comes back."""
        with self._lock:
            self._pair.plug_in()

    def close(self) -> None:
        self._is_stopping.set()
        self._thread.join()
        self._sock.close()


@pytest.fixture
def board(tmp_path: Path, emulated_board: EmulatedBoard, pty_pair: PtyPair) -> Iterator[Callable[[], Wire]]:
    """Plugs the board in anew, with the node's core in its flash; what it said so far is kept by each wire."""
    emulated_board.pull()  # as it comes, it holds no program
    image = tmp_path / "node.hex"
    image.write_text(microbit.image(MICROBIT_FIRMWARE.read_text(), microbit.sources()))
    made: list[tuple[EmulatedBoard, Wire]] = []

    def plug_in() -> Wire:
        while made:
            old_board, old_wire = made.pop()
            old_board.pull()
            old_wire.close()
        new = EmulatedBoard(image)
        new.plug_in()
        made.append((new, Wire(new, pty_pair)))
        return made[-1][1]

    yield plug_in
    for old_board, old_wire in made:
        old_board.pull()
        old_wire.close()


def test_core_on_nine_kilobytes_keeps_its_word_over_pulled_cables_and_lost_supply(
    tmp_path: Path,
    board: Callable[[], Wire],
    pty_pair: PtyPair,
    capsys: pytest.CaptureFixture[str],
) -> None:
    fed: dict[str, list[int]] = {}
    wires: list[Wire] = []

    def measure(wire: Wire, tenth_mm: int) -> None:
        wire.feed(f"2531 7620 - {tenth_mm}")
        fed.setdefault(wire.boot, []).append(tenth_mm)

    def all_acked(wire: Wire, upto: int) -> Callable[[], bool]:
        return lambda: {(wire.boot, seq) for seq in range(1, upto + 1)} <= wire.acked

    with CollectorProcess(tmp_path / "data", "--serial", str(pty_pair.path)) as collector:
        wires.append(board())
        for at in range(6):
            measure(wires[0], 2124 - at)
        wait_until(all_acked(wires[0], 6), "six packs are acknowledged")
        wires[0].pull()
        for at in range(12):  # more than the ring has room for
            measure(wires[0], 2100 - at)
        wires[0].plug_in()
        wait_until(lambda: len(wires[0].acked) >= 13, "what was kept meanwhile is acknowledged")
        measure(wires[0], 2000)  # nobody waits for this one: the supply goes first
        wires.append(board())
        for at in range(6):
            measure(wires[1], 1900 - at)
        wait_until(all_acked(wires[1], 6), "six packs of the new boot are acknowledged")
        kept = kept_of(collector.data_dir / DATABASE_NAME, URN)
        with collector.open_store() as store:
            reasons = {fault.reason for fault in store.nodes.faults()}
    acked = wires[0].acked | wires[1].acked
    assert wires[0].boot != wires[1].boot
    assert acked <= kept.keys()
    assert all(len(values) == 1 for channels in kept.values() for values in channels.values())
    for (boot, _), channels in kept.items():
        assert channels.get("lost_packs") or round(channels["distance_mm"][0] * 10) in fed[boot]
    assert sum(channels.get("lost_packs", [0])[0] for channels in kept.values()) >= 12 - 7
    assert reasons <= {"noise", "checksum"}  # its lines for people; a line cut by the pull
    assert not [said for wire in wires for said in wire.said if "Error" in said]
    used = [used for wire in wires for used, _ in wire.heap]
    assert max(used) < HEAP_BYTES
    with capsys.disabled():
        print(f"\n  on the Cortex-M0: {len(acked)} packs acknowledged; heap {min(used)} to {max(used)} bytes used, "
              f"{min(free for wire in wires for _, free in wire.heap)} free at least")  # fmt: skip


def test_frames_of_the_board_are_those_of_every_other_node(board: Callable[[], Wire]) -> None:
    wire = board()
    wire.feed("2531 7620 2488 2124")
    wait_until(lambda: len(wire.frames) >= 1, "a frame comes")
    age_ms = round(-1000 * float(wire.frames[0].split(b'"bt":')[1].split(b",")[0]))
    up_ms = round(1000 * float(wire.frames[0].split(b'"up":')[1].split(b",")[0]))
    assert wire.frames[0] == packet.frame(wire.boot, 1, URN, age_ms, (2531, 7620, 2488, 2124), up_ms)
