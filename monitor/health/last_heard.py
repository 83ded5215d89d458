"""Since when the monitor has listened, and what it has heard of each node: the facts about silence.

Held in memory and made anew from the store at a start. A pause of the monitor, a machine that slept or a clock that
was moved while nobody ran is a *break*: what was not listened to is not silent.
"""

from collections.abc import Callable, Iterable, Set
from datetime import UTC, datetime, timedelta

from monitor.alerts.silence import NodeFacts, Surroundings
from monitor.clock import Clock
from monitor.recipe.batch import Batch, BatchId
from monitor.store.nodes import Heard
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, NodeId, Reading

LONGEST_BREAK = timedelta(minutes=5)  # judgement: what a restart takes, and half of what makes a node silent
_EVER = datetime.min.replace(tzinfo=UTC)


class LastHeard:
    """What was heard, and when; of one thread.

    Parameters
    ----------
    speed
        How many times faster than the real clock the dough's runs.
    """

    def __init__(self, store: Store, clock: Clock, speed: float = 1.0) -> None:
        self._store = store
        self._clock = clock
        self._speed = speed
        self._since_at: datetime | None = None
        self._turn_at = _EVER
        self._turn_s = 0.0
        self._looked_s = float("-inf")
        self._is_interrupted = True
        self._newest: dict[tuple[NodeId, Channel], Reading] = {}
        self._heard: dict[NodeId, Heard] = {}

    def is_broken(self) -> bool:
        """Asked once a turn: True at the start, and after time has passed in which nobody listened."""
        now, now_s = self._clock.now(), self._clock.real_s()
        if self._since_at is None:
            self._begin(now)
            is_broken = True
        else:
            passed = timedelta(seconds=(now_s - self._turn_s) * self._speed)
            is_broken = abs(now - self._turn_at - passed) > LONGEST_BREAK
            if is_broken:
                self._since_at, self._is_interrupted = now, True
        self._turn_at, self._turn_s = now, now_s
        return is_broken

    def _begin(self, now: datetime) -> None:
        for row in self._store.nodes.all():
            self._heard.setdefault(row.node, Heard(row.node, row.source, row.last_seen_at))
            for reading in row.newest:
                self._take(reading)
        pause = now - max((heard.at for heard in self._heard.values()), default=_EVER)
        self._since_at = _EVER if timedelta() <= pause <= LONGEST_BREAK else now

    def hear(self, readings: Iterable[Reading], heard: Iterable[Heard]) -> None:
        """Take notice of what has just been stored."""
        for reading in readings:
            self._take(reading)
        for each in heard:
            if each.is_online is None:  # a broker's word that a node has gone is not the node's
                self._heard[NodeId(each.node)] = each

    def _take(self, reading: Reading) -> None:
        place = reading.node, reading.channel
        known = self._newest.get(place)
        if reading.flag is Flag.OK and (known is None or known.measured_at < reading.measured_at):
            self._newest[place] = reading

    def is_time_to_look(self, every_s: float) -> bool:
        """True when the last time was so long ago. [s]"""
        if self._clock.real_s() - self._looked_s < every_s:
            return False
        self._looked_s = self._clock.real_s()
        return True

    def newest_of(self, nodes: Iterable[tuple[Channel, NodeId]]) -> tuple[str, ...]:
        """The newest reading of each channel of a batch, in words: what its alerts were judged by."""
        found = [self._newest.get((node, channel)) for channel, node in nodes]
        return tuple(
            f"{reading.node} {reading.boot} {reading.seq} {reading.channel} {reading.value:g} "
            f"{reading.measured_at.isoformat(timespec='seconds')}"
            for reading in found
            if reading is not None
        )

    def surroundings(
        self,
        batches: Iterable[Batch],
        wanted: Set[BatchId],
        unread: Callable[[NodeId], frozenset[Channel]] = lambda node: frozenset(),
    ) -> Surroundings:
        """The nodes that some batches read, as they stand now.

        Parameters
        ----------
        batches
            Those that have begun and not ended.
        wanted
            Of these, those whose unseen dough should be looked at.
        unread
            Of which channels a node has said itself that it cannot read them.
        """
        now = self._clock.now()
        channels: dict[NodeId, dict[Channel, datetime | None]] = {}
        since: dict[NodeId, datetime] = {}
        unseen: dict[NodeId, list[BatchId]] = {}
        for batch in batches:
            for channel, node in batch.nodes:
                reading = self._newest.get((node, channel))
                channels.setdefault(node, {})[channel] = None if reading is None else reading.measured_at
                since[node] = min(since.get(node, batch.started_at), batch.started_at)
                if channel is Channel.DISTANCE and batch.id in wanted:
                    unseen.setdefault(node, []).append(batch.id)
        is_interrupted, self._is_interrupted = self._is_interrupted, False
        return Surroundings(
            tuple(
                self._facts(node, channels[node], since[node], unseen.get(node, []), unread(node))
                for node in sorted(channels)
            ),
            now,
            now if self._since_at is None else self._since_at,
            is_interrupted=is_interrupted,
        )

    def _facts(
        self,
        node: NodeId,
        last_seen: dict[Channel, datetime | None],
        since_at: datetime,
        unseen: list[BatchId],
        told: frozenset[Channel],
    ) -> NodeFacts:
        heard = self._heard.get(node)
        return NodeFacts(
            node,
            "" if heard is None else heard.source,
            None if heard is None else heard.at,
            last_seen,
            since_at,
            tuple(unseen),
            told,
        )
