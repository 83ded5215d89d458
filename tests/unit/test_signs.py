"""What the signs ask of the facts, at their bounds: freshness, plausibility, folds, and a moment that is open again."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from made_up import batch_of

from monitor.alerts.alert import Alert, Facts, Rules, Subject
from monitor.alerts.conditions import Situation, are_heights_stale, silent_channels
from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Moments, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind
from monitor.wire.readings import Channel

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
RULES = Rules()
READY, SOON = AlertKind.READY, AlertKind.READY_SOON


def at(minutes: float) -> datetime:
    return NOW + timedelta(minutes=minutes)


def firing(kind: AlertKind, since: float) -> Alert:
    return Alert(Subject.batch(BatchId(1)), kind, 1, at(since), at(since))


def view(
    *folds: float, alerts: tuple[Alert, ...] = (), seen: dict[Channel, float] | None = None, batch: Batch | None = None
) -> Situation:
    """The facts with folds so many minutes from now, and channels last measured so many minutes from now."""
    mine = batch or batch_of("Hazel loaf")
    mine = replace(mine, events=tuple(Event(at(minutes), EventKind.FOLD) for minutes in folds))
    last_seen = {channel: at(minutes) for channel, minutes in (seen or {}).items()}
    outlook = Outlook(at=NOW, state=State.RISING)
    return Situation(RULES, Facts(mine, outlook, NOW, last_seen), outlook, {alert.kind: alert for alert in alerts})


def test_the_last_fold_is_the_newest_that_has_come() -> None:
    assert view().last_fold_at is None
    assert view(-50.0, -20.0, 5.0).last_fold_at == at(-20.0)
    assert view(0.0).last_fold_at == NOW
    other = replace(batch_of("Hazel loaf"), events=(Event(at(-5.0), EventKind.POKE),))
    assert Situation(RULES, Facts(other, None, NOW), Outlook(NOW, State.RISING), {}).last_fold_at is None


@pytest.mark.parametrize(
    ("fold", "kind", "is_since"),
    [(-10.0, READY, True), (-30.0, READY, False), (-20.0, READY, False), (-19.99, READY, True), (-10.0, SOON, False)],
)
def test_a_fold_counts_from_when_the_alert_of_that_kind_fired(fold: float, kind: AlertKind, is_since: bool) -> None:
    assert view(fold, alerts=(firing(READY, -20.0),)).has_fold_since(kind) is is_since


def test_without_a_fold_or_before_it_fired_there_is_none_since() -> None:
    holding = Alert(Subject.batch(BatchId(1)), READY, 1, at(-20.0))
    assert not view(alerts=(firing(READY, -20.0),)).has_fold_since(READY)
    assert not view(-10.0, alerts=(holding,)).has_fold_since(READY)


def test_a_moment_is_open_again_when_it_is_clearly_later() -> None:
    clearly = RULES.elsewhere_min + 5.0
    fired = (firing(READY, -20.0),)
    assert not view(alerts=fired).is_later(READY, Moments(), 5.0)
    assert not view(alerts=fired).is_later(READY, Moments(p05=at(clearly), p50=at(90.0)), 5.0)
    assert view(alerts=fired).is_later(READY, Moments(p05=at(clearly + 0.1), p50=at(90.0)), 5.0)


def test_after_a_fold_the_middle_is_enough() -> None:
    folded = view(-10.0, alerts=(firing(READY, -20.0),))
    assert not folded.is_later(READY, Moments(), 5.0)
    assert not folded.is_later(READY, Moments(p05=at(1.0), p50=at(5.0)), 5.0)
    assert folded.is_later(READY, Moments(p05=at(1.0), p50=at(5.1)), 5.0)
    assert not folded.is_later(SOON, Moments(p05=at(1.0), p50=at(5.1)), 5.0)  # which has not fired


@pytest.mark.parametrize(("minutes", "is_fresh"), [(-RULES.silence_min, False), (-RULES.silence_min + 0.1, True)])
def test_a_channel_is_fresh_until_it_has_been_silent_for_its_time(minutes: float, is_fresh: bool) -> None:
    seen = view(seen={Channel.AIR_TEMP: minutes})
    assert seen.is_fresh(Channel.AIR_TEMP) is is_fresh
    assert not seen.is_fresh(Channel.DOUGH_TEMP)
    assert seen.current(Channel.AIR_TEMP, 24.0) == (24.0 if is_fresh else None)


def test_what_no_sensor_could_have_measured_is_not_current() -> None:
    fresh = view(seen={Channel.AIR_TEMP: -1.0})
    low, high = Channel.AIR_TEMP.plausible
    assert [fresh.current(Channel.AIR_TEMP, value) for value in (low, high)] == [low, high]
    assert fresh.current(Channel.AIR_TEMP, low - 0.1) is None
    assert fresh.current(Channel.AIR_TEMP, high + 0.1) is None
    assert fresh.current(Channel.AIR_TEMP, None) is None


@pytest.mark.parametrize(
    ("seen", "is_stale"),
    [
        ({}, True),
        ({Channel.DISTANCE: -RULES.silence_min}, True),
        ({Channel.DISTANCE: -RULES.silence_min + 0.1}, False),
        ({Channel.DISTANCE: -60.0, Channel.LEVEL: -1.0}, False),
        ({Channel.DISTANCE: -60.0, Channel.LEVEL: -30.0}, True),
    ],
)
def test_nobody_sees_a_dough_whose_height_has_been_silent(seen: dict[Channel, float], is_stale: bool) -> None:
    found = view(seen=seen)
    assert are_heights_stale(RULES, found.facts) is is_stale
    assert found.is_unseen is is_stale


def test_a_dough_without_a_distance_sensor_is_never_unseen() -> None:
    by_eye = replace(batch_of("Hazel loaf"), nodes=())
    assert not view(batch=by_eye).is_unseen


def test_the_silent_are_those_without_a_reading_for_their_time() -> None:
    seen = {Channel.AIR_TEMP: -RULES.silence_min, Channel.DOUGH_TEMP: -RULES.silence_min + 0.1}
    young = replace(batch_of("Hazel loaf"), started_at=at(-5.0))
    assert silent_channels(RULES, view(seen=seen).facts) == (Channel.AIR_TEMP, Channel.DISTANCE)
    assert silent_channels(RULES, view(seen={Channel.AIR_TEMP: -60.0}, batch=young).facts) == (Channel.AIR_TEMP,)
