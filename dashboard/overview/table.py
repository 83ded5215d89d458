"""The rows of the overview as HTML: a table, and on a narrow screen a block for each shop."""

import html
from collections.abc import Mapping, Sequence
from datetime import datetime

from dashboard.overview.shops import Shop, Wrong
from monitor.shops.summary import ShopSummary
from monitor.store.rows import from_us
from monitor.translatable import N_
from monitor.wording.alerts import clock_text
from monitor.wording.outlook import do_words
from monitor.wording.reader import Reader

LABELS = {
    Wrong.LATE: N_("Late"),
    Wrong.SHOP_SILENT: N_("Not heard"),
    Wrong.TROUBLE: N_("Monitor in trouble"),
    Wrong.SENSOR_SILENT: N_("Sensors silent"),
    Wrong.UNANSWERED: N_("Calls unanswered"),
    Wrong.AIR: N_("Air"),
    Wrong.FORECASTS: N_("Forecasts off"),
}
TITLES = (N_("shop"), N_("hands"), N_("late"), N_("silent"), N_("calls"), N_("also"), N_("forecasts held this week"))
URGENT = (Wrong.LATE, Wrong.SHOP_SILENT)


def table(shops: Sequence[Shop], links: Mapping[str, str], reader: Reader, now: datetime) -> str:
    """Some shops, each with what leads to its screens (none: its store is not brought here)."""
    titles = [reader.say(title) for title in TITLES]
    head = "".join(f'<th role="columnheader">{html.escape(title)}</th>' for title in titles)
    rows = "".join(_row(shop, titles[1:], links, reader, now) for shop in shops)
    return (
        '<div class="panel"><table class="rows figures shops" role="table">'
        f'<tr role="row">{head}</tr>{rows}</table></div>'
    )


def _row(shop: Shop, titles: Sequence[str], links: Mapping[str, str], reader: Reader, now: datetime) -> str:
    summary = shop.summary
    heard = ""
    if Wrong.SHOP_SILENT in shop.wrong:
        words = reader.say("last heard {at}", at=clock_text(shop.heard_at, reader, now))
        heard = f'<b class="bad">{html.escape(words)}</b>'
    also = [reader.say(LABELS[wrong]) for wrong in (Wrong.TROUBLE, Wrong.AIR) if wrong in shop.wrong]
    held = ""
    if summary.forecasts:
        held = reader.say("{held} of {all}", held=summary.held, all=summary.forecasts)
    cells = (
        (_hands(summary, reader), "wraps"),
        (_counted(summary.late, summary.late_us, summary, reader), "bad"),
        (_counted(summary.silent, summary.silent_us, summary, reader), ""),
        (str(summary.unanswered or ""), ""),
        (", ".join(also), "wraps"),
        (held, "bad" if Wrong.FORECASTS in shop.wrong else ""),
    )
    told = "".join(
        f'<td class="{kind if words else "none"}" role="cell" data-what="{html.escape(title, quote=True)}">'
        f"{html.escape(words)}</td>"
        for title, (words, kind) in zip(titles, cells, strict=True)
    )
    kind = "urgent" if any(wrong in URGENT for wrong in shop.wrong) else "wrong" if shop.wrong else "well"
    name = html.escape(shop.name)
    if shop.name in links:
        name = f'<a href="{html.escape(links[shop.name], quote=True)}" target="_self">{name}</a>'
    return f'<tr role="row" class="{kind}"><td class="which" role="cell">{name}{heard}</td>{told}</tr>'


def _hands(summary: ShopSummary, reader: Reader) -> str:
    """When, at which dough and what, by the shop's own clock."""
    if not (summary.next_do and summary.next_stage and summary.next_dough):
        return "" if summary.doughs else reader.say("No dough is proofing")
    what = do_words(summary.next_do, summary.next_stage, reader)
    if summary.next_us is None:
        return reader.say("{dough}: {task}", dough=summary.next_dough, task=what)
    at = clock_text(from_us(summary.next_us), reader, summary.clock_at)
    sentence = N_("Now, since {at}: {dough}: {task}") if summary.is_due else N_("{at}: {dough}: {task}")
    return reader.say(sentence, at=at, dough=summary.next_dough, task=what)


def _counted(n: int, since_us: int | None, summary: ShopSummary, reader: Reader) -> str:
    if not n:
        return ""
    if since_us is None:
        return str(n)
    return reader.say("{n}, since {at}", n=n, at=clock_text(from_us(since_us), reader, summary.clock_at))
