"""Which alerts a dough gives and when: a pure step from what is known to alert states and events.

Life of one alert: *pending* (it looks so, but must hold) -> *firing* (said once) -> *resolved* (over, after it has been
over for a while). One passage through this life is an *episode*; each episode is said once. Alerts about the dough's
own course (oven on, ready soon, ready, at its peak, past its peak) stay firing while a forecast merely wobbles; only a
fold that opens the question again, or a forecast that is clearly elsewhere, ends their episode.

A cause suppresses what it explains:

- a batch that has ended fires nothing, and what was firing is resolved;
- air that is no longer measured is neither too warm nor too cold nor too dry: those alerts stand as they are;
- while the distance sensor is silent nothing is *seen*: *past its peak* never begins, and *ready* and *at its peak*
  begin only when even the late estimate (75 %) has passed, so that the forecast still carries them; *oven on* and
  *ready soon* begin as always, for a late warning costs more than an early one (judgement). The words say that nobody
  has seen the dough since;
- *ready* makes *ready soon* and *oven on* needless, *past its peak* makes *at its peak* needless; for a batch that
  waits for its peak, *at its peak* comes ten minutes before it and stands for *ready soon*.

*At its peak* for a batch with a target rise is the last call: it comes only while the dough is past ready and not
ended, or when the dough will not reach its target.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.bakery.alert_types import Alert, AlertEvent, AlertKind, Facts, Message, Phase, Rules
from monitor.bakery.signs import AIR, COURSE, NOTHING, Verdict, View, silence
from monitor.dough.outlook import State

__all__ = ["Alert", "AlertEvent", "AlertKind", "Facts", "Message", "Phase", "Rules", "step"]


def _begun(newest: Alert | None, facts: Facts, kind: AlertKind, verdict: Verdict) -> Alert:
    """A new episode, or the next attempt at one that never fired."""
    alert = Alert(
        batch_id=facts.batch.id,
        kind=kind,
        episode=1 if newest is None else newest.episode + (newest.fired_at is not None),
        phase=Phase.PENDING,
        since_at=facts.now,
        reason=verdict.reason,
        about=" ".join(verdict.about),
    )
    return replace(alert, phase=Phase.FIRING, fired_at=facts.now) if verdict.hold_min <= 0 else alert


def _resolved(alert: Alert, now: datetime, reason: str) -> Alert:
    return replace(alert, phase=Phase.RESOLVED, resolved_at=now, quiet_since_at=None, reason=reason)


def _advanced(
    newest: Alert | None, facts: Facts, kind: AlertKind, verdict: Verdict, keep_min: float
) -> tuple[Alert, ...]:
    """The newest episode of one kind a step on: the alerts that changed, the newest last."""
    now = facts.now
    if newest is None or newest.phase == Phase.RESOLVED:
        return (_begun(newest, facts, kind, verdict),) if verdict.begins else ()
    if newest.phase == Phase.PENDING:
        if not verdict.begins:
            return (_resolved(newest, now, "it came to nothing"),)
        if now - newest.since_at >= timedelta(minutes=verdict.hold_min):
            return (replace(newest, phase=Phase.FIRING, fired_at=now, reason=verdict.reason),)
        return ()
    before, after = set(newest.about.split()), set(verdict.about)
    if after - before:
        over = _resolved(newest, now, "more has joined it")
        return over, _begun(over, facts, kind, replace(verdict, hold_min=0.0))
    if not verdict.ends and after == before:
        return () if newest.quiet_since_at is None else (replace(newest, quiet_since_at=None),)
    quiet_since_at = newest.quiet_since_at or now
    if now - quiet_since_at < timedelta(minutes=keep_min):
        return (replace(newest, quiet_since_at=quiet_since_at),)
    if verdict.ends:
        return (_resolved(newest, now, verdict.reason),)
    return (replace(newest, quiet_since_at=None, about=" ".join(verdict.about), reason=verdict.reason),)


def step(rules: Rules, alerts: tuple[Alert, ...], facts: Facts) -> tuple[tuple[Alert, ...], tuple[AlertEvent, ...]]:
    """What the alerts of one batch become, and which must be said now.

    Pure: the same alerts, in any order, and the same facts give the same answer.

    Parameters
    ----------
    alerts
        All alerts of this batch so far, every episode; empty at first.

    Returns
    -------
    alerts, events
        All alerts, ordered by kind and episode; and one event for each that has just begun to fire.
    """
    found = {(alert.kind, alert.episode): alert for alert in alerts}
    ended_at = facts.batch.ended_at
    if ended_at is not None and ended_at <= facts.now:
        for key, alert in found.items():
            if alert.phase != Phase.RESOLVED:
                found[key] = _resolved(alert, facts.now, "the batch has ended")
        return _in_order(found), ()
    newest: dict[AlertKind, Alert] = {}
    for alert in _in_order(found):
        newest[alert.kind] = alert
    events: list[AlertEvent] = []

    def advance(kind: AlertKind, verdict: Verdict) -> None:
        for alert in _advanced(newest.get(kind), facts, kind, verdict, rules.keep_min):
            was = found.get((kind, alert.episode))
            if alert.phase == Phase.FIRING and (was is None or was.phase != Phase.FIRING):
                events.append(AlertEvent(alert, facts.now))
            found[(kind, alert.episode)] = newest[kind] = alert

    outlook = facts.outlook
    is_blind = outlook is None or outlook.state is State.NO_READINGS
    for kind, verdict in (*COURSE, *AIR):
        if outlook is None or (is_blind and (kind, verdict) in COURSE):
            advance(kind, NOTHING)
        else:
            firing = {alert.kind: alert for alert in newest.values() if alert.phase == Phase.FIRING}
            advance(kind, verdict(View(rules, facts, outlook, firing)))
    advance(AlertKind.SENSOR_SILENT, silence(rules, facts))
    return _in_order(found), tuple(events)


def _in_order(found: Mapping[tuple[AlertKind, int], Alert]) -> tuple[Alert, ...]:
    kinds = list(AlertKind)
    return tuple(sorted(found.values(), key=lambda alert: (kinds.index(alert.kind), alert.episode)))
