"""The loop, with clock, inbox, store and estimator in the test's hand: what is kept, said, acknowledged, and when."""

import logging
import queue
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zlib import crc32

import pytest
from harness import START, SetClock

from monitor.bakery.alerts import AlertKind, Rules
from monitor.collector import NOT_ESTIMATED, STEP_FAULT, Collector
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
        return Collector(self.store, self.inbox, self.clock, self._estimate, rules=Rules(), zone=UTC)

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
    assert len(bench.store.due_messages(bench.clock.now())) == len(kinds)


def test_silence_alerts_without_any_reading(bench: Bench) -> None:
    running = bench.store.add_batch(batch())
    bench.frame(pack())
    for _ in range(20):
        bench.turn(2)
        bench.clock.advance(minutes=1)
    assert AlertKind.SENSOR_SILENT in [message.kind for message in bench.store.messages(running.id)]


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
        Collector(store, inbox, clock, lambda batch, track, at: Outlook(at, State.RISING), rules=Rules(), zone=UTC).run(
            stop
        )
        assert len(acknowledged) == 1
        assert len(store.nodes()) == 1
