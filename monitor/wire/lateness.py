"""How long frames were held up on their way, by what their nodes' clocks showed when they were sent.

A moment is a frame's arrival less the age of what it tells, so whatever holds a frame up (a line that froze, a broker
or a collector that was busy) moves the moment by as much. Frames of one boot that were not held up agree on when the
boot began; one that says later was held up, by the difference. No I/O.
"""

from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime

from monitor.wire.frames import KEPT_NAMES, Pack

# judgement: a node's clock is a quartz within some 50 millionths (from memory of data sheets), and twice that in cold
# and heat; it may fall behind by so much without a frame having been held up
CLOCK_LOSES = 1e-4
TIMELY_S = 1.0  # judgement: in real time; a frame by radio and broker takes a tenth of it
HELD_UP_FOR_S = 60.0  # judgement: in real time; by then what was held up has come, and what stays late is the clock


@dataclass(slots=True)
class _Boot:
    """One boot of a node, in seconds since 1970 of the clock that stamps arrivals.

    Attributes
    ----------
    began_s
        When the node's clock stood at zero, by the timeliest of its frames.
    arrived_s, timely_s
        When its newest frame came, and its newest one that was not held up.
    late_since_s
        When the first of those came that are late without a timely one between them; None: the newest was timely.
    """

    began_s: float
    arrived_s: float
    timely_s: float
    late_since_s: float | None = None


class Lateness:
    """What is known of each boot's clock, of the newest boots alone.

    Until a first timely frame of a boot has come, how late its frames are is not known, and they count as timely.

    Parameters
    ----------
    speed
        How many times faster than the real clock the clocks of nodes and arrivals run.
    """

    def __init__(self, speed: float = 1.0) -> None:
        self._timely_s = TIMELY_S * speed
        self._held_up_for_s = HELD_UP_FOR_S * speed
        self._boots: OrderedDict[tuple[str, str], _Boot] = OrderedDict()

    def hear(self, pack: Pack, arrived_at: datetime) -> None:
        """Learn when its boot began from a pack; to be told of them in the order in which they came."""
        if pack.up_s is None:
            return
        arrived_s = arrived_at.timestamp()
        began_s = arrived_s - pack.up_s
        boot = self._boots.setdefault((pack.node, pack.boot), _Boot(began_s, arrived_s, arrived_s))
        self._boots.move_to_end((pack.node, pack.boot))
        if len(self._boots) > KEPT_NAMES:
            self._boots.popitem(last=False)
        known_s = boot.began_s + CLOCK_LOSES * max(0.0, arrived_s - boot.arrived_s)
        late_s = began_s - known_s
        boot.arrived_s = arrived_s
        if late_s < self._timely_s:
            boot.late_since_s, boot.timely_s = None, arrived_s
        elif boot.late_since_s is None:
            boot.late_since_s = arrived_s
        # Nothing is held up for longer than nothing came, nor for good: then it is the clock that was set back.
        is_clock = late_s > arrived_s - boot.timely_s + self._timely_s or (
            boot.late_since_s is not None and arrived_s - boot.late_since_s > self._held_up_for_s
        )
        if is_clock:
            boot.late_since_s, boot.timely_s = None, arrived_s
        boot.began_s = began_s if is_clock else min(began_s, known_s)

    def late_s(self, pack: Pack, arrived_at: datetime) -> float:
        """How long a pack that was heard was held up, by all that was heard of its boot so far. [s]"""
        boot = self._boots.get((pack.node, pack.boot))
        if pack.up_s is None or boot is None:
            return 0.0
        return max(0.0, arrived_at.timestamp() - pack.up_s - boot.began_s)
