"""Alerts about what stands round the doughs: nodes and lines that are silent.

One silence is one alert, however many batches it serves, and it says which. The greater cause suppresses the lesser:
a line over which no node is heard explains its nodes, a node that is not heard explains its sensors, and both explain
the alerts of the doughs that they serve (:mod:`monitor.alerts.dough`). When a dough that nobody sees should be ready
by the forecast, the silence is told once more, with the dough's name: nothing is missed, and it is one call.

A node counts as silent from the last that was heard of it, or from when the monitor began to listen, whichever is
later: a monitor that was off has not listened.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.alert import Alert, AlertUpdate, Rules, Sort, Subject
from monitor.alerts.conditions import Condition
from monitor.alerts.kinds import AlertKind
from monitor.alerts.lifecycle import Episodes
from monitor.alerts.reasons import (
    ChannelsUnread,
    Explanation,
    HeardAgain,
    LineSilent,
    LineUnheard,
    NoBatchReadsIt,
    NodeSaysWhy,
    NodeSilent,
    NodeUnheard,
)
from monitor.recipe.batch import BatchId
from monitor.wire.readings import Channel, NodeId

LINE_LEAD = 0.5
"""A node is explained by its line when every node on it has been quiet for this part of the time: they go silent one
after the other, each by its own reading, and the first must not be told alone (judgement)."""


@dataclass(frozen=True, slots=True)
class NodeFacts:
    """One node that running batches read.

    Attributes
    ----------
    line
        Over which line it was heard last; empty: never.
    heard_at
        When anything was heard of it last; None: never.
    last_seen
        When each channel that a batch reads from it was measured last; None: never.
    since_at
        Since when a batch has needed it.
    unseen
        Batches that it serves whose dough nobody sees and which should be ready, or on their way into the oven.
    told
        Channels of which the node itself says that it cannot read them: that is told as a trouble, with the reason.
    """

    node: NodeId
    line: str
    heard_at: datetime | None
    last_seen: Mapping[Channel, datetime | None]
    since_at: datetime
    unseen: tuple[BatchId, ...] = ()
    told: frozenset[Channel] = frozenset()


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known of the nodes that running batches read, at one moment.

    Attributes
    ----------
    listening_since
        Since when the monitor has listened without a break.
    is_interrupted
        As in :class:`~monitor.alerts.alert.Facts`.
    """

    nodes: tuple[NodeFacts, ...]
    now: datetime
    listening_since: datetime
    is_interrupted: bool = False

    def quiet(self, node: NodeFacts, seen_at: datetime | None) -> timedelta:
        """For how long something of a node has not been heard."""
        return self.now - max(seen_at or node.since_at, node.since_at, self.listening_since)

    def nodes_of(self, subject: Subject) -> tuple[NodeFacts, ...]:
        """The nodes that an alert about a node or a line is about."""
        if subject.sort is Sort.LINE:
            return tuple(node for node in self.nodes if node.line == subject.name)
        return tuple(node for node in self.nodes if node.node == subject.name)


def look(rules: Rules, alerts: tuple[Alert, ...], seen: Surroundings) -> tuple[AlertUpdate, ...]:
    """What the alerts about nodes and lines become: one step for each subject. Pure.

    Parameters
    ----------
    alerts
        All alerts so far that are about no batch, every episode. What is about the monitor itself is left alone.
    """
    limit = timedelta(minutes=rules.silence_min)
    quiet = {node.node: seen.quiet(node, node.heard_at) for node in seen.nodes}
    on_line = Counter(node.line for node in seen.nodes if node.line)
    shared = {line for line, n in on_line.items() if n > 1}
    least = {line: min(quiet[node.node] for node in seen.nodes if node.line == line) for line in shared}
    steps: dict[Subject, AlertUpdate] = {}
    so_far: dict[Subject, list[Alert]] = {}
    for alert in alerts:
        so_far.setdefault(alert.subject, []).append(alert)

    def opened(subject: Subject) -> Episodes:
        return Episodes.of(
            subject, so_far.get(subject, []), seen.now, rules.keep_min, is_interrupted=seen.is_interrupted
        )

    lines: dict[str, Episodes] = {}
    for line in sorted(shared):
        episodes = lines[line] = opened(Subject(Sort.LINE, line))
        is_silent = least[line] >= limit
        unseen = [_batch_word(batch) for node in seen.nodes if node.line == line for batch in node.unseen]
        about = tuple(dict.fromkeys(unseen)) if is_silent else ()
        reason = LineUnheard(rules.silence_min) if is_silent else HeardAgain()
        episodes.advance(AlertKind.LINE_SILENT, Condition(is_silent, not is_silent, reason, 0.0, about))
        steps[episodes.subject] = episodes.settled({})
    for node in seen.nodes:
        episodes = opened(Subject(Sort.NODE, node.node))
        _advance_node(episodes, rules, seen, node, is_silent=quiet[node.node] >= limit)
        explained = _explained(episodes, lines.get(node.line), least.get(node.line), limit)
        steps[episodes.subject] = episodes.settled(_said_itself(seen, node, limit) | explained)
    for subject in dict.fromkeys(alert.subject for alert in alerts):
        if subject not in steps and subject.sort is not Sort.MONITOR:
            episodes = opened(subject)
            episodes.close(NoBatchReadsIt())
            steps[subject] = episodes.settled({})
    return tuple(steps.values())


def _explained(
    episodes: Episodes, line: Episodes | None, least: timedelta | None, limit: timedelta
) -> dict[AlertKind, Explanation]:
    """What explains the alerts of a node; ``least`` is for how long nothing has been heard over its line."""
    if line is not None and least is not None:
        is_silent = AlertKind.LINE_SILENT in line.firing
        if is_silent or least >= limit * LINE_LEAD:
            return dict.fromkeys((AlertKind.NODE_SILENT, AlertKind.SENSOR_SILENT), LineSilent())
    is_node = AlertKind.NODE_SILENT in episodes.firing
    return {AlertKind.SENSOR_SILENT: NodeSilent()} if is_node else {}


def _advance_node(episodes: Episodes, rules: Rules, seen: Surroundings, node: NodeFacts, *, is_silent: bool) -> None:
    unseen = tuple(_batch_word(batch) for batch in node.unseen)
    episodes.advance(
        AlertKind.NODE_SILENT,
        Condition(
            begins=is_silent,
            ends=not is_silent,
            reason=NodeUnheard(rules.silence_min) if is_silent else HeardAgain(),
            about=unseen if is_silent else (),
        ),
    )
    limit = timedelta(minutes=rules.silence_min)
    still = _silent(seen, node, limit)
    silent = () if is_silent else tuple(channel for channel in node.last_seen if channel in still)
    is_partly = bool(silent)
    if is_silent and AlertKind.SENSOR_SILENT in episodes.firing:
        return  # what is heard of the node says nothing of its sensors now
    about = (*silent, *(unseen if Channel.DISTANCE in silent else ()))
    episodes.advance(
        AlertKind.SENSOR_SILENT,
        Condition(
            begins=is_partly,
            ends=not is_partly,
            reason=ChannelsUnread(rules.silence_min, silent) if is_partly else HeardAgain(),
            hold_min=rules.sensor_hold_min,
            about=about,
        ),
    )


def _said_itself(seen: Surroundings, node: NodeFacts, limit: timedelta) -> dict[AlertKind, Explanation]:
    """What of its silence a node has explained itself; with a dough that nobody sees it is told all the same."""
    silent = _silent(seen, node, limit)
    if node.unseen or not silent or not silent <= node.told:
        return {}
    kinds = [AlertKind.SENSOR_SILENT] + ([AlertKind.NODE_SILENT] if silent == node.last_seen.keys() else [])
    return dict.fromkeys(kinds, NodeSaysWhy())


def _silent(seen: Surroundings, node: NodeFacts, limit: timedelta) -> frozenset[Channel]:
    """The channels that have given no reading for so long."""
    return frozenset(channel for channel, at in node.last_seen.items() if seen.quiet(node, at) >= limit)


def _batch_word(batch_id: BatchId) -> str:
    return f"batch-{batch_id}"


def batches_named(alert: Alert) -> tuple[BatchId, ...]:
    """The batches that an alert about a silence names as to be looked at."""
    words = alert.about.split()
    return tuple(BatchId(int(word.removeprefix("batch-"))) for word in words if word.startswith("batch-"))
