"""When a dough is looked at again on a machine that cannot look at every one each minute."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from made_up import FIRST_DAY, batch_of

from monitor.alerts.dough import Alert, AlertKind, Rules, Subject
from monitor.alerts.next_estimate import AT_LEAST, LATEST, SOONEST, next_look_at
from monitor.dough.outlook import Moments, Outlook, State

NOW = FIRST_DAY + timedelta(hours=2)
BATCH = batch_of("Hazel loaf")


def around(minutes: float, half_min: float) -> Moments:
    """A moment so many minutes ahead, give or take."""
    steps = (-1.0, -0.4, 0.0, 0.4, 1.0)
    return Moments(*(NOW + timedelta(minutes=minutes + step * half_min) for step in steps))


def wait_of(outlook: Outlook, *alerts: Alert, preheat_min: float | None = None) -> timedelta:
    return next_look_at(replace(BATCH, preheat_min=preheat_min), outlook, alerts, Rules()) - NOW


def rising(ready: Moments, peak: Moments | None = None) -> Outlook:
    return Outlook(NOW, State.RISING, ready=ready, peak=around(600.0, 60.0) if peak is None else peak)


def alert(kind: AlertKind, fired_at: datetime | None, quiet_since_at: datetime | None = None) -> Alert:
    return Alert(Subject.batch(BATCH.id), kind, 1, NOW, fired_at=fired_at, quiet_since_at=quiet_since_at)


@pytest.mark.parametrize(
    ("minutes", "wait_min"),
    [(300.0, 5.0), (80.0, 5.0), (65.0, 3.5), (50.0, 2.0), (35.0, 1.0)],
)
def test_the_nearer_ready_is_the_sooner_it_is_looked_at_again(minutes, wait_min):
    assert wait_of(rising(around(minutes, 20.0))) == timedelta(minutes=wait_min)


def test_an_oven_that_needs_long_brings_the_look_forward():
    assert wait_of(rising(around(100.0, 20.0)), preheat_min=40.0) == timedelta(minutes=4)


@pytest.mark.parametrize(("minutes", "wait_s"), [(0.5, 30.0), (10.75, 45.0)])
def test_a_foretold_moment_is_looked_at_in_that_moment(minutes, wait_s):
    assert wait_of(rising(around(minutes, 2.0))) == timedelta(seconds=wait_s)


def test_a_fold_of_the_recipe_is_looked_at_in_its_moment():
    folds_min = ((NOW - BATCH.started_at).total_seconds() / 60.0 + 2.5,)
    found = next_look_at(replace(BATCH, folds_min=folds_min), rising(around(300.0, 20.0)), (), Rules())
    assert found == NOW + timedelta(minutes=2.5)


def test_a_moment_that_hovers_just_ahead_is_not_run_after():
    assert wait_of(rising(around(0.05, 0.1))) == AT_LEAST


def test_what_never_comes_within_sight_can_wait():
    assert wait_of(Outlook(NOW, State.RISING)) == LATEST


def test_a_dough_that_is_not_seen_is_asked_after_soon():
    assert wait_of(Outlook(NOW, State.NO_READINGS)) == SOONEST


def test_an_alert_about_to_begin_or_to_end_is_followed_closely():
    far = rising(around(300.0, 20.0))
    assert wait_of(far, alert(AlertKind.AIR_TOO_WARM, None)) == SOONEST
    assert wait_of(far, alert(AlertKind.AIR_TOO_WARM, NOW, quiet_since_at=NOW)) == SOONEST
    assert wait_of(far, alert(AlertKind.AIR_TOO_WARM, NOW)) == LATEST


def test_what_was_told_is_not_waited_for():
    over = rising(around(-20.0, 1.0), around(300.0, 60.0))
    assert wait_of(over) == SOONEST
    assert wait_of(over, alert(AlertKind.READY, NOW)) == LATEST
