"""The collector's watch over the shipping: how far behind, by which clock, told when and as what."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.alerts.troubles import ReplicaBegunAnew, ReplicaLate, StoreOlder, Trouble
from monitor.clock import wall_clock
from monitor.errors import ReplicaFault
from monitor.replica import watch as watching
from monitor.replica.state import Older, Status, write_status
from monitor.replica.watch import AFTER_S, AWAY_AFTER_S, ReplicaWatch
from monitor.settings.replica import Shipping, Target
from monitor.store.collector_lock import hold_shipping_lock

URL = "file:///there"
HOUR = timedelta(hours=1)


@dataclass
class Steps:
    """A clock that goes on when it is told to."""

    at_s: float = 1000.0

    def now(self) -> datetime:
        return datetime(2026, 3, 2, tzinfo=UTC) + timedelta(seconds=self.at_s)

    def real_s(self) -> float:
        return self.at_s

    def wait(self, seconds: float) -> None:
        self.at_s += seconds


def watch_of(folder: Path, clock: Steps) -> ReplicaWatch:
    return ReplicaWatch(folder, Shipping(Target(URL)), clock)


def told(watch: ReplicaWatch) -> list[Trouble]:
    return [each.trouble for each in watch.troubles()]


def test_how_far_behind_is_counted_from_the_last_news(tmp_path: Path) -> None:
    clock = Steps()
    watch = watch_of(tmp_path, clock)
    with hold_shipping_lock(tmp_path):
        write_status(tmp_path, Status(URL, wall_clock()))
        clock.wait(5.0)
        assert watch.behind_s == 0.0
        clock.wait(30.0)
        assert watch.behind_s == 30.0
        assert (told(watch), watch.late_since) == ([], None)


@pytest.mark.parametrize("apart", [-HOUR, HOUR, timedelta(days=-400)])
def test_a_clock_that_is_wrong_makes_nothing_late_nor_hides_what_is(tmp_path: Path, apart: timedelta) -> None:
    clock = Steps()
    watch = watch_of(tmp_path, clock)
    with hold_shipping_lock(tmp_path):
        for n in range(3):
            write_status(tmp_path, Status(URL, wall_clock() + apart + timedelta(seconds=n)))
            clock.wait(10.0)
            assert watch.behind_s == 0.0
            assert told(watch) == []
        clock.wait(AWAY_AFTER_S + 1.0)
        assert [type(each) for each in told(watch)] == [ReplicaLate]


def test_what_was_late_before_the_start_is_late(tmp_path: Path) -> None:
    shipped_at = wall_clock() - HOUR
    write_status(tmp_path, Status(URL, shipped_at, fault=ReplicaFault.FULL, detail="no space left"))
    with hold_shipping_lock(tmp_path):
        watch = watch_of(tmp_path, Steps())
        assert told(watch) == [ReplicaLate(URL, ReplicaFault.FULL, "no space left", shipped_at)]
        assert watch.late_since == shipped_at


@pytest.mark.parametrize(
    ("fault", "after_s"), [(ReplicaFault.AWAY, AWAY_AFTER_S), (ReplicaFault.FULL, AFTER_S), (None, AWAY_AFTER_S)]
)
def test_what_mends_by_itself_is_waited_for(tmp_path: Path, fault: ReplicaFault | None, after_s: float) -> None:
    clock = Steps()
    watch = watch_of(tmp_path, clock)
    with hold_shipping_lock(tmp_path):
        write_status(tmp_path, Status(URL, None, fault=fault))
        clock.wait(after_s - 1.0)
        assert told(watch) == []
        clock.wait(2.0)
        assert told(watch) == [ReplicaLate(URL, fault or ReplicaFault.AWAY, "", None)]


def test_nobody_who_ships_is_told_as_such(tmp_path: Path) -> None:
    clock = Steps()
    watch = watch_of(tmp_path, clock)
    clock.wait(AWAY_AFTER_S + 1.0)
    assert told(watch) == [ReplicaLate(URL, ReplicaFault.NOT_RUNNING, "", None)]


def test_what_was_found_about_the_time_of_the_start_is_told_and_what_is_old_is_not(tmp_path: Path) -> None:
    now = wall_clock()
    write_status(tmp_path, Status(URL, now, begun_anew_at=now, older=Older(now, now - HOUR)))
    with hold_shipping_lock(tmp_path):
        assert told(watch_of(tmp_path, Steps())) == [ReplicaBegunAnew(URL), StoreOlder(URL, now - HOUR, now)]
        before = now - watching.BEFORE_START - HOUR
        write_status(tmp_path, Status(URL, now, begun_anew_at=before, older=Older(before, before)))
        assert told(watch_of(tmp_path, Steps())) == []


def test_what_was_said_of_another_place_or_cannot_be_read_is_nothing(tmp_path: Path) -> None:
    write_status(tmp_path, Status("file:///elsewhere", wall_clock() - 10 * HOUR))
    assert told(watch_of(tmp_path, Steps())) == []
    (tmp_path / "replica" / "status.json").write_text("{")
    assert told(watch_of(tmp_path, Steps())) == []
