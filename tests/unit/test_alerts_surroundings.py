"""Silent nodes and lines: one cause is one alert, and what it explains is suppressed."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from monitor.alerts.dough import Alert, AlertKind, AlertUpdate, Phase, Rules, Sort, Subject
from monitor.alerts.reasons import HeardAgain, LineUnheard, NoBatchReadsIt, NodeSaysWhy, NodeUnheard
from monitor.alerts.silence import NodeFacts, Surroundings, batches_named, look
from monitor.recipe.batch import BatchId
from monitor.wire.readings import Channel, NodeId

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
LINE = "mqtt://127.0.0.1:1883"
LONG_AGO = NOON - timedelta(days=1)


def ago(minutes: float) -> datetime:
    return NOON - timedelta(minutes=minutes)


def node(number: int, quiet_min: float, *, line: str = LINE, **changes: object) -> NodeFacts:
    at = ago(quiet_min)
    plain = NodeFacts(
        NodeId(f"urn:dev:mac:{number:016x}"), line, at, {Channel.AIR_TEMP: at, Channel.DISTANCE: at}, LONG_AGO
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def seen(*nodes: NodeFacts, now: datetime = NOON, since: datetime = LONG_AGO, **changes: object) -> Surroundings:
    return replace(Surroundings(nodes, now, since), **changes)  # type: ignore[arg-type]


def all_of(steps: tuple[AlertUpdate, ...]) -> tuple[Alert, ...]:
    return tuple(alert for each in steps for alert in each.alerts)


def called(steps: tuple[AlertUpdate, ...]) -> list[tuple[AlertKind, str]]:
    return [(alert.kind, alert.subject.name) for each in steps for alert in each.calls]


def test_silent_node_is_one_alert_and_its_sensors_are_none() -> None:
    steps = look(Rules(), (), seen(node(1, 10), node(2, 0.5)))
    assert called(steps) == [(AlertKind.NODE_SILENT, "urn:dev:mac:0000000000000001")]
    assert [alert.kind for alert in all_of(steps)] == [AlertKind.NODE_SILENT]


def test_node_that_is_heard_with_one_sensor_silent_is_told_by_that_sensor_after_a_while() -> None:
    partly = node(1, 0.5, last_seen={Channel.AIR_TEMP: NOON, Channel.DISTANCE: ago(11)})
    steps = look(Rules(), (), seen(partly))
    assert called(steps) == []
    steps = look(Rules(), all_of(steps), seen(partly, now=NOON + timedelta(minutes=2)))
    assert called(steps) == [(AlertKind.SENSOR_SILENT, partly.node)]
    assert steps[0].calls[0].about == "distance_mm"


def test_the_history_of_a_silence_says_what_was_not_heard_and_that_it_is_heard_again() -> None:
    back = Rules(keep_min=0.0)
    steps = look(back, (), seen(node(1, 10), node(2, 10)))
    reasons = [change.reason for each in steps for change in each.changes if change.kind is AlertKind.LINE_SILENT]
    assert reasons == [LineUnheard(back.silence_min)]
    alone = look(back, (), seen(node(1, 10, line="")))
    assert [change.reason for change in alone[0].changes] == [NodeUnheard(back.silence_min)]
    heard = seen(node(1, 0), node(2, 0))
    again = [change for each in look(back, all_of(steps), heard) for change in each.changes]
    assert [change.reason for change in again if change.kind is AlertKind.LINE_SILENT] == [HeardAgain()]
    again = [change for each in look(back, all_of(alone), seen(node(1, 0, line=""))) for change in each.changes]
    assert [change.reason for change in again] == [HeardAgain()]


def test_a_silent_sensor_of_the_air_names_no_dough_as_unseen() -> None:
    due = (BatchId(7),)
    for silent, named in ((Channel.AIR_TEMP, ()), (Channel.DISTANCE, due)):
        last_seen = {Channel.AIR_TEMP: NOON, Channel.DISTANCE: NOON, silent: ago(11)}
        steps = look(Rules(sensor_hold_min=0.0), (), seen(node(1, 0.5, last_seen=last_seen, unseen=due)))
        assert [batches_named(alert) for alert in all_of(steps)] == [named]


def test_silent_line_suppresses_its_nodes_however_they_go_silent_one_by_one() -> None:
    alerts: tuple[Alert, ...] = ()
    rung = []
    for tick in range(60):
        now = NOON + timedelta(seconds=30 * tick)
        nodes = [node(number, 5 + number / 10.0) for number in range(8)]
        steps = look(Rules(), alerts, seen(*nodes, now=now))
        rung += called(steps)
        alerts = all_of(steps)
    assert rung == [(AlertKind.LINE_SILENT, LINE)]
    of_nodes = [alert for alert in alerts if alert.subject.sort is Sort.NODE]
    assert {alert.phase for alert in of_nodes} == {Phase.SUPPRESSED}
    assert len(of_nodes) == 8


def test_node_that_stays_silent_when_its_line_is_heard_again_is_told_then() -> None:
    steps = look(Rules(), (), seen(node(1, 15), node(2, 15)))
    assert called(steps) == [(AlertKind.LINE_SILENT, LINE)]
    alerts = all_of(steps)
    rung = []
    for minute in range(10):
        now = NOON + timedelta(minutes=minute)
        steps = look(Rules(), alerts, seen(node(1, 15), node(2, 0, heard_at=now), now=now))
        rung += called(steps)
        alerts = all_of(steps)
    assert rung == [(AlertKind.NODE_SILENT, "urn:dev:mac:0000000000000001")]
    assert {alert.kind: alert.phase for alert in alerts}[AlertKind.LINE_SILENT] is Phase.RETURNED


def test_one_node_alone_on_its_line_is_told_as_a_node() -> None:
    steps = look(Rules(), (), seen(node(1, 12, line="/dev/ttyUSB0"), node(2, 0.5)))
    assert called(steps) == [(AlertKind.NODE_SILENT, "urn:dev:mac:0000000000000001")]


def test_dough_that_should_be_ready_has_its_silence_told_once_more() -> None:
    steps = look(Rules(), (), seen(node(1, 12)))
    wanted = seen(node(1, 40, unseen=(BatchId(7),)))
    steps = look(Rules(), all_of(steps), wanted)
    (call,) = (alert for each in steps for alert in each.calls)
    assert (call.kind, call.episode, batches_named(call)) == (AlertKind.NODE_SILENT, 2, (BatchId(7),))
    assert [alert.phase for alert in all_of(steps)] == [Phase.NORMAL, Phase.UNACKNOWLEDGED]
    assert called(look(Rules(), all_of(steps), wanted)) == []


def test_a_sensor_of_which_its_node_said_why_is_told_by_that_alone_until_a_dough_needs_it() -> None:
    """The node's own word comes as a trouble, with the wire to look at; a second call would say less."""
    last_seen = {Channel.AIR_TEMP: NOON, Channel.DOUGH_TEMP: ago(20)}
    out = node(1, 0.5, last_seen=last_seen, told=frozenset({Channel.DOUGH_TEMP}))
    at_once = Rules(sensor_hold_min=0.0)
    steps = look(at_once, (), seen(out))
    assert called(steps) == []
    assert {alert.suppressed_by for alert in all_of(steps)} == {NodeSaysWhy()}
    wanted = look(at_once, all_of(steps), seen(replace(out, unseen=(BatchId(7),))))
    assert called(wanted) == [(AlertKind.SENSOR_SILENT, out.node)]
    other = node(1, 0.5, last_seen={**last_seen, Channel.DISTANCE: ago(20)}, told=out.told)
    assert called(look(at_once, (), seen(other))) == [(AlertKind.SENSOR_SILENT, out.node)]


def test_a_node_that_reads_nothing_and_says_so_is_not_called_silent() -> None:
    every = frozenset({Channel.AIR_TEMP, Channel.DISTANCE})
    assert called(look(Rules(), (), seen(node(1, 30, told=every)))) == []
    assert called(look(Rules(), (), seen(node(1, 30, told=frozenset({Channel.DISTANCE}))))) != []


def test_monitor_that_was_off_has_not_listened() -> None:
    just_started = seen(node(1, 300), since=NOON - timedelta(minutes=9))
    assert called(look(Rules(), (), just_started)) == []
    a_minute_later = replace(just_started, now=NOON + timedelta(minutes=1))
    assert called(look(Rules(), (), a_minute_later)) != []


def test_node_of_a_batch_that_has_just_begun_has_time_to_speak() -> None:
    never = node(1, 0, heard_at=None, last_seen={Channel.AIR_TEMP: None}, since_at=NOON - timedelta(minutes=9))
    assert called(look(Rules(), (), seen(never))) == []
    assert called(look(Rules(), (), seen(never, now=NOON + timedelta(minutes=1)))) != []


def test_node_that_was_heard_long_before_its_batch_began_has_time_to_speak() -> None:
    young = node(1, 300, since_at=ago(3))
    assert all_of(look(Rules(), (), seen(young))) == ()
    assert called(look(Rules(), (), seen(young, now=NOON + timedelta(minutes=7)))) == [
        (AlertKind.NODE_SILENT, young.node)
    ]


def test_node_that_comes_back_with_old_readings_first_has_no_silent_sensor() -> None:
    alerts = all_of(look(Rules(), (), seen(node(1, 30))))
    rung = []
    for second in range(0, 120, 10):  # it sends half an hour's readings in two minutes, the oldest first
        now = NOON + timedelta(seconds=second)
        measured = ago(30) + timedelta(seconds=15 * second)
        back = node(1, 0, heard_at=now, last_seen={Channel.DISTANCE: measured})
        steps = look(Rules(), alerts, seen(back, now=now))
        rung += called(steps)
        alerts = all_of(steps)
    assert rung == []


def test_node_that_no_batch_reads_any_more_has_no_alert() -> None:
    alerts = all_of(look(Rules(), (), seen(node(1, 12))))
    steps = look(Rules(), alerts, seen())
    assert [(alert.phase, alert.reason) for alert in all_of(steps)] == [(Phase.NORMAL, NoBatchReadsIt())]


@pytest.mark.parametrize("hours", [1, 24, -1, -24])
def test_jump_of_the_clock_is_no_silence(hours: int) -> None:
    there = NOON + timedelta(hours=hours)
    steps = look(Rules(), (), seen(node(1, 0.5), now=there, since=there, is_interrupted=True))
    assert called(steps) == []
    alerts, rung = all_of(steps), 0
    for minute in range(1, 9):  # it is heard again on the new clock, or dead: either way not before ten minutes
        now = there + timedelta(minutes=minute)
        steps = look(Rules(), alerts, seen(node(1, 0.5), now=now, since=there))
        alerts, rung = all_of(steps), rung + len(called(steps))
    assert rung == 0


def test_subject_comes_back_from_its_key() -> None:
    for subject in (Subject.batch(BatchId(7)), Subject(Sort.LINE, LINE), Subject(Sort.NODE, "urn:dev:mac:1 odd")):
        assert Subject.from_key(subject.key) == subject
    assert Subject(Sort.LINE, LINE).batch_id is None
