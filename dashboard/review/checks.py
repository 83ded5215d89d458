"""What was found out about an ended dough by hand, beside its rise at that moment."""

import html

from dashboard.drawing import markup
from dashboard.queries import EndedBatch
from monitor.recipe.batch import Event
from monitor.recipe.events import CHECKS
from monitor.wording.phrases import event_text, rise_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text


def checks_table(ended: EndedBatch, reader: Reader) -> str:
    """What was found out by hand, each beside the rise at its moment; nothing when nothing was."""
    rows = "".join(
        f'<tr><td class="t">{html.escape(clock_text(event.at, reader))}</td>'
        f"<td>{html.escape(event_text(event, reader))}</td>"
        f'<td class="n">{html.escape(_rise_at(ended, event, reader))}</td></tr>'
        for event in ended.batch.events
        if event.kind in CHECKS
    )
    title = reader.say("Checked by hand")
    return f'{markup.section(title)}<table class="rows">{rows}</table>' if rows else ""


def _rise_at(ended: EndedBatch, event: Event, reader: Reader) -> str:
    """How far it was up at a moment, by the estimate made last before it."""
    before = [outlook for outlook in ended.outlooks if outlook.at <= event.at]
    return rise_text(before[-1], reader) if before else ""
