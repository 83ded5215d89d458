"""How long a frame was held up, by what its node's clock showed when it was sent."""

from datetime import timedelta

import pytest
from collector_bench import Bench, StepClock, framed
from harness import START

from monitor.store.store import Store
from monitor.wire.frames import Pack
from monitor.wire.lateness import HELD_UP_FOR_S, Lateness
from monitor.wire.readings import Channel, NodeId

NODE = NodeId("urn:dev:mac:020000fffe5e0001")


def sent(up_s: float | None, boot: str = "0a1b2c3d") -> Pack:
    return Pack(boot, 1, NODE, 0.0, ((Channel.AIR_TEMP, 25.0),), up_s)


class Hearing:
    """Frames by when they were sent, in seconds of the node's clock, and how long each was on its way."""

    def __init__(self, speed: float = 1.0, loses: float = 0.0) -> None:
        self.lateness = Lateness(speed)
        self.loses = loses

    def late_s(self, sent_s: float, on_way_s: float, boot: str = "0a1b2c3d") -> float:
        pack, arrived_at = sent(sent_s * (1.0 - self.loses), boot), START + timedelta(seconds=sent_s + on_way_s)
        self.lateness.hear(pack, arrived_at)
        return self.lateness.late_s(pack, arrived_at)


def test_a_frame_that_was_held_up_is_late_by_as_much() -> None:
    heard = Hearing()
    assert heard.late_s(0.0, 0.1) == 0.0
    assert heard.late_s(30.0, 0.2) == pytest.approx(0.1, abs=0.01)
    assert heard.late_s(60.0, 45.0) == pytest.approx(44.9, abs=0.02)
    assert heard.late_s(65.0, 40.1) == pytest.approx(40.0, abs=0.02)
    assert heard.late_s(110.0, 0.1) == pytest.approx(0.0, abs=0.02)


def test_a_timelier_frame_says_how_late_those_before_it_were() -> None:
    lateness, arrived_at = Lateness(), START + timedelta(seconds=60)
    for up_s in (10.0, 15.0, 59.9):
        lateness.hear(sent(up_s), arrived_at)
    assert [lateness.late_s(sent(up_s), arrived_at) for up_s in (10.0, 15.0, 59.9)] == pytest.approx([49.9, 44.9, 0.0])


def test_each_boot_has_a_clock_of_its_own() -> None:
    heard = Hearing()
    heard.late_s(0.0, 0.0)
    assert heard.late_s(60.0, 30.0, "ffffffff") == 0.0


def test_a_node_that_does_not_tell_its_clock_counts_as_timely() -> None:
    lateness = Lateness()
    lateness.hear(sent(None), START)
    assert lateness.late_s(sent(None), START + timedelta(hours=1)) == 0.0


@pytest.mark.parametrize("loses", [-2e-2, -1e-4, -5e-5, 0.0, 5e-5, 1e-4, 7e-4, 2e-2])
def test_a_clock_with_another_pace_makes_nothing_late_for_good(loses: float) -> None:
    """From a quartz to a resistor and a capacitor, over a day of a pack each half minute."""
    heard = Hearing(loses=loses)
    late = [heard.late_s(30.0 * n, 0.05) for n in range(2880)]
    assert max(late) < 3.0
    assert min(late) >= 0.0


def test_after_a_weekend_of_silence_a_quartz_is_not_taken_for_a_frozen_line() -> None:
    heard = Hearing(loses=5e-5)
    heard.late_s(0.0, 0.0)
    assert heard.late_s(60 * 3600.0, 0.0) < 0.01


@pytest.mark.parametrize("back_s", [20.0, 120.0])
def test_a_clock_that_was_set_back_is_believed_again_soon(back_s: float) -> None:
    heard = Hearing()
    heard.late_s(0.0, 0.0)
    heard.late_s(30.0, 0.0)
    late = [heard.late_s(60.0 + 30.0 * n - back_s, back_s) for n in range(5)]
    # nothing is held up for longer than nothing came
    assert late[0] == pytest.approx(20.0 if back_s < 30.0 else 0.0, abs=0.02)
    assert late[-1] == 0.0


def test_by_a_quicker_clock_the_same_line_is_frozen_for_longer() -> None:
    speed, heard = 60.0, Hearing(60.0)
    heard.late_s(0.0, 0.0)
    frozen_s = 50.0 * speed
    for n in range(100):  # what was held up takes half a real minute to come
        still_s = frozen_s - (HELD_UP_FOR_S / 2) * n / 100
        assert heard.late_s(30.0 + 30.0 * n, still_s) == pytest.approx(still_s, rel=0.02)


def test_moments_of_a_turn_are_put_right_before_they_are_stored(store: Store) -> None:
    bench = Bench(store, StepClock())

    def hears(seq: int, up_s: float) -> None:
        bench.frame(framed(f'[{{"bn":"{NODE}_","bt":-1,"up":{up_s},"n":"air","u":"Cel","v":25.0}}]', seq=seq))

    hears(1, 10.0)
    bench.turn()
    bench.clock.advance(minutes=1)
    now = bench.clock.now()
    hears(2, 30.0)  # sent 40 s ago
    hears(3, now.timestamp() - START.timestamp() + 10.0)
    bench.turn()
    kept = store.readings.between(NODE, Channel.AIR_TEMP, START - timedelta(days=1), START + timedelta(days=1))
    moments_s = {reading.seq: (reading.measured_at - START).total_seconds() for reading in kept}
    assert moments_s == pytest.approx({1: -1.0, 2: 19.0, 3: (now - START).total_seconds() - 1.0}, abs=0.02)
    assert {reading.arrived_at for reading in kept if reading.seq > 1} == {now}
