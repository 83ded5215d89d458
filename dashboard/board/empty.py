"""A board without a dough: three ways to the first one, or how another is begun, on the screen or by a command."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard.access import example
from dashboard.board import drawings
from dashboard.drawing import markup
from dashboard.page import View
from monitor.translatable import N_
from monitor.wording.reader import Reader

BY_COMMAND = {
    "describe": N_("Describe it in a small file:"),
    "begin": N_("Then begin it, and keep the collector running:"),
    "demo": N_("To see a whole morning first, with invented doughs:"),
}


def show(start_page: StreamlitPage, sensors_page: StreamlitPage, view: View) -> None:
    """The way to the first dough; where there never was one, three ways."""
    reader = view.reader
    if view.store.batches.all():
        below = reader.say("Each batch you begin gets its tub and its strip of clock here.")
        st.html(markup.heading(reader.say("No dough is proofing"), below))
        st.page_link(start_page, label=reader.say("Start a batch"), icon=":material/arrow_forward:")
    else:
        _show_ways(start_page, sensors_page, view)
    with st.expander(reader.say("Or by a command"), key="by-command", type="compact"):
        st.html(_by_command(str(view.store.path.parent), reader))


def _show_ways(start_page: StreamlitPage, sensors_page: StreamlitPage, view: View) -> None:
    say = view.reader.say
    below = say("Begin with any of the three; the others stay where they are.")
    st.html(markup.heading(say("No dough is proofing yet"), below))
    heard = len(view.store.nodes.all())
    n_heard = view.reader.count(heard, "{n} sensor is heard.", "{n} sensors are heard.") if heard else ""
    with st.container(key="ways"):
        with st.container(key="way-example"):
            text = say(
                "Invented doughs of one morning, from mixing to the oven, and the weeks before. One is forgotten."
            )
            quiet = say("Nothing of it is kept.")
            st.html(_way(drawings.day(view.palette), say("Look at an example day"), text, quiet))
            if st.button(say("Show the day"), key="show-example", type="primary", width="stretch"):
                example.look(True)
                st.rerun()
        with st.container(key="way-eye"):
            text = say(
                "A jar and your eyes are enough. You tell the level now and then; the clock is worked out from it."
            )
            st.html(_way(drawings.jar(view.palette), say("I have no sensor"), text, say("Takes one minute.")))
            if st.button(say("Begin with a jar"), key="by-eye", width="stretch"):
                st.switch_page(start_page)
        with st.container(key="way-sensor"):
            text = say("Plug the board in by its cable. It shows when it is heard, and is told which tub it looks at.")
            quiet = n_heard or say("None is heard yet.")
            st.html(_way(drawings.sensor(view.palette), say("Connect a sensor"), text, quiet))
            if st.button(say("Look for it"), key="look-for-sensor", width="stretch"):
                st.switch_page(sensors_page)


def _way(svg: str, title: str, text: str, quiet: str) -> str:
    return (
        f'<div class="way">{markup.picture(svg, "", "mark")}<h2>{html.escape(title)}</h2>'
        f"<p>{html.escape(text)}</p>{markup.quiet(quiet)}</div>"
    )


def _by_command(folder: str, reader: Reader) -> str:
    """How a batch is begun by command."""
    words = {key: html.escape(reader.say(sentence)) for key, sentence in BY_COMMAND.items()}
    reads = html.escape(reader.say("This screen reads {folder}.", folder=folder))
    return f"""<div class="empty"><p>{words["describe"]} <code>loaf.toml</code></p>
<pre>name = "Country loaf, tub 3"
stage = "first rise"
started = 2026-03-02T05:40:00Z
target_rise_pct = 75

[vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 300</pre>
<p>{words["begin"]}</p>
<pre>proofing-monitor batch start loaf.toml --now
proofing-monitor collect</pre>
<p>{words["demo"]} <code>proofing-monitor demo</code></p>
<p class="quiet">{reads}</p></div>"""
