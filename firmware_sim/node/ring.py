"""Packs not acknowledged yet, oldest first, in memory taken once and for all.

When it is full the older half is thinned evenly, so that a long silence leaves a coarse curve and not a hole. What went
is told by a gap marker: a pack of its own whose values are a tuple of one, the number of lost packs. One that arrived
and whose answer did not counts too, for the node cannot know. At most one marker waits at a time, since a marker that
may have arrived must not change any more.

Times are whole tenths of a second that only grow: 31 bits of them are six years.
"""

from array import array

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_CHANNELS = const(4)

# A pack is so many whole numbers in a row: 28 bytes, and 2 for its place.
_WIDTH = const(3 + _CHANNELS)
_SEQ = const(0)
_TAKEN = const(1)
_SENT = const(2)
_VALUES = const(3)
_LOW = const(-(1 << 30))  # the lowest number that costs a board of 32 bits no memory of its own
_ABSENT = const(_LOW)  # instead of a value: not read
_MARKS = const(_LOW + 1)  # instead of the second value: a marker, whose first one is the number lost
_NEVER = const(_LOW)  # instead of the time of sending
_LONG_AGO = const(_LOW + 1)


class Ring:
    """Buffer of one boot.

    room: most packs kept, markers included; from 6 to 9362.
    """

    def __init__(self, room):
        if room < 6 or room > 65535 // _WIDTH:
            raise ValueError("room")
        self.room = room
        self.last_seq = 0
        self.lost = 0  # dropped, and not told yet
        self._lost_taken = 0
        self._cells = array("i", (0 for _ in range(_WIDTH * room)))
        # First cells of the packs, oldest first; then those of the unused.
        self._order = array("H", (_WIDTH * at for at in range(room)))
        self._used = 0

    def __len__(self):
        return self._used

    def pack(self, at):
        """(seq, when taken, values, when sent or None) of the pack at a place; the oldest is at 0."""
        cells = self._cells
        cell = self._order[at]
        if cells[cell + _VALUES + 1] == _MARKS:
            values = (cells[cell + _VALUES],)
        else:
            values = tuple(self._value(cell + _VALUES + channel) for channel in range(_CHANNELS))
        sent = cells[cell + _SENT]
        return cells[cell + _SEQ], cells[cell + _TAKEN], values, None if sent == _NEVER else sent

    def _value(self, cell):
        value = self._cells[cell]
        return None if value == _ABSENT else value

    def add(self, taken, values):
        """Keep a measurement; gives it the next sequence number."""
        if self._used >= self.room - 1:  # one place is the marker's
            self._thin()
        cell = self._append(taken)
        for channel in range(_CHANNELS):
            value = values[channel]
            self._cells[cell + _VALUES + channel] = _ABSENT if value is None else value
        self._mark()

    def _append(self, taken):
        self.last_seq += 1
        cell = self._order[self._used]
        self._used += 1
        self._cells[cell + _SEQ] = self.last_seq
        self._cells[cell + _TAKEN] = taken
        self._cells[cell + _SENT] = _NEVER
        return cell

    def _drop(self, at):
        order = self._order
        cell = order[at]
        self._used -= 1
        for place in range(at, self._used):
            order[place] = order[place + 1]
        order[self._used] = cell

    def _is_marker(self, cell):
        return self._cells[cell + _VALUES + 1] == _MARKS

    def _thin(self):
        """Drop the reading whose neighbours are closest in time, of the older half; the oldest stays."""
        cells = self._cells
        before = -1
        middle = -1
        best = -1
        best_gap = 0
        for at in range(self._used // 2 + 2):
            cell = self._order[at]
            if self._is_marker(cell):
                continue
            if before >= 0:
                gap = cells[cell + _TAKEN] - cells[self._order[before] + _TAKEN]
                if best < 0 or gap < best_gap:
                    best = middle
                    best_gap = gap
            before = middle
            middle = at
        taken = cells[self._order[best] + _TAKEN]
        self._drop(best)
        self.lost += 1
        if taken > self._lost_taken:
            self._lost_taken = taken

    def _mark(self):
        """Tell what was dropped, unless a marker is still on its way."""
        if self.lost == 0:
            return
        cells = self._cells
        for at in range(self._used):
            cell = self._order[at]
            if self._is_marker(cell):
                if cells[cell + _SENT] == _NEVER:  # it can still say more
                    cells[cell + _TAKEN] = self._lost_taken
                    cells[cell + _VALUES] += self.lost
                    self.lost = 0
                return
        cell = self._append(self._lost_taken)
        cells[cell + _VALUES] = self.lost
        cells[cell + _VALUES + 1] = _MARKS
        self.lost = 0

    def free(self, seq):
        """Forget an acknowledged pack; True when it was there."""
        for at in range(self._used):
            if self._cells[self._order[at] + _SEQ] == seq:
                self._drop(at)
                self._mark()
                return True
        return False

    def due(self, now, resend, window):
        """Place of the next pack to send, or None.

        A pack is due when it was never sent, or sent so long ago (resend) without an answer. At most window packs are
        on their way at once.
        """
        on_way = 0
        fresh = None
        for at in range(self._used):
            sent = self._cells[self._order[at] + _SENT]
            if sent == _NEVER:
                if fresh is None:
                    fresh = at
            elif sent == _LONG_AGO or now - sent >= resend:
                return at
            else:
                on_way += 1
        if on_way < window:
            return fresh
        return None

    def note_sent(self, at, now):
        """The pack at a place is on its way."""
        self._cells[self._order[at] + _SENT] = now

    def unsend(self):
        """After a link broke: whatever was on its way is due again at once."""
        for at in range(self._used):
            cell = self._order[at]
            if self._cells[cell + _SENT] != _NEVER:
                self._cells[cell + _SENT] = _LONG_AGO
