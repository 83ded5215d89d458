"""What is said of a plan before it is kept, and the nearest plan where there is none."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from functools import cache
from pathlib import Path

import made_up_day as made_up
import pytest

from monitor.plan.day import Plan
from monitor.plan.kitchen import Kitchen, Place
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import BakeTask, DoughTask, Limit, Limits, Order, StageTask
from monitor.plan.planner import make_plan
from monitor.plan.remarks import BakedLast, EarlyBread, NightWork, NobodyThere, night_hands
from monitor.plan.second_look import remarks
from monitor.plan.solver import solve
from monitor.plan.steps import steps
from monitor.recipe.parts import Recipe
from monitor.settings.recipes import read_recipe
from monitor.wording.no_plan import no_plan_lines
from monitor.wording.plan import clock_sentences, out_sentence, remark_sentence, step_lines
from monitor.wording.reader import Reader

FOLDER = Path(__file__).parents[1] / "data" / "recipes"
READER = Reader(UTC)
SUNDAY = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
MONDAY_SEVEN = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
OPEN_DAY = Kitchen(
    (Place("room", 23.0), Place("refrigerator", 4.0)), hands_from=time(5), hands_until=time(21), oven_holds=6
)
AT_ANY_HOUR = replace(OPEN_DAY, hands_from=None, hands_until=None)


@cache
def bread(name: str) -> Recipe:
    return read_recipe(FOLDER / f"{name}.toml")


def orders_of(*names: str, wanted: datetime | None = MONDAY_SEVEN) -> tuple[Order, ...]:
    return tuple(Order(bread(name), wanted) for name in names)


def plan_of(*names: str, kitchen: Kitchen = OPEN_DAY, wanted: datetime | None = MONDAY_SEVEN) -> Plan:
    found = make_plan(orders_of(*names, wanted=wanted), kitchen, SUNDAY, UTC)
    assert isinstance(found, Plan)
    return found


# -- far too early ----------------------------------------------------------------------------------------------------


def test_bread_that_is_out_ten_hours_early_is_said_with_the_hour_at_which_it_would_be_fresh():
    plan = plan_of("brioche")
    (remark,) = remarks(plan, orders_of("brioche"), UTC)
    assert isinstance(remark, EarlyBread)
    assert remark.out_at == plan.doughs[0].out_at < MONDAY_SEVEN - timedelta(hours=9)
    assert remark.fresh_at is not None
    assert MONDAY_SEVEN < remark.fresh_at < MONDAY_SEVEN + timedelta(hours=4)
    assert isinstance(make_plan(orders_of("brioche", wanted=remark.fresh_at), OPEN_DAY, SUNDAY, UTC), Plan)
    said = remark_sentence(remark, plan, READER, SUNDAY)
    assert said.startswith("Sunday crown is 10 h 3 min early: out 20:57, wanted tomorrow 07:00; no earlier than that,")


def test_only_what_is_early_is_said_to_be():
    plan = plan_of("brioche", "bagels")
    found = remarks(plan, orders_of("brioche", "bagels"), UTC)
    assert [each.dough for each in found if isinstance(each, EarlyBread)] == ["sunday crown"]
    assert remarks(plan_of("bagels"), orders_of("bagels"), UTC) == ()
    assert remarks(plan_of("bagels", wanted=None), orders_of("bagels", wanted=None), UTC) == ()


def test_another_order_at_the_oven_is_told_with_what_it_costs():
    day = made_up.recipe()
    many, fewer = (replace(day, name=name, pieces=n) for name, n in (("Alder tin", 4), ("Birch tin", 3)))
    orders = tuple(Order(each, made_up.NOON) for each in (many, fewer))
    plan = make_plan(orders, made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(plan, Plan)
    early, other = remarks(plan, orders, UTC)
    assert isinstance(early, EarlyBread)
    assert isinstance(other, BakedLast)
    assert (early.dough, other.dough) == ("alder tin", "alder tin")
    assert other.out_at == made_up.NOON
    ((key, at),) = other.early
    assert (key, at.date()) == ("birch tin", made_up.NOON.date())
    assert made_up.NOON - at > made_up.NOON - early.out_at, "the plan has the better order"
    said = remark_sentence(other, plan, READER, made_up.MORNING)
    assert said == "another order: baked last, Alder tin is out tomorrow 12:30; then Birch tin out tomorrow 10:38"
    alone = remark_sentence(replace(other, early=()), plan, READER, made_up.MORNING)
    assert alone.endswith("Alder tin is out tomorrow 12:30, and nothing far too early")


def test_an_order_that_leaves_the_bread_as_early_is_not_told():
    plan = plan_of("brioche", "bagels")  # the crown is of the evening before, whatever is baked after it
    assert not [each for each in remarks(plan, orders_of("brioche", "bagels"), UTC) if isinstance(each, BakedLast)]


# -- work at night ----------------------------------------------------------------------------------------------------


def test_night_work_is_named_with_what_it_would_be_without():
    plan = plan_of("baguette", kitchen=AT_ANY_HOUR)
    (remark,) = remarks(plan, orders_of("baguette"), UTC)
    assert isinstance(remark, NightWork)
    assert all(at.hour >= 22 or at.hour < 6 for at in remark.hands_at)
    assert plan.doughs[0].stages[1].hands_at in remark.hands_at
    ((key, out_at),) = remark.out_at
    assert key == "wicket baguette"
    kitchen = replace(AT_ANY_HOUR, hands_from=time(6), hands_until=time(22))
    assert isinstance(make_plan(orders_of("baguette", wanted=out_at), kitchen, SUNDAY, UTC), Plan)
    said = remark_sentence(remark, plan, READER, SUNDAY)
    assert said.startswith("night work: hands tomorrow 02:")
    assert "for nobody between 22:00 and 06:00 it would be: Wicket baguette out" in said
    other = replace(remark, instead=(("wicket baguette", out_at),))
    assert "in another order one of these in its place: Wicket baguette out" in remark_sentence(
        other, plan, READER, SUNDAY
    )
    none = remark_sentence(replace(remark, out_at=()), plan, READER, SUNDAY)
    assert none.endswith("for nobody between 22:00 and 06:00 there is no plan")


def test_night_ends_at_six_unless_the_kitchen_says_when():
    day = made_up.recipe()
    bake = day.bake
    assert bake is not None
    wanted = MONDAY_SEVEN.replace(hour=6)
    orders = (Order(replace(day, pieces=1, method=day.method[2:]), wanted),)
    for hours, is_night in (((None, None), True), ((time(3), time(21)), False)):
        kitchen = replace(OPEN_DAY, hands_from=hours[0], hands_until=hours[1])
        plan = make_plan(orders, kitchen, SUNDAY, UTC)
        assert isinstance(plan, Plan)
        assert plan.doughs[0].loads[0].in_at == wanted - timedelta(minutes=bake.minutes), "hands at 05:35"
        found = [each for each in remarks(plan, orders, UTC) if isinstance(each, NightWork)]
        assert bool(found) is is_night
        assert not found or found[0].out_at[0][1] <= wanted.replace(hour=0) - timedelta(hours=2)


def test_hands_that_a_moved_plan_wants_outside_the_kitchens_hours_are_named():
    plan = plan_of("bagels")
    assert night_hands(steps(plan), plan.kitchen, UTC) == ()
    moved = [replace(step, at=step.at - timedelta(hours=1)) for step in steps(plan)]
    found = night_hands(moved, plan.kitchen, UTC)
    assert found == (next(step.at for step in moved if step.at.hour == 4),), "close together it is one getting up"
    said = remark_sentence(NobodyThere(found), plan, READER, SUNDAY)
    assert said == f"nobody is there between 21:00 and 05:00, and the doughs want hands tomorrow {found[0]:%H:%M}"
    late = replace(plan.kitchen, hands_from=time(4))
    assert night_hands(moved, late, UTC) == ()


def test_in_a_kitchen_that_names_its_hours_nothing_is_said_of_the_night():
    plan = plan_of("bagels")
    assert any(line.startswith("tomorrow 05:5") for line in step_lines(plan, READER, SUNDAY)), "its oven goes on"
    assert remarks(plan, orders_of("bagels"), UTC) == ()


# -- none, and the nearest --------------------------------------------------------------------------------------------


def test_where_several_limits_stand_in_the_way_the_nearest_plan_comes_with_what_it_costs():
    kitchen = replace(OPEN_DAY, hands_from=time(14), hands_until=time(15))
    found = make_plan(orders_of("pizza"), kitchen, SUNDAY, UTC)
    assert isinstance(found, NoPlan)
    assert found.obstacles == ()
    assert {Limit.TIME} < {each.limit for each in found.nearest}
    lines = list(no_plan_lines(found, {"two nights' pizza": bread("pizza")}, READER, SUNDAY))
    assert lines[0].startswith("several limits stand in the way at once")
    assert any(line.startswith("the nearest plan: ") and "is the earliest" in line for line in lines[1:])


# -- words and costs --------------------------------------------------------------------------------------------------


def test_tomorrow_is_the_same_day_all_along_a_line():
    line = next(line for line in step_lines(plan_of("bagels"), READER, SUNDAY) if "retard begins" in line)
    assert "at the latest)" in line
    assert "tomorrow" not in line
    late = next(line for line in step_lines(plan_of("brioche"), READER, SUNDAY) if "divide and shape" in line)
    assert "(by tomorrow 01:" in late
    morning = next(line for line in step_lines(plan_of("bagels"), READER, SUNDAY) if "load 1 of 3 in" in line)
    assert morning.startswith("tomorrow 06:00")
    assert "tomorrow" not in morning[8:], "its end is of the same day"


def test_a_stage_by_the_clock_has_the_doubt_of_what_it_does():
    (dough,) = plan_of("rye_sour", wanted=MONDAY_SEVEN + timedelta(days=1)).doughs
    sour = dough.stages[0].forecast
    assert sour.does.p05 is not None
    assert sour.does.p95 is not None
    assert sour.does.p05 < 0.8 * 12 * 60 < 1.2 * 12 * 60 < sour.does.p95
    said = list(clock_sentences(dough, READER))
    assert said[0].startswith(
        "Moorbrot: the preferment of Sauer goes by the clock; in 12 h it may do what usually takes"
    )
    (bagels,) = plan_of("bagels").doughs
    assert out_sentence(bagels, READER, SUNDAY).endswith("all of it goes by the clock")


def test_a_soaker_does_nothing_whatever_the_clock_says():
    (dough,) = plan_of("whole_wheat").doughs
    assert dough.stages[0].forecast.does.p50 is None
    assert not any("soaker" in each for each in clock_sentences(dough, READER))


def test_no_load_waits_to_its_last_good_minute_for_the_sake_of_the_hour():
    # Nobody is there from minute 100 to 250: shaped before, it is good to load until 280, and wanted at 300.
    stage = StageTask(10, 0, 60, 120, 180, (), ())
    bake = BakeTask(((60, 120, 180),), minutes=20, preheat_min=0, oven_c=220.0, ends_c=220.0)
    dough = DoughTask("tin", (stage,), bake, wanted_min=300)
    found = solve((dough,), Limits(1, 1, (), ((100, 250),)), horizon=600)
    assert found is not None
    assert (found[0].shaped, found[0].loaded) == ((100,), (250,)), "better half an hour early than over-proofed"


@pytest.mark.parametrize("name", ["brioche", "bagels"])
def test_the_hour_after_is_kept_to(name: str):
    order = replace(orders_of(name)[0], is_after=True)
    found = make_plan((order,), OPEN_DAY, SUNDAY, UTC)
    assert isinstance(found, Plan)
    assert found.doughs[0].out_at >= MONDAY_SEVEN


def test_made_up_days_have_nothing_to_remark():
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    assert remarks(found, (Order(made_up.recipe(), made_up.NOON),), UTC) == ()
