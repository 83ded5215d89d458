"""Everything that must outlive a restart, in one SQLite file: readings, batches, outlooks, alerts, the outbox.

WAL with ``synchronous=FULL``: what a method has returned from is on the disk. Readings are never deleted, and a
reading that arrives twice is stored once. The collector owns one :class:`Store`, every other process or thread that
reads the same file opens its own; their writes are short immediate transactions.
"""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from monitor.alerts.dough import Alert, Change, Message
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import BatchId
from monitor.store import alerts, nodes, outlooks
from monitor.store.alerts import Alerts
from monitor.store.batches import Batches
from monitor.store.copies import Copy
from monitor.store.lessons import Lessons
from monitor.store.nodes import Arrivals, Calibrations, Nodes
from monitor.store.outbox import Outbox
from monitor.store.outlooks import Outlooks
from monitor.store.plans import Mixes, Plans
from monitor.store.readings import Readings
from monitor.store.reviews import Reviews
from monitor.store.settings import Settings, Vessels
from monitor.store.spool import Spool
from monitor.store.sqlite_file import SqliteFile
from monitor.store.transfer import Transfer


class Store(SqliteFile):
    """The opened file with its parts, each for some of its tables; what spans parts is a method here."""

    def __init__(self, path: Path, *, as_copy: bool = False) -> None:
        super().__init__(path, as_copy=as_copy)
        self.readings = Readings(self)
        self.nodes = Nodes(self)
        self.calibrations = Calibrations(self)
        self.batches = Batches(self)
        self.lessons = Lessons(self)
        self.outlooks = Outlooks(self)
        self.alerts = Alerts(self)
        self.outbox = Outbox(self)
        self.plans = Plans(self)
        self.mixes = Mixes(self)
        self.reviews = Reviews(self)
        self.settings = Settings(self)
        self.vessels = Vessels(self)
        self.spool = Spool(self)
        self.transfer = Transfer(self)
        if as_copy:
            self.copy = Copy(self)

    def reopen(self) -> None:
        """Open the file anew, as after an error of the disk: what is known of it may be stale."""
        super().reopen()
        self.readings = Readings(self)

    def keep(self, arrived: Arrivals, at: datetime) -> int:
        """Keep what one turn brought, in one transaction; returns how many of its readings were new."""
        with self.writing() as connection:
            n_new = self.readings.put(connection, arrived.readings)
            nodes.put(connection, arrived, at)
        return n_new

    def save_step(
        self,
        batch_id: BatchId,
        outlook: Outlook,
        changed: Iterable[Alert],
        messages: Iterable[Message],
        changes: Iterable[Change] = (),
    ) -> None:
        """Keep what one step made of a batch, in one transaction: the outlook, its alerts, their history, the messages.

        A message whose ``id`` is there already is left as it is.

        Raises
        ------
        ValueError
            When the outlook holds NaN or infinity.
        """
        with self.writing() as connection:
            outlooks.put(connection, batch_id, outlook)
            alerts.put(connection, changed, messages, changes, outlook.at)
