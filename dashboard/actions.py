"""What a baker does on a screen, written at once through the store at the dough's own now."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial, wraps
from io import BytesIO
from pathlib import Path
from typing import Concatenate, Literal, ParamSpec, TypeVar

import streamlit as st

from dashboard import queries
from dashboard.access import preferences, visitor
from monitor.collector.plan_runner import StageForecasts, live_plan, next_stages, start_next, tick_off
from monitor.errors import AccessError, ConfigError, PictureError, StoreError, UnfitError
from monitor.node.sights import require_seen
from monitor.plan.day import Plan, PlanId
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Target
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.recipe.vessel import Vessel, require_inside
from monitor.settings import recipes
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import N_, Number
from monitor.wire.readings import Reading
from monitor.wording.alerts import alert_kind_word, clock_text, event_word, trial_call
from monitor.wording.phrases import event_text
from monitor.wording.reader import Reader
from monitor.wording.review import verdict_word

LEVEL_SD_MM = 3.0  # of a level read by eye against a wall: judgement (a ragged edge, a slanting look)
PHOTO_FORMATS = ("JPEG", "PNG", "WEBP")
MOST_MEGAPIXELS = 25.0  # judgement: telephones save more as JPEG only; decoded it takes 100 MB, and as much again
LONGEST_PHOTO_PX = 1280
PHOTO_QUALITY = 80

UNDO_S = 20.0  # judgement: long enough to see a slip and wipe a hand
_UNDO = "can be undone"
_LATER = "said later"  # what the next drawing of the page says, and for how long

Action = Callable[..., None]
Duration = Literal["short", "infinite"]
P = ParamSpec("P")
R = TypeVar("R")


def say_now(words: str, duration: Duration = "short") -> None:
    """Say in a toast what was saved, or why not."""
    st.toast(words, duration=duration)


def say_later(words: str, duration: Duration = "short") -> None:
    """Say in the next drawing of the whole page what was saved, or why not.

    For an action after which the page is drawn anew at once: a toast of the drawing before may never reach the browser.
    """
    st.session_state[_LATER] = words, duration


def show_later() -> None:
    """What was to be said in this drawing of the page."""
    if _LATER in st.session_state:
        words, duration = st.session_state.pop(_LATER)
        st.toast(words, duration=duration)


@dataclass(frozen=True, slots=True)
class Undo:
    """What was just done and can be taken back: what it is called, how, and until when by the machine's clock."""

    words: str
    take_back: Callable[[], None]
    until_s: float


def offer_undo(words: str, take_back: Callable[[], None]) -> None:
    """Say what was done, with a way back for some seconds; what was done before it can no longer be taken back."""
    st.session_state[_UNDO] = Undo(words, take_back, time.monotonic() + UNDO_S)


def offered() -> Undo | None:
    """What can still be undone in this session."""
    found: Undo | None = st.session_state.get(_UNDO)
    return found if found is not None and found.until_s > time.monotonic() else None


def undo() -> None:
    """Take back what was done last."""
    found = offered()
    st.session_state.pop(_UNDO, None)
    if found is not None:
        found.take_back()


@dataclass(frozen=True, slots=True)
class Write:
    """The store open for one write, the moment it is made at, and how its baker is told things."""

    store: Store
    now: datetime
    reader: Reader


def writes(
    refusal: str = N_("Not saved: {why}"), *, tell: Callable[[str, Duration], None] = say_now
) -> Callable[[Callable[Concatenate[Write, P], R]], Callable[P, R | None]]:
    """Make an action of a function that writes: what cannot be written is said in a toast, and the action gives None.

    Somebody who may not write is refused before the function is called: a context manager could not leave it out.
    """

    def action_of(write: Callable[Concatenate[Write, P], R]) -> Callable[P, R | None]:
        @wraps(write)
        def action(*args: P.args, **kwargs: P.kwargs) -> R | None:
            reader = preferences.reader(queries.database().parent)
            try:
                with queries.opened_to_write() as store:
                    return write(Write(store, clock_of(store).now(), reader), *args, **kwargs)
            except (AccessError, ConfigError, PictureError, StoreError, UnfitError) as error:
                tell(reader.say(refusal, why=error), "infinite")
                return None

        return action

    return action_of


@writes()
def add_event(write: Write, batch_id: BatchId, kind: EventKind, words: str = "") -> None:
    """Note something that was done to a dough."""
    event = Event(write.now, kind, words)
    write.store.batches.add_event(batch_id, event)
    what = event_text(event, write.reader)
    said = write.reader.say("Noted: {what}, {at}", what=what, at=clock_text(write.now, write.reader))
    offer_undo(said, partial(take_back_event, batch_id, event))


@writes()
def take_back_event(write: Write, batch_id: BatchId, event: Event) -> None:
    """Take back something that was noted of a dough."""
    write.store.batches.take_back_event(batch_id, event, write.now)


@writes(tell=say_later)
def end_stage(write: Write, batch_id: BatchId) -> bool:
    """End a batch's stage; True once that is saved."""
    write.store.batches.add_event(batch_id, Event(write.now, EventKind.END))
    what, at = event_word(EventKind.END, write.reader), clock_text(write.now, write.reader)
    say_later(write.reader.say("Noted: {what}, {at}", what=what, at=at))
    return True


@writes()
def add_level(write: Write, batch_id: BatchId, level_mm: float | None) -> None:
    """Note a level that was read off the tub's wall."""
    if level_mm is None:
        say_now(write.reader.say("Type the level in millimetres first."))
        return
    level = write.store.readings.add_level(batch_id, write.now, level_mm, LEVEL_SD_MM)
    at = clock_text(write.now, write.reader)
    said = write.reader.say("Noted: level {level} mm, {at}", level=f"{level_mm:.0f}", at=at)
    offer_undo(said, partial(_take_back_level, level))


@writes()
def _take_back_level(write: Write, level: Reading) -> None:
    write.store.readings.take_back_level(level)


@writes(N_("Not moved: {why}"))
def move_band(write: Write, batch_id: BatchId, rise_pct: float) -> None:
    """Move the band of a batch to another rise."""
    before = write.store.batches.get(batch_id).target
    write.store.batches.set_target(batch_id, Target(rise_pct))
    said = write.reader.say("The band stands at {rise} % now", rise=f"{rise_pct:.0f}")
    offer_undo(said, partial(_put_band_back, batch_id, before))


@writes(N_("Not moved: {why}"))
def _put_band_back(write: Write, batch_id: BatchId, target: Target) -> None:
    write.store.batches.set_target(batch_id, target)


@writes()
def acknowledge(write: Write, *numbers: int) -> None:
    """Note that somebody has seen some alerts."""
    seen = [write.store.alerts.acknowledge(number, write.now, _person()) for number in numbers]
    what = ", ".join(dict.fromkeys(alert_kind_word(alert.kind, write.reader) for alert in seen))
    said = write.reader.say("Seen: {what}, {at}", what=what, at=clock_text(write.now, write.reader))
    offer_undo(said, partial(_unsee, numbers))


@writes()
def _unsee(write: Write, numbers: tuple[int, ...]) -> None:
    for number in numbers:
        write.store.alerts.take_back_acknowledgement(number, write.now, _person())


@writes()
def confirm_fold(write: Write, number: int) -> None:
    """Note the fold that an alert calls for, which answers it."""
    alert, fold = write.store.confirm_fold(number, write.now, _person())
    assert alert.subject.batch_id is not None
    what = event_word(fold.kind, write.reader)
    said = write.reader.say("Noted: {what}, {at}", what=what, at=clock_text(write.now, write.reader))
    offer_undo(said, partial(_take_back_fold, number, alert.subject.batch_id, fold))


@writes()
def _take_back_fold(write: Write, number: int, batch_id: BatchId, fold: Event) -> None:
    write.store.batches.take_back_event(batch_id, fold, write.now)
    write.store.alerts.take_back_acknowledgement(number, write.now, _person())


@writes()
def shelve(write: Write, number: int, minutes: int) -> None:
    """Let an alert wait for some minutes; 0 lets it call again at once."""
    until = write.now + timedelta(minutes=minutes) if minutes else None
    write.store.alerts.shelve(number, until, write.now, _person())
    if until is None:
        say_now(write.reader.say("It calls again"))
    else:
        said = write.reader.say("Later, until {at}", at=clock_text(until, write.reader))
        offer_undo(said, partial(shelve, number, 0))


@writes(N_("Not rung: {why}"))
def ring_everybody(write: Write) -> str:
    """Let the collector ring everybody once, to try the calls; the message's id comes back."""
    message = trial_call(write.now, write.reader)
    write.store.outbox.add(message)
    return message.id


def _person() -> str:
    """Who says so, for the history."""
    return visitor.name(queries.database().parent) or "the dashboard"


@writes(N_("Not begun: {why}"))
def start_batch(write: Write, batch: Batch, intent: Intent, level_mm: float | None) -> BatchId:
    """Begin a batch at this moment, with what it is meant to be, and where it stands when somebody has looked.

    Its number comes back, or None when that could not be saved.
    """
    require_seen(batch, write.store.path.parent, write.reader)
    if level_mm is not None:
        require_inside(batch.vessel, level_mm)
    events = tuple(replace(event, at=write.now) for event in batch.events)  # they are of its start
    added = write.store.batches.add(replace(batch, started_at=write.now, events=events))
    write.store.reviews.save_intent(added.id, intent)
    if level_mm is not None:
        write.store.readings.add_level(added.id, write.now, level_mm, LEVEL_SD_MM)
    _offer_to_take_back(write, added)
    return added.id


@writes(N_("Not begun: {why}"))
def begin_stage(write: Write, plan_id: PlanId, dough: str, stage: int) -> None:
    """Begin the next stage of a planned dough, with its batch; a second tap begins nothing more."""
    live = live_plan(write.store, write.store.plans.get(plan_id), write.now, StageForecasts(write.store))
    if not any(each.key == dough and waiting.number == stage for each, waiting in next_stages(live)):
        say_now(write.reader.say("That has begun already."))
        return
    before = {batch.id for batch in write.store.batches.all()}
    words = start_next(write.store, live, write.now, write.reader, dough)
    begun = next(batch for batch in write.store.batches.running() if batch.id not in before)
    if write.store.batches.can_take_back(begun.id):
        _offer_to_take_back(write, begun)
    else:
        say_now(words)


def _offer_to_take_back(write: Write, batch: Batch) -> None:
    at = clock_text(batch.started_at, write.reader, write.now)
    offer_undo(write.reader.say("Begun: {what}, {at}", what=batch.name, at=at), partial(take_back_batch, batch.id))


@writes(N_("Not taken back: {why}"))
def take_back_batch(write: Write, batch_id: BatchId) -> None:
    """Take back that a batch was begun."""
    write.store.batches.take_back(batch_id, write.now)


@writes()
def mark_done(write: Write, plan_id: PlanId, step: str, words: str) -> None:
    """Tick a step of a plan off."""
    live = live_plan(write.store, write.store.plans.get(plan_id), write.now, StageForecasts(write.store))
    asked = next(each for each in steps(live.now) if each.key == step)
    noted = tick_off(write.store, live, asked, write.now)
    offer_undo(write.reader.say("Done: {what}", what=words), partial(_take_back_done, plan_id, step, noted))


@writes()
def _take_back_done(write: Write, plan_id: PlanId, step: str, noted: tuple[BatchId, Event] | None) -> None:
    write.store.plans.take_back_done(plan_id, step)
    if noted is not None:
        write.store.batches.take_back_event(*noted, write.now)


@writes()
def replace_plan(write: Write, plan_id: PlanId, plan: Plan) -> None:
    """Live another plan in the place of one."""
    kept = write.store.plans.add(plan)
    write.store.plans.carry_over(plan_id, kept.id)
    write.store.plans.drop(plan_id)
    offer_undo(write.reader.say("The plan is moved"), partial(_put_plan_back, kept.id, plan_id))


@writes()
def _put_plan_back(write: Write, plan_id: PlanId, before: PlanId) -> None:
    write.store.plans.carry_over(plan_id, before)
    write.store.plans.drop(plan_id)
    write.store.plans.take_back_drop(before)


@writes()
def keep_recipe(write: Write, text: str) -> Path:
    """Keep the text of a recipe file beside the other recipes."""
    path = recipes.keep_recipe(text, write.store.path.parent)
    offer_undo(write.reader.say("Kept: {what}", what=path.stem), path.unlink)
    return path


@writes(tell=say_later)
def save_vessel(write: Write, name: str, vessel: Vessel) -> None:
    """Add a vessel to the bakery's, under its name."""
    write.store.vessels.put(name, vessel)
    say_later(write.reader.say("Saved: {what}", what=name))


@writes(tell=say_later)
def save_intent(write: Write, batch_id: BatchId, intent: Intent) -> None:
    """Save what a batch was meant to be."""
    write.store.reviews.save_intent(batch_id, intent)
    say_later(write.reader.say("Saved: what was planned"))


@writes(tell=say_later)
def save_judgement(write: Write, batch_id: BatchId, verdict: Verdict, notes: str, photo: bytes | None) -> None:
    """Save what a baker says of a finished dough; without a new photograph the one before stays."""
    before = write.store.reviews.judgement(batch_id)
    jpeg = small_jpeg(photo) if photo else None if before is None else before.photo_jpeg
    write.store.reviews.save_judgement(batch_id, Judgement(write.now, verdict, notes.strip(), jpeg))
    say_later(write.reader.say("Saved: {what}", what=verdict_word(verdict, write.reader)))


def small_jpeg(photo: bytes) -> bytes:
    """A photograph as a JPEG of at most 1280 pixels a side, upright.

    Bare of what a telephone writes into it: place, time, owner. Other formats are not looked at: the library starts
    programs for some. A large JPEG is decoded at an eighth of its size, any other is refused before it is decoded.

    Raises
    ------
    PictureError
        When it is no such picture, or one too large.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError  # only for whoever has a photograph

    try:
        with Image.open(BytesIO(photo), formats=PHOTO_FORMATS) as opened:
            opened.draft("RGB", (LONGEST_PHOTO_PX, LONGEST_PHOTO_PX))  # a JPEG alone can be read smaller than it is
            megapixels = opened.width * opened.height / 1e6
            if megapixels > MOST_MEGAPIXELS:
                raise PictureError(
                    "this picture has {n} megapixels, and {most} are the most that is read: choose a smaller one",
                    n=Number(megapixels, ".0f"),
                    most=Number(MOST_MEGAPIXELS, "g"),
                )
            plain = opened if opened.mode == "RGB" else opened.convert("RGB")
            plain.thumbnail((LONGEST_PHOTO_PX, LONGEST_PHOTO_PX))
            upright = ImageOps.exif_transpose(plain)
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise PictureError("this file cannot be read as a picture: choose a JPEG, PNG or WebP photograph") from error
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    out = BytesIO()
    bare.save(out, "JPEG", quality=PHOTO_QUALITY, optimize=True)
    return out.getvalue()
