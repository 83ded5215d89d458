"""What is found out beside the bench: checks by hand, and the hours of egg and milk above 5 C."""

import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.archive.export import batch_toml
from monitor.dough.track import Series, Track
from monitor.dough.warmth import WarmTime, warm_time
from monitor.errors import ConfigError, UnfitError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, batch_from_toml, require_measured
from monitor.recipe.vessel import Shape, Vessel
from monitor.wording.food import batch_food_sentence
from monitor.wording.phrases import event_text, flag_text
from monitor.wording.reader import Reader

SIX = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0)
CROWN = Batch(BatchId(0), "Sunday crown", Stage.FIRST_RISE, SIX, TUB, perishable=("eggs", "milk"))
READER = Reader(UTC)


def series(*points: tuple[float, float]) -> Series:
    """Values at minutes."""
    t_s, value = np.array(points).T
    return Series(60.0 * t_s, value, np.full(t_s.size, np.nan))


def test_only_measured_minutes_above_5_c_count():
    probe = series((0, 24.0), (10, 20.0), (20, 5.0), (30, 4.0), (100, 12.0), (110, 12.0))
    found = warm_time(Track(dough_temp_c=probe, air_temp_c=series((0, 25.0), (110, 25.0))))
    assert found == WarmTime(warm_min=20.0 + 10.0, measured_min=40.0, is_of_probe=True)


def test_the_air_stands_in_for_a_probe_that_is_not_there():
    assert warm_time(Track(air_temp_c=series((0, 22.0), (25, 22.0)))) == WarmTime(25.0, 25.0, is_of_probe=False)
    assert warm_time(Track()) == WarmTime()


def test_the_time_is_told_with_what_was_not_measured_and_with_the_guidance():
    said = batch_food_sentence(CROWN, WarmTime(80.0, 90.0, is_of_probe=True), SIX + timedelta(hours=2), READER)
    assert said.startswith(
        "It holds eggs, milk: 1 h 20 min above 5.0 °C (41.0 °F) in this stage alone, by the probe in the dough. "
        "30 min of it were not measured. Public guidance (FDA Food Code, US): "
    )
    assert "Your own food authority's rules come first." in said


def test_what_nobody_measures_is_said_to_be_counted_by_hand():
    said = batch_food_sentence(CROWN, WarmTime(), SIX + timedelta(hours=2), READER)
    assert "nothing has measured its warmth for 2 h: count its hours above 5.0 °C (41.0 °F) yourself." in said
    assert batch_food_sentence(replace(CROWN, perishable=()), WarmTime(), SIX, READER) == ""


@pytest.mark.parametrize(
    ("kind", "note", "text", "flag"),
    [
        (EventKind.PH, "4.8", "pH 4.8", "pH 4.8"),
        (EventKind.TTA, "9", "acidity (TTA) 9.0 mL", "acidity (TTA) 9.0 mL"),
        (EventKind.DOUGH_TEMP, "26.5", "dough temperature 26.5 °C (79.7 °F)", "26.5 °C"),
        (EventKind.WINDOWPANE, "holds", "windowpane: holds", "windowpane"),
        (EventKind.PH, "sour", "pH: sour", "pH"),
        (EventKind.FOLD, "", "folded", "folded"),
    ],
)
def test_a_check_is_told_with_what_was_found(kind: EventKind, note: str, text: str, flag: str):
    event = Event(SIX, kind, note)
    assert event_text(event, READER) == text
    assert flag_text(event, READER) == flag


@pytest.mark.parametrize("note", ["", "sour", "1.2", "nan", "inf", "40"])
def test_a_ph_that_no_dough_has_is_refused(note: str):
    with pytest.raises(UnfitError, match=r"must be the number that was measured as pH, from 2.5 to 9"):
        require_measured(Event(SIX, EventKind.PH, note))
    batch = replace(CROWN, events=(Event(SIX + timedelta(hours=1), EventKind.PH, note),))
    with pytest.raises(ConfigError, match=r"events 1: note = .* must be the number that was measured as pH"):
        batch_from_toml(tomllib.loads(batch_toml(batch)), "a.toml")


def test_checks_survive_a_batch_file():
    events = tuple(
        Event(SIX + timedelta(hours=hours), kind, note)
        for hours, (kind, note) in enumerate(((EventKind.STRENGTH, "slack"), (EventKind.TTA, "8.5")), start=1)
    )
    batch = replace(CROWN, events=events)
    assert batch_from_toml(tomllib.loads(batch_toml(batch)), "a.toml") == batch
