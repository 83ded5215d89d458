"""What a board shows and sounds, and what is told it by a button: a lamp, a buzzer, one push. Each may be left out.

The collector says what is called, beside an acknowledgement (monitor/wire/README.md): !<boot> call <word> <crc>. The
words are those of _CALLS; one that is not known shows and sounds as a call all the same.

light, buzzer: on(level). button: is_down(). Times are whole milliseconds.
"""

try:
    from firmware_sim.node import const, packet
except ImportError:  # on a board the files lie side by side
    import packet
    from micropython import const

_LONG_MS = const(3000)  # held so long, the button sets the empty tub to zero
_BOUNCE_MS = const(40)  # judgement: contacts have settled by then
_ALONE_MS = const(600000)  # without an answer: the collector may be dead, and nobody would be called

# Milliseconds on, off, on, off ...
_LOOKING = (500, 500)
_REFUSED = (120, 200, 120, 1500)
_MISSING = (120, 200, 120, 200, 120, 1500)
_WELL = (60, 4940)
_HELD = (60, 60)
_ALONE = (1000, 9000)
_CALLS = {  # lamp, buzzer
    "none": (None, None),
    "note": ((200, 200), None),
    "dough": ((200, 200), (200, 150, 200, 150, 200, 1500)),
    "monitor": ((200, 200), (700, 300, 700, 2500)),
    "zeroed": ((2000, 500), (600, 20000)),
    "refused": (_HELD, (100, 100, 100, 100, 100, 20000)),
}


def called(line, boot):
    """The word of a call that the collector says to this boot; None for anything else."""
    parts = line.split(b" ")
    if len(parts) != 4 or parts[0] != bytes("!" + boot, "utf8") or parts[1] != b"call":
        return None
    if parts[3] != bytes("%08x" % packet.crc32(line[:-9]), "utf8"):
        return None
    return str(parts[2], "utf8")


def is_on(pattern, since_ms):
    """Whether a pattern is on, so long after it began."""
    at = since_ms % sum(pattern)
    number = 0
    while at >= pattern[number]:
        at -= pattern[number]
        number += 1
    return number % 2 == 0


class Signals:
    """seen, zero: how often the button was pushed, and held, since the start."""

    def __init__(self, light=None, buzzer=None, button=None):
        self._light = light
        self._buzzer = buzzer
        self._button = button
        self._call = "none"
        self._showing = [None, 0, None, 0]  # pattern and since when, of the lamp and of the buzzer
        self._down_ms = None
        self._is_told = False
        self.seen = 0
        self.zero = 0

    def hear(self, line, boot):
        """Take what the collector says; anything else is passed over."""
        word = called(line, boot)
        if word is not None:
            self._call = word

    def _pressed(self, now_ms):
        """Look at the button; True when it has told something new."""
        if self._button is None:
            return False
        if self._button.is_down():
            if self._down_ms is None:
                self._down_ms = now_ms
                self._is_told = False
            if not self._is_told and now_ms - self._down_ms >= _LONG_MS:
                self._is_told = True
                self.zero += 1
                return True
            return False
        held_ms = -1 if self._down_ms is None else now_ms - self._down_ms
        self._down_ms = None
        if held_ms < _BOUNCE_MS or self._is_told:
            return False
        self._call = "none"  # silent at once; the collector says it again if there is more
        self.seen += 1
        return True

    def turn(self, now_ms, silent_ms, link, is_missing):
        """Show and sound; True when the button has told something that is to be reported now.

        silent_ms: since the collector answered last. is_missing: a sensor is not read.
        """
        is_news = self._pressed(now_ms)
        call = _CALLS.get(self._call, _CALLS["dough"])
        lamp = _WELL
        if is_missing:
            lamp = _MISSING
        if not link.is_up:
            lamp = _REFUSED if "refused" in getattr(link, "fault", "") else _LOOKING
        sound = call[1]
        if silent_ms >= _ALONE_MS:
            sound = _ALONE
        elif call[0] is not None:
            lamp = call[0]
        if self._down_ms is not None and not self._is_told:
            lamp = _HELD
        self._show(0, self._light, lamp, now_ms)
        self._show(2, self._buzzer, sound, now_ms)
        return is_news

    def _show(self, at, pin, pattern, now_ms):
        showing = self._showing
        if pattern != showing[at]:
            showing[at] = pattern
            showing[at + 1] = now_ms
        if pin is not None:
            pin.on(pattern is not None and is_on(pattern, now_ms - showing[at + 1]))
