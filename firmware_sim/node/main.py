"""The node's loop: measure, keep, send, forget what was acknowledged. It never waits for anybody.

A hal object stands for the board:
    urn, boot                  name, and 8 hex digits drawn at each start
    ticks_ms(), ticks_diff(later, earlier), sleep_ms(ms)      real time, wrapping
    dough_ticks_ms()           time the dough lives by; on a board the same as ticks_ms
    sensors                    start(), read_air(), read_dough(), read_distance(): see instruments.py
    keeper                     what outlasts a restart: see kept.py; None without it
    told_time                  asks the collector for the date: see told_time.py; None without it
    rest                       when it sleeps with its radio off: see rest.py; None where it never does
    condition()                what started it, free memory, signal [dBW], free flash: see report.py; without it nothing
                               is reported
    signals                    lamp, buzzer and button: see signals.py; None without them
    beside                     (urn, boot, sensors, ring) of each further tub on the same board; left out without
    health()                   (signal [dBW], battery [0.01 V]) of the board, each None where it does not know
    is_running()               False ends the loop (never on a board)

On a board this file is what it begins with: see the last lines.
"""

try:
    from firmware_sim.node import const, packet, report, sampling
except ImportError:  # on a board the files lie side by side
    import packet
    import report
    import sampling
    from micropython import const

_RESEND_MS = const(5000)  # real time without an answer before a pack is sent again
_TICK_MS = const(100)  # the ring counts tenths of a second
_WINDOW = const(8)  # packs on their way at once
_A_TURN = const(4)  # packs sent in one turn
_LONGEST_NAP_MS = const(100)
_SHORTEST_NAP_MS = const(5)
_WELL_EVERY = const(20)  # packs from one that tells how the board is to the next: ten minutes at one each half minute
_REPORT_MS = const(60000)  # real time from one report to the next
_EARLY_MS = const(5000)  # the same in the first minute, when somebody may stand there and look
_MISSED = const(2)  # measurements in a row
_BLINK_MS = const(20)  # a lamp's patterns are made of no less than three of it
_FRESH_MS = const(10000)  # dough time: what the board is now says nothing of an older pack


class Uptime:
    """Wrapping ticks made into a count of milliseconds that only grows; ask it more often than the ticks wrap."""

    def __init__(self, ticks, ticks_diff):
        self._ticks = ticks
        self._diff = ticks_diff
        self._last = ticks()
        self.ms = 0

    def update(self):
        """Milliseconds since the start."""
        now = self._ticks()
        step = self._diff(now, self._last)
        if step > 0:
            self.ms += step
            self._last = now
        return self.ms


class Tub:
    """One set of a board's sensors, its name on the wire, and the packs of it that nobody answered yet.

    To whoever listens each is a node of its own, with a boot and numbers of its own: an answer is for one of them.
    """

    def __init__(self, urn, boot, sensors, kept):
        self.urn = urn
        self.boot = boot
        self.sensors = sensors
        self.ring = kept
        self.read_at_ms = {}  # of each sensor that was ever read
        self.report_ms = None  # when the last report went out
        self.missed = 0  # measurements in a row in which a sensor was not read


class Node:
    """One board: its tubs, buffers, link.

    period_ms: dough time between measurements. kept: the ring of packs of the first tub.
    """

    def __init__(self, hal, link, period_ms, kept):
        self._hal = hal
        self._link = link
        self._period_ms = period_ms
        self.ring = kept
        self._tubs = [Tub(hal.urn, hal.boot, hal.sensors, kept)]
        self._tubs.extend([Tub(*each) for each in getattr(hal, "beside", ())])
        self._sender = 0  # the tub whose turn it is to send
        self._real = Uptime(hal.ticks_ms, hal.ticks_diff)
        self._dough = Uptime(hal.dough_ticks_ms, hal.ticks_diff)
        self._next_ms = 0
        self._read_ms = None  # when what was started is to be read
        self._reader = 0  # the tub that is read next
        self._signals = getattr(hal, "signals", None)
        self._keeper = getattr(hal, "keeper", None)
        if self._keeper is not None:
            self._keeper.begin(self._tubs, self._dough.update, self._real.update)
        self._told_time = getattr(hal, "told_time", None)
        self._rest = getattr(hal, "rest", None)
        self._fresh_ms = _FRESH_MS if self._rest is None else _FRESH_MS + self._rest.every_ms
        self._answered_ms = 0
        self.freed = 0  # packs acknowledged since the start

    def turn(self):
        """Do whatever is due; returns how long to sleep at most, in real milliseconds."""
        real_ms = self._real.update()
        dough_ms = self._dough.update()
        if self._read_ms is None and dough_ms >= self._next_ms:
            self._read_ms = dough_ms + max([tub.sensors.start() for tub in self._tubs])
        if self._read_ms is not None and dough_ms >= self._read_ms:
            self._measure(dough_ms)
        link = self._link
        if self._rest is not None and self._is_asleep(real_ms):
            if self._keeper is not None:
                self._keeper.turn(real_ms)
            next_ms = self._next_ms if self._read_ms is None else self._read_ms
            return self._rest.nap_ms(real_ms, next_ms - dough_ms)
        link.poll(real_ms)
        if link.broke:
            self._unsend()
        for line in link.take_acks():
            if self._is_answer(line):
                self._answered_ms = real_ms
            elif self._told_time is not None and self._told_time.hear(line, self._asker().boot, real_ms):
                continue
            elif self._signals is not None:
                self._signals.hear(line, self._hal.boot)
        if self._signals is not None:
            is_missing = max([tub.missed for tub in self._tubs]) >= _MISSED
            if self._signals.turn(real_ms, real_ms - self._answered_ms, link, is_missing):
                self._tubs[0].report_ms = None  # the button was pushed: say so at once
        if self._keeper is not None:
            self._keeper.turn(real_ms)
        nap_ms = _LONGEST_NAP_MS
        if link.is_up:
            nap_ms = _SHORTEST_NAP_MS
            for tub in self._tubs:
                self._report(tub, real_ms)
            for _ in range(_A_TURN):
                if not self._send_one(real_ms):
                    nap_ms = _LONGEST_NAP_MS // 4
                    if self._keeper is not None:
                        self._keeper.send(link, real_ms)
                    break
        if self._read_ms is not None:
            return _SHORTEST_NAP_MS
        if self._signals is not None:
            return min(nap_ms, _BLINK_MS)
        return nap_ms

    def _unsend(self):
        """The link is gone: what nobody has answered is due again once it is back, and how the board is, anew."""
        for tub in self._tubs:
            tub.ring.unsend()
            tub.report_ms = None
        if self._keeper is not None:
            self._keeper.unsend()

    def _is_asleep(self, real_ms):
        """Lie down once everything is said and answered, and wake when it is time."""
        rest = self._rest
        was_asleep = rest.is_asleep
        waiting = [tub for tub in self._tubs if len(tub.ring) or tub.report_ms is None]
        rest.turn(real_ms, self._link.is_up and not waiting)
        if rest.is_asleep and not was_asleep:
            self._link.close(real_ms, True)
            self._unsend()
        return rest.is_asleep

    def _is_answer(self, line):
        """Forget the pack that a line acknowledges; False when it acknowledges none of this board's."""
        for tub in self._tubs:
            seq = packet.acked_seq(line, tub.boot)
            if seq is not None:
                if tub.ring.free(seq):
                    self.freed += 1
                return True
        return self._keeper is not None and self._keeper.is_answer(line)

    def _measure(self, dough_ms):
        """Read one tub; the next one in the next turn, since five shots take up to a second."""
        tub = self._tubs[self._reader]
        sensors = tub.sensors
        values = sampling.measure(sensors)
        tub.missed += 1
        missing = len(getattr(sensors, "wanted", ()))
        for which, value in (("air", values[0]), ("dough", values[2]), ("distance", values[3])):
            if value is not None:
                tub.read_at_ms[which] = dough_ms
                missing -= 1
        if missing <= 0:
            tub.missed = 0
        for value in values:
            if value is not None:
                tub.ring.add(dough_ms // _TICK_MS, values)
                break
        self._reader += 1
        if self._reader < len(self._tubs):
            return
        self._reader = 0
        self._read_ms = None
        # Late by more than a period: skip what was missed instead of measuring it all at once.
        missed = (dough_ms - self._next_ms) // self._period_ms
        self._next_ms += (missed + 1) * self._period_ms

    def _send_one(self, real_ms):
        """Send what is due, the tubs in turn; False when nothing is, or nothing goes out."""
        for _ in self._tubs:
            tub = self._tubs[self._sender]
            at = tub.ring.due(real_ms // _TICK_MS, _RESEND_MS // _TICK_MS, _WINDOW)
            if at is not None:
                break
            self._sender = (self._sender + 1) % len(self._tubs)
        else:
            return False
        seq, taken, values, sent = tub.ring.pack(at)
        up_ms = self._dough.update()
        age_ms = up_ms - _TICK_MS * taken
        frame = packet.frame(tub.boot, seq, tub.urn, age_ms, values, up_ms)
        # Not kept, so it costs the ring nothing: sent once with a fresh pack, and lost when that one sending is.
        is_fresh = sent is None and age_ms < self._fresh_ms and len(values) > 1
        if self._sender == 0 and is_fresh and seq % _WELL_EVERY == 1:
            frame = packet.with_health(frame, self._hal.health())
        if not self._link.send(frame):
            return False
        tub.ring.note_sent(at, real_ms // _TICK_MS)
        self._sender = (self._sender + 1) % len(self._tubs)
        return True

    def _report(self, tub, real_ms):
        """Say how board and sensors are: after the first measurement, once a minute, and when the link is back."""
        every_ms = _REPORT_MS if real_ms > _REPORT_MS else _EARLY_MS
        if not self._next_ms or (tub.report_ms is not None and real_ms - tub.report_ms < every_ms):
            return
        if not hasattr(self._hal, "condition"):
            return
        sensors = tub.sensors
        now_ms = self._dough.update()
        told = []
        for which in sensors.wanted:
            at_ms = tub.read_at_ms.get(which)
            age_s = None if at_ms is None else (now_ms - at_ms) // 1000
            told.append((which, sensors.pins.get(which, ""), age_s, sensors.faults))
        hal = self._hal
        pushed = ask = None
        if tub is self._tubs[0] and self._signals is not None:
            pushed = (self._signals.seen, self._signals.zero)
        if self._told_time is not None and tub is self._asker():
            ask = self._told_time.question(real_ms)
        period_s = self._period_ms // 1000
        line = report.line(tub.boot, tub.urn, now_ms // 1000, period_s, hal.condition(), told, pushed, ask)
        if self._link.send_report(line):
            tub.report_ms = real_ms

    def _asker(self):
        """The tub that asks for the date: answers come beside those to packs, so it must be one that is read."""
        for tub in self._tubs:
            if tub.read_at_ms:
                return tub
        return self._tubs[0]

    def close(self):
        """Leave in order."""
        self._link.close(self._real.update())


def run(hal, link, period_ms, kept):
    """Be a node until the hal says stop."""
    node = Node(hal, link, period_ms, kept)
    while hal.is_running():
        hal.sleep_ms(node.turn())
    node.close()


if __name__ == "__main__":  # a board's interpreter runs main.py when it gets its supply
    import hal_board

    hal_board.begin(run)
