"""When a dough has to be looked at again, on a machine that cannot look at each one every minute."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from monitor.alerts.alert import Alert, Rules
from monitor.alerts.conditions import PEAK_LEAD_MIN, first_lead_min
from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch
from monitor.recipe.folds import fold_times

SOONEST, LATEST = timedelta(minutes=1), timedelta(minutes=5)
AT_LEAST = timedelta(seconds=15)  # judgement: the middle estimate of a peak may hover just ahead for long
PATIENCE = 0.1  # judgement: of the time in which nothing can happen yet, what may pass before it is foretold anew


def next_look_at(batch: Batch, outlook: Outlook, alerts: Iterable[Alert], rules: Rules) -> datetime:
    """When a dough should be foretold anew: the sooner, the nearer it is to whatever comes next for its baker.

    Between a minute and five: ten minutes before anything can happen (the early estimate, one in twenty) each minute,
    an hour before it each five. What is foretold for a moment before that is looked at in that very moment, so that
    its alert is not late. While an alert is about to begin or to end it is looked at each minute.

    Parameters
    ----------
    outlook
        The newest; its own moment is what the others are counted from.
    alerts
        All that there have been about the batch.
    """
    alerts = tuple(alerts)
    now = outlook.at
    if outlook.state is State.NO_READINGS or any(
        alert.is_holding or (alert.is_firing and alert.quiet_since_at is not None) for alert in alerts
    ):
        return now + SOONEST
    firing = {alert.kind for alert in alerts if alert.is_firing}
    ready, peak = outlook.ready, outlook.peak
    lead, peak_lead = timedelta(minutes=first_lead_min(batch, rules)), timedelta(minutes=PEAK_LEAD_MIN)
    preheat = timedelta(minutes=batch.preheat_min or 0.0)
    early: list[datetime | None] = []
    aimed: list[datetime | None] = []
    if AlertKind.READY not in firing:
        early += [ready.p05 and ready.p05 - max(lead, preheat)]
        aimed += [ready.p50, ready.p50 and ready.p50 - lead, ready.p25 and ready.p25 - preheat]
    if AlertKind.PAST_PEAK not in firing:
        early += [peak.p05 and peak.p05 - peak_lead]
        aimed += [peak.p50 and peak.p50 - peak_lead]
    first_at = min((at for at in early if at is not None), default=None)
    every = LATEST if first_at is None else min(max(PATIENCE * (first_at - now), SOONEST), LATEST)
    aimed += fold_times(batch)
    aimed_at = min((at for at in aimed if at is not None and now < at <= now + every), default=now + every)
    return max(aimed_at, now + AT_LEAST)
