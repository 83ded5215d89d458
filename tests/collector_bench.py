"""A collector with clock, inbox, store and estimator in the test's hand."""

import queue
from collections.abc import Callable
from datetime import UTC, datetime
from zlib import crc32

from harness import START, SetClock

from monitor.alerts.dough import Rules
from monitor.collector.loop import Collector
from monitor.dough.learning import RecipeExperience
from monitor.dough.outlook import Outlook, State
from monitor.dough.track import Track
from monitor.health.trouble_log import TroubleLog
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId
from monitor.wording.reader import Reader

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
        "stage": Stage.FIRST_RISE,
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

    def __init__(self, store: Store, clock: StepClock, reader: Reader | None = None) -> None:
        self.store = store
        self.clock = clock
        self.reader = Reader(UTC) if reader is None else reader
        self.trouble_log = TroubleLog()
        self.inbox: queue.Queue[Item] = queue.Queue(1000)
        self.acknowledged: list[bytes] = []
        self.asked: list[tuple[Batch, Track, datetime]] = []
        self.answer: Callable[[Batch, Track, datetime], Outlook] = lambda batch, track, at: Outlook(at, State.RISING)
        self.learned: RecipeExperience | None = None
        self.collector = self.another()

    def another(self) -> Collector:
        """A collector as after a restart: it knows only what the store holds."""
        return Collector(
            self.store,
            self.inbox,
            self.clock,
            self._estimate,
            rules=Rules(),
            reader=self.reader,
            troubles=self.trouble_log,
        )

    def _estimate(
        self, batch: Batch, track: Track, at: datetime, *, learned: RecipeExperience | None = None
    ) -> Outlook:
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
        return {(fault.node, fault.reason): fault.count for fault in self.store.nodes.faults()}


def pass_minutes(bench: Bench, minutes: int, *, each: Callable[[int], None] = lambda minute: None) -> None:
    """Let both clocks go on, a minute a turn or two."""
    for minute in range(minutes):
        each(minute)
        bench.clock.second += 58.0
        bench.turn(2)
        bench.clock.advance(minutes=1)
