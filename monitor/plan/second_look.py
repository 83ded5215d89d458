"""A plan looked at again before it is kept: what of it a baker would rather have known, and how it would be without."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta, tzinfo

from monitor.plan.day import Plan, StepKind
from monitor.plan.obstacles import NoPlan, RemedyKind
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.remarks import NIGHT_FROM, NIGHT_UNTIL, EarlyBread, NightWork, Remark, early_breads
from monitor.plan.steps import steps

APART = timedelta(minutes=30)  # judgement: work closer together is one getting up


def remarks(plan: Plan, orders: tuple[Order, ...], zone: tzinfo) -> tuple[Remark, ...]:
    """What is to be said of a plan before anything else.

    Parameters
    ----------
    orders
        What the plan was made for, in the order of its doughs.
    zone
        Of the clock that night is told by.
    """
    return (*_early(plan, orders, zone), *_night(plan, orders, zone))


def _early(plan: Plan, orders: tuple[Order, ...], zone: tzinfo) -> Iterator[EarlyBread]:
    early = early_breads(plan)
    if not early:
        return
    keys = [each.dough for each in early]
    fresh = make_plan(
        tuple(
            replace(order, is_after=dough.key in keys) for order, dough in zip(orders, plan.doughs, strict=True)
        ),
        plan.kitchen, plan.made_at, zone,
    )  # fmt: skip
    for each in early:
        yield replace(each, fresh_at=fresh.dough(each.dough).out_at if isinstance(fresh, Plan) else None)


def _night(plan: Plan, orders: tuple[Order, ...], zone: tzinfo) -> Iterator[NightWork]:
    if plan.kitchen.hands_from is not None:
        return
    found: list[datetime] = []
    for step in steps(plan):
        clock = step.at.astimezone(zone).time()
        is_at_night = clock >= NIGHT_FROM or clock < NIGHT_UNTIL
        if is_at_night and step.kind is not StepKind.STEAM and (not found or step.at - found[-1] > APART):
            found.append(step.at)
    if found:
        kitchen = replace(plan.kitchen, hands_from=NIGHT_UNTIL, hands_until=NIGHT_FROM)
        asleep = make_plan(orders, kitchen, plan.made_at, zone)
        yield NightWork(tuple(found), tuple(_outs(asleep)))


def _outs(found: Plan | NoPlan) -> Iterator[tuple[str, datetime]]:
    """When each dough is out, or would be at the earliest."""
    if isinstance(found, Plan):
        yield from ((dough.key, dough.out_at) for dough in found.doughs)
        return
    for remedy in found.remedies:
        if remedy.kind is RemedyKind.LATER and remedy.at is not None:
            yield remedy.dough, remedy.at
