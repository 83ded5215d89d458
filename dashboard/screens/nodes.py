"""The sensor nodes: what each said last, when it was heard on the clock, what was refused and why, what got lost."""

import html
from datetime import timedelta

import streamlit as st

from dashboard import page
from dashboard.strips import Hours, heard_svg
from dashboard.svg import picture
from monitor.bakery.wording import channel_word, clock_text, duration_text
from monitor.sinks.rows import FaultCount, NodeRow
from monitor.units import fahrenheit
from monitor.wire.readings import Channel, Reading

LOOK_BACK = timedelta(hours=3)  # judgement: long enough to see a morning's gaps
# What each channel is called in a row of large numbers, its unit and its decimals.
SHOWN = {
    Channel.AIR_TEMP: ("air", "°C", 1),
    Channel.HUMIDITY: ("humidity", "%", 0),
    Channel.DOUGH_TEMP: ("dough", "°C", 1),
    Channel.DISTANCE: ("down to the dough", "mm", 0),
    Channel.LEVEL: ("level by eye", "mm", 0),
}


def show() -> None:
    """All nodes ever heard of, looked at again every few seconds."""
    st.html(page.heading("Nodes", "When each was heard, what it said last, and what could not be used."))

    @st.fragment(run_every=page.REFRESH_S)
    def live() -> None:
        page.shown(_draw)

    live()


def _draw(scene: page.Scene) -> None:
    nodes = scene.store.nodes()
    if nodes:
        st.html("".join(_node(row, scene) for row in nodes))
    else:
        st.html(
            '<div class="panel empty"><h2>No node has been heard yet</h2><p>Plug one in, or let it log in to your '
            "broker, and start the collector: <code>proofing-monitor collect</code></p></div>"
        )
    faults = scene.store.faults()
    said = _faults(faults, scene) if faults else '<p class="quiet">Everything that came could be used.</p>'
    st.html(f'<p class="section">What could not be used</p>{said}')


def _node(row: NodeRow, scene: page.Scene) -> str:
    hours = Hours(scene.now - LOOK_BACK, scene.now)
    channel = next((reading.channel for reading in row.newest if reading.channel in SHOWN), Channel.LOST)
    heard = [reading.measured_at for reading in scene.store.readings_between(row.node, channel, hours.start, hours.end)]
    lost = scene.store.readings_between(row.node, Channel.LOST, hours.start, hours.end)
    words = _heard_words(row, scene)
    strip = heard_svg(heard, [reading.measured_at for reading in lost], hours, scene.manner, scene.palette)
    values = "".join(_value(reading, scene) for reading in row.newest if reading.channel in SHOWN)
    short = row.node.removeprefix("urn:dev:")
    return (
        f'<div class="panel node"><div><p class="urn">{html.escape(short)}</p>'
        f'<p class="quiet">{html.escape(row.source)}</p><p class="heard">{_online(row)}</p></div>'
        f'<dl class="values">{values}</dl>'
        f'<div class="course"><p class="todo">{html.escape(words)}</p>{picture(strip, words, "strip")}</div></div>'
    )


def _heard_words(row: NodeRow, scene: page.Scene) -> str:
    age_s = max(0.0, (scene.now - row.last_seen_at).total_seconds())
    ago = f"{age_s:.0f} s" if age_s < 90 else duration_text(age_s / 60.0)
    if not row.lost_packs:
        return f"heard {ago} ago; nothing lost"
    return f"heard {ago} ago; {row.lost_packs} sent while out of reach were lost"


def _online(row: NodeRow) -> str:
    if row.is_online is None:
        return "on a cable"
    return "online" if row.is_online else '<b class="bad">offline</b>'


def _value(reading: Reading, scene: page.Scene) -> str:
    what, unit, decimals = SHOWN[reading.channel]
    value = reading.value
    if unit == "°C" and scene.manner.temp_unit == "F":
        value, unit = fahrenheit(value), "°F"
    at = clock_text(reading.measured_at, scene.manner, scene.now)
    doubt = "" if reading.flag.value == "ok" else f" · doubtful: {html.escape(reading.flag.value)}"
    title = html.escape(channel_word(reading.channel, scene.manner), quote=True)
    return (
        f'<div title="{title}"><dt>{html.escape(what)}</dt>'
        f"<dd>{value:.{decimals}f} {unit}<small>{at}{doubt}</small></dd></div>"
    )


def _faults(faults: list[FaultCount], scene: page.Scene) -> str:
    rows = "".join(
        f"<tr><td class='who'>{html.escape(fault.node.removeprefix('urn:dev:'))}<br>"
        f'<span class="quiet">{html.escape(fault.source)}</span></td>'
        f'<td>{html.escape(fault.reason)}</td><td class="n">{fault.count}</td>'
        f'<td class="n">{clock_text(fault.last_at, scene.manner, scene.now)}</td></tr>'
        for fault in faults
    )
    head = '<tr><th>from</th><th>why</th><th class="n">times</th><th class="n">last</th></tr>'
    return f'<div class="panel"><table class="rows">{head}{rows}</table></div>'
