"""What the sources bring, taken in turn by turn and decoded: what is to be kept of it, and what is to be answered."""

import logging
import queue
from collections import Counter
from dataclasses import dataclass, field

from monitor.clock import Clock
from monitor.errors import WireError
from monitor.health.counters import Pulse
from monitor.sources.intake import UNKNOWN_NODE, Fault, FaultLog, Frame, Item, Status
from monitor.store.nodes import Arrivals, Heard
from monitor.store.rows import QuarantinedFrame
from monitor.wire import frames
from monitor.wire.frames import Pack
from monitor.wire.readings import Flag, Reading

log = logging.getLogger(__name__)

FRAMES_A_TURN = 256  # judgement: a commit of so many takes milliseconds, and their memory is small
DETAIL_CHARS = 200  # judgement: of an error's detail, which quotes what came from outside


class FaultCounts:
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
class Intake:
    """What one turn took from the inbox, decoded: held until the store has it, and only then acknowledged."""

    n: int
    kept: Arrivals = field(default_factory=Arrivals)
    packs: list[Pack] = field(default_factory=list)
    answers: list[tuple[Frame, bytes]] = field(default_factory=list)

    @property
    def nodes(self) -> set[str]:
        """The nodes that sent something."""
        return {pack.node for pack in self.packs}


class Reception:
    """Takes from the inbox what the sources have put there."""

    def __init__(self, inbox: "queue.Queue[Item]", clock: Clock, faults: FaultCounts) -> None:
        self._inbox = inbox
        self._clock = clock
        self._faults = faults
        self._node_on: dict[str, str] = {}

    def take(self, wait_s: float) -> Intake:
        """What waits, at most ``FRAMES_A_TURN``; when nothing does, what comes within so many seconds."""
        return self._decoded(self._taken(wait_s))

    def _taken(self, wait_s: float) -> list[Item]:
        taken: list[Item] = []
        try:
            taken.append(self._inbox.get(timeout=wait_s) if wait_s > 0 else self._inbox.get_nowait())
            while len(taken) < FRAMES_A_TURN:
                taken.append(self._inbox.get_nowait())
        except queue.Empty:
            pass
        return taken

    def _decoded(self, taken: list[Item]) -> Intake:
        """What was taken, as what is to be kept and what is to be answered."""
        intake = Intake(len(taken))
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

    def _name(self, source: str, node_key: str | None) -> str:
        """Who sent something that does not say so: its topic's node, or the last one heard on that line."""
        if node_key is None:
            return self._node_on.get(source, UNKNOWN_NODE)
        return frames.node_of_key(node_key) or node_key

    def _refuse(self, frame: Frame, error: WireError, intake: Intake) -> None:
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

    def _take_status(self, status: Status, intake: Intake) -> None:
        node = None if status.node_key is None else self._name(status.source, status.node_key)
        log.info("source=%s node=%s online=%s %s", status.source, node, status.is_online, status.detail)
        if node is not None:
            intake.kept.heard.append(Heard(node, status.source, status.at, status.is_online))
