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


class ObstructionKind(StrEnum):
    """What a distance sensor may see in place of the dough, or what changes its level without a rise."""

    HAND = "hand"
    LID = "lid"
    CONDENSATION = "condensation"  # a film of water on the sensor
    BLIND_ZONE = "blind_zone"  # the dough is nearer than the sensor can tell
    AWAY = "away"  # it looks past the dough: the tub or the sensor was taken away
    MOVED = "moved"  # tub or sensor stands otherwise than before, and nobody wrote it down
    FOLD = "fold"  # nobody wrote it down


class NoForecast(StrEnum):
    """Why there is no forecast. The value is the word of the replay contract and of the store."""

    NO_READING_YET = "no reading yet"
    NO_LEVEL_YET = "no level yet"  # of a dough that is looked at by eye alone
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
class Obstruction:
    """Something that a height showed and no dough can do.

    Attributes
    ----------
    since
        When it began, as an aware UTC datetime.
    until
        When it was over; None while it lasts. A moved tub and a fold are over as they begin.
    chance
        That it is this kind; a fall may stand here twice, as a fold and as a moved tub. [0..1]
    is_logged
        True when the baker wrote down what explains it.
    """

    kind: ObstructionKind
    since: datetime
    until: datetime | None
    chance: float
    is_logged: bool = False

    @property
    def hides(self) -> bool:
        """True for what keeps the sensor from seeing the dough; False for a moved tub and a fold."""
        return self.kind not in (ObstructionKind.MOVED, ObstructionKind.FOLD)


@dataclass(frozen=True, slots=True)
class TargetEdge:
    """Where the edge of a dough will stand at the wall, and its middle over that, when its rise reaches the target.

    Attributes
    ----------
    rise_pct
        The target it was worked out for: the baker may have moved the band since.
    level_mm
        Of the edge, over the vessel's base.
    dome_mm
        The middle of the top over the edge; negative for a hollow.
    """

    rise_pct: float
    level_mm: Band
    dome_mm: Band


@dataclass(frozen=True, slots=True)
class Outlook:
    """One dough at one moment.

    Attributes
    ----------
    rise_pct
        100 (V/V0 - 1), so doubled is 100; None before the first usable reading.
    start_volume_ml
        Likeliest volume that rise is counted from, so that a screen can draw the dough; None when no height was
        measured. [mL]
    dome_mm
        The middle of the top over its edge at the wall, now; negative for a hollow, None when no height was measured.
    target_edge
        None for a target that is the peak, and when no height was measured. Both came later than the rest: an outlook
        kept from before is read with None.
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
    obstructions
        What the heights showed that is no dough, by its begin; hands that have gone again are left out.
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
    obstructions: tuple[Obstruction, ...] = ()
    dome_mm: Band | None = None
    target_edge: TargetEdge | None = None

    @property
    def hidden_by(self) -> Obstruction | None:
        """What keeps the sensor from seeing the dough now; None when nothing does."""
        return next((one for one in reversed(self.obstructions) if one.until is None), None)
