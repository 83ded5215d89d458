"""The sensor nodes: what each said last, when it was heard on the clock, what was refused and why, what got lost."""

import html
from datetime import timedelta

import streamlit as st

from dashboard import page, queries, reading
from dashboard.strips import Hours, heard_svg
from dashboard.svg import picture
from monitor.bakery.manner import Manner
from monitor.bakery.wording import channel_word, clock_text, duration_text
from monitor.sinks.rows import FaultCount, NodeRow
from monitor.units import fahrenheit
from monitor.wire.readings import Channel, Flag, Reading

LOOK_BACK = timedelta(hours=3)  # judgement: long enough to see a morning's gaps
# What each channel is called in a row of large numbers; its unit and its decimals.
NAMES = {
    Channel.AIR_TEMP: "air",
    Channel.HUMIDITY: "humidity",
    Channel.DOUGH_TEMP: "dough",
    Channel.DISTANCE: "down to the dough",
    Channel.LEVEL: "level by eye",
}
SHOWN = {
    Channel.AIR_TEMP: ("°C", 1),
    Channel.HUMIDITY: ("%", 0),
    Channel.DOUGH_TEMP: ("°C", 1),
    Channel.DISTANCE: ("mm", 0),
    Channel.LEVEL: ("mm", 0),
}
FLAGS = {Flag.OUT_OF_RANGE: "out of range", Flag.CLOCK: "clock"}
FAULT_TITLES = ("from", "why", "times", "last")
PLUG_IN = "Plug one in, or let it log in to your broker, and start the collector:"


def show() -> None:
    """All nodes ever heard of, looked at again every few seconds."""
    manner = reading.manner(queries.database().parent)
    subtitle = manner.say("When each was heard, what it said last, and what could not be used.")
    st.html(page.heading(manner.say("Nodes"), subtitle))

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
            f'<div class="panel empty"><h2>{html.escape(scene.manner.say("No node has been heard yet"))}</h2>'
            f"<p>{html.escape(scene.manner.say(PLUG_IN))} <code>proofing-monitor collect</code></p></div>"
        )
    faults = scene.store.faults()
    said = _faults(faults, scene) if faults else page.quiet(scene.manner.say("Everything that came could be used."))
    st.html(f"{page.section(scene.manner.say('What could not be used'))}{said}")


def _node(row: NodeRow, scene: page.Scene) -> str:
    hours = Hours(scene.now - LOOK_BACK, scene.now)
    channel = next((each.channel for each in row.newest if each.channel in SHOWN), Channel.LOST)
    heard = [each.measured_at for each in scene.store.readings_between(row.node, channel, hours.start, hours.end)]
    lost = scene.store.readings_between(row.node, Channel.LOST, hours.start, hours.end)
    words = _heard_words(row, scene)
    strip = heard_svg(heard, [each.measured_at for each in lost], hours, scene.manner, scene.palette)
    values = "".join(_value(each, scene) for each in row.newest if each.channel in SHOWN)
    short = row.node.removeprefix("urn:dev:")
    return (
        f'<div class="panel node"><div><p class="urn">{html.escape(short)}</p>'
        f'<p class="quiet">{html.escape(row.source)}</p><p class="heard">{_online(row, scene.manner)}</p></div>'
        f'<dl class="values">{values}</dl>'
        f'<div class="course"><p class="todo">{html.escape(words)}</p>{picture(strip, words, "strip")}</div></div>'
    )


def _heard_words(row: NodeRow, scene: page.Scene) -> str:
    age_s = max(0.0, (scene.now - row.last_seen_at).total_seconds())
    ago = f"{age_s:.0f} s" if age_s < 90 else duration_text(age_s / 60.0)
    if not row.lost_packs:
        return scene.manner.say("heard {time} ago; nothing lost", time=ago)
    return scene.manner.count(
        row.lost_packs,
        "heard {time} ago; {n} sent while out of reach was lost",
        "heard {time} ago; {n} sent while out of reach were lost",
        time=ago,
    )


def _online(row: NodeRow, manner: Manner) -> str:
    if row.is_online is None:
        return html.escape(manner.say("on a cable"))
    if row.is_online:
        return html.escape(manner.say("online"))
    return f'<b class="bad">{html.escape(manner.say("offline"))}</b>'


def _value(said: Reading, scene: page.Scene) -> str:
    unit, decimals = SHOWN[said.channel]
    value = said.value
    if unit == "°C" and scene.manner.temp_unit == "F":
        value, unit = fahrenheit(value), "°F"
    at = clock_text(said.measured_at, scene.manner, scene.now)
    doubt = ""
    if said.flag is not Flag.OK:
        doubt = f" · {html.escape(scene.manner.say('doubtful: {flag}', flag=scene.manner.say(FLAGS[said.flag])))}"
    title = html.escape(channel_word(said.channel, scene.manner), quote=True)
    return (
        f'<div title="{title}"><dt>{html.escape(scene.manner.say(NAMES[said.channel]))}</dt>'
        f"<dd>{scene.manner.number(value, decimals)} {unit}<small>{at}{doubt}</small></dd></div>"
    )


def _faults(faults: list[FaultCount], scene: page.Scene) -> str:
    rows = "".join(
        f"<tr><td class='who'>{html.escape(fault.node.removeprefix('urn:dev:'))}<br>"
        f'<span class="quiet">{html.escape(fault.source)}</span></td>'
        f'<td>{html.escape(fault.reason)}</td><td class="n">{fault.count}</td>'
        f'<td class="n">{clock_text(fault.last_at, scene.manner, scene.now)}</td></tr>'
        for fault in faults
    )
    titles = [html.escape(scene.manner.say(title)) for title in FAULT_TITLES]
    head = '<tr><th>{}</th><th>{}</th><th class="n">{}</th><th class="n">{}</th></tr>'.format(*titles)
    return f'<div class="panel"><table class="rows">{head}{rows}</table></div>'
