"""Pieces of HTML about one batch that several screens share: its tub, its card, its side. Everything is escaped."""

import html

from dashboard.access import preferences
from dashboard.drawing.markup import picture
from dashboard.drawing.state_marks import chip
from dashboard.drawing.strips import Hours, strip_svg
from dashboard.drawing.tub import fill, tub_svg
from dashboard.page import View
from dashboard.queries import AIR_ALERTS, RunningBatch
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch
from monitor.wording.alerts import (
    alert_kind_word,
    clock_text,
    date_words,
    outlook_sentence,
    rise_text,
    stage_word,
    state_word,
    todo_sentence,
)


def running_card(running: RunningBatch, hours: Hours, view: View) -> str:
    """One running batch as the board shows it."""
    batch, outlook, stale_since = running.batch, running.outlook, running.stale_since
    words = _sentence(batch, outlook, view)
    strip = strip_svg(batch, outlook, hours, view.now, view.reader, view.palette, stale_since=stale_since)
    place = preferences.place_of(view.store.path.parent, *(node for _, node in batch.nodes))
    where = stage_word(batch.stage, view.reader) + (f" · {place}" if place else "")
    todo = "" if outlook is None else todo_sentence(batch, outlook, view.reader)
    course = f'<p class="todo">{html.escape(todo)}</p>{picture(strip, words, "strip")}{_notes(running, view)}'
    return _card(batch, outlook, where, words, course, view, is_stale=stale_since is not None)


def ended_card(batch: Batch, outlook: Outlook | None, outcome: str, view: View) -> str:
    """One ended batch in the list; its strip is on the hours of its own day, its rule stands where the stage ended."""
    ended_at = batch.ended_at or view.now
    edge = (ended_at - batch.started_at) * 0.03
    hours = Hours(batch.started_at - edge, ended_at + edge)
    strip = strip_svg(batch, outlook, hours, ended_at, view.reader, view.palette)
    where = f"{stage_word(batch.stage, view.reader)}, {date_words(batch.started_at, view.reader)}"
    return _card(batch, outlook, where, outcome, picture(strip, outcome, "strip"), view, is_stale=False)


def _card(
    batch: Batch, outlook: Outlook | None, where: str, words: str, course: str, view: View, *, is_stale: bool
) -> str:
    risen = ""
    if outlook is not None and outlook.rise_pct is not None:
        up = html.escape(view.reader.say("up"))
        risen = f'<span class="rise">{outlook.rise_pct.p50:.0f} % <small>{up}</small></span>'
    return (
        f'<div class="batch">{tub_picture(batch, outlook, view, is_stale=is_stale)}'
        f'<div><p class="name">{html.escape(batch.name)}</p><p class="where">{html.escape(where)}</p>'
        f'<div class="how">{chip(_state(outlook), view.palette, view.reader)}{risen}</div></div>'
        f'<div class="course"><p class="said">{html.escape(words)}</p>{course}</div></div>'
    )


def side(running: RunningBatch, view: View) -> str:
    """The large tub of one batch with what is to be said of it."""
    batch, outlook = running.batch, running.outlook
    words = _sentence(batch, outlook, view)
    todo = "" if outlook is None else todo_sentence(batch, outlook, view.reader)
    risen = ""
    if outlook is not None and outlook.rise_pct is not None:
        band = outlook.rise_pct
        up = view.reader.say("up ({low} to {high})", low=f"{band.p05:.0f}", high=f"{band.p95:.0f}")
        risen = f'<p class="huge">{band.p50:.0f} % <small>{html.escape(up)}</small></p>'
    tub = tub_picture(batch, outlook, view, is_stale=running.stale_since is not None, is_large=True)
    return (
        f'<div class="side">{tub}<div>{risen}{chip(_state(outlook), view.palette, view.reader)}</div>'
        f'<div><p class="saying">{html.escape(words)}</p><p class="quiet">{html.escape(todo)}</p>'
        f"{_notes(running, view)}</div></div>"
    )


def tub_picture(batch: Batch, outlook: Outlook | None, view: View, *, is_stale: bool, is_large: bool = False) -> str:
    """A batch's tub, to scale, with the rise in words as text alternative."""
    state = _state(outlook)
    rise = None if outlook is None or outlook.rise_pct is None else outlook.rise_pct.p50
    start_ml = batch.start_volume_ml if outlook is None else outlook.start_volume_ml or batch.start_volume_ml
    levels = fill(batch.vessel, start_ml, rise, batch.target.rise_pct)
    width, height = (300.0, 280.0) if is_large else (84.0, 96.0)
    svg = tub_svg(
        batch.vessel,
        levels,
        state,
        view.palette,
        width_px=width,
        height_px=height,
        is_stale=is_stale or state is State.NO_READINGS,
        has_scale=is_large,
        start_word=view.reader.say("start"),
    )
    words = view.reader.say("tub, not yet measured")
    if outlook is not None:
        stands, up = state_word(state, view.reader), rise_text(outlook, view.reader)
        words = view.reader.say("tub: {state}, {rise}", state=stands, rise=up)
    return picture(svg, words, "tub")


def _state(outlook: Outlook | None) -> State:
    return State.NO_READINGS if outlook is None else outlook.state


def _sentence(batch: Batch, outlook: Outlook | None, view: View) -> str:
    """How a batch stands, in words."""
    if outlook is None:
        begun = clock_text(batch.started_at, view.reader, view.now)
        return view.reader.say("begun {at}; not yet estimated", at=begun)
    return outlook_sentence(batch, outlook, view.reader)


def _notes(running: RunningBatch, view: View) -> str:
    """Since when nothing was measured, unless the sentence says it already; and what is wrong around the dough."""
    notes = [alert_kind_word(alert.kind, view.reader) for alert in running.firing if alert.kind in AIR_ALERTS]
    since = running.stale_since
    if since is not None and (running.outlook is None or running.outlook.state is not State.NO_READINGS):
        notes.insert(0, view.reader.say("no readings since {at}", at=clock_text(since, view.reader, view.now)))
    return "".join(f'<p class="note">{html.escape(note)}</p>' for note in notes)
