"""The step of the alerts on its own: what no story tells, and what must hold for any facts."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alerts.dough import COURSE_KINDS, Alert, AlertKind, AlertUpdate, Facts, Phase, Rules, Subject, step
from monitor.alerts.limits import AIR_LIMITS, DRYING_STARTS_PA, air_limits
from monitor.alerts.reasons import BatchEnded, TargetReached
from monitor.dough.air import skin_state
from monitor.dough.outlook import Band, Moments, NoForecast, Outlook, State
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
    assert air_limits(sour).high_c == 32.0
    assert air_limits(mixed).high_c == air_limits(proof).high_c == 46.0


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


# -- any facts -----------------------------------------------------------------------------------------------------

moments_in_day = st.none() | st.integers(-1500, 1500).map(lambda count: NOON + minutes(count))
any_moments = st.builds(Moments, *[moments_in_day] * 5)
any_float = st.floats(allow_nan=True, allow_infinity=True)
any_outlook = st.builds(
    Outlook,
    at=st.just(NOON),
    state=st.sampled_from(State),
    rise_pct=st.none() | st.builds(Band, any_float, any_float, any_float),
    ready=any_moments,
    peak=any_moments,
    peak_soon_chance=st.floats(0.0, 1.0),
    past_peak_chance=st.floats(0.0, 1.0),
    why=st.none() | st.sampled_from(NoForecast),
    is_from_heights=st.booleans(),
    air_temp_c=st.none() | any_float,
    humidity_pct=st.none() | any_float,
    dough_temp_c=st.none() | any_float,
)
any_batch = st.builds(
    lambda stage, target, channels, preheat, folds, ended: replace(
        LOAF,
        stage=stage,
        target=target,
        nodes=tuple((channel, NODE) for channel in channels),
        preheat_min=preheat,
        events=tuple(Event(NOON + minutes(count), EventKind.FOLD) for count in folds),
        ended_at=ended,
    ),
    st.sampled_from(Stage),
    st.sampled_from([Target(75.0), Target(None)]),
    st.sets(st.sampled_from(SENSOR_CHANNELS)),
    st.none() | st.floats(0.0, 240.0),
    st.lists(st.integers(-200, 200), max_size=3),
    moments_in_day,
)
any_seen = st.dictionaries(st.sampled_from(Channel), moments_in_day)
any_course = st.lists(st.tuples(st.none() | any_outlook, any_seen, st.integers(0, 30)), max_size=8)


def played(batch: Batch, course: list[tuple[Outlook | None, dict[Channel, datetime | None], int]], *, flip: bool):
    """Alerts and events of a course of facts; with every given tuple turned round when ``flip``."""
    now, alerts, rung = NOON, (), []
    for outlook, seen, wait_min in course:
        now += minutes(wait_min)
        if flip:
            alerts = alerts[::-1]
            batch = replace(batch, nodes=batch.nodes[::-1], events=batch.events[::-1], name="another")
            seen = dict(reversed(seen.items()))
        done = step(Rules(), alerts, Facts(batch, outlook, now, seen))
        alerts = done.alerts
        rung += [(alert.kind, alert.episode) for alert in done.calls]
    return alerts, rung


@given(any_batch, any_course)
def test_any_facts_give_each_episode_at_most_once(batch: Batch, course) -> None:
    alerts, rung = played(batch, course, flip=False)
    assert len(rung) == len(set(rung))
    assert set(rung) == {(alert.kind, alert.episode) for alert in alerts if alert.called_at is not None}
    for alert in alerts:
        assert alert.called_at is None or alert.fired_at is not None
        assert alert.reason is not None
        episodes = sorted(other.episode for other in alerts if other.kind is alert.kind)
        assert episodes == list(range(1, len(episodes) + 1))


@given(any_batch, any_course)
def test_a_dough_that_nobody_sees_is_never_called_for(batch: Batch, course) -> None:
    blind = [(outlook, dict.fromkeys(seen), wait) for outlook, seen, wait in course]
    if batch.node_of(Channel.DISTANCE) is not None:
        _, rung = played(batch, blind, flip=False)
        assert not [kind for kind, _ in rung if kind in COURSE_KINDS]


@given(any_batch, any_course)
def test_order_and_names_change_nothing(batch: Batch, course) -> None:
    assert played(batch, course, flip=False) == played(batch, course, flip=True)


@given(any_batch, any_course)
def test_at_most_one_episode_of_a_kind_is_open(batch: Batch, course) -> None:
    alerts, _ = played(batch, course, flip=False)
    open_kinds = [alert.kind for alert in alerts if alert.returned_at is None]
    assert len(open_kinds) == len(set(open_kinds))
