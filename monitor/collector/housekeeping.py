"""The round that is made beside the batches' steps: silent nodes and lines, and alerts whose batch is over."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from monitor.alerts import dough as alerting
from monitor.alerts import silence
from monitor.alerts.dough import Alert, Facts, Message, Rules
from monitor.clock import Clock
from monitor.collector.batch_step import log_calls
from monitor.collector.running_batches import RunningBatch, RunningBatches
from monitor.health.last_heard import LastHeard
from monitor.health.trouble_log import TroubleLog
from monitor.recipe.batch import BatchId
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId
from monitor.wording.reader import Reader
from monitor.wording.silence import UnseenDough, notice_of

LOOK_S = 1.0  # judgement: how often silence is looked for
LOOK_LOAD = 0.05  # judgement: of the time, at most what looking for it may take


class Housekeeping:
    """Looks round, as often as it may."""

    def __init__(
        self,
        store: Store,
        clock: Clock,
        *,
        rules: Rules,
        reader: Reader,
        last_heard: LastHeard,
        troubles: TroubleLog,
        unread: Callable[[NodeId], frozenset[Channel]],
    ) -> None:
        self._store = store
        self._clock = clock
        self._rules = rules
        self._reader = reader
        self._last_heard = last_heard
        self._troubles = troubles
        self._unread = unread
        self._look_s = 0.0

    def close_ended(self) -> None:
        """Close what still stands of batches that ended while nobody was here to see it, or were taken back."""
        now = self._clock.now()
        for batch_id in self._store.alerts.open_of_ended():
            batch = self._store.batches.get(batch_id)
            facts = Facts(replace(batch, ended_at=batch.ended_at or now), None, now)
            step = alerting.step(self._rules, tuple(self._store.alerts.all(batch_id)), facts)
            self._store.alerts.save(step.alerts, (), step.changes, now)

    def look(self, running: RunningBatches) -> None:
        """Look for silent nodes and lines, and keep what comes of it and of the trouble log in one transaction."""
        began_s = self._clock.real_s()
        if not self._last_heard.is_time_to_look(max(LOOK_S, self._look_s / LOOK_LOAD)):
            return
        now = self._clock.now()
        begun = running.begun(now)
        seen = self._last_heard.surroundings(
            [work.batch for work in begun.values()],
            {batch_id for batch_id, work in begun.items() if work.is_wanted},
            self._unread,
        )
        before = self._store.alerts.of_surroundings()
        known = set(before)
        alerts, changes = self._troubles.take(before, now)
        messages: list[Message] = []
        for step in silence.look(self._rules, tuple(before), seen):
            alerts += [alert for alert in step.alerts if alert not in known]
            messages += [self._noticed(alert, seen, begun) for alert in step.calls]
            changes += step.changes
            log_calls(step.calls)
        if alerts:
            self._store.alerts.save(alerts, messages, changes, now)
        self._troubles.kept()
        self._look_s = self._clock.real_s() - began_s

    def _noticed(self, alert: Alert, seen: silence.Surroundings, begun: Mapping[BatchId, RunningBatch]) -> Message:
        touched = seen.nodes_of(alert.subject)
        wanted = silence.batches_named(alert)
        served = [
            UnseenDough(work.batch, work.outlook, work.batch.id in wanted)
            for work in begun.values()
            if any(node in {each.node for each in touched} for _, node in work.batch.nodes)
        ]
        heard = [each.heard_at for each in touched if each.heard_at is not None]
        return notice_of(alert, served, max(heard, default=None), seen.now, self._reader)
