"""Making a day: limits, reasons, remedies, and the forecasts of its stages."""

import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import made_up_day as made_up
import numpy as np
import plan_rules
import pytest

from monitor.dough.outlook import Band, Outlook, State
from monitor.dough.track import Series, Track
from monitor.errors import ConfigError
from monitor.plan.day import Plan, StepKind, batch_of_stage, taken_from_cold
from monitor.plan.food import expected_warm_min, measured_warm_min
from monitor.plan.kitchen import Kitchen, Place, kitchen_from_toml
from monitor.plan.obstacles import NoPlan, RemedyKind, Variation
from monitor.plan.orders import Limit, Order, PreparedOrder, predecessors_of, prepared_order
from monitor.plan.planner import alternatives, make_plan
from monitor.plan.stage_forecast import forecast_stage, stand_in_lag_min, still_to_come_min
from monitor.plan.steps import steps
from monitor.recipe.batch import Stage, Target
from monitor.recipe.method import MethodStage, rise_left_pct
from monitor.recipe.parts import Recipe, with_more_yeast
from monitor.recipe.vessel import Shape, Vessel
from monitor.wording.cues import food_sentence
from monitor.wording.no_plan import no_plan_lines
from monitor.wording.plan import alternative_row, variation_text
from monitor.wording.reader import Reader

DAY = made_up.recipe()


def short_of(recipe: Recipe) -> Recipe:
    """The recipe without its preferment stage: it begins with the dough."""
    return replace(recipe, method=recipe.method[1:])


@cache
def made(*recipes: Recipe, kitchen: Kitchen = made_up.KITCHEN, wanted: datetime | None = made_up.NOON) -> Plan | NoPlan:
    return make_plan(tuple(Order(each, wanted) for each in recipes), kitchen, made_up.MORNING, UTC)


def hands(plan: Plan) -> list[tuple[datetime, datetime]]:
    """All work of a plan, as spans."""
    return [(step.at, step.at + timedelta(minutes=step.hands_min)) for step in steps(plan) if step.hands_min]


def lines(found: NoPlan, recipe: Recipe) -> str:
    return "\n".join(no_plan_lines(found, {recipe.name.casefold(): recipe}, Reader(UTC), made_up.MORNING))


# -- plans ------------------------------------------------------------------------------------------------------------


def test_each_stage_waits_for_what_it_takes_on():
    assert predecessors_of(DAY) == ((), (0,), (1,))
    plan = made(DAY)
    assert isinstance(plan, Plan)
    preferment, bulk, proof = plan.doughs[0].stages
    assert preferment.ends_at == bulk.hands_at + timedelta(minutes=10)  # the middle of twenty minutes of hands
    assert bulk.ready_at <= bulk.ends_at == proof.hands_at + timedelta(minutes=5)


def test_forwards_from_now_it_is_out_as_soon_as_can_be():
    plan = made(short_of(DAY), wanted=None)
    assert isinstance(plan, Plan)
    assert min(step.at for step in steps(plan)) == made_up.MORNING
    assert plan.doughs[0].out_at < made_up.MORNING + timedelta(hours=12)


def test_shaping_is_called_early_by_half_its_hands():
    long = replace(DAY.method[-1], hands_min=30.0)
    plan = made(replace(DAY, method=(*DAY.method[:-1], long)))
    assert isinstance(plan, Plan)
    bulk = plan.doughs[0].stages[1]
    assert bulk.lead_min == 15.0
    first, second = plan.doughs[0].loads
    assert second.shaped_at - first.shaped_at == timedelta(minutes=15)  # the first goes on rising meanwhile


def test_two_doughs_share_one_pair_of_hands_one_mixer_and_one_stone():
    plan = made(DAY, replace(DAY, name="Second loaf", pieces=1))
    assert isinstance(plan, Plan)
    spans = sorted(hands(plan))
    assert all(second[0] >= first[1] for first, second in pairwise(spans))
    baking = sorted((load.in_at, load.out_at) for dough in plan.doughs for load in dough.loads)
    assert all(second[0] >= first[1] for first, second in pairwise(baking))


def test_the_stone_is_given_time_to_recover():
    plan = made(DAY, kitchen=replace(made_up.KITCHEN, recover_min=8.0))
    assert isinstance(plan, Plan)
    first, second = plan.doughs[0].loads
    assert second.in_at - first.out_at == timedelta(minutes=8)


def test_no_hands_are_asked_for_at_night_by_the_local_clock():
    kitchen = replace(made_up.KITCHEN, hands_from=time(6, 0), hands_until=time(21, 0))
    zone = ZoneInfo("America/New_York")
    wanted = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
    plan = make_plan((Order(DAY, wanted),), kitchen, made_up.MORNING, zone)
    assert isinstance(plan, Plan)
    for start, end in hands(plan):
        assert time(6, 0) <= start.astimezone(zone).time() < time(21, 0)
        assert end.astimezone(zone).time() <= time(21, 0)


def test_the_same_question_has_the_same_answer():
    assert made(DAY) == made(DAY)


def test_two_doughs_of_one_recipe_have_keys_of_their_own():
    plan = made(short_of(DAY), short_of(DAY), wanted=made_up.NOON)
    assert isinstance(plan, Plan)
    assert [dough.key for dough in plan.doughs] == ["tamarack loaf", "tamarack loaf #2"]
    assert len({step.key for step in steps(plan)}) == len(steps(plan))


# -- none, and why ----------------------------------------------------------------------------------------------------


def test_too_little_time_is_told_with_the_earliest_hour():
    found = made(DAY, wanted=made_up.MORNING + timedelta(hours=20))
    assert isinstance(found, NoPlan)
    (obstacle,) = found.obstacles
    assert obstacle.limit is Limit.TIME
    later = made(DAY, wanted=obstacle.to_at)
    assert isinstance(later, Plan), "the earliest hour is one that can be met"
    assert "is the earliest" in lines(found, DAY)


def test_too_few_hands_are_told_with_the_minutes_and_how_many_would_do():
    one = replace(short_of(DAY), bake=None)
    alone = made(one, wanted=None)
    assert isinstance(alone, Plan)
    wanted = alone.doughs[0].out_at + timedelta(minutes=5)
    kitchen = replace(made_up.KITCHEN, mixers=2)
    found = made(one, replace(one, name="Second loaf"), wanted=wanted, kitchen=kitchen)
    assert isinstance(found, NoPlan)
    people = next(each for each in found.obstacles if each.limit is Limit.PEOPLE)
    assert people.from_at <= made_up.MORNING + timedelta(minutes=5)
    assert 15.0 <= people.minutes <= 20.0
    more = next(remedy for remedy in found.remedies if remedy.kind is RemedyKind.MORE_PEOPLE)
    assert more.number == 2


def test_too_few_mixers_are_told():
    one = replace(short_of(DAY), bake=None)
    alone = made(one, wanted=None)
    assert isinstance(alone, Plan)
    wanted = alone.doughs[0].out_at + timedelta(minutes=5)
    kitchen = replace(made_up.KITCHEN, people=2)
    found = made(one, replace(one, name="Second loaf"), wanted=wanted, kitchen=kitchen)
    assert isinstance(found, NoPlan)
    assert {Limit.MIXER, Limit.TIME} <= {each.limit for each in found.obstacles}
    assert "too few mixers" in lines(found, one)


def test_an_oven_that_is_taken_is_told_with_how_many_at_once_would_do():
    found = made(made_up.with_narrow_window(DAY))
    assert isinstance(found, NoPlan)
    more = next(remedy for remedy in found.remedies if remedy.kind is RemedyKind.MORE_OVEN)
    assert more.number == 2


@pytest.mark.parametrize(("kind", "key"), [(RemedyKind.STAGGER, "stagger_min"), (RemedyKind.CHILL, "chill_min")])
def test_what_would_do_does(kind: RemedyKind, key: str):
    narrow = made_up.with_narrow_window(DAY)
    found = made(narrow)
    assert isinstance(found, NoPlan)
    remedy = next(each for each in found.remedies if each.kind is kind)
    mended = replace(narrow, bake=replace(narrow.bake, **{key: remedy.minutes}))
    assert isinstance(made(mended), Plan)
    assert f"{key} = {remedy.minutes:g}" in lines(found, narrow)


def test_a_full_refrigerator_is_told_with_the_room_it_needs():
    places = (Place("room", 24.0), Place("refrigerator", 4.0, holds=1))
    found = made(DAY, replace(DAY, name="Second loaf"), kitchen=replace(made_up.KITCHEN, places=places, people=2))
    assert isinstance(found, NoPlan)
    full = next(each for each in found.obstacles if each.limit is Limit.PLACE)
    assert full.place == "refrigerator"
    assert full.minutes > 0
    more = next(remedy for remedy in found.remedies if remedy.kind is RemedyKind.MORE_PLACES)
    assert (more.place, more.number) == ("refrigerator", 2)


def test_no_hands_at_that_hour_is_told():
    kitchen = replace(made_up.KITCHEN, hands_from=time(14, 0), hands_until=time(15, 0))
    found = made(DAY, kitchen=kitchen)
    assert isinstance(found, NoPlan)
    assert Limit.HOURS in {each.limit for each in found.obstacles}
    assert "no hands at that hour" in lines(found, DAY)


def test_work_on_both_sides_of_midnight_is_one_stretch_of_hands():
    kitchen = replace(made_up.KITCHEN, hands_from=time(6), hands_until=time(20))
    now, wanted = made_up.MORNING.replace(hour=20, minute=30), made_up.NOON.replace(hour=2)
    found = make_plan((Order(short_of(DAY), wanted),), kitchen, now, UTC)
    assert isinstance(found, NoPlan)
    (hours,) = (each for each in found.remedies if each.kind is RemedyKind.OTHER_HOURS)
    assert hours.at is not None
    ends_at = hours.at + timedelta(minutes=hours.minutes)
    assert now <= hours.at < made_up.NOON.replace(hour=0, minute=0) < ends_at <= wanted + timedelta(minutes=3)
    assert "have hands for Tamarack loaf from" in lines(found, DAY)
    nobody = replace(found, remedies=(replace(hours, dough=""),))
    assert "would do: have hands from" in lines(nobody, DAY)


def test_a_place_the_kitchen_has_not_is_explained():
    with pytest.raises(ValueError, match="no place 'cellar'; there are room, refrigerator"):
        made(replace(DAY, method=(*DAY.method[:-1], replace(DAY.method[-1], place="cellar"))))


def test_a_dough_that_is_not_in_the_plan_is_told_with_those_there_are():
    plan = made(DAY)
    assert isinstance(plan, Plan)
    with pytest.raises(ValueError, match=f"no dough 'rye-2'; there are {plan.doughs[0].key}"):
        plan.dough("rye-2")


# -- forecasts --------------------------------------------------------------------------------------------------------


def test_a_warmer_room_is_quicker_and_closes_sooner():
    cool, warm = (
        forecast_stage(DAY, DAY.method[1], air_c=air_c, start_c=25.0, cold_c=4.0, is_shaped=False)
        for air_c in (21.0, 27.0)
    )
    assert warm.ready.p50 < cool.ready.p50
    assert warm.closes_min < cool.closes_min
    assert warm.end_c > cool.end_c


def test_a_night_in_the_cold_is_slow_and_not_for_ever():
    last = DAY.method[2]
    plain, night = (
        forecast_stage(DAY, replace(last, cold_h=h), air_c=24.0, start_c=25.0, cold_c=4.0, is_shaped=True)
        for h in (0.0, 10.0)
    )
    assert night.ready.p50 > plain.ready.p50 + 60.0
    assert night.ready.p50 < plain.ready.p50 + 10.0 * 60.0 + 120.0


def test_pieces_fresh_from_the_cold_wait_half_an_hour_for_the_oven_and_not_a_night():
    # The estimator begins with a dough that has done nothing yet: it saw the peak of cold pieces hours away.
    retard = replace(DAY.method[1], stage=Stage.RETARD, hours=12.0, place="refrigerator", mixer_min=0.0, dough_c=None)
    hour = replace(DAY.method[2], hours=1.0)
    (_, _, pieces), (_, _, bulk) = (
        prepared_order("a", Order(replace(DAY, method=(DAY.method[1], cold, hour)), None), made_up.KITCHEN).forecasts
        for cold in (retard, replace(retard, in_bulk=True))
    )
    assert (pieces.ready.p50, pieces.closes_min) == (60.0, 90.0)
    assert bulk.closes_min > 90.0, "shaped only now, it has its whole proof before it"


def test_nobody_carries_a_loaf_out_of_the_cold_at_night():
    night = replace(DAY.method[2], cold_h=10.0)
    kitchen = replace(made_up.KITCHEN, hands_from=time(7), hands_until=time(22))
    plan = made(replace(DAY, method=(DAY.method[1], night)), kitchen=kitchen)
    assert isinstance(plan, Plan)
    (carried,) = (step for step in steps(plan) if step.kind is StepKind.MOVE)
    assert carried.hands_min > 0.0
    assert plan_rules.broken_rules(plan, UTC) == []
    assert time(7) <= carried.at.time() < time(22)


def test_a_rise_after_a_shaped_retard_counts_from_the_shaping():
    bulk, proof = replace(DAY.method[1], mixer_min=0.0), replace(DAY.method[2], hands_min=0.0)
    retard = replace(bulk, stage=Stage.RETARD, hours=12.0, place="refrigerator", dough_c=None, hands_min=15.0)

    def prepared(cold: MethodStage) -> PreparedOrder:
        recipe = replace(with_more_yeast(DAY, 0.1), method=(DAY.method[0], bulk, cold, proof))
        return prepared_order("a", Order(recipe, None), made_up.KITCHEN)

    shaped, whole = prepared(retard), prepared(replace(retard, in_bulk=True))
    risen_pct = shaped.recipe.method[3].risen_pct
    assert 2.0 < risen_pct < 60.0
    assert whole.recipe.method[3].risen_pct == 0.0
    assert shaped.recipe.method[3].target == proof.target
    began = batch_of_stage(shaped.recipe, 3, made_up.NOON)
    assert began.target.rise_pct == pytest.approx(rise_left_pct(75.0, risen_pct))
    sooner, later = (found.forecasts[3].ready_min for found in (shaped, whole))
    assert sooner is not None
    assert later is not None
    assert sooner < later
    seen = Outlook(at=made_up.NOON, state=State.RISING, rise_pct=Band(20.0, 25.0, 30.0))
    cold = batch_of_stage(shaped.recipe, 2, made_up.NOON)
    elsewhere = taken_from_cold(began, shaped.recipe.method[3], cold, seen)
    assert (elsewhere.target, elsewhere.start_volume_ml) == (Target(40.0), None)
    in_one_jar = replace(seen, start_volume_ml=300.0)
    watched = taken_from_cold(replace(began, vessel=cold.vessel), shaped.recipe.method[3], cold, in_one_jar)
    assert (watched.target, watched.start_volume_ml) == (proof.target, 300.0)


def test_before_the_cold_the_call_comes_early_by_what_is_still_to_come():
    bulk, proof = DAY.method[1:]
    retard = replace(bulk, stage=Stage.RETARD, hours=12.0, place="refrigerator", hands_min=0.0, mixer_min=0.0,
                     dough_c=None, in_bulk=True)  # fmt: skip
    plain = prepared_order("a", Order(DAY, None), made_up.KITCHEN)
    chilled = prepared_order(
        "a", Order(replace(DAY, method=(DAY.method[0], bulk, retard, proof)), None), made_up.KITCHEN
    )
    lead_min = chilled.leads_min[1]
    assert lead_min > 20.0
    assert chilled.forecasts[1].ready.p50 == pytest.approx(max(plain.forecasts[1].ready.p50 - lead_min, 0.0))
    assert plain.leads_min[1] == 0.0


def test_a_bigger_dough_has_more_to_come_while_it_cools():
    small, big = (still_to_come_min(None, tau_min=tau, dough_c=25.0, cold_c=4.0) for tau in (60.0, 180.0))
    assert big == pytest.approx(3.0 * small, rel=0.02)
    assert still_to_come_min(None, tau_min=60.0, dough_c=4.0, cold_c=4.0) == pytest.approx(0.0, abs=1e-9)


def test_a_sample_jar_runs_ahead_in_the_warm_and_behind_in_the_cold():
    jar = (Vessel(Shape.ROUND, (60.0, 60.0), (60.0, 60.0), 120.0), 120.0)
    ahead, level, behind = (
        stand_in_lag_min(None, sample=jar, piece_g=850.0, air_c=air_c, start_c=25.0, at_min=90.0)
        for air_c in (32.0, 25.0, 18.0)
    )
    assert behind < -3.0 < 3.0 < ahead
    assert level == pytest.approx(0.0, abs=0.01)


# -- otherwise, food, words -------------------------------------------------------------------------------------------


def test_alternatives_stand_side_by_side():
    wanted = made_up.NOON + timedelta(hours=12)
    ways = alternatives(Order(DAY, wanted), made_up.KITCHEN, made_up.MORNING, UTC)
    found = {(each.variation, each.amount): each for each in ways}

    def begins(variation: Variation, amount: float) -> datetime:
        dough = found[variation, amount].dough
        assert dough is not None
        return dough.stages[1].hands_at

    plain = begins(Variation.AS_WRITTEN, 0.0)
    assert begins(Variation.YEAST, 2.0) > plain > begins(Variation.YEAST, 0.5)
    assert begins(Variation.ROOM, 3.0) > plain > begins(Variation.ROOM, -3.0)
    assert begins(Variation.NIGHT, 10.0) < plain - timedelta(hours=4)
    for each in found.values():
        row = alternative_row(each, {"tamarack loaf": DAY}, Reader(UTC), made_up.MORNING)
        assert variation_text(each, Reader(UTC))
        assert row[3].startswith("good for")
    assert Variation.HOUR not in {variation for variation, _ in found}, "it is out at its hour as written"


def test_where_the_hour_is_a_poor_one_the_first_after_it_stands_beside():
    wanted = made_up.MORNING + timedelta(hours=20)
    *_, last = alternatives(Order(DAY, wanted), made_up.KITCHEN, made_up.MORNING, UTC)
    assert last.variation is Variation.HOUR
    assert last.dough is not None
    assert last.dough.out_at > wanted
    assert variation_text(last, Reader(UTC)) == "out no earlier than its hour"


def test_egg_and_milk_show_their_time_above_five_degrees_and_the_guidance():
    lean = made(DAY)
    rich_recipe = made_up.recipe(made_up.COLD_PREFERMENT_DAY.replace('water = "410 g"', 'milk = "410 g"\negg = "1"'))
    rich = made(rich_recipe)
    assert isinstance(lean, Plan)
    assert isinstance(rich, Plan)
    assert food_sentence(lean.doughs[0], Reader(UTC)) == ""
    said = food_sentence(rich.doughs[0], Reader(UTC))
    assert "milk, egg" in said
    assert "3-501.16" in said
    assert "never says that food is safe" in said
    bulk, proof = rich.doughs[0].stages[1:]
    stood = (bulk.ends_at - bulk.begins_at + proof.ends_at - proof.begins_at).total_seconds() / 60.0
    assert expected_warm_min(rich.doughs[0]) == pytest.approx(stood + 30.0, abs=15.0)


def test_what_was_measured_above_five_degrees_is_counted():
    def series(*values: float, every_s: float = 600.0) -> Series:
        t_s = np.arange(len(values)) * every_s
        return Series(t_s, np.array(values), np.full(len(values), np.nan))

    probe = Track(dough_temp_c=series(20.0, 12.0, 5.5, 4.5, 4.0), air_temp_c=series(20.0, 20.0, 20.0, 20.0, 20.0))
    air_only = Track(air_temp_c=series(20.0, 20.0, 4.0))
    silent = Track(dough_temp_c=series(20.0, 20.0, every_s=7200.0))
    assert measured_warm_min([probe]) == pytest.approx(30.0)
    assert measured_warm_min([probe, air_only, silent]) == pytest.approx(50.0)
    rich_recipe = made_up.recipe(made_up.COLD_PREFERMENT_DAY.replace('water = "410 g"', 'milk = "410 g"'))
    rich = made(rich_recipe)
    assert isinstance(rich, Plan)
    assert "30 min of it measured so far" in food_sentence(rich.doughs[0], Reader(UTC), 30.0)


def test_an_unbaked_recipe_is_planned_to_its_last_stage():
    plan = made(replace(DAY, bake=None), wanted=made_up.NOON)
    assert isinstance(plan, Plan)
    assert plan.doughs[0].out_at == made_up.NOON
    assert StepKind.OVEN_ON not in {step.kind for step in steps(plan)}


def test_a_dough_used_at_its_peak_is_planned_to_it():
    peak = replace(DAY.method[0], hours=None, target=Target(None), place="room")
    plan = made(replace(DAY, method=(peak, *DAY.method[1:])), wanted=made_up.NOON)
    assert isinstance(plan, Plan)
    preferment = plan.doughs[0].stages[0]
    assert preferment.ready_at <= preferment.ends_at <= preferment.closes_at


# -- the kitchen's file -----------------------------------------------------------------------------------------------


def test_a_kitchen_is_read():
    table = {
        "room_c": 23.5, "people": 2, "hands_from": "06:00", "hands_until": time(21), "oven_holds": 4,
        "place": [{"name": "cabinet", "temp_c": 28, "holds": 6}],
    }  # fmt: skip
    kitchen = kitchen_from_toml(table, "kitchen.toml")
    assert kitchen.place("room").temp_c == 23.5
    assert kitchen.place("cabinet").holds == 6
    assert kitchen.place("refrigerator").temp_c == 4.0
    assert (kitchen.hands_from, kitchen.hands_until, kitchen.people) == (time(6), time(21), 2)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"people": 0}, "people = 0 must be a whole number"),
        ({"hands_from": "6am", "hands_until": "21:00"}, "must be a time of the clock"),
        ({"hands_from": "06:00"}, "go together"),
        ({"hands_from": "21:00", "hands_until": "06:00"}, "must come before"),
        ({"place": [{"name": "cellar"}]}, "temp_c is missing"),
        ({"place": [{"name": "a", "temp_c": 5}, {"name": "a", "temp_c": 6}]}, "there is another place 'a' already"),
        ({"place": [{"name": "room", "temp_c": 5}], "room_c": 20}, "say the same thing"),
        ({"poeple": 1}, "did you mean 'people'?"),
        ({"place": 3}, "must be tables"),
    ],
)
def test_a_fault_of_the_kitchen_is_told(table: dict, said: str):
    with pytest.raises(ConfigError) as caught:
        kitchen_from_toml(table, "kitchen.toml")
    assert said in str(caught.value)


PLANS_AND_IS_STOPPED = """
import signal
from datetime import UTC, datetime
import made_up_day
from monitor.plan.kitchen import Kitchen
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
make_plan((Order(made_up_day.recipe(), None),), Kitchen(), datetime(2026, 3, 2, 12, tzinfo=UTC), UTC)
try:
    signal.raise_signal(signal.SIGINT)
except KeyboardInterrupt:
    print("told to stop")
"""


def test_ctrl_c_is_still_heard_after_a_plan_was_made():
    # the solver's own way to be stopped left the process without a handler
    around = {"PYTHONPATH": str(Path(made_up.__file__).parent)}
    done = subprocess.run(
        [sys.executable, "-c", PLANS_AND_IS_STOPPED], capture_output=True, text=True, check=False, env=around
    )
    assert (done.returncode, done.stdout) == (0, "told to stop\n"), done.stderr
