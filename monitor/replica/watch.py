"""The collector's watch over the shipping of its store: how far behind, since when, and what is to be told.

It reads what the shipping process says of itself. How far behind is counted by the collector's own clock, from the
moment it saw that process say something new, so that no two clocks are compared.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from monitor.alerts.troubles import ReplicaBegunAnew, ReplicaLate, StoreOlder
from monitor.clock import Clock, wall_clock
from monitor.errors import ReplicaFault
from monitor.health.supervisor import Symptom
from monitor.replica.state import read_status
from monitor.settings.replica import Shipping
from monitor.store.collector_lock import is_shipping

AWAY_AFTER_S = 900.0  # judgement: a line or a machine that is being restarted is back in a quarter of an hour
AFTER_S = 60.0  # judgement: what will not mend by itself
MENDS_BY_ITSELF = (ReplicaFault.AWAY, ReplicaFault.NO_FOLDER, ReplicaFault.NOT_RUNNING)
BEFORE_START = timedelta(hours=1)  # judgement: shipping and collector are started together


class ReplicaWatch:
    """How the shipping of a data directory's store stands, for supervisor, metrics and service manager."""

    def __init__(self, data_dir: Path, shipping: Shipping, clock: Clock) -> None:
        self._data_dir, self._url = data_dir, shipping.target.url
        self._clock = clock
        self._begun_at, self._news_s = wall_clock(), clock.real_s()
        self._status = read_status(data_dir, self._url)
        if self._status.shipped_at is not None:  # before this start: by the wall clock, which is all there is of then
            self._news_s -= max(0.0, (self._begun_at - self._status.shipped_at).total_seconds())

    @property
    def behind_s(self) -> float:
        """How long ago everything lay there; since the start, when it never did. [s]"""
        before, self._status = self._status, read_status(self._data_dir, self._url)
        if self._status.shipped_at != before.shipped_at:
            self._news_s = self._clock.real_s()
        return self._clock.real_s() - self._news_s

    @property
    def late_since(self) -> datetime | None:
        """Since when not everything lies there, when that is too long; None when all is well."""
        if self.behind_s < AWAY_AFTER_S:
            return None
        return self._status.shipped_at or self._begun_at

    def troubles(self) -> Iterator[Symptom]:
        """What is wrong with it."""
        behind_s, status = self.behind_s, self._status
        fault = status.fault or ReplicaFault.AWAY if is_shipping(self._data_dir) else ReplicaFault.NOT_RUNNING
        if behind_s > (AWAY_AFTER_S if fault in MENDS_BY_ITSELF else AFTER_S):
            yield Symptom(ReplicaLate(self._url, fault, status.detail, status.shipped_at))
        since_at = self._begun_at - BEFORE_START
        if status.begun_anew_at is not None and status.begun_anew_at > since_at:
            yield Symptom(ReplicaBegunAnew(self._url))
        if status.older is not None and status.older.found_at > since_at:
            yield Symptom(StoreOlder(self._url, status.older.shipped_at, status.older.found_at))
