"""Everything that must outlive a restart, in one SQLite file: readings, batches, outlooks, alerts, the outbox.

WAL with ``synchronous=FULL``: what a method has returned from is on the disk. Readings are deleted only where a keeper
has old ones downsampled, and one that arrives twice is stored once. The collector owns one :class:`Store`, every other
process or thread that reads the same file opens its own; their writes are short immediate transactions.
"""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from monitor.alerts.dough import Alert, AlertKind, Change, Message
from monitor.dough.outlook import Outlook
from monitor.errors import StoreError
from monitor.recipe.batch import BatchId, Event, EventKind
from monitor.store import alerts, nodes, outlooks
from monitor.store.alerts import Alerts
from monitor.store.batches import Batches
from monitor.store.blocks import Blocks
from monitor.store.lessons import Lessons
from monitor.store.nodes import Arrivals, Calibrations, Nodes
from monitor.store.outbox import Outbox
from monitor.store.outlooks import Outlooks
from monitor.store.plans import Mixes, Plans
from monitor.store.readings import Readings
from monitor.store.reviews import Reviews
from monitor.store.rollups import Rollups
from monitor.store.settings import Settings, Vessels
from monitor.store.spool import Spool
from monitor.store.sqlite_file import SqliteFile
from monitor.store.transfer import Transfer


class Store(SqliteFile):
    """The opened file with its parts, each for some of its tables; what spans parts is a method here."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.readings = Readings(self)
        self.rollups = Rollups(self)
        self.blocks = Blocks(self)
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

    def confirm_fold(self, number: int, at: datetime, person: str = "") -> tuple[Alert, Event]:
        """Keep that the fold an alert calls for was done: the fold is noted, and the alert acknowledged.

        Raises
        ------
        StoreError
            When the alert calls for no fold now, or the fold was noted since it does.
        """
        alert = next((each for each in self.alerts.active() if each.number == number), None)
        batch_id = None if alert is None else alert.subject.batch_id
        if alert is None or batch_id is None or alert.kind is not AlertKind.FOLD_DUE or not alert.is_firing:
            raise StoreError("alert {number} calls for no fold now", number=number)
        fold = Event(at, EventKind.FOLD)
        noted = [each for each in self.batches.get(batch_id).events if each.kind is EventKind.FOLD]
        if any(each.at >= alert.since_at for each in noted):
            raise StoreError("the fold that alert {number} calls for is noted already", number=number)
        self.batches.add_event(batch_id, fold)  # first: a fold that is noted answers its alert by itself
        return self.alerts.acknowledge(number, at, person), fold

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
