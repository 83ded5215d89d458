"""Packs not acknowledged yet, oldest first, in a buffer that never grows.

When it is full the older half is thinned evenly, so that a long silence leaves a coarse curve and not a hole. What went
is told by a gap marker: a pack of its own that carries the number of lost packs. At most one marker waits at a time,
since a marker that may have arrived must not change any more.

Times are whole milliseconds that only grow; the caller extends the board's wrapping ticks.
"""

MARKER_LENGTH = 1  # a marker's values are a tuple of one: the number lost


class Ring:
    """Buffer of one boot.

    room: most packs kept, markers included; at least 6.
    """

    def __init__(self, room):
        if room < 6:
            raise ValueError("room")
        self.room = room
        self.packs = []  # lists [seq, taken_ms, values, sent_ms or None]
        self.last_seq = 0
        self.lost = 0  # dropped, and not told yet
        self._lost_taken_ms = 0

    def add(self, taken_ms, values):
        """Keep a measurement; gives it the next sequence number."""
        if len(self.packs) >= self.room - 1:  # one place is the marker's
            self._thin()
        self._append(taken_ms, values)
        self._mark()

    def _append(self, taken_ms, values):
        self.last_seq += 1
        self.packs.append([self.last_seq, taken_ms, values, None])

    def _thin(self):
        """Drop the reading whose neighbours are closest in time, of the older half; the oldest stays."""
        before = None
        middle = None
        best = None
        best_gap_ms = 0
        for at in range(len(self.packs) // 2 + 2):
            pack = self.packs[at]
            if len(pack[2]) == MARKER_LENGTH:
                continue
            if before is not None:
                gap_ms = pack[1] - self.packs[before][1]
                if best is None or gap_ms < best_gap_ms:
                    best = middle
                    best_gap_ms = gap_ms
            before = middle
            middle = at
        dropped = self.packs.pop(best)
        self.lost += 1
        if dropped[1] > self._lost_taken_ms:
            self._lost_taken_ms = dropped[1]

    def _mark(self):
        """Tell what was dropped, unless a marker is still on its way."""
        if self.lost == 0:
            return
        for pack in self.packs:
            if len(pack[2]) == MARKER_LENGTH:
                if pack[3] is None:  # never sent: it can still say more
                    pack[1] = self._lost_taken_ms
                    pack[2] = (pack[2][0] + self.lost,)
                    self.lost = 0
                return
        self._append(self._lost_taken_ms, (self.lost,))
        self.lost = 0

    def free(self, seq):
        """Forget an acknowledged pack; True when it was there."""
        for at in range(len(self.packs)):
            if self.packs[at][0] == seq:
                self.packs.pop(at)
                self._mark()
                return True
        return False

    def due(self, now_ms, resend_ms, window):
        """The next pack to send, or None.

        A pack is due when it was never sent, or sent resend_ms ago without an answer. At most window packs are on
        their way at once.
        """
        on_way = 0
        fresh = None
        for pack in self.packs:
            if pack[3] is None:
                if fresh is None:
                    fresh = pack
            elif now_ms - pack[3] >= resend_ms:
                return pack
            else:
                on_way += 1
        if on_way < window:
            return fresh
        return None

    def unsend(self):
        """After a link broke: whatever was on its way is due again at once."""
        for pack in self.packs:
            if pack[3] is not None:
                pack[3] = -(1 << 40)
