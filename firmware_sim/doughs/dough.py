"""What every simulated dough has in common: it lives forward in time, is folded, and has a volume to rise from."""

from abc import ABC, abstractmethod
from collections.abc import Callable

STEP_S = 10.0  # fine enough for all the simulators here (measured in the tests)
SETTLED_S = 240.0  # the volume that rise is counted from stands this long after the start (judgement)


class Dough(ABC):
    """One dough, lived forward in time. All amounts are per 100 g flour.

    Parameters
    ----------
    air_c
        Air temperature at a time after the start. [s -> C]
    folds
        (time after the start [s], share of the gas knocked out [0..1]) of each fold.
    step_s
        Longest step of the arithmetic. [s]
    """

    def __init__(
        self,
        air_c: Callable[[float], float],
        folds: tuple[tuple[float, float], ...] = (),
        *,
        step_s: float = STEP_S,
    ) -> None:
        self.now_s = 0.0
        self.settled_ml: float | None = None
        self._air_c = air_c
        self._folds = sorted(folds)
        self._step_s = step_s

    def advance_to(self, until_s: float) -> None:
        """Run up to a time after the start; an earlier time changes nothing. [s]"""
        while self.now_s < until_s:
            next_s = min(until_s, self.now_s + self._step_s)
            if self._folds:
                next_s = min(next_s, self._folds[0][0])
            if self.settled_ml is None:
                next_s = min(next_s, SETTLED_S)
            if next_s > self.now_s:
                self._advance(next_s - self.now_s)
            self.now_s = next_s
            if self.settled_ml is None and self.now_s >= SETTLED_S:
                self.settled_ml = self.volume_ml
            while self._folds and self._folds[0][0] <= self.now_s:
                self._fold(self._folds.pop(0)[1])

    @property
    def rise_pct(self) -> float | None:
        """Rise over the settled start volume; None until it has settled. [%]"""
        if self.settled_ml is None:
            return None
        return 100.0 * (self.volume_ml / self.settled_ml - 1.0)

    @abstractmethod
    def _advance(self, step_s: float) -> None:
        """Live one step that begins at ``now_s``."""

    @abstractmethod
    def _fold(self, share: float) -> None:
        """Knock a share of the gas out."""

    @property
    @abstractmethod
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed. [mL]"""

    @property
    @abstractmethod
    def volume_ml(self) -> float:
        """Volume now. [mL]"""

    @property
    @abstractmethod
    def dome_mm(self) -> float:
        """How far the middle of the top stands above the mean level; negative for a hollow. [mm]"""

    @property
    @abstractmethod
    def probe_c(self) -> float:
        """Temperature at the tip of a probe in the dough. [C]"""
