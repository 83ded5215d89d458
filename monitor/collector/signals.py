"""What a node is told beside its acknowledgements: what to show on lamp and buzzer, and the date; and its button."""

import logging
from collections.abc import Callable
from datetime import tzinfo

from monitor.alerts.alert import Phase, Sort
from monitor.alerts.calls import CallRules
from monitor.clock import Clock
from monitor.store.store import Store
from monitor.wire.asides import time_line
from monitor.wire.readings import NodeId
from monitor.wire.reports import NodeReport

log = logging.getLogger(__name__)

NONE, NOTE, DOUGH, MONITOR, ZEROED, REFUSED = "none", "note", "dough", "monitor", "zeroed", "refused"
LOOK_S = 1.0  # judgement: nodes are answered far more seldom
ANSWER_S = 60.0  # judgement: the node hears it with its next pack, and whoever pushed still stands there


class BoardSignals:
    """What boards with a lamp or a buzzer are told; of one thread.

    Parameters
    ----------
    rules, zone
        Quiet hours and what wakes in them, by the baker's clock.
    set_to_zero
        Takes what a node's distance sensor sees now for its empty tub; False when that cannot be right.
    password_of
        A node's password, by which it knows who tells it the date; None of one that was not configured here.
    """

    def __init__(
        self,
        store: Store,
        clock: Clock,
        *,
        rules: CallRules,
        zone: tzinfo,
        set_to_zero: Callable[[NodeId], bool],
        password_of: Callable[[NodeId], str | None] = lambda node: None,
    ) -> None:
        self._store = store
        self._clock = clock
        self._rules = rules
        self._zone = zone
        self._set_to_zero = set_to_zero
        self._password_of = password_of
        self._asked: dict[NodeId, tuple[str, str]] = {}
        self._pushed: dict[NodeId, tuple[str, int, int]] = {}
        self._answers: dict[NodeId, tuple[str, float]] = {}
        self._word = NONE
        self._looked_s = float("-inf")

    def hear(self, report: NodeReport) -> None:
        """Do what a node's button has told since its last report.

        Of a node that is heard for the first time nobody knows what was pushed since when: it only counts from there.
        """
        if report.ask is not None:
            self._asked[report.node] = (report.boot, report.ask)
        if report.seen is None:
            self._pushed.pop(report.node, None)
            return
        known = self._pushed.get(report.node)
        self._pushed[report.node] = (report.boot, report.seen, report.zero)
        if known is None:
            return
        seen, zero = known[1:] if known[0] == report.boot else (0, 0)
        if report.seen > seen:
            self._acknowledge(report.node)
        if report.zero > zero:
            word = ZEROED if self._set_to_zero(report.node) else REFUSED
            log.info("node=%s button=zero answer=%s", report.node, word)
            self._answers[report.node] = (word, self._clock.real_s() + ANSWER_S)

    def _acknowledge(self, node: NodeId) -> None:
        """Whoever pushes the button knows of all that is called."""
        now = self._clock.now()
        for alert in self._store.alerts.active():
            if alert.phase is Phase.UNACKNOWLEDGED:
                self._store.alerts.acknowledge(alert.number, now, node)
        self._looked_s = float("-inf")

    def time_for(self, node: NodeId) -> bytes | None:
        """The line that tells a node the date, once for each time it asked; None when it did not."""
        boot, nonce = self._asked.pop(node, ("", ""))
        password = self._password_of(node) if nonce else None
        return None if password is None else time_line(boot, self._clock.now(), nonce, password)

    def word_for(self, node: NodeId) -> str | None:
        """What a node is to show; None for one that has neither lamp nor buzzer."""
        if node not in self._pushed:
            return None
        word, until_s = self._answers.get(node, (NONE, float("-inf")))
        return word if self._clock.real_s() < until_s else self._called()

    def _called(self) -> str:
        """What is called now and nobody has seen: of a dough, of nodes and the monitor, or what can wait."""
        if self._clock.real_s() - self._looked_s >= LOOK_S:
            self._looked_s = self._clock.real_s()
            unseen = [alert for alert in self._store.alerts.active() if alert.phase is Phase.UNACKNOWLEDGED]
            waking = [alert for alert in unseen if alert.kind in self._rules.wakes]
            quiet = self._rules.quiet
            if waking:
                self._word = DOUGH if any(alert.subject.sort is Sort.BATCH for alert in waking) else MONITOR
            elif unseen and not (quiet is not None and quiet.covers(self._clock.now(), self._zone)):
                self._word = NOTE
            else:
                self._word = NONE
        return self._word
