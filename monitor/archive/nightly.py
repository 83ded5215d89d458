"""A backup a day, made beside the collector, and what is wrong when none can be made."""

import logging
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

from monitor.alerts.troubles import BackupFails
from monitor.archive.backup import back_up, backups_in, made_at
from monitor.clock import Clock
from monitor.errors import StoreError, StoreFault
from monitor.health.supervisor import Symptom
from monitor.settings.upkeep import Upkeep
from monitor.worker import Worker

log = logging.getLogger(__name__)

LOOK_EVERY_S = 60.0
AFTER_S = 900.0  # judgement: a drive that is being changed is back in a quarter of an hour


class Nightly(Worker):
    """Looks every minute whether the newest backup is old enough for another, on a thread of its own."""

    ends_within_s = 60.0  # judgement: a backup

    def __init__(
        self, database: Path, folder: Path, upkeep: Upkeep, clock: Clock, every_s: float = LOOK_EVERY_S
    ) -> None:
        super().__init__("nightly")
        self._database = database
        self._folder = folder
        self._upkeep = upkeep
        self._clock = clock
        self._every_s = every_s
        self._trouble: BackupFails | None = None

    def troubles(self) -> Iterable[Symptom]:
        """Why there is no newer backup."""
        if self._trouble is not None:
            yield Symptom(self._trouble, AFTER_S)

    def _run(self) -> None:
        while not self._stopping.is_set():
            self.look()
            self._stopping.wait(self._every_s)

    def look(self) -> None:
        """Make a backup when one is due."""
        now = self._clock.now()
        try:
            newest = next(iter(backups_in(self._folder)), None)
            last_at = None if newest is None else made_at(newest)
            # a backup from a time ahead was made by a clock that was wrong
            if last_at is not None and last_at <= now < last_at + timedelta(hours=self._upkeep.backup_every_h):
                self._trouble = None
                return
            made = back_up(self._database, self._folder, now, keep=self._upkeep.backups_kept)
        except (StoreError, OSError) as error:
            if self._trouble is None:
                log.warning("backup state=failing reason=%s", error)
            if isinstance(error, StoreError):
                self._trouble = BackupFails(error.fault, str(self._folder), error.detail)
            else:
                self._trouble = BackupFails(StoreFault.OTHER, str(self._folder), error.strerror or "")
        else:
            log.info("backup=%s", made)
            self._trouble = None
