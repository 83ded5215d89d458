"""What sources hand to the collector, over one bounded queue.

A source moves bytes and judges nothing but their size; a full queue makes it wait, so that the sender waits too
(nodes keep what is not acknowledged), instead of dropping anything.
"""

import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from monitor.clock import Clock

QUEUE_SIZE = 1000  # judgement: minutes of readings of a large bakery, and under 1 MB
UNKNOWN_NODE = "unknown"  # in counters and log lines, where the bytes do not say who sent them
REPEAT_S = 60.0  # judgement: a repeated fault is worth one line a minute
KEPT_KEYS = 1000  # judgement: names come from outside, so their number must have an end


@dataclass(frozen=True, slots=True)
class Frame:
    """One line or one MQTT payload, as it came.

    Attributes
    ----------
    arrived_at
        Dough time of arrival, aware UTC.
    source
        Name of the source, for counters and the log.
    node_key
        The node's key in the topic; None on a serial line, where only the frame itself names its node.
    acknowledge
        Sends an acknowledgement line to the node and lets the broker forget the message. Never raises and never
        blocks; to be called after the commit, from any thread. Not called for a frame whose checksum fails.
    """

    data: bytes
    arrived_at: datetime
    source: str
    node_key: str | None
    acknowledge: Callable[[bytes], None]


@dataclass(frozen=True, slots=True)
class Foreign:
    """One MQTT payload of a device that is no node of ours, live from the broker. Nobody is answered.

    Attributes
    ----------
    node_key
        Of a topic of our own, on which SenML comes without a frame; None: the settings say what the topic means.
    """

    data: bytes
    arrived_at: datetime
    source: str
    topic: str
    node_key: str | None


@dataclass(frozen=True, slots=True)
class Report:
    """A line in which a node says how it is; ``node_key`` None on a serial line. Nobody is answered."""

    data: bytes
    arrived_at: datetime
    source: str
    node_key: str | None


@dataclass(frozen=True, slots=True)
class Status:
    """A node, or (``node_key`` None) the source itself, came up or went down."""

    source: str
    node_key: str | None
    is_online: bool
    at: datetime
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """Bytes that the source itself refused: ``noise``, ``too long``, ``frame``; to be counted ``n`` times.

    ``about`` names the topic, where that is what was wrong.
    """

    source: str
    node_key: str | None
    reason: str
    n: int
    at: datetime
    about: str = ""


Item = Frame | Foreign | Report | Status | Fault


def put(items: "queue.Queue[Item]", item: Item, stopping: threading.Event) -> bool:
    """Put an item on the queue, waiting while it is full; False when the source was stopped meanwhile."""
    while not stopping.is_set():
        try:
            items.put(item, timeout=0.1)
        except queue.Full:
            continue
        return True
    return False


class FaultLog:
    """One log line for the first of a kind of fault, then one a minute at most with the count since.

    A kind is (node, reason). Usable from one thread.
    """

    def __init__(self, logger: logging.Logger, clock: Clock) -> None:
        self._logger = logger
        self._clock = clock
        self._kinds: dict[tuple[str, str], tuple[float, int]] = {}  # last line at real second, faults since

    def note(self, source: str, node: str, reason: str, detail: str = "", n: int = 1) -> None:
        """Count ``n`` faults of one kind, and say so when a line is due."""
        now_s = self._clock.real_s()
        if len(self._kinds) >= KEPT_KEYS:
            self._kinds.clear()
        said_s, count = self._kinds.get((node, reason), (None, 0))
        count += n
        if said_s is None or now_s - said_s >= REPEAT_S:
            self._logger.warning(
                "refused source=%s node=%r reason=%r count=%d detail=%r", source, node, reason, count, detail
            )
            said_s, count = now_s, 0
        self._kinds[node, reason] = (said_s, count)
