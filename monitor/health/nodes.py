"""Nodes that send and are not well all the same: one that starts again and again, one whose distance never moves."""

from collections import deque
from dataclasses import dataclass, field

from monitor.alerts.troubles import DistanceStuck, NodeRestarts
from monitor.clock import Clock
from monitor.health.supervisor import Symptom
from monitor.wire.frames import Pack
from monitor.wire.readings import Channel, NodeId

REBOOTS, REBOOTS_WITHIN_S = 5, 900.0  # judgement: a person setting a node up restarts it twice or thrice
# judgement: a ranger that works flickers by its last digit, even over a tub that stands still
STUCK_PACKS, STUCK_S = 60, 3600.0
KEPT_NODES = 1000  # judgement: names come from outside, so their number must have an end


@dataclass(slots=True)
class _Node:
    """What is remembered of one node: its newest boots, and since when its distance has been the same."""

    boots: deque[tuple[str, float]] = field(default_factory=lambda: deque(maxlen=REBOOTS + 1))
    distance_mm: float | None = None
    same: int = 0
    same_since_s: float = 0.0


class NodeWatch:
    """Told of every pack that is kept; says which nodes need a hand. Counts in real seconds, as they arrive."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._nodes: dict[NodeId, _Node] = {}

    def see(self, pack: Pack) -> None:
        """Take notice of a pack."""
        if len(self._nodes) >= KEPT_NODES and pack.node not in self._nodes:
            self._nodes.clear()
        node = self._nodes.setdefault(pack.node, _Node())
        now_s = self._clock.real_s()
        if pack.boot not in [boot for boot, _ in node.boots]:
            node.boots.append((pack.boot, now_s))
        distance_mm = dict(pack.values).get(Channel.DISTANCE)
        if distance_mm is None:
            return
        if distance_mm != node.distance_mm:
            node.distance_mm, node.same, node.same_since_s = distance_mm, 0, now_s
        node.same += 1

    def troubles(self) -> list[Symptom]:
        """What is wrong with any node now."""
        now_s = self._clock.real_s()
        found: list[Symptom] = []
        for name, node in list(self._nodes.items()):
            newest = [since_s for _, since_s in node.boots if now_s - since_s <= REBOOTS_WITHIN_S]
            if len(newest) > REBOOTS:
                found.append(Symptom(NodeRestarts(name, REBOOTS, REBOOTS_WITHIN_S / 60)))
            if node.same >= STUCK_PACKS and now_s - node.same_since_s >= STUCK_S:
                found.append(Symptom(DistanceStuck(name, node.distance_mm or 0.0, (now_s - node.same_since_s) / 60)))
        return found
