"""What every simulated dough has in common: it lives forward in time, is folded, and has a volume to rise from."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Generic, Protocol, TypeVar

STEP_S = 10.0  # fine enough for all the simulators here (measured in the tests)
SETTLED_S = 240.0  # squeezed bubbles have swollen back by then (judgement); before, no rise is told

Course = Callable[[float], float]
"""Temperature at a time after the start. [s -> C]"""
Folds = tuple[tuple[float, float], ...]
"""Time after the start [s] and share of the gas knocked out [0..1], of each fold."""


class Traits(Protocol):
    """What makes one dough unlike another of its simulator."""

    @property
    def start_ml(self) -> float:
        """Volume at the start with its bubbles relaxed. [mL]"""


T = TypeVar("T", bound=Traits)


class Dough(ABC, Generic[T]):
    """One dough, lived forward in time. All amounts are per 100 g flour.

    Parameters
    ----------
    air_c
        The air it stands in.
    step_s
        Longest step of the arithmetic. [s]
    """

    def __init__(self, traits: T, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        self.traits = traits
        self.now_s = 0.0
        self._shaped_ml: float | None = None
        self._air_c = air_c
        self._folds = sorted(folds)
        self._step_s = step_s

    def advance_to(self, until_s: float) -> None:
        """Run up to a time after the start; an earlier time changes nothing. [s]"""
        while self.now_s < until_s:
            next_s = min(until_s, self.now_s + self._step_s)
            if self._folds:
                next_s = min(next_s, self._folds[0][0])
            if next_s > self.now_s:
                self._advance(next_s - self.now_s)
            self.now_s = next_s
            while self._folds and self._folds[0][0] <= self.now_s:
                self._fold(self._folds.pop(0)[1])

    def begin_stage(self, air_c: Course, knocked_share: float, folds: Folds = (), *, step_s: float = STEP_S) -> None:
        """Divide and shape it: its clock and its rise begin anew, its yeast, water and walls stay what they became.

        ``knocked_share`` is the share of the gas that is pressed out. [0..1]
        """
        self._step_s = step_s
        self._fold(knocked_share)
        self._shaped_ml = self.volume_ml  # before the clock begins anew, and with it the swelling of its bubbles
        self.now_s = 0.0
        self._air_c = air_c
        self._folds = sorted(folds)

    @property
    def rise_pct(self) -> float | None:
        """Rise over the volume at the start of the stage; None until its bubbles have swollen back. [%]"""
        return 100.0 * (self.volume_ml / self.stage_start_ml - 1.0) if self.now_s >= SETTLED_S else None

    @property
    def stage_start_ml(self) -> float:
        """Volume at the start of the stage with its bubbles relaxed: what rise is counted from. [mL]"""
        return self.traits.start_ml if self._shaped_ml is None else self._shaped_ml

    @abstractmethod
    def _advance(self, step_s: float) -> None:
        """Live one step that begins at ``now_s``."""

    @abstractmethod
    def _fold(self, share: float) -> None:
        """Knock a share of the gas out."""

    @property
    @abstractmethod
    def volume_ml(self) -> float:
        """Volume now. [mL]"""

    @property
    @abstractmethod
    def probe_c(self) -> float:
        """Temperature at the tip of a probe in the dough. [C]"""
