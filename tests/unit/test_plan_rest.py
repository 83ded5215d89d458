"""The rest of a day that has begun: what was done stays, what is to come moves, or the solver says why not."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import made_up_day as made_up
import pytest

from monitor.plan.day import Plan, StepKind, first_step_key, load_key, oven_key
from monitor.plan.live import Progress, retimed
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import Limit, Order
from monitor.plan.planner import make_plan
from monitor.plan.rest import rest_planned
from monitor.plan.steps import steps

MADE = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
assert isinstance(MADE, Plan)
(DOUGH,) = MADE.doughs


def done_until(at: datetime) -> Progress:
    """All that was to be done by a moment, done just then."""
    over = {step.key: step.at for step in steps(MADE)}
    over |= {first_step_key(DOUGH, stage): stage.begins_at for stage in DOUGH.stages}
    return Progress({key: over_at for key, over_at in over.items() if over_at <= at}, {})


def rest(now: datetime, wanted_at: datetime, progress: Progress) -> Plan | NoPlan:
    live = retimed(MADE, now, progress)
    order = Order(DOUGH.recipe, wanted_at)
    return rest_planned(live, progress, {DOUGH.key: order}, MADE.kitchen, UTC, now)


@pytest.mark.parametrize("stage", [0, 1, 2])
def test_what_has_begun_stays_and_what_is_to_come_waits(stage: int):
    now = DOUGH.stages[stage].begins_at + timedelta(minutes=5)
    found = rest(now, DOUGH.out_at + timedelta(minutes=15), done_until(now))
    assert isinstance(found, Plan)
    (dough,) = found.doughs
    for before, after in list(zip(DOUGH.stages, dough.stages, strict=True))[: stage + 1]:
        assert abs(after.begins_at - before.begins_at) <= timedelta(minutes=1)
    assert abs(dough.out_at - DOUGH.out_at - timedelta(minutes=15)) <= timedelta(minutes=1)
    assert all(step.at >= now - timedelta(minutes=1) for step in steps(found) if step.key not in done_until(now).done)


def test_what_the_dough_does_not_allow_is_refused_with_the_reason():
    now = DOUGH.stages[1].begins_at + timedelta(minutes=5)
    found = rest(now, DOUGH.out_at - timedelta(hours=1), done_until(now))
    assert isinstance(found, NoPlan)
    assert Limit.TIME in {each.limit for each in found.obstacles}


def test_a_load_in_the_oven_stays_where_it_is_and_the_other_waits_its_turn():
    now = DOUGH.loads[0].in_at + timedelta(minutes=2)
    progress = done_until(now)
    assert load_key(DOUGH.key, 1, StepKind.LOAD) in progress.done
    assert oven_key(DOUGH.key) in progress.done
    found = rest(now, DOUGH.out_at + timedelta(minutes=10), progress)
    assert isinstance(found, Plan)
    first, second = found.doughs[0].loads
    assert first.in_at == DOUGH.loads[0].in_at
    assert second.in_at >= first.out_at


def test_a_dough_that_is_out_is_left_alone():
    other = replace(made_up.recipe(), name="Second loaf")
    made = make_plan((Order(made_up.recipe(), made_up.NOON), Order(other, None)), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(made, Plan)
    out, _ = made.doughs
    progress = Progress({step.key: step.at for step in steps(made) if step.dough == out.key}, {})
    now = out.out_at + timedelta(minutes=1)
    live = retimed(made, now, progress)
    orders = {each.key: Order(each.recipe, each.out_at + timedelta(hours=2)) for each in live.doughs}
    found = rest_planned(live, progress, orders, made.kitchen, UTC, now)
    assert isinstance(found, Plan)
    assert found.dough(out.key) == live.dough(out.key)
