"""The sensor nodes: what each said last, when it was heard on the clock, what was refused and why, what got lost."""

import html
from datetime import datetime

import streamlit as st

from dashboard import figures, page, queries
from dashboard.access import preferences
from dashboard.drawing import markup
from dashboard.drawing.markup import picture
from dashboard.drawing.strips import HEARD_GAP
from dashboard.sensors import calls, words
from dashboard.sensors.status import NodeStatus, is_stuck, sensors_figure, status_of, strip
from monitor.store.rows import FaultCount
from monitor.translatable import N_
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wording.alerts import channel_word, clock_text
from monitor.wording.refusals import refusal_mend, refusal_text

# What each channel is called in a row of large numbers.
NAMES = {
    Channel.AIR_TEMP: N_("air"),
    Channel.HUMIDITY: N_("humidity"),
    Channel.DOUGH_TEMP: N_("dough"),
    Channel.DISTANCE: N_("down to the dough"),
}
FLAGS = {
    Flag.OUT_OF_RANGE: N_("out of range"),
    Flag.TOO_NEAR: N_("nearer than its sensor can see"),
    Flag.CLOCK: N_("clock"),
    Flag.TAKEN_BACK: N_("taken back"),
}
FAULT_TITLES = (N_("from"), N_("why"), N_("what to do"), N_("times"), N_("last"))
PLUG_IN = N_("Plug one in, or let it log in to your broker, and start the collector:")


def show() -> None:
    """All sensor nodes ever heard of, looked at again every few seconds."""
    reader = preferences.reader(queries.database().parent)
    subtitle = reader.say("When each was heard, what it said last, and what could not be used.")
    st.html(markup.heading(reader.say("Sensors"), subtitle))

    @page.live()
    def live() -> None:
        page.render(_draw)

    live()
    page.render(figures.show_live_downloads)
    calls.show()


def _draw(view: page.View) -> None:
    nodes = view.store.nodes.all()
    unheard = _unheard({row.node for row in nodes}, view)
    if nodes or unheard:
        statuses = [status_of(row, view) for row in nodes]
        st.html("".join(_node(one, view) for one in statuses) + unheard)
        figures.keep(sensors_figure(statuses, view), "sensors")
    else:
        st.html(
            '<div class="panel empty"><h2>' + html.escape(view.reader.say("No sensor has been heard yet")) + "</h2>"
            "<p>" + html.escape(view.reader.say(PLUG_IN)) + " <code>proofing-monitor collect</code></p></div>"
        )
    faults = view.store.nodes.faults()
    refused = _faults(faults, view) if faults else markup.quiet(view.reader.say("Everything that came could be used."))
    st.html(markup.section(view.reader.say("What could not be used")) + f"{refused}")


def _unheard(heard: set[NodeId], view: page.View) -> str:
    """The nodes that running batches are to be read from and that nobody has ever heard."""
    wanted = {node: batch.name for batch in view.store.batches.running() for _, node in batch.nodes}
    state = view.reader.say("never heard")
    return "".join(
        f'<div class="panel node"><div><p class="urn">{html.escape(node.removeprefix("urn:dev:"))}</p>'
        f'<p class="heard">{_marked(state, False)}</p></div><p class="todo">'
        + html.escape(view.reader.say("{batch} waits for it", batch=name))
        + "</p></div>"
        for node, name in sorted(wanted.items())
        if node not in heard
    )


def _node(one: NodeStatus, view: page.View) -> str:
    row = one.row
    heard = words.heard_words(row, view.reader, view.now)
    state, is_well = words.state_words(row, view.reader, view.now)
    drawn = picture(strip(one, view, view.palette), heard, "strip")
    shown = [each for each in row.newest if each.channel in NAMES]
    newest_at = max((each.measured_at for each in shown), default=None)
    values = "".join(_value(each, newest_at, view) for each in shown)
    short = row.node.removeprefix("urn:dev:")
    place = html.escape(preferences.place_of(view.store.path.parent, row.node))
    place = f"<b>{place}</b> · " if place else ""
    health = "".join(
        "<div><dt>" + html.escape(view.reader.say(what)) + f"</dt><dd>{html.escape(answer)}</dd></div>"
        for what, answer in one.health
    )
    return (
        f'<div class="panel node"><div><p class="urn">{html.escape(short)}</p>'
        f'<p class="quiet">{place}{html.escape(row.source)}</p><p class="heard">{_marked(state, is_well)}</p></div>'
        f'<dl class="values">{values}</dl>'
        f'<div class="course"><p class="todo">{html.escape(heard)}</p>{drawn}</div>'
        f'<dl class="health">{health}</dl></div>'
    )


def _marked(words: str, is_well: bool) -> str:
    return html.escape(words) if is_well else f'<b class="bad">{html.escape(words)}</b>'


def _value(reading: Reading, newest_at: datetime | None, view: page.View) -> str:
    value, unit = reading.value, reading.channel.unit
    decimals = 1 if unit == "°C" else 0
    if unit == "°C":
        value, unit = view.reader.degrees(value), view.reader.degree
    at = clock_text(reading.measured_at, view.reader, view.now)
    doubt = ""
    if reading.flag is not Flag.OK:
        doubt = " · " + html.escape(view.reader.say("doubtful: {flag}", flag=view.reader.say(FLAGS[reading.flag])))
    elif newest_at is not None and newest_at - reading.measured_at > HEARD_GAP:
        doubt = " · " + _marked(view.reader.say("not read since"), False)
    elif is_stuck(reading, view):
        doubt = " · " + _marked(view.reader.say("stuck for an hour"), False)
    title = html.escape(channel_word(reading.channel, view.reader), quote=True)
    return (
        f'<div title="{title}"><dt>' + html.escape(view.reader.say(NAMES[reading.channel])) + f"</dt>"
        f"<dd>{view.reader.number(value, decimals)} {unit}<small>{at}{doubt}</small></dd></div>"
    )


def _faults(faults: list[FaultCount], view: page.View) -> str:
    rows = "".join(
        f"<tr><td class='who'>{html.escape(fault.node.removeprefix('urn:dev:'))}<br>"
        f'<span class="quiet">{html.escape(fault.source)}</span></td>'
        f"<td>{html.escape(refusal_text(fault.reason, fault.about, view.reader))}</td>"
        f"<td>{html.escape(refusal_mend(fault.reason, view.reader))}</td>"
        f'<td class="n">{fault.count}</td>'
        f'<td class="n">{clock_text(fault.last_at, view.reader, view.now)}</td></tr>'
        for fault in faults
    )
    titles = [html.escape(view.reader.say(title)) for title in FAULT_TITLES]
    head = '<tr><th>{}</th><th>{}</th><th>{}</th><th class="n">{}</th><th class="n">{}</th></tr>'.format(*titles)
    return f'<div class="panel"><table class="rows faults">{head}{rows}</table></div>'
