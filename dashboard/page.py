"""What every screen stands on: the store it reads, the clock it lives by, its reader and the browser's palette."""

import html
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import ParamSpec

import streamlit as st

from dashboard import queries
from dashboard.access import preferences
from dashboard.drawing import markup
from dashboard.drawing.palette import Palette, palette_for, style
from monitor.errors import AccessError, ReplicaError, StoreError
from monitor.store.pace import clock_of, pace_of
from monitor.store.store import Store
from monitor.wording.reader import Reader

REFRESH_S = 2.0  # real seconds between looks at the store: two dough minutes in a demo, at once for a baker
FORGET_EVERY_S = 60.0  # some ten kilobytes of marks
FIRST_CHART_S = 0.5  # a first chart takes a browser that long on a small machine: tests/screens_benchmark.py


P = ParamSpec("P")


@dataclass(frozen=True, slots=True)
class View:
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


def render(draw: Callable[[View], None], site: str = "") -> None:
    """Draw with the store open, or that of a site; what it cannot do is said in words, and the page lives on."""
    try:
        with queries.opened(site or None) as store:
            pace = pace_of(store)
            palette = palette_for(st.context.theme.type)
            reader = preferences.reader(store.path.parent)
            speed = None if pace is None else pace.speed
            draw(View(store, clock_of(store).now(), reader, palette, speed, site))
    except AccessError as error:
        reader = preferences.reader(queries.database().parent)
        st.html(markup.heading(reader.say("Closed"), reader.text(error)))
    except ReplicaError as error:
        reader = preferences.reader(queries.database().parent)
        title = markup.section(site or reader.say("Another shop"))
        st.html(f'<div class="panel">{title}<p>{html.escape(reader.text(error))}</p></div>')
    except StoreError as error:
        reader = preferences.reader(queries.database().parent)
        title = markup.section(reader.say("The store does not answer"))
        st.html(f'<div class="panel">{title}<p>{html.escape(reader.text(error))}</p></div>')


def live(every_s: float = REFRESH_S) -> Callable[[Callable[P, None]], Callable[P, None]]:
    """Make a part of a screen that is drawn anew by itself, alone in a container of its own.

    When the page and the part are due at once, Streamlit drops what the page has drawn of the part and not yet sent,
    since the part follows. Without the container, what stands below would move up to the part's place meanwhile, and
    the part be drawn over it.
    """

    def part_of(draw: Callable[P, None]) -> Callable[P, None]:
        drawn_again = st.fragment(draw, run_every=every_s)

        @wraps(draw)
        def part(*args: P.args, **kwargs: P.kwargs) -> None:
            with st.container():
                drawn_again(*args, **kwargs)

        return part

    return part_of


def show_style() -> None:
    """The style sheet, once a rerun of the whole page.

    Streamlit puts HTML that is nothing but style where it keeps its toasts, and the first toast of a fragment would
    take its place for good. With an element beside it, it stays where it is put.
    """
    st.html(f"{style(palette_for(st.context.theme.type))}<span></span>")


def forget_drawings() -> None:
    """Empty the browser's record of drawings now and then: Streamlit notes each in it, and a wall hangs for months.

    Seen with 1.67: two marks and a measure a drawing, a megabyte each 600 drawings (tests/wall_hours.py).
    """
    every_ms = 1000 * FORGET_EVERY_S
    forget = "performance.clearMarks(); performance.clearMeasures()"
    script = f"<span></span><script>window.forgetting ??= setInterval(() => {{ {forget} }}, {every_ms})</script>"
    st.html(script, unsafe_allow_javascript=True)


def wait_for_first_chart(screen: str) -> None:
    """Give a browser that opens a screen the time to draw its first chart before it is handed the rest.

    It draws with one thread: handed all at once, it shows the chart last, though nobody waits for a button as for the
    curve. Only at the first opening in a session; later it has the parts of the chart already.
    """
    key = f"{screen} was opened"
    if not st.session_state.get(key, False):
        st.session_state[key] = True
        time.sleep(FIRST_CHART_S)


def temp_input(what: str, bounds_c: tuple[float, float], usual_c: float, reader: Reader, key: str) -> float:
    """A temperature, asked in the reader's scale. [C]"""
    low, high, usual = (round(reader.degrees(each), 1) for each in (*bounds_c, usual_c))
    label, key = f"{what}, {reader.degree}", f"{key} {reader.temp_unit}"  # another scale is another number to keep
    return reader.temp_c(st.number_input(label, low, high, usual, 0.5, "%.1f", key=key))


def clock_words(speed: float | None, reader: Reader) -> str:
    """What to know about the clock a screen shows; empty when it is the wall's."""
    if speed is None:
        return ""
    if speed > 0:
        return reader.say("demo clock, {times} times faster", times=f"{speed:g}")
    return reader.say("demo clock, standing still")
