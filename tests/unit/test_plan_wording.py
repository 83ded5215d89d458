"""What is said of a plan: its steps, its cues, and that it has moved, each from facts made here."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

import made_up_day as made_up

from monitor.plan.causes import Cause, CauseKind
from monitor.plan.cues import MovedCue, StepCue
from monitor.plan.day import DoughPlan, Plan, Step, StepKind, steps_of
from monitor.plan.live import AirDifference
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.method import Work, WorkStep
from monitor.wording.cues import cue_text, cue_title, planned_air_sentence
from monitor.wording.plan import out_sentence, step_lines, step_text, window_sentence
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text

READER = Reader(UTC)


@cache
def day() -> Plan:
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    return found


def dough() -> DoughPlan:
    return day().doughs[0]


def step(kind: StepKind, load: int | None = None) -> Step:
    return next(each for each in steps(day()) if each.kind is kind and load in (None, each.load))


def hour(at: datetime) -> str:
    return clock_text(at, READER)


def moved(shift_min: float, **changes: object) -> MovedCue:
    facts = {"causes": (), "ahead": tuple(steps_of(dough()))[-3:], "late_loads": ()} | changes
    return MovedCue(dough(), made_up.MORNING, timedelta(minutes=shift_min), **facts)


def test_a_plan_is_told_step_by_step():
    lines = list(step_lines(day(), READER, made_up.MORNING))
    assert len(lines) == len(steps(day()))
    assert any("load 2 of 2 in" in line and "at the latest" in line for line in lines)
    assert "tomorrow 12:30  load 2 of 2 out" in lines[-2]
    assert lines[-1] == "tomorrow 12:30  oven off"
    assert "out of the oven tomorrow 12:30" in out_sentence(dough(), READER, made_up.MORNING)
    assert window_sentence(dough(), READER, made_up.MORNING).startswith("load 1 is proofed tomorrow 11")


def test_folds_stand_among_the_steps_but_are_none():
    bulk = dough().recipe.method[1]
    method = list(dough().recipe.method)
    fold = WorkStep(Work.FOLD, hands_min=3.0, after_min=(30.0, 900.0))
    method[1] = replace(bulk, steps=(fold,))
    folded = replace(day(), doughs=(replace(dough(), recipe=replace(dough().recipe, method=tuple(method))),))
    lines = list(step_lines(folded, READER, made_up.MORNING))
    assert len(lines) == len(steps(folded)) + 1, "what comes after it is ready is not done"
    (said,) = (line for line in lines if "fold" in line)
    at = folded.doughs[0].stages[1].begins_at + timedelta(minutes=30)
    assert said == f"{clock_text(at, READER, made_up.MORNING)}  fold, 3 min of hands"


def test_what_rests_on_the_bench_is_not_called_hands():
    shape = step(StepKind.SHAPE)
    assert shape.stage is not None
    method = list(dough().recipe.method)
    method[shape.stage] = replace(method[shape.stage], steps=(WorkStep(Work.REST, rest_min=5.0),))
    resting = replace(dough(), recipe=replace(dough().recipe, method=tuple(method)))
    told = step_text(resting, shape, READER)
    assert f"{shape.hands_min - 5.0:.0f} min of hands within {shape.hands_min:.0f} min" in told


def test_a_cue_names_its_load_where_there_are_several():
    load = step(StepKind.LOAD, 2)
    assert cue_title(StepCue(dough(), load, load.at), READER) == "load now: load 2, Tamarack loaf"
    one_load = replace(dough(), loads=dough().loads[:1])
    assert cue_title(StepCue(one_load, step(StepKind.LOAD, 1), load.at), READER) == "load now: Tamarack loaf"


def test_an_early_call_says_why():
    shape = step(StepKind.SHAPE)
    ready_at = shape.at + timedelta(minutes=10)
    text = cue_text(StepCue(dough(), shape, shape.at, early_until_at=ready_at), READER)
    assert f"It is ready {hour(ready_at)}; the call is early by 10 min, for the hands it takes." in text
    chill = replace(shape, kind=StepKind.CHILL)
    text = cue_text(StepCue(dough(), chill, shape.at, early_until_at=ready_at), READER)
    assert "and what it rises on while it cools" in text


def test_a_load_says_how_long_it_is_good_and_warns_of_steam():
    load = step(StepKind.LOAD, 2)
    text = cue_text(StepCue(dough(), load, load.at), READER)
    assert f"good until {hour(load.not_after)}" in text
    assert "standing aside" in text
    assert "That is over" not in text
    late = replace(load, not_after=load.at - timedelta(minutes=1))
    assert "That is over: bake it first" in cue_text(StepCue(dough(), late, load.at), READER)


def test_a_moved_plan_says_by_how_much_and_what_comes():
    assert cue_text(moved(-25.0), READER).startswith("Everything still to come is 25 min earlier. ")
    text = cue_text(moved(25.0), READER)
    assert text.startswith("Everything still to come is 25 min later. ")
    assert f"{clock_text(dough().out_at, READER, made_up.MORNING)} load 2 of 2 out." in text


def test_a_moved_plan_names_the_air_that_is_not_as_planned():
    warm = AirDifference("room", planned_c=24.0, measured_c=27.0)
    text = cue_text(moved(-25.0, causes=(Cause(CauseKind.AIR, -20.0, 1, warm),)), READER)
    assert "The room is 27.0 °C (80.6 °F), 3.0 °C warmer than planned." in text
    cold = AirDifference("refrigerator", planned_c=4.0, measured_c=2.0)
    assert "The refrigerator is 2.0 °C (35.6 °F), 2.0 °C colder" in cue_text(
        moved(25.0, causes=(Cause(CauseKind.AIR, 20.0, 1, cold),)), READER
    )
    assert planned_air_sentence(warm, READER) == (
        "the room is 27.0 °C (80.6 °F); the plan was made for 24.0 °C (75.2 °F)"
    )


def test_a_load_that_would_go_in_too_late_comes_with_what_to_do():
    load = dough().loads[1]
    late = replace(load, closes_at=load.in_at - timedelta(minutes=8))
    text = cue_text(moved(25.0, late_loads=(late,)), READER)
    assert "Load 2 would go in 8 min after its window: put it somewhere colder" in text
