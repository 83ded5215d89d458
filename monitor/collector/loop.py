"""The loop in which edge and core meet: frames in, readings kept, estimates and alerts out.

One thread owns the writing :class:`~monitor.store.store.Store`. A turn of the loop takes the frames that wait, commits
their readings in one transaction, and only then acknowledges each; after that it works a few batches that are due, so
that estimates never keep frames waiting for long. Batches, events and levels come into the same store from other
processes and are looked for at every turn. All that is held here is a cache of the store: a restart loses nothing.

A store that fails (a full disk, a locked file) is tried again until it running: what was taken is held, nothing more is
taken, nothing is acknowledged, so that the nodes keep what they have measured.
"""

import logging
import queue
import threading
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from monitor.alerts.dough import Rules
from monitor.clock import Clock
from monitor.collector.batch_step import Estimate, EstimateTogether, Stepper
from monitor.collector.housekeeping import Housekeeping
from monitor.collector.intake import FaultCounts, Intake, Reception
from monitor.collector.running_batches import OUTLOOK_EVERY, TOGETHER, RunningBatch, RunningBatches
from monitor.collector.signals import BoardSignals
from monitor.errors import DamagedError, StoreError
from monitor.health.counters import Pulse
from monitor.health.last_heard import LONGEST_BREAK, LastHeard
from monitor.health.nodes import NodeWatch
from monitor.health.trouble_log import TroubleLog
from monitor.recipe.batch import Batch
from monitor.recipe.sight import Sight
from monitor.sources.intake import Item
from monitor.store.batches import eye_node
from monitor.store.heartbeat import EVERY_S, Heartbeat
from monitor.store.store import Store
from monitor.wire.asides import call_line
from monitor.wire.foreign import ForeignSensor
from monitor.wire.readings import NodeId
from monitor.wording.reader import Reader

log = logging.getLogger(__name__)

TURN_S = 0.2  # judgement: how long a quiet loop waits for a frame before it looks at the batches
FIRST_RETRY_S, LAST_RETRY_S = 0.25, 4.0  # judgement: of a store that fails; within 5 s of its mending all goes on


class Collector:
    """Frames to readings, readings to outlooks, outlooks to messages, for every running batch.

    Parameters
    ----------
    inbox
        What the sources put their frames and states on.
    reader
        How messages tell things.
    speed
        How many times faster than the real clock the dough's runs.
    sights
        What a node's distance sensor can see, where that is known.
    sensors
        What devices that are no nodes of ours send.
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
        reader: Reader,
        pulse: Pulse | None = None,
        node_watch: NodeWatch | None = None,
        troubles: TroubleLog | None = None,
        speed: float = 1.0,
        sensors: Sequence[ForeignSensor] = (),
        sights: Callable[[NodeId], Sight | None] = lambda node: None,
        signals: BoardSignals | None = None,
    ) -> None:
        self._store = store
        self._clock = clock
        self._pulse = Pulse(clock) if pulse is None else pulse
        self._node_watch = NodeWatch(clock) if node_watch is None else node_watch
        self._signals = signals
        self._last_heard = LastHeard(store, clock, speed)
        faults = FaultCounts(self._pulse, clock)
        self._reception = Reception(
            inbox,
            clock,
            faults,
            lambda: ((row.source, row.node) for row in store.nodes.all()),
            speed,
            sensors,
            sights,
        )
        self._running = RunningBatches(
            clock, self._pulse, rules, speed=speed, at_once=1 if together is None else TOGETHER
        )
        self._stepper = Stepper(
            store, estimate, together, rules=rules, reader=reader, faults=faults, last_heard=self._last_heard
        )
        self._housekeeping = Housekeeping(
            store,
            clock,
            rules=rules,
            reader=reader,
            last_heard=self._last_heard,
            troubles=TroubleLog() if troubles is None else troubles,
            unread=self._node_watch.unread,
        )
        self._held: Intake | None = None
        self._changes: tuple[int, int] | None = None
        self._levels_after: int | None = None
        self._heartbeat = Heartbeat(store)
        self._said_s = float("-inf")

    def run(self, stop: threading.Event) -> None:
        """Turn until told to stop; what waits in the inbox then is still taken in.

        Raises
        ------
        DamagedError
            When the store's file is damaged: it must be set aside, and a new one begun. When it is no longer in its
            place, a GoneError.
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
                    failures, self._pulse.store_error = 0, None
            self._pulse.beat()
        if not failures:  # else it stays with the nodes
            while self.take_frames(0.0):
                pass

    def _store_failed(self, error: StoreError) -> None:
        if str(error) != str(self._pulse.store_error):
            log.error("store=%s state=failing reason=%s", self._store.path, error)
        self._pulse.store_error = error

    def turn(self, wait_s: float) -> None:
        """Take in what waits, then work the batch that is due the longest, and others beside it."""
        self.take_frames(0.0 if self._running.is_any_due() else wait_s)
        if self._clock.real_s() - self._said_s >= EVERY_S:
            self._heartbeat.beat()
            self._said_s = self._clock.real_s()
        if self._last_heard.is_broken():  # the machine slept, or this is the start
            for each in self._running.of.values():
                each.is_interrupted = True
            self._housekeeping.close_ended()
        self.find_batches()
        self._housekeeping.look(self._running)
        running = self._running.next_due()
        if running:
            began_s = self._clock.real_s()
            self._step(running)
            self._pulse.stepped(self._clock.real_s() - began_s, len(running))

    def take_frames(self, wait_s: float) -> int:
        """Take in what waits, at most ``FRAMES_A_TURN``; returns how many that were.

        All of it is committed in one transaction before any frame is acknowledged. When the store fails it is held,
        and the next call tries the same again.
        """
        if self._held is None:
            self._held = self._reception.take(wait_s)
        intake = self._held
        new = 0
        if not intake.kept.is_empty:
            new = self._store.keep(intake.kept, self._clock.now())
        self._store.require_in_place()  # after the commit: else it is a promise about a file that nobody finds again
        self._heartbeat.require_kept()
        self._held = None
        for frame, line in intake.answers:
            frame.acknowledge(line)
        self._pulse.took_in(len(intake.packs), len(intake.kept.readings), new)
        for pack in intake.packs:
            self._node_watch.see(pack)
        for report in intake.reports:
            self._node_watch.hear(report)
        self._signal(intake)
        self._last_heard.hear(intake.kept.readings, intake.kept.heard)
        self._running.hear(intake.nodes)
        return intake.n

    def _signal(self, intake: Intake) -> None:
        """Do what buttons told; tell lamps and buzzers what is called, and the date to who asked for it."""
        if self._signals is None:
            return
        for report in intake.reports:
            self._signals.hear(report)
        for node, (frame, boot) in intake.newest.items():
            word = self._signals.word_for(node)
            if word is not None:
                frame.acknowledge(call_line(boot, word))
            if (line := self._signals.time_for(node)) is not None:
                frame.acknowledge(line)

    def find_batches(self) -> None:
        """Look for batches, events, calibrations and levels that other processes have put into the store."""
        changes = self._store.changes()
        if changes == self._changes:
            return
        now = self._clock.now()
        running = {batch.id: batch for batch in self._store.batches.running()}
        for batch_id, batch in running.items():
            work = self._running.of.get(batch_id)
            if work is None:
                self._running.of[batch_id] = self._resume(batch, now)
            elif work.batch != batch:  # something was logged: what it changes is wanted at once
                work.batch = batch
                work.due_at = now
        for batch_id in self._running.of.keys() - running.keys():
            self._finish(self._running.of[batch_id])
            del self._running.of[batch_id]  # only now: a store that fails in between is tried again
        self._running.index()
        read_by_eye, levels_after = self._store.readings.new_levels(self._levels_after)
        for batch_id, work in self._running.of.items() if read_by_eye else ():
            if eye_node(batch_id) in read_by_eye:
                work.due_at = min(work.due_at, max(now, work.batch.started_at))
        for work in self._running.of.values():  # a batch may have ended, or the baker had something forgotten
            work.knows_lessons = False
        self._changes, self._levels_after = changes, levels_after  # only now: a store that fails is asked again

    def _resume(self, batch: Batch, now: datetime) -> RunningBatch:
        """A batch's work from what the store holds of it."""
        log.info("batch=%s begun started_at=%s", batch.id, batch.started_at.isoformat())
        last = self._store.outlooks.latest(batch.id)
        # a clock that was set back must not keep a batch waiting for a moment it has seen before
        due_at = batch.started_at if last is None else min(last.at, now) + OUTLOOK_EVERY
        is_interrupted = last is not None and not timedelta() <= now - last.at <= LONGEST_BREAK
        return RunningBatch(batch, due_at, is_interrupted, outlook=last)

    def _finish(self, work: RunningBatch) -> None:
        """Work a batch that was ended once more, at its end, so that its last outlook is of that moment."""
        work.batch = self._store.batches.get(work.batch.id)
        if work.batch.ended_at is None:
            log.info("batch=%s taken back", work.batch.id)
            self._housekeeping.close_ended()
            return
        self._stepper.step_at(work, work.batch.ended_at)
        log.info("batch=%s ended", work.batch.id)

    def _step(self, running: list[RunningBatch]) -> None:
        now = self._clock.now()
        known = self._stepper.outlooks_together(running, now)
        for work in running:
            work.has_news = False
            alerts = self._stepper.step_at(work, now, known.get(work.batch.id))
            self._running.was_stepped(work, alerts, now)
