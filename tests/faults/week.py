"""Seven simulated days of twenty nodes and their batches, with one fault by chance a minute; beside them, none.

The collector's loop, the thread that calls and a real database; only the clock, the lines, the phone and the estimate
are made up: the estimate goes by the time alone, so that the messages of the troubled week must be those of the quiet
one, each once, and the phone must have rung for the same ones. No node is cut off for so long that its silence would
rightly be called out. Nobody answers, so what wakes rings again and again; a kill between a ring and its record lets it
ring once more. In the long form the board is open in a browser all the while.
"""

import os
import queue
import random
import sqlite3
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from faults.beside import OpenScreens
from faults.table import Line
from harness import START, SetClock
from made_up import batch_of
from programs import framed

from monitor.alerts.dough import Message, Rules
from monitor.collector.loop import Collector
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.errors import NotifyError, StoreError
from monitor.notify.outbox import Notifier, Recipient
from monitor.recipe.batch import Batch, BatchId, Event, EventKind
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId
from monitor.wording.reader import Reader

MINUTE = timedelta(minutes=1)
RISES_MIN, BATCH_MIN, EVERY_MIN = 120, 180, 720
LONGEST_CUT_MIN = 5
LONGEST_SILENCE_MIN = 7
RESENT_AT_ONCE = 40
SHOWN = 10
DEAD_EVERY = 20
LAST = "Last tub"


class _Killed(BaseException):
    """The process is gone in the middle of a write."""


class TroubledStore(Store):
    """Fails when it is told to: before a commit, after it, or with an error."""

    kill_at: str = ""
    errors: int = 0

    @contextmanager
    def writing(self, *, is_of_batches: bool = False) -> Iterator[sqlite3.Connection]:
        if self.errors:
            self.errors -= 1
            raise StoreError(f"{self.path}: cannot be written: disk is full; make room")
        with super().writing(is_of_batches=is_of_batches) as connection:
            yield connection
            if self.kill_at == "before":
                raise _Killed
        if self.kill_at == "after":
            raise _Killed


class NotedClock(SetClock):
    """Real seconds are those of the week, so that an answer is waited for as long as a baker would be."""

    def real_s(self) -> float:
        return (self.now() - START) / timedelta(seconds=1)


@dataclass
class Phone:
    """Notes each ring; has no network in one call of ``DEAD_EVERY``, and for good in none."""

    rng: random.Random
    has_faults: bool
    name: str = "phone"
    rings: Counter[str] = field(default_factory=Counter)

    def send(self, message: Message) -> None:
        if self.has_faults and self.rng.randrange(DEAD_EVERY) == 0:
            raise NotifyError("no network", retry=True)
        self.rings[message.id] += 1


@dataclass
class Node:
    """Keeps what is not acknowledged."""

    urn: NodeId
    boot: str
    seq: int = 0
    waiting: dict[int, datetime] = field(default_factory=dict)
    heard_in: int = 0  # the minute in which the collector took something of it
    cut_until: int = 0
    deaf_until: int = 0  # hears no acknowledgement
    well_until: int = 0  # left alone for a while after a fault

    def frame(self, seq: int, now: datetime) -> bytes:
        age_s = (now - self.waiting[seq]).total_seconds()
        body = f'[{{"bn":"{self.urn}_","bt":{-age_s:g},"n":"air","u":"Cel","v":{20 + seq % 10}}},'
        return framed(body + f'{{"n":"distance","u":"m","v":{(200 + seq % 50) / 1000}}}]', seq, self.boot)


def estimate(batch: Batch, track: object, at: datetime, *, learned: object = None) -> Outlook:
    """A dough that reaches its target after two hours and keeps to it, told by the clock."""
    ready_at = batch.started_at + RISES_MIN * MINUTE
    part = (at - batch.started_at) / (RISES_MIN * MINUTE)
    doubt = 2 * MINUTE
    moments = Moments(ready_at - doubt, ready_at - doubt / 2, ready_at, ready_at + doubt / 2, ready_at + doubt)
    rise = 100.0 * part
    state = State.READY if part >= 1.0 else State.RISING
    return Outlook(at, state, rise_pct=Band(rise - 3, rise, rise + 3), ready=moments, last_reading_at=at)


class Week:
    """A bakery for some days, with or without faults."""

    def __init__(self, folder: Path, days: float, nodes: int, seed: int | None) -> None:
        self.minutes = int(days * 1440)
        self.rng = random.Random(seed)
        self.has_faults = seed is not None
        self.clock = NotedClock(START)
        self.phone = Phone(random.Random(seed), self.has_faults)
        self.path = folder / "proofing.sqlite"
        self.nodes = [Node(NodeId(f"urn:dev:mac:0200000000{n:02x}"), f"{n:08x}") for n in range(nodes)]
        self.acknowledged: set[tuple[str, str, int]] = set()
        self.running: dict[BatchId, datetime] = {}
        self.faults = self.kills = self.errors = 0
        self.is_spoiling = self.is_copying = False
        self.memory_mb: list[float] = []
        self._begin()

    def _begin(self) -> None:
        self.inbox: queue.Queue[Item] = queue.Queue()
        self.store = TroubledStore(self.path)
        self.collector = Collector(self.store, self.inbox, self.clock, estimate, rules=Rules(), reader=Reader(UTC))
        self.outbox = TroubledStore(self.path)  # the thread that calls has a connection of its own
        self.notifier = Notifier(self.path, [Recipient("baker", (self.phone,))], self.clock, zone=UTC)

    def live(self) -> None:
        """All of it."""
        for minute in range(self.minutes):
            self.clock.advance(minutes=1)
            self._bakers(minute)
            if self.has_faults:
                self._fault(minute)
            self._send(minute)
            self._turn_until_done()
            self._call()
            if minute % 360 == 0:
                self.memory_mb.append(_memory_mb())
        for node in self.nodes:
            node.cut_until = node.deaf_until = 0
        for _ in range(20):  # what waits comes through
            self.clock.advance(minutes=1)
            self._send(self.minutes)
            self._turn_until_done()
            self._call()

    def _bakers(self, minute: int) -> None:
        now = self.clock.now()
        with Store(self.path) as other:
            for batch_id, started_at in list(self.running.items()):
                if now - started_at >= BATCH_MIN * MINUTE:
                    other.batches.add_event(batch_id, Event(now, EventKind.END))
                    del self.running[batch_id]
            for n, node in enumerate(self.nodes):
                if minute % EVERY_MIN == 30 * n % EVERY_MIN and minute + BATCH_MIN < self.minutes:
                    channels = tuple((channel, node.urn) for channel in (Channel.AIR_TEMP, Channel.DISTANCE))
                    kept = other.batches.add(replace(batch_of(f"tub {n}"), started_at=now, nodes=channels))
                    self.running[kept.id] = now

    def _fault(self, minute: int) -> None:
        self.faults += 1
        rng = self.rng
        node = rng.choice([node for node in self.nodes if node.well_until <= minute])
        lasts = rng.randint(1, LONGEST_CUT_MIN)
        kind = rng.randrange(8)
        self.is_spoiling = self.is_copying = False
        if kind == 0:
            rng.choice((self.store, self.outbox)).kill_at = rng.choice(("before", "after"))
        elif kind == 1:
            self.store.errors = rng.randint(1, 5)
        elif kind == 2:
            self._cut(node, minute + lasts)
        elif kind == 3:
            node.deaf_until = minute + lasts
        elif kind == 4:
            self.is_spoiling = True
        elif kind == 5:
            self.is_copying = True
        elif kind == 6:  # its supply: what was not acknowledged is gone with its memory
            node.boot, node.seq = f"{rng.randrange(2**32):08x}", 0
            node.waiting.clear()
        else:  # the whole broker
            lasts = min(lasts, 3)
            for each in self.nodes:
                self._cut(each, minute + lasts)
        node.well_until = minute + lasts + 3

    @staticmethod
    def _cut(node: Node, until: int) -> None:
        """Cut a node off, but not for so long on end that its silence would be called out."""
        node.cut_until = max(node.cut_until, min(until, node.heard_in + LONGEST_SILENCE_MIN))

    def _send(self, minute: int) -> None:
        now, rng = self.clock.now(), self.rng
        frames: list[tuple[Node, int, bytes]] = []
        for node in self.nodes:
            node.seq += 1
            node.waiting[node.seq] = now
            if node.cut_until <= minute:
                frames += [(node, seq, node.frame(seq, now)) for seq in list(node.waiting)[:RESENT_AT_ONCE]]
        if self.is_copying:
            frames = [frame for frame in frames for _ in range(rng.randint(1, 5))]
            rng.shuffle(frames)
        for node, seq, data in frames:
            spoilt = bytearray(data)
            if self.is_spoiling and rng.random() < 0.5:
                spoilt[rng.randrange(len(spoilt))] ^= 1 << rng.randrange(7)
            is_heard = node.deaf_until <= minute
            answer = self._answer(node, minute, node.boot, seq, is_heard=is_heard)
            self.inbox.put(Frame(bytes(spoilt), now, "line", None, answer))

    def _answer(self, node: Node, minute: int, boot: str, seq: int, *, is_heard: bool) -> Callable[[bytes], None]:
        def acknowledge(line: bytes) -> None:
            node.heard_in = minute
            self.acknowledged.add((node.urn, boot, seq))
            if is_heard and node.boot == boot:
                node.waiting.pop(seq, None)

        return acknowledge

    def _turn_until_done(self) -> None:
        """Turns as the loop makes them, over errors and kills."""
        for _ in range(10_000):
            try:
                self.collector.turn(0.0)
                if self.inbox.empty() and not self.collector._running.is_any_due():
                    return
            except StoreError:
                self.errors += 1
                self.store.reopen()
            except _Killed:
                self._die()
        raise AssertionError("the loop comes to no end")

    def _call(self) -> None:
        """Call whoever is to be called, as the thread that does so, over errors and kills."""
        try:
            self.notifier.drain(self.outbox)
        except StoreError:
            self.errors += 1
        except _Killed:
            self._die()

    def _die(self) -> None:
        self.kills += 1
        self.close()
        self._begin()

    def close(self) -> None:
        """Let go of the database."""
        self.notifier._end_sending()
        self.outbox.close()
        self.store.close()

    def calls(self) -> Counter[str]:
        """Every message that was to be told, by its id; those about no batch as well."""
        return Counter(message.id for message in self.store.outbox.messages())

    def wrong(self) -> list[str]:
        """What is wrong with the store at the end."""
        connection = sqlite3.connect(self.path)
        rows = connection.execute("SELECT node, boot, seq, channel FROM reading").fetchall()
        said = connection.execute("PRAGMA integrity_check").fetchone()[0]
        connection.close()
        found = [] if said == "ok" else [f"integrity: {said}"]
        if lost := self.acknowledged - {row[:3] for row in rows}:
            found.append(f"{len(lost)} acknowledged and lost")
        if len(rows) != len(set(rows)):
            found.append(f"{len(rows) - len(set(rows))} doubled")
        return found


def _memory_mb() -> float:
    """What this process holds now. [MB]"""
    pages = int(Path("/proc/self/statm").read_text().split()[1]) if Path("/proc/self/statm").exists() else 0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def differences(wanted: Counter[str], called: Counter[str]) -> list[str]:
    """In what the calls of a troubled week are not those of the quiet one, each once."""
    found = [] if wanted else ["nothing was ever called"]
    for what, ids in (("missed", wanted - called), ("too many", called - wanted)):
        if ids:
            found.append(f"calls: {ids.total()} {what}, such as {', '.join(sorted(ids)[:SHOWN])}")
    return found


def run(days: float, nodes: int = 20, seed: int = 1, *, has_screens: bool = False) -> Line:
    """A quiet time and a troubled one, compared."""
    root = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    weeks = []
    for chance in (None, seed):
        with tempfile.TemporaryDirectory(dir=root) as name:
            week = Week(Path(name), days, nodes, chance)
            with OpenScreens(Path(name)) if has_screens and chance else nullcontext() as screens:
                week.live()
                wrong = week.wrong()
                if screens is not None:
                    week.store.batches.add(replace(batch_of(LAST), started_at=week.clock.now()))
                    wrong += screens.wrong(LAST)
            weeks.append((week, week.calls(), wrong))
            week.close()
    (quiet, wanted, _), (week, called, wrong) = weeks
    wrong += differences(wanted, called)
    if quiet.phone.rings.keys() != week.phone.rings.keys():
        wrong.append(f"rings: {sorted(quiet.phone.rings.keys() ^ week.phone.rings.keys())[:SHOWN]} in one week alone")
    settled, last = week.memory_mb[len(week.memory_mb) // 4 :], week.memory_mb[-1]
    if last > settled[0] * 1.2:
        wrong.append("memory grows")
    return Line(
        f"simulated days of many nodes, one fault by chance a minute{', the board open' if has_screens else ''}",
        f"{days:g} days, {nodes} nodes, seed {seed}: {week.faults} faults, {week.kills} kills among them",
        f"{len(week.acknowledged)} packs acknowledged, 0 lost; {wanted.total()} calls, 0 missed, 0 doubled; the phone "
        f"rang {week.phone.rings.total()} times ({quiet.phone.rings.total()} in the week without faults) for the same "
        f"{len(week.phone.rings)}; memory {settled[0]:.0f} MB after a quarter of the time, {last:.0f} MB at the end",
        tuple(wrong),
    )
