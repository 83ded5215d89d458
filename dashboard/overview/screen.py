"""Every shop in a row of its own, worst first: what hands must do next, what is late, what is silent."""

import html
from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from urllib.parse import urlencode

import streamlit as st

from dashboard import page, queries
from dashboard.access import preferences, sites, visitor
from dashboard.drawing import markup
from dashboard.overview.shops import Shop, Wrong, ordered
from dashboard.overview.table import LABELS, URGENT, table
from monitor.clock import wall_clock
from monitor.errors import CentralError, ConfigError
from monitor.settings.shops import Centre
from monitor.shops.summary import ShopSummary
from monitor.wording.alerts import clock_text
from monitor.wording.reader import Reader

REFRESH_S = 20.0  # rows stay where they are that long: nobody is to miss the one they reach for
KEPT_S = 5.0  # one look serves everybody who looks
PAGE_ROWS = 50


def is_there(folder: Path) -> bool:
    """Whether these screens are those of a place where shops come together: it has a central store and no sensors."""
    return _centre(folder) is not None


def show() -> None:
    """All shops that the person at this session may look at, looked at again while the screen is open."""
    folder = queries.data_dir()
    reader = preferences.reader(folder)
    st.html(markup.heading(reader.say("All shops"), reader.say("The worst first; a tap on its name opens a shop.")))

    @page.live(REFRESH_S)
    def live() -> None:
        centre = _centre(folder)
        found = ConfigError("no central store is set") if centre is None else _looked(*centre)
        if isinstance(found, list):
            now = wall_clock()
            seen = visitor.visible(folder, [name for name, *_ in found])
            _draw(ordered((shop for shop in found if shop[0] in seen), now), folder, reader, now)
        else:
            title = markup.section(reader.say("The central store does not answer"))
            st.html(f'<div class="panel">{title}<p>{html.escape(reader.text(found))}</p></div>')

    live()


def _centre(folder: Path) -> tuple[Centre, str | None] | None:
    """The central store of a place without sensors, and its token."""
    config = preferences.settings(str(folder))
    return None if config.centre is None or config.has_sources else (config.centre, config.secrets.influx_token)


@st.cache_resource(max_entries=4, ttl=KEPT_S, show_spinner=False)
def _looked(centre: Centre, _token: str | None) -> list[tuple[str, datetime, ShopSummary]] | CentralError:
    """What every shop said last, or why that is not known: kept too, so that nobody waits for it again."""
    from monitor.shops.influx import Link  # its library takes a second to load

    try:
        with Link(centre, _token) as link:
            return list(link.summaries())
    except CentralError as error:
        return error


def _draw(shops: list[Shop], folder: Path, reader: Reader, now: datetime) -> None:
    if not shops:
        st.html(markup.quiet(reader.say("No shop has been heard in the last month.")))
        return
    st.html(_bar(shops, reader, now))
    counts = Counter(wrong for shop in shops for wrong in shop.wrong)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        asked = st.text_input(reader.say("Shop"), key="shop", width=200)
        picked = st.pills(
            reader.say("What is wrong"),
            list(Wrong),
            selection_mode="multi",
            format_func=lambda wrong: f"{reader.say(LABELS[wrong])} {counts[wrong]}",
            key="wrong",
        )
    kept = [
        shop
        for shop in shops
        if asked.strip().lower() in shop.name and (not picked or any(wrong in picked for wrong in shop.wrong))
    ]
    n_pages = max(1, -(-len(kept) // PAGE_ROWS))
    st.session_state["page"] = min(n_pages, st.session_state.get("page", 1))
    page = st.session_state["page"]
    if kept:
        chosen, opened = preferences.in_address(folder), sites.names(folder)
        links = {name: f"./?{urlencode({'site': name, **chosen})}" for name in opened}
        st.html(table(kept[(page - 1) * PAGE_ROWS : page * PAGE_ROWS], links, reader, now))
    else:
        st.html(markup.quiet(reader.say("No shop is like that.")))
    if n_pages > 1:
        st.pagination(n_pages, key="page")


def _bar(shops: Sequence[Shop], reader: Reader, now: datetime) -> str:
    """The dark bar: how many shops need somebody, and the time."""
    urgent = sum(any(wrong in URGENT for wrong in shop.wrong) for shop in shops)
    doughs = sum(shop.summary.doughs for shop in shops)
    words = reader.count(urgent, "{n} shop needs somebody now", "{n} shops need somebody now")
    below = reader.count(len(shops), "of {n} shop", "of {n} shops")
    proofing = reader.count(doughs, "{n} dough is proofing", "{n} doughs are proofing")
    hour = html.escape(clock_text(now, reader))
    return (
        f'<div class="bar"><p class="next"><b>{html.escape(words)}</b></p><div class="clock">{hour}</div>'
        f'<dl class="then"><dt>{html.escape(below)}</dt><dd>{html.escape(proofing)}</dd></dl></div>'
    )
