"""What the sources bring, taken in turn by turn and decoded: what is to be kept of it, and what is to be answered."""

import logging
import queue
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from monitor.clock import Clock
from monitor.errors import WireError
from monitor.health.counters import Pulse
from monitor.recipe.sight import Sight
from monitor.sources.intake import UNKNOWN_NODE, Fault, FaultLog, Foreign, Frame, Item, Report, Status
from monitor.store.nodes import Arrivals, Heard, Reported
from monitor.store.rows import QuarantinedFrame
from monitor.wire import frames
from monitor.wire.foreign import ForeignSensor, node_of_topic
from monitor.wire.frames import KEPT_NAMES, Pack
from monitor.wire.lateness import Lateness
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wire.reports import NodeReport, decode_report

log = logging.getLogger(__name__)

FRAMES_A_TURN = 256  # judgement: a commit of so many takes milliseconds, and their memory is small
MOST_NODES_ON_A_LINE = 64  # judgement: a hub that passes on what several boards send, and far more than that
CHANNEL = "channel"
DETAIL_CHARS = 200  # judgement: of an error's detail, which quotes what came from outside


class FaultCounts:
    """Bad input, logged once a minute and kind, and counted until the store takes the counts over."""

    def __init__(self, pulse: Pulse, clock: Clock) -> None:
        self._log = FaultLog(log, clock)
        self._pulse = pulse
        self._new: Counter[tuple[str, str, str]] = Counter()
        self._abouts: dict[tuple[str, str, str], str] = {}

    def note(self, source: str, node: str, reason: str, detail: str = "", n: int = 1, about: str = "") -> None:
        """One bad input more (or ``n``)."""
        self._log.note(source, node, reason, detail or about, n)
        self._new[source, node, reason] += n
        self._abouts[source, node, reason] = about[:DETAIL_CHARS]
        self._pulse.refused[reason] += n

    def hand_over(self, kept: Arrivals) -> None:
        """Give what was noted since the last time to what is to be kept."""
        kept.faults, self._new = self._new, Counter()
        kept.abouts, self._abouts = self._abouts, {}


@dataclass(slots=True)
class Intake:
    """What one turn took from the inbox, decoded: held until the store has it, and only then acknowledged."""

    n: int
    kept: Arrivals = field(default_factory=Arrivals)
    packs: list[Pack] = field(default_factory=list)
    reports: list[NodeReport] = field(default_factory=list)
    newest: dict[NodeId, tuple[Frame, str]] = field(default_factory=dict)
    answers: list[tuple[Frame, bytes]] = field(default_factory=list)

    @property
    def nodes(self) -> set[str]:
        """The nodes that sent something."""
        return {reading.node for reading in self.kept.readings}


class Reception:
    """Takes from the inbox what the sources have put there.

    Parameters
    ----------
    known
        Source and name of the nodes heard of before; asked for once, by the first :meth:`take`.
    speed
        How many times faster than the real clock the dough's runs.
    sensors
        What devices that are no nodes of ours send.
    sights
        What a node's distance sensor can see, where that is known.
    """

    def __init__(
        self,
        inbox: "queue.Queue[Item]",
        clock: Clock,
        faults: FaultCounts,
        known: Callable[[], Iterable[tuple[str, str]]],
        speed: float = 1.0,
        sensors: Sequence[ForeignSensor] = (),
        sights: Callable[[NodeId], Sight | None] = lambda node: None,
    ) -> None:
        self._inbox = inbox
        self._clock = clock
        self._faults = faults
        self._node_on: dict[str, str] = {}
        self._known = known
        self._sensors = sensors
        self._sights = sights
        self._aside: set[tuple[str, str]] = set()
        self._tubs: dict[NodeId, set[NodeId]] = {}
        self._nodes_on: dict[str, set[str]] | None = None
        self._lateness = Lateness(speed)

    def take(self, wait_s: float) -> Intake:
        """What waits, at most ``FRAMES_A_TURN``; when nothing does, what comes within so many seconds."""
        if self._nodes_on is None:
            found: dict[str, set[str]] = {}
            for source, node in self._known():
                found.setdefault(source, set()).add(node)
                self._note_tub(NodeId(node))
            self._nodes_on = found
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
        decoded: list[tuple[Frame, Pack]] = []
        for item in taken:
            if isinstance(item, Status):
                self._take_status(item, intake)
            elif isinstance(item, Fault):
                node = self._name(item.source, item.node_key)
                self._faults.note(item.source, node, item.reason, n=item.n, about=item.about)
            elif isinstance(item, Report):
                self._take_report(item, intake)
            elif isinstance(item, Foreign):
                seen |= dict.fromkeys(self._take_foreign(item, intake), item.source)
            else:
                try:
                    pack = frames.decode(item.data, item.node_key)
                except WireError as error:
                    self._refuse(item, error, intake)
                    continue
                if item.node_key is None and not self._is_admitted(item.source, item.source, pack.node):
                    continue
                self._lateness.hear(pack, item.arrived_at)
                decoded.append((item, pack))
                if item.node_key is None:
                    self._node_on[item.source] = pack.node
        for frame, pack in decoded:  # only now: the timeliest of them says how late the others are
            try:
                late_s = self._lateness.late_s(pack, frame.arrived_at)
                intake.kept.readings += frames.readings(pack, frame.arrived_at, late_s)
            except WireError as error:
                self._refuse(frame, error, intake)
                continue
            intake.packs.append(pack)
            self._note_tub(pack.node)
            if not pack.is_kept:  # what is called is said to the boot that hears it
                intake.newest[pack.node] = (frame, pack.boot)
            if pack.unknown:
                self._put_aside(frame, pack, intake)
            intake.answers.append((frame, frames.acknowledgement(pack.boot, pack.seq)))
            seen[pack.node] = frame.source
        intake.kept.heard += [Heard(node, source, now) for node, source in seen.items()]
        intake.kept.readings = list(map(self._seen, intake.kept.readings))
        self._note_doubtful(intake.kept.readings, seen)
        self._faults.hand_over(intake.kept)
        return intake

    def _seen(self, reading: Reading) -> Reading:
        """A distance with its flag when it is one that its sensor cannot see: then that is a fault, never a level."""
        if reading.channel is not Channel.DISTANCE or reading.flag is not Flag.OK:
            return reading
        sight = self._sights(reading.node)
        return reading if sight is None or reading.value > sight.least_mm else replace(reading, flag=Flag.TOO_NEAR)

    def _is_admitted(self, source: str, line: str, node: str) -> bool:
        """False for one more name on a line that has told too many: names come from outside and fill the store.

        Such a frame is counted and neither kept nor acknowledged: a node that is there keeps what it measured. At a
        broker only nodes with a password have a topic; there a line is what one ``[[sensor]]`` takes.
        """
        assert self._nodes_on is not None
        admitted = self._nodes_on.setdefault(line, set())
        if node not in admitted and len(admitted) >= MOST_NODES_ON_A_LINE:
            self._faults.note(source, UNKNOWN_NODE, "name", f"more than {MOST_NODES_ON_A_LINE} nodes on one line")
            return False
        admitted.add(node)
        return True

    def _put_aside(self, frame: Frame, pack: Pack, intake: Intake) -> None:
        """Count each record that is no channel here; the first pack that has it goes into quarantine too."""
        for name in pack.unknown:
            about = name[:DETAIL_CHARS]
            self._faults.note(frame.source, pack.node, CHANNEL, about=about)
            if (pack.node, about) not in self._aside and len(self._aside) < KEPT_NAMES:
                self._aside.add((pack.node, about))
                refused = QuarantinedFrame(pack.node, frame.source, CHANNEL, frame.data, frame.arrived_at)
                intake.kept.refused.append(refused)

    def _take_foreign(self, item: Foreign, intake: Intake) -> set[NodeId]:
        """Keep what a device that is no node of ours says; returns the nodes it is taken for."""
        found: list[Reading] = []
        refused: list[tuple[NodeId, WireError]] = []
        node = frames.node_of_key(item.node_key or "")
        if node is not None:
            try:
                found, faults = frames.unframed(item.data, node, item.arrived_at)
                refused = [(node, fault) for fault in faults]
            except WireError as error:
                refused = [(node, error)]
        for sensor in self._sensors if node is None else ():
            if not sensor.takes(item.topic):
                continue
            of = sensor.node or node_of_topic(item.topic)
            if not self._is_admitted(item.source, f"{item.source} {sensor.topic}", of):
                continue
            try:
                found.append(sensor.reading(item.topic, item.data, item.arrived_at))
            except WireError as error:
                refused.append((of, error))
        for of, fault in refused:
            self._faults.note(item.source, of, fault.reason, fault.detail[:DETAIL_CHARS], about=fault.about)
        intake.kept.readings += found
        nodes = {reading.node for reading in found}
        intake.kept.heard += [Heard(of, item.source, item.arrived_at, True) for of in nodes]
        return nodes

    def _name(self, source: str, node_key: str | None) -> str:
        """Who sent something that does not say so: its topic's node, or the last one heard on that line."""
        if node_key is None:
            return self._node_on.get(source, UNKNOWN_NODE)
        return frames.node_of_key(node_key) or node_key

    def _refuse(self, frame: Frame, error: WireError, intake: Intake) -> None:
        """Count a bad frame. One that came whole goes into quarantine and is acknowledged."""
        node = self._name(frame.source, frame.node_key)
        self._faults.note(frame.source, node, error.reason, error.detail[:DETAIL_CHARS], about=error.about)
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

    def _take_report(self, item: Report, intake: Intake) -> None:
        """Keep what a node says of itself; one that cannot be read is counted, the next comes in a minute."""
        try:
            report = decode_report(item.data, item.node_key)
        except WireError as error:
            self._faults.note(item.source, self._name(item.source, item.node_key), error.reason, error.detail)
            return
        if item.node_key is not None or self._is_admitted(item.source, item.source, report.node):
            intake.reports.append(report)
            intake.kept.reports.append(Reported(report.node, item.source, item.data.decode(), item.arrived_at))

    def _note_tub(self, node: NodeId) -> None:
        """Remember on whose board a further tub hangs: what its broker says of the board holds for it too."""
        board = frames.first_tub(node)
        if board != node:
            self._tubs.setdefault(board, set()).add(node)

    def _take_status(self, status: Status, intake: Intake) -> None:
        node = None if status.node_key is None else self._name(status.source, status.node_key)
        log.info("source=%s node=%s online=%s %s", status.source, node, status.is_online, status.detail)
        if node is not None:
            of = [node, *sorted(self._tubs.get(NodeId(node), ()))]
            intake.kept.heard += [Heard(each, status.source, status.at, status.is_online) for each in of]
