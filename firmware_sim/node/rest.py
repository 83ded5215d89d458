"""Sleep between measurements with the radio off: when a board on a battery lies down, and when it wakes.

It goes on measuring; what it measures waits in the ring, and goes out when the radio is on again. Meanwhile nothing is
heard: no call, no button. Times are whole milliseconds.
"""

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_LONGEST_AWAKE_MS = const(60000)  # judgement: a network and a broker that are there have answered by then
_LONGEST_NAP_MS = const(20000)  # the watchdog waits for a minute


class Rest:
    """every_ms: from lying down to waking: for so long a pack waits. is_asleep: whether the radio is to be off now."""

    def __init__(self, every_ms):
        self.every_ms = every_ms
        self._since_ms = 0
        self.is_asleep = False

    def turn(self, now_ms, is_done):
        """Lie down or wake where it is time to. is_done: everything is said and answered."""
        passed_ms = now_ms - self._since_ms
        if self.is_asleep:
            is_time = passed_ms >= self.every_ms
        else:
            is_time = is_done or passed_ms >= _LONGEST_AWAKE_MS
        if is_time:
            self.is_asleep = not self.is_asleep
            self._since_ms = now_ms

    def nap_ms(self, now_ms, next_ms):
        """How long to sleep in one piece. next_ms: until something is to be measured."""
        return max(0, min(next_ms, self._since_ms + self.every_ms - now_ms, _LONGEST_NAP_MS))
