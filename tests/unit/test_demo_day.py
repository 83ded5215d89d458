"""A demo's day: what the baker does and when, how the day is judged, and how it is shown."""

import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from harness import START

from monitor.alerts.dough import Alert, AlertKind, Message, Subject
from monitor.demo.day import Baker, Tub, judge_day, prediction_at_half, read_day
from monitor.demo.view import LinesView, TableView, print_verdicts
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.errors import ConfigError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.store.store import Store
from monitor.wording.reader import Reader

VESSEL = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def planned(name: str = "Plain tub", rise_pct: float | None = 100.0, folds: tuple[float, ...] = ()) -> Batch:
    events = tuple(Event(at(minutes), EventKind.FOLD) for minutes in folds)
    return Batch(BatchId(0), name, Stage.FIRST_RISE, START, VESSEL, Target(rise_pct), events=events)


def outlook(minutes: float, rise_pct: float, ready_min: float | None = None, peak_min: float | None = None) -> Outlook:
    ready = Moments() if ready_min is None else Moments(p50=at(ready_min))
    peak = Moments() if peak_min is None else Moments(p50=at(peak_min))
    return Outlook(at(minutes), State.RISING, Band(rise_pct - 3, rise_pct, rise_pct + 3), ready, peak)


def call(store: Store, batch_id: BatchId | None, kind: AlertKind, minutes: float) -> None:
    """An alert that fired, and its message."""
    assert batch_id is not None
    alert = Alert(Subject.batch(batch_id), kind, 1, at(minutes), fired_at=at(minutes))
    message = Message(f"{batch_id}-{kind}", batch_id, kind, 1, "title", "text", at(minutes))
    store.save_step(batch_id, outlook(minutes, 50.0), [alert], [message])


@pytest.fixture
def tub() -> Tub:
    return Tub("plain", planned(folds=(20.0, 40.0)), is_left=False)


def test_the_baker_begins_folds_and_takes_a_dough_in_time(store: Store, tub: Tub) -> None:
    baker = Baker(store, [tub], START)
    assert baker.act(at(-1)) == []
    assert baker.act(at(0)) == ["Plain tub: begun"]
    assert store.batches.all()[0].events == (), "a planned fold is not known before it is done"
    assert baker.act(at(19)) == []
    assert baker.act(at(21)) == ["Plain tub: folded"]
    assert store.batches.all()[0].events[0].at == at(20)
    call(store, tub.id, AlertKind.READY, 30)
    assert baker.act(at(37)) == [], "one fold is still to come"
    assert baker.act(at(41)) == ["Plain tub: folded", "Plain tub: taken"]
    assert baker.is_done
    assert store.batches.all()[0].ended_at == at(41)


def test_a_dough_is_taken_six_minutes_after_its_call(store: Store) -> None:
    tub = Tub("jar", planned(rise_pct=None), is_left=False)
    baker = Baker(store, [tub], START)
    baker.act(at(0))
    call(store, tub.id, AlertKind.AT_PEAK, 100)
    assert baker.act(at(105.9)) == []
    assert baker.act(at(106)) == ["Plain tub: taken"]


def test_the_one_left_to_over_proof_stays_until_it_is_past_its_peak(store: Store) -> None:
    tub = Tub("rolls", planned(), is_left=True)
    baker = Baker(store, [tub], START)
    baker.act(at(0))
    call(store, tub.id, AlertKind.READY, 60)
    assert baker.act(at(90)) == []
    call(store, tub.id, AlertKind.PAST_PEAK, 100)
    assert baker.act(at(114)) == []
    assert baker.act(at(115)) == ["Plain tub: taken"]


def test_the_day_ends_even_when_no_call_comes(store: Store, tub: Tub) -> None:
    baker = Baker(store, [tub], START)
    baker.act(at(0))
    baker.act(baker.day_ends_at)
    assert baker.is_done


def test_the_prediction_at_half_is_the_first_after_the_last_fold() -> None:
    outlooks = [outlook(10, 52.0, 60.0), outlook(21, 40.0, 80.0), outlook(40, 50.0, 90.0), outlook(50, 60.0, 95.0)]
    assert prediction_at_half(planned(), outlooks, 50.0) == at(60)
    assert prediction_at_half(planned(folds=(20.0,)), outlooks, 50.0) == at(90)
    assert prediction_at_half(planned(), outlooks, 70.0) is None


def test_a_peak_target_is_judged_by_its_peak() -> None:
    outlooks = [outlook(30, 60.0, 40.0, 120.0)]
    assert prediction_at_half(planned(rise_pct=None), outlooks, 55.0) == at(120)


@pytest.fixture
def day(tmp_path: Path) -> Path:
    (tmp_path / "batches").mkdir()
    (tmp_path / "truth").mkdir()
    (tmp_path / "day.json").write_text(json.dumps({"left_to_over_proof": "rolls"}))
    vessel = '[vessel]\nshape = "round"\nbase_mm = 180\ndepth_mm = 250\n'
    for key, target in (("rolls", "target_rise_pct = 100"), ("jar", 'target = "peak"')):
        head = f'name = "The {key}"\nstage = "preferment"\nstarted = {START.isoformat()}\n{target}\n'
        (tmp_path / "batches" / f"{key}.toml").write_text(head + vessel)
        truth = {"ready_at": None if key == "jar" else at(61).isoformat(), "peak_at": at(130).isoformat()}
        (tmp_path / "truth" / f"{key}.json").write_text(json.dumps({**truth, "peak_rise_pct": 120.0}))
    return tmp_path


@pytest.fixture
def judged(store: Store, day: Path) -> list[Tub]:
    tubs = read_day(day)
    Baker(store, tubs, START).act(at(0))
    for tub in tubs:
        assert tub.id is not None
        store.save_step(tub.id, outlook(40, 55.0, 63.0, 100.0), (), ())
        store.save_step(tub.id, outlook(45, 61.0, 70.0, 120.0), (), ())
    return tubs


def test_the_table_compares_prediction_call_and_truth(store: Store, day: Path, judged: list[Tub]) -> None:
    rolls = next(tub for tub in judged if tub.is_left)
    call(store, rolls.id, AlertKind.READY, 59)
    call(store, rolls.id, AlertKind.PAST_PEAK, 140)
    verdicts = {verdict.name: verdict for verdict in judge_day(store, judged, day)}
    assert (verdicts["The rolls"].error_min, verdicts["The rolls"].call_error_min) == (2.0, -2.0)
    assert verdicts["The rolls"].sent == (AlertKind.READY, AlertKind.PAST_PEAK)
    assert (verdicts["The jar"].what, verdicts["The jar"].error_min) == ("peak", -10.0)
    assert verdicts["The jar"].call_error_min is None
    out = io.StringIO()
    print_verdicts(verdicts.values(), Reader(UTC), out)
    (line,) = (line for line in out.getvalue().splitlines() if "The rolls" in line)
    assert [cell.strip() for cell in line.strip("│").split("│")] == [
        "The rolls (left to over-proof)", "ready", "06:43", "06:41", "+2.0", "06:39", "-2.0", "ready, past its peak",
    ]  # fmt: skip


def test_a_day_without_plan_or_truth_says_so(store: Store, day: Path, judged: list[Tub], tmp_path: Path) -> None:
    (day / "truth" / "jar.json").unlink()
    with pytest.raises(ConfigError, match="no truth to compare with"):
        judge_day(store, judged, day)
    (day / "day.json").write_text("{}")
    with pytest.raises(ConfigError, match="is no plan of a day"):
        read_day(day)


@pytest.mark.parametrize("view_type", [TableView, LinesView])
def test_a_view_shows_names_as_they_are(view_type: type[TableView] | type[LinesView]) -> None:
    name = "Tub [red]3[/red] :bread:"
    message = Message("1", BatchId(0), AlertKind.READY, 1, "title", "text", at(50))
    out = io.StringIO()
    with view_type(out, Reader(UTC)) as view:
        view.say(f"{name}: begun", at(50))
        view.show([(planned(name), outlook(50, 75.0, 80.0), message), (planned(name), None, None)], at(50))
    assert f"06:30  {name}: begun" in out.getvalue()
