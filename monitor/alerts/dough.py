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
- while something stands between sensor and dough (a lid, water, dough too near to it) the alerts about its course go
  on by the forecast: *ready* and *at its peak* when even the late estimate (95 %) has passed, *past its peak* not;
- air that is no longer measured is neither too warm nor too cold nor too dry: those alerts stand as they are,
  suppressed;
- *ready* makes *ready soon* and *oven on* needless, *over the band* and the last call (*at its peak*) make *ready* so,
  and *past its peak* all of them; for a batch that waits for its peak, *ready soon* comes an hour before it, *at its
  peak* ten minutes before it, and *ready* makes both needless.

*Fold due* goes by the recipe's clock alone, and by what was noted.

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
from monitor.alerts.conditions import (
    AIR,
    COURSE,
    NOTHING,
    VIEW,
    Situation,
    are_heights_stale,
    blocked_by,
    fold_due,
    silent_channels,
)
from monitor.alerts.kinds import AlertKind
from monitor.alerts.lifecycle import Episodes
from monitor.alerts.reasons import (
    AirUnmeasured,
    BatchEnded,
    Explanation,
    HeightUnseen,
    MoreCameOfIt,
    ViewIsBlocked,
)
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
VIEW_KINDS = tuple(kind for kind, _ in VIEW)


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
    episodes.advance(AlertKind.FOLD_DUE, fold_due(rules, facts))
    outlook = facts.outlook
    is_blind = outlook is None or outlook.state is State.NO_READINGS
    for kind, condition in (*COURSE, *VIEW, *AIR):
        if outlook is None or (is_blind and (kind, condition) not in AIR):
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
        (AlertKind.OVER_BAND, (AlertKind.READY_SOON, AlertKind.READY)),
        (AlertKind.AT_PEAK, (AlertKind.READY_SOON, *(() if is_for_peak else (AlertKind.READY, AlertKind.OVER_BAND)))),
        (AlertKind.READY, (AlertKind.READY_SOON, AlertKind.OVEN_ON, *((AlertKind.AT_PEAK,) if is_for_peak else ()))),
        (AlertKind.PAST_PEAK, tuple(kind for kind in COURSE_KINDS if kind is not AlertKind.PAST_PEAK)),
    ):
        if cause in coming:
            found |= dict.fromkeys(needless, MoreCameOfIt(cause))
    silent = silent_channels(rules, facts)
    if Channel.AIR_TEMP in silent:
        found |= dict.fromkeys((kind for kind, _ in AIR), AirUnmeasured())
    if facts.outlook is not None and blocked_by(facts.outlook) is not None:
        found |= {kind: ViewIsBlocked() for kind in (AlertKind.PAST_PEAK, AlertKind.NOT_RISING)}
    if are_heights_stale(rules, facts):
        found |= dict.fromkeys((*COURSE_KINDS, *VIEW_KINDS), HeightUnseen())
    return found


def is_wanted_unseen(alert: Alert) -> bool:
    """True when a dough that nobody sees should be looked at, or its oven lit: whoever tells of the silence says so."""
    is_urgent = alert.kind in (AlertKind.OVEN_ON, AlertKind.READY, AlertKind.AT_PEAK)
    return alert.is_firing and is_urgent and alert.called_at is None and isinstance(alert.suppressed_by, HeightUnseen)
