"""The sensors of one board as the node's loop asks them: a fault is counted and the channel left out."""

try:
    from firmware_sim.node import checks, const
except ImportError:  # on a board the files lie side by side
    import checks
    from micropython import const

_USUAL_AIR = const(2500)  # [0.01 C] judgement, for a sonar that no thermometer stands by
BUS = "bus"  # nobody acknowledges, or the lines are stuck


class Instruments:
    """air, probe, ranger: drivers, each may be None. drivers: the same as "air", "dough" and "distance".

    wanted: which of them the configuration asks for. pins: the GPIO numbers of each, with commas between.
    faults: {(which, kind): how often}.
    air_of: whose air sensor stands in the same room, the board's first; its own where it has one.
    """

    def __init__(self, air=None, probe=None, ranger=None):
        self.drivers = {"air": air, "dough": probe, "distance": ranger}
        self.wanted = [which for which in self.drivers if self.drivers[which] is not None]
        self.pins = {}
        self.warmth = _USUAL_AIR
        self.air_of = self
        self._is_probe_started = False
        self.faults = {}

    def count(self, which, kind):
        self.faults[(which, kind)] = self.faults.get((which, kind), 0) + 1

    def start(self):
        """Begin what takes long; returns after how many milliseconds to read."""
        self._is_probe_started = False
        probe = self.drivers["dough"]
        if probe is None:
            return 0
        try:
            probe.start()
        except checks.Fault as fault:
            self.count("dough", fault.args[0])
            return 0
        except OSError:
            self.count("dough", BUS)
            return 0
        self._is_probe_started = True
        return probe.CONVERT_MS

    def _asked(self, which, *args):
        driver = self.drivers[which]
        if driver is None:
            return None
        try:
            return driver.read(*args)
        except checks.Fault as fault:
            self.count(which, fault.args[0])
        except OSError:
            self.count(which, BUS)
        return None

    def read_air(self):
        """(0.01 C, 0.01 %), or None."""
        pair = self._asked("air")
        if pair is not None:
            self.warmth = pair[0]
        return pair

    def read_dough(self):
        """0.01 C, or None."""
        if not self._is_probe_started:
            return None
        self._is_probe_started = False
        centi_c = self._asked("dough")
        if centi_c is not None and self.air_of.drivers["air"] is None:
            self.air_of.warmth = centi_c  # nearer to the truth than a guess
        return centi_c

    def read_distance(self):
        """One shot in 0.1 mm, or None."""
        return self._asked("distance", self.air_of.warmth)
