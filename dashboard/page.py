"""What every screen stands on: the clock it lives by, the browser's palette, and the few ways to put things down."""

import html
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial

import streamlit as st

from dashboard import queries
from dashboard.access import preferences
from dashboard.drawing.exports import KINDS, Exhibit, Kind, file_name
from dashboard.drawing.grammar import Drawing
from dashboard.drawing.palette import Palette, palette_for, style
from monitor.errors import AccessError, StoreError
from monitor.store.pace import clock_of, pace_of
from monitor.store.store import Store
from monitor.wording.reader import Reader

_EXHIBITS = "exhibits"  # of this session's screen, by their keys
REFRESH_S = 2.0  # real seconds between looks at the store: two dough minutes in a demo, at once for a baker
HEAD_START_S = 0.5  # a first chart takes a browser that long on a small machine: tests/screens_benchmark.py


@dataclass(frozen=True, slots=True)
class Scene:
    """One rerun of one screen: the store it reads, the dough's now, how its reader is told things, the palette.

    Attributes
    ----------
    speed
        How many times faster than the wall the dough's clock runs; None for real time.
    site
        Whose store it is, where several are shown on one screen; empty elsewhere.
    """

    store: Store
    now: datetime
    reader: Reader
    palette: Palette
    speed: float | None
    site: str = ""


def shown(draw: Callable[[Scene], None], site: str = "") -> None:
    """Draw with the store open, or that of a site; what it cannot do is said in words, and the page lives on."""
    try:
        with queries.opened(site or None) as store:
            pace = pace_of(store)
            palette = palette_for(st.context.theme.type)
            reader = preferences.reader(store.path.parent)
            speed = None if pace is None else pace.speed
            draw(Scene(store, clock_of(store).now(), reader, palette, speed, site))
    except AccessError as error:
        reader = preferences.reader(queries.database().parent)
        st.html(heading(reader.say("Closed"), reader.text(error)))
    except StoreError as error:
        reader = preferences.reader(queries.database().parent)
        told = reader.say("The store does not answer")
        st.html(f'<div class="panel">{section(told)}<p>{html.escape(reader.text(error))}</p></div>')


def put_style() -> None:
    """The style sheet, once a rerun of the whole page; and nothing is kept of the page before.

    Streamlit puts HTML that is nothing but style where it keeps its toasts, and the first toast of a fragment would
    take its place for good. With an element beside it, it stays where it is put.
    """
    st.session_state[_EXHIBITS] = {}
    st.html(f"{style(palette_for(st.context.theme.type))}<span></span>")


def head_start(screen: str) -> None:
    """Give a browser that opens a screen the time to draw its first chart before it is handed the rest.

    It draws with one thread: handed all at once, it shows the chart last, though nobody waits for a button as for the
    curve. Only at the first opening in a session; later it has the parts of the chart already.
    """
    key = f"{screen} was opened"
    if not st.session_state.get(key, False):
        st.session_state[key] = True
        time.sleep(HEAD_START_S)


def put_exhibit(scene: Scene, exhibit: Exhibit, key: str, *, is_live: bool = False) -> None:
    """A chart with its sentence as text alternative, and the way to save it; see :func:`keep` for a live one."""
    assert exhibit.draw is not None
    drawn = exhibit.draw(scene.palette)
    assert isinstance(drawn, Drawing)
    spec = {**drawn.spec(), "datasets": drawn.tables()}
    st.vega_lite_chart(spec=spec, width="stretch", theme=None, key=key, alt=exhibit.sentence)
    if is_live:
        keep(exhibit, key)
    else:
        put_save(scene, {key: exhibit}, key)


def keep(exhibit: Exhibit, key: str) -> None:
    """What a live part shows now, for the controls that stand outside it: see :func:`put_live_saves`."""
    st.session_state.setdefault(_EXHIBITS, {})[key] = exhibit


def put_live_saves(scene: Scene) -> None:
    """After the live parts of a screen, the ways to save what they show at the moment of the touch.

    Not inside them: a part that is drawn anew every few seconds gives its buttons new files each time, and a touch in
    between would ask for one that is gone. Here they stay until the whole page is drawn.
    """
    shown: dict[str, Exhibit] = st.session_state.get(_EXHIBITS, {})
    st.session_state[_EXHIBITS] = shown
    with st.container(horizontal=True, gap="small"):
        for key in list(shown):
            put_save(scene, shown, key)


def put_save(scene: Scene, shown: Mapping[str, Exhibit], key: str) -> None:
    """One quiet control: a picture and what is behind it as files, each made only when somebody asks for it.

    Who may look may save: what is shown has been read already, and no more than that is in the files.
    """
    exhibit, say = shown[key], scene.reader.say
    with st.popover(
        say("Save {what}", what=exhibit.what), icon=":material/download:", type="tertiary", key=f"save-{key}"
    ):
        for ending, kind in KINDS.items():
            if exhibit.draw is None and kind.is_picture:
                continue
            st.download_button(
                say(kind.words),
                partial(_made, shown, key, kind),
                file_name(exhibit.title, scene.now, ending, scene.reader.zone),
                kind.mime,
                key=f"save-{key}-{ending}",
                on_click="ignore",  # the page stays as it is
                width="stretch",
            )


def _made(shown: Mapping[str, Exhibit], key: str, kind: Kind) -> bytes:
    return kind.made(shown[key])


def heading(title: str, subtitle: str = "") -> str:
    """A screen's title and the line under it, as HTML; both may be anything."""
    below = f'<p class="subtitle">{html.escape(subtitle)}</p>' if subtitle else ""
    return f'<h1 class="title">{html.escape(title)}</h1>{below}'


def note(words: str) -> str:
    """A line of plain text, as HTML; the words may be anything."""
    return f'<p class="reading">{html.escape(words)}</p>'


def section(words: str) -> str:
    """The heading of a part of a screen, as HTML; the words may be anything."""
    return f'<h2 class="section">{html.escape(words)}</h2>'


def quiet(words: str) -> str:
    """A line said by the way, as HTML; the words may be anything."""
    return f'<p class="quiet">{html.escape(words)}</p>'


def plain(words: str) -> str:
    """Words as a label that Streamlit's Markdown leaves alone: a name makes no link, picture, colour or formula."""
    one_line = " ".join(words.split())
    return re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", one_line)  # every ASCII punctuation mark


def clock_words(speed: float | None, reader: Reader) -> str:
    """What to know about the clock a screen shows; empty when it is the wall's."""
    if speed is None:
        return ""
    if speed > 0:
        return reader.say("demo clock, {times} times faster", times=f"{speed:g}")
    return reader.say("demo clock, standing still")
