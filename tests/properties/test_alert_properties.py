"""The step of the alerts, for any facts: each episode calls once, nobody is called for the unseen, order is nothing."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from made_up import NODE, batch_of

from monitor.alerts.dough import COURSE_KINDS, Facts, Rules, step
from monitor.dough.outlook import Band, Moments, NoForecast, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.wire.readings import SENSOR_CHANNELS, Channel

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
LOAF = replace(batch_of("Hill country loaf"), id=BatchId(7), started_at=NOON - timedelta(hours=4))


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


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
def test_any_facts_call_each_episode_once_and_keep_one_of_a_kind_open(batch: Batch, course) -> None:
    alerts, rung = played(batch, course, flip=False)
    assert len(rung) == len(set(rung))
    assert set(rung) == {(alert.kind, alert.episode) for alert in alerts if alert.called_at is not None}
    for alert in alerts:
        assert alert.called_at is None or alert.fired_at is not None
        assert alert.reason is not None
        episodes = sorted(other.episode for other in alerts if other.kind is alert.kind)
        assert episodes == list(range(1, len(episodes) + 1))
    open_kinds = [alert.kind for alert in alerts if alert.returned_at is None]
    assert len(open_kinds) == len(set(open_kinds))


@given(any_batch, any_course)
def test_a_dough_that_nobody_sees_is_never_called_for(batch: Batch, course) -> None:
    blind = [(outlook, dict.fromkeys(seen), wait) for outlook, seen, wait in course]
    if batch.node_of(Channel.DISTANCE) is not None:
        _, rung = played(batch, blind, flip=False)
        assert not [kind for kind, _ in rung if kind in COURSE_KINDS]


@given(any_batch, any_course)
def test_order_and_names_change_nothing(batch: Batch, course) -> None:
    assert played(batch, course, flip=False) == played(batch, course, flip=True)
