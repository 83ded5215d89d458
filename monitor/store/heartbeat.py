"""That a collector is at work on a store, by what it writes there: whoever relies on being called asks here.

Moments are those of the clock that any process on the store has: a collector whose own clock goes on by the time it
had, after somebody has set the machine's, is at work all the same.
"""

import contextlib
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.clock import SystemClock
from monitor.errors import OverwrittenError
from monitor.store.collector_lock import is_collector_running
from monitor.store.damage import LOOKED_THROUGH_BYTES
from monitor.store.pace import clock_of, pace_of
from monitor.store.read_only import without_log
from monitor.store.store import Store

KEY = "collector_at"
EVERY_S = 10.0  # judgement: in real time; one small commit among those of the readings
LATE_S = 60.0  # judgement: in real time; as for the machine's own watchdogs
_UNCLEAR, _NO_DATABASE = "unclear", "no database"
LOOK_AGAIN_S, SETTLED_S = 0.05, 1.0  # judgement: whoever copies a file pauses for less
LONGEST_COPY_S = 20.0  # judgement: the loop must turn before somebody takes it for hung


@dataclass(frozen=True, slots=True)
class Absence:
    """No collector is at work: since when; None when that is not known, or none ever was."""

    since: datetime | None


def beat(store: Store) -> None:
    """Say that a collector works."""
    store.settings.put(KEY, _word(store))


def _word(store: Store) -> str:
    return clock_of(store).now().isoformat()


class Heartbeat:
    """What one collector says into its store, and whether that is still the store that it was said into.

    A file that is overwritten in place keeps its name and number, and SQLite does not notice. It goes on with a mixture
    of its log and the new file. What the file itself holds of all that was said, without the log, tells: the log is
    worked into it now and then, and so it holds something older each time, and nothing that was never said.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._clock = SystemClock()
        self._state = self._state_now()
        # What an earlier collector said last may stand in the log alone, and come into the file later.
        self._said = [self._in_file(), store.settings.get(KEY)]

    def beat(self) -> None:
        """Say that the collector works."""
        word = _word(self._store)
        self._said.append(word)  # before it is written: what could not be written for sure may lie there all the same
        self._store.settings.put(KEY, word)

    def require_kept(self) -> None:
        """Make sure that nobody has overwritten the file: a question to the system, and a look when it has changed.

        Raises
        ------
        OverwrittenError
            When it holds what was never said and is whole by itself, or is no database; once it is not written any
            more.
        """
        if self._said[0] is None:  # a file without any word could be overwritten by any other without one
            self._store.work_in_log()  # again each time: whoever reads may hold it up
        state = self._state_now()
        if state == self._state or (found := self._in_file()) == _UNCLEAR:
            return
        if self._said[0] == _UNCLEAR:
            self._said[0] = found
        if found not in self._said:
            self._wait_for_writer(state)
            if (found := self._in_file()) not in (*self._said, _UNCLEAR) and self._is_whole(found):
                raise OverwrittenError("{path}: was overwritten while it was at work", path=self._store.path)
            return
        self._said = self._said[self._said.index(found) :]
        self._state = state

    def _is_whole(self, found: str | None) -> bool:
        """Whether the file alone is a whole database, or none at all: never so while the log completes it.

        One that would take long to look through counts as whole when it holds another's word.
        """
        if found == _NO_DATABASE:
            return True
        if self._store.path.stat().st_size > LOOKED_THROUGH_BYTES:
            return found is not None
        with contextlib.suppress(sqlite3.Error), closing(without_log(self._store.path)) as connection:
            return bool(connection.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
        return False

    def _wait_for_writer(self, state: tuple[int, int]) -> None:
        """Wait until nobody has written the file for a moment, but not for good."""
        began_s = since_s = self._clock.real_s()
        while (now_s := self._clock.real_s()) - since_s < SETTLED_S and now_s - began_s < LONGEST_COPY_S:
            self._clock.wait(LOOK_AGAIN_S)
            if (now := self._state_now()) != state:
                state, since_s = now, self._clock.real_s()

    def _in_file(self) -> str | None:
        """What was said last, by the file alone; None when it says nothing of it.

        ``_UNCLEAR`` when only a part of the log has been worked in, as far as readers let it: then pages of several
        moments lie there. Each of them only ever grows newer, and so what can be read is as it was said.
        """
        try:
            with closing(without_log(self._store.path)) as connection:
                row = connection.execute("SELECT value FROM setting WHERE key = ?", (KEY,)).fetchone()
        except sqlite3.Error as error:
            if "no such table" in str(error):
                return None
            return _NO_DATABASE if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_NOTADB else _UNCLEAR
        return None if row is None else str(row[0])

    def _state_now(self) -> tuple[int, int]:
        """Changes whenever somebody writes the file."""
        found = self._store.path.stat()
        return found.st_ctime_ns, found.st_size


def absence(store: Store, now: datetime) -> Absence | None:
    """None while a collector has worked within the last minute, wherever it runs."""
    at = _last(store)
    if at is None:
        return Absence(None)
    pace = pace_of(store)
    late_by = timedelta(seconds=LATE_S * (1.0 if pace is None else pace.speed))
    if abs(now - at) <= late_by:
        return None
    return Absence(at if at < now else None)


def absence_here(store: Store, now: datetime) -> Absence | None:
    """The same where collector and asker share a machine: one that has just ended is missed at once."""
    if is_collector_running(store.path.parent):
        return absence(store, now)
    return Absence(_last(store))


def _last(store: Store) -> datetime | None:
    text = store.settings.get(KEY)
    return None if text is None else datetime.fromisoformat(text)
