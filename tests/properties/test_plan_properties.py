"""Whatever day is asked for: a plan breaks no rule, and a day later it is the same a day later."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import made_up_day as made_up
import plan_rules
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.plan.day import Plan
from monitor.plan.kitchen import Kitchen, Oven
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import Limit, Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.batch import Stage
from monitor.recipe.parts import Recipe, with_more_yeast

DAY = made_up.recipe()
A_DAY = timedelta(days=1)
RETARD = replace(
    DAY.method[1], stage=Stage.RETARD, hours=8.0, longest_h=14.0, place="refrigerator", mixer_min=0.0, hands_min=10.0,
    dough_c=None,
)  # fmt: skip
BENCH = replace(DAY.method[2], hours=0.5, longest_h=1.5, hands_min=4.0)
OVENS = ((), (Oven("upper"), Oven("lower", recover_min=12.0)), (Oven("deck oven", decks=2),))


@st.composite
def breads(draw: st.DrawFn) -> Recipe:
    """The made-up bread with other yeast, pieces, hands, window and heat, with a preferment or a night in the cold."""
    proof = replace(
        DAY.method[-1],
        hands_min=draw(st.sampled_from([0.0, 10.0, 25.0])),
        good_to_rise_pct=draw(st.sampled_from([None, 85.0, 110.0])),
    )
    bulk = draw(st.booleans())
    ends = draw(st.sampled_from([(proof,), (RETARD,), (replace(RETARD, in_bulk=bulk), BENCH)]))
    method = (*DAY.method[:-1], *ends)
    bake = replace(
        DAY.bake, oven_c=draw(st.sampled_from([180.0, 218.0, 250.0])), preheat_min=draw(st.sampled_from([30.0, 60.0]))
    )
    recipe = replace(DAY, method=method[draw(st.integers(0, 1)) :], pieces=draw(st.integers(1, 3)), bake=bake)
    return with_more_yeast(recipe, draw(st.sampled_from([0.7, 1.0, 1.6])))


kitchens = st.builds(
    replace,
    st.just(made_up.KITCHEN),
    people=st.integers(1, 2),
    mixers=st.integers(1, 2),
    recover_min=st.sampled_from([0.0, 5.0]),
    hands_from=st.just(time(5)),
    hands_until=st.sampled_from([time(21), time(23, 59)]),
    ovens=st.sampled_from(OVENS),
)
hours = st.one_of(st.none(), st.integers(6, 36).map(lambda h: made_up.MORNING + timedelta(hours=h)))


def made(recipes: list[Recipe], kitchen: Kitchen, wanted: datetime | None, later: timedelta = timedelta()):
    wanted = None if wanted is None else wanted + later
    return make_plan(tuple(Order(each, wanted) for each in recipes), kitchen, made_up.MORNING + later, UTC)


@settings(max_examples=20)
@given(st.lists(breads(), min_size=1, max_size=2), kitchens, hours)
def test_a_plan_keeps_every_limit(recipes, kitchen, wanted):
    found = made(recipes, kitchen, wanted)
    if isinstance(found, NoPlan):
        is_too_late = any(each.limit is Limit.TIME for each in found.obstacles)
        assert wanted is not None or not is_too_late
        return
    assert isinstance(found, Plan)
    assert plan_rules.broken_rules(found, UTC) == []


@settings(max_examples=8)
@given(st.lists(breads(), min_size=1, max_size=2), kitchens, hours)
def test_a_day_later_the_plan_is_a_day_later(recipes, kitchen, wanted):
    today, tomorrow = made(recipes, kitchen, wanted), made(recipes, kitchen, wanted, A_DAY)
    assert isinstance(today, Plan) is isinstance(tomorrow, Plan)
    if isinstance(today, Plan) and isinstance(tomorrow, Plan):
        # only the moments: a forecast is of no date
        assert [(step.key, step.at + A_DAY) for step in steps(today)] == [
            (step.key, step.at) for step in steps(tomorrow)
        ]
    elif isinstance(today, NoPlan) and isinstance(tomorrow, NoPlan):
        assert [(each.limit, each.from_at + A_DAY) for each in today.obstacles] == [
            (each.limit, each.from_at) for each in tomorrow.obstacles
        ]
