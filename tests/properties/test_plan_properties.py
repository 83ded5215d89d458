"""Whatever day is asked for: a plan keeps every limit it was made within, and no limit is broken by a minute."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import made_up_day as made_up
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.plan.day import Plan, StepKind, steps
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import Limit, Order
from monitor.plan.planner import make_plan
from monitor.plan.solver import LOAD_HANDS_MIN
from monitor.recipe.parts import Recipe, with_more_yeast

DAY = made_up.recipe()


@st.composite
def breads(draw: st.DrawFn) -> Recipe:
    """The made-up bread with other yeast, pieces, hands and window, with its preferment or without."""
    proof = replace(
        DAY.method[-1],
        hands_min=draw(st.sampled_from([0.0, 10.0, 25.0])),
        good_to_rise_pct=draw(st.sampled_from([None, 85.0, 110.0])),
    )
    method = (*DAY.method[:-1], proof)
    recipe = replace(DAY, method=method[draw(st.integers(0, 1)) :], pieces=draw(st.integers(1, 3)))
    return with_more_yeast(recipe, draw(st.sampled_from([0.7, 1.0, 1.6])))


kitchens = st.builds(
    replace,
    st.just(made_up.KITCHEN),
    people=st.integers(1, 2),
    mixers=st.integers(1, 2),
    recover_min=st.sampled_from([0.0, 5.0]),
)
hours = st.one_of(st.none(), st.integers(6, 36).map(lambda h: made_up.MORNING + timedelta(hours=h)))


def most_at_once(spans: list[tuple[datetime, datetime]]) -> int:
    """The greatest number of spans that cover one moment."""
    return max((sum(a <= start < b for a, b in spans) for start, _ in spans), default=0)


@settings(max_examples=20)
@given(st.lists(breads(), min_size=1, max_size=2), kitchens, hours)
def test_a_plan_keeps_every_limit(recipes, kitchen, wanted):
    found = make_plan(tuple(Order(each, wanted) for each in recipes), kitchen, made_up.MORNING, UTC)
    if isinstance(found, NoPlan):
        assert (
            wanted is not None or any(each.limit is not Limit.TIME for each in found.obstacles) or not found.obstacles
        )
        return
    assert isinstance(found, Plan)
    work = [
        (step.at, step.at + timedelta(minutes=LOAD_HANDS_MIN if step.kind is StepKind.LOAD else step.hands_min))
        for step in steps(found)
        if step.hands_min or step.kind is StepKind.LOAD
    ]
    assert most_at_once(work) <= kitchen.people
    baking = sorted((load.in_at, load.out_at) for dough in found.doughs for load in dough.loads)
    for (_, out_at), (in_at, _) in pairwise(baking):
        assert in_at - out_at >= timedelta(minutes=kitchen.recover_min)
    for dough in found.doughs:
        assert wanted is None or dough.out_at <= wanted
        assert min(stage.hands_at for stage in dough.stages) >= made_up.MORNING
        for stage in dough.stages[:-1]:
            assert stage.ready_at is not None
            assert stage.ready_at <= stage.ends_at <= stage.closes_at + timedelta(minutes=1)
        for load in dough.loads:
            assert load.opens_at <= load.in_at <= load.closes_at
            assert load.shaped_at <= load.opens_at
