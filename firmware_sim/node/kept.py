"""Packs that outlast a restart: what nobody has answered goes to the board's flash, and is sent from there afterwards.

A file for each tub and boot, kept_<number>_<boot>.txt: whole frames, a line each, with the moment by the calendar in
place of the age. Boot and number in a frame are what they were, so a pack that had come through after all changes
nothing where it comes again. A line that was torn or has rotted has no right checksum and is passed over; a file that
cannot be read is left out. Without the date nothing is kept: nobody could say later when it was measured.

Flash wears by writing. A file is written anew at most once in so many minutes, and only while something has waited for
two: never, where somebody answers.
"""

import os

try:
    from firmware_sim.node import const, packet
except ImportError:  # on a board the files lie side by side
    import packet
    from micropython import const

_WAITS_MS = const(120000)  # what has waited so long for its answer is worth a file
_SOONEST_MS = const(60000)  # after the last file, before a planned restart
_A_TURN = const(4)  # frames written in one turn of the loop
_MOST_FRAMES = const(240)  # the newest ones of a tub: 53 kB
_MOST_FILES = const(8)  # of all boots: 430 kB
_LONGEST = const(1024)
_RESEND_MS = const(5000)
_NEW = "kept.new"


def _is_whole(line):
    """True for a frame with its checksum."""
    return len(line) > 20 and line[:1] == b"@" and bytes("%08x" % packet.crc32(line[:-9]), "utf8") == line[-8:]


def dated(framed, at_s):
    """A frame that says when by the calendar, in seconds since 1970, and no more how long ago."""
    head = framed[: framed.find(b'"bt":') + 5] + bytes("%d," % at_s, "utf8") + framed[framed.find(b'"n":') : -9]
    return head + bytes(" %08x" % packet.crc32(head), "utf8")


def _files():
    """Names of what is kept, the oldest first."""
    return sorted([name for name in os.listdir() if name.startswith("kept_") and name.endswith(".txt")])


def _remove(name):
    try:
        os.remove(name)
    except OSError:
        pass  # gone already, or a file system that is read-only: it is tried again after the next start


class Keeper:
    """The files of one board.

    date: gives seconds since 1970, None while nobody has told it. every_ms: from one file of a tub to the next.
    sleep_ms: for so long the board itself keeps a pack back, its radio off.
    writes: files written or taken away since the start.
    """

    def __init__(self, date, every_ms, sleep_ms=0):
        self._date = date
        self._every_ms = every_ms
        self._waits_ms = _WAITS_MS + sleep_ms
        self._tubs = ()
        self._up = self._now = None
        self._written_ms = 0  # real time of the last file, or the start
        self._names = {}  # of each boot's own file, once there is one
        self._todo = []  # tubs still to be written
        self._file = None
        self._seq = 0  # the last one written
        self.writes = 0
        # What earlier boots have left.
        try:
            self._old = _files()
        except OSError:
            self._old = []
        self._number = int(self._old[-1][5:10]) + 1 if self._old and self._old[-1][5:10].isdigit() else 1
        while len(self._old) > _MOST_FILES:
            _remove(self._old.pop(0))
        self._at = 0  # where in the oldest of them
        self._line = None  # the frame that waits for its answer
        self._sent_ms = None

    def begin(self, tubs, up, now):
        """Tell whose packs are to be kept. up, now: give the time that they are counted in, and the real one. [ms]"""
        self._tubs = tubs
        self._up = up
        self._now = now

    # -- to the flash

    def turn(self, now_ms):
        """Write what is due, a few frames at a time."""
        if self._file is None and not self._todo:
            if now_ms - self._written_ms < self._every_ms:
                return
            self._written_ms = now_ms
            self._choose()
        if self._file is not None or self._todo:
            self._write(_A_TURN)

    def save(self):
        """Write all of it at once: the board is about to start anew."""
        if self._now is None or self._now() - self._written_ms < _SOONEST_MS:
            return
        self._close()
        self._choose()
        while self._file is not None or self._todo:
            self._write(_MOST_FRAMES)

    def _choose(self):
        """The tubs with packs that wait; the file of one without any goes."""
        self._todo = []
        for tub in self._tubs:
            if len(tub.ring) and self._up() - 100 * tub.ring.pack(0)[1] >= self._waits_ms:
                if self._date() is not None:
                    self._todo.append(tub)
            elif tub.boot in self._names:
                self.writes += 1
                _remove(self._names.pop(tub.boot))

    def _close(self):
        if self._file is not None:
            self._file.close()
            self._file = None

    def _write(self, most):
        try:
            if self._file is None:
                self._file = open(_NEW, "wb")
                self._seq = 0
            if self._write_some(self._todo[0], most):
                return
            self._close()
            self._put_in_place(self._todo.pop(0).boot)
        except OSError:  # no room, or a flash that is worn: what is in memory is still there
            self._close()
            self._todo = []

    def _write_some(self, tub, most):
        """Write the next frames of a tub; False when there are no more."""
        ring = tub.ring
        date_s = self._date()
        for at in range(max(0, len(ring) - _MOST_FRAMES), len(ring)):
            seq, taken, values, _ = ring.pack(at)
            if seq <= self._seq:
                continue
            if most == 0:
                return True
            most -= 1
            up_ms = self._up()
            framed = packet.frame(tub.boot, seq, tub.urn, 0, values, 0)
            self._file.write(dated(framed, date_s - (up_ms - 100 * taken + 500) // 1000) + b"\n")
            self._seq = seq
        return False

    def _put_in_place(self, boot):
        """The new file in place of the one before, in one step where the file system can."""
        name = "kept_%05d_%s.txt" % (self._number, boot)
        self.writes += 1
        try:
            os.rename(_NEW, name)
        except OSError:  # FAT does not replace
            os.remove(name)
            os.rename(_NEW, name)
        self._names[boot] = name

    # -- from the flash

    def send(self, link, now_ms):
        """Send the next frame of an earlier boot, one at a time; once more when nobody has answered it."""
        if self._line is None:
            self._line = self._next()
            self._sent_ms = None
        if self._line is None or (self._sent_ms is not None and now_ms - self._sent_ms < _RESEND_MS):
            return
        if link.send(self._line):
            self._sent_ms = now_ms

    def unsend(self):
        """After the link broke: what was on its way is due again."""
        self._sent_ms = None

    def is_answer(self, answer):
        """True when it acknowledges the frame that waits; the next one comes then."""
        line = self._line
        if line is None or packet.acked_seq(answer, str(line[1:9], "utf8")) != int(line[10 : line.find(b" ", 10)]):
            return False
        self._line = None
        return True

    def _next(self):
        """The next whole frame; None when there are no more. A file that was sent to its end goes."""
        while self._old:
            try:
                with open(self._old[0], "rb") as file:
                    file.seek(self._at)
                    while True:
                        line = file.readline(_LONGEST)
                        if not line:
                            break
                        self._at += len(line)
                        if _is_whole(line[:-1]):
                            return line[:-1]
                self.writes += 1
                _remove(self._old.pop(0))
            except OSError:  # it is tried again after the next start
                self._old.pop(0)
            self._at = 0
        return None
