"""Ten kinds of bread wanted for seven in the morning, in a kitchen where nobody is from nine at night to five."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path

import plan_rules
import pytest

from monitor.plan.cues import is_done
from monitor.plan.day import DoughPlan, Plan, StepKind, load_key, steps_of
from monitor.plan.kitchen import Kitchen, Oven, Place
from monitor.plan.live import Progress, retimed
from monitor.plan.obstacles import NoPlan, RemedyKind
from monitor.plan.orders import Limit, Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import numbered, steps
from monitor.recipe.parts import Recipe
from monitor.settings.recipes import read_recipe
from monitor.wording.no_plan import no_plan_lines
from monitor.wording.reader import Reader

FOLDER = Path(__file__).parents[1] / "data" / "recipes"
NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
SEVEN = datetime(2026, 3, 3, 7, 0, tzinfo=UTC)
KITCHEN = Kitchen(
    (Place("room", 23.0), Place("refrigerator", 4.0)),
    hands_from=time(5),
    hands_until=time(21),
    oven_holds=6,
    recover_min=10.0,
)
OVERNIGHT = ("bagels", "levain")  # shaped in the evening, a night in the cold, a while on the bench
THE_EVENING_BEFORE = ("brioche", "pan_loaf", "rye_sour", "whole_wheat")
NOT_BY_THEN = ("baguette", "ciabatta", "festive", "pizza")  # a preferment of a night, or a dough of two


@cache
def bread(name: str) -> Recipe:
    return read_recipe(FOLDER / f"{name}.toml")


@cache
def planned(*names: str, wanted: datetime = SEVEN, kitchen: Kitchen = KITCHEN) -> Plan | NoPlan:
    return make_plan(tuple(Order(bread(name), wanted) for name in names), kitchen, NOW, UTC)


def plan_of(*names: str, wanted: datetime = SEVEN, kitchen: Kitchen = KITCHEN) -> Plan:
    found = planned(*names, wanted=wanted, kitchen=kitchen)
    assert isinstance(found, Plan)
    assert plan_rules.broken_rules(found, UTC) == []
    return found


def kinds(dough: DoughPlan) -> list[StepKind]:
    return [step.kind for step in steps_of(dough) if step.load is None]


def test_the_ten_are_all_told_of():
    assert {path.stem for path in FOLDER.glob("*.toml")} == {*OVERNIGHT, *THE_EVENING_BEFORE, *NOT_BY_THEN}


@pytest.mark.parametrize("name", OVERNIGHT)
def test_what_stands_overnight_in_the_cold_comes_out_at_the_hour(name: str):
    (dough,) = plan_of(name).doughs
    assert dough.out_at == SEVEN
    assert dough.stages[-2].begins_at < SEVEN - timedelta(hours=8)


@pytest.mark.parametrize("name", THE_EVENING_BEFORE)
def test_what_takes_longer_than_the_morning_is_baked_the_evening_before(name: str):
    (dough,) = plan_of(name).doughs
    assert dough.out_at.date() == NOW.date()
    assert time(19) <= dough.out_at.time() <= time(21)


@pytest.mark.parametrize("name", NOT_BY_THEN)
def test_what_cannot_be_is_refused_with_an_hour_that_can(name: str):
    found = planned(name)
    assert isinstance(found, NoPlan)
    later = next(each for each in found.remedies if each.kind is RemedyKind.LATER)
    assert later.at is not None
    (dough,) = plan_of(name, wanted=later.at).doughs
    assert dough.out_at == later.at


@pytest.mark.parametrize("name", ["baguette", "ciabatta", "festive"])
def test_with_hands_from_an_earlier_hour_it_can_be_by_then(name: str):
    found = planned(name)
    assert isinstance(found, NoPlan)
    earlier = next(each for each in found.remedies if each.kind is RemedyKind.OPEN_EARLIER)
    assert earlier.at is not None
    (dough,) = plan_of(name, kitchen=replace(KITCHEN, hands_from=earlier.at.time())).doughs
    assert SEVEN - timedelta(hours=3) < dough.out_at <= SEVEN
    an_hour_later = replace(KITCHEN, hands_from=time(earlier.at.hour + 1))
    assert isinstance(planned(name, kitchen=an_hour_later), NoPlan), "it is the least that would do"


@pytest.mark.parametrize("hours", [None, 15.0])
def test_a_preferment_in_the_room_by_the_clock_waits_for_hands_while_it_is_ripe(hours: float | None):
    recipe = bread("baguette")
    poolish = replace(recipe.method[0], hours=12.0, longest_h=hours)
    recipe = replace(recipe, method=(poolish, *recipe.method[1:]))
    kitchen = replace(KITCHEN, hands_from=None, hands_until=None)
    found = make_plan((Order(recipe, SEVEN),), kitchen, NOW, UTC)
    assert isinstance(found, Plan)
    stage = found.doughs[0].stages[0]
    assert stage.ready_at is not None
    assert timedelta(hours=12) <= stage.ends_at - stage.begins_at <= stage.closes_at - stage.begins_at
    assert stage.closes_at >= stage.ready_at + timedelta(hours=1), "the estimator sees it ripe for so long"


def test_a_retard_is_of_shaped_pieces_and_shaping_is_never_lost():
    levain, pizza, brioche = (
        plan_of(name, wanted=SEVEN + timedelta(days=2)).doughs[0] for name in ("levain", "pizza", "brioche")
    )
    assert kinds(levain) == [StepKind.MIX, StepKind.SHAPE, StepKind.MOVE]
    assert kinds(pizza) == [StepKind.MIX, StepKind.SHAPE, StepKind.MOVE]
    assert kinds(brioche) == [StepKind.MIX, StepKind.CHILL, StepKind.SHAPE]  # in bulk, said so, and shaped after it
    piece, bulk = levain.stages[1].forecast, levain.stages[0].forecast
    assert piece.tau_min < 0.85 * bulk.tau_min, "a piece cools as a piece"


def test_a_range_of_hours_is_kept_to():
    for hour in (7, 9, 11):
        wanted = datetime(2026, 3, 3, hour, 45, tzinfo=UTC)
        (dough,) = plan_of("levain", wanted=wanted).doughs
        retard = dough.stages[1]
        assert timedelta(hours=10) <= retard.ends_at - retard.begins_at <= timedelta(hours=20)
        assert dough.out_at == wanted


def test_loads_come_out_of_the_cold_one_after_the_other():
    (dough,) = plan_of("bagels").doughs
    out = [step for step in steps_of(dough) if step.kind is StepKind.MOVE]
    assert [step.load for step in out] == [None, 2, 3]
    bench = [load.in_at - load.shaped_at for load in dough.loads]
    assert all(timedelta(minutes=30) <= each <= timedelta(minutes=60) for each in bench)


def test_a_load_out_of_the_cold_leaves_the_one_before_it_to_be_baked():
    (dough,) = plan_of("bagels").doughs
    second = next(step for step in steps_of(dough) if step.kind is StepKind.MOVE and step.load == 2)
    first_in = next(step for step in steps_of(dough) if step.kind is StepKind.LOAD and step.load == 1)
    assert second.at < first_in.at + timedelta(hours=1)
    assert not is_done(dough, first_in, Progress({second.key: second.at}, {}))
    loaded = load_key(dough.key, 2, StepKind.LOAD)
    assert is_done(dough, first_in, Progress({loaded: second.at}, {}))


def test_carrying_dough_takes_hands_though_the_recipe_says_none():
    (dough,) = plan_of("levain").doughs
    assert bread("levain").method[-1].hands_min == 0.0
    assert dough.recipe.method[-1].hands_min > 0.0


def test_six_of_them_share_one_oven_one_mixer_and_one_pair_of_hands():
    plan = plan_of(*OVERNIGHT, *THE_EVENING_BEFORE, kitchen=replace(KITCHEN, oven_holds=15))
    heats = [step.kind for step in steps(plan) if step.kind.startswith("oven")]
    assert heats.count(StepKind.OVEN_ON) == heats.count(StepKind.OVEN_OFF) >= 2, "it is off at night"
    assert StepKind.OVEN_UP in heats
    assert len([dough for dough in plan.doughs if dough.out_at.date() == SEVEN.date()]) == 2


def test_six_that_do_not_fit_are_refused_with_what_would_do():
    found = planned(*OVERNIGHT, *THE_EVENING_BEFORE)
    assert isinstance(found, NoPlan)
    (late,) = (each for each in found.obstacles if each.limit is Limit.TIME)
    others = [each for each in found.remedies if each.kind is RemedyKind.OTHER_ORDER]
    assert others
    assert late.doughs[0] not in [each.dough for each in others]
    assert all(each.at == SEVEN + timedelta(minutes=each.minutes) for each in others)
    recipes = {bread(name).name.casefold(): bread(name) for name in (*OVERNIGHT, *THE_EVENING_BEFORE)}
    said = list(no_plan_lines(found, recipes, Reader(UTC), NOW))
    at_night = [line for line in said if line.startswith("no hands at that hour")]
    assert len(at_night) == 3, "the worst of them"
    n = len([each for each in found.obstacles if each.limit is Limit.HOURS])
    assert n > 10
    assert any(line.startswith(f"{n} times in all there would be work with no hands") for line in said)
    assert any("another order: " in line and "all else by its hour" in line for line in said)
    earlier = next(each for each in found.remedies if each.kind is RemedyKind.OPEN_EARLIER)
    assert earlier.at is not None
    plan_of(*OVERNIGHT, *THE_EVENING_BEFORE, kitchen=replace(KITCHEN, hands_from=earlier.at.time()))


def test_two_ovens_bake_at_two_temperatures():
    two = replace(KITCHEN, ovens=(Oven("upper"), Oven("lower", recover_min=5.0)))
    at_once = plan_of("pan_loaf", "brioche", kitchen=two)
    assert {load.oven for dough in at_once.doughs for load in dough.loads} == {"upper", "lower"}


def test_two_decks_of_one_oven_bake_at_one_temperature_at_once():
    decks = replace(KITCHEN, ovens=(Oven("deck oven", decks=2),))
    (one,), (two,) = plan_of("bagels").doughs, plan_of("bagels", kitchen=decks).doughs
    assert one.loads[0].out_at <= one.loads[1].in_at
    assert any(first.out_at > second.in_at for first, second in pairwise(two.loads))


def test_two_decks_of_one_oven_never_bake_at_two_temperatures():
    decks = replace(KITCHEN, ovens=(Oven("deck oven", decks=2),))
    hot, mild = plan_of("whole_wheat", "brioche", kitchen=decks).doughs
    loads = sorted((hot.loads[0], mild.loads[0]), key=lambda load: load.in_at)
    assert loads[0].out_at <= loads[1].in_at


def test_a_load_that_went_in_late_moves_the_one_at_another_heat_until_the_oven_is_there():
    plan = plan_of("whole_wheat", "brioche")
    first, then = sorted(plan.doughs, key=lambda dough: dough.loads[0].in_at)
    assert first.recipe.bake is not None
    in_at = first.loads[0].in_at + timedelta(minutes=90)
    done = {load_key(first.key, 1, StepKind.LOAD): in_at}
    live = retimed(plan, in_at, Progress(done, {}))
    (late,), (waits,) = live.dough(first.key).loads, live.dough(then.key).loads
    assert late.in_at == in_at
    assert waits.in_at >= late.out_at + timedelta(minutes=10), "the stone recovers"
    assert waits.in_at > plan.dough(then.key).loads[0].in_at
    numbers = numbered(plan, live)
    assert list(numbers) == list(range(1, len(steps(live)) + 1))
    was = numbered(plan, plan)
    assert [numbers[n].key for n in was] == [was[n].key for n in was], "each keeps its number while the times move"
    assert [step.key for step in numbers.values()] != [step.key for step in steps(live)], "they do so in another order"
