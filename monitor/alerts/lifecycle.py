"""The life of one alert, whatever it is about: hold, fire, be acknowledged, shelved or suppressed, return to normal.

One passage from *looks so* to *is over* is an *episode*, and each episode is said once. What a rule says of the moment
is a :class:`~monitor.alerts.conditions.Condition`; what people say (acknowledged, shelved) stands in the alert itself.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from monitor.alerts.alert import Alert, AlertUpdate, Change, Phase, Subject
from monitor.alerts.conditions import Condition
from monitor.alerts.kinds import AlertKind
from monitor.alerts.reasons import CameToNothing, Explanation, MoreJoined, Reason

TOLERANCE = timedelta(seconds=5)  # judgement: looks come with the readings, a little early or late


@dataclass(slots=True)
class Episodes:
    """The alerts of one subject while one look goes over them."""

    subject: Subject
    now: datetime
    keep_min: float
    found: dict[tuple[AlertKind, int], Alert]
    before: Mapping[tuple[AlertKind, int], Alert]

    @classmethod
    def of(
        cls, subject: Subject, alerts: Iterable[Alert], now: datetime, keep_min: float, *, is_interrupted: bool
    ) -> "Episodes":
        """The alerts so far; after an interruption what must hold for a while begins to hold now."""
        before = {(alert.kind, alert.episode): alert for alert in alerts}
        found = {key: _resumed(alert, now) for key, alert in before.items()} if is_interrupted else dict(before)
        return cls(subject, now, keep_min, found, before)

    @property
    def newest(self) -> dict[AlertKind, Alert]:
        """The last episode of each kind."""
        return {alert.kind: alert for alert in self.in_order()}

    @property
    def firing(self) -> dict[AlertKind, Alert]:
        """The episodes that are on."""
        return {kind: alert for kind, alert in self.newest.items() if alert.is_firing}

    def in_order(self) -> tuple[Alert, ...]:
        """All alerts by kind and episode."""
        kinds = list(AlertKind)
        return tuple(sorted(self.found.values(), key=lambda alert: (kinds.index(alert.kind), alert.episode)))

    def advance(self, kind: AlertKind, condition: Condition) -> None:
        """Take the newest episode of a kind a step on."""
        keep_min = self.keep_min if condition.keep_min is None else condition.keep_min
        for alert in _advanced(self.newest.get(kind), self.subject, kind, condition, self.now, keep_min):
            self.found[kind, alert.episode] = alert

    def close(self, reason: Reason) -> None:
        """The subject is gone: nothing is on any more, and nobody need acknowledge anything."""
        for key, alert in self.found.items():
            if alert.returned_at is None:
                self.found[key] = alert = _returned(alert, self.now, reason)
            if alert.phase is Phase.RETURNED:
                self.found[key] = replace(alert, acknowledged_at=self.now, reason=reason)

    def settled(self, explained: Mapping[AlertKind, Explanation]) -> AlertUpdate:
        """End the look: shelves that have run out, what another explains, and what must be said now.

        Parameters
        ----------
        explained
            For each kind that something else explains: what.
        """
        for key, alert in self.found.items():
            if alert.shelved_until is not None and alert.shelved_until <= self.now:
                self.found[key] = alert = replace(alert, shelved_until=None)
            if alert.is_firing:
                self.found[key] = replace(alert, suppressed_by=explained.get(alert.kind))
        calls = []
        for key, alert in self.found.items():
            if alert.phase is Phase.UNACKNOWLEDGED and alert.called_at is None:
                self.found[key] = replace(alert, called_at=self.now)
                calls.append(self.found[key])
        alerts = self.in_order()
        changes = [self._change(alert) for alert in alerts if self._is_changed(alert)]
        kinds = list(AlertKind)
        return AlertUpdate(alerts, tuple(sorted(calls, key=lambda alert: kinds.index(alert.kind))), tuple(changes))

    def _is_changed(self, alert: Alert) -> bool:
        was = self.before.get((alert.kind, alert.episode))
        return alert.phase is not (Phase.NORMAL if was is None else was.phase)

    def _change(self, alert: Alert) -> Change:
        reason = alert.suppressed_by if alert.phase is Phase.SUPPRESSED else alert.reason
        return Change(alert.subject, alert.kind, alert.episode, self.now, alert.phase, reason)


def _resumed(alert: Alert, now: datetime) -> Alert:
    """An alert whose holding is not known to have gone on; no moment of it lies ahead of a clock that was set back."""
    return replace(
        alert,
        since_at=now if alert.is_holding else min(alert.since_at, now),
        fired_at=None if alert.fired_at is None else min(alert.fired_at, now),
        quiet_since_at=None,
    )


def _begun(newest: Alert | None, subject: Subject, kind: AlertKind, condition: Condition, now: datetime) -> Alert:
    """A new episode, or the next attempt at one that never fired. A shelf holds on for it."""
    return Alert(
        subject=subject,
        kind=kind,
        episode=1 if newest is None else newest.episode + (newest.fired_at is not None),
        since_at=now,
        fired_at=now if condition.hold_min <= 0 else None,
        shelved_until=None if newest is None else newest.shelved_until,
        reason=condition.reason,
        about=" ".join(condition.about),
    )


def _returned(alert: Alert, now: datetime, reason: Reason | None, *, is_answered: bool = False) -> Alert:
    """Over. Who shelved it, or did what it asked for, knows of it: it waits for no acknowledgement."""
    is_shelved = alert.fired_at is not None and alert.shelved_until is not None
    is_known = alert.acknowledged_at is None and (is_shelved or is_answered)
    return replace(
        alert,
        returned_at=now,
        quiet_since_at=None,
        reason=reason,
        suppressed_by=None,
        acknowledged_at=now if is_known else alert.acknowledged_at,
    )


def _advanced(
    newest: Alert | None, subject: Subject, kind: AlertKind, condition: Condition, now: datetime, keep_min: float
) -> tuple[Alert, ...]:
    """The newest episode of one kind a step on: the alerts that changed, the newest last."""
    if newest is None or newest.returned_at is not None:
        return (_begun(newest, subject, kind, condition, now),) if condition.begins else ()
    if newest.is_holding:
        if not condition.begins:
            return (_returned(newest, now, CameToNothing()),)
        if now - newest.since_at >= timedelta(minutes=condition.hold_min) - TOLERANCE:
            return (replace(newest, fired_at=now, reason=condition.reason, about=" ".join(condition.about)),)
        return ()
    before, after = set(newest.about.split()), set(condition.about)
    if after - before:
        over = replace(_returned(newest, now, MoreJoined()), acknowledged_at=newest.acknowledged_at or now)
        return over, _begun(over, subject, kind, replace(condition, hold_min=0.0), now)
    if not condition.ends and after == before:
        return () if newest.quiet_since_at is None else (replace(newest, quiet_since_at=None),)
    quiet_since_at = newest.quiet_since_at or now
    if now - quiet_since_at < timedelta(minutes=keep_min):
        return (replace(newest, quiet_since_at=quiet_since_at),)
    if condition.ends:
        return (_returned(newest, now, condition.reason, is_answered=condition.is_answered),)
    return (replace(newest, quiet_since_at=None, about=" ".join(condition.about), reason=condition.reason),)
