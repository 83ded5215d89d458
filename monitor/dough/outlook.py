"""What is known of one dough at one moment: its state, its rise, and when it will be ready, with the doubt of each."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

SILENCE_MIN = 10.0
"""After so long without a reading nobody knows how a dough stands: twenty missed readings at one each half minute.

Judgement, and a setting of the alerts; the forecast and the board take it from there. [min]"""


class State(StrEnum):
    """How a dough stands. The value is the word of the replay contract."""

    NO_RISE = "no rise yet"  # has not begun to rise
    RISING = "rising"
    NEARLY_READY = "nearly_ready"
    READY = "ready"
    AT_PEAK = "at_peak"
    PAST_PEAK = "past_peak"
    NOT_RISING = "not_rising"  # should have begun by now
    NO_READINGS = "no_readings"


class Cause(StrEnum):
    """The likeliest reason why a dough is not rising."""

    TOO_COLD = "too cold"
    LITTLE_YEAST = "little yeast"
    NO_LIVE_YEAST = "no live yeast"  # dead, or forgotten


class NoForecast(StrEnum):
    """Why there is no forecast. The value is the word of the replay contract and of the store."""

    NO_READING_YET = "no reading yet"
    NOT_ESTIMATED = "not estimated"  # a fault of this program; the readings are kept


@dataclass(frozen=True, slots=True)
class KeptText:
    """A reason that a store has as prose of an older version, where no code was found for it.

    Attributes
    ----------
    language
        As ISO 639 has it, such as ``en``.
    """

    text: str
    language: str


@dataclass(frozen=True, slots=True)
class Band:
    """A quantity with its doubt: 5 %, 50 % and 95 % quantiles."""

    p05: float
    p50: float
    p95: float


@dataclass(frozen=True, slots=True)
class Moments:
    """When something happens: quantiles as aware UTC datetimes.

    A quantile is None by itself when that much of the probability lies beyond the horizon or at never. The 10 % and
    90 % quantiles, for scoring, came later than the others: an outlook kept from before is read with None.
    """

    p05: datetime | None = None
    p25: datetime | None = None
    p50: datetime | None = None
    p75: datetime | None = None
    p95: datetime | None = None
    p10: datetime | None = None
    p90: datetime | None = None


@dataclass(frozen=True, slots=True)
class FanPoint:
    """Forecast rise [%] at one future moment: quantiles for two nested bands."""

    at: datetime
    p05: float
    p25: float
    p50: float
    p75: float
    p95: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """One dough at one moment.

    Attributes
    ----------
    rise_pct
        100 (V/V0 - 1), so doubled is 100; None before the first usable reading.
    start_volume_ml
        Volume that rise is counted from, so that a screen can draw the dough; None when no height was measured. [mL]
    ready
        First moment the true rise reaches the target after the last fold (for a peak target: the peak).
    peak
        Moment of greatest volume of the stage after the last fold.
    peak_soon_chance
        Chance that the peak comes within ten minutes or has come. [0..1]
    past_peak_chance
        Chance that the peak is over. [0..1]
    state_chance
        Chance that the state is the right word, given the readings. [0..1]
    cause
        The likeliest reason when the state is ``not_rising``; None otherwise.
    why
        Reason when there is no forecast; None otherwise.
    is_from_heights
        False when no height was measured and the rise rests on temperature and recipe alone.
    last_reading_at
        Newest usable reading of any of the batch's channels.
    fan
        Forecast from ``at`` on, at most a hundred points, ascending in time; empty when declined.
    """

    at: datetime
    state: State
    rise_pct: Band | None = None
    ready: Moments = Moments()
    peak: Moments = Moments()
    peak_soon_chance: float = 0.0
    past_peak_chance: float = 0.0
    why: NoForecast | KeptText | None = None
    is_from_heights: bool = True
    air_temp_c: float | None = None
    humidity_pct: float | None = None
    dough_temp_c: float | None = None
    last_reading_at: datetime | None = None
    fan: tuple[FanPoint, ...] = ()
    start_volume_ml: float | None = None
    state_chance: float = 1.0
    cause: Cause | None = None
