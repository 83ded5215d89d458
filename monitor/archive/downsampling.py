"""Old readings replaced by five-minute values, and those of old batches packed, beside the collector, as is set.

``keep_whole_days`` under ``[upkeep]`` says for how long readings stay whole. Without it they do for ever: what was
measured goes only when a keeper says so. ``pack_after_days`` says when those of a batch that has ended are packed, of
which nothing is lost. How fast the disk fills is told by ``check``, and the collector calls when it
is nearly full.
"""

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

from monitor.clock import CLEARLY_MOVED, SystemClock
from monitor.settings.upkeep import Upkeep
from monitor.store.background import StoreThread
from monitor.store.store import Store

LOOK_S = 3600.0  # judgement: an hour of twenty nodes is a few steps
REST = 4.0  # judgement: at most a fifth of the time is taken from whoever else writes
LEAST_REST_S = 0.1
PATIENCE_S = 60.0  # judgement: where frames never cease to come, a step a minute at least
QUIET_LOOK_S = 1.0


def rest_s(took_s: float) -> float:
    """How long others may write after a step that took so long. [s]"""
    return max(LEAST_REST_S, REST * took_s)


class Downsampler(StoreThread):
    """Takes step after step while nothing waits to be taken in, and looks again an hour after the last.

    The first look is an hour after the start, when batches have long gone on and a clock that was wrong at boot has
    been set: by a wrong date all would be old. While the clock has been moved, nothing goes.

    Parameters
    ----------
    is_quiet
        Whether nothing waits for the collector just now.
    target
        The central store that must have been sent what goes; None: there is none.
    """

    def __init__(
        self, path: Path, upkeep: Upkeep, clock: SystemClock, is_quiet: Callable[[], bool], target: str | None = None
    ) -> None:
        super().__init__("downsampler", path)
        self._upkeep = upkeep
        self._clock = clock
        self._is_quiet = is_quiet
        self._target = target
        self._begins_s = clock.real_s() + LOOK_S

    def turns(self, store: Store) -> Iterator[float]:
        """One step a turn."""
        if (left_s := self._begins_s - self._clock.real_s()) > 0.0:  # not again after a fault of the store
            yield left_s
        steps: Iterator[int] | None = None
        while True:
            waited_s = 0.0
            while not self._is_quiet() and waited_s < PATIENCE_S:
                waited_s += QUIET_LOOK_S
                yield QUIET_LOOK_S
            if abs(self._clock.moved()) > CLEARLY_MOVED:
                yield LOOK_S
                continue
            began_s = self._clock.real_s()
            steps = steps or self._steps(store)
            if next(steps, 0):
                yield rest_s(self._clock.real_s() - began_s)
            else:
                steps = None
                yield LOOK_S

    def _steps(self, store: Store) -> Iterator[int]:
        """What is due now, a step a turn: how many rows each has gone through."""
        now, target = self._clock.now(), self._target
        if self._upkeep.keep_whole_days is not None:
            until = now - timedelta(days=self._upkeep.keep_whole_days)
            while gone_through := store.rollups.step(now, until, target=target)[0]:
                yield gone_through
        if self._upkeep.pack_after_days is not None:
            yield from store.blocks.packing(now, now - timedelta(days=self._upkeep.pack_after_days), target=target)
