"""Pieces of HTML that several screens share: a tub, a card, the dark bar. Everything from outside is escaped."""

import html
from datetime import datetime

from dashboard.hands import AIR_ALERTS, Due, due_words
from dashboard.marks import chip
from dashboard.page import Scene, clock_words
from dashboard.queries import Row
from dashboard.strips import Hours, strip_svg
from dashboard.svg import picture
from dashboard.tub import fill, tub_svg
from monitor.bakery.wording import (
    alert_kind_word,
    clock_text,
    outlook_sentence,
    rise_text,
    stage_word,
    state_word,
    todo_sentence,
)
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch


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
    )
    words = (
        "tub, not yet measured"
        if outlook is None
        else f"tub: {state_word(state, scene.manner)}, {rise_text(outlook, scene.manner)}"
    )
    return picture(svg, words, "tub")


def rise_words(outlook: Outlook | None) -> str:
    """How far up, in one big number, as HTML; empty when it is not known."""
    if outlook is None or outlook.rise_pct is None:
        return ""
    return f'<span class="rise">{outlook.rise_pct.p50:.0f} % <small>up</small></span>'


def sentence(batch: Batch, outlook: Outlook | None, scene: Scene) -> str:
    """How a batch stands, in words."""
    if outlook is None:
        return f"begun {clock_text(batch.started_at, scene.manner, scene.now)}; not yet estimated"
    return outlook_sentence(batch, outlook, scene.manner)


def batch_card(row: Row, hours: Hours, scene: Scene) -> str:
    """One running batch as the board shows it."""
    batch, outlook = row.batch, row.outlook
    state = State.NO_READINGS if outlook is None else outlook.state
    said = sentence(batch, outlook, scene)
    todo = "" if outlook is None else todo_sentence(batch, outlook, scene.manner)
    strip = strip_svg(batch, outlook, hours, scene.now, scene.manner, scene.palette, stale_since=row.stale_since)
    tub = tub_picture(batch, outlook, scene, is_stale=row.stale_since is not None)
    stage = html.escape(stage_word(batch.stage, scene.manner))
    notes = f"{stale_note(row.stale_since, said, scene)}{alert_notes(row, scene)}"
    return (
        f'<div class="batch">{tub}'
        f'<div><p class="name">{html.escape(batch.name)}</p><p class="where">{stage}</p>'
        f'<div class="how">{chip(state, scene.palette, scene.manner)}{rise_words(outlook)}</div></div>'
        f'<div class="course"><p class="said">{html.escape(said)}</p><p class="todo">{html.escape(todo)}</p>'
        f"{picture(strip, said, 'strip')}{notes}</div></div>"
    )


def stale_note(stale_since: datetime | None, said: str, scene: Scene) -> str:
    """Since when nothing was measured, unless the sentence says it already."""
    if stale_since is None or "no readings" in said:
        return ""
    return f'<p class="note">no readings since {html.escape(clock_text(stale_since, scene.manner, scene.now))}</p>'


def alert_notes(row: Row, scene: Scene) -> str:
    """What is wrong around the dough."""
    wrong = [alert.kind for alert in row.firing if alert.kind in AIR_ALERTS]
    return "".join(f'<p class="note">{html.escape(alert_kind_word(kind, scene.manner))}</p>' for kind in wrong)


def bar(dues: list[Due], scene: Scene) -> str:
    """The dark bar: the next thing hands must do, the ones after, and the time."""
    small = html.escape(clock_words(scene.speed))
    clock = f'<div class="clock">{scene.now.astimezone(scene.manner.zone):%H:%M}<small>{small}</small></div>'
    if not dues:
        return f'<div class="bar"><p class="next">Nothing for hands to do.</p>{clock}</div>'
    when, what = due_words(dues[0], scene.manner, scene.now)
    then = (due_words(due, scene.manner, scene.now) for due in dues[1:3])
    rows = "".join(f"<dt>{html.escape(at.lower())}</dt><dd>{html.escape(words)}</dd>" for at, words in then)
    after = f'<dl class="then">{rows}</dl>' if rows else ""
    return f'<div class="bar"><p class="next"><b>{html.escape(when)}</b>{html.escape(what)}</p>{clock}{after}</div>'


def finished_card(batch: Batch, outlook: Outlook | None, outcome: str, scene: Scene) -> str:
    """One ended batch in the list."""
    state = State.NO_READINGS if outlook is None else outlook.state
    strip = _past_strip(batch, outlook, outcome, scene)
    stage = html.escape(stage_word(batch.stage, scene.manner))
    return (
        f'<div class="batch">{tub_picture(batch, outlook, scene, is_stale=False)}'
        f'<div><p class="name">{html.escape(batch.name)}</p><p class="where">{stage}, '
        f"{batch.started_at.astimezone(scene.manner.zone):%A %Y-%m-%d}</p>"
        f'<div class="how">{chip(state, scene.palette, scene.manner)}{rise_words(outlook)}</div></div>'
        f'<div class="course"><p class="said">{html.escape(outcome)}</p>{strip}</div>'
        "</div>"
    )


def _past_strip(batch: Batch, outlook: Outlook | None, words: str, scene: Scene) -> str:
    """The strip of an ended batch on the hours of its own day; its rule stands where the stage ended."""
    ended_at = batch.ended_at or scene.now
    edge = (ended_at - batch.started_at) * 0.03
    hours = Hours(batch.started_at - edge, ended_at + edge)
    return picture(strip_svg(batch, outlook, hours, ended_at, scene.manner, scene.palette), words, "strip")


def side(row: Row, scene: Scene) -> str:
    """The large tub of one batch with what is to be said of it."""
    batch, outlook = row.batch, row.outlook
    state = State.NO_READINGS if outlook is None else outlook.state
    said = sentence(batch, outlook, scene)
    todo = "" if outlook is None else todo_sentence(batch, outlook, scene.manner)
    huge = ""
    if outlook is not None and outlook.rise_pct is not None:
        band = outlook.rise_pct
        huge = f'<p class="huge">{band.p50:.0f} % <small>up ({band.p05:.0f} to {band.p95:.0f})</small></p>'
    tub = tub_picture(batch, outlook, scene, is_stale=row.stale_since is not None, is_large=True)
    return (
        f'<div class="side">{tub}<div>{huge}{chip(state, scene.palette, scene.manner)}</div>'
        f'<div><p class="saying">{html.escape(said)}</p><p class="quiet">{html.escape(todo)}</p>'
        f"{stale_note(row.stale_since, said, scene)}{alert_notes(row, scene)}</div></div>"
    )
