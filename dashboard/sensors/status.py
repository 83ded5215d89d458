"""The nodes as the store has them: the strip of when each was heard, how each is, and all that to be saved.

What takes a day's readings to tell is worked out anew every ten minutes of the dough's clock, not at each refresh.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import pandas as pd
import streamlit as st

from dashboard.drawing import tables
from dashboard.drawing.exports import Figure
from dashboard.drawing.markup import elastic_drawing, text
from dashboard.drawing.palette import FONT, Palette
from dashboard.drawing.strips import HEIGHT_PX, Hours, heard_svg
from dashboard.page import View
from dashboard.sensors import health, words
from monitor.store.readings import Hearing
from monitor.store.rows import NodeRow
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId, Reading

LOOK_BACK = timedelta(hours=3)  # judgement: long enough to see a morning's gaps
DAY, WEEK = timedelta(days=1), timedelta(days=7)
KEPT_FOR = timedelta(minutes=10)
NAME_PX = 24.0
HEALTH_ROWS = (N_("signal"), N_("battery"), N_("clock"), N_("set right"), N_("gaps"), N_("its sensors"), N_("itself"))


@dataclass(frozen=True, slots=True)
class NodeStatus:
    """One node: when it was heard and when it lost something lately, and how it is, as label and words."""

    row: NodeRow
    heard: tuple[datetime, ...]
    lost: tuple[datetime, ...]
    health: tuple[tuple[str, str], ...]


def _measured(row: NodeRow) -> Channel:
    """The channel by which a node is heard: of what it measures, what came last."""
    own = [each for each in row.newest if each.channel in SENSOR_CHANNELS]
    return max(own, key=lambda each: each.measured_at).channel if own else Channel.LOST


def status_of(row: NodeRow, view: View) -> NodeStatus:
    """What the screen says of one node now."""
    since = view.now - LOOK_BACK
    heard, lost = (
        tuple(each.measured_at for each in view.store.readings.between(row.node, channel, since, view.now))
        for channel in (_measured(row), Channel.LOST)
    )
    return NodeStatus(row, heard, lost, tuple(_health(row, view)))


def strip(one: NodeStatus, view: View, palette: Palette) -> str:
    """When a node was heard, and when it lost something."""
    hours = Hours(view.now - LOOK_BACK, view.now)
    return heard_svg(one.heard, one.lost, hours, view.reader, palette)


@st.cache_resource(max_entries=400, ttl=600, show_spinner=False)
def _heard(path: str, node: NodeId, channel: Channel, until: datetime, back: timedelta, _store: Store) -> Hearing:
    return _store.readings.hearing(node, channel, until - back, until + KEPT_FOR)


def _of(row: NodeRow, channel: Channel, back: timedelta, view: View) -> Hearing:
    until = datetime.min.replace(tzinfo=view.now.tzinfo)
    until += KEPT_FOR * ((view.now - until) // KEPT_FOR)
    return _heard(str(view.store.path), row.node, channel, until, back, view.store)


def is_stuck(reading: Reading, view: View) -> bool:
    """True when a distance has been the very same for an hour, which no ranger that works says."""
    if reading.channel is not Channel.DISTANCE:
        return False
    heard = view.store.readings.hearing(reading.node, reading.channel, view.now - timedelta(hours=1), view.now)
    return health.is_stuck(heard, view.now)


def _health(row: NodeRow, view: View) -> list[tuple[str, str]]:
    """How a node is, as label and words: signal, battery, clock, calibration, gaps."""
    reader, now = view.reader, view.now
    heard = _of(row, _measured(row), DAY, view)
    signal, battery = row.last(Channel.SIGNAL), row.last(Channel.BATTERY)
    reported_dbm = None if row.report is None else row.report.signal_dbm
    course = _of(row, Channel.BATTERY, WEEK, view)
    set_right = words.calibration_words(
        [each.channel for each in row.newest], view.store.calibrations.all(row.node), reader, now
    )
    answers = (
        words.signal_words(reported_dbm if signal is None else signal.value, reader),
        words.battery_words(None if battery is None else battery.value, health.days_left(course), reader),
        words.clock_words(heard, reader),
        "; ".join(set_right) or reader.say("nothing to set right"),
        words.gaps_words(health.gaps_of(heard.measured_s), reader, now),
        *words.report_words(row, reader, now),
    )
    return list(zip(HEALTH_ROWS, answers, strict=True))


def sensors_figure(nodes: Sequence[NodeStatus], view: View) -> Figure:
    """All nodes: their strips under each other, and a line of a table for each."""
    say, rows = view.reader.say, [one.row for one in nodes]

    def draw(palette: Palette) -> str:
        parts = []
        for k, one in enumerate(nodes):
            y = k * (HEIGHT_PX + NAME_PX)
            name = one.row.node.removeprefix("urn:dev:")
            parts.append(text(name, x=0, y=y + 16.0, font_size=14, font_family=FONT, font_weight=600, fill=palette.ink))
            drawn = strip(one, view, palette)
            parts.append(drawn.replace('width="100%"', f'y="{y + NAME_PX:g}" width="100%"', 1))
        return elastic_drawing("".join(parts), len(nodes) * (HEIGHT_PX + NAME_PX))

    def table() -> pd.DataFrame:
        columns = tables.clocks([row.last_seen_at for row in rows], "last_heard", view.reader.zone)
        columns = {"node": [row.node for row in rows], **columns, "lost_packs": [row.lost_packs for row in rows]}
        for name, channel in (("signal_dbm", Channel.SIGNAL), ("battery_v", Channel.BATTERY)):
            last = [row.last(channel) for row in rows]
            columns[name] = pd.Series([None if each is None else each.value for each in last], dtype="float64")
        health = [dict(one.health) for one in nodes]
        return pd.DataFrame(columns | {f"{what}_words": [each[what] for each in health] for what in HEALTH_ROWS})

    return Figure("", say("sensors"), say("When each sensor was heard in the last three hours."), table, draw)
