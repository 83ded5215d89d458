"""A board made of the MicroPython Unix port: the firmware as it is, over chips that another process simulates.

    micropython -X heapsize=48k hal_unix.py config.txt

It lies beside the files of node/, as hal_board.py does on a board. Besides the keys of a board, the configuration has
bench (host:port of bus_server.py), line (path of the serial line), epoch_ms and speed (of the dough's time), and
heap_every (measurements between looks at the heap; 0 for never). It prints what happens: boot, acked, heap, a line each.
"""

import binascii
import gc
import os
import select
import socket
import sys
import time

import main
import ring
import settings

TICKS_PERIOD = 1 << 30  # as a board's 32-bit ticks
WRAPS_AFTER_MS = 15000  # the ticks start just before they wrap, so that every run crosses it
REOPEN_MS = 200


def ticks_diff(later, earlier):
    """Signed difference of two ticks."""
    return (later - earlier + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2


class Bench:
    """The buses and the chips' clock, a line of text each way a call."""

    def __init__(self, address):
        host, port = address.split(":")
        self._sock = socket.socket()
        self._sock.connect(socket.getaddrinfo(host, int(port))[0][-1])

    def ask(self, line):
        """The bench's answer; OSError when the bus gave one."""
        self._sock.write(line + "\n")
        answer = self._sock.readline()
        if not answer:
            sys.exit(0)  # the bench is gone, and with it the supply
        if answer[0] == 33:  # !
            raise OSError(int(answer[1:]))
        return str(answer, "utf8").strip()

    def i2c(self):
        """The same object is every bus."""
        return self

    onewire = uart = pins = i2c

    def writeto(self, address, data):
        """I2C: bytes to a chip."""
        self.ask("w %d %s" % (address, str(binascii.hexlify(data), "utf8")))

    def readfrom_into(self, address, buffer):
        """I2C: fill a buffer from a chip."""
        buffer[:] = binascii.unhexlify(self.ask("r %d %d" % (address, len(buffer))))

    def reset(self):
        """1-Wire: True when somebody is there."""
        return self.ask("x") == "1"

    def readbit(self):
        """1-Wire: one slot."""
        return int(self.ask("b"))

    def writebit(self, bit):
        """1-Wire: one slot."""
        self.ask("B %d" % bit)

    def readbyte(self):
        """1-Wire: eight slots."""
        return int(self.ask("c"))

    def writebyte(self, byte):
        """1-Wire: eight slots."""
        self.ask("C %d" % byte)

    def write(self, data):
        """Serial line of the ranger."""
        self.ask("t " + str(binascii.hexlify(data), "utf8"))
        return len(data)

    def read(self, most):
        """Serial line of the ranger: bytes that came, or None."""
        return binascii.unhexlify(self.ask("u %d" % most)) or None

    def echo_us(self, timeout_us):
        """Pins of the sonar."""
        return int(self.ask("p %d" % timeout_us))

    def ticks_ms(self):
        """The chips' clock."""
        return int(self.ask("n"))

    def sleep_ms(self, ms):
        """Runs the chips' clock ahead; nobody waits."""
        self.ask("s %d" % ms)

    ticks_diff = staticmethod(ticks_diff)


class Line:
    """A serial line by its path, opened again when it comes back."""

    def __init__(self, path):
        self._path = path
        self._file = None
        self._poll = None
        self._closed = time.ticks_ms() - REOPEN_MS

    def is_open(self):
        """True while the line is there."""
        if self._file is None and time.ticks_diff(time.ticks_ms(), self._closed) >= REOPEN_MS:
            self._closed = time.ticks_ms()
            try:
                self._file = open(self._path, "r+b")
            except OSError:
                return False
            self._poll = select.poll()
            self._poll.register(self._file, select.POLLIN)
        if self._file is not None:
            for event in self._poll.poll(0):
                if event[1] & (select.POLLHUP | select.POLLERR):
                    self._close()
        return self._file is not None

    def _close(self):
        self._closed = time.ticks_ms()
        try:
            self._file.close()
        except OSError:
            pass  # gone already
        self._file = None

    def read(self, most):
        """Bytes that came, or None."""
        data = b""
        try:
            while self._file is not None and len(data) < most and self._poll.poll(0):
                piece = self._file.read(1)
                if not piece:
                    self._close()
                else:
                    data = data + piece
        except OSError:
            self._close()
        return data or None

    def write(self, data):
        """How many bytes went out."""
        try:
            return self._file.write(data)
        except OSError:
            self._close()
            return None


class ToldRing(ring.Ring):
    """Says what was acknowledged, for whoever compares it with the store."""

    def free(self, seq):
        """As the ring's."""
        was_there = ring.Ring.free(self, seq)
        if was_there:
            print("acked %d" % seq)
        return was_there


class Board:
    """The hal: see main.py."""

    def __init__(self, found):
        self.urn = found["name"]
        self.boot = str(binascii.hexlify(os.urandom(4)), "utf8")
        bench = Bench(found["bench"])
        self.sensors = settings.sensors_of(found, bench, bench)
        self._speed = int(found["speed"])
        self._begun = time.ticks_ms()
        self._dough_begun_ms = (time.time_ns() // 1000000 - int(found["epoch_ms"])) * self._speed
        self.slept = 0

    def ticks_ms(self):
        """Real milliseconds, wrapping."""
        return (time.ticks_diff(time.ticks_ms(), self._begun) - WRAPS_AFTER_MS) % TICKS_PERIOD

    def dough_ticks_ms(self):
        """Dough milliseconds, wrapping."""
        since_ms = time.ticks_diff(time.ticks_ms(), self._begun) * self._speed
        return max(0, self._dough_begun_ms + since_ms) % TICKS_PERIOD

    ticks_diff = staticmethod(ticks_diff)
    sleep_ms = staticmethod(time.sleep_ms)

    def is_running(self):
        """For ever: it ends as a board does, without warning."""
        return True


def be_node(found):
    """The firmware's own loop, with an eye on the heap."""
    board = Board(found)
    link = settings.link_of(found, board.urn, lambda: Line(found["line"]))
    node = main.Node(board, link, 1000 * int(found["period_s"]), int(found["room"]))
    node.ring = ToldRing(int(found["room"]))
    every = int(found.get("heap_every", "0"))
    looked_seq = 0
    print("boot " + board.boot)
    while True:
        nap_ms = node.turn()
        if every and node.ring.last_seq - looked_seq >= every:
            looked_seq = node.ring.last_seq
            gc.collect()
            print("heap %d %d %d %d" % (looked_seq, len(node.ring.packs), gc.mem_alloc(), gc.mem_free()))
        board.sleep_ms(nap_ms)


if __name__ == "__main__":
    be_node(settings.read(sys.argv[1]))
