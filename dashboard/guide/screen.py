"""The guide on the dashboard: its pages are the Markdown files beside this one, so a phone shows them too."""

import base64
import html
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from urllib.parse import urlencode

import streamlit as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from dashboard import queries
from dashboard.access import preferences
from dashboard.drawing.markup import heading

CONTENTS = "README"
PAGES: Mapping[str, Traversable] = {
    **{
        name: files("dashboard.guide") / f"{name}.md"
        for name in (
            CONTENTS,
            "first-dough",
            "sensors",
            "calls",
            "plan",
            "afterwards",
            "access",
            "shops",
            "programs",
            "data",
        )
    },
    "building": files("firmware_sim") / "README.md",
}
"""Every page by its name in the address; the page for builders lies with the firmware."""
_PAGE_OF_LINK = {f"{name}.md": name for name in PAGES} | {"../../firmware_sim/README.md": "building"}
_MARKDOWN = MarkdownIt("commonmark", {"html": False}).enable("table")


def show() -> None:
    """One page of the guide: the one that the address names, or the contents."""
    reader = preferences.reader(queries.database().parent)
    name = st.query_params.get("page", CONTENTS)
    name = name if name in PAGES else CONTENTS
    chosen = preferences.in_address(queries.database().parent)
    title, body = page(name, urlencode(chosen))
    st.html(heading(reader.say("Guide"), title if name != CONTENTS else ""))
    way_back = f'<p class="back"><a href="{_address(CONTENTS, urlencode(chosen))}" target="_self">'
    way_back += html.escape(reader.say("All pages")) + "</a></p>"
    st.html(f'<div class="panel guide" lang="en">{body}</div>{way_back if name != CONTENTS else ""}')


@cache
def page(name: str, chosen: str = "") -> tuple[str, str]:
    """Title and HTML of a page; links between pages lead to this screen, with what the reader has chosen."""
    source = PAGES[name]
    tokens = _MARKDOWN.parse(source.read_text(encoding="utf-8"))
    for token in tokens:
        for inline in token.children or ():
            _mend(inline, source, chosen)
    title = tokens[1].content  # each page begins with a heading of the first order
    body = str(_MARKDOWN.renderer.render(tokens[3:], _MARKDOWN.options, {}))
    for wide in ("pre", "table"):  # what scrolls sideways on a phone can be reached by the keyboard
        body = body.replace(f"<{wide}>", f'<{wide} tabindex="0">')
    return title, body


def _mend(token: Token, source: Traversable, chosen: str) -> None:
    """Lead a link to where it goes from here, and carry a picture along in the page."""
    if token.type == "link_open":
        target = str(token.attrs["href"])
        if target in _PAGE_OF_LINK:
            token.attrs["href"], token.attrs["target"] = _address(_PAGE_OF_LINK[target], chosen), "_self"
        elif not target.startswith("https://"):  # a file of the repository, which is not here
            token.attrs.pop("href")
    elif token.type == "image":
        picture = source.parent / str(token.attrs["src"])  # type: ignore[attr-defined]
        packed = base64.b64encode(picture.read_bytes()).decode()
        token.attrs["src"] = f"data:image/svg+xml;base64,{packed}"


def _address(name: str, chosen: str) -> str:
    return "./guide?" + "&".join(filter(None, (urlencode({"page": name}), chosen)))
