"""Why an alert stands as it does, and what explains it: one type a code, with its values. No words.

They are worded in ``monitor.wording.reasons``, and kept as ``{"code": ..., values}``.
"""

from typing import TypeAlias

from monitor.alerts.kinds import AlertKind
from monitor.alerts.troubles import Code, Trouble
from monitor.dough.outlook import Cause, ObstructionKind
from monitor.wire.readings import Channel


class FoldWanted(Code, frozen=True):
    """The recipe's time for a fold has come: which, and of how many."""

    number: int
    of: int


class NoFoldWanted(Code, frozen=True):
    """The fold was noted, or its time is over."""


class TargetReached(Code, frozen=True):
    """The dough has come to what its stage waits for."""


class NotReadyYet(Code, frozen=True):
    """Ready was said, and is ahead again."""


class ReadyExpected(Code, frozen=True):
    """Ready is expected within a time."""

    within_min: float


class ReadyNotNear(Code, frozen=True):
    """Ready is further off again than the alert's lead."""


class OvenNeedsTime(Code, frozen=True):
    """The oven has to be lit now to be hot in time."""

    preheat_min: float


class LoadingNotNear(Code, frozen=True):
    """Loading is further off again than the oven needs."""


class PeakReached(Code, frozen=True):
    """The peak was seen."""


class PeakLikely(Code, frozen=True):
    """The peak is likely within a time."""

    within_min: float


class PeakNear(Code, frozen=True):
    """The peak may come within a time."""

    within_min: float


class BandExceeded(Code, frozen=True):
    """The dough was ready and stands far over its target."""

    over_points: float


class BandHolds(Code, frozen=True):
    """The dough stands no longer over its target."""


class DoughFalls(Code, frozen=True):
    """The dough was seen to fall."""


class PeakAheadAgain(Code, frozen=True):
    """A dough that was past its peak has it ahead again."""


class NoRise(Code, frozen=True):
    """The dough should have begun to rise by now."""

    cause: Cause


class RisesAfterAll(Code, frozen=True):
    """A dough that had not begun to rise does."""


class ViewBlocked(Code, frozen=True):
    """Something stands between sensor and dough."""

    by: ObstructionKind


class SeenAgain(Code, frozen=True):
    """The sensor sees the dough again."""


class TubMoved(Code, frozen=True):
    """The level jumped as when a tub is put elsewhere, and nobody wrote it down."""


class JumpKnown(Code, frozen=True):
    """A jump of the level is written down by now, or long ago."""


class AirAgainstLimit(Code, frozen=True):
    """The air as it was measured, and the limit it is held against."""

    air_c: float
    limit_c: float


class SkinDrying(Code, frozen=True):
    """How hard the air pulls water out of the dough's skin."""

    drying_pa: float


class DoughCovered(Code, frozen=True):
    """The dough was said to be covered: no air gets at its skin."""


class LineUnheard(Code, frozen=True):
    """No node was heard over a line for a time."""

    for_min: float


class NodeUnheard(Code, frozen=True):
    """A node was not heard for a time."""

    for_min: float


class ChannelsUnread(Code, frozen=True):
    """Some channels of a node that is heard gave no reading for a time."""

    for_min: float
    channels: tuple[Channel, ...]


class HeardAgain(Code, frozen=True):
    """A silence is over."""


class NoBatchReadsIt(Code, frozen=True):
    """No running batch needs the node or line any more."""


class CameToNothing(Code, frozen=True):
    """It did not look so for long enough."""


class MoreJoined(Code, frozen=True):
    """The same alert goes on about more."""


class BatchEnded(Code, frozen=True):
    """The batch is over."""


class TroubleSeen(Code, frozen=True):
    """Something is wrong with the monitor."""

    trouble: Trouble


class TroubleOver(Code, frozen=True):
    """Something is right again with the monitor."""

    trouble: Trouble


class MonitorRestarted(Code, frozen=True):
    """The monitor was started anew, and tells again what is still wrong."""


class PlainText(Code, frozen=True):
    """A reason of an earlier version of this program that has no code: its words, and their language."""

    text: str
    language: str


class MoreCameOfIt(Code, frozen=True):
    """A later alert about the same dough has taken it over."""

    kind: AlertKind


class HeightUnseen(Code, frozen=True):
    """The sensor of the dough's height is silent: nobody sees the dough."""


class ViewIsBlocked(Code, frozen=True):
    """Something stands between sensor and dough: nobody has seen it fall."""


class AirUnmeasured(Code, frozen=True):
    """The air is not measured any more."""


class LineSilent(Code, frozen=True):
    """Nothing is heard over the node's line."""


class NodeSilent(Code, frozen=True):
    """Nothing is heard of the sensor's node."""


class NodeSaysWhy(Code, frozen=True):
    """The sensor's node has said itself what is wrong, and that was told."""


Explanation: TypeAlias = (
    MoreCameOfIt | HeightUnseen | ViewIsBlocked | AirUnmeasured | LineSilent | NodeSilent | NodeSaysWhy | PlainText
)
"""What explains an alert, so that it need not be said by itself."""

Reason: TypeAlias = (
    FoldWanted
    | NoFoldWanted
    | TargetReached
    | NotReadyYet
    | ReadyExpected
    | ReadyNotNear
    | OvenNeedsTime
    | LoadingNotNear
    | PeakReached
    | PeakLikely
    | PeakNear
    | BandExceeded
    | BandHolds
    | DoughFalls
    | PeakAheadAgain
    | NoRise
    | RisesAfterAll
    | ViewBlocked
    | SeenAgain
    | TubMoved
    | JumpKnown
    | AirAgainstLimit
    | SkinDrying
    | DoughCovered
    | LineUnheard
    | NodeUnheard
    | ChannelsUnread
    | HeardAgain
    | NoBatchReadsIt
    | CameToNothing
    | MoreJoined
    | BatchEnded
    | TroubleSeen
    | TroubleOver
    | MonitorRestarted
    | PlainText
)
"""Why an alert stands as it does."""
