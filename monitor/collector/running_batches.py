"""The running batches at work, and whose turn it is."""

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.dough import Alert, Rules
from monitor.alerts.next_estimate import SOONEST, next_look_at
from monitor.clock import Clock
from monitor.dough.learning import Lesson, RecipeExperience, learned_from
from monitor.dough.outlook import Outlook
from monitor.health.counters import Pulse
from monitor.recipe.batch import Batch, BatchId

OUTLOOK_EVERY = SOONEST
NEARLY_DUE = -0.15  # judgement: by so much of its time a batch may be worked too soon, to be one of many
TOGETHER = 16  # judgement: batches worked in one turn; frames wait for a quarter of a second
READING_STEP_S = 5.0  # judgement: of a batch that has new readings, the least time between two estimates
STEP_LOAD = 0.5  # judgement: of the time, at most what estimates of new readings may take


@dataclass(slots=True)
class RunningBatch:
    """What is held of one running batch; all of it can be made anew from the store, where its readings stay."""

    batch: Batch
    due_at: datetime
    is_interrupted: bool = True
    has_news: bool = False
    stepped_s: float = float("-inf")
    is_wanted: bool = False
    patience: timedelta = OUTLOOK_EVERY
    outlook: Outlook | None = None
    fault: str = ""
    knows_lessons: bool = False
    lessons: int = hash(())  # of which nothing more is needed than whether they are others
    learned: RecipeExperience | None = None

    def has_begun(self, now: datetime) -> bool:
        """True from the batch's start on."""
        return self.batch.started_at <= now

    def lateness(self, now: datetime) -> float:
        """How long it has been due, in the time that it was to wait: who is near ready is late sooner."""
        return (now - self.due_at) / self.patience

    def unlikeness(self, other: "RunningBatch") -> tuple[int, timedelta]:
        """How little is gained by working it beside another: doughs of one age, folded as often, go well together."""
        apart = abs(self.batch.started_at - other.batch.started_at)
        return abs(len(self.batch.events) - len(other.batch.events)), apart

    def learn(self, lessons: tuple[Lesson, ...]) -> None:
        """Take what finished batches taught; worked out anew only when that has changed."""
        if hash(lessons) != self.lessons:
            self.learned = learned_from(lessons, self.batch)
            self.lessons = hash(lessons)


class RunningBatches:
    """The works by batch, in the order of their turns.

    Parameters
    ----------
    speed
        How many times faster than the real clock the dough's runs.
    at_once
        How many are worked in one turn.
    """

    def __init__(self, clock: Clock, pulse: Pulse, rules: Rules, *, speed: float, at_once: int) -> None:
        self._clock = clock
        self._pulse = pulse
        self._rules = rules
        self._speed = speed
        self._at_once = at_once
        self._readers: dict[str, list[RunningBatch]] = {}
        self.of: dict[BatchId, RunningBatch] = {}

    def begun(self, now: datetime) -> dict[BatchId, RunningBatch]:
        """Those whose batch has begun."""
        return {batch_id: work for batch_id, work in self.of.items() if work.has_begun(now)}

    def index(self) -> None:
        """After works came, went or changed: which of them each node serves."""
        self._readers = {}
        for work in self.of.values():
            for node in {node for _, node in work.batch.nodes}:
                self._readers.setdefault(node, []).append(work)
        self._pulse.running = len(self.of)

    def hear(self, nodes: Iterable[str]) -> None:
        """These nodes have brought something new."""
        for node in nodes:
            for work in self._readers.get(node, ()):
                work.has_news = True

    def is_any_due(self) -> bool:
        """True when a batch waits to be worked."""
        return any(self._due())

    def next_due(self) -> list[RunningBatch]:
        """The batch that is due the longest, and beside it others that are due, or nearly, and like it."""
        now = self._clock.now()
        due = list(self._due())
        first = max(due, key=lambda work: work.lateness(now), default=None)
        if first is None or self._at_once == 1:
            return [] if first is None else [first]
        if self._is_stretched:
            due += [work for work in self.of.values() if NEARLY_DUE <= work.lateness(now) < 0.0]
        return heapq.nsmallest(self._at_once, due, key=first.unlikeness)

    def was_stepped(self, work: RunningBatch, alerts: tuple[Alert, ...], now: datetime) -> None:
        """A batch was worked at a moment: settle when it is due again."""
        work.due_at = now + OUTLOOK_EVERY
        if self._is_stretched and work.outlook is not None:
            work.due_at = next_look_at(work.batch, work.outlook, alerts, self._rules)
        work.patience = work.due_at - now
        work.stepped_s = self._clock.real_s()

    @property
    def _spent_s(self) -> float:
        """What a step has taken so far, on average. [s]"""
        return self._pulse.step_s / self._pulse.steps if self._pulse.steps else 0.0

    @property
    def _is_stretched(self) -> bool:
        """True when working every batch each minute takes more of the time than it may."""
        return self._spent_s * len(self.of) * self._speed > STEP_LOAD * OUTLOOK_EVERY.total_seconds()

    def _due(self) -> Iterator[RunningBatch]:
        """The batches whose outlook is due, in no order."""
        now, now_s = self._clock.now(), self._clock.real_s()
        # new readings are worked at once, but on a slow machine no oftener than it can bear
        wait_s = max(READING_STEP_S, self._spent_s * len(self.of) / STEP_LOAD)
        takes_news = not self._is_stretched
        for work in self.of.values():
            is_new = takes_news and work.has_news and now_s >= work.stepped_s + wait_s and work.has_begun(now)
            if work.due_at <= now or is_new:
                yield work
