"""The loop, with clock, inbox, store and estimator in the test's hand: what is kept, said, acknowledged, and when."""

import logging
import queue
import random
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zlib import crc32

import pytest
from harness import START, SetClock

from monitor.bakery.alerts import AlertKind, Phase, Rules
from monitor.bakery.manner import Manner
from monitor.collector.loop import Collector
from monitor.collector.stepping import NOT_ESTIMATED, STEP_FAULT
from monitor.dough.learning import Learned
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.dough.track import Track
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.calibration import Calibration, How
from monitor.recipe.vessel import Shape, Vessel
from monitor.sinks.store import Store
from monitor.sources.intake import Fault, Frame, Item, Status
from monitor.wire.readings import Channel, Flag, NodeId

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
KEY = "mac-020000fffe5e0001"
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)


def framed(body: str, *, boot: str = "0a1b2c3d", seq: int = 1) -> bytes:
    head = f"@{boot} {seq} {body}".encode()
    return head + f" {crc32(head):08x}".encode()


def pack(seq: int = 1, *, air_c: float = 25.0, age_s: float = 0.0, distance_m: float = 0.21) -> bytes:
    return framed(
        f'[{{"bn":"{NODE}_","bt":{-age_s},"n":"air","u":"Cel","v":{air_c}}},'
        f'{{"n":"distance","u":"m","v":{distance_m}}}]',
        seq=seq,
    )


def batch(**changes: object) -> Batch:
    fields: dict[str, object] = {
        "id": BatchId(0),
        "name": "Plain tub",
        "stage": Stage.BULK_RISE,
        "started_at": START,
        "vessel": TUB,
        "target": Target(75.0),
        "nodes": ((Channel.AIR_TEMP, NODE), (Channel.DISTANCE, NODE)),
    }
    return Batch(**{**fields, **changes})  # type: ignore[arg-type]


class StepClock(SetClock):
    """Real seconds, too, stand where the test puts them."""

    second = 0.0

    def real_s(self) -> float:
        return self.second


class Bench:
    """A collector whose outside is all in the test's hand."""

    def __init__(self, store: Store, clock: StepClock) -> None:
        self.store = store
        self.clock = clock
        self.inbox: queue.Queue[Item] = queue.Queue(1000)
        self.acknowledged: list[bytes] = []
        self.asked: list[tuple[Batch, Track, datetime]] = []
        self.answer: Callable[[Batch, Track, datetime], Outlook] = lambda batch, track, at: Outlook(at, State.RISING)
        self.learned: Learned | None = None
        self.collector = self.another()

    def another(self) -> Collector:
        """A collector as after a restart: it knows only what the store holds."""
        return Collector(self.store, self.inbox, self.clock, self._estimate, rules=Rules(), manner=Manner(UTC))

    def _estimate(self, batch: Batch, track: Track, at: datetime, *, learned: Learned | None = None) -> Outlook:
        self.asked.append((batch, track, at))
        self.learned = learned
        return self.answer(batch, track, at)

    def frame(self, data: bytes, node_key: str | None = KEY, source: str = "line") -> None:
        self.inbox.put(Frame(data, self.clock.now(), source, node_key, self.acknowledged.append))

    def turn(self, n: int = 1) -> None:
        for _ in range(n):
            self.clock.second += 1.0
            self.collector.turn(0.0)

    def faults(self) -> dict[tuple[str, str], int]:
        return {(fault.node, fault.reason): fault.count for fault in self.store.faults()}


@pytest.fixture
def bench(store: Store) -> Bench:
    return Bench(store, StepClock())


# -- frames -----------------------------------------------------------------------------------------------------------


def test_a_good_frame_is_stored_and_then_acknowledged(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    stored_at_acknowledgement: list[int] = []
    bench.inbox.put(
        Frame(
            pack(),
            bench.clock.now(),
            "line",
            KEY,
            lambda line: stored_at_acknowledgement.append(len(bench.store.readings(running))),
        )
    )
    bench.turn()
    assert stored_at_acknowledgement == [2]
    assert bench.faults() == {}


def test_the_same_pack_twice_is_stored_once_and_acknowledged_twice(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.frame(pack())
    bench.frame(pack())
    bench.turn()
    assert len(bench.store.readings(running)) == 2
    assert len(bench.acknowledged) == 2


def test_a_failed_checksum_is_counted_and_never_acknowledged(bench: Bench) -> None:
    bench.frame(pack().replace(b"25.0", b"26.0"))
    bench.turn()
    assert bench.faults() == {(NODE, "checksum"): 1}
    assert bench.acknowledged == []
    assert bench.store.quarantined() == []


def test_a_whole_frame_that_makes_no_sense_is_put_aside_and_acknowledged(bench: Bench) -> None:
    bench.frame(framed(f'[{{"bn":"{NODE}_","n":"air","u":"K","v":298}}]', seq=7))
    bench.turn()
    assert bench.faults() == {(NODE, "unit"): 1}
    assert [line.split()[:2] for line in bench.acknowledged] == [[b"!0a1b2c3d", b"7"]]
    assert [frame.reason for frame in bench.store.quarantined()] == ["unit"]


def test_a_frame_on_another_nodes_topic_is_refused(bench: Bench) -> None:
    bench.frame(pack(), node_key="mac-020000fffe5e0002")
    bench.turn()
    assert bench.faults() == {("urn:dev:mac:020000fffe5e0002", "name"): 1}


def test_bad_bytes_on_a_line_are_named_after_the_node_last_heard_there(bench: Bench) -> None:
    bench.frame(b"@garbage", node_key=None)
    bench.turn()
    bench.frame(pack(), node_key=None)
    bench.turn()
    bench.frame(b"@garbage", node_key=None)
    bench.turn()
    assert bench.faults() == {("unknown", "checksum"): 1, (NODE, "checksum"): 1}


def test_good_frames_between_bad_ones_are_all_kept(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    running = bench.store.add_batch(batch())
    bench.clock.advance(minutes=2)
    with caplog.at_level(logging.WARNING):
        for seq in range(1, 101):
            bench.frame(pack(seq, age_s=100.0 - seq))
            bench.frame(b"@0a1b2c3d 1 [] 00000000")
        bench.turn()
    assert len(bench.store.readings(running)) == 200
    assert len(bench.acknowledged) == 100
    assert bench.faults() == {(NODE, "checksum"): 100}
    lines = [record for record in caplog.records if "checksum" in record.getMessage()]
    assert len(lines) == 1, "a repeated fault is said once, then counted"
    assert NODE in lines[0].getMessage()


def test_a_reading_no_sensor_says_is_kept_flagged_and_counted(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.frame(pack(air_c=900.0))
    bench.turn()
    flags = {reading.channel: reading.flag for reading in bench.store.readings(running)}
    assert flags == {Channel.AIR_TEMP: Flag.OUT_OF_RANGE, Channel.DISTANCE: Flag.OK}
    assert bench.faults() == {(NODE, "out of range"): 1}


def test_what_a_source_refused_itself_is_counted(bench: Bench) -> None:
    bench.inbox.put(Fault("line", None, "noise", 3, START))
    bench.turn()
    assert bench.faults() == {("unknown", "noise"): 3}


def test_status_of_a_node_reaches_the_store(bench: Bench) -> None:
    bench.inbox.put(Status("broker", KEY, False, START))
    bench.inbox.put(Status("broker", None, False, START, "connection lost"))
    bench.turn()
    assert [(node.node, node.is_online) for node in bench.store.nodes()] == [(NODE, False)]


def test_one_turn_takes_a_bounded_number_of_frames(bench: Bench) -> None:
    for seq in range(1, 1000):
        bench.frame(pack(seq))
    assert bench.collector.take_frames(0.0) == 256
    assert not bench.inbox.empty()


# -- batches ----------------------------------------------------------------------------------------------------------


def test_an_outlook_comes_at_most_once_a_dough_minute(bench: Bench) -> None:
    bench.store.add_batch(batch())
    bench.turn()
    assert len(bench.asked) == 1
    bench.clock.advance(seconds=59)
    bench.turn(3)
    assert len(bench.asked) == 1
    bench.clock.advance(seconds=1)
    bench.turn(3)
    assert [at for _, _, at in bench.asked] == [START, START + timedelta(minutes=1)]


def test_a_batch_waits_for_its_start(bench: Bench) -> None:
    bench.store.add_batch(batch(started_at=START + timedelta(hours=1)))
    bench.turn(2)
    assert bench.asked == []
    bench.clock.advance(hours=1)
    bench.turn()
    assert len(bench.asked) == 1


def test_a_logged_event_is_worked_at_once(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.turn()
    bench.clock.advance(seconds=10)
    fold = Event(bench.clock.now(), EventKind.FOLD)
    bench.store.add_event(running.id, fold)
    bench.turn()
    assert bench.asked[-1][0].events == (fold,)
    assert bench.asked[-1][2] == START + timedelta(seconds=10)


def test_an_event_to_come_is_not_known_yet(bench: Bench) -> None:
    fold = Event(START + timedelta(minutes=30), EventKind.FOLD)
    bench.store.add_batch(batch(events=(fold,)))
    bench.turn()
    assert bench.asked[-1][0].events == ()
    bench.clock.advance(minutes=30)
    bench.turn()
    assert bench.asked[-1][0].events == (fold,)


def test_a_level_read_by_eye_is_worked_at_once(bench: Bench) -> None:
    running = bench.store.add_batch(batch(nodes=()))
    bench.turn()
    bench.clock.advance(seconds=5)
    bench.store.add_level(running.id, bench.clock.now(), 90.0, 3.0)
    bench.turn()
    assert list(bench.asked[-1][1].level_mm.value) == [90.0]


def test_late_and_disordered_readings_give_the_track_of_ordered_ones(bench: Bench) -> None:
    bench.store.add_batch(batch())
    bench.clock.advance(minutes=10)
    for seq, age_s in ((3, 60.0), (1, 300.0)):
        bench.frame(pack(seq, age_s=age_s))
    bench.turn()
    bench.clock.advance(minutes=1)
    bench.frame(pack(2, age_s=240.0))
    bench.turn()
    assert list(bench.asked[-1][1].air_temp_c.t_s) == [300.0, 420.0, 540.0]


def test_a_calibration_sets_right_what_was_read_before_it_too_and_is_worked_at_once(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.frame(pack(1))
    bench.turn(2)
    assert bench.asked[-1][1].distance_mm.value.tolist() == [210.0]
    now = bench.clock.now()
    bench.store.add_calibration(Calibration(NODE, Channel.DISTANCE, 1.5, 0.4, now, How.EMPTY))
    bench.frame(pack(2))
    bench.turn(2)
    asked, track, _ = bench.asked[-1]
    assert asked.id == running.id
    assert asked.sensor_sd_mm == 0.4
    assert track.distance_mm.value.tolist() == [211.5, 211.5]


def test_readings_from_before_the_start_are_not_the_batchs(bench: Bench) -> None:
    bench.frame(pack(1, age_s=60.0))
    bench.turn()
    bench.store.add_batch(batch())
    bench.turn()
    assert bench.asked[-1][1].last_t_s is None


def test_one_turn_works_one_batch_the_longest_due_first(bench: Bench) -> None:
    bench.clock.advance(minutes=10)
    late = bench.store.add_batch(batch(name="late", started_at=START + timedelta(minutes=5)))
    early = bench.store.add_batch(batch(name="early"))
    bench.turn()
    assert [asked.id for asked, _, _ in bench.asked] == [early.id]
    bench.turn()
    assert [asked.id for asked, _, _ in bench.asked] == [early.id, late.id]


def test_alerts_are_kept_and_said_once_over_a_restart(bench: Bench) -> None:
    running = bench.store.add_batch(batch())

    def ready(asked: Batch, track: Track, at: datetime) -> Outlook:
        moment = START + timedelta(minutes=3)
        return Outlook(
            at,
            State.READY if at >= moment else State.RISING,
            rise_pct=Band(70.0, 75.0, 80.0),
            ready=Moments(moment, moment, moment, moment, moment),
            last_reading_at=at,
        )

    bench.answer = ready
    for minute in range(12):
        bench.frame(pack(minute + 1))
        bench.turn(2)
        bench.clock.advance(minutes=1)
        if minute == 6:
            bench.collector = bench.another()
    kinds = [message.kind for message in bench.store.messages(running.id)]
    assert kinds.count(AlertKind.READY) == 1
    assert len(bench.store.open_messages()) == len(kinds)


def pass_minutes(bench: Bench, minutes: int, *, each: Callable[[int], None] = lambda minute: None) -> None:
    """Let both clocks go on, a minute a turn or two."""
    for minute in range(minutes):
        each(minute)
        bench.clock.second += 58.0
        bench.turn(2)
        bench.clock.advance(minutes=1)


def test_silent_node_is_one_alert_however_many_batches_it_serves(bench: Bench) -> None:
    for name in ("one", "two", "three"):
        bench.store.add_batch(batch(name=name))
    bench.frame(pack())
    pass_minutes(bench, 20)
    (message,) = bench.store.messages()
    assert (message.kind, message.batch_id) == (AlertKind.NODE_SILENT, None)
    assert NODE in message.title
    assert all(f"{name}: " in message.text for name in ("one", "two", "three"))


def test_silent_node_tells_once_more_of_the_dough_that_should_be_ready(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    ready_at = START + timedelta(minutes=20)
    bench.answer = lambda asked, track, at: Outlook(at, State.RISING, ready=Moments(*[ready_at] * 5))
    bench.frame(pack())
    pass_minutes(bench, 40)
    told = [(message.kind, message.title) for message in reversed(bench.store.messages())]
    assert told == [
        (AlertKind.NODE_SILENT, f"Node {NODE}: node silent"),
        (AlertKind.NODE_SILENT, "Plain tub: look yourself, node silent"),
    ]
    phases = {alert.kind: alert.phase for alert in bench.store.alerts(running.id) if alert.is_firing}
    assert set(phases.values()) == {Phase.SUPPRESSED}


def test_alert_is_kept_with_what_caused_it(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.READY, ready=Moments(*[START] * 5))
    pass_minutes(bench, 3, each=lambda minute: bench.frame(pack(minute + 1)))
    (change,) = bench.store.alert_history(running.id)
    (message,) = bench.store.messages(running.id)
    assert (change.kind, change.phase) == (AlertKind.READY, Phase.UNACKNOWLEDGED)
    assert change.at == change.outlook_at == message.created_at
    assert change.outlook_at in [outlook.at for outlook in bench.store.outlooks(running.id)]
    assert [cause.split()[:4] for cause in change.readings] == [
        [NODE, "0a1b2c3d", "2", "air_temp_c"],
        [NODE, "0a1b2c3d", "2", "distance_mm"],
    ]


def test_step_that_cannot_be_kept_leaves_neither_outlook_nor_alert_nor_message(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What caused an alert, the alert and its message are one transaction: the last statement of it fails here."""
    running = bench.store.add_batch(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.READY, ready=Moments(*[START] * 5))

    def heard(minute: int) -> None:
        bench.frame(pack(bench.clock.now().minute))

    pass_minutes(bench, 1, each=heard)
    outlooks = len(bench.store.outlooks(running.id))

    def fail(connection: object, changes: object) -> None:
        raise StoreError("the disk is full")

    monkeypatch.setattr("monitor.sinks.alertbook.put_changes", fail)
    bench.clock.advance(minutes=1)
    with pytest.raises(StoreError):
        pass_minutes(bench, 1, each=heard)
    assert len(bench.store.outlooks(running.id)) == outlooks
    assert [alert.is_holding for alert in bench.store.alerts(running.id)] == [True]
    assert bench.store.messages() == []
    monkeypatch.undo()
    pass_minutes(bench, 3, each=heard)
    assert [message.kind for message in bench.store.messages()] == [AlertKind.READY]


def test_batch_that_ended_while_nobody_was_here_leaves_no_alert_standing(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.READY, ready=Moments(*[START] * 5))
    pass_minutes(bench, 3, each=lambda minute: bench.frame(pack(minute + 1)))
    assert bench.store.standing_alerts()
    bench.store.add_event(running.id, Event(bench.clock.now(), EventKind.END))
    bench.clock.advance(hours=1)
    bench.collector = bench.another()
    bench.turn()
    assert bench.store.standing_alerts() == []


@pytest.mark.parametrize("hours", [1, 24, -1, -24], ids=lambda hours: f"{hours:+d} h")
def test_clock_that_was_set_over_a_restart_rings_nothing(bench: Bench, hours: int) -> None:
    """Readings come every minute; the dough is never near ready; the machine starts again on another hour."""
    bench.store.add_batch(batch(started_at=START - timedelta(days=2)))
    bench.answer = lambda asked, track, at: Outlook(at, State.RISING, ready=Moments(*[at + timedelta(hours=9)] * 5))
    pass_minutes(bench, 15, each=lambda minute: bench.frame(pack(minute + 1)))
    bench.clock.advance(hours=hours)
    bench.collector = bench.another()
    pass_minutes(bench, 15, each=lambda minute: bench.frame(pack(minute + 100)))
    assert bench.store.messages() == []


def test_clock_of_1970_at_boot_judges_no_batch(bench: Bench) -> None:
    bench.store.add_batch(batch())
    bench.clock.put(datetime(1970, 1, 1, tzinfo=UTC))
    pass_minutes(bench, 15)
    assert bench.asked == []
    bench.clock.put(START + timedelta(minutes=1))  # the network tells the time
    pass_minutes(bench, 9)
    assert bench.store.messages() == []


def test_machine_that_slept_has_not_listened(bench: Bench) -> None:
    """The dough's clock goes on while the machine sleeps; that nothing was heard then is no silence."""
    bench.store.add_batch(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.RISING, ready=Moments(*[at + timedelta(hours=9)] * 5))
    pass_minutes(bench, 3, each=lambda minute: bench.frame(pack(minute + 1)))
    bench.clock.advance(hours=3)
    pass_minutes(bench, 9)
    assert bench.store.messages() == []
    pass_minutes(bench, 3)
    assert [message.kind for message in bench.store.messages()] == [AlertKind.NODE_SILENT]


def test_new_readings_are_worked_without_waiting_for_the_minute(bench: Bench) -> None:
    bench.store.add_batch(batch())
    bench.turn()
    for seq in range(1, 5):
        bench.clock.advance(seconds=10)
        bench.clock.second += 10.0
        bench.frame(pack(seq))
        bench.turn()
    assert [round((at - START).total_seconds()) for _, _, at in bench.asked] == [0, 10, 20, 30, 40]


def air_alerts_of(bench: Bench, frames_by_minute: dict[int, list[bytes]]) -> list[tuple[str, int, datetime | None]]:
    """The alerts that come of some frames; the air is judged by the newest reading of the track."""

    def estimate(asked: Batch, track: Track, at: datetime) -> Outlook:
        air = float(track.air_temp_c.value[-1]) if track.air_temp_c.t_s.size else None
        return Outlook(at, State.RISING, ready=Moments(*[at + timedelta(hours=9)] * 5), air_temp_c=air)

    bench.answer = estimate
    running = bench.store.add_batch(batch())
    pass_minutes(bench, 40, each=lambda minute: [bench.frame(data) for data in frames_by_minute.get(minute, [])])
    return [(alert.kind.value, alert.episode, alert.called_at) for alert in bench.store.alerts(running.id)]


def test_duplicates_and_disorder_change_no_alert(tmp_path: Path) -> None:
    plain = {minute: [pack(minute + 1, air_c=36.0 if minute > 9 else 24.0)] for minute in range(40)}
    rng = random.Random(5)
    messy = {minute: rng.choices(frames, k=rng.randint(1, 5)) for minute, frames in plain.items()}
    for minute in range(1, 40):  # and what came a few minutes ago comes again, out of order
        earlier = rng.sample(range(minute), k=min(minute, 3))
        messy[minute] = [
            *[pack(e + 1, air_c=36.0 if e > 9 else 24.0, age_s=60.0 * (minute - e)) for e in earlier],
            *messy[minute],
        ]
    found = []
    for name, frames in (("plain", plain), ("messy", messy)):
        with Store(tmp_path / f"{name}.sqlite") as store:
            found.append(air_alerts_of(Bench(store, StepClock()), frames))
    assert found[0] == found[1]
    assert [kind for kind, _, _ in found[0]] == ["air too warm"]


def test_late_readings_raise_no_alert_about_the_past(bench: Bench) -> None:
    """An hour's readings of hot air come after the air has long been right again."""
    frames = {minute: [pack(minute + 1)] for minute in range(40)}
    frames[30] += [pack(1000 + n, air_c=40.0, age_s=60.0 * (20 - n)) for n in range(15)]
    assert air_alerts_of(bench, frames) == []


def test_a_batch_that_ends_is_worked_once_more_at_its_end(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.turn()
    bench.clock.advance(seconds=30)
    bench.store.add_event(running.id, Event(bench.clock.now(), EventKind.END))
    bench.clock.advance(seconds=5)
    bench.turn()
    assert [outlook.at for outlook in bench.store.outlooks(running.id)] == [START, START + timedelta(seconds=30)]
    bench.clock.advance(minutes=10)
    bench.turn(3)
    assert len(bench.asked) == 2


def test_a_restart_goes_on_where_the_store_stands(bench: Bench) -> None:
    bench.store.add_batch(batch())
    bench.frame(pack())
    bench.turn()
    bench.collector = bench.another()
    bench.clock.advance(seconds=30)
    bench.turn(2)
    assert len(bench.asked) == 1, "its next outlook is due a minute after the last one, not at the start"
    bench.clock.advance(seconds=30)
    bench.turn()
    assert bench.asked[-1][1].air_temp_c.t_s.size == 1


# -- the firewall -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("answer", ["raise", "nan"])
def test_a_fault_in_one_batchs_step_leaves_the_others_and_the_readings_alone(
    bench: Bench, caplog: pytest.LogCaptureFixture, answer: str
) -> None:
    bad = bench.store.add_batch(batch(name="bad"))
    good = bench.store.add_batch(batch(name="good"))

    def estimate(asked: Batch, track: Track, at: datetime) -> Outlook:
        if asked.id == bad.id and answer == "raise":
            raise ZeroDivisionError("a fault of the estimator")
        nan = float("nan")
        return Outlook(at, State.RISING, rise_pct=Band(nan, nan, nan) if asked.id == bad.id else None)

    bench.answer = estimate
    with caplog.at_level(logging.ERROR):
        for seq in range(1, 4):
            bench.frame(pack(seq))
            bench.turn(2)
            bench.clock.advance(minutes=1)
    outlook = bench.store.latest_outlook(bad.id)
    assert outlook is not None
    assert outlook.why == NOT_ESTIMATED
    assert len(bench.store.outlooks(good.id)) == 3
    assert len(bench.store.readings(bad)) == 6
    assert bench.faults()[f"batch {bad.id}", STEP_FAULT] == 3
    assert len([record for record in caplog.records if record.exc_info]) == 1


def test_a_fault_of_the_store_ends_the_collector(bench: Bench) -> None:
    bench.store.add_batch(batch())
    bench.frame(pack())
    bench.store.close()
    with pytest.raises(StoreError):
        bench.turn()


def test_the_loop_ends_when_told_and_takes_in_what_waits(tmp_path: Path, clock: SetClock) -> None:
    inbox: queue.Queue[Item] = queue.Queue()
    acknowledged: list[bytes] = []
    stop = threading.Event()
    stop.set()
    inbox.put(Frame(pack(), clock.now(), "line", KEY, acknowledged.append))
    with Store(tmp_path / "loop.sqlite") as store:
        Collector(
            store, inbox, clock, lambda batch, track, at: Outlook(at, State.RISING), rules=Rules(), manner=Manner(UTC)
        ).run(stop)
        assert len(acknowledged) == 1
        assert len(store.nodes()) == 1
