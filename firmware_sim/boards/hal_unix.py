"""A board made of the MicroPython Unix port: the firmware as it is, over chips that another process simulates.

    micropython -X heapsize=60k -c 'import hal_unix; hal_unix.begin("config.txt")'

It lies beside the files of node/, as hal_board.py does on a board. Besides the keys of a board, the configuration has
bench (host:port of bus_server.py), line (path of the serial line), epoch_ms and speed (of the dough's time), and
heap_every (measurements between looks at the heap; 0: never). It prints what happens: boot, acked, empty, heap.
"""

import binascii
import gc
import os
import socket
import sys
import time

from micropython import const

gc.threshold(1024)  # from the first import on: memory that is tidied late lies in pieces too small for a frame

import ring

_TICKS_PERIOD = const(1 << 30)  # as a board's 32-bit ticks
_WRAPS_AFTER_MS = const(15000)  # the ticks start just before they wrap, so that every run crosses it


def ticks_diff(later, earlier):
    """Signed difference of two ticks."""
    return (later - earlier + _TICKS_PERIOD // 2) % _TICKS_PERIOD - _TICKS_PERIOD // 2


class BenchClient:
    """The buses and the chips' clock, a line of text each way a call: the method's name and what it is given."""

    def __init__(self, address):
        host, port = address.split(":")
        self._sock = socket.socket()
        self._sock.connect(socket.getaddrinfo(host, int(port))[0][-1])

    def ask(self, *words):
        """The bench's answer; OSError when the bus gave one."""
        self._sock.write(" ".join([str(word) for word in words]) + "\n")
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
        self.ask("writeto", address, str(binascii.hexlify(data), "utf8"))

    def readfrom_into(self, address, buffer):
        """I2C: fill a buffer from a chip."""
        buffer[:] = binascii.unhexlify(self.ask("readfrom_into", address, len(buffer)))

    def reset(self):
        """1-Wire: True when somebody is there."""
        return self.ask("reset") == "1"

    def readbit(self):
        """1-Wire: one slot."""
        return int(self.ask("readbit"))

    def writebit(self, value):
        """1-Wire: one slot."""
        self.ask("writebit", value)

    def readbyte(self):
        """1-Wire: eight slots."""
        return int(self.ask("readbyte"))

    def writebyte(self, value):
        """1-Wire: eight slots."""
        self.ask("writebyte", value)

    def write(self, data):
        """Serial line of the ranger."""
        self.ask("write", str(binascii.hexlify(data), "utf8"))
        return len(data)

    def read(self, n):
        """Serial line of the ranger: bytes that came, or None."""
        return binascii.unhexlify(self.ask("read", n)) or None

    def echo_us(self, timeout_us):
        """Pins of the sonar."""
        return int(self.ask("echo_us", timeout_us))

    def ticks_ms(self):
        """The chips' clock."""
        return int(self.ask("ticks_ms"))

    def sleep_ms(self, ms):
        """Runs the chips' clock ahead; nobody waits."""
        self.ask("sleep_ms", ms)

    ticks_diff = staticmethod(ticks_diff)


class PrintingRing(ring.Ring):
    """Says what was acknowledged, for whoever compares it with the store."""

    def free(self, seq):
        """As the ring's."""
        was_there = ring.Ring.free(self, seq)
        if was_there:
            print("acked %d" % seq)
        return was_there


def new_boot():
    """Eight hexadecimal digits, others at each start and for each tub."""
    return str(binascii.hexlify(os.urandom(4)), "utf8")


def tubs_beside(path, found, settings, bench, first):
    """(urn, boot, sensors, ring) of each further tub; whatever pins it names, the bench has one chip of each kind."""
    tubs = []
    for place in found["beside"].split(",") if found["beside"] else ():
        told = settings.read(path.replace(".txt", "_" + place + ".txt"))
        sensors = settings.sensors_of(told, bench, bench, first)
        tubs.append((found["name"] + "_" + place, new_boot(), sensors, ring.Ring(int(told["room"]))))
    return tubs


class UnixBoard:
    """The hal: see main.py."""

    def __init__(self, found, sensors, bench, beside):
        self._bench = bench
        self.urn = found["name"]
        self.boot = new_boot()
        self.sensors = sensors
        self.beside = beside
        self._speed = int(found["speed"])
        self._begun = time.ticks_ms()
        self._dough_begun_ms = (time.time_ns() // 1000000 - int(found["epoch_ms"])) * self._speed
        # At high speed the loop must turn more often than it is measured.
        self._longest_nap_ms = max(1, 1000 * int(found["period_s"]) // self._speed // 4)

    def ticks_ms(self):
        """Real milliseconds, wrapping."""
        return (time.ticks_diff(time.ticks_ms(), self._begun) - _WRAPS_AFTER_MS) % _TICKS_PERIOD

    def dough_ticks_ms(self):
        """Dough milliseconds, wrapping."""
        since_ms = time.ticks_diff(time.ticks_ms(), self._begun) * self._speed
        return max(0, self._dough_begun_ms + since_ms) % _TICKS_PERIOD

    ticks_diff = staticmethod(ticks_diff)

    def health(self):
        """What the bench says of signal and battery, - for what it does not know."""
        return tuple([None if word == "-" else int(word) for word in self._bench.ask("health").split()])

    def condition(self):
        """What started it, free bytes, no signal, a flash that it does not have."""
        return ("power", gc.mem_free(), None, None)

    def sleep_ms(self, ms):
        """Wait real milliseconds, at most so long as the speed allows."""
        time.sleep_ms(min(ms, self._longest_nap_ms))

    def is_running(self):
        """For ever: it ends as a board does, without warning."""
        return True


def assembled(path):
    """Board, ring and loop of the node that a configuration describes, and the measurements between looks."""
    import settings

    found = settings.read(path)
    kept = PrintingRing(int(found["room"]))  # the largest piece first, while the memory is in one piece
    # Then the largest file, which takes most when it is compiled where it lies.
    link = settings.link_of(found, found["name"], lambda: __import__("line_unix").DeviceLine(found["line"]))
    import main  # only now, for the same reason

    bench = BenchClient(found["bench"])
    sensors = settings.sensors_of(found, bench, bench)
    board = UnixBoard(found, sensors, bench, tubs_beside(path, found, settings, bench, sensors))
    del sys.modules["settings"]  # it has done its work, and its memory is the loop's
    return board, kept, main.Node(board, link, 1000 * int(found["period_s"]), kept), int(found.get("heap_every", "0"))


def begin(path):
    """The firmware's own loop, with an eye on the heap."""
    board, kept, node, every = assembled(path)
    looked_seq = 0
    was_empty = True
    gc.collect()
    print("boot %s %d" % (board.boot, gc.mem_alloc()))
    while True:
        nap_ms = node.turn()
        if every and node.ring.last_seq - looked_seq >= every:
            looked_seq = node.ring.last_seq
            gc.collect()
            print("heap %d %d %d %d" % (looked_seq, len(node.ring), gc.mem_alloc(), gc.mem_free()))
        is_empty = len(kept) == 0
        if is_empty and not was_empty:
            print("empty")
        was_empty = is_empty
        board.sleep_ms(nap_ms)
