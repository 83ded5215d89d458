"""Why an alert begins and why it is over, as its history tells it; and what a wobble must not end."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from made_up import batch_of

from monitor.alerts.alert import Alert, Facts, Rules
from monitor.alerts.dough import step
from monitor.alerts.kinds import AlertKind
from monitor.alerts.limits import HYSTERESIS_C, air_limits
from monitor.alerts.reasons import (
    AirAgainstLimit,
    DoughFalls,
    Explanation,
    LoadingNotNear,
    NotReadyYet,
    OvenNeedsTime,
    PeakAheadAgain,
    PeakNear,
    PeakReached,
    ReadyExpected,
    ReadyNotNear,
    Reason,
    SkinDrying,
    TargetReached,
)
from monitor.dough.outlook import Moments, Outlook, State
from monitor.recipe.batch import Batch, Stage, Target
from monitor.wire.readings import Channel

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
AT_ONCE = Rules(look_hold_min=0.0, past_peak_hold_min=0.0, keep_min=0.0)
LOAF = replace(batch_of("Hazel loaf"), started_at=NOON - timedelta(hours=4), preheat_min=45.0)
FOR_PEAK = replace(LOAF, target=Target(None))
LIMITS = air_limits(LOAF, AT_ONCE.air)
LONG = timedelta(hours=1)  # longer than any air must look wrong


def moments(minutes: float) -> Moments:
    return Moments(*[NOON + timedelta(minutes=minutes)] * 5)


def outlook(state: State = State.RISING, **facts: object) -> Outlook:
    return replace(Outlook(NOON, state), **facts)  # type: ignore[arg-type]


def facts(found: Outlook | None, batch: Batch = LOAF, now: datetime = NOON, *silent: Channel) -> Facts:
    return Facts(batch, found, now, {channel: now for channel in Channel if channel not in silent})


def told(kind: AlertKind, begins: Outlook, ends: Outlook, batch: Batch = LOAF) -> list[Reason | Explanation | None]:
    """The reasons of an alert's history: it looks so for long enough, and then it does not for long enough."""
    alerts: tuple[Alert, ...] = ()
    reasons = []
    for number, found in enumerate((begins, begins, ends, ends)):
        shift = number * LONG if kind.value.startswith("air") else timedelta()
        done = step(AT_ONCE, alerts, facts(found, batch, NOON + shift))
        alerts = done.alerts
        reasons += [change.reason for change in done.changes if change.kind is kind]
    return reasons


RIPE = outlook(ready=moments(-1.0))
SOON = outlook(ready=moments(5.0))
FAR = outlook(ready=moments(300.0), peak=moments(400.0))


@pytest.mark.parametrize(
    ("kind", "begins", "ends", "reasons"),
    [
        (AlertKind.READY, RIPE, FAR, [TargetReached(), NotReadyYet()]),
        (AlertKind.READY_SOON, SOON, FAR,
         [ReadyExpected(AT_ONCE.ready_soon_min), ReadyNotNear()]),
        (AlertKind.OVEN_ON, outlook(ready=moments(30.0)), FAR, [OvenNeedsTime(45.0), LoadingNotNear()]),
        (AlertKind.PAST_PEAK, outlook(State.PAST_PEAK, ready=moments(-1.0)), FAR, [DoughFalls(), PeakAheadAgain()]),
        (AlertKind.AIR_TOO_WARM, outlook(air_temp_c=60.0), outlook(air_temp_c=LIMITS.high_c - 2.0 * HYSTERESIS_C),
         [AirAgainstLimit(60.0, LIMITS.high_c),
          AirAgainstLimit(LIMITS.high_c - 2.0 * HYSTERESIS_C, LIMITS.high_c)]),
        (AlertKind.AIR_TOO_COLD, outlook(air_temp_c=-5.0), outlook(air_temp_c=LIMITS.low_c + 2.0 * HYSTERESIS_C),
         [AirAgainstLimit(-5.0, LIMITS.low_c), AirAgainstLimit(LIMITS.low_c + 2.0 * HYSTERESIS_C, LIMITS.low_c)]),
    ],
)  # fmt: skip
def test_the_history_says_why_it_began_and_why_it_is_over(
    kind: AlertKind, begins: Outlook, ends: Outlook, reasons: list[Reason]
) -> None:
    assert told(kind, begins, ends) == reasons


def test_a_peak_is_told_as_seen_or_as_near() -> None:
    seen, near = outlook(State.AT_PEAK, peak=moments(0.0)), outlook(peak_soon_chance=0.9, peak=moments(5.0))
    assert told(AlertKind.AT_PEAK, seen, seen, FOR_PEAK) == [PeakReached()]
    (reason,) = told(AlertKind.AT_PEAK, near, near, FOR_PEAK)
    assert isinstance(reason, PeakNear)


def test_skin_that_dries_is_told_with_how_hard_the_air_pulls() -> None:
    proof = replace(LOAF, stage=Stage.FINAL_PROOF)
    dry = outlook(air_temp_c=24.0, humidity_pct=15.0, dough_temp_c=24.0)
    (reason,) = told(AlertKind.AIR_TOO_DRY, dry, dry, proof)
    assert isinstance(reason, SkinDrying)
    assert reason.drying_pa > 0.0


@pytest.mark.parametrize("silent", [Channel.AIR_TEMP, Channel.HUMIDITY])
def test_air_of_which_one_half_is_not_measured_is_not_called_dry(silent: Channel) -> None:
    proof = replace(LOAF, stage=Stage.FINAL_PROOF)
    dry = outlook(air_temp_c=24.0, humidity_pct=15.0)
    assert step(AT_ONCE, (), facts(dry, proof, NOON, silent)).alerts == ()


def test_a_peak_that_looks_less_likely_for_a_moment_is_not_over() -> None:
    likely, less = outlook(peak_soon_chance=0.9, peak=moments(5.0)), outlook(peak_soon_chance=0.1, peak=moments(8.0))
    assert len(told(AlertKind.AT_PEAK, likely, less, FOR_PEAK)) == 1


@pytest.mark.parametrize(
    ("kind", "wrong_c", "inside_c"),
    [
        (AlertKind.AIR_TOO_WARM, 60.0, LIMITS.high_c - 0.5 * HYSTERESIS_C),
        (AlertKind.AIR_TOO_COLD, -5.0, LIMITS.low_c + 0.5 * HYSTERESIS_C),
    ],
)
def test_air_just_inside_its_limit_does_not_end_an_alert(kind: AlertKind, wrong_c: float, inside_c: float) -> None:
    assert len(told(kind, outlook(air_temp_c=wrong_c), outlook(air_temp_c=inside_c))) == 1


def test_an_estimate_without_readings_calls_nothing_of_the_doughs_course() -> None:
    blind = outlook(State.NO_READINGS, ready=moments(-1.0), peak=moments(-1.0), peak_soon_chance=1.0)
    assert step(AT_ONCE, (), facts(blind)).alerts == ()


def test_what_must_hold_begins_anew_after_a_look_without_an_estimate() -> None:
    rules = replace(AT_ONCE, look_hold_min=1.0)
    alerts: tuple[Alert, ...] = ()
    for minute, found in ((0.0, RIPE), (0.5, None), (1.0, RIPE)):
        done = step(rules, alerts, facts(found, now=NOON + timedelta(minutes=minute)))
        alerts = done.alerts
        assert done.calls == ()
    assert [alert.kind for alert in step(rules, alerts, facts(RIPE, now=NOON + LONG)).calls] == [AlertKind.READY]


def test_a_batch_that_ends_now_has_ended() -> None:
    ended = replace(LOAF, ended_at=NOON)
    assert step(AT_ONCE, (), facts(RIPE, ended)).alerts == ()
