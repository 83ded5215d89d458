"""The store shipped by a real Litestream while that is killed, its place away, emptied or replaced, the store too.

A writer stores packs all the while, as a collector does, and opens its store anew now and then, which puts the log of
SQLite into the file behind Litestream's back. After each trouble what is brought back must be what was stored.
"""

import hashlib
import random
import shutil
import signal
import sqlite3
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest
from faults.table import Line
from harness import wait_until
from made_up import FIRST_DAY, NODE

from monitor.clock import SystemClock, wall_clock
from monitor.errors import ReplicaError, ReplicaFault
from monitor.health.supervisor import Notice, Supervisor
from monitor.replica import shipping, watch
from monitor.replica.litestream import Litestream
from monitor.replica.shipping import Shipper
from monitor.replica.state import read_status
from monitor.replica.watch import ReplicaWatch
from monitor.settings.config import Config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.replica import Shipping, Target
from monitor.store.store import Store
from monitor.wire.readings import Channel, Reading

LOOK_S, VERIFY_S = 0.1, 0.5
WHOLE_WITHIN_S = 10.0
LATE_S = 15.0  # longer than what it takes here to ship the store whole
MOST_BACKLOG_BYTES = 1_000_000  # so that a simulated week is more
LONGEST_LIFE_S = 1.5
CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)


@dataclass
class Writer:
    """Stores packs; what it stored and was told so is counted."""

    database: Path
    stored: int = 0
    _stop: threading.Event = field(default_factory=threading.Event)

    def write(self, packs: int) -> None:
        """Store so many packs, on a connection of its own."""
        with Store(self.database) as store:
            for _ in range(packs):
                at = FIRST_DAY + timedelta(seconds=10 * (self.stored + 1))
                store.readings.add(
                    [
                        Reading(NODE, "boot", self.stored + 1, channel, 20.0 + self.stored % 7, at, at)
                        for channel in CHANNELS
                    ]
                )
                self.stored += 1

    @contextmanager
    def at_work(self) -> Iterator[None]:
        """Stores all the while."""
        self._stop.clear()
        thread = threading.Thread(target=self._work)
        thread.start()
        try:
            yield
        finally:
            self._stop.set()
            thread.join()

    def _work(self) -> None:
        while not self._stop.is_set():
            self.write(7)
            self._stop.wait(0.02)


class Bakery:
    """A store, the place it is shipped to, the shipping, and the collector's watch over it."""

    def __init__(self, folder: Path, clock: SystemClock) -> None:
        self.folder, self.there = folder, folder / "there"
        self.shipping = Shipping(Target(self.there.as_uri()), every_s=LOOK_S)
        self.config = Config(folder / "shop", shipping=self.shipping)
        self.config.data_dir.mkdir()
        self.there.mkdir()
        self.writer = Writer(self.config.database)
        self.writer.write(100)
        self.told: Counter[str] = Counter()
        self._clock = clock

    def _tell(self, notice: Notice) -> bool:
        self.told[f"{type(notice.trouble).__name__} {'over' if notice.is_over else 'told'}"] += 1
        return True

    @contextmanager
    def shipped(self) -> Iterator[Shipper]:
        """The shipping is at work until the end of the block."""
        stop = threading.Event()
        shipper = Shipper(self.config, self.shipping)
        thread = threading.Thread(target=shipper.run, args=(stop,))
        thread.start()
        try:
            yield shipper
        finally:
            stop.set()
            thread.join()

    @contextmanager
    def watched(self) -> Iterator[None]:
        """The collector's watch is at work: what lasts is told."""
        watch = ReplicaWatch(self.config.data_dir, self.shipping, self._clock)
        supervisor = Supervisor([watch.troubles], self._tell, self._clock)
        supervisor.start()
        try:
            yield
        finally:
            supervisor.stop()

    @property
    def fault(self) -> ReplicaFault | None:
        """Why nothing is shipped, as the shipping says."""
        return read_status(self.config.data_dir, self.shipping.target.url).fault

    @property
    def is_late(self) -> bool:
        """Whether it was told that the shipping is late, and not yet that it is mended."""
        return self.told["ReplicaLate told"] > self.told["ReplicaLate over"]

    @property
    def log_bytes(self) -> int:
        """Of SQLite's log beside the store."""
        log_file = self.config.database.with_name(f"{DATABASE_NAME}-wal")
        return log_file.stat().st_size if log_file.exists() else 0

    def wait_until_shipped(self) -> None:
        """Until the shipping says that all that is stored now lies there."""
        now = wall_clock()

        def is_there() -> bool:
            shipped_at = read_status(self.config.data_dir, self.shipping.target.url).shipped_at
            return shipped_at is not None and shipped_at >= now

        wait_until(is_there, "everything is shipped")

    def difference(self) -> str:
        """What is wrong with what can be brought back, once everything is shipped; empty when it is the store."""
        wanted = digest(self.config.database)
        with tempfile.TemporaryDirectory(dir=self.folder) as folder:
            found = "nothing"
            back = Litestream(self.shipping, self.config.secrets, self.config.database, Path(folder))

            def is_equal() -> bool:
                nonlocal found
                into = Path(folder) / DATABASE_NAME
                for part in Path(folder).glob(f"{DATABASE_NAME}*"):
                    part.unlink()
                try:
                    back.bring_back(into)
                    found = digest(into)
                except (ReplicaError, sqlite3.Error) as error:
                    found = str(error)
                return found == wanted

            try:
                wait_until(is_equal, "what is brought back is the store", 60.0)
            except pytest.fail.Exception:
                return f"{found} instead of {wanted}"
        return ""


def digest(database: Path) -> str:
    """Number of readings, whether the file is whole, and a sum over every row of every table but Litestream's."""
    total = hashlib.sha256()
    with closing(sqlite3.connect(database)) as connection:
        said = connection.execute("PRAGMA integrity_check").fetchone()[0]
        query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '%litestream%' ORDER BY name"
        names = connection.execute(query).fetchall()
        for (name,) in names:
            for row in connection.execute(f"SELECT * FROM {name} ORDER BY rowid"):
                total.update(repr(row).encode())
        n = connection.execute("SELECT count(*) FROM sample").fetchone()[0]
    return f"{n} readings, {said}, {total.hexdigest()[:12]}"


def run(kills: int, week_packs: int, seed: int = 1) -> Line:
    """Kill Litestream so many times, then all the other troubles, one after the other."""
    rng, clock, wrong = random.Random(seed), SystemClock(), []
    with tempfile.TemporaryDirectory() as name, pytest.MonkeyPatch.context() as patched:
        patched.setattr(shipping, "VERIFY_EVERY_S", VERIFY_S)
        patched.setattr(shipping, "SHIPPED_WHOLE_WITHIN_S", WHOLE_WITHIN_S)
        patched.setattr(shipping, "MOST_BACKLOG_BYTES", MOST_BACKLOG_BYTES)
        patched.setattr(watch, "AWAY_AFTER_S", LATE_S)
        patched.setattr(watch, "AFTER_S", LATE_S)
        bakery = Bakery(Path(name), clock)

        def look(after: str) -> None:
            if difference := bakery.difference():
                wrong.append(f"after {after}: {difference}")

        with bakery.watched():
            with bakery.shipped() as shipper:
                with bakery.writer.at_work():
                    for _ in range(kills):
                        clock.wait(rng.uniform(0.0, LONGEST_LIFE_S))
                        if (process := shipper._process) is not None:
                            process.send_signal(signal.SIGKILL)
                look(f"{kills} kills")
                wait_until(lambda: not bakery.is_late, "a busy machine has caught up")
                before = bakery.told["ReplicaLate told"]
                _take_away(bakery)
                with Store(bakery.config.database):  # as a collector has it: whoever closes it last empties the log
                    bakery.writer.write(week_packs)
                    wait_until(lambda: bakery.is_late, "that it is late is told")
                    wait_until(lambda: bakery.log_bytes < 2 * MOST_BACKLOG_BYTES, "the log does not grow for ever")
                _bring(bakery)
                look("a week away")
                wait_until(lambda: not bakery.is_late, "that it is mended is told")
                if (n := bakery.told["ReplicaLate told"] - before) != 1:
                    wrong.append(f"a week away is told {n} times")
                _empty(bakery)
                bakery.writer.write(50)
                look("the place emptied in the middle of it")
                for part in bakery.config.data_dir.glob(f"{DATABASE_NAME}*"):
                    part.rename(bakery.config.data_dir / f"aside{part.name.removeprefix(DATABASE_NAME)}")
                bakery.writer.stored = 0
                bakery.writer.write(60)
                look("the store replaced in the middle of it")
            older = bakery.folder / "older"
            with closing(sqlite3.connect(bakery.config.database)) as source, closing(sqlite3.connect(older)) as copy:
                source.backup(copy)
            with bakery.shipped():
                bakery.writer.write(500)
                look("a start")
                bakery.wait_until_shipped()
            for part in bakery.config.data_dir.glob(f"{DATABASE_NAME}-*"):
                part.unlink()
            shutil.move(older, bakery.config.database)
            bakery.writer.stored = 60
            with bakery.shipped():
                bakery.writer.write(5)
                look("the store replaced by an older one")
                wait_until(lambda: bakery.told["StoreOlder told"] == 1, "that it is older is told")
            _empty(bakery)
            other = Bakery(_folder(bakery.folder / "other"), clock)
            other.there = bakery.there
            other.shipping = bakery.shipping
            other.config = Config(other.config.data_dir, shipping=other.shipping)
            with other.shipped():
                if difference := other.difference():
                    wrong.append(f"another's: {difference}")
            before = digest_of_files(bakery.there)
            with bakery.shipped():
                wait_until(lambda: bakery.fault is ReplicaFault.TAKEN, "another's is seen there")
                wait_until(lambda: bakery.is_late, "that nothing is shipped is told")
            if digest_of_files(bakery.there) != before:
                wrong.append("another's place was written to")
        told = bakery.told
        if told["ReplicaBegunAnew told"] != 1 or told["StoreOlder told"] != 1 or told["StoreOlder over"]:
            wrong.append(f"told: {dict(told)}")
    return Line(
        "Litestream killed at random moments; its place away for a week's packs, emptied, another's; the store "
        "replaced, by a new and by an older one",
        f"{kills}; once each",
        "what is brought back equals the store after each; each trouble told once" if not wrong else "not all of it",
        tuple(wrong),
    )


def _folder(path: Path) -> Path:
    path.mkdir()
    return path


def digest_of_files(folder: Path) -> str:
    """Names and sizes of all files of a folder."""
    return repr(sorted((str(path), path.stat().st_size) for path in folder.rglob("*") if path.is_file()))


def _take_away(bakery: Bakery) -> None:
    """A file stands where the folder was: nobody can make one there."""
    bakery.there.rename(bakery.folder / "taken away")
    bakery.there.touch()


def _bring(bakery: Bakery) -> None:
    bakery.there.unlink()
    (bakery.folder / "taken away").rename(bakery.there)


def _empty(bakery: Bakery) -> None:
    """Nothing lies there from one moment to the next: taken away bit by bit, it would be added to meanwhile."""
    gone = bakery.there.rename(bakery.folder / "gone")
    bakery.there.mkdir()
    shutil.rmtree(gone)
