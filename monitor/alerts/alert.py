"""What an alert is: its kinds, its rules, the facts it is judged by, its states, and the message it becomes.

The states have the names of ANSI/ISA-18.2, the standard for the management of alarms in process plants (names from
memory): normal, unacknowledged, acknowledged, returned to normal, shelved, suppressed. A state is never kept: it
follows from what is kept of an alert (when it began, was acknowledged, was over), so no two of these can disagree.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Self

from monitor.alerts.kinds import AlertKind, CueKind, NoticeKind
from monitor.alerts.limits import AIR_LIMITS, AirLimits
from monitor.alerts.reasons import Explanation, Reason
from monitor.alerts.ripeness import LEAST_RIPE_MIN
from monitor.dough.outlook import SILENCE_MIN, Outlook
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.wire.readings import Channel


class Phase(StrEnum):
    """Where in its life an alert stands, in the words of ISA-18.2."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal, unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"


class Sort(StrEnum):
    """What sort of thing an alert is about."""

    BATCH = "batch"
    NODE = "node"
    LINE = "line"
    MONITOR = "monitor"


@dataclass(frozen=True, slots=True)
class Subject:
    """The one thing an alert is about: a batch by its number, a node or a line by its name, a part of the monitor."""

    sort: Sort
    name: str

    @classmethod
    def batch(cls, batch_id: BatchId) -> Self:
        """A batch as subject."""
        return cls(Sort.BATCH, str(batch_id))

    @classmethod
    def from_key(cls, key: str) -> Self:
        """What :attr:`key` wrote. Raises ``ValueError`` when it is none.

        >>> Subject.from_key("batch 7").batch_id
        7
        """
        sort, _, name = key.partition(" ")
        return cls(Sort(sort), name)

    @property
    def key(self) -> str:
        """The subject as one text."""
        return f"{self.sort.value} {self.name}"

    @property
    def batch_id(self) -> BatchId | None:
        """The batch's number; None when it is about something else."""
        return BatchId(int(self.name)) if self.sort is Sort.BATCH else None


@dataclass(frozen=True, slots=True)
class Rules:
    """When alerts begin and end. Minutes are minutes of dough time.

    Attributes
    ----------
    ready_soon_min
        How long before the expected moment *ready soon* comes.
    first_call_min
        The same for a batch that waits for its peak: what follows a preferment has to be weighed and warmed first.
    look_hold_min
        How long an alert about the dough's course must look so before it is said: with one estimate a minute, two.
    past_peak_hold_min
        The same for *past its peak*, which must not come from one hand over the sensor.
    not_rising_hold_min
        The same for *not rising*: the forecast has waited for hours already, and mends itself as the first gas comes.
    blocked_hold_min
        How long something must stand before the sensor, or a level have jumped, before it is said: a hand is gone by
        then.
    blocked_keep_min
        How long the dough must be seen again before what blocks the view is told anew.
    jump_hold_min, jump_news_min
        How long a jump of the level must have looked so, and how long it is worth a word.
    keep_min
        How long it must look over (a later forecast, right air, a sensor heard again) before an episode is over.
    elsewhere_min
        A forecast is clearly later when even its early estimate (5 %) lies this far beyond the alert's own lead.
    peak_chance
        Chance that the peak comes within ten minutes above which *at its peak* begins. [0..1]
    ripe_chance
        The same for a batch that waits for its peak: a peak is foretold late rather than early.
    last_call_min
        For a target rise: *at its peak* is the last call, and comes no sooner than this after *ready*.
    over_band_points
        For a target rise: so far over it a dough that was ready is called once more. [% of rise]
    peak_use_min
        For a batch that waits for its peak: how long before and after it the dough counts as ripe at the least; one
        that took long is ripe for longer (``ripeness``).
    fold_settle_min
        After a fold the dough is low because of the fold, not because it has collapsed.
    silence_min
        A channel, a node or a line without a reading for this long is silent.
    sensor_hold_min
        How long a sensor must be silent beyond that while its node is heard: a node that comes back sends what it has
        kept first, the oldest before the newest.
    fold_worth_min
        How long after its time a fold of the recipe is still worth a call.
    air
        Limits of the air by stage.
    """

    ready_soon_min: float = 10.0  # judgement
    first_call_min: float = 60.0  # judgement
    look_hold_min: float = 1.0  # judgement
    past_peak_hold_min: float = 2.0  # judgement
    not_rising_hold_min: float = 10.0  # judgement
    blocked_hold_min: float = 6.0  # the forecast takes what is gone within five minutes for a hand
    blocked_keep_min: float = 60.0  # judgement: drops and a dough at the sensor's least distance come and go
    jump_hold_min: float = 15.0  # judgement: nothing is lost by then
    jump_news_min: float = 60.0  # judgement
    keep_min: float = 5.0  # judgement
    elsewhere_min: float = 10.0  # judgement
    peak_chance: float = 0.5
    ripe_chance: float = 0.25  # by count: a third of the peaks were missed in simulated nights, and half at 0.5
    last_call_min: float = 5.0  # judgement
    over_band_points: float = 25.0  # judgement: a third of a usual band of 75 %
    peak_use_min: float = LEAST_RIPE_MIN
    fold_settle_min: float = 10.0  # judgement
    silence_min: float = SILENCE_MIN
    sensor_hold_min: float = 2.0  # judgement
    fold_worth_min: float = 30.0  # judgement: later it is better left, or has become the next one
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
    is_interrupted
        True when the time since the last look is not known to have passed (a start after a pause, a clock that was
        set): everything that must hold for a while begins to hold anew, so that no jump makes an alert early.
    """

    batch: Batch
    outlook: Outlook | None
    now: datetime
    last_seen: Mapping[Channel, datetime | None] = field(default_factory=dict)
    is_interrupted: bool = False


@dataclass(frozen=True, slots=True)
class Alert:
    """One episode of one alert.

    Attributes
    ----------
    episode
        1 for the first of its kind about its subject, then counting up; ``(subject, kind, episode)`` is its identity.
    since_at
        When it began to look so.
    fired_at, returned_at
        When it had looked so for long enough, and when it was over; one that came to nothing returned, never fired.
    quiet_since_at
        Since when a firing alert has looked over; None while it does not.
    called_at
        When it was said; None while it has not been, because somebody shelved it or another explains it.
    acknowledged_at
        When somebody said that they know; also when the batch ended, for that is knowing too.
    shelved_until
        Nobody wants to hear of it before; passed or None: it is not shelved.
    suppressed_by
        What explains it; None when nothing does.
    reason
        Why it stands so; None when nothing was noted.
    about
        What it is about within its subject (channels, batches), separated by spaces; empty when that says it all.
    number
        By which the store and the command line know it; 0 until it is kept.
    """

    subject: Subject
    kind: AlertKind
    episode: int
    since_at: datetime
    fired_at: datetime | None = None
    returned_at: datetime | None = None
    quiet_since_at: datetime | None = None
    called_at: datetime | None = None
    acknowledged_at: datetime | None = None
    shelved_until: datetime | None = None
    suppressed_by: Explanation | None = None
    reason: Reason | None = None
    about: str = ""
    number: int = field(default=0, compare=False)

    @property
    def is_holding(self) -> bool:
        """True while it looks so but has not for long enough."""
        return self.fired_at is None and self.returned_at is None

    @property
    def is_firing(self) -> bool:
        """True from when it has looked so for long enough until it is over, whatever people say to it."""
        return self.fired_at is not None and self.returned_at is None

    @property
    def phase(self) -> Phase:
        """Its state. Shelved comes before suppressed, for a person's word counts more than a rule's."""
        if self.fired_at is None:
            return Phase.NORMAL
        if self.returned_at is not None:
            return Phase.RETURNED if self.acknowledged_at is None and self.called_at is not None else Phase.NORMAL
        if self.shelved_until is not None:
            return Phase.SHELVED
        if self.suppressed_by is not None:
            return Phase.SUPPRESSED
        return Phase.UNACKNOWLEDGED if self.acknowledged_at is None else Phase.ACKNOWLEDGED

    @property
    def message_id(self) -> str:
        """What every message about it carries: the same for every repeat, so that one that comes twice is seen so."""
        subject = self.subject
        name = subject.name if subject.sort is Sort.BATCH else f"{subject.sort.value}-{subject.name}"
        return f"{name}-{self.kind.name.lower().replace('_', '-')}-{self.episode}"


UNNAMED = "?"


@dataclass(frozen=True, slots=True)
class Change:
    """An alert has come into another state: a line of its history.

    Attributes
    ----------
    reason
        Why; of one that another explains, what does.
    by
        Who brought it there: empty for the rules themselves, ``UNNAMED`` for somebody who gave no name.
    outlook_at
        The estimate by which it was judged; None when none was needed.
    readings
        The newest reading of each channel it was judged by: node, boot, number, channel, value, moment.
    """

    subject: Subject
    kind: AlertKind
    episode: int
    at: datetime
    phase: Phase
    reason: Reason | Explanation | None = None
    by: str = ""
    outlook_at: datetime | None = None
    readings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AlertUpdate:
    """What one look makes of the alerts of one subject.

    Attributes
    ----------
    alerts
        All of them, ordered by kind and episode.
    calls
        Those that must be said now.
    changes
        Those that have come into another state.
    """

    alerts: tuple[Alert, ...]
    calls: tuple[Alert, ...] = ()
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True)
class Message:
    """What goes to the baker about one alert, one call of a plan, or to try the calls: a row of the outbox.

    Attributes
    ----------
    id
        Its alert's ``message_id``, or made of plan and step: the same for every repeat.
    batch_id
        The batch it is about; None when it is about something else, or about a dough that nobody watches yet.
    delivered_at
        When somebody had it first; None while nobody has.
    """

    id: str
    batch_id: BatchId | None
    kind: AlertKind | CueKind | NoticeKind
    episode: int
    title: str
    text: str
    created_at: datetime
    delivered_at: datetime | None = None
    attempts: int = 0
