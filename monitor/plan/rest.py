"""The rest of a day that has begun, solved anew."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, tzinfo

from monitor.plan.begun import begun_of
from monitor.plan.day import Plan
from monitor.plan.kitchen import Kitchen
from monitor.plan.live import Progress
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import Order, prepared_order
from monitor.plan.planner import plan_or_reasons
from monitor.plan.solver import Problem


def rest_planned(
    live: Plan, progress: Progress, orders: Mapping[str, Order], kitchen: Kitchen, zone: tzinfo, now: datetime
) -> Plan | NoPlan:
    """The rest of a day as it would be for other hours, or why it cannot be.

    Parameters
    ----------
    live
        The day as its doughs have it now.
    orders
        What is wanted of each dough, by its key.

    Raises
    ------
    ValueError, SolverError
        As :func:`monitor.plan.planner.make_plan`.
    """
    begun = {dough.key: begun_of(dough, progress, now) for dough in live.doughs}
    left = [each for each in begun.values() if len(each.loads) < len(each.dough.loads) or not each.dough.loads]
    doughs = []
    for each in left:
        prepared = prepared_order(each.dough.key, orders[each.dough.key], kitchen)
        seen = tuple(stage.forecast for stage in each.dough.stages)
        loads = tuple((seen[-1] if own == prepared.forecasts[-1] else own, n) for own, n in prepared.loads)
        doughs.append(replace(prepared, forecasts=seen, loads=loads))
    first_at = min([now, *(each.dough.stages[number].begins_at for each in left for number in each.stages)])
    problem = Problem(kitchen, first_at.replace(second=0, microsecond=0), zone, tuple(doughs), begun)
    found = plan_or_reasons(problem, now)
    if isinstance(found, NoPlan):
        return found
    again = {dough.key: begun[dough.key].lived(dough) for dough in found.doughs}
    return replace(found, doughs=tuple(again.get(dough.key, dough) for dough in live.doughs))
