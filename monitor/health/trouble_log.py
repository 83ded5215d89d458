"""What the supervisor sees, on its way into the history of alerts; and what people said of it, on its way back.

The supervisor has a thread of its own and tells people past the store, which may be what is wrong. The collector's
loop, which alone writes alerts, takes its entries over whenever the store can take them: late perhaps, but with the
moments they were of. Nothing here calls anybody.
"""

from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass
from datetime import datetime
from queue import SimpleQueue

from monitor.alerts.conditions import Condition
from monitor.alerts.dough import Alert, AlertKind, AlertUpdate, Change, Sort, Subject
from monitor.alerts.lifecycle import Episodes
from monitor.alerts.reasons import MonitorRestarted, TroubleOver, TroubleSeen
from monitor.alerts.troubles import Trouble, key_of


@dataclass(frozen=True, slots=True)
class _Entry:
    """A trouble has lasted long enough to be one, or is over."""

    trouble: Trouble
    at: datetime
    is_over: bool


class TroubleLog:
    """Written by the supervisor's thread; taken over and kept by the loop's.

    Attributes
    ----------
    known
        Keys of the troubles of which somebody said that they know, or that they want to hear nothing now: these are
        not told again.
    """

    def __init__(self) -> None:
        self._new: SimpleQueue[_Entry] = SimpleQueue()
        self._held: list[_Entry] = []
        self._is_first = True
        self.known: Set[str] = frozenset()

    def note(self, trouble: Trouble, at: datetime, *, is_over: bool) -> None:
        """A trouble that has lasted, or its end; by the supervisor."""
        self._new.put(_Entry(trouble, at, is_over))

    def take(self, alerts: Iterable[Alert], now: datetime) -> tuple[list[Alert], list[Change]]:
        """The alerts about the monitor as they are to be kept now, and their lines of history; by the loop.

        The same comes again until :meth:`kept` says that it was kept.

        Parameters
        ----------
        alerts
            The newest of each subject and kind that the store holds; what is about something else is passed over.
        """
        newest = {alert.subject: alert for alert in alerts if alert.subject.sort is Sort.MONITOR}
        self.known = frozenset(alert.subject.name for alert in newest.values() if _is_known(alert, now))
        while not self._new.empty():
            self._held.append(self._new.get_nowait())
        changed: list[Alert] = []
        changes: list[Change] = []
        for step in self._steps(newest, now):
            for alert in step.alerts:
                if alert != newest.get(alert.subject):
                    newest[alert.subject] = alert
                    changed.append(alert)
            changes += step.changes
        return changed, changes

    def _steps(self, newest: dict[Subject, Alert], now: datetime) -> Iterator[AlertUpdate]:
        if self._is_first:
            for subject, alert in list(newest.items()):
                if alert.is_firing:
                    episodes = _episodes(subject, newest, now)
                    episodes.close(MonitorRestarted())
                    yield episodes.settled({})
        for entry in self._held:
            episodes = _episodes(Subject(Sort.MONITOR, key_of(entry.trouble)), newest, entry.at)
            reason = TroubleOver(entry.trouble) if entry.is_over else TroubleSeen(entry.trouble)
            episodes.advance(AlertKind.TROUBLE, Condition(not entry.is_over, entry.is_over, reason))
            yield episodes.settled({})

    def kept(self) -> None:
        """What was taken last is in the store."""
        self._held.clear()
        self._is_first = False


def _episodes(subject: Subject, newest: dict[Subject, Alert], at: datetime) -> Episodes:
    return Episodes.of(subject, [newest[subject]] if subject in newest else [], at, keep_min=0.0, is_interrupted=False)


def _is_known(alert: Alert, now: datetime) -> bool:
    is_shelved = alert.shelved_until is not None and alert.shelved_until > now
    return alert.is_firing and (is_shelved or alert.acknowledged_at is not None)
