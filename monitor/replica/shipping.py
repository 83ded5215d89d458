"""Ships the store: starts Litestream, asks it whether all is there, and starts it anew when that is what helps.

Litestream alone goes on in good faith when the store's file or the place it ships to has become another one, and what
then lies there cannot be brought back (seen with 0.5.17). So the place is known by files that were seen there, or
that are kept here too, the store by its inode.
"""

import logging
import signal
import sqlite3
import subprocess
import threading
from contextlib import closing, suppress
from pathlib import Path

import msgspec

from monitor.clock import SystemClock, wall_clock
from monitor.errors import MonitorError, ReplicaError, ReplicaFault
from monitor.replica.litestream import Litestream, Replica, end
from monitor.replica.state import Older, folder_of, read_status, write_status
from monitor.settings.config import Config
from monitor.settings.replica import Shipping
from monitor.store.collector_lock import hold_shipping_lock
from monitor.store.read_only import looking_into
from monitor.store.sqlite_file import place_of, work_in_the_log

log = logging.getLogger(__name__)

FIRST_LOOK_S = 1.0
VERIFY_EVERY_S = 120.0  # judgement: a list of files costs money at some servers
SHIPPED_WHOLE_WITHIN_S = 60.0  # judgement: Litestream ships what is new at once, and the whole store a little later
MOST_BACKLOG_BYTES = 200_000_000  # judgement: what a small card can spare; beyond it the store is shipped whole
REACHED = {"sample", "outlook", "event", "batch"}
"""Tables whose row numbers only grow: an older store has lower ones."""


class Shipper:
    """Ships the store of a data directory."""

    def __init__(self, config: Config, shipping: Shipping) -> None:
        self._data_dir, self._database = config.data_dir, config.database
        self._litestream = Litestream(shipping, config.secrets, config.database, folder_of(config.data_dir))
        self._every_s = shipping.every_s
        self._clock = SystemClock()
        self._status = read_status(config.data_dir, shipping.target.url)
        self._process: subprocess.Popen[bytes] | None = None
        self._file = place_of(self._database)
        self._begun_s = self._verified_s = float("-inf")

    def run(self, stop: threading.Event) -> None:
        """Ship until told to stop; what is committed by then is shipped first, unless the place is away.

        Raises
        ------
        ConfigError
            When another process ships this store.
        """
        with hold_shipping_lock(self._data_dir) as lock:
            try:
                while not stop.is_set():
                    was_running = self._process is not None
                    self._turn(lock.fileno())
                    stop.wait(self._every_s if was_running else min(FIRST_LOOK_S, self._every_s))
            finally:
                self._end(signal.SIGTERM)  # it ships what it still has

    def _turn(self, lock: int) -> None:
        """Look at everything once, and say how it stands."""
        before = self._status.fault
        try:
            if self._is_running():
                self._ask()
            else:
                self._begin(lock)
        except (MonitorError, OSError, sqlite3.Error) as error:
            told = error if isinstance(error, ReplicaError) else ReplicaError("{why}", why=error, detail=str(error))
            if told.fault is not before:
                log.warning("replica=%s state=%s reason=%s", self._litestream.url, told.fault, told.detail)
            self._say(fault=told.fault, detail=told.detail)
            # ended while it is new, Litestream would never have the time to ship the store whole
            is_new = self._clock.real_s() - self._begun_s < SHIPPED_WHOLE_WITHIN_S
            if told.fault is ReplicaFault.TAKEN or (told.fault is ReplicaFault.EMPTY and not is_new):
                self._end()  # the next turn looks at the place while nobody changes it
            if self._process is None and self._log_bytes() > MOST_BACKLOG_BYTES:
                with suppress(sqlite3.Error):  # whoever writes leaves that to Litestream; the next turn tries it again
                    work_in_the_log(self._database)
        else:
            if before is not None and self._status.fault is None:
                log.info("replica=%s state=mended", self._litestream.url)
        write_status(self._data_dir, self._status)

    def _say(self, **changed: object) -> None:
        self._status = msgspec.structs.replace(self._status, **changed)

    def _is_running(self) -> bool:
        if self._process is None:
            return False
        if self._process.poll() is not None:
            log.warning("litestream state=ended status=%s", self._process.returncode)
            self._process = None
        elif place_of(self._database) != self._file:
            log.warning("store=%s state=replaced", self._database)
            self._end()
        return self._process is not None

    def _begin(self, lock: int) -> None:
        """Start Litestream, when there is a store, and the place is empty or known."""
        if not self._database.exists():
            return
        found, reach = self._found(), _reach_of(self._database)
        if found is None:
            self._litestream.forget()
            if self._status.marks:
                self._say_begun_anew()
        if self._status.shipped_at is not None and reach < self._status.reach:
            log.warning("store=%s state=older than what was shipped", self._database)
            self._say(older=Older(wall_clock(), self._status.shipped_at))
        self._say(reach=reach, marks=set() if found is None else found.ends)
        write_status(self._data_dir, self._status)  # before anything lies there, or it would be taken for another's
        self._file = place_of(self._database)
        self._process = self._litestream.ship((lock,))
        self._begun_s, self._verified_s = self._clock.real_s(), float("-inf")

    def _found(self) -> Replica | None:
        """What lies there; None when nothing does, or nothing is left of ours that could be brought back.

        Litestream, running while its place is emptied, ships the store whole again by itself now and then: what was
        seen there is gone, and what it keeps here of what it ships tells that it is ours. Before anything was seen of
        what was begun, all is ours.
        """
        known = self._status.marks
        try:
            found = self._litestream.found()
            there = self._litestream.marks_there() if known else set()
        except ReplicaError as error:
            if error.fault is ReplicaFault.EMPTY or (error.fault is ReplicaFault.TAKEN and known is not None):
                return None
            raise
        if known is None or (known and there.isdisjoint(known | self._litestream.local_marks())):
            raise ReplicaError("another store lies there", fault=ReplicaFault.TAKEN)
        if known and there.isdisjoint(known):
            self._say_begun_anew()
        return found

    def _say_begun_anew(self) -> None:
        log.warning("replica=%s state=begun anew: what was shipped lies there no more", self._litestream.url)
        self._say(begun_anew_at=wall_clock())

    def _ask(self) -> None:
        """Have everything shipped that is committed by now, and see now and then that it lies there."""
        asked_at, reach = wall_clock(), _reach_of(self._database)
        try:
            shipped = self._litestream.asked_to_ship()
        except ReplicaError:
            waiting_bytes = self._litestream.local_bytes() + self._log_bytes()
            if waiting_bytes > max(MOST_BACKLOG_BYTES, 2 * self._database.stat().st_size):
                log.warning("replica=%s state=too far behind: the store will be shipped whole", self._litestream.url)
                self._end()
                self._litestream.forget()
            else:
                self._verify()
            raise
        if self._clock.real_s() - self._verified_s >= VERIFY_EVERY_S:
            self._verify(shipped)
        self._say(shipped_at=asked_at, reach=reach, fault=None, detail="")

    def _verify(self, shipped: str = "") -> None:
        """See that what was shipped lies there, and that the store can be brought back from it."""
        found = self._found()
        if found is None or found.max_txid < shipped:
            raise ReplicaError("what was shipped lies there no more", fault=ReplicaFault.EMPTY)
        self._say(marks=found.ends)
        self._verified_s = self._clock.real_s()

    def _log_bytes(self) -> int:
        """Of SQLite's log, which nobody puts into the file while it waits to be shipped."""
        log_file = self._database.with_name(f"{self._database.name}-wal")
        return log_file.stat().st_size if log_file.exists() else 0

    def _end(self, number: signal.Signals = signal.SIGKILL) -> None:
        process, self._process = self._process, None
        if process is not None:
            end(process, number)


def _reach_of(database: Path) -> int:
    """The highest row numbers of some tables, together."""
    with closing(looking_into(database, 10.0)) as connection:
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        found = (connection.execute(f"SELECT max(rowid) FROM {each}").fetchone()[0] for each in tables & REACHED)
        return sum(n or 0 for n in found)
