"""The step of the alerts on its own: what no story tells, and what must hold for any facts."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp

import pytest

from monitor.alerts.calls import CallRules
from monitor.alerts.dough import Alert, AlertKind, AlertUpdate, Facts, Phase, Rules, Subject, step
from monitor.alerts.limits import AIR_LIMITS, DRYING_STARTS_PA, air_limits
from monitor.alerts.reasons import BatchEnded, DoughCovered, NoRise, TargetReached
from monitor.alerts.ripeness import Window, ripe_window
from monitor.dough.air import skin_state
from monitor.dough.outlook import Band, Cause, Moments, Obstruction, ObstructionKind, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)
LOAF = Batch(
    id=BatchId(7),
    name="Hill country loaf",
    stage=Stage.FIRST_RISE,
    started_at=NOON - timedelta(hours=4),
    vessel=TUB,
    target=Target(75.0),
    nodes=tuple((channel, NODE) for channel in SENSOR_CHANNELS),
)
READY = Outlook(at=NOON, state=State.READY, ready=Moments(NOON, NOON, NOON, NOON, NOON))


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def facts(outlook: Outlook | None, now: datetime = NOON, batch: Batch = LOAF) -> Facts:
    return Facts(batch, outlook, now, dict.fromkeys(Channel, now))


def firing(kind: AlertKind, *, episode: int = 1) -> Alert:
    since = NOON - minutes(29)
    return Alert(Subject.batch(BatchId(7)), kind, episode, NOON - minutes(30), since, called_at=since)


def called(done: AlertUpdate) -> list[AlertKind]:
    return [alert.kind for alert in done.calls]


def test_ready_holds_before_it_is_called() -> None:
    done = step(Rules(), (), facts(READY))
    assert [(alert.kind, alert.phase, alert.is_holding) for alert in done.alerts] == [
        (AlertKind.READY, Phase.NORMAL, True)
    ]
    assert done.calls == done.changes == ()
    done = step(Rules(), done.alerts, facts(READY, NOON + minutes(1)))
    (alert,) = done.alerts
    assert done.calls == (alert,)
    assert alert.phase is Phase.UNACKNOWLEDGED
    assert (alert.since_at, alert.fired_at, alert.called_at) == (NOON, NOON + minutes(1), NOON + minutes(1))
    assert [(change.phase, change.reason) for change in done.changes] == [(Phase.UNACKNOWLEDGED, TargetReached())]


def test_what_came_to_nothing_leaves_its_episode_to_the_next() -> None:
    alerts = step(Rules(), (), facts(READY)).alerts
    later = replace(READY, state=State.RISING, ready=Moments(*[NOON + minutes(60)] * 5))
    alerts = step(Rules(), alerts, facts(later, NOON + minutes(1))).alerts
    assert [(alert.episode, alert.phase, alert.fired_at) for alert in alerts] == [(1, Phase.NORMAL, None)]
    alerts = step(Rules(), alerts, facts(READY, NOON + minutes(2))).alerts
    assert [(alert.episode, alert.is_holding, alert.since_at) for alert in alerts] == [(1, True, NOON + minutes(2))]


def test_restart_says_nothing_again() -> None:
    """After a restart the alerts come from the store, and the same facts must not ring twice."""
    done = step(Rules(look_hold_min=0.0), (), facts(READY))
    done = step(Rules(look_hold_min=0.0), done.alerts, facts(READY))
    assert done.calls == done.changes == ()
    assert len(done.alerts) == 1


def test_batch_that_ended_ends_what_stood_and_waits_for_no_acknowledgement() -> None:
    ended = replace(LOAF, ended_at=NOON)
    past = replace(READY, state=State.PAST_PEAK)
    holding = replace(firing(AlertKind.PAST_PEAK), fired_at=None, called_at=None)
    done = step(Rules(), (firing(AlertKind.READY), holding), facts(past, NOON + minutes(5), ended))
    assert done.calls == ()
    assert {alert.phase for alert in done.alerts} == {Phase.NORMAL}
    assert {alert.reason for alert in done.alerts} == {BatchEnded()}
    assert [change.phase for change in done.changes] == [Phase.NORMAL]


def test_batch_without_an_oven_never_asks_for_it() -> None:
    soon = replace(READY, state=State.RISING, ready=Moments(*[NOON + minutes(20)] * 5))
    assert called(step(Rules(look_hold_min=0.0), (), facts(soon))) == []
    with_oven = facts(soon, batch=replace(LOAF, preheat_min=30.0))
    assert called(step(Rules(look_hold_min=0.0), (), with_oven)) == [AlertKind.OVEN_ON]


def test_batch_without_a_height_sensor_is_told_by_its_forecast() -> None:
    by_warmth = replace(LOAF, nodes=((Channel.AIR_TEMP, NODE),))
    outlook = replace(READY, is_from_heights=False)
    assert called(step(Rules(look_hold_min=0.0), (), facts(outlook, batch=by_warmth))) == [AlertKind.READY]


# -- no rise -------------------------------------------------------------------------------------------------------

LIFELESS = Outlook(at=NOON, state=State.NOT_RISING, cause=Cause.NO_LIVE_YEAST)


def looked(outlooks: Iterable[Outlook], batch: Batch = LOAF, rules: Rules | None = None) -> list[tuple[float, str]]:
    """What is called, a minute a look: the minute and the kind."""
    alerts: tuple[Alert, ...] = ()
    found = []
    for minute, outlook in enumerate(outlooks):
        now = NOON + minutes(minute)
        done = step(rules or Rules(), alerts, facts(replace(outlook, at=now), now, batch))
        alerts = done.alerts
        found += [(float(minute), kind.value) for kind in called(done)]
    return found


def test_forgotten_yeast_is_called_once_with_its_cause_and_rings_at_night() -> None:
    assert looked([LIFELESS] * 480) == [(10.0, "not rising")]
    assert AlertKind.NOT_RISING in CallRules().wakes
    alerts = step(Rules(not_rising_hold_min=0.0), (), facts(LIFELESS)).alerts
    assert [alert.reason for alert in alerts] == [NoRise(Cause.NO_LIVE_YEAST)]


def test_no_rise_that_wobbles_is_told_once_and_over_when_it_rises() -> None:
    waking = Outlook(at=NOON, state=State.NO_RISE)
    risen = replace(waking, state=State.RISING, rise_pct=Band(18.0, 20.0, 22.0))
    wobbling = [LIFELESS] * 15 + [waking] * 15
    assert looked(wobbling * 3) == [(10.0, "not rising")]
    assert looked([LIFELESS] * 15 + [risen] * 15 + [LIFELESS] * 15) == [(10.0, "not rising"), (40.0, "not rising")]


def test_a_dough_in_the_cold_is_not_asked_to_rise() -> None:
    chilled = noted(EventKind.MOVE, "refrigerator", 60.0)
    assert looked([LIFELESS] * 60, chilled) == []
    assert looked([LIFELESS] * 200, noted(EventKind.MOVE, "room", batch=chilled)) == [(130.0, "not rising")]


def test_a_dough_whose_height_is_in_doubt_is_not_called_flat() -> None:
    assert looked([replace(LIFELESS, rise_pct=Band(70.0, 95.0, 127.0))] * 60) == []


def test_a_starter_in_its_lag_is_left_alone() -> None:
    """Whether it is only late is the forecast's to say: until then its state is no rise yet."""
    assert looked([Outlook(at=NOON, state=State.NO_RISE)] * 200, replace(LOAF, stage=Stage.PREFERMENT)) == []


# -- not dough -----------------------------------------------------------------------------------------------------


HIDING = [ObstructionKind.LID, ObstructionKind.CONDENSATION, ObstructionKind.BLIND_ZONE, ObstructionKind.AWAY]


def blocked(since: datetime, kind: ObstructionKind = ObstructionKind.LID, **changes: object) -> Outlook:
    """A dough of which a sensor shows a lid at 256 % while the forecast runs on: ready in the middle, not for sure."""
    late = Moments(*[NOON - minutes(30)] * 4, NOON + minutes(600), NOON - minutes(30), NOON + minutes(500))
    hidden = Obstruction(kind, since, None, 0.9)
    return replace(Outlook(at=NOON, state=State.RISING, ready=late, obstructions=(hidden,)), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", HIDING)
def test_what_stands_before_the_sensor_is_told_once_and_nothing_false_meanwhile(kind: ObstructionKind) -> None:
    assert looked([blocked(NOON, kind)] * 300) == [(6.0, "view blocked")]
    past = blocked(NOON, kind, state=State.PAST_PEAK, past_peak_chance=0.99, peak=Moments(*[NOON] * 5))
    told = looked([past] * 60)
    assert (6.0, "view blocked") in told
    assert "past its peak" not in {name for _, name in told}, "no fall was seen: nobody is to fold and chill it"


def test_hand_that_is_gone_within_minutes_is_not_told() -> None:
    clear = Outlook(at=NOON, state=State.RISING)
    assert looked([blocked(NOON, ObstructionKind.HAND, ready=Moments())] * 5 + [clear] * 20) == []


def test_a_dough_behind_a_lid_is_called_by_the_late_estimate() -> None:
    sure = blocked(NOON - minutes(60), ready=READY.ready, state=State.READY)
    assert (1.0, "ready") in looked([sure] * 5)


def test_view_that_comes_and_goes_is_told_once_and_a_second_lid_of_the_night_too() -> None:
    clear = Outlook(at=NOON, state=State.RISING)
    second = blocked(NOON + minutes(40))
    assert looked([blocked(NOON)] * 20 + [clear] * 20 + [second] * 20) == [(6.0, "view blocked")]
    late = blocked(NOON + minutes(120))
    assert looked([blocked(NOON)] * 20 + [clear] * 100 + [late] * 20) == [
        (6.0, "view blocked"),
        (126.0, "view blocked"),
    ]


def test_moved_tub_is_told_once_and_a_fall_that_may_be_a_fold_is_not() -> None:
    moved = Obstruction(ObstructionKind.MOVED, NOON, NOON, 0.95)
    rising = Outlook(at=NOON, state=State.RISING, obstructions=(moved,))
    assert looked([rising] * 300) == [(15.0, "level jumped")]
    known = noted(EventKind.MOVE, ago_min=4.0)
    assert looked([rising] * 60, known) == looked([rising] * 60, noted(EventKind.MOVE, "refrigerator", 90.0)) == []
    assert looked([replace(rising, past_peak_chance=0.9)] * 60) == [], "in the fall small steps pass for dough"
    again = replace(moved, since=NOON - minutes(90), until=NOON - minutes(90))
    assert looked([replace(rising, obstructions=(again, moved))] * 60) == [], "a sensor that wanders"
    either = replace(rising, obstructions=(moved, replace(moved, kind=ObstructionKind.FOLD, chance=0.4)))
    assert looked([either] * 60) == []


# -- at its peak, and over the band ---------------------------------------------------------------------------------

STARTER = replace(LOAF, stage=Stage.PREFERMENT, target=Target(None))


def peaking(at: datetime, state: State = State.RISING) -> Outlook:
    moments = Moments(*[at] * 5)
    return Outlook(at=NOON, state=state, rise_pct=Band(80.0, 80.0, 80.0), ready=moments, peak=moments)


def test_a_starter_is_called_an_hour_before_its_peak_and_again_near_it() -> None:
    peak_at = NOON + minutes(90)
    course = [
        replace(peaking(peak_at), peak_soon_chance=0.9 * (minute >= 80))
        if minute < 90
        else peaking(peak_at, State.AT_PEAK)
        for minute in range(110)
    ]
    assert looked(course, STARTER) == [(31.0, "ready soon"), (81.0, "at its peak"), (90.0, "ready")]


def test_a_peak_that_may_be_far_is_no_news() -> None:
    wide = Moments(NOON, NOON + minutes(50), NOON + minutes(119), None, None)
    assert looked([replace(peaking(NOON), ready=wide, peak=wide)] * 3, STARTER) == [(1.0, "ready soon")]
    far = replace(wide, p50=NOON + minutes(500))
    assert looked([replace(peaking(NOON), ready=far, peak=far)] * 3, STARTER) == []


def test_a_peak_that_is_waited_for_is_called_at_a_lesser_chance_also_behind_a_lid() -> None:
    near = replace(peaking(NOON + minutes(40)), peak_soon_chance=0.3)
    assert (1.0, "at its peak") in looked([near] * 5, STARTER)
    assert (1.0, "at its peak") in looked([replace(near, obstructions=blocked(NOON).obstructions)] * 5, STARTER)
    assert "at its peak" not in {kind for _, kind in looked([replace(near, rise_pct=None)] * 5)}


def test_a_peak_that_is_told_as_near_is_called_whatever_the_courses_say() -> None:
    told = Moments(NOON, NOON, NOON + minutes(8), NOON + minutes(60), NOON + minutes(90))
    near = replace(peaking(NOON + minutes(40)), peak=told)
    assert (1.0, "at its peak") in looked([near] * 3, STARTER)
    assert (1.0, "at its peak") not in looked([replace(near, peak=replace(told, p50=NOON + minutes(20)))] * 3, STARTER)


def test_a_last_call_does_not_come_once_the_dough_has_likely_fallen() -> None:
    near = replace(READY, peak=Moments(*[NOON] * 5), peak_soon_chance=0.9, past_peak_chance=0.3)
    assert "at its peak" in {kind for _, kind in looked([near] * 20)}
    assert "at its peak" not in {kind for _, kind in looked([replace(near, past_peak_chance=0.5)] * 20)}


def test_nothing_is_said_of_weakness_while_a_starter_is_ripe() -> None:
    """Started four hours before noon, peak at noon: ripe for 29 minutes to either side, and then not any more."""
    course = [peaking(NOON, State.PAST_PEAK)] * 60
    assert [each for each in looked(course, STARTER) if each[1] == "past its peak"] == [(31.0, "past its peak")]
    window = ripe_window(STARTER, course[0], 15.0)
    assert window is not None
    assert window.closes_at == NOON + timedelta(hours=4) * 0.12
    assert ripe_window(STARTER, course[0], 45.0) == Window(NOON - minutes(45), NOON + minutes(45))
    assert ripe_window(LOAF, course[0], 15.0) is ripe_window(STARTER, Outlook(NOON, State.RISING), 15.0) is None


def risen(pct: float) -> Outlook:
    return replace(READY, rise_pct=Band(pct, pct, pct), peak=Moments(*[NOON + minutes(300)] * 5))


def test_a_dough_far_over_its_band_is_called_before_it_falls() -> None:
    rising = [risen(75.0 + minute) for minute in range(120)]
    assert looked(rising) == [(1.0, "ready"), (26.0, "over the band")]
    assert CallRules().wakes >= {AlertKind.OVER_BAND}
    assert looked(rising[:24]) == [(1.0, "ready")]
    assert looked(rising, replace(LOAF, target=Target(None)))[-1][1] != "over the band"


def test_what_a_blocked_sensor_shows_is_not_over_the_band() -> None:
    behind = [replace(risen(256.0), obstructions=blocked(NOON).obstructions)] * 60
    assert "over the band" not in {kind for _, kind in looked(behind)}


def test_ready_soon_comes_when_it_may_be_ready_already_and_not_while_nobody_can_tell() -> None:
    def told(early: float, middle: float) -> list[tuple[float, str]]:
        moments = Moments(NOON, NOON + minutes(middle), NOON + minutes(middle), None, None, NOON + minutes(early), None)
        return looked([replace(READY, state=State.RISING, ready=moments)] * 3)

    assert told(0.0, 40.0) == told(5.0, 8.0) == [(1.0, "ready soon")]
    assert told(5.0, 40.0) == told(0.0, 400.0) == []


def test_an_oven_is_not_lit_for_a_dough_that_may_take_all_day() -> None:
    baked = replace(LOAF, preheat_min=30.0)
    day = Moments(NOON, NOON + minutes(20), NOON + minutes(800), None, None)
    assert looked([replace(READY, state=State.RISING, ready=day)] * 3, baked) == []


def test_a_dough_that_sinks_because_it_cools_is_not_past_its_peak() -> None:
    fallen = replace(READY, state=State.PAST_PEAK, peak=Moments(*[NOON - minutes(10)] * 5), air_temp_c=4.0)
    since = Moments(*[NOON - minutes(300)] * 5)
    chilled = noted(EventKind.MOVE, "refrigerator", 60.0)
    assert "past its peak" in {kind for _, kind in looked([fallen] * 20)}
    assert "past its peak" not in {kind for _, kind in looked([fallen] * 20, chilled)}
    assert "past its peak" in {kind for _, kind in looked([replace(fallen, peak=since)] * 20, chilled)}
    out = noted(EventKind.MOVE, "room", 5.0, batch=chilled)
    assert "past its peak" not in {kind for _, kind in looked([fallen] * 20, out)}
    assert (117.0, "past its peak") in looked([fallen] * 200, out)


# -- acknowledged, shelved, suppressed -----------------------------------------------------------------------------

AT_ONCE = Rules(look_hold_min=0.0, past_peak_hold_min=0.0, keep_min=0.0)
AGAIN = replace(READY, state=State.RISING, ready=Moments(*[NOON + minutes(600)] * 5))  # clearly not ready after all


def test_acknowledged_alert_stays_so_until_it_is_over_and_the_next_episode_is_called_anew() -> None:
    (ready,) = step(AT_ONCE, (), facts(READY)).alerts
    ready = replace(ready, acknowledged_at=NOON)
    done = step(AT_ONCE, (ready,), facts(READY, NOON + minutes(9)))
    assert done.alerts[0].phase is Phase.ACKNOWLEDGED
    done = step(AT_ONCE, done.alerts, facts(AGAIN, NOON + minutes(10)))
    assert [alert.phase for alert in done.alerts] == [Phase.NORMAL]
    done = step(AT_ONCE, done.alerts, facts(READY, NOON + minutes(20)))
    assert [(alert.episode, alert.phase) for alert in done.alerts] == [(1, Phase.NORMAL), (2, Phase.UNACKNOWLEDGED)]
    assert called(done) == [AlertKind.READY]


def test_alert_that_is_over_before_anybody_acknowledged_it_stands_as_returned() -> None:
    alerts = step(AT_ONCE, (), facts(READY)).alerts
    done = step(AT_ONCE, alerts, facts(AGAIN, NOON + minutes(1)))
    assert [alert.phase for alert in done.alerts] == [Phase.RETURNED]
    assert [change.phase for change in done.changes] == [Phase.RETURNED]


def test_shelved_alert_is_silent_until_its_time_is_up_and_then_stands_as_before() -> None:
    (ready,) = step(AT_ONCE, (), facts(READY)).alerts
    shelved = replace(ready, shelved_until=NOON + minutes(30))
    done = step(AT_ONCE, (shelved,), facts(READY, NOON + minutes(29)))
    assert done.alerts[0].phase is Phase.SHELVED
    done = step(AT_ONCE, done.alerts, facts(READY, NOON + minutes(30)))
    assert done.alerts[0].phase is Phase.UNACKNOWLEDGED
    assert [change.phase for change in done.changes] == [Phase.UNACKNOWLEDGED]
    assert done.calls == (), "it was said before; who must be woken is called again by the caller"


def test_shelf_holds_for_the_next_episode_and_that_is_called_when_the_time_is_up() -> None:
    (ready,) = step(AT_ONCE, (), facts(READY)).alerts
    shelved = replace(ready, shelved_until=NOON + minutes(30))
    alerts = step(AT_ONCE, (shelved,), facts(AGAIN, NOON + minutes(5))).alerts
    assert alerts[0].phase is Phase.NORMAL, "who shelved it knows of it"
    done = step(AT_ONCE, alerts, facts(READY, NOON + minutes(10)))
    assert (done.alerts[1].phase, done.calls) == (Phase.SHELVED, ())
    done = step(AT_ONCE, done.alerts, facts(READY, NOON + minutes(30)))
    assert [(alert.episode, alert.phase) for alert in done.calls] == [(2, Phase.UNACKNOWLEDGED)]


def test_greater_news_suppresses_the_lesser() -> None:
    alerts = (firing(AlertKind.READY_SOON), firing(AlertKind.OVEN_ON))
    phases = {alert.kind: alert.phase for alert in step(AT_ONCE, alerts, facts(READY)).alerts}
    assert phases == {
        AlertKind.READY_SOON: Phase.SUPPRESSED,
        AlertKind.OVEN_ON: Phase.SUPPRESSED,
        AlertKind.READY: Phase.UNACKNOWLEDGED,
    }
    past = replace(READY, state=State.PAST_PEAK)
    done = step(AT_ONCE, (), facts(past))
    assert called(done) == [AlertKind.PAST_PEAK], "of a dough found fallen only the last news is told"


def test_silent_height_suppresses_what_is_told_of_the_dough_and_a_look_by_eye_lifts_it() -> None:
    silent = {channel: NOON - minutes(40) for channel in Channel}
    late = replace(READY, ready=Moments(*[NOON - minutes(5)] * 5))
    done = step(AT_ONCE, (), Facts(LOAF, late, NOON, silent))
    assert [(alert.kind, alert.phase) for alert in done.alerts] == [(AlertKind.READY, Phase.SUPPRESSED)]
    assert done.calls == ()
    seen = silent | {Channel.LEVEL: NOON + minutes(1)}
    assert called(step(AT_ONCE, done.alerts, Facts(LOAF, late, NOON + minutes(2), seen))) == [AlertKind.READY]


def test_sensor_heard_again_lifts_the_suppression_of_what_still_holds() -> None:
    silent = {channel: NOON - minutes(40) for channel in Channel}
    late = replace(READY, ready=Moments(*[NOON - minutes(5)] * 5))
    alerts = step(AT_ONCE, (), Facts(LOAF, late, NOON, silent)).alerts
    done = step(AT_ONCE, alerts, facts(late, NOON + minutes(3)))
    assert called(done) == [AlertKind.READY]
    assert [change.phase for change in done.changes] == [Phase.UNACKNOWLEDGED]


def test_air_alert_is_suppressed_while_the_air_is_not_measured() -> None:
    hot = Outlook(at=NOON, state=State.RISING, air_temp_c=40.0)
    stale = dict.fromkeys(Channel, NOON) | {Channel.AIR_TEMP: NOON - minutes(11)}
    done = step(AT_ONCE, (firing(AlertKind.AIR_TOO_WARM),), Facts(LOAF, hot, NOON, stale))
    assert [alert.phase for alert in done.alerts] == [Phase.SUPPRESSED]


# -- clocks and late readings --------------------------------------------------------------------------------------

JUMPS = [timedelta(hours=1), timedelta(days=1), -timedelta(hours=1), -timedelta(days=1)]


@pytest.mark.parametrize("jump", JUMPS, ids=str)
def test_jump_of_the_clock_makes_nothing_early_that_must_hold(jump: timedelta) -> None:
    alerts = step(Rules(), (), facts(READY)).alerts
    there = NOON + jump
    ready = replace(READY, ready=Moments(*[min(NOON, there)] * 5))
    done = step(Rules(), alerts, replace(facts(ready, there), is_interrupted=True))
    assert done.calls == (), "it has not held for a minute since the jump"
    done = step(Rules(), done.alerts, facts(ready, there + minutes(1)))
    assert called(done) == [AlertKind.READY], "nor does a clock that was set back make it late"


@pytest.mark.parametrize("jump", JUMPS, ids=str)
def test_jump_of_the_clock_repeats_nothing_and_ends_nothing(jump: timedelta) -> None:
    there = NOON + jump
    ready = replace(READY, ready=Moments(*[min(NOON, there)] * 5))
    quiet = replace(firing(AlertKind.READY), quiet_since_at=NOON - minutes(1))
    now = there
    alerts: tuple[Alert, ...] = (quiet,)
    for interrupted in (True, False, False, False):
        done = step(Rules(), alerts, replace(facts(ready, now), is_interrupted=interrupted))
        assert done.calls == ()
        alerts, now = done.alerts, now + minutes(1)
    assert [(alert.kind, alert.phase) for alert in alerts] == [(AlertKind.READY, Phase.UNACKNOWLEDGED)]


def test_last_call_is_not_late_by_a_clock_that_was_set_back() -> None:
    back = NOON - timedelta(days=1)
    peak = replace(READY, state=State.AT_PEAK, ready=Moments(*[back - minutes(30)] * 5), peak_soon_chance=0.9)
    done = step(Rules(), (firing(AlertKind.READY),), replace(facts(peak, back), is_interrupted=True))
    for minute in range(1, 8):
        done = step(Rules(), done.alerts, facts(peak, back + minutes(minute)))
        if done.calls:
            break
    assert called(done) == [AlertKind.AT_PEAK]
    assert minute <= 6


def test_only_old_readings_raise_no_alert_about_the_air() -> None:
    """A node comes back and sends first what it has kept: hot air of two hours ago is not hot air."""
    hot = Outlook(at=NOON, state=State.RISING, air_temp_c=40.0)
    old = dict.fromkeys(Channel, NOON - minutes(120))
    alerts: tuple[Alert, ...] = ()
    for minute in range(30):
        done = step(Rules(), alerts, Facts(LOAF, hot, NOON + minutes(minute), old))
        assert done.calls == ()
        alerts = done.alerts


def test_air_that_is_no_longer_measured_neither_begins_nor_ends_an_alert() -> None:
    hot = Outlook(at=NOON, state=State.RISING, air_temp_c=40.0)
    cool = Outlook(at=NOON, state=State.RISING, air_temp_c=24.0)
    stale = dict.fromkeys(Channel, NOON) | {Channel.AIR_TEMP: NOON - minutes(11)}
    instantly = Rules(keep_min=0.0)
    alerts = step(instantly, (), Facts(LOAF, hot, NOON, stale)).alerts
    assert AlertKind.AIR_TOO_WARM not in {alert.kind for alert in alerts}
    alerts = step(instantly, (firing(AlertKind.AIR_TOO_WARM),), Facts(LOAF, cool, NOON, stale)).alerts
    assert alerts[0].is_firing
    alerts = step(instantly, (firing(AlertKind.AIR_TOO_WARM),), facts(cool)).alerts
    assert not alerts[0].is_firing


@pytest.mark.parametrize("stage", Stage)
def test_every_stage_has_air_limits_in_order(stage: Stage) -> None:
    limits = AIR_LIMITS[stage]
    assert limits.low_c < limits.high_c
    assert limits.hold_min > 0.0


def test_sourdough_alone_lowers_the_warm_limit_and_yeast_beside_it_does_not() -> None:
    proof = replace(LOAF, stage=Stage.FINAL_PROOF)
    sour = replace(proof, formula=Formula(1000.0, sourdough_g=200.0))
    mixed = replace(proof, formula=Formula(1000.0, sourdough_g=200.0, fresh_yeast_g=5.0))
    assert air_limits(sour, NOON).high_c == 32.0
    assert air_limits(mixed, NOON).high_c == air_limits(proof, NOON).high_c == 46.0


def test_rye_on_sourdough_bears_what_wheat_does_not() -> None:
    sour = replace(LOAF, formula=Formula(1000.0, sourdough_g=200.0))
    for name in ("Coarse rye, tub 2", "Roggenmischbrot"):
        assert air_limits(replace(sour, name=name), NOON).high_c == 36.0
    assert air_limits(replace(sour, recipe="dark rye"), NOON).high_c == 36.0
    assert air_limits(replace(sour, name="Cryer's wheat"), NOON).high_c == 32.0


def noted(kind: EventKind, note: str = "", ago_min: float = 0.0, batch: Batch = LOAF) -> Batch:
    return replace(batch, events=(*batch.events, Event(NOON - minutes(ago_min), kind, note)))


def test_a_proofer_may_be_warmer_than_a_room() -> None:
    warm = Outlook(at=NOON, state=State.RISING, air_temp_c=36.0)
    in_proofer = noted(EventKind.MOVE, "Proofer")
    assert looked([warm] * 30) == [(10.0, "air too warm")]
    assert looked([warm] * 30, in_proofer) == []
    assert looked([replace(warm, air_temp_c=41.0)] * 30, in_proofer) == [(10.0, "air too warm")]


def test_warm_tub_in_the_cold_is_given_time_and_a_refrigerator_that_is_none_is_told() -> None:
    cold = noted(EventKind.MOVE, "refrigerator")
    on_tub = [
        Outlook(at=NOON, state=State.RISING, air_temp_c=4.0 + 20.0 * exp(-minute / 60.0)) for minute in range(480)
    ]
    assert looked(on_tub, cold) == []
    warm = [Outlook(at=NOON, state=State.RISING, air_temp_c=18.0)] * 240
    ((at, kind),) = looked(warm, cold)
    assert kind == "air too warm"
    assert 30.0 < at < 75.0


def test_cold_tub_in_the_room_is_given_time_too() -> None:
    out = noted(EventKind.MOVE, "room", batch=noted(EventKind.MOVE, "refrigerator", 600.0))
    on_tub = [
        Outlook(at=NOON, state=State.RISING, air_temp_c=23.0 - 19.0 * exp(-minute / 60.0)) for minute in range(300)
    ]
    assert looked(on_tub, out) == []
    assert [kind for _, kind in looked([Outlook(at=NOON, state=State.RISING, air_temp_c=12.0)] * 300, out)] == [
        "air too cold"
    ]


DRY = Outlook(at=NOON, state=State.RISING, air_temp_c=24.0, humidity_pct=45.0)


def test_covered_loaf_is_not_too_dry_until_it_is_bare_again() -> None:
    loaf = replace(LOAF, stage=Stage.FINAL_PROOF)
    assert looked([DRY] * 30, loaf) == [(10.0, "air too dry")]
    covered = noted(EventKind.COVER, batch=loaf)
    assert looked([DRY] * 30, covered) == []
    bare = replace(covered, events=(*covered.events, Event(NOON + minutes(20), EventKind.UNCOVER)))
    assert looked([DRY] * 60, bare) == [(30.0, "air too dry")]


def test_covering_a_dough_ends_the_call() -> None:
    done = step(
        replace(AT_ONCE),
        (firing(AlertKind.AIR_TOO_DRY),),
        facts(DRY, batch=noted(EventKind.COVER, batch=replace(LOAF, stage=Stage.FINAL_PROOF))),
    )
    assert [(alert.is_firing, alert.reason) for alert in done.alerts] == [(False, DoughCovered())]


@pytest.mark.parametrize(
    ("air_temp_c", "humidity_pct", "surface_temp_c", "is_too_dry"),
    [
        (25.6, 80.0, 25.6, False),  # recommended for a proof at home (a published page, seen)
        (40.0, 80.0, 27.0, False),  # pan bread goes into a cabinet of 40-46 C, 80-90 % (baking encyclopedia, seen)
        (46.0, 90.0, 27.0, False),
        (5.0, 75.0, 5.0, False),  # retarded proof, about 75 % (bakery compendium, seen)
        (24.0, 50.0, 24.0, True),  # a heated kitchen: judgement
        (30.0, 60.0, 28.0, True),
    ],
)
def test_recommended_proofs_are_not_too_dry_and_a_kitchen_is(
    air_temp_c: float, humidity_pct: float, surface_temp_c: float, is_too_dry: bool
) -> None:
    skin = skin_state(air_temp_c=air_temp_c, humidity_pct=humidity_pct, surface_temp_c=surface_temp_c)
    assert skin is not None
    assert (skin.drying_pa > DRYING_STARTS_PA) is is_too_dry
