"""Trouble first, then whoever needs hands next; eight states that differ without colour; names that do no harm."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dashboard.board.bar import row_html, what_words, when_words
from dashboard.board.hands import DoughTask, hands_tasks, next_task
from dashboard.board.priority import ordered
from dashboard.cards import ended_card, running_card, running_strip, side
from dashboard.drawing.markup import heading, picture, plain
from dashboard.drawing.palette import DAY, NIGHT
from dashboard.drawing.state_marks import LOOKS, chip, mark_svg
from dashboard.drawing.strips import shared_hours
from dashboard.outcome import Outcome, half_way, outcome_of, outcome_words
from dashboard.page import View, clock_words
from dashboard.queries import OpenAlert, RunningBatch, stale_since
from monitor.alerts.dough import Alert, AlertKind, Subject
from monitor.alerts.reasons import SkinDrying
from monitor.dough.outlook import SILENCE_MIN, Band, Moments, Outlook, State
from monitor.dough.tasks import Do
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId
from monitor.wording.alerts import state_word
from monitor.wording.reader import Reader

NOW = datetime(2026, 3, 2, 9, 36, tzinfo=UTC)
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (230.0, 230.0), 250.0, 320.0)
NODES = ((Channel.DISTANCE, NodeId("urn:dev:mac:020000fffe5e0001")),)
HOSTILE = "<img src=x onerror=alert(1)>"


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def row(
    number: int,
    state: State,
    ready_min: float | None = 60.0,
    *,
    name: str = "Loaf",
    firing: tuple[AlertKind, ...] = (),
    seen_min: float = 0.0,
) -> RunningBatch:
    batch = Batch(BatchId(number), name, Stage.FIRST_RISE, NOW - minutes(100), TUB, Target(75.0), nodes=NODES)
    middle = None if ready_min is None else NOW + minutes(ready_min)
    ready = Moments() if middle is None else Moments(middle - minutes(5), middle, middle, middle, middle + minutes(9))
    outlook = Outlook(
        NOW,
        state,
        rise_pct=Band(48.0, 50.0, 52.0),
        ready=ready,
        last_reading_at=NOW - minutes(seen_min),
        start_volume_ml=2500.0,
    )
    alerts = tuple(Alert(Subject.batch(batch.id), kind, 1, NOW, NOW, reason=SkinDrying(750.0)) for kind in firing)
    return RunningBatch(batch, outlook, alerts, stale_since(batch, outlook, NOW, SILENCE_MIN))


@pytest.fixture
def view(tmp_path: Path) -> Iterator[View]:
    with Store(tmp_path / "monitor.sqlite") as store:
        yield View(store, NOW, Reader(UTC), DAY, None)


def test_trouble_comes_first_then_the_clock() -> None:
    rows = [
        row(1, State.RISING, 90.0),
        row(2, State.RISING, 20.0),
        row(3, State.READY, -4.0),
        row(4, State.NOT_RISING, None),
        row(5, State.PAST_PEAK, -60.0),
        row(6, State.RISING, 40.0, seen_min=30.0),
        row(7, State.RISING, 80.0, firing=(AlertKind.AIR_TOO_DRY,)),
        row(8, State.NO_RISE, None),
    ]
    assert [int(found.batch.id) for found in ordered(rows, NOW)] == [5, 4, 6, 7, 3, 2, 1, 8]


def test_a_batch_that_was_never_estimated_comes_last() -> None:
    fresh = replace(row(1, State.NO_RISE), outlook=None, stale_since=None)
    assert [int(found.batch.id) for found in ordered([fresh, row(2, State.RISING)], NOW)] == [2, 1]


def test_hands_do_what_is_due_now_before_what_comes() -> None:
    rows = [
        row(1, State.RISING, 30.0, name="Later"),
        row(2, State.PAST_PEAK, -60.0, name="Buns"),
        row(3, State.READY, -4.0, name="Tin"),
    ]
    found = hands_tasks(rows, (), (), ())
    assert [when_words(task, Reader(UTC), NOW) for task in found] == ["Now, since 09:32", "Now, since 09:36", "10:06"]
    assert [what_words(task, Reader(UTC), NOW)[1] for task in found] == ["Tin", "Buns", "Later"]


def called(kind: AlertKind, since_min: float, **more: object) -> OpenAlert:
    at = NOW - minutes(since_min)
    alert = Alert(Subject.batch(BatchId(1)), kind, 1, at, at, called_at=at, number=7, **more)  # type: ignore[arg-type]
    return OpenAlert(alert, "Loaf")


def test_a_call_that_is_out_stands_still_however_the_forecast_moves() -> None:
    oven = [called(AlertKind.OVEN_ON, 40.0)]
    for ready_min in (20.0, 90.0):
        rising = row(1, State.RISING, ready_min)
        rising = replace(rising, batch=replace(rising.batch, preheat_min=30.0))
        assert next_task(rising, oven) == DoughTask(rising.batch, Do.OVEN_ON, NOW - minutes(40.0), True, (7,))


def test_an_oven_that_is_on_is_asked_for_no_more() -> None:
    rising = row(1, State.RISING, 90.0)
    rising = replace(rising, batch=replace(rising.batch, preheat_min=30.0))
    assert next_task(rising, []) == DoughTask(rising.batch, Do.OVEN_ON, NOW + minutes(60.0), False)
    found = next_task(rising, [called(AlertKind.OVEN_ON, 40.0, acknowledged_at=NOW)])
    assert found == DoughTask(rising.batch, Do.NEXT, NOW + minutes(90.0), False)


def test_what_was_answered_goes_from_the_bar() -> None:
    ready = row(1, State.READY, -4.0)
    assert next_task(ready, [called(AlertKind.READY, 3.0)]) == DoughTask(
        ready.batch, Do.NEXT, NOW - minutes(3.0), True, (7,)
    )
    assert next_task(ready, [called(AlertKind.READY, 3.0, acknowledged_at=NOW)]) is None


def test_a_fold_that_is_due_is_in_the_bar_until_it_is_answered_whether_planned_or_not() -> None:
    rising = row(1, State.RISING)
    since = NOW - minutes(2.0)
    due = Alert(Subject.batch(BatchId(1)), AlertKind.FOLD_DUE, 1, since, since, called_at=since, number=5)
    called = [OpenAlert(due, "Loaf")]
    assert hands_tasks([rising], called, (), [BatchId(1)]) == [DoughTask(rising.batch, Do.FOLD, since, True, (5,))]
    answered = [OpenAlert(replace(due, acknowledged_at=NOW), "Loaf")]
    assert hands_tasks([rising], answered, (), [BatchId(1)]) == []


def test_a_dough_of_the_plan_is_called_for_by_the_plan_alone_but_for_its_trouble() -> None:
    rows = [row(1, State.RISING, 30.0), row(2, State.PAST_PEAK, -60.0)]
    assert [task.do for task in hands_tasks(rows, (), (), [BatchId(1), BatchId(2)])] == [Do.RESCUE]  # type: ignore[union-attr]


def test_dough_is_stale_after_ten_minutes_without_a_reading() -> None:
    fresh, old = row(1, State.RISING, seen_min=9.0), row(2, State.RISING, seen_min=11.0)
    assert fresh.stale_since is None
    assert old.stale_since == NOW - minutes(11.0)
    never = Batch(BatchId(3), "New", Stage.FIRST_RISE, NOW - minutes(2), TUB, nodes=NODES)
    assert stale_since(never, None, NOW, SILENCE_MIN) is None
    assert stale_since(replace(never, started_at=NOW - minutes(30)), None, NOW, SILENCE_MIN) == NOW - minutes(30)


def test_a_batch_watched_by_eye_is_fresh_as_long_as_it_is_estimated() -> None:
    by_eye = Batch(BatchId(1), "Jar", Stage.PREFERMENT, NOW - minutes(200), TUB)
    outlook = Outlook(NOW - minutes(1), State.RISING, last_reading_at=NOW - minutes(90))
    assert stale_since(by_eye, outlook, NOW, SILENCE_MIN) is None
    assert stale_since(by_eye, replace(outlook, at=NOW - minutes(60)), NOW, SILENCE_MIN) == NOW - minutes(60)


def test_eight_states_have_eight_marks_that_need_no_colour() -> None:
    assert set(LOOKS) == set(State)
    assert len({mark_svg(state, "#000000") for state in State}) == len(State)
    assert len({state_word(state, Reader(UTC)) for state in State}) == len(State)


@pytest.mark.parametrize("state", list(State))
@pytest.mark.parametrize("palette", [DAY, NIGHT], ids=["day", "night"])
def test_chip_shows_mark_and_word(state: State, palette: object) -> None:
    text = chip(state, palette, Reader(UTC))  # type: ignore[arg-type]
    assert state_word(state, Reader(UTC)) in text
    assert text.count("<img") == 1


def tags(markup: str) -> set[str]:
    return {tag.lower() for tag in re.findall(r"<\s*([a-zA-Z][a-zA-Z0-9]*)", markup)}


OURS = {"div", "p", "span", "img", "small", "dl", "dt", "dd", "b", "h1"}


@pytest.mark.parametrize(
    "name", [HOSTILE, "</div><script>alert(1)</script>", '" onload="alert(1)', "a\n# b", "🥖" * 300]
)
def test_a_hostile_name_stays_text(name: str, view: View) -> None:
    found = row(1, State.NEARLY_READY, name=name)
    hours = shared_hours([(found.batch, found.outlook)], NOW)
    pieces = [
        running_card(found, view),
        running_strip(found, hours, view),
        row_html(next_task(found, []), view.reader, view.now),
        side(found, view),
        ended_card(replace(found.batch, ended_at=NOW), found.outlook, name, view),
        heading(name, name),
        picture("<svg/>", name, "tub"),
    ]
    for piece in pieces:
        assert tags(piece) <= OURS
        for img in re.findall(r"<img[^>]*>", piece):
            assert set(re.findall(r'(\w+)="', re.sub(r'"[^"]*"', '"', img))) <= {"class", "alt", "src"}
            assert 'src="data:image/svg+xml;base64,' in img


def test_a_label_keeps_no_markdown() -> None:
    label = plain("![x](https://evil.example/x.png) **b** `c` $d$ :red[e] <i>\n# f")
    assert not re.search(r"[!-/:-@\[-`{-~]", re.sub(r"\\[!-/:-@\[-`{-~]", "", label))
    assert "\n" not in label
    assert plain("Hill loaf 3") == "Hill loaf 3"
    assert plain(" out\n4:08\u00a0PM") == "out 4\\:08\u00a0PM"


def test_card_says_in_words_all_that_its_pictures_show(view: View) -> None:
    found = row(1, State.RISING, 30.0, seen_min=20.0, firing=(AlertKind.AIR_TOO_DRY,))
    card = running_card(found, view) + running_strip(found, shared_hours([(found.batch, found.outlook)], NOW), view)
    alts = re.findall(r'alt="([^"]*)"', card)
    assert any("50 % up" in alt for alt in alts)
    assert any("about 10:06" in alt for alt in alts)
    assert "no readings since 09:16" in card
    assert "air too dry" in card


def test_clock_words_tell_a_demo_from_the_wall() -> None:
    assert clock_words(None, Reader(UTC)) == ""
    assert clock_words(60.0, Reader(UTC)) == "demo clock, 60 times faster"
    assert clock_words(0.0, Reader(UTC)) == "demo clock, standing still"


def test_outcome_counts_only_what_came_before_the_end() -> None:
    found = row(1, State.READY, -30.0)
    assert found.outlook is not None
    ended = replace(found.batch, ended_at=NOW)
    late_peak = replace(found.outlook, peak=Moments(p50=NOW + minutes(40)))
    outcome = outcome_of(ended, late_peak)
    assert outcome == Outcome(NOW, ready_at=NOW - minutes(30))
    assert outcome_words(outcome, Reader(UTC)) == "was ready 09:06; ended 09:36, 30 min after it was ready"
    assert outcome_words(outcome_of(ended, None), Reader(UTC)) == "ended 09:36, before it was ready"
    early = replace(found.outlook, ready=Moments(p50=NOW + minutes(20)))
    assert outcome_words(outcome_of(ended, early), Reader(UTC)) == "ended 09:36, before it was ready, expected 09:56"


def test_outcome_of_a_starter_is_about_its_peak() -> None:
    found = row(1, State.PAST_PEAK, -20.0)
    assert found.outlook is not None
    starter = replace(found.batch, target=Target(None), ended_at=NOW)
    peaked = replace(found.outlook, peak=found.outlook.ready)
    assert outcome_words(outcome_of(starter, peaked), Reader(UTC)) == "peaked 09:16; ended 09:36, 20 min after its peak"
    early = replace(found.outlook, ready=Moments(p50=NOW + minutes(2)), peak=Moments(p50=NOW + minutes(2)))
    assert outcome_words(outcome_of(starter, early), Reader(UTC)) == "ended 09:36, before its peak, expected 09:38"
    with pytest.raises(ValueError, match="has not ended"):
        outcome_of(found.batch, found.outlook)


def test_half_way_is_where_half_the_target_was_reached() -> None:
    outlooks = [Outlook(NOW, State.RISING, Band(rise, rise, rise)) for rise in (0.0, 20.0, 36.0, 40.0, 80.0, 60.0)]
    outlooks[1] = Outlook(NOW, State.RISING)
    assert half_way(outlooks, 75.0) == 3
    assert half_way(outlooks, None) == 3
    assert half_way(outlooks, 500.0) == 5
