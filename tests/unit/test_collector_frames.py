"""Frames in the loop: what is kept, refused, counted and acknowledged."""

import logging

import pytest
from collector_bench import KEY, NODE, Bench, StepClock, batch, framed, pack
from harness import START

from monitor.collector.intake import MOST_NODES_ON_A_LINE
from monitor.sources.intake import Fault, Frame, Status
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag


@pytest.fixture
def bench(store: Store) -> Bench:
    return Bench(store, StepClock())


def test_a_good_frame_is_stored_and_then_acknowledged(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    stored_at_acknowledgement: list[int] = []
    bench.inbox.put(
        Frame(
            pack(),
            bench.clock.now(),
            "line",
            KEY,
            lambda line: stored_at_acknowledgement.append(len(bench.store.readings.of(running))),
        )
    )
    bench.turn()
    assert stored_at_acknowledgement == [2]
    assert bench.faults() == {}


def test_the_same_pack_twice_is_stored_once_and_acknowledged_twice(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.frame(pack())
    bench.frame(pack())
    bench.turn()
    assert len(bench.store.readings.of(running)) == 2
    assert len(bench.acknowledged) == 2


def test_a_failed_checksum_is_counted_and_never_acknowledged(bench: Bench) -> None:
    bench.frame(pack().replace(b"25.0", b"26.0"))
    bench.turn()
    assert bench.faults() == {(NODE, "checksum"): 1}
    assert bench.acknowledged == []
    assert bench.store.nodes.quarantined() == []


def test_a_whole_frame_that_makes_no_sense_is_put_aside_and_acknowledged(bench: Bench) -> None:
    bench.frame(framed(f'[{{"bn":"{NODE}_","n":"air","u":"V","v":298}}]', seq=7))
    bench.turn()
    assert bench.faults() == {(NODE, "unit"): 1}
    assert [line.split()[:2] for line in bench.acknowledged] == [[b"!0a1b2c3d", b"7"]]
    assert [frame.reason for frame in bench.store.nodes.quarantined()] == ["unit"]


def test_a_channel_that_is_not_known_is_put_aside_and_counted_and_the_rest_is_kept(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    for seq in (1, 2, 3):
        bench.frame(
            framed(
                f'[{{"bn":"{NODE}_","n":"air","u":"Cel","v":25}},{{"n":"co2","u":"ppm","v":612}},'
                '{"n":"distance","u":"m","v":0.21}]',
                seq=seq,
            )
        )
    bench.turn()
    assert len(bench.store.readings.of(running)) == 6
    assert len(bench.acknowledged) == 3
    assert bench.faults() == {(NODE, "channel"): 3}
    (counted,) = bench.store.nodes.faults()
    assert counted.about == "co2"
    assert [frame.reason for frame in bench.store.nodes.quarantined()] == ["channel"], "the first is enough"


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
    running = bench.store.batches.add(batch())
    bench.clock.advance(minutes=2)
    with caplog.at_level(logging.WARNING):
        for seq in range(1, 101):
            bench.frame(pack(seq, age_s=100.0 - seq))
            bench.frame(b"@0a1b2c3d 1 [] 00000000")
        bench.turn()
    assert len(bench.store.readings.of(running)) == 200
    assert len(bench.acknowledged) == 100
    assert bench.faults() == {(NODE, "checksum"): 100}
    lines = [record for record in caplog.records if "checksum" in record.getMessage()]
    assert len(lines) == 1, "a repeated fault is said once, then counted"
    assert NODE in lines[0].getMessage()


def test_a_reading_no_sensor_says_is_kept_flagged_and_counted(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.frame(pack(air_c=900.0))
    bench.turn()
    flags = {reading.channel: reading.flag for reading in bench.store.readings.of(running)}
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
    assert [(node.node, node.is_online) for node in bench.store.nodes.all()] == [(NODE, False)]


def test_one_turn_takes_a_bounded_number_of_frames(bench: Bench) -> None:
    for seq in range(1, 1000):
        bench.frame(pack(seq))
    assert bench.collector.take_frames(0.0) == 256
    assert not bench.inbox.empty()


def test_endless_names_on_a_line_come_to_an_end_and_those_known_go_on(bench: Bench) -> None:
    """A cable has no password: whoever is plugged in may say any name."""

    def says(number: int, seq: int) -> None:
        node = f"urn:dev:mac:{number:016x}"
        body = framed(f'[{{"bn":"{node}_","n":"air","u":"Cel","v":25.0}}]', seq=seq)
        bench.inbox.put(Frame(body, bench.clock.now(), "line", None, bench.acknowledged.append))

    for number in range(MOST_NODES_ON_A_LINE + 40):
        says(number, 1)
    bench.turn()
    bench.collector = bench.another()  # a restart forgets nothing of it
    says(999, 1)
    says(0, 2)
    bench.turn()
    assert len(bench.store.nodes.all()) == MOST_NODES_ON_A_LINE
    assert bench.faults() == {("unknown", "name"): 41}
    assert len(bench.acknowledged) == MOST_NODES_ON_A_LINE + 1
