"""A plan lived: forecasts and the kitchen's air move what follows, and each step is called once, in its order."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

import made_up_day as made_up
import pytest

from monitor.alerts.kinds import CueKind
from monitor.dough.outlook import Moments, Outlook, State
from monitor.plan.causes import CauseKind
from monitor.plan.cues import StepCue, moved_cues, step_cues
from monitor.plan.day import DoughPlan, Plan, StepKind
from monitor.plan.live import AirDifference, Progress, WatchedStage, largest_air_difference, retimed
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.vessel import Shape, Vessel

KEY = "tamarack loaf"
NOTHING = Progress({}, {})


@cache
def day() -> Plan:
    """Tomorrow's bake for half past twelve."""
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    return found


def dough(plan: Plan | None = None) -> DoughPlan:
    return (plan or day()).doughs[0]


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def seen(at: datetime, ready_at: datetime, *, spread_min: float = 6.0, air_c: float = 24.0, dough_c: float = 25.0):
    """An outlook that says when a dough will be ready."""
    about = Moments(
        p05=ready_at - minutes(spread_min),
        p25=ready_at - minutes(spread_min / 3.0),
        p50=ready_at,
        p75=ready_at + minutes(spread_min / 3.0),
        p95=ready_at + minutes(spread_min),
    )
    return Outlook(at=at, state=State.RISING, ready=about, air_temp_c=air_c, dough_temp_c=dough_c)


def watched(number: int, *, ready_by: float = 0.0, air_c: float = 24.0, plan: Plan | None = None) -> Progress:
    """The plan until an hour into a stage, which is forecast so many minutes later than planned; and that hour."""
    stages = dough(plan).stages
    found = {(KEY, each.number): WatchedStage(each.begins_at, each.ends_at) for each in stages[:number]}
    stage = stages[number]
    ready_at = stage.ready_at + minutes(ready_by)
    outlook = seen(stage.begins_at + minutes(60.0), ready_at, air_c=air_c, dough_c=stage.forecast.end_c)
    found[KEY, number] = WatchedStage(stage.begins_at, None, outlook)
    return Progress({}, found)


def an_hour_into(number: int) -> datetime:
    return dough().stages[number].begins_at + minutes(60.0)


def keys(found: tuple[StepCue, ...]) -> list[str]:
    return [cue.key.removeprefix(f"{KEY}/") for cue in found]


# -- times ------------------------------------------------------------------------------------------------------------


def test_a_plan_on_which_all_goes_as_planned_stays_as_it_is():
    assert steps(retimed(day(), made_up.MORNING, NOTHING)) == steps(day())


@pytest.mark.parametrize("late_min", [-15.0, 40.0])
def test_a_forecast_moves_all_that_follows(late_min: float):
    live = retimed(day(), an_hour_into(1), watched(1, ready_by=late_min))
    before, after = dough(), dough(live)
    for planned, moved in zip(before.loads, after.loads, strict=True):
        assert moved.in_at - planned.in_at == pytest.approx(minutes(late_min), abs=minutes(2))
    assert after.oven_on_at - before.oven_on_at == pytest.approx(minutes(late_min), abs=minutes(2))
    assert after.stages[0] == before.stages[0] or after.stages[0].ends_at == before.stages[0].ends_at


def test_a_kitchen_three_degrees_warmer_moves_every_later_time_earlier():
    progress = watched(1, air_c=27.0)
    live = retimed(day(), an_hour_into(1), progress)
    stage, planned = dough(live).stages[2], dough().stages[2]
    # a final proof of an hour follows its air but half way
    assert stage.forecast.ready.p50 < planned.forecast.ready.p50 - 2.0
    assert dough(live).out_at < dough().out_at - minutes(2)
    assert largest_air_difference(day(), progress) == AirDifference("room", planned_c=24.0, measured_c=27.0)


def test_what_is_not_begun_is_never_in_the_past():
    late = dough().stages[0].hands_at + timedelta(hours=3)
    live = retimed(day(), late, NOTHING)
    assert all(step.at >= late - minutes(0.0) for step in steps(live) if step.kind is not StepKind.OVEN_ON)
    assert dough(live).out_at - dough().out_at == pytest.approx(timedelta(hours=3), abs=minutes(40))


def test_loads_queue_for_the_oven_whatever_the_dough_does():
    progress = watched(2, ready_by=-10.0)
    live = retimed(day(), an_hour_into(2) - minutes(20), progress)
    first, second = dough(live).loads
    assert second.in_at == first.out_at + minutes(3), "hands empty the oven first"
    assert first.in_at == pytest.approx(first.opens_at, abs=minutes(1))


def test_a_load_that_went_in_is_what_the_next_waits_for():
    first = dough().loads[0]
    done = {f"{KEY}/load 1/in": first.in_at + minutes(12)}
    proof = watched(2)
    live = retimed(day(), first.in_at + minutes(15), replace(proof, done=done))
    one, two = dough(live).loads
    assert one.in_at == first.in_at + minutes(12)
    assert two.in_at == one.out_at + minutes(3) == first.in_at + minutes(40)


def test_the_oven_goes_on_early_rather_than_late():
    live = retimed(day(), an_hour_into(2), watched(2))
    lead = dough(live).loads[0].in_at - dough(live).oven_on_at
    assert lead == pytest.approx(minutes(32.0), abs=minutes(0.2))  # thirty to heat, two for the doubt on the early side


def test_without_readings_the_plan_counts():
    progress = watched(2)
    silent = replace(progress.watched[KEY, 2], outlook=Outlook(at=an_hour_into(2), state=State.NO_READINGS))
    live = retimed(day(), an_hour_into(2), Progress({}, {**progress.watched, (KEY, 2): silent}))
    assert dough(live).loads == dough().loads


def test_a_sample_jar_stands_in_with_its_lag():
    jar = Vessel(Shape.ROUND, (60.0, 60.0), (60.0, 60.0), 120.0)
    method = (*dough().recipe.method[:-1], replace(dough().recipe.method[-1], vessel=jar, sample_g=110.0))
    with_jar = replace(day(), doughs=(replace(dough(), recipe=replace(dough().recipe, method=method)),))
    # The shaped loaves come out of the warm mixing bowl into a cooler room: the jar cools sooner and falls behind.
    progress = watched(2, air_c=18.0)
    plain, jarred = (retimed(plan, an_hour_into(2), progress) for plan in (day(), with_jar))
    assert dough(jarred).loads[0].opens_at < dough(plain).loads[0].opens_at - minutes(3)


# -- cues -------------------------------------------------------------------------------------------------------------


def lived(plan: Plan, *, every_min: float = 1.0) -> list[StepCue]:
    """All that is called when every stage is begun and ended when the plan says so, and nothing is ticked off."""
    given: set[str] = set()
    found: list[StepCue] = []
    now = plan.made_at
    while now <= plan.doughs[0].out_at + minutes(5):
        begun = {
            (KEY, stage.number): WatchedStage(stage.begins_at, stage.ends_at if stage.ends_at <= now else None)
            for stage in plan.doughs[0].stages
            if stage.begins_at <= now
        }
        progress = Progress({}, begun)
        for cue in step_cues(retimed(plan, now, progress), now, progress, given):
            given.add(cue.key)
            found.append(cue)
        now += minutes(every_min)
    return found


def test_every_step_has_its_cue_once_in_the_order_of_the_day():
    found = lived(day())
    assert len({cue.key for cue in found}) == len(found)
    kinds = [cue.kind for cue in found]
    assert kinds[:3] == [CueKind.MIX, CueKind.MIX, CueKind.SHAPE]
    assert kinds[3] is CueKind.OVEN_ON
    # The first load went in as its stage ended: it need not be called. Then steam, out, and the second.
    one = [CueKind.STEAM] * 3 + [CueKind.OUT]
    assert kinds.pop() is CueKind.OVEN_OFF
    assert kinds[4:] in ([*one, CueKind.LOAD, *one], [CueKind.LOAD, *one, CueKind.LOAD, *one])


def test_a_cue_comes_within_the_minute_of_its_step():
    by_key = {step.key: step for step in steps(day())}
    for cue in lived(day()):
        assert timedelta() <= cue.at - by_key[cue.key].at <= minutes(1)


def test_what_was_done_has_no_cue():
    step = next(each for each in steps(day()) if each.kind is StepKind.OVEN_ON)
    progress = watched(2)
    now = step.at + minutes(1)
    assert "oven" in keys(step_cues(day(), now, progress, ()))
    assert "oven" not in keys(step_cues(day(), now, replace(progress, done={step.key: now}), ()))


def test_what_was_called_is_not_called_again():
    first = step_cues(day(), dough().stages[0].hands_at, NOTHING, ())
    assert keys(first) == ["0/mix"]
    assert step_cues(day(), dough().stages[0].hands_at + minutes(2), NOTHING, {first[0].key}) == ()


def test_old_steps_are_without_a_cue_after_a_silence():
    assert step_cues(day(), dough().stages[0].hands_at + timedelta(hours=2), NOTHING, ()) == ()


def test_shaping_is_called_early_for_the_work_it_takes():
    shape = next(each for each in steps(day()) if each.kind is StepKind.SHAPE)
    (cue,) = step_cues(day(), shape.at, watched(1), ())
    assert cue == StepCue(dough(), shape, shape.at, early_until_at=dough().stages[1].ready_at)
    assert cue.kind is CueKind.SHAPE


def test_a_load_is_called_when_it_goes_in():
    load = dough().loads[1]
    progress = Progress({f"{KEY}/load 1/in": dough().loads[0].in_at}, watched(2).watched)
    cue = next(each for each in step_cues(day(), load.in_at, progress, ()) if each.kind is CueKind.LOAD)
    assert (cue.step.load, cue.step.not_after, cue.early_until_at) == (2, load.closes_at, None)


def test_that_the_plan_has_moved_is_called_once_with_the_reason_and_what_comes():
    now, progress = an_hour_into(1), watched(1, ready_by=-20.0, air_c=27.0)
    live = retimed(day(), now, progress)
    (cue,) = moved_cues(day(), live, now, progress, {})
    assert cue.shift == dough(live).out_at - dough().out_at < timedelta()
    assert cue.causes[0].kind is CauseKind.AIR
    assert cue.causes[0].air == AirDifference("room", planned_c=24.0, measured_c=27.0)
    assert cue.causes[0].minutes < -20.0
    assert StepKind.OVEN_ON in {step.kind for step in cue.ahead}
    assert all(step.at > now for step in cue.ahead)
    assert cue.late_loads == ()
    assert moved_cues(day(), live, now, progress, {KEY: dough(live).out_at}) == ()


def test_a_dough_that_is_slow_in_a_warm_room_is_not_laid_to_the_warmth():
    now, progress = an_hour_into(1), watched(1, ready_by=45.0, air_c=27.0)
    (cue,) = moved_cues(day(), retimed(day(), now, progress), now, progress, {})
    assert cue.shift > timedelta()
    assert [(each.kind, each.stage, each.air) for each in cue.causes] == [(CauseKind.DOUGH, 1, None)]
    assert cue.causes[0].minutes == pytest.approx(45.0, abs=1.0)


def test_hands_that_came_late_are_said():
    late = dough().stages[1].begins_at + minutes(50)
    progress = Progress({}, {(KEY, 0): WatchedStage(dough().stages[0].begins_at, late), (KEY, 1): WatchedStage(late)})
    (cue,) = moved_cues(day(), retimed(day(), late, progress), late, progress, {})
    assert cue.shift > minutes(30)
    assert CauseKind.BEGUN in {each.kind for each in cue.causes}


def test_what_comes_back_towards_the_plan_says_so():
    now, progress = an_hour_into(1), watched(1, ready_by=20.0)
    said = dough().out_at + minutes(60)
    (cue,) = moved_cues(day(), retimed(day(), now, progress), now, progress, {KEY: said})
    assert cue.shift < timedelta()
    assert [each.kind for each in cue.causes] == [CauseKind.BACK]


@pytest.mark.parametrize(("spread_min", "is_called"), [(6.0, True), (300.0, False)])
def test_evidence_moves_a_plan_and_doubt_does_not(spread_min: float, is_called: bool):
    stage, now = dough().stages[1], an_hour_into(1)
    progress = watched(1)
    outlook = seen(now, stage.ready_at + minutes(40), spread_min=spread_min, dough_c=stage.forecast.end_c)
    progress = Progress({}, {**progress.watched, (KEY, 1): WatchedStage(stage.begins_at, None, outlook)})
    assert bool(moved_cues(day(), retimed(day(), now, progress), now, progress, {})) is is_called


def test_a_small_move_is_not_called():
    now, progress = an_hour_into(1), watched(1, ready_by=4.0)
    assert moved_cues(day(), retimed(day(), now, progress), now, progress, {}) == ()


def test_a_load_that_would_go_in_too_late_is_named():
    now, progress = an_hour_into(1), watched(1, ready_by=-60.0, air_c=27.0)
    live = retimed(day(), now, progress)
    first, second = dough(live).loads
    narrow = replace(second, closes_at=second.in_at - minutes(8))
    live = replace(live, doughs=(replace(dough(live), loads=(first, narrow)),))
    (cue,) = moved_cues(day(), live, now, progress, {})
    assert cue.late_loads == (narrow,)
