"""A node's readings as they come: from its own line, or from the store that a running collector fills.

Whoever listens on a line stands in for the collector: what comes is stored and then acknowledged, or the node would
soon send nothing but what it has said before.
"""

import queue
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Protocol

from monitor.clock import Clock
from monitor.errors import SourceError, WireError
from monitor.sources.intake import Fault, Frame, Item, Report
from monitor.sources.serial import SerialSource
from monitor.store.store import Store
from monitor.translatable import N_, Translatable
from monitor.wire import frames
from monitor.wire.readings import SENSOR_CHANNELS, NodeId, Reading
from monitor.wire.reports import NodeReport, decode_report

LOOK_EVERY_S = 0.2
QUEUE_SIZE = 100
LATE = timedelta(minutes=1)  # judgement: a pack that takes longer on its way says nothing of now


class Ear(Protocol):
    """Hears one pack after another."""

    def hear(self, until_s: float) -> tuple[Reading, ...]:
        """The readings of the next pack; empty when none has come by a moment of ``Clock.real_s``.

        Raises
        ------
        SourceError
            When nothing can be heard at all.
        """

    def report(self) -> NodeReport | None:
        """What the node has said of itself since one listens; None when nothing yet."""

    def explanation(self) -> str:
        """What may be wrong when nothing comes."""


@dataclass(slots=True)
class LineEar:
    """Hears the node on a serial line. A port that cannot be opened is a ``SourceError``."""

    source: SerialSource
    node: NodeId | None
    items: "queue.Queue[Item]"
    store: Store
    clock: Clock
    bad: int = 0
    why: str = ""
    said: NodeReport | None = None

    def hear(self, until_s: float) -> tuple[Reading, ...]:
        """See :class:`Ear`."""
        while (left_s := until_s - self.clock.real_s()) > 0:
            try:
                item = self.items.get(timeout=min(left_s, LOOK_EVERY_S))
            except queue.Empty:
                if self.source.trouble:
                    raise SourceError(self.source.trouble) from None
                continue
            if isinstance(item, Frame):
                found = self._taken(item)
                if found:
                    return found
            elif isinstance(item, Fault):
                self.bad += item.n
            elif isinstance(item, Report):
                self._take_report(item)
        return ()

    def _taken(self, frame: Frame) -> tuple[Reading, ...]:
        try:
            pack = frames.decode(frame.data)
            readings = frames.readings(pack, frame.arrived_at)
        except WireError as error:
            self.bad += 1
            self.why = str(error)
            return ()
        self.store.readings.add(readings)
        self.store.nodes.note(pack.node, frame.source, frame.arrived_at)
        frame.acknowledge(frames.acknowledgement(pack.boot, pack.seq))
        return readings

    def _take_report(self, item: Report) -> None:
        try:
            said = decode_report(item.data)
        except WireError:
            self.bad += 1
            return
        if self.node in (None, said.node):  # several tubs may speak on one line
            self.said = said

    def report(self) -> NodeReport | None:
        """See :class:`Ear`."""
        return self.said

    def explanation(self) -> str:
        """See :class:`Ear`."""
        if self.bad:
            return Translatable(
                N_(
                    "{n} lines came that are no readings ({why}): copy the firmware to the board with "
                    "`proofing-monitor node copy`, and see that this is the node's own port"
                )
                if self.why
                else N_(
                    "{n} lines came that are no readings: copy the firmware to the board with `proofing-monitor "
                    "node copy`, and see that this is the node's own port"
                ),
                n=self.bad,
                why=self.why,
            )
        return Translatable(
            "nothing came from {source}: see that the firmware is on the board (`proofing-monitor node copy`), that "
            "its link is serial, and that it measures more often than you wait",
            source=self.source.name,
        )


@dataclass(slots=True)
class StoreEar:
    """Hears a node, or any, through the collector that fills the store."""

    node: NodeId | None
    store: Store
    clock: Clock
    since: datetime
    heard: set[tuple[str, str, int]] = field(default_factory=set)

    def hear(self, until_s: float) -> tuple[Reading, ...]:
        """See :class:`Ear`."""
        while True:
            found = self._next()
            if found or self.clock.real_s() >= until_s:
                return found
            self.clock.wait(min(LOOK_EVERY_S, max(0.0, until_s - self.clock.real_s())))

    def _next(self) -> tuple[Reading, ...]:
        nodes = [row.node for row in self.store.nodes.all()] if self.node is None else [self.node]
        now = self.clock.now() + LATE
        packs: dict[tuple[str, str, int], list[Reading]] = {}
        for node in nodes:
            for channel in SENSOR_CHANNELS:
                for reading in self.store.readings.between(node, channel, self.since, now):
                    packs.setdefault((reading.node, reading.boot, reading.seq), []).append(reading)
        fresh = packs.keys() - self.heard
        if not fresh:
            return ()
        first = min(fresh, key=lambda identity: (packs[identity][0].measured_at, identity))
        self.heard.add(first)
        return tuple(packs[first])

    def report(self) -> NodeReport | None:
        """See :class:`Ear`."""
        rows = (row for row in self.store.nodes.all() if row.node == self.node)
        return next((row.report for row in rows if row.report_at and row.report_at >= self.since), None)

    def explanation(self) -> str:
        """See :class:`Ear`."""
        return Translatable(
            "{node} said nothing that reached {database}: see that `proofing-monitor collect` runs on this data "
            "directory and that the node is on; or listen on its own line with --port PORT",
            node=self.node or Translatable("no node"),
            database=self.store.path,
        )


@contextmanager
def listening(port: str | None, node: NodeId | None, store: Store, clock: Clock) -> Iterator[Ear]:
    """An ear on a node's port, or (``port`` None) on the store.

    Raises
    ------
    ConfigError
        When the port's hardware id has the wrong form.
    """
    if port is None:
        yield StoreEar(node, store, clock, clock.now())
        return
    items: queue.Queue[Item] = queue.Queue(QUEUE_SIZE)
    source = SerialSource(port, clock, items)
    source.start()
    try:
        yield LineEar(source, node, items, store, clock)
    finally:
        source.stop()
