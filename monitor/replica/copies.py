"""Copies of other shops' stores, for looking only: brought here when somebody looks, kept up to date, thrown away.

Each copy has a process of Litestream that writes what is new into its file under SQLite's own locks. It may end or
stand still (what it needs was put together there meanwhile, or its line is down), so a thread looks after it: the copy
is begun anew when that process has ended, and when nothing arrives though something newer lies there.
"""

import contextlib
import logging
import shutil
import signal
import sqlite3
import subprocess
import threading
from pathlib import Path

from monitor.clock import SystemClock
from monitor.errors import ConfigError, MonitorError, ReplicaError, StoreError
from monitor.replica.litestream import Litestream, end
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME, copy_of, is_of_a_copy
from monitor.settings.replica import Shipping
from monitor.store import schema
from monitor.store.collector_lock import held
from monitor.store.sqlite_file import version_of
from monitor.store.store import Store

log = logging.getLogger(__name__)

FOLLOW_EVERY_S = 1.0
TURN_S = 0.2
LOOK_EVERY_S = 30.0  # judgement: a list of files; so soon a copy that stands still is found
KEPT_S = 900.0  # after the last look; judgement: a look at another screen and back
OLDER_EVERY_S = 60.0  # judgement: the whole store is brought here each time
RETRY_S = 10.0
STOP_WITHIN_S = 20.0
LOG_NAME, LOCK_NAME, OLDER_NAME, POSITION_SUFFIX = "litestream.log", "copy.lock", "older", "-txid"
_ELSEWHERE = ConfigError("another process here keeps it up to date")


class Copies:
    """The copies of a data directory, which has the settings; they lie in its folder ``sites``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.stopping = threading.Event()
        self._copies: dict[str, _Copy] = {}
        self._guard = threading.Lock()

    def look(self, site: str, *, within_s: float) -> None:
        """Somebody looks at a site: its copy is here when this returns.

        Raises
        ------
        ReplicaError
            When it is not here within ``within_s``: it is on its way, or it cannot be brought here.
        """
        with self._guard:
            copy = self._copies.get(site)
            if copy is None or not copy.is_alive():
                copy = self._copies[site] = _Copy(self, site)
                copy.start()
        copy.look(within_s)

    def stop(self) -> None:
        """End every process, and throw the copies away."""
        self.stopping.set()
        for copy in self._copies.values():
            copy.join(STOP_WITHIN_S)


class _Copy(threading.Thread):
    """One shop's copy, brought here and looked after until nobody has looked at it for a while."""

    def __init__(self, of: Copies, site: str) -> None:
        super().__init__(name=f"copy of {site}", daemon=True)
        self._of, self._site, self._path = of, site, copy_of(of.folder, site)
        self._clock = SystemClock()
        self._looked_s = self._clock.real_s()
        self._error: MonitorError | None = None
        self._settled = threading.Event()

    def look(self, within_s: float) -> None:
        """Wait until it is here; an error says why it is not."""
        self._looked_s = self._clock.real_s() + within_s  # while it is waited for, it must not be thrown away
        self._settled.wait(within_s)
        self._looked_s = self._clock.real_s()
        if self._error is not None:
            raise self._error
        if not self._path.exists():
            raise ReplicaError("{site}: its copy is on its way; look again in a moment", site=self._site)

    def run(self) -> None:
        """Keep it, and anew when it does not go on; after a fault, try again."""
        while not self._is_over:
            try:
                with held(self._path.with_name(LOCK_NAME), _ELSEWHERE):
                    self._keep()
            except (MonitorError, OSError) as error:
                if error is not _ELSEWHERE:
                    if self._error is None:
                        log.warning("copy=%s state=failing reason=%s", self._site, error)
                    self._error = error if isinstance(error, MonitorError) else StoreError("{why}", why=error)
                self._settled.set()
                self._wait(RETRY_S)

    @property
    def _is_over(self) -> bool:
        return self._of.stopping.is_set() or self._clock.real_s() - self._looked_s > KEPT_S

    def _wait(self, seconds: float, process: "subprocess.Popen[bytes] | None" = None) -> bool:
        """Wait; False as soon as it is over, or the process has ended."""
        until_s = self._clock.real_s() + seconds
        while not self._is_over and (process is None or process.poll() is None):
            if self._clock.real_s() >= until_s:
                return True
            self._of.stopping.wait(min(TURN_S, seconds))
        return False

    def _keep(self) -> None:
        """Bring it here and follow its store, as long as that goes on."""
        config, folder = load_config(self._of.folder), self._path.parent
        if self._site not in config.shops:
            raise ReplicaError("{site}: no shop of this name is set; see [shops] in config.toml", site=self._site)
        if not is_of_a_copy(folder):
            raise ReplicaError("{folder}: holds a store of its own; no copy is put there", folder=folder)
        self._remove()
        try:
            self._follow(Litestream(Shipping(config.shops[self._site]), config.secrets, self._path, folder))
        finally:
            self._settled.clear()
            self._remove()

    def _follow(self, litestream: Litestream) -> None:
        """Follow its store, until it is over, or nothing has arrived between two looks though there was something."""
        said = self._path.with_name(LOG_NAME)
        with said.open("wb") as out:
            process = litestream.follow(self._path, FOLLOW_EVERY_S, out)
        newest, before, position = "", "", self._path.with_name(self._path.name + POSITION_SUFFIX)
        try:
            while not position.exists() and self._wait(TURN_S, process):
                pass
            if position.exists():
                if 0 < version_of(self._path) < len(schema.MIGRATIONS):
                    end(process, signal.SIGKILL)
                    return self._keep_older(litestream)
                self._settle()
            while self._wait(LOOK_EVERY_S, process):
                here = position.read_text().strip()
                if here == before and here < newest:
                    log.warning("copy=%s state=stands still here=%s there=%s", self._site, here, newest)
                    return None
                before = here
                try:
                    newest = litestream.found().max_txid
                except ReplicaError as error:  # what is here can be looked at all the same
                    log.info("copy=%s state=not asked reason=%s", self._site, error)
            if not self._is_over:
                raise litestream.error_of(said.read_text(errors="replace"))
        finally:
            end(process, signal.SIGTERM)

    def _keep_older(self, litestream: Litestream) -> None:
        """Bring the store of an older version of this program here whenever it has changed, up to this one's tables."""
        newest, made = "", self._path.parent / OLDER_NAME / DATABASE_NAME
        while True:
            if (there := litestream.found().max_txid) != newest:
                shutil.rmtree(made.parent, ignore_errors=True)
                litestream.bring_back(made)
                Store(made).close()
                with contextlib.closing(sqlite3.connect(made)) as connection:
                    connection.execute("PRAGMA journal_mode = DELETE")  # no log of the one before must be taken for its
                made.replace(self._path)
                newest = there
                self._settle()
            if not self._wait(OLDER_EVERY_S):
                return

    def _settle(self) -> None:
        self._error = None
        self._settled.set()

    def _remove(self) -> None:
        for each in (*self._path.parent.glob(f"{self._path.name}*"), self._path.with_name(LOG_NAME)):
            each.unlink(missing_ok=True)
        shutil.rmtree(self._path.parent / OLDER_NAME, ignore_errors=True)
