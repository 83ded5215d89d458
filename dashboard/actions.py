"""What a baker does on a screen, written at once through the store at the dough's own now."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from io import BytesIO
from typing import Literal

import streamlit as st
from PIL import Image, ImageOps, UnidentifiedImageError

from dashboard import queries
from dashboard.access import preferences, visitor
from monitor.collector.plan_runner import StageForecasts, live_plan, next_stages, start_next
from monitor.errors import AccessError, ConfigError, PictureError, StoreError
from monitor.plan.day import PlanId
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Target
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.recipe.vessel import Vessel
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording.alerts import clock_text, event_word
from monitor.wording.reader import Reader
from monitor.wording.review import verdict_word

LEVEL_SD_MM = 3.0  # of a level read by eye against a wall: judgement (a domed top, a slanting look)
LONGEST_PHOTO_PX = 1280
PHOTO_QUALITY = 80

_LATER = "said later"  # what the next drawing of the page says, and for how long

Action = Callable[..., None]


@contextmanager
def writing(
    refusal: str = N_("Not saved: {why}"), *, say: Callable[..., object] = st.toast
) -> Iterator[tuple[Store, datetime, Reader]]:
    """The store for one write, the moment it is made at, and its reader; what cannot be written is said in a toast."""
    reader = preferences.reader(queries.database().parent)
    try:
        with queries.opened_to_write() as store:
            yield store, clock_of(store).now(), reader
    except (AccessError, ConfigError, PictureError, StoreError) as error:
        say(reader.say(refusal, why=error), duration="infinite")


def say_later(words: str, duration: Literal["short", "infinite"] = "short") -> None:
    """Say in the next drawing of the whole page what was saved, or why not.

    For an action after which the page is drawn anew at once: a toast of the drawing before may never reach the browser.
    """
    st.session_state[_LATER] = words, duration


def show_later() -> None:
    """What was to be said in this drawing of the page."""
    if _LATER in st.session_state:
        words, duration = st.session_state.pop(_LATER)
        st.toast(words, duration=duration)


def add_event(batch_id: BatchId, kind: EventKind, words: str = "") -> None:
    """Note something that was done to a dough."""
    with writing() as (store, now, reader):
        store.batches.add_event(batch_id, Event(now, kind, words))
        what = f"{event_word(kind, reader)}: {reader.say(words)}" if words else event_word(kind, reader)
        st.toast(reader.say("Noted: {what}, {at}", what=what, at=clock_text(now, reader)))


def add_level(batch_id: BatchId, level_mm: float | None) -> None:
    """Note a level that was read off the tub's wall."""
    with writing() as (store, now, reader):
        if level_mm is None:
            st.toast(reader.say("Type the level in millimetres first."))
            return
        store.readings.add_level(batch_id, now, level_mm, LEVEL_SD_MM)
        at = clock_text(now, reader)
        st.toast(reader.say("Noted: level {level} mm, {at}", level=f"{level_mm:.0f}", at=at))


def move_band(batch_id: BatchId, rise_pct: float) -> None:
    """Move the band of a batch to another rise."""
    with writing(N_("Not moved: {why}")) as (store, _, reader):
        store.batches.set_target(batch_id, Target(rise_pct))
        st.toast(reader.say("The band stands at {rise} % now", rise=f"{rise_pct:.0f}"))


def acknowledge(*numbers: int) -> None:
    """Note that somebody has seen some alerts."""
    with writing() as (store, now, reader):
        for number in numbers:
            store.alerts.acknowledge(number, now, _person())
        st.toast(reader.say("Seen, {at}", at=clock_text(now, reader)))


def shelve(number: int, minutes: int) -> None:
    """Let an alert wait for some minutes; 0 lets it call again at once."""
    with writing() as (store, now, reader):
        until = now + timedelta(minutes=minutes) if minutes else None
        store.alerts.shelve(number, until, now, _person())
        if until is None:
            st.toast(reader.say("It calls again"))
        else:
            st.toast(reader.say("Later, until {at}", at=clock_text(until, reader)))


def _person() -> str:
    """Who says so, for the history."""
    return visitor.name(queries.database().parent) or "the dashboard"


def start_batch(batch: Batch, intent: Intent) -> BatchId | None:
    """Begin a batch at this moment, with what it is meant to be; its number, or None when that could not be saved."""
    with writing(N_("Not begun: {why}")) as (store, now, _):
        added = store.batches.add(replace(batch, started_at=now))
        store.reviews.save_intent(added.id, intent)
        return added.id
    return None


def begin_stage(plan_id: PlanId, dough: str, stage: int) -> None:
    """Begin the next stage of a planned dough, with its batch; a second tap begins nothing more."""
    with writing(N_("Not begun: {why}")) as (store, now, reader):
        live = live_plan(store, store.plans.get(plan_id), now, StageForecasts(store))
        if any(each.key == dough and waiting.number == stage for each, waiting in next_stages(live)):
            st.toast(start_next(store, live, now, reader, dough))
        else:
            st.toast(reader.say("That has begun already."))


def mark_done(plan_id: PlanId, step: str, words: str) -> None:
    """Tick a step of a plan off."""
    with writing() as (store, now, reader):
        store.plans.mark_done(plan_id, step, now)
        st.toast(reader.say("Done: {what}", what=words))


def save_vessel(name: str, vessel: Vessel) -> None:
    """Add a vessel to the bakery's, under its name."""
    with writing(say=say_later) as (store, _, reader):
        store.vessels.put(name, vessel)
        say_later(reader.say("Saved: {what}", what=name))


def save_intent(batch_id: BatchId, intent: Intent) -> None:
    """Save what a batch was meant to be."""
    with writing(say=say_later) as (store, _, reader):
        store.reviews.save_intent(batch_id, intent)
        say_later(reader.say("Saved: what was planned"))


def save_judgement(batch_id: BatchId, verdict: Verdict, notes: str, photo: bytes | None) -> None:
    """Save what a baker says of a finished dough; without a new photograph the one before stays."""
    with writing(say=say_later) as (store, now, reader):
        before = store.reviews.judgement(batch_id)
        jpeg = small_jpeg(photo) if photo else None if before is None else before.photo_jpeg
        store.reviews.save_judgement(batch_id, Judgement(now, verdict, notes.strip(), jpeg))
        say_later(reader.say("Saved: {what}", what=verdict_word(verdict, reader)))


def small_jpeg(photo: bytes) -> bytes:
    """A picture of any usual kind as a JPEG of at most 1280 pixels a side, upright.

    Bare of what a telephone writes into it: place, time, owner.

    Raises
    ------
    PictureError
        When it is no picture, or one larger than any camera takes.
    """
    try:
        with Image.open(BytesIO(photo)) as opened:
            upright = ImageOps.exif_transpose(opened).convert("RGB")
            upright.thumbnail((LONGEST_PHOTO_PX, LONGEST_PHOTO_PX))
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise PictureError("this file cannot be read as a picture: choose a JPEG, PNG or WebP photograph") from error
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    out = BytesIO()
    bare.save(out, "JPEG", quality=PHOTO_QUALITY, optimize=True)
    return out.getvalue()
