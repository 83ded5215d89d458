"""A plan looked at again before it is kept: what of it a baker would rather have known, and how it would be without."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, tzinfo

from monitor.plan.day import Plan
from monitor.plan.orders import Limit, Order
from monitor.plan.planner import others_late, planned, problem_of, too_late
from monitor.plan.remarks import BakedLast, EarlyBread, NightWork, Remark, early_breads, night_hands, night_of
from monitor.plan.solver import Problem
from monitor.plan.steps import steps


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


def _solved(problem: Problem, now: datetime, last: str = "") -> Plan | None:
    times = problem.tried(last=last)
    return None if times is None else planned(problem, times, now)


def _early(plan: Plan, orders: tuple[Order, ...], zone: tzinfo) -> Iterator[EarlyBread | BakedLast]:
    early = early_breads(plan)
    if not early:
        return
    keys = [each.dough for each in early]
    after = tuple(
        replace(order, is_after=dough.key in keys) for order, dough in zip(orders, plan.doughs, strict=True)
    )  # fmt: skip
    fresh = _solved(problem_of(after, plan.kitchen, plan.made_at, zone), plan.made_at)
    for each in early:
        yield replace(each, fresh_at=None if fresh is None else fresh.dough(each.dough).out_at)
    if len(orders) > 1:
        yield from _baked_last(plan, keys, problem_of(orders, plan.kitchen, plan.made_at, zone))


def _baked_last(plan: Plan, keys: list[str], problem: Problem) -> Iterator[BakedLast]:
    """What is no longer early when it is baked after all others, and what then is."""
    for key in keys:
        other = _solved(problem, plan.made_at, last=key)
        early = () if other is None else early_breads(other)
        if other is not None and key not in [each.dough for each in early]:
            instead = tuple((each.dough, each.out_at) for each in early if each.dough not in keys)
            yield BakedLast(key, other.dough(key).out_at, instead)


def _night(plan: Plan, orders: tuple[Order, ...], zone: tzinfo) -> Iterator[NightWork]:
    found = night_hands(steps(plan), plan.kitchen, zone)
    if found:
        begins, ends = night_of(plan.kitchen)
        asleep = problem_of(orders, replace(plan.kitchen, hands_from=ends, hands_until=begins), plan.made_at, zone)
        yield NightWork(found, *_outs(asleep, plan.made_at))


def _outs(asleep: Problem, now: datetime) -> tuple[tuple[tuple[str, datetime], ...], tuple[tuple[str, datetime], ...]]:
    """When each dough is out, or those that are late at the earliest; and each that would be late instead of these."""
    found = _solved(asleep, now)
    if found is not None:
        return tuple((dough.key, dough.out_at) for dough in found.doughs), ()
    times = asleep.tried(Limit.TIME)
    late = [] if times is None else too_late(asleep, times)
    instead = others_late(asleep, late) if late else []
    outs = tuple((each.doughs[0], each.to_at) for each in late)
    return outs, tuple((each.dough, each.at) for each in instead if each.at is not None)
