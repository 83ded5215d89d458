"""Pieces of HTML that several screens share: a tub, a card, the dark bar. Everything from outside is escaped."""

import html
from datetime import datetime

from dashboard import places
from dashboard.drawing.marks import chip
from dashboard.drawing.strips import Hours, strip_svg
from dashboard.drawing.svg import picture
from dashboard.drawing.tub import fill, tub_svg
from dashboard.page import Scene, clock_words
from dashboard.priority import AIR_ALERTS, Due, due_words
from dashboard.queries import Row
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
from monitor.wording.reader import Reader


def tub_picture(batch: Batch, outlook: Outlook | None, scene: Scene, *, is_stale: bool, is_large: bool = False) -> str:
    """A batch's tub, to scale, with the rise in words as text alternative."""
    state = State.NO_READINGS if outlook is None else outlook.state
    rise = None if outlook is None or outlook.rise_pct is None else outlook.rise_pct.p50
    start_ml = batch.start_volume_ml if outlook is None else outlook.start_volume_ml or batch.start_volume_ml
    levels = fill(batch.vessel, start_ml, rise, batch.target.rise_pct)
    width, height = (300.0, 280.0) if is_large else (84.0, 96.0)
    svg = tub_svg(
        batch.vessel,
        levels,
        state,
        scene.palette,
        width_px=width,
        height_px=height,
        is_stale=is_stale or state is State.NO_READINGS,
        has_scale=is_large,
        start_word=scene.reader.say("start"),
    )
    words = scene.reader.say("tub, not yet measured")
    if outlook is not None:
        stands, up = state_word(state, scene.reader), rise_text(outlook, scene.reader)
        words = scene.reader.say("tub: {state}, {rise}", state=stands, rise=up)
    return picture(svg, words, "tub")


def rise_words(outlook: Outlook | None, reader: Reader) -> str:
    """How far up, in one big number, as HTML; empty when it is not known."""
    if outlook is None or outlook.rise_pct is None:
        return ""
    up = html.escape(reader.say("up"))
    return f'<span class="rise">{outlook.rise_pct.p50:.0f} % <small>{up}</small></span>'


def sentence(batch: Batch, outlook: Outlook | None, scene: Scene) -> str:
    """How a batch stands, in words."""
    if outlook is None:
        begun = clock_text(batch.started_at, scene.reader, scene.now)
        return scene.reader.say("begun {at}; not yet estimated", at=begun)
    return outlook_sentence(batch, outlook, scene.reader)


def batch_card(row: Row, hours: Hours, scene: Scene) -> str:
    """One running batch as the board shows it."""
    batch, outlook = row.batch, row.outlook
    state = State.NO_READINGS if outlook is None else outlook.state
    said = sentence(batch, outlook, scene)
    todo = "" if outlook is None else todo_sentence(batch, outlook, scene.reader)
    strip = strip_svg(batch, outlook, hours, scene.now, scene.reader, scene.palette, stale_since=row.stale_since)
    tub = tub_picture(batch, outlook, scene, is_stale=row.stale_since is not None)
    stage = html.escape(stage_word(batch.stage, scene.reader))
    place = places.of_batch(batch, scene.store.path.parent)
    where = f"{stage} · {place}" if place else stage
    notes = f"{stale_note(row.stale_since, said, scene)}{alert_notes(row, scene)}"
    return (
        f'<div class="batch">{tub}'
        f'<div><p class="name">{html.escape(batch.name)}</p><p class="where">{where}</p>'
        f'<div class="how">{chip(state, scene.palette, scene.reader)}{rise_words(outlook, scene.reader)}</div></div>'
        f'<div class="course"><p class="said">{html.escape(said)}</p><p class="todo">{html.escape(todo)}</p>'
        f"{picture(strip, said, 'strip')}{notes}</div></div>"
    )


def stale_note(stale_since: datetime | None, said: str, scene: Scene) -> str:
    """Since when nothing was measured, unless the sentence says it already."""
    if stale_since is None or scene.reader.say("no readings") in said:
        return ""
    told = scene.reader.say("no readings since {at}", at=clock_text(stale_since, scene.reader, scene.now))
    return f'<p class="note">{html.escape(told)}</p>'


def alert_notes(row: Row, scene: Scene) -> str:
    """What is wrong around the dough."""
    wrong = [alert.kind for alert in row.firing if alert.kind in AIR_ALERTS]
    return "".join(f'<p class="note">{html.escape(alert_kind_word(kind, scene.reader))}</p>' for kind in wrong)


def bar(dues: list[Due], scene: Scene) -> str:
    """The dark bar: the next thing hands must do, the ones after, and the time."""
    small = html.escape(clock_words(scene.speed, scene.reader))
    hour = html.escape(clock_text(scene.now, scene.reader))
    clock = f'<div class="clock">{hour}<small>{small}</small></div>'
    if not dues:
        nothing = html.escape(scene.reader.say("Nothing for hands to do."))
        return f'<div class="bar"><p class="next">{nothing}</p>{clock}</div>'
    when, what = due_words(dues[0], scene.reader, scene.now)
    then = (due_words(due, scene.reader, scene.now) for due in dues[1:3])
    rows = "".join(f"<dt>{html.escape(at.lower())}</dt><dd>{html.escape(words)}</dd>" for at, words in then)
    after = f'<dl class="then">{rows}</dl>' if rows else ""
    return f'<div class="bar"><p class="next"><b>{html.escape(when)}</b>{html.escape(what)}</p>{clock}{after}</div>'


def finished_card(batch: Batch, outlook: Outlook | None, outcome: str, scene: Scene) -> str:
    """One ended batch in the list."""
    state = State.NO_READINGS if outlook is None else outlook.state
    strip = _past_strip(batch, outlook, outcome, scene)
    stage = html.escape(stage_word(batch.stage, scene.reader))
    return (
        f'<div class="batch">{tub_picture(batch, outlook, scene, is_stale=False)}'
        f'<div><p class="name">{html.escape(batch.name)}</p><p class="where">{stage}, '
        f"{html.escape(date_words(batch.started_at, scene.reader))}</p>"
        f'<div class="how">{chip(state, scene.palette, scene.reader)}{rise_words(outlook, scene.reader)}</div></div>'
        f'<div class="course"><p class="said">{html.escape(outcome)}</p>{strip}</div>'
        "</div>"
    )


def _past_strip(batch: Batch, outlook: Outlook | None, words: str, scene: Scene) -> str:
    """The strip of an ended batch on the hours of its own day; its rule stands where the stage ended."""
    ended_at = batch.ended_at or scene.now
    edge = (ended_at - batch.started_at) * 0.03
    hours = Hours(batch.started_at - edge, ended_at + edge)
    return picture(strip_svg(batch, outlook, hours, ended_at, scene.reader, scene.palette), words, "strip")


def side(row: Row, scene: Scene) -> str:
    """The large tub of one batch with what is to be said of it."""
    batch, outlook = row.batch, row.outlook
    state = State.NO_READINGS if outlook is None else outlook.state
    said = sentence(batch, outlook, scene)
    todo = "" if outlook is None else todo_sentence(batch, outlook, scene.reader)
    huge = ""
    if outlook is not None and outlook.rise_pct is not None:
        band = outlook.rise_pct
        up = scene.reader.say("up ({low} to {high})", low=f"{band.p05:.0f}", high=f"{band.p95:.0f}")
        huge = f'<p class="huge">{band.p50:.0f} % <small>{html.escape(up)}</small></p>'
    tub = tub_picture(batch, outlook, scene, is_stale=row.stale_since is not None, is_large=True)
    return (
        f'<div class="side">{tub}<div>{huge}{chip(state, scene.palette, scene.reader)}</div>'
        f'<div><p class="saying">{html.escape(said)}</p><p class="quiet">{html.escape(todo)}</p>'
        f"{stale_note(row.stale_since, said, scene)}{alert_notes(row, scene)}</div></div>"
    )
