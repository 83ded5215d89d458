"""A batch's step: its readings are estimated, its alerts judged, and all of it kept in one transaction."""

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Protocol

from monitor.alerts import dough as alerting
from monitor.alerts.dough import Alert, AlertUpdate, Facts, Message, Rules
from monitor.collector.intake import FaultCounts
from monitor.collector.running_batches import RunningBatch
from monitor.dough.forecast import ForecastRequest
from monitor.dough.learning import RecipeExperience
from monitor.dough.outlook import NoForecast, Outlook, State
from monitor.dough.track import Track, last_seen
from monitor.errors import StoreError
from monitor.health.last_heard import LastHeard
from monitor.recipe.batch import Batch, BatchId
from monitor.store.nodes import Arrivals
from monitor.store.store import Store
from monitor.wording import alerts as wording
from monitor.wording.reader import Reader

log = logging.getLogger(__name__)

STEP_FAULT = "batch step failed"
"""Reason under which the firewall around a batch's step counts; anything but zero is a fault of this program."""


class Estimate(Protocol):
    """The estimator, as the collector calls it."""

    def __call__(
        self, batch: Batch, track: Track, at: datetime, *, learned: RecipeExperience | None = None
    ) -> Outlook: ...


EstimateTogether = Callable[[Sequence[ForecastRequest]], Sequence[Outlook]]
"""The same of many batches at once."""


class Stepper:
    """RunningBatches batches with an estimator.

    Parameters
    ----------
    together
        The estimator for many batches at once; None: one after the other.
    """

    def __init__(
        self,
        store: Store,
        estimate: Estimate,
        together: EstimateTogether | None,
        *,
        rules: Rules,
        reader: Reader,
        faults: FaultCounts,
        last_heard: LastHeard,
    ) -> None:
        self._store = store
        self._estimate = estimate
        self._together = together
        self._rules = rules
        self._reader = reader
        self._faults = faults
        self._last_heard = last_heard

    def outlooks_together(
        self, running: list[RunningBatch], at: datetime
    ) -> dict[BatchId, tuple[ForecastRequest, Outlook]]:
        """What the estimator says of many batches at once; of one that it fails on nothing, and then of none.

        Whoever is missing is asked about alone, behind the firewall of its own step.
        """
        if self._together is None or len(running) < 2:
            return {}
        try:
            asked = [self._request(work, at) for work in running]
            found = self._together(asked)
            return {each.batch.id: (each, outlook) for each, outlook in zip(asked, found, strict=True)}
        except StoreError:
            raise
        except Exception as error:
            log.warning("batches=%d not estimated together: %r", len(running), error)
            return {}

    def step_at(
        self, work: RunningBatch, at: datetime, known: tuple[ForecastRequest, Outlook] | None = None
    ) -> tuple[Alert, ...]:
        """Estimate, judge the alerts and keep all of it; the one firewall against a fault of this program.

        ``known`` is what was asked and its answer, where the two are known already. Returns the alerts as they stand.
        """
        alerts: tuple[Alert, ...] = ()
        try:
            found, step, messages = self._worked(work, at, known)
            self._store.save_step(work.batch.id, found, step.alerts, messages, step.changes)
        except StoreError:
            raise
        except Exception as error:
            if work.fault != repr(error):
                log.exception("batch=%s step failed", work.batch.id)
            work.fault = repr(error)
            self._faults.note("collector", f"batch {work.batch.id}", STEP_FAULT, work.fault)
            arrived = Arrivals()
            self._faults.hand_over(arrived)
            self._store.keep(arrived, at)
            found = Outlook(at=at, state=State.NO_READINGS, why=NoForecast.NOT_ESTIMATED)
            self._store.save_step(work.batch.id, found, (), ())
        else:
            alerts = step.alerts
            work.is_wanted = any(alerting.is_wanted_unseen(alert) for alert in alerts)
            work.is_interrupted = False
        was = None if work.outlook is None else work.outlook.state
        if was is not found.state:
            log.info("batch=%s state=%s was=%s", work.batch.id, found.state, was)
        work.outlook = found
        return alerts

    def _request(self, work: RunningBatch, at: datetime) -> ForecastRequest:
        """What the estimator is asked about a batch."""
        batch = replace(work.batch, events=tuple(event for event in work.batch.events if event.at <= at))
        if not work.knows_lessons:
            work.learn(self._store.lessons.before(batch))
            work.knows_lessons = True
        track = self._store.readings.track(batch)  # the whole past, each time: nothing to go stale, nothing to hold
        return ForecastRequest(batch, track, at, learned=work.learned, silence_min=self._rules.silence_min)

    def _worked(
        self, work: RunningBatch, at: datetime, known: tuple[ForecastRequest, Outlook] | None
    ) -> tuple[Outlook, AlertUpdate, tuple[Message, ...]]:
        if known is None:
            asked = self._request(work, at)
            found = self._estimate(asked.batch, asked.track, at, learned=asked.learned)
        else:
            asked, found = known
        batch = asked.batch
        facts = Facts(batch, found, at, last_seen(batch, asked.track), is_interrupted=work.is_interrupted)
        step = alerting.step(self._rules, tuple(self._store.alerts.all(batch.id)), facts)
        causes = self._last_heard.newest_of(batch.nodes) if step.changes else ()
        changes = tuple(replace(change, outlook_at=at, readings=causes) for change in step.changes)
        messages = tuple(
            wording.message_of(alert, facts, reader=self._reader, rules=self._rules) for alert in step.calls
        )
        log_calls(step.calls)
        return found, replace(step, changes=changes), messages


def log_calls(alerts: Iterable[Alert]) -> None:
    """Say in the log who calls."""
    for alert in alerts:
        log.info("alert about=%r kind=%r episode=%s", alert.subject.key, alert.kind.value, alert.episode)
