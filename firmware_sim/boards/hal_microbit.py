"""The core of the node (packets, ring, line, acknowledgements) on the smallest board that speaks Python.

A Cortex-M0 with MicroPython 1.9.2 and 9 kB. It has no sensors: what it is to have measured comes in by the line, as
text of four whole numbers in the order of sampling.py, - for one not read: "=2531 7620 - 2124". microbit_image.py
builds it into an image. It says boot, heap (used and free bytes) and acked on lines of their own.
"""

import gc
from random import randrange

import link_serial
import packet
import ring
from microbit import running_time, sleep, uart

URN = "urn:dev:mac:020000fffe5e00b1"
ROOM = 8
WINDOW = 1
RESEND = 20
A_MS = 100


class UartLine:
    """The UART as the link's port; lines with values are kept back."""

    def __init__(self):
        self.values = None
        self._held = b""

    def is_open(self):
        """Nothing tells."""
        return True

    def write(self, data):
        """All of it goes out."""
        uart.write(data)
        return len(data)

    def read(self, most):
        """Whole lines that are not values, or None."""
        if uart.any():
            self._held += uart.read(32)
        end = self._held.find(b"\n")
        if end < 0:
            return None
        line = self._held[: end + 1]
        self._held = self._held[end + 1 :]
        if line[0] != 61:
            return line
        self.values = [None if word == b"-" else int(word) for word in line[1:].split()]
        return None


def run():
    """Take values, send them, forget what was acknowledged; for ever."""
    uart.init(115200)
    port = UartLine()
    kept = ring.Ring(ROOM)
    link = link_serial.SerialLink(port)
    boot = "%04x%04x" % (randrange(65536), randrange(65536))
    uart.write("boot %s\n" % boot)
    while True:
        now = running_time() // A_MS
        link.poll(now)
        if port.values:
            kept.add(now, port.values)
            port.values = None
            gc.collect()
            uart.write("heap %d %d\n" % (gc.mem_alloc(), gc.mem_free()))
        for line in link.take_acks():
            seq = packet.acked_seq(line, boot)
            if seq is not None and kept.free(seq):
                uart.write("acked %d\n" % seq)
        at = kept.due(now, RESEND, WINDOW)
        if at is not None:
            seq, taken, values, _ = kept.pack(at)
            if link.send(packet.frame(boot, seq, URN, A_MS * (now - taken), values, A_MS * now)):
                kept.note_sent(at, now)
        gc.collect()
        sleep(5)


run()
