"""A backup a day, made beside the collector, and what is wrong when none can be made."""

import logging
import threading
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

from monitor.archive.backup import back_up, backups_in, made_at
from monitor.clock import Clock
from monitor.errors import StoreError, saying_of
from monitor.health.trouble import Trouble
from monitor.settings.upkeep import Upkeep
from monitor.translatable import Half, Saying

log = logging.getLogger(__name__)

LOOK_EVERY_S = 60.0
AFTER_S = 900.0  # judgement: a drive that is being changed is back in a quarter of an hour


class Nightly:
    """Looks every minute whether the newest backup is old enough for another, on a thread of its own."""

    def __init__(
        self, database: Path, folder: Path, upkeep: Upkeep, clock: Clock, every_s: float = LOOK_EVERY_S
    ) -> None:
        self._database = database
        self._folder = folder
        self._upkeep = upkeep
        self._clock = clock
        self._every_s = every_s
        self._trouble = ""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="nightly", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self) -> None:
        """End after the backup at hand."""
        self._stop.set()
        self._thread.join(60.0)

    def troubles(self) -> Iterable[Trouble]:
        """Why there is no newer backup."""
        if self._trouble:
            what, mend = Half(self._trouble, 0), Half(self._trouble, 1)
            yield Trouble("backup", Saying("no backup can be made ({what})", what=what), mend, AFTER_S)

    def _run(self) -> None:
        while not self._stop.is_set():
            self.look()
            self._stop.wait(self._every_s)

    def look(self) -> None:
        """Make a backup when one is due."""
        now = self._clock.now()
        try:
            newest = next(iter(backups_in(self._folder)), None)
            last_at = None if newest is None else made_at(newest)
            # a backup from a time ahead was made by a clock that was wrong
            if last_at is not None and last_at <= now < last_at + timedelta(hours=self._upkeep.backup_every_h):
                self._trouble = ""
                return
            made = back_up(self._database, self._folder, now, keep=self._upkeep.backups_kept)
        except (StoreError, OSError) as error:
            if not self._trouble:
                log.warning("backup state=failing reason=%s", error)
            self._trouble = saying_of(error)
        else:
            log.info("backup=%s", made)
            self._trouble = ""
