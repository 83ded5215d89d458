"""Which alerts a dough gives and when: a pure step from what is known to alert states and calls.

The life of one alert is in :mod:`monitor.alerts.lifecycle`; this module says what begins and ends each, and what
explains it. Alerts about the dough's own course (oven on, ready soon, ready, at its peak, past its peak) stay firing
while a forecast merely wobbles; only a fold that opens the question again, or a forecast that is clearly elsewhere,
ends their episode.

A cause suppresses what it explains:

- a batch that has ended has no alerts any more, and they count as acknowledged;
- while the distance sensor is silent nobody sees the dough: the alerts about its course go on by the forecast (*past
  its peak* never begins, *ready* and *at its peak* only when even the late estimate (75 %) has passed) but are
  suppressed. They are not lost: the alert about the silent node says once more which dough must be looked at, when
  the first of them comes (:mod:`monitor.alerts.silence`);
- air that is no longer measured is neither too warm nor too cold nor too dry: those alerts stand as they are,
  suppressed;
- *ready* makes *ready soon* and *oven on* needless, the last call (*at its peak*) makes *ready* so, and *past its peak*
  all of them; for a batch that waits for its peak, *at its peak* comes ten minutes before it, stands for *ready soon*,
  and is made needless by *ready*.

*At its peak* for a batch with a target rise is the last call: it comes only while the dough is past ready and not
ended, or when the dough will not reach its target.
"""

from monitor.alerts.alert import (
    Alert,
    AlertUpdate,
    Change,
    Facts,
    Message,
    Phase,
    Rules,
    Sort,
    Subject,
)
from monitor.alerts.conditions import AIR, COURSE, NOTHING, Situation, are_heights_stale, silent_channels
from monitor.alerts.kinds import AlertKind
from monitor.alerts.lifecycle import Episodes
from monitor.alerts.reasons import AirUnmeasured, BatchEnded, Explanation, HeightUnseen, MoreCameOfIt
from monitor.dough.outlook import State
from monitor.wire.readings import Channel

__all__ = [
    "COURSE_KINDS",
    "Alert",
    "AlertKind",
    "AlertUpdate",
    "Change",
    "Facts",
    "Message",
    "Phase",
    "Rules",
    "Sort",
    "Subject",
    "is_wanted_unseen",
    "step",
]

COURSE_KINDS = tuple(kind for kind, _ in COURSE)


def step(rules: Rules, alerts: tuple[Alert, ...], facts: Facts) -> AlertUpdate:
    """What the alerts of one batch become, and which must be said now.

    Pure: the same alerts, in any order, and the same facts give the same answer.

    Parameters
    ----------
    alerts
        All alerts of this batch so far, every episode; empty at first.
    """
    episodes = Episodes.of(
        Subject.batch(facts.batch.id), alerts, facts.now, rules.keep_min, is_interrupted=facts.is_interrupted
    )
    ended_at = facts.batch.ended_at
    if ended_at is not None and ended_at <= facts.now:
        episodes.close(BatchEnded())
        return episodes.settled({})
    outlook = facts.outlook
    is_blind = outlook is None or outlook.state is State.NO_READINGS
    for kind, condition in (*COURSE, *AIR):
        if outlook is None or (is_blind and (kind, condition) in COURSE):
            episodes.advance(kind, NOTHING)
        else:
            episodes.advance(kind, condition(Situation(rules, facts, outlook, episodes.firing)))
    return episodes.settled(_explained(rules, facts, episodes))


def _explained(rules: Rules, facts: Facts, episodes: Episodes) -> dict[AlertKind, Explanation]:
    """What explains which alerts of a batch."""
    found: dict[AlertKind, Explanation] = {}
    # what looks so and must still hold counts too: the lesser news is not to be told a minute before the greater
    coming = {kind for kind, alert in episodes.newest.items() if alert.returned_at is None}
    is_for_peak = facts.batch.target.is_peak
    for cause, needless in (
        (AlertKind.AT_PEAK, () if is_for_peak else (AlertKind.READY_SOON, AlertKind.READY)),
        (AlertKind.READY, (AlertKind.READY_SOON, AlertKind.OVEN_ON, *((AlertKind.AT_PEAK,) if is_for_peak else ()))),
        (AlertKind.PAST_PEAK, (AlertKind.READY_SOON, AlertKind.OVEN_ON, AlertKind.READY, AlertKind.AT_PEAK)),
    ):
        if cause in coming:
            found |= dict.fromkeys(needless, MoreCameOfIt(cause))
    silent = silent_channels(rules, facts)
    if Channel.AIR_TEMP in silent:
        found |= dict.fromkeys((kind for kind, _ in AIR), AirUnmeasured())
    if are_heights_stale(rules, facts):
        found |= dict.fromkeys(COURSE_KINDS, HeightUnseen())
    return found


def is_wanted_unseen(alert: Alert) -> bool:
    """True when a dough that nobody sees should be looked at, or its oven lit: whoever tells of the silence says so."""
    is_urgent = alert.kind in (AlertKind.OVEN_ON, AlertKind.READY, AlertKind.AT_PEAK)
    return alert.is_firing and is_urgent and alert.called_at is None and isinstance(alert.suppressed_by, HeightUnseen)
