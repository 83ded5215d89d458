"""The monitor's own troubles in the history of alerts: noted by the supervisor, kept by the loop, known by people."""

import queue
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, timedelta
from pathlib import Path
from sqlite3 import Connection

import pytest
from harness import START, SetClock

from monitor.alerts.dough import AlertKind, Change, Phase, Rules, Sort, Subject
from monitor.alerts.reasons import MonitorRestarted, TroubleOver
from monitor.alerts.troubles import DiskNearlyFull
from monitor.collector.loop import Collector
from monitor.dough.outlook import Outlook, State
from monitor.errors import StoreError
from monitor.health.supervisor import AGAIN_S, Notice, Supervisor, Symptom
from monitor.health.trouble_log import TroubleLog
from monitor.store.store import Store
from monitor.wording.alerts import status_text
from monitor.wording.reader import Reader

DISK = Symptom(DiskNearlyFull("/data"), after_s=10.0)
SUBJECT = Subject(Sort.MONITOR, "disk")


class StepClock(SetClock):
    """Real seconds go with the dough's."""

    def real_s(self) -> float:
        return (self.now() - START).total_seconds()


class MoodyStore(Store):
    """Takes nothing while it is told not to."""

    is_full = False

    @contextmanager
    def writing(self, *, is_of_batches: bool = False) -> Iterator[Connection]:
        if self.is_full:
            raise StoreError("disk is full; make room")
        with super().writing(is_of_batches=is_of_batches) as connection:
            yield connection


class Bakery:
    """A supervisor and a loop over one store, turned by hand; ``start`` is what a new process does."""

    def __init__(self, path: Path) -> None:
        self.store = MoodyStore(path)
        self.clock = StepClock()
        self.wrong: list[Symptom] = []
        self.told: list[Notice] = []
        self.start()

    def start(self) -> None:
        trouble_log = TroubleLog()
        self.supervisor = Supervisor([lambda: self.wrong], self._tell, self.clock, trouble_log)
        self.collector = Collector(
            self.store,
            queue.Queue(),
            self.clock,
            lambda batch, track, at, learned=None: Outlook(at, State.RISING),
            rules=Rules(),
            reader=Reader(UTC),
            troubles=trouble_log,
        )

    def _tell(self, notice: Notice) -> bool:
        self.told.append(notice)
        return True

    def go_on(self, seconds: float) -> None:
        self.clock.advance(seconds=seconds)
        self.supervisor.go_round()
        self.collector.turn(0.0)

    def history(self) -> list[tuple[Phase, int, float]]:
        """State, episode, second."""
        return [(each.phase, each.episode, (each.at - START).total_seconds()) for each in self.changes()]

    def changes(self) -> list[Change]:
        return [each for each in self.store.alerts.history() if each.subject == SUBJECT]


@pytest.fixture
def bakery(tmp_path: Path) -> Iterator[Bakery]:
    made = Bakery(tmp_path / "proofing.sqlite")
    with made.store:
        yield made


def test_a_trouble_stands_in_the_history_from_when_it_lasts_until_it_is_over(bakery: Bakery) -> None:
    bakery.wrong = [DISK]
    bakery.go_on(1.0)
    assert bakery.history() == [], "it may pass"
    bakery.go_on(11.0)
    bakery.go_on(1.0)
    (alert,) = bakery.store.alerts.active()
    assert alert.kind is AlertKind.TROUBLE
    assert status_text(alert, Reader(UTC), bakery.clock.now()).endswith(
        "nobody has seen it yet: the disk under /data is nearly full; what to do: make room on it"
    )
    bakery.wrong = []
    bakery.go_on(10.0)
    assert bakery.history() == [(Phase.UNACKNOWLEDGED, 1, 12.0), (Phase.RETURNED, 1, 23.0)]
    assert bakery.changes()[-1].reason == TroubleOver(DISK.trouble)
    assert [notice.is_over for notice in bakery.told] == [False, True]
    assert bakery.store.outbox.messages() == [], "the supervisor tells it, the outbox does not tell it again"
    bakery.wrong = [DISK]
    bakery.go_on(100.0)
    bakery.go_on(100.0)
    assert bakery.history()[-1] == (Phase.UNACKNOWLEDGED, 2, 223.0)


def test_what_a_full_disk_did_not_take_comes_into_the_history_later_with_its_own_moments(bakery: Bakery) -> None:
    bakery.go_on(1.0)
    bakery.store.is_full = True
    bakery.wrong = [DISK]
    bakery.go_on(1.0)
    for _ in range(3):
        with pytest.raises(StoreError):
            bakery.go_on(20.0)
    bakery.wrong = []
    with pytest.raises(StoreError):
        bakery.go_on(38.0)
    assert bakery.history() == []
    bakery.store.is_full = False
    bakery.go_on(100.0)
    bakery.go_on(1.0)
    assert bakery.history() == [(Phase.UNACKNOWLEDGED, 1, 22.0), (Phase.RETURNED, 1, 100.0)]


@pytest.mark.parametrize("answer", ["acknowledged", "shelved", "none"])
def test_a_trouble_that_somebody_knows_of_is_not_told_again(bakery: Bakery, answer: str) -> None:
    bakery.wrong = [DISK]
    bakery.go_on(1.0)
    bakery.go_on(10.0)
    (alert,) = bakery.store.alerts.active()
    if answer == "acknowledged":
        bakery.store.alerts.acknowledge(alert.number, bakery.clock.now(), "Ida")
    elif answer == "shelved":
        until = bakery.clock.now() + timedelta(seconds=AGAIN_S + 60.0)
        bakery.store.alerts.shelve(alert.number, until, bakery.clock.now(), "Ida")
    bakery.go_on(1.0)
    bakery.go_on(AGAIN_S)
    assert len(bakery.told) == (2 if answer == "none" else 1)
    bakery.go_on(AGAIN_S)
    bakery.go_on(1.0)  # a shelf runs out for the loop first
    assert len(bakery.told) == {"none": 3, "shelved": 2, "acknowledged": 1}[answer]
    bakery.wrong = []
    bakery.go_on(1.0)
    assert bakery.told[-1].is_over


def test_a_new_start_closes_what_stood_and_tells_what_is_still_wrong(bakery: Bakery) -> None:
    bakery.wrong = [DISK]
    bakery.go_on(1.0)
    bakery.go_on(10.0)
    bakery.start()
    bakery.go_on(1.0)
    assert bakery.changes()[-1].reason == MonitorRestarted()
    assert bakery.store.alerts.active() == [], "nobody need acknowledge what an earlier run saw"
    bakery.go_on(10.0)
    assert bakery.history()[-1] == (Phase.UNACKNOWLEDGED, 2, 22.0)
    assert len(bakery.told) == 2
