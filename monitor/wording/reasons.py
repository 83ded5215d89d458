"""Why an alert stands as it does, and what explains it, in words."""

from typing import assert_never

from monitor.alerts.kinds import AlertKind
from monitor.alerts.reasons import (
    AirAgainstLimit,
    AirUnmeasured,
    BandExceeded,
    BandHolds,
    BatchEnded,
    CameToNothing,
    ChannelsUnread,
    DoughCovered,
    DoughFalls,
    Explanation,
    FoldWanted,
    HeardAgain,
    HeightUnseen,
    JumpKnown,
    LineSilent,
    LineUnheard,
    LoadingNotNear,
    MonitorRestarted,
    MoreCameOfIt,
    MoreJoined,
    NoBatchReadsIt,
    NodeSaysWhy,
    NodeSilent,
    NodeUnheard,
    NoFoldWanted,
    NoRise,
    NotReadyYet,
    OvenNeedsTime,
    PeakAheadAgain,
    PeakLikely,
    PeakNear,
    PeakReached,
    PlainText,
    ReadyExpected,
    ReadyNotNear,
    Reason,
    RisesAfterAll,
    SeenAgain,
    SkinDrying,
    TargetReached,
    TroubleOver,
    TroubleSeen,
    TubMoved,
    ViewBlocked,
    ViewIsBlocked,
)
from monitor.wording.outlook import cause_words, obstruction_word
from monitor.wording.phrases import alert_kind_word, channel_word, temp_text
from monitor.wording.reader import Reader
from monitor.wording.troubles import remedy_text, trouble_text


def reason_text(reason: Reason | Explanation, reader: Reader) -> str:
    """Why an alert stands as it does, as a clause."""
    say = reader.say
    match reason:
        case FoldWanted(number, of):
            return say("fold {number} of {of} is due", number=number, of=of)
        case NoFoldWanted():
            return say("the fold was noted, or its time is over")
        case TargetReached():
            return say("it has reached what this stage waits for")
        case NotReadyYet():
            return say("it is not ready yet after all")
        case ReadyExpected(within_min):
            return say("ready is expected within {minutes} min", minutes=reader.number(within_min))
        case ReadyNotNear():
            return say("ready is not near any more")
        case OvenNeedsTime(preheat_min):
            return say("the oven needs {minutes} min", minutes=reader.number(preheat_min))
        case LoadingNotNear():
            return say("loading is not near any more")
        case PeakReached():
            return say("its peak has come")
        case PeakLikely(within_min):
            return say("its peak is likely within {minutes} min", minutes=reader.number(within_min))
        case PeakNear(within_min):
            return say("its peak may come within {minutes} min", minutes=reader.number(within_min))
        case BandExceeded(over_points):
            return say("it stands {points} points over the band", points=reader.number(over_points))
        case BandHolds():
            return say("it stands no longer over the band")
        case DoughFalls():
            return say("it is falling")
        case PeakAheadAgain():
            return say("its peak is ahead of it again")
        case NoRise(cause):
            return say("it has not begun to rise: {cause}", cause=cause_words(cause, reader))
        case RisesAfterAll():
            return say("it rises after all")
        case ViewBlocked(by):
            return say("between sensor and dough: {what}", what=obstruction_word(by, reader))
        case SeenAgain():
            return say("the sensor sees it again")
        case TubMoved():
            return say("its level jumped: the tub was moved, it seems")
        case JumpKnown():
            return say("the jump of its level is known or long ago")
        case AirAgainstLimit(air_c, limit_c):
            return say("air {air}, limit {limit}", air=temp_text(air_c, reader), limit=temp_text(limit_c, reader))
        case SkinDrying(drying_pa):
            return say("the air pulls water out of the skin at {drying_pa} Pa", drying_pa=reader.number(drying_pa))
        case DoughCovered():
            return say("it is covered")
        case LineUnheard(for_min):
            return say("nothing heard over it for {minutes} min", minutes=reader.number(for_min))
        case NodeUnheard(for_min):
            return say("not heard for {minutes} min", minutes=reader.number(for_min))
        case ChannelsUnread(for_min, channels):
            names = ", ".join(channel_word(channel, reader) for channel in channels)
            return say("no reading for {minutes} min: {names}", minutes=reader.number(for_min), names=names)
        case HeardAgain():
            return say("heard again")
        case NoBatchReadsIt():
            return say("no batch reads it now")
        case CameToNothing():
            return say("it came to nothing")
        case MoreJoined():
            return say("more has joined it")
        case BatchEnded():
            return say("the batch has ended")
        case TroubleSeen(trouble):
            what, remedy = trouble_text(trouble, reader), remedy_text(trouble, reader)
            return say("{what}; what to do: {remedy}", what=what, remedy=remedy)
        case TroubleOver(trouble):
            return say("no longer so: {what}", what=trouble_text(trouble, reader))
        case MonitorRestarted():
            return say("the monitor was started anew; what is still wrong is told again")
        case PlainText(text):
            return text
        case MoreCameOfIt(kind):
            return _more_text(kind, reader)
        case HeightUnseen():
            return say("its sensor is silent: nobody sees the dough")
        case ViewIsBlocked():
            return say("the sensor does not see the dough")
        case AirUnmeasured():
            return say("the air is not measured any more")
        case LineSilent():
            return say("nothing is heard over its line")
        case NodeSaysWhy():
            return say("its node has said itself what is wrong")
        case NodeSilent():
            return say("its whole node is silent")
    assert_never(reason)


def _more_text(kind: AlertKind, reader: Reader) -> str:
    return reader.say("more has come of it: {kind}", kind=alert_kind_word(kind, reader))
