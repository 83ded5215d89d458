"""The sensor nodes: what each said last, when it was heard on the clock, what was refused and why, what got lost."""

import html
from datetime import datetime

import streamlit as st

from dashboard import page, places, queries
from dashboard.access import preferences
from dashboard.drawing.strips import HEARD_GAP
from dashboard.drawing.svg import picture
from dashboard.sensors import cards, overview
from dashboard.sensors.cards import CALIBRATED
from dashboard.sensors.overview import Seen
from monitor.store.rows import FaultCount
from monitor.translatable import N_
from monitor.units import fahrenheit
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wording.alerts import channel_word, clock_text

# What each channel is called in a row of large numbers; its unit and its decimals.
NAMES = {
    Channel.AIR_TEMP: N_("air"),
    Channel.HUMIDITY: N_("humidity"),
    Channel.DOUGH_TEMP: N_("dough"),
    Channel.DISTANCE: N_("down to the dough"),
    Channel.LEVEL: N_("level by eye"),
}
SHOWN = {
    Channel.AIR_TEMP: ("°C", 1),
    Channel.HUMIDITY: ("%", 0),
    Channel.DOUGH_TEMP: ("°C", 1),
    Channel.DISTANCE: ("mm", 0),
    Channel.LEVEL: ("mm", 0),
}
FLAGS = {Flag.OUT_OF_RANGE: N_("out of range"), Flag.CLOCK: N_("clock")}
FAULT_TITLES = (N_("from"), N_("why"), N_("times"), N_("last"))
PLUG_IN = N_("Plug one in, or let it log in to your broker, and start the collector:")


def show() -> None:
    """All nodes ever heard of, looked at again every few seconds."""
    reader = preferences.reader(queries.database().parent)
    subtitle = reader.say("When each was heard, what it said last, and what could not be used.")
    st.html(page.heading(reader.say("Nodes"), subtitle))

    @st.fragment(run_every=page.REFRESH_S)
    def live() -> None:
        page.shown(_draw)

    live()
    page.shown(page.put_live_saves)


def _draw(scene: page.Scene) -> None:
    nodes = scene.store.nodes()
    unheard = _unheard({row.node for row in nodes}, scene)
    if nodes or unheard:
        seen = [overview.seen(row, scene) for row in nodes]
        st.html("".join(_node(one, scene) for one in seen) + unheard)
        page.keep(overview.exhibit(seen, scene), "nodes")
    else:
        title = html.escape(scene.reader.say("No node has been heard yet"))
        st.html(
            f'<div class="panel empty"><h2>{title}</h2>'
            f"<p>{html.escape(scene.reader.say(PLUG_IN))} <code>proofing-monitor collect</code></p></div>"
        )
    faults = scene.store.faults()
    said = _faults(faults, scene) if faults else page.quiet(scene.reader.say("Everything that came could be used."))
    st.html(page.section(scene.reader.say("What could not be used")) + said)


def _unheard(heard: set[NodeId], scene: page.Scene) -> str:
    """The nodes that running batches are to be read from and that nobody has ever heard."""
    wanted = {node: batch.name for batch in scene.store.batches(running=True) for _, node in batch.nodes}
    told = scene.reader.say("never heard")
    return "".join(
        f'<div class="panel node"><div><p class="urn">{html.escape(node.removeprefix("urn:dev:"))}</p>'
        f'<p class="heard">{_marked(told, False)}</p></div><p class="todo">'
        + html.escape(scene.reader.say("{batch} waits for it", batch=name))
        + "</p></div>"
        for node, name in sorted(wanted.items())
        if node not in heard
    )


def _node(one: Seen, scene: page.Scene) -> str:
    row = one.row
    words = cards.heard_words(row, scene.reader, scene.now)
    state, is_well = cards.state_words(row, scene.reader, scene.now)
    strip = overview.strip(one, scene, scene.palette)
    shown = [each for each in row.newest if each.channel in SHOWN]
    newest_at = max((each.measured_at for each in shown), default=None)
    values = "".join(_value(each, newest_at, scene) for each in shown)
    short = row.node.removeprefix("urn:dev:")
    stands = places.of_node(row.node, scene.store.path.parent)
    place = f"<b>{stands}</b> · " if stands else ""
    health = "".join(
        f"<div><dt>{html.escape(scene.reader.say(what))}</dt><dd>{html.escape(told)}</dd></div>"
        for what, told in one.health
    )
    return (
        f'<div class="panel node"><div><p class="urn">{html.escape(short)}</p>'
        f'<p class="quiet">{place}{html.escape(row.source)}</p><p class="heard">{_marked(state, is_well)}</p></div>'
        f'<dl class="values">{values}</dl>'
        f'<div class="course"><p class="todo">{html.escape(words)}</p>{picture(strip, words, "strip")}</div>'
        f'<dl class="health">{health}</dl></div>'
    )


def _marked(words: str, is_well: bool) -> str:
    return html.escape(words) if is_well else f'<b class="bad">{html.escape(words)}</b>'


def _value(said: Reading, newest_at: datetime | None, scene: page.Scene) -> str:
    unit, decimals = SHOWN[said.channel]
    value = said.value
    if unit == "°C" and scene.reader.temp_unit == "F":
        value, unit = fahrenheit(value), "°F"
    at = clock_text(said.measured_at, scene.reader, scene.now)
    doubt = ""
    if said.flag is not Flag.OK:
        doubt = " · " + html.escape(scene.reader.say("doubtful: {flag}", flag=scene.reader.say(FLAGS[said.flag])))
    elif newest_at is not None and said.channel in CALIBRATED and newest_at - said.measured_at > HEARD_GAP:
        doubt = " · " + _marked(scene.reader.say("not read since"), False)
    elif overview.is_stuck(said, scene):
        doubt = " · " + _marked(scene.reader.say("stuck for an hour"), False)
    title = html.escape(channel_word(said.channel, scene.reader), quote=True)
    return (
        f'<div title="{title}"><dt>{html.escape(scene.reader.say(NAMES[said.channel]))}</dt>'
        f"<dd>{scene.reader.number(value, decimals)} {unit}<small>{at}{doubt}</small></dd></div>"
    )


def _faults(faults: list[FaultCount], scene: page.Scene) -> str:
    rows = "".join(
        f"<tr><td class='who'>{html.escape(fault.node.removeprefix('urn:dev:'))}<br>"
        f'<span class="quiet">{html.escape(fault.source)}</span></td>'
        f'<td>{html.escape(fault.reason)}</td><td class="n">{fault.count}</td>'
        f'<td class="n">{clock_text(fault.last_at, scene.reader, scene.now)}</td></tr>'
        for fault in faults
    )
    titles = [html.escape(scene.reader.say(title)) for title in FAULT_TITLES]
    head = '<tr><th>{}</th><th>{}</th><th class="n">{}</th><th class="n">{}</th></tr>'.format(*titles)
    return f'<div class="panel"><table class="rows">{head}{rows}</table></div>'
