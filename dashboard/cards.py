"""Pieces of HTML about one batch that several screens share: its tub, its card, its side. Everything is escaped."""

import html

from dashboard.access import preferences
from dashboard.drawing.markup import picture
from dashboard.drawing.state_marks import chip
from dashboard.drawing.strips import Hours, strip_svg
from dashboard.drawing.tub import fill, tub_svg
from dashboard.page import View
from dashboard.queries import AIR_ALERTS, RunningBatch
from monitor.alerts.alert import Phase
from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Outlook, State
from monitor.dough.warmth import warm_time
from monitor.recipe.batch import Batch
from monitor.translatable import N_
from monitor.wording.alerts import (
    alert_kind_word,
    clock_text,
    date_words,
    edge_sentence,
    obstruction_sentence,
    outlook_sentence,
    rise_text,
    stage_word,
    state_word,
    todo_sentence,
)
from monitor.wording.cautions import cautions_of_batch, reminder_lines
from monitor.wording.food import batch_food_sentence
from monitor.wording.outlook import next_words
from monitor.wording.reader import Reader


def running_card(running: RunningBatch, view: View) -> str:
    """One running batch as the board says it, beside its strip."""
    batch, outlook = running.batch, running.outlook
    where = _where(batch, view)
    todo = html.escape(_todo(running, view))
    below = f'<p class="todo">{todo}</p>{_notes(running, view)}'
    words = _sentence(batch, outlook, view)
    return _card(batch, outlook, where, words, below, view, is_stale=running.stale_since is not None)


def running_strip(running: RunningBatch, hours: Hours, view: View) -> str:
    """The strip of one running batch; its hours stand above all strips where those are as high as their cards."""
    batch, outlook = running.batch, running.outlook
    strip = strip_svg(batch, outlook, hours, view.now, view.reader, view.palette, stale_since=running.stale_since)
    return picture(strip, _sentence(batch, outlook, view), "strip")


def ended_card(batch: Batch, outlook: Outlook | None, outcome: str, view: View) -> str:
    """One ended batch in the list; its strip is on the hours of its own day, its rule stands where the stage ended."""
    ended_at = batch.ended_at or view.now
    edge = (ended_at - batch.started_at) * 0.03
    hours = Hours(batch.started_at - edge, ended_at + edge)
    strip = strip_svg(batch, outlook, hours, ended_at, view.reader, view.palette)
    where = f"{stage_word(batch.stage, view.reader)}, {date_words(batch.started_at, view.reader)}"
    card = _card(batch, outlook, where, outcome, "", view, is_stale=False)
    return f'<div class="across">{card}{picture(strip, outcome, "strip")}</div>'


def _where(batch: Batch, view: View) -> str:
    """The stage, and where it stands."""
    place = preferences.place_of(view.store.path.parent, *(node for _, node in batch.nodes))
    return stage_word(batch.stage, view.reader) + (f" · {place}" if place else "")


def _card(
    batch: Batch, outlook: Outlook | None, where: str, words: str, below: str, view: View, *, is_stale: bool
) -> str:
    return (
        f'<div class="batch">{tub_picture(batch, outlook, view, is_stale=is_stale)}'
        f'<div class="telling"><p class="name">{html.escape(batch.name)} <small>{html.escape(where)}</small></p>'
        f'<p class="said">{html.escape(words)}</p>{below}</div>'
        f'<div class="how">{chip(_state(outlook), view.palette, view.reader)}{_risen(outlook, view.reader)}</div></div>'
    )


def _risen(outlook: Outlook | None, reader: Reader) -> str:
    if outlook is None or outlook.rise_pct is None:
        return ""
    up = html.escape(reader.say("up"))
    return f'<span class="rise">{round(outlook.rise_pct.p50)} % <small>{up}</small></span>'


def _todo(running: RunningBatch, view: View) -> str:
    """What to do next; of an oven that was called for, since when it is wanted, and once it is on what comes then."""
    if running.outlook is None:
        return ""
    oven = next((alert for alert in running.firing if alert.kind is AlertKind.OVEN_ON), None)
    is_due = running.outlook.state not in (State.NO_RISE, State.RISING, State.NEARLY_READY)
    if oven is None or oven.fired_at is None or is_due:
        return todo_sentence(running.batch, running.outlook, view.reader)
    if oven.phase is Phase.UNACKNOWLEDGED:
        at = clock_text(oven.fired_at, view.reader, view.now)
        return view.reader.say("oven on, wanted since {at}", at=at)
    return view.reader.say("then: {task}", task=next_words(running.batch.stage, view.reader))


def side(running: RunningBatch, view: View) -> str:
    """The large tub of one batch with what is to be said of it."""
    batch, outlook = running.batch, running.outlook
    words = _sentence(batch, outlook, view)
    todo = "" if outlook is None else todo_sentence(batch, outlook, view.reader)
    at_wall = "" if outlook is None else edge_sentence(batch, outlook, view.reader)
    at_wall = at_wall and f'<p class="quiet">{html.escape(at_wall)}</p>'
    risen = ""
    if outlook is not None and outlook.rise_pct is not None:
        band = outlook.rise_pct
        up = view.reader.say("up ({low} to {high})", low=f"{band.p05:.0f}", high=f"{band.p95:.0f}")
        risen = f'<p class="huge">{round(band.p50)} % <small>{html.escape(up)}</small></p>'
    tub = tub_picture(batch, outlook, view, is_stale=running.stale_since is not None, is_large=True)
    return (
        f'<div class="side">{tub}<div>{risen}{chip(_state(outlook), view.palette, view.reader)}</div>'
        f'<div><p class="saying">{html.escape(words)}</p><p class="quiet">{html.escape(todo)}</p>'
        f"{at_wall}{_notes(running, view)}</div></div>"
    )


def beside(batch: Batch, view: View) -> str:
    """Beside the bench: the hours of a dough with egg or milk, and what to mind at this stage."""
    mind = html.escape(" ".join(reminder_lines(cautions_of_batch(batch), view.reader)))
    return f'<div class="beside">{food(batch, view)}<p class="quiet mind">{mind}</p></div>'


def food(batch: Batch, view: View) -> str:
    """How long a dough with egg or milk was warm, beside the guidance; nothing for any other."""
    if not batch.perishable:
        return ""
    warm = warm_time(view.store.readings.track(batch))
    return f'<p class="quiet food">{html.escape(batch_food_sentence(batch, warm, view.now, view.reader))}</p>'


def tub_picture(batch: Batch, outlook: Outlook | None, view: View, *, is_stale: bool, is_large: bool = False) -> str:
    """A batch's tub, to scale, with the rise in words as text alternative."""
    state = _state(outlook)
    rise = None if outlook is None or outlook.rise_pct is None else outlook.rise_pct.p50
    start_ml = batch.start_volume_ml if outlook is None else outlook.start_volume_ml or batch.start_volume_ml
    dome = None if outlook is None else outlook.dome_mm
    levels = fill(
        batch.vessel,
        start_ml,
        rise,
        batch.target.rise_pct,
        dome_mm=0.0 if dome is None else dome.p50,
        target_edge=None if outlook is None else outlook.target_edge,
    )
    width, height = (300.0, 280.0) if is_large else (84.0, 96.0)
    svg = tub_svg(
        batch.vessel,
        levels,
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
    """Since when nothing was measured, unless the sentence says it already; what hides it, what is wrong around it."""
    notes = [alert_kind_word(alert.kind, view.reader) for alert in running.firing if alert.kind in AIR_ALERTS]
    hidden = "" if running.outlook is None else obstruction_sentence(running.outlook, view.reader)
    if hidden:
        notes.insert(0, hidden)
    since = running.stale_since
    if since is not None and (running.outlook is None or running.outlook.state is not State.NO_READINGS):
        words = N_("no readings since {at}") if running.batch.nodes else N_("not estimated since {at}")
        notes.insert(0, view.reader.say(words, at=clock_text(since, view.reader, view.now)))
    return "".join(f'<p class="note">{html.escape(note)}</p>' for note in notes)
