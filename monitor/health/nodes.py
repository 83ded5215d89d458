"""Nodes that are not well: one that starts again and again, one whose distance never moves, what it says of itself."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from monitor.alerts.troubles import DistanceStuck, FlashFull, NodeRestarts, SensorUnread, SignalWeak, Trouble
from monitor.clock import Clock
from monitor.health.supervisor import Symptom
from monitor.wire.frames import Pack
from monitor.wire.readings import Channel, NodeId
from monitor.wire.reports import SENSORS, NodeReport

REBOOTS, REBOOTS_WITHIN_S = 5, 900.0  # judgement: a person setting a node up restarts it twice or thrice
# judgement: a ranger that works flickers by its last digit, even over a tub that stands still
STUCK_PACKS, STUCK_S = 60, 3600.0
UNREAD_S = 180.0  # judgement: who wires a sensor sees it on the screen before a phone rings
SAID_S = 900.0  # judgement: a node reports each minute; an older report tells of the past
WEAK_DBM, HEARD_DBM = -80, -77  # common practice for wireless networks, no source; the second ends it
WEAK_S = 900.0  # judgement: a door, an oven or a crowd is in the way for minutes
LEAST_FLASH = 16_384  # judgement: the largest file of the firmware must still go onto it
KEPT_NODES = 1000  # judgement: names come from outside, so their number must have an end


@dataclass(slots=True)
class _Node:
    """What is remembered of one node: its newest boots, and since when its distance has been the same."""

    boots: deque[tuple[str, float]] = field(default_factory=lambda: deque(maxlen=REBOOTS + 1))
    distance_mm: float | None = None
    same: int = 0
    same_since_s: float = 0.0
    report: NodeReport | None = None
    said_s: float = 0.0
    is_weak: bool = False

    def start(self, boot: str, now_s: float) -> None:
        """Take notice of a boot, whether new or known."""
        if boot not in [known for known, _ in self.boots]:
            self.boots.append((boot, now_s))


class NodeWatch:
    """Told of every pack and report that is kept; says which nodes need a hand. Counts real seconds, as they come."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._nodes: dict[NodeId, _Node] = {}

    def _of(self, node: NodeId) -> _Node:
        if len(self._nodes) >= KEPT_NODES and node not in self._nodes:
            self._nodes.clear()
        return self._nodes.setdefault(node, _Node())

    def see(self, pack: Pack) -> None:
        """Take notice of a pack; one that was kept over a restart tells of the past."""
        if pack.is_kept:
            return
        node, now_s = self._of(pack.node), self._clock.real_s()
        node.start(pack.boot, now_s)
        distance_mm = dict(pack.values).get(Channel.DISTANCE)
        if distance_mm is None:
            return
        if distance_mm != node.distance_mm:
            node.distance_mm, node.same, node.same_since_s = distance_mm, 0, now_s
        node.same += 1

    def hear(self, report: NodeReport) -> None:
        """Take notice of what a node says of itself."""
        node, now_s = self._of(report.node), self._clock.real_s()
        node.start(report.boot, now_s)
        node.report, node.said_s = report, now_s
        dbm = report.signal_dbm
        node.is_weak = dbm is not None and dbm < (HEARD_DBM if node.is_weak else WEAK_DBM)

    def unread(self, node: NodeId) -> frozenset[Channel]:
        """The channels of which the node has said by itself, not long ago, that it cannot read them."""
        known = self._nodes.get(node)
        if known is None or known.report is None or self._clock.real_s() - known.said_s > SAID_S:
            return frozenset()
        return frozenset(channel for which in known.report.missing for channel in SENSORS.get(which, ()))

    def troubles(self) -> list[Symptom]:
        """What is wrong with any node now."""
        now_s = self._clock.real_s()
        found: list[Symptom] = []
        for name, node in list(self._nodes.items()):
            newest = [since_s for _, since_s in list(node.boots) if now_s - since_s <= REBOOTS_WITHIN_S]
            if len(newest) > REBOOTS:
                cause = "" if node.report is None else node.report.cause
                found.append(Symptom(NodeRestarts(name, REBOOTS, REBOOTS_WITHIN_S / 60, cause)))
            if node.same >= STUCK_PACKS and now_s - node.same_since_s >= STUCK_S:
                found.append(Symptom(DistanceStuck(name, node.distance_mm or 0.0, (now_s - node.same_since_s) / 60)))
            if node.report is not None:
                is_old = now_s - node.said_s > SAID_S  # its silence is another matter, and is told as such
                found += [Symptom(what, after_s, is_old) for what, after_s in said(node.report, is_weak=node.is_weak)]
        return found


def said(report: NodeReport, *, is_weak: bool) -> Iterator[tuple[Trouble, float]]:
    """What a node says is wrong with it, and how long each must last."""
    for which, fault in report.missing.items():
        sensor = report.sensors[which]
        unread_min = None if sensor.age is None else sensor.age / 60.0
        yield SensorUnread(report.node, which, fault, sensor.faults[fault], sensor.pins, unread_min), UNREAD_S
    if is_weak and report.signal_dbm is not None:
        yield SignalWeak(report.node, report.signal_dbm), WEAK_S
    if report.flash_bytes is not None and report.flash_bytes < LEAST_FLASH:
        yield FlashFull(report.node, report.flash_bytes), 0.0
