"""The loop in which edge and core meet: frames in, readings kept, estimates and alerts out.

One thread owns the writing :class:`~monitor.sinks.store.Store`. A turn of the loop takes the frames that wait, commits
their readings in one transaction, and only then acknowledges each; after that it works a few batches that are due, so
that estimates never keep frames waiting for long. Batches, events and levels come into the same store from other
processes and are looked for at every turn. All that is held here is a cache of the store: a restart loses nothing.

A store that fails (a full disk, a locked file) is tried again until it works: what was taken is held, nothing more is
taken, nothing is acknowledged, so that the nodes keep what they have measured.
"""

import heapq
import logging
import queue
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Protocol

from monitor.bakery import alerts as alerting
from monitor.bakery import surroundings, wording
from monitor.bakery.alerts import Alert, Facts, Message, Rules, Step
from monitor.bakery.manner import Manner
from monitor.bakery.next_look import SOONEST, next_look_at
from monitor.bakery.notices import Served, notice_of
from monitor.clock import Clock
from monitor.dough.forecast import Asked
from monitor.dough.learning import Learned, Lesson, learned_from
from monitor.dough.outlook import Outlook, State
from monitor.dough.track import Track, last_seen
from monitor.errors import DamagedError, StoreError, WireError
from monitor.recipe.batch import Batch, BatchId
from monitor.sinks.arrivals import Arrivals, Heard
from monitor.sinks.rows import QuarantinedFrame
from monitor.sinks.store import Store, eye_node
from monitor.sources.intake import UNKNOWN_NODE, Fault, FaultLog, Frame, Item, Status
from monitor.watch.heard import LONGEST_BREAK, Listening
from monitor.watch.nodes import NodeWatch
from monitor.watch.pulse import Pulse
from monitor.watch.troublebook import TroubleBook
from monitor.wire import frames
from monitor.wire.frames import Pack
from monitor.wire.readings import Flag, Reading

log = logging.getLogger(__name__)

FRAMES_A_TURN = 256  # judgement: a commit of so many takes milliseconds, and their memory is small
DETAIL_CHARS = 200  # judgement: of an error's detail, which quotes what came from outside
TURN_S = 0.2  # judgement: how long a quiet loop waits for a frame before it looks at the batches
OUTLOOK_EVERY = SOONEST
NEARLY_DUE = -0.15  # judgement: by so much of its time a batch may be worked too soon, to be one of many
TOGETHER = 16  # judgement: batches worked in one turn; frames wait for a quarter of a second
READING_STEP_S = 5.0  # judgement: of a batch that has new readings, the least time between two estimates
STEP_LOAD = 0.5  # judgement: of the time, at most what estimates of new readings may take
LOOK_S = 1.0  # judgement: how often silence is looked for
LOOK_LOAD = 0.05  # judgement: of the time, at most what looking for it may take
FIRST_RETRY_S, LAST_RETRY_S = 0.25, 4.0  # judgement: of a store that fails; within 5 s of its mending all goes on
STEP_FAULT = "batch step failed"
"""Reason under which the firewall around a batch's step counts; anything but zero is a fault of this program."""
NOT_ESTIMATED = "not estimated: a fault in this program; its readings are kept, its log says more"


class Estimate(Protocol):
    """The estimator, as the collector calls it."""

    def __call__(self, batch: Batch, track: Track, at: datetime, *, learned: Learned | None = None) -> Outlook: ...


EstimateTogether = Callable[[Sequence[Asked]], Sequence[Outlook]]
"""The same of many batches at once."""


class FaultBook:
    """Bad input, logged once a minute and kind, and counted until the store takes the counts over."""

    def __init__(self, pulse: Pulse, clock: Clock) -> None:
        self._log = FaultLog(log, clock)
        self._pulse = pulse
        self._new: Counter[tuple[str, str, str]] = Counter()

    def note(self, source: str, node: str, reason: str, detail: str = "", n: int = 1) -> None:
        """One bad input more (or ``n``)."""
        self._log.note(source, node, reason, detail, n)
        self._new[source, node, reason] += n
        self._pulse.refused[reason] += n

    def taken(self) -> Counter[tuple[str, str, str]]:
        """What was noted since the last time."""
        new, self._new = self._new, Counter()
        return new


@dataclass(slots=True)
class _Intake:
    """What one turn took from the inbox, decoded: held until the store has it, and only then acknowledged."""

    n: int
    kept: Arrivals = field(default_factory=Arrivals)
    packs: list[Pack] = field(default_factory=list)
    answers: list[tuple[Frame, bytes]] = field(default_factory=list)

    @property
    def nodes(self) -> set[str]:
        """The nodes that sent something."""
        return {pack.node for pack in self.packs}


@dataclass(slots=True)
class _Work:
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
    asked_of: tuple[int, int] | None = None
    lessons: int = hash(())  # of which nothing more is needed than whether they are others
    learned: Learned | None = None

    def lateness(self, now: datetime) -> float:
        """How long it has been due, in the time that it was to wait: who is near ready is late sooner."""
        return (now - self.due_at) / self.patience

    def unlikeness(self, other: "_Work") -> tuple[int, timedelta]:
        """How little is gained by working it beside another: doughs of one age, folded as often, go well together."""
        apart = abs(self.batch.started_at - other.batch.started_at)
        return abs(len(self.batch.events) - len(other.batch.events)), apart

    def learn(self, lessons: tuple[Lesson, ...]) -> None:
        """Take what finished batches taught; worked out anew only when that has changed."""
        if hash(lessons) != self.lessons:
            self.learned = learned_from(lessons, self.batch)
            self.lessons = hash(lessons)


class Collector:
    """Frames to readings, readings to outlooks, outlooks to messages, for every running batch.

    Parameters
    ----------
    inbox
        What the sources put their frames and states on.
    manner
        How messages tell things.
    speed
        How many times faster than the real clock the dough's runs.
    together
        The estimator for many batches at once; None: one after the other.
    """

    def __init__(
        self,
        store: Store,
        inbox: "queue.Queue[Item]",
        clock: Clock,
        estimate: Estimate,
        *,
        together: EstimateTogether | None = None,
        rules: Rules,
        manner: Manner,
        pulse: Pulse | None = None,
        node_watch: NodeWatch | None = None,
        troubles: TroubleBook | None = None,
        speed: float = 1.0,
    ) -> None:
        self._store = store
        self._inbox = inbox
        self._clock = clock
        self._estimate = estimate
        self._together = together
        self._speed = speed
        self._rules = rules
        self._manner = manner
        self._pulse = Pulse(clock) if pulse is None else pulse
        self._node_watch = NodeWatch(clock) if node_watch is None else node_watch
        self._troubles = TroubleBook() if troubles is None else troubles
        self._faults = FaultBook(self._pulse, clock)
        self._held: _Intake | None = None
        self._works: dict[BatchId, _Work] = {}
        self._readers: dict[str, list[_Work]] = {}
        self._look_s = 0.0
        self._node_on: dict[str, str] = {}
        self._listening = Listening(store, clock, speed)
        self._changes: tuple[int, int] | None = None
        self._levels_after: int | None = None

    def run(self, stop: threading.Event) -> None:
        """Turn until told to stop; what waits in the inbox then is still taken in.

        Raises
        ------
        DamagedError
            When the store's file is damaged: it must be set aside, and a new one begun.
        """
        failures = 0
        while not stop.is_set():
            try:
                if failures:
                    self._store.reopen()
                self.turn(TURN_S)
            except DamagedError:
                raise
            except StoreError as error:
                failures += 1
                self._store_failed(error)
                stop.wait(min(FIRST_RETRY_S * 2.0 ** (failures - 1), LAST_RETRY_S))
            else:
                if failures:
                    log.info("store=%s state=ok failures=%d", self._store.path, failures)
                    failures, self._pulse.store_trouble = 0, ""
            self._pulse.beat()
        if not failures:  # else it stays with the nodes
            while self.take_frames(0.0):
                pass

    def _store_failed(self, error: StoreError) -> None:
        if str(error) != self._pulse.store_trouble:
            log.error("store=%s state=failing reason=%s", self._store.path, error)
        self._pulse.store_trouble = error.saying

    def turn(self, wait_s: float) -> None:
        """Take in what waits, then work the batch that is due the longest, and others beside it."""
        self.take_frames(0.0 if any(self._due()) else wait_s)
        if self._listening.is_broken():  # the machine slept, or this is the start
            for each in self._works.values():
                each.is_interrupted = True
            self._close_ended()
        self.find_batches()
        self._look_round()
        works = self._next_due()
        if works:
            began_s = self._clock.real_s()
            self._step(works)
            self._pulse.stepped(self._clock.real_s() - began_s, len(works))

    # -- frames ---------------------------------------------------------------------------------------------------

    def take_frames(self, wait_s: float) -> int:
        """Take in what waits, at most ``FRAMES_A_TURN``; returns how many that were.

        All of it is committed in one transaction before any frame is acknowledged. When the store fails it is held,
        and the next call tries the same again.
        """
        if self._held is None:
            self._held = self._decoded(self._take(wait_s))
        intake = self._held
        new = 0
        if not intake.kept.is_empty:
            new = self._store.keep(intake.kept, self._clock.now())
        self._held = None
        for frame, line in intake.answers:
            frame.acknowledge(line)
        self._pulse.took_in(len(intake.packs), len(intake.kept.readings), new)
        for pack in intake.packs:
            self._node_watch.see(pack)
        self._listening.hear(intake.kept.readings, intake.kept.heard)
        for node in intake.nodes:
            for work in self._readers.get(node, ()):
                work.has_news = True
        return intake.n

    def _decoded(self, taken: list[Item]) -> _Intake:
        """What was taken, as what is to be kept and what is to be answered."""
        intake = _Intake(len(taken))
        now = self._clock.now()
        seen: dict[str, str] = {}
        for item in taken:
            if isinstance(item, Status):
                self._take_status(item, intake)
            elif isinstance(item, Fault):
                self._faults.note(item.source, self._name(item.source, item.node_key), item.reason, n=item.n)
            else:
                try:
                    pack = frames.decode(item.data, item.node_key)
                    intake.kept.readings += frames.readings(pack, item.arrived_at)
                except WireError as error:
                    self._refuse(item, error, intake)
                    continue
                intake.packs.append(pack)
                intake.answers.append((item, frames.acknowledgement(pack.boot, pack.seq)))
                seen[pack.node] = item.source
                if item.node_key is None:
                    self._node_on[item.source] = pack.node
        intake.kept.heard += [Heard(node, source, now) for node, source in seen.items()]
        self._note_doubtful(intake.kept.readings, seen)
        intake.kept.faults = self._faults.taken()
        return intake

    def _take(self, wait_s: float) -> list[Item]:
        taken: list[Item] = []
        try:
            taken.append(self._inbox.get(timeout=wait_s) if wait_s > 0 else self._inbox.get_nowait())
            while len(taken) < FRAMES_A_TURN:
                taken.append(self._inbox.get_nowait())
        except queue.Empty:
            pass
        return taken

    def _name(self, source: str, node_key: str | None) -> str:
        """Who sent something that does not say so: its topic's node, or the last one heard on that line."""
        if node_key is None:
            return self._node_on.get(source, UNKNOWN_NODE)
        return frames.node_of_key(node_key) or node_key

    def _refuse(self, frame: Frame, error: WireError, intake: _Intake) -> None:
        """Count a bad frame. One that came whole goes into quarantine and is acknowledged."""
        node = self._name(frame.source, frame.node_key)
        self._faults.note(frame.source, node, error.reason, error.detail[:DETAIL_CHARS])
        identity = frames.identity(frame.data)
        if identity is not None:  # else its resend mends it
            intake.kept.refused.append(QuarantinedFrame(node, frame.source, error.reason, frame.data, frame.arrived_at))
            intake.answers.append((frame, frames.acknowledgement(*identity)))

    def _note_doubtful(self, readings: list[Reading], seen: dict[str, str]) -> None:
        """Say which readings were flagged; they are kept all the same."""
        for reading in readings:
            if reading.flag is not Flag.OK:
                detail = f"{reading.channel.value} = {reading.value:g}"
                self._faults.note(seen[reading.node], reading.node, reading.flag.value, detail)

    def _take_status(self, status: Status, intake: _Intake) -> None:
        node = None if status.node_key is None else self._name(status.source, status.node_key)
        log.info("source=%s node=%s online=%s %s", status.source, node, status.is_online, status.detail)
        if node is not None:
            intake.kept.heard.append(Heard(node, status.source, status.at, status.is_online))

    # -- batches --------------------------------------------------------------------------------------------------

    def find_batches(self) -> None:
        """Look for batches, events, calibrations and levels that other processes have put into the store."""
        changes = self._store.changes()
        if changes == self._changes:
            return
        now = self._clock.now()
        running = {batch.id: batch for batch in self._store.batches(running=True)}
        for batch_id, batch in running.items():
            work = self._works.get(batch_id)
            if work is None:
                self._works[batch_id] = self._resume(batch, now)
            elif work.batch != batch:  # something was logged: what it changes is wanted at once
                work.batch = batch
                work.due_at = now
        for batch_id in self._works.keys() - running.keys():
            self._finish(self._works[batch_id])
            del self._works[batch_id]  # only now: a store that fails in between is tried again
        self._readers = {}
        for work in self._works.values():
            for node in {node for _, node in work.batch.nodes}:
                self._readers.setdefault(node, []).append(work)
        self._pulse.running = len(self._works)
        read_by_eye, levels_after = self._store.new_levels(self._levels_after)
        for batch_id, work in self._works.items() if read_by_eye else ():
            if eye_node(batch_id) in read_by_eye:
                work.due_at = min(work.due_at, max(now, work.batch.started_at))
        self._changes, self._levels_after = changes, levels_after  # only now: a store that fails is asked again

    def _resume(self, batch: Batch, now: datetime) -> _Work:
        """A batch's work from what the store holds of it."""
        log.info("batch=%s begun started_at=%s", batch.id, batch.started_at.isoformat())
        last = self._store.latest_outlook(batch.id)
        # a clock that was set back must not keep a batch waiting for a moment it has seen before
        due_at = batch.started_at if last is None else min(last.at, now) + OUTLOOK_EVERY
        is_interrupted = last is not None and not timedelta() <= now - last.at <= LONGEST_BREAK
        return _Work(batch, due_at, is_interrupted, outlook=last)

    def _finish(self, work: _Work) -> None:
        """Work a batch that was ended once more, at its end, so that its last outlook is of that moment."""
        work.batch = self._store.batch(work.batch.id)
        if work.batch.ended_at is None:
            return
        self._step_at(work, work.batch.ended_at)
        log.info("batch=%s ended", work.batch.id)

    @property
    def _spent_s(self) -> float:
        """What a step has taken so far, on average. [s]"""
        return self._pulse.step_s / self._pulse.steps if self._pulse.steps else 0.0

    @property
    def _is_stretched(self) -> bool:
        """True when working every batch each minute takes more of the time than it may."""
        return self._spent_s * len(self._works) * self._speed > STEP_LOAD * OUTLOOK_EVERY.total_seconds()

    def _due(self) -> Iterator[_Work]:
        """The batches whose outlook is due, in no order."""
        now, now_s = self._clock.now(), self._clock.real_s()
        # new readings are worked at once, but on a slow machine no oftener than it can bear
        wait_s = max(READING_STEP_S, self._spent_s * len(self._works) / STEP_LOAD)
        takes_news = not self._is_stretched
        for work in self._works.values():
            is_new = takes_news and work.has_news and now_s >= work.stepped_s + wait_s and _has_begun(work, now)
            if work.due_at <= now or is_new:
                yield work

    def _next_due(self) -> list[_Work]:
        """The batch that is due the longest, and beside it others that are due, or nearly, and like it."""
        now = self._clock.now()
        due = list(self._due())
        first = max(due, key=lambda work: work.lateness(now), default=None)
        if first is None or self._together is None:
            return [] if first is None else [first]
        if self._is_stretched:
            due += [work for work in self._works.values() if NEARLY_DUE <= work.lateness(now) < 0.0]
        return heapq.nsmallest(TOGETHER, due, key=first.unlikeness)

    def _step(self, works: list[_Work]) -> None:
        now = self._clock.now()
        told = self._told_together(works, now)
        for work in works:
            work.has_news = False
            alerts = self._step_at(work, now, told.get(work.batch.id))
            work.due_at = now + OUTLOOK_EVERY
            if self._is_stretched and work.outlook is not None:
                work.due_at = next_look_at(work.batch, work.outlook, alerts, self._rules)
            work.patience = work.due_at - now
            work.stepped_s = self._clock.real_s()

    def _told_together(self, works: list[_Work], at: datetime) -> dict[BatchId, tuple[Asked, Outlook]]:
        """What the estimator says of many batches at once; of one that it fails on nothing, and then of none.

        Whoever is missing is asked about alone, behind the firewall of its own step.
        """
        if self._together is None or len(works) < 2:
            return {}
        try:
            asked = [self._asked(work, at) for work in works]
            found = self._together(asked)
            return {each.batch.id: (each, said) for each, said in zip(asked, found, strict=True)}
        except StoreError:
            raise
        except Exception as error:
            log.warning("batches=%d not estimated together: %r", len(works), error)
            return {}

    def _step_at(self, work: _Work, at: datetime, told: tuple[Asked, Outlook] | None = None) -> tuple[Alert, ...]:
        """Estimate, judge the alerts and keep all of it; the one firewall against a fault of this program.

        ``told`` is what was asked and its answer, where they are known already. Returns the alerts as they stand.
        """
        alerts: tuple[Alert, ...] = ()
        try:
            found, step, messages = self._worked(work, at, told)
            self._store.save_step(work.batch.id, found, step.alerts, messages, step.changes)
        except StoreError:
            raise
        except Exception as error:
            if work.fault != repr(error):
                log.exception("batch=%s step failed", work.batch.id)
            work.fault = repr(error)
            self._faults.note("collector", f"batch {work.batch.id}", STEP_FAULT, work.fault)
            self._store.keep(Arrivals(faults=self._faults.taken()), at)
            found = Outlook(at=at, state=State.NO_READINGS, why=NOT_ESTIMATED)
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

    def _asked(self, work: _Work, at: datetime) -> Asked:
        """What the estimator is asked about a batch."""
        batch = replace(work.batch, events=tuple(event for event in work.batch.events if event.at <= at))
        if work.asked_of != self._changes:  # a batch may have ended, or the baker had something forgotten
            work.learn(self._store.lessons_before(batch))
            work.asked_of = self._changes
        track = self._store.track(batch)  # the whole past, each time: nothing to go stale, nothing to hold
        return Asked(batch, track, at, learned=work.learned)

    def _worked(
        self, work: _Work, at: datetime, told: tuple[Asked, Outlook] | None
    ) -> tuple[Outlook, Step, tuple[Message, ...]]:
        if told is None:
            asked = self._asked(work, at)
            found = self._estimate(asked.batch, asked.track, at, learned=asked.learned)
        else:
            asked, found = told
        batch = asked.batch
        facts = Facts(batch, found, at, last_seen(batch, asked.track), is_interrupted=work.is_interrupted)
        step = alerting.step(self._rules, tuple(self._store.alerts(batch.id)), facts)
        causes = self._listening.newest_of(batch.nodes) if step.changes else ()
        changes = tuple(replace(change, outlook_at=at, readings=causes) for change in step.changes)
        messages = tuple(
            wording.message_of(alert, facts, manner=self._manner, rules=self._rules) for alert in step.calls
        )
        _log_calls(step.calls)
        return found, replace(step, changes=changes), messages

    # -- alerts about no single batch -------------------------------------------------------------------------------

    def _close_ended(self) -> None:
        """Close what still stands of batches that ended while nobody was here to see it."""
        now = self._clock.now()
        for batch_id in self._store.ended_with_alerts():
            facts = Facts(self._store.batch(batch_id), None, now)
            step = alerting.step(self._rules, tuple(self._store.alerts(batch_id)), facts)
            self._store.save_alerts(step.alerts, (), step.changes, now)

    def _look_round(self) -> None:
        """Look for silent nodes and lines, and keep what comes of it and of the watchman's book in one transaction."""
        began_s = self._clock.real_s()
        if not self._listening.is_time_to_look(max(LOOK_S, self._look_s / LOOK_LOAD)):
            return
        now = self._clock.now()
        begun = {work.batch.id: work for work in self._works.values() if _has_begun(work, now)}
        seen = self._listening.surroundings(
            [work.batch for work in begun.values()], {batch_id for batch_id, work in begun.items() if work.is_wanted}
        )
        before = self._store.surrounding_alerts()
        known = set(before)
        alerts, changes = self._troubles.take(before, now)
        messages: list[Message] = []
        for step in surroundings.look(self._rules, tuple(before), seen):
            alerts += [alert for alert in step.alerts if alert not in known]
            messages += [self._noticed(alert, seen, begun) for alert in step.calls]
            changes += step.changes
            _log_calls(step.calls)
        if alerts:
            self._store.save_alerts(alerts, messages, changes, now)
        self._troubles.kept()
        self._look_s = self._clock.real_s() - began_s

    def _noticed(self, alert: Alert, seen: surroundings.Surroundings, begun: Mapping[BatchId, _Work]) -> Message:
        touched = seen.nodes_of(alert.subject)
        wanted = surroundings.batches_named(alert)
        served = [
            Served(work.batch, work.outlook, work.batch.id in wanted)
            for work in begun.values()
            if any(node in {each.node for each in touched} for _, node in work.batch.nodes)
        ]
        heard = [each.heard_at for each in touched if each.heard_at is not None]
        return notice_of(alert, served, max(heard, default=None), seen.now, self._manner)


def _has_begun(work: _Work, now: datetime) -> bool:
    return work.batch.started_at <= now


def _log_calls(alerts: Iterable[Alert]) -> None:
    for alert in alerts:
        log.info("alert about=%r kind=%r episode=%s", alert.subject.key, alert.kind.value, alert.episode)
