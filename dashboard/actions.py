"""What a baker does on a screen, written at once through the store, at the dough's own now."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import streamlit as st

from dashboard import queries
from dashboard.access import preferences, visitor
from dashboard.photograph import as_small_jpeg
from monitor.errors import AccessError, PictureError, StoreError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Target
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.recipe.vessel import Vessel
from monitor.store.pace import clock_of
from monitor.store.reviews import Reviews
from monitor.store.vessels import Shelf
from monitor.wording.alerts import clock_text, event_word
from monitor.wording.reader import Reader
from monitor.wording.review import verdict_word

# How far off a level read by eye against a wall is, one standard deviation: judgement (a domed top, a slanting look).
LEVEL_SD_MM = 3.0

Action = Callable[..., None]


def note(batch_id: BatchId, kind: EventKind, words: str = "") -> None:
    """Keep something that was done to a dough, and say so."""
    try:
        with queries.opened_to_write() as store:
            now = clock_of(store).now()
            store.add_event(batch_id, Event(now, kind, words))
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not noted: {why}", why=error), duration="infinite")
        return
    reader = _reader()
    said = f"{event_word(kind, reader)}: {reader.say(words)}" if words else event_word(kind, reader)
    st.toast(reader.say("Noted: {what}, {at}", what=said, at=clock_text(now, reader)))


def note_level(batch_id: BatchId, level_mm: float | None) -> None:
    """Keep a level that was read off the tub's wall, and say so."""
    if level_mm is None:
        st.toast(_reader().say("Type the level in millimetres first."))
        return
    try:
        with queries.opened_to_write() as store:
            now = clock_of(store).now()
            store.add_level(batch_id, now, level_mm, LEVEL_SD_MM)
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not noted: {why}", why=error), duration="infinite")
        return
    at = clock_text(now, _reader())
    st.toast(_reader().say("Noted: level {level} mm, {at}", level=f"{level_mm:.0f}", at=at))


def acknowledge(*numbers: int) -> None:
    """Keep that somebody knows of some alerts, and say so."""
    try:
        with queries.opened_to_write() as store:
            now = clock_of(store).now()
            for number in numbers:
                store.acknowledge(number, now, _person())
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not kept: {why}", why=error), duration="infinite")
        return
    st.toast(_reader().say("Seen, {at}", at=clock_text(now, _reader())))


def shelve(number: int, minutes: int) -> None:
    """Keep for how long nobody wants to hear of an alert (0: it calls again now), and say so."""
    try:
        with queries.opened_to_write() as store:
            now = clock_of(store).now()
            until = now + timedelta(minutes=minutes) if minutes else None
            store.shelve(number, until, now, _person())
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not kept: {why}", why=error), duration="infinite")
        return
    if until is None:
        st.toast(_reader().say("It calls again"))
    else:
        st.toast(_reader().say("Later, until {at}", at=clock_text(until, _reader())))


def _person() -> str:
    """Who says so, for the history."""
    return visitor.name(queries.database().parent) or "the dashboard"


def move_band(batch_id: BatchId, rise_pct: float) -> None:
    """Move the band of a batch to another rise, and say so."""
    try:
        with queries.opened_to_write_as(Reviews) as store:
            store.set_target(batch_id, Target(rise_pct))
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not moved: {why}", why=error), duration="infinite")
        return
    st.toast(_reader().say("The band stands at {rise} % now", rise=f"{rise_pct:.0f}"))


def judge(batch_id: BatchId, verdict: Verdict, notes: str, picture: bytes | None) -> None:
    """Keep what a baker says of a finished dough; without a new picture the one before stays."""
    try:
        photo = None if picture is None else as_small_jpeg(picture)
        with queries.opened_to_write_as(Reviews) as store:
            before = store.judgement(batch_id)
            photo = photo or (None if before is None else before.photo_jpeg)
            store.save_judgement(batch_id, Judgement(clock_of(store).now(), verdict, notes.strip(), photo))
    except (AccessError, StoreError, PictureError) as error:
        st.toast(_reader().say("Not kept: {why}", why=error), duration="infinite")
        return
    st.toast(_reader().say("Kept: {what}", what=verdict_word(verdict, _reader())))


def keep_intent(batch_id: BatchId, intent: Intent) -> None:
    """Keep what a batch was meant to be."""
    try:
        with queries.opened_to_write_as(Reviews) as store:
            store.save_intent(batch_id, intent)
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not kept: {why}", why=error), duration="infinite")
        return
    st.toast(_reader().say("Kept: what was planned"))


def begin(batch: Batch, intent: Intent) -> BatchId | None:
    """Begin a batch at this moment, with what it is meant to be; its number, or None when that could not be kept."""
    try:
        with queries.opened_to_write_as(Reviews) as store:
            kept = store.add_batch(replace(batch, started_at=clock_of(store).now()))
            store.save_intent(kept.id, intent)
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not begun: {why}", why=error), duration="infinite")
        return None
    return kept.id


def put_on_shelf(name: str, vessel: Vessel) -> None:
    """Keep a vessel under its name, and say so."""
    try:
        with queries.opened_to_write_as(Shelf) as store:
            store.put_vessel(name, vessel)
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not kept: {why}", why=error), duration="infinite")
        return
    st.toast(_reader().say("On the shelf: {vessel}", vessel=name))


def _reader() -> Reader:
    return preferences.reader(queries.database().parent)
