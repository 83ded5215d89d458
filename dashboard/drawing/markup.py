"""SVG and HTML by hand: drawings, their way onto a page as pictures, and the few shapes of text that screens share.

Streamlit's sanitiser drops inline SVG, so a drawing travels as a ``data:`` picture: nothing in it can run, nothing is
fetched, and ``alt`` is the sentence that says the same.
"""

import html
import re
from base64 import b64encode


def element(tag: str, content: str = "", **attributes: object) -> str:
    """One SVG element; ``_`` in attribute names becomes ``-``, None leaves one out, values are escaped.

    ``content`` is markup: text in it must have gone through :func:`text` or ``html.escape``.

    Examples
    --------
    >>> element("line", x1=0, y1=1.5, stroke_width=2)
    '<line x1="0" y1="1.5" stroke-width="2"/>'
    """
    pairs = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{html.escape(_value(value), quote=True)}"'
        for name, value in attributes.items()
        if value is not None
    )
    return f"<{tag}{pairs}>{content}</{tag}>" if content else f"<{tag}{pairs}/>"


def _value(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def text(words: str, **attributes: object) -> str:
    """A text element; the words may be anything."""
    return element("text", html.escape(words, quote=False), **attributes)


def drawing(content: str, width_px: float, height_px: float) -> str:
    """A whole SVG document that scales as one, from the given size."""
    box = f"0 0 {width_px:g} {height_px:g}"
    return element("svg", content, xmlns="http://www.w3.org/2000/svg", viewBox=box, width="100%", height="100%")


def elastic_drawing(content: str, height_px: float) -> str:
    """A whole SVG document whose percentages follow the width it is shown at, while its letters keep their size."""
    return element("svg", content, xmlns="http://www.w3.org/2000/svg", width="100%", height=height_px)


def picture(svg: str, alt: str, css_class: str) -> str:
    """An ``<img>`` of a drawing. ``alt`` may be anything; it is escaped. An empty one marks a mere ornament."""
    data = b64encode(svg.encode()).decode("ascii")
    return (
        f'<img class="{html.escape(css_class, quote=True)}" alt="{html.escape(alt, quote=True)}" '
        f'src="data:image/svg+xml;base64,{data}">'
    )


def data_picture(jpeg: bytes, alt: str, css_class: str) -> str:
    """An ``<img>`` of a photograph. ``alt`` may be anything; it is escaped."""
    data = b64encode(jpeg).decode("ascii")
    return (
        f'<img class="{html.escape(css_class, quote=True)}" alt="{html.escape(alt, quote=True)}" '
        f'src="data:image/jpeg;base64,{data}">'
    )


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
    one_line = re.sub(r"[^\S\u00a0]+", " ", words).strip()  # what is to stay together does, as an hour and its PM
    return re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", one_line)  # every ASCII punctuation mark
