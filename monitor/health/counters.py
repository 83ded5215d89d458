"""What the working loop says of itself, for those who watch it: written by the loop's thread, read by others."""

from collections import Counter
from collections.abc import Callable

from monitor.clock import Clock
from monitor.errors import StoreError

LATE_S = 60.0  # judgement: the loop turns five times a second; a turn that waits for a locked file takes 10 s


class Pulse:
    """Plain numbers, each set in one step, so that no reader ever has to hold up the loop.

    Attributes
    ----------
    beat_s
        When a turn of the loop was last over, whether it went well or not. [monotonic s]
    packs, new_readings, known_readings
        Taken in since the start; a known reading came a second time.
    refused
        Bad input since the start, by reason.
    steps, step_s
        Estimates since the start, and the seconds they took together.
    running
        Batches at work.
    store_error
        Why the store cannot be used now; None when it can.
    """

    def __init__(self, clock: Clock, on_beat: Callable[[StoreError | None], None] = lambda error: None) -> None:
        self._clock = clock
        self._on_beat = on_beat
        self.started_s = self.beat_s = clock.real_s()
        self.packs = self.new_readings = self.known_readings = self.steps = self.running = 0
        self.step_s = 0.0
        self.refused: Counter[str] = Counter()
        self.store_error: StoreError | None = None

    def beat(self) -> None:
        """A turn of the loop is over."""
        self.beat_s = self._clock.real_s()
        self._on_beat(self.store_error)

    def took_in(self, packs: int, readings: int, new: int) -> None:
        """A turn's packs and readings are kept."""
        self.packs += packs
        self.new_readings += new
        self.known_readings += readings - new

    def stepped(self, seconds: float, batches: int) -> None:
        """Some batches were worked, in so many seconds together."""
        self.steps += batches
        self.step_s += seconds

    @property
    def silent_s(self) -> float:
        """Seconds since the last turn was over. [s]"""
        return self._clock.real_s() - self.beat_s

    @property
    def is_well(self) -> bool:
        """True while the loop turns and the store can be used."""
        return self.silent_s < LATE_S and self.store_error is None
