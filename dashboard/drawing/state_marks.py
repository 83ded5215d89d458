"""A dough's state as mark, word and colour: eight shapes that differ without their colour, words from the wording.

small dot no rise yet, round rising, diamond nearly ready, square ready, peak sign at its peak, triangle past it, ring
not rising, dash no readings.
"""

import html
from dataclasses import dataclass

from dashboard.drawing.markup import drawing, element, picture
from dashboard.drawing.palette import Palette
from monitor.dough.outlook import State
from monitor.wording.alerts import state_word
from monitor.wording.reader import Reader

SIZE_PX = 14


@dataclass(frozen=True, slots=True)
class Look:
    """How a state is shown.

    Attributes
    ----------
    colour
        Name of a colour of the palette that is readable on both grounds.
    is_filled
        True when the chip is filled: hands are due now.
    """

    colour: str
    is_filled: bool = False


LOOKS = {
    State.NO_RISE: Look("muted"),
    State.RISING: Look("sage"),
    State.NEARLY_READY: Look("crust"),
    State.READY: Look("sage", is_filled=True),
    State.AT_PEAK: Look("crust", is_filled=True),
    State.PAST_PEAK: Look("ember", is_filled=True),
    State.NOT_RISING: Look("ember"),
    State.NO_READINGS: Look("muted"),
}


def mark_svg(state: State, colour: str) -> str:
    """The mark of a state, 14 pixels square."""
    shapes = {
        State.NO_RISE: element("circle", cx=7, cy=7, r=2.6, fill=colour),
        State.RISING: element("circle", cx=7, cy=7, r=6, fill=colour),
        State.NEARLY_READY: element("path", d="M7 0L14 7L7 14L0 7Z", fill=colour),
        State.READY: element("rect", x=1, y=1, width=12, height=12, fill=colour),
        State.AT_PEAK: element("path", d="M1 11L7 3L13 11", fill="none", stroke=colour, stroke_width=3),
        State.PAST_PEAK: element("path", d="M0 2H14L7 13.5Z", fill=colour),
        State.NOT_RISING: element("circle", cx=7, cy=7, r=5.2, fill="none", stroke=colour, stroke_width=2.6),
        State.NO_READINGS: element("rect", x=0, y=5.5, width=14, height=3, fill=colour),
    }
    return drawing(shapes[state], SIZE_PX, SIZE_PX)


def chip(state: State, palette: Palette, reader: Reader) -> str:
    """Mark, word and colour of a state, as HTML."""
    look = LOOKS[state]
    colour = getattr(palette, look.colour)
    ink = palette.on_mark if look.is_filled else colour
    ground = colour if look.is_filled else "transparent"
    mark = picture(mark_svg(state, ink), "", "mark")
    word = html.escape(state_word(state, reader))
    return f'<span class="state" style="border-color:{colour};color:{ink};background:{ground}">{mark}{word}</span>'
