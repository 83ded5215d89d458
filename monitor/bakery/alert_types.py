"""What an alert is: its kinds, its rules, the facts it is judged by, its states, and the message it becomes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from monitor.bakery.limits import AIR_LIMITS, AirLimits
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.wire.readings import Channel


class AlertKind(StrEnum):
    """What an alert is about. The value is its name in tables; the words for people are in ``wording``."""

    OVEN_ON = "oven on"
    READY_SOON = "ready soon"
    READY = "ready"
    AT_PEAK = "at its peak"
    PAST_PEAK = "past its peak"
    AIR_TOO_WARM = "air too warm"
    AIR_TOO_COLD = "air too cold"
    AIR_TOO_DRY = "air too dry"
    SENSOR_SILENT = "sensor silent"


class Phase(StrEnum):
    """Where in its life an alert stands."""

    PENDING = "pending"
    FIRING = "firing"
    RESOLVED = "resolved"


@dataclass(frozen=True, slots=True)
class Rules:
    """When alerts begin and end. Minutes are minutes of dough time.

    Attributes
    ----------
    ready_soon_min
        How long before the expected moment *ready soon* comes.
    look_hold_min
        How long an alert about the dough's course must look so before it is said: with one estimate a minute, two.
    past_peak_hold_min
        The same for *past its peak*, which must not come from one hand over the sensor.
    keep_min
        How long it must look over (a later forecast, right air, a sensor heard again) before an episode is over.
    elsewhere_min
        A forecast is clearly later when even its early estimate (5 %) lies this far beyond the alert's own lead.
    peak_chance
        Chance that the peak comes within ten minutes above which *at its peak* begins. [0..1]
    last_call_min
        For a target rise: *at its peak* is the last call, and comes no sooner than this after *ready*.
    peak_use_min
        For a batch that waits for its peak: how long after it the dough still counts as at its peak.
    fold_settle_min
        After a fold the dough is low because of the fold, not because it has collapsed.
    silence_min
        A channel without a reading for this long is silent.
    air
        Limits of the air by stage.
    """

    ready_soon_min: float = 10.0  # judgement
    look_hold_min: float = 1.0  # judgement
    past_peak_hold_min: float = 2.0  # judgement
    keep_min: float = 5.0  # judgement
    elsewhere_min: float = 10.0  # judgement
    peak_chance: float = 0.5
    last_call_min: float = 5.0  # judgement
    peak_use_min: float = 15.0  # judgement
    fold_settle_min: float = 10.0  # judgement
    silence_min: float = 10.0  # judgement: twenty missed readings at one each half minute
    air: Mapping[Stage, AirLimits] = field(default_factory=lambda: AIR_LIMITS)


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of one batch at one moment.

    Attributes
    ----------
    outlook
        Newest estimate; None when there is none.
    now
        Aware UTC datetime of dough time.
    last_seen
        When each channel was last measured, as aware UTC; None or absent: never.
    """

    batch: Batch
    outlook: Outlook | None
    now: datetime
    last_seen: Mapping[Channel, datetime | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Alert:
    """One episode of one alert.

    Attributes
    ----------
    episode
        1 for the first of its kind in the batch, then counting up; ``(batch_id, kind, episode)`` is its identity.
    since_at
        When it began to look so.
    fired_at, resolved_at
        When it was said, and when it was over; a pending one that came to nothing is resolved and never fired.
    quiet_since_at
        Since when a firing alert has looked over; None while it does not.
    reason
        Why it stands in this phase, in plain words.
    about
        Names of the channels it is about, separated by spaces; empty when it is about the dough.
    """

    batch_id: BatchId
    kind: AlertKind
    episode: int
    phase: Phase
    since_at: datetime
    fired_at: datetime | None = None
    resolved_at: datetime | None = None
    quiet_since_at: datetime | None = None
    reason: str = ""
    about: str = ""


@dataclass(frozen=True, slots=True)
class AlertEvent:
    """An alert has just begun to fire and must be said: ``wording.message_of`` words it."""

    alert: Alert
    at: datetime

    @property
    def reason(self) -> str:
        """Why it fires, in plain words."""
        return self.alert.reason


@dataclass(frozen=True, slots=True)
class Message:
    """What goes to the baker about one alert: a row of the outbox.

    Attributes
    ----------
    id
        Made of batch, kind and episode: the same for every repeat, so that one that comes twice is seen to be one.
    delivered_at
        When every carrier had it; None while it is due, or given up.
    """

    id: str
    batch_id: BatchId
    kind: AlertKind
    episode: int
    title: str
    text: str
    created_at: datetime
    delivered_at: datetime | None = None
    attempts: int = 0
