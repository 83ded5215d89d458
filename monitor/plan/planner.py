"""A day made, or what stands in its way, by how much, and what would make it possible; and the same bread otherwise."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, time, tzinfo
from itertools import combinations, pairwise
from typing import assert_never

from monitor.plan.day import Plan, PlanId, shares_of
from monitor.plan.kitchen import Kitchen, Place
from monitor.plan.obstacles import Alternative, NoPlan, Obstacle, Remedy, RemedyKind, Variation
from monitor.plan.orders import DoughTimes, Limit, Order, PreparedOrder, dough_plan, prepared_order, work_meanwhile
from monitor.plan.remarks import early_breads
from monitor.plan.solver import LOADING_MIN, Problem
from monitor.recipe.batch import Stage
from monitor.recipe.ingredients import YEASTS
from monitor.recipe.method import ROOM
from monitor.recipe.parts import Recipe, with_more_yeast

CHILL_STEPS_MIN = (15.0, 30.0, 45.0, 60.0, 90.0)  # judgement: what one would do with a loaf that must wait
MOST_MORE = 20  # places more than there are: beyond, nobody builds a cabinet for one plan
YEAST_FACTORS = (0.5, 2.0)
ROOM_STEPS_C = (-3.0, 3.0)
NIGHT_H = 10.0  # judgement: shaped in the evening, baked in the morning
Spans = list[tuple[str, int, int, int]]
"""(dough, from, to, how many), in minutes."""


def keys_of(orders: tuple[Order, ...]) -> tuple[str, ...]:
    """A short name for each order: its recipe's, numbered where it comes twice."""
    found: list[str] = []
    for order in orders:
        name = " ".join(order.recipe.name.casefold().replace("/", " ").split())
        n = sum(each == name or each.startswith(f"{name} #") for each in found)
        found.append(f"{name} #{n + 1}" if n else name)
    return tuple(found)


def make_plan(orders: tuple[Order, ...], kitchen: Kitchen, now: datetime, zone: tzinfo) -> Plan | NoPlan:
    """The best plan for a day from now on, or why there is none.

    Parameters
    ----------
    zone
        Of the clock that the kitchen's hours are told by.

    Raises
    ------
    ValueError
        When a recipe has no stages, or names a place that the kitchen does not have.
    SolverError
        When the solver could not decide.
    """
    return plan_or_reasons(problem_of(orders, kitchen, now, zone), now)


def plan_or_reasons(problem: Problem, now: datetime) -> Plan | NoPlan:
    """The best plan for a day, or why there is none."""
    times = problem.times()
    return _explained(problem) if times is None else planned(problem, times, now)


def problem_of(orders: tuple[Order, ...], kitchen: Kitchen, now: datetime, zone: tzinfo) -> Problem:
    """A day from now on, to be solved."""
    doughs = tuple(prepared_order(key, order, kitchen) for key, order in zip(keys_of(orders), orders, strict=True))
    return Problem(kitchen, now.replace(second=0, microsecond=0), zone, doughs)


def planned(problem: Problem, times: tuple[DoughTimes, ...], now: datetime) -> Plan:
    """What the solver found for a day, on the clock."""
    kitchen = problem.kitchen
    doughs = (dough_plan(*each, problem.base_at, kitchen) for each in zip(problem.doughs, times, strict=True))
    return Plan(PlanId(0), now, kitchen, tuple(doughs))


def _explained(problem: Problem) -> NoPlan:
    """Lift each limit alone: what helps is what stands in the way."""
    obstacles: list[Obstacle] = []
    remedies: list[Remedy] = []
    for limit in Limit:
        times = problem.tried(limit)
        if times is None:
            continue
        found = _obstacles(problem, limit, times)
        obstacles += found
        if found:
            remedies += _remedies(problem, limit, found)
    return NoPlan(tuple(obstacles), tuple(remedies), () if obstacles else tuple(_nearest(problem)))


def _nearest(problem: Problem) -> list[Obstacle]:
    """What the nearest plan breaks, where no limit alone stands in the way: a later hour first, then any two, then all.

    That it is late is measured; the rest is as it comes, since nothing but lateness has a price there.
    """
    others = [limit for limit in Limit if limit is not Limit.TIME]
    pairs = [(Limit.TIME, each) for each in others]
    for lifted in (*pairs, *combinations(others, 2), tuple(Limit)):
        times = problem.tried(*lifted)
        if times is not None:
            return [each for limit in lifted for each in _obstacles(problem, limit, times)]
    return []


# -- what stands in the way -------------------------------------------------------------------------------------------


def _obstacles(problem: Problem, limit: Limit, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    """Where a day that was made without a limit breaks it."""
    match limit:
        case Limit.TIME:
            return too_late(problem, times)
        case Limit.WINDOW:
            return _closed(problem, times)
        case Limit.PEOPLE:
            return _crowded(problem, limit, _hands(problem, times), problem.kitchen.people)
        case Limit.HOURS:
            return _at_night(problem, times)
        case Limit.MIXER:
            return _crowded(problem, limit, _mixing(problem, times), problem.kitchen.mixers)
        case Limit.PLACE:
            return _crowded_places(problem, times)
        case Limit.OVEN:
            return _crowded(problem, limit, _baking(problem, times), 1)
        case _:
            assert_never(limit)


def _end(dough: PreparedOrder, times: DoughTimes) -> int:
    bake = dough.recipe.bake
    return times.taken[-1] if bake is None else times.loaded[-1] + round(bake.minutes)


def too_late(problem: Problem, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    """What misses its hour, and by how much."""
    found = []
    for dough, each in zip(problem.doughs, times, strict=True):
        wanted_at = dough.order.wanted_at
        end_at = problem.at(_end(dough, each))
        if wanted_at is not None and end_at > wanted_at:
            over_min = (end_at - wanted_at).total_seconds() / 60.0
            found.append(Obstacle(Limit.TIME, (dough.key,), wanted_at, end_at, over_min))
    return found


def _closed(problem: Problem, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    found = []
    for dough, each in zip(problem.doughs, times, strict=True):
        for number, (late, loaded) in enumerate(zip(each.late_loads, each.loaded, strict=True), start=1):
            if late:
                closed_at = problem.at(loaded - late)
                found.append(
                    Obstacle(Limit.WINDOW, (dough.key,), closed_at, problem.at(loaded), float(late), load=number)
                )
        taken_on = [before for befores in dough.predecessors for before in befores]
        for before, late in zip(taken_on, each.late_stages, strict=True):
            if late:
                closes = each.begins[before] + round(dough.forecasts[before].closes_min)
                found.append(
                    Obstacle(
                        Limit.WINDOW, (dough.key,), problem.at(closes), problem.at(closes + late), float(late),
                        stage=before,
                    )
                )  # fmt: skip
    return found


def _hands(problem: Problem, times: tuple[DoughTimes, ...]) -> Spans:
    """(dough, from, to, how many) of all work, in minutes."""
    found = []
    for dough, each in zip(problem.doughs, times, strict=True):
        last = len(dough.recipe.method) - 1
        for number, stage in enumerate(dough.recipe.method):
            hands = round(stage.hands_min)
            ready_min = round(dough.forecasts[number].ready.p50 or 0.0)
            begins = each.begins[number]
            found += [(dough.key, begins + at, begins + at + it, 1) for at, it in work_meanwhile(stage, ready_min)]
            if number < last or not each.shaped:
                found.append((dough.key, each.hands[number], each.hands[number] + hands, 1))
                continue
            shares = zip(each.shaped, shares_of(hands, len(each.shaped)), strict=True)
            found += [(dough.key, at - share, at, 1) for at, share in shares]
        if (bake := dough.recipe.bake) is not None:
            outs = [at + round(bake.minutes) for at in each.loaded]
            found += [(dough.key, at, at + LOADING_MIN, 1) for at in (*each.loaded, *outs)]
    return found


def _mixing(problem: Problem, times: tuple[DoughTimes, ...]) -> Spans:
    return [
        (dough.key, at, at + round(stage.mixer_min), 1)
        for dough, each in zip(problem.doughs, times, strict=True)
        for stage, at in zip(dough.recipe.method, each.hands, strict=True)
    ]


def _standing(problem: Problem, times: tuple[DoughTimes, ...], place: str) -> Spans:
    found = []
    for dough, each, task in zip(problem.doughs, times, problem.tasks(), strict=True):
        for stage, begins, taken in zip(task.stages, each.begins, each.taken, strict=True):
            for stand in stage.uses:
                if stand.place == place:
                    to = taken if stand.to_min is None else begins + stand.to_min
                    found.append((dough.key, begins + stand.from_min, to, stand.takes))
    return found


def _crowded(problem: Problem, limit: Limit, spans: Spans, holds: int, place: str = "") -> list[Obstacle]:
    """The first stretch of minutes in which more is needed than there is, as an obstacle; the number needed in it."""
    edges = sorted({edge for _, begin, end, _ in spans for edge in (begin, end)})
    worst: list[Obstacle] = []
    for begin, end in pairwise(edges):
        at_work = [(key, n) for key, start, stop, n in spans if start <= begin and stop >= end and stop > start]
        if sum(n for _, n in at_work) > holds:
            keys = tuple(dict.fromkeys(key for key, _ in at_work))
            if worst and worst[-1].to_at == problem.at(begin):
                merged = tuple(dict.fromkeys((*worst[-1].doughs, *keys)))
                worst[-1] = replace(
                    worst[-1], doughs=merged, to_at=problem.at(end), minutes=worst[-1].minutes + end - begin
                )
            else:
                worst.append(Obstacle(limit, keys, problem.at(begin), problem.at(end), float(end - begin), place=place))
    return worst


def _crowded_places(problem: Problem, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    return [
        obstacle
        for place in problem.kitchen.all_places
        if place.holds is not None
        for obstacle in _crowded(problem, Limit.PLACE, _standing(problem, times, place.name), place.holds, place.name)
    ]


def _baking(problem: Problem, times: tuple[DoughTimes, ...]) -> Spans:
    return [
        (dough.key, at, at + round(bake.minutes), 1)
        for dough, each in zip(problem.doughs, times, strict=True)
        if (bake := dough.recipe.bake) is not None
        for at in each.loaded
    ]


def _at_night(problem: Problem, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    found = []
    for begin, end in problem.limits.nights:
        for key, start, stop, _ in _hands(problem, times):
            if start < end and stop > begin and stop > start:
                apart_min = float(min(stop - begin, end - start))
                found.append(Obstacle(Limit.HOURS, (key,), problem.at(start), problem.at(stop), apart_min))
    return found


# -- what would make it possible: each thing is tried before it is said -----------------------------------------------


def _remedies(problem: Problem, limit: Limit, found: list[Obstacle]) -> list[Remedy]:
    match limit:
        case Limit.TIME:
            later = [Remedy(RemedyKind.LATER, each.doughs[0], each.minutes, each.to_at) for each in found]
            return [*later, *others_late(problem, found)]
        case Limit.WINDOW:
            return _wait_better(problem, found)
        case Limit.PEOPLE:
            people = problem.kitchen.people + 1
            return _more(problem, RemedyKind.MORE_PEOPLE, found, replace(problem.kitchen, people=people), people)
        case Limit.HOURS:
            return _longer_hours(problem) or _nights_worked(problem, found)
        case Limit.MIXER:
            mixers = problem.kitchen.mixers + 1
            return _more(problem, RemedyKind.MORE_MIXERS, found, replace(problem.kitchen, mixers=mixers), mixers)
        case Limit.PLACE:
            return _more_places(problem, found)
        case Limit.OVEN:
            return _more_oven(problem, found)
        case _:
            assert_never(limit)


def others_late(problem: Problem, found: list[Obstacle]) -> list[Remedy]:
    """Another order of the breads: each that would be late in place of those found, all others by their hour."""
    named = {each.doughs[0] for each in found}
    remedies = []
    for dough in problem.doughs if len(problem.doughs) > 1 else ():
        times = None if named == {dough.key} else problem.tried(late=dough.key)
        for each in () if times is None else too_late(problem, times):
            remedies.append(Remedy(RemedyKind.OTHER_ORDER, dough.key, each.minutes, each.to_at))
    return remedies


def _nights_worked(problem: Problem, found: list[Obstacle]) -> list[Remedy]:
    """Of each night all the work that there would be, as one stretch."""
    remedies = []
    for begin, end in problem.limits.nights:
        mine = [each for each in found if problem.at(begin) < each.to_at and each.from_at < problem.at(end)]
        if mine:
            who = {each.doughs for each in mine}
            from_at, to_at = min(each.from_at for each in mine), max(each.to_at for each in mine)
            minutes = (to_at - from_at).total_seconds() / 60.0
            remedies.append(Remedy(RemedyKind.OTHER_HOURS, min(who)[0] if len(who) == 1 else "", minutes, from_at))
    return remedies


def _wait_better(problem: Problem, found: list[Obstacle]) -> list[Remedy]:
    """Loaves that wait: shaped later, or chilled at first; each tried."""
    remedies = []
    for key in dict.fromkeys(each.doughs[0] for each in found if each.load is not None):
        remedies += [*_staggered(problem, key), *_chilled(problem, key)]
    return remedies


def _staggered(problem: Problem, key: str) -> list[Remedy]:
    times = problem.tried(can_stagger=True)
    if times is None:
        return []
    number = [each.key for each in problem.doughs].index(key)
    task, found = problem.tasks()[number], times[number]
    hands, n = task.stages[-1].hands_min, len(found.shaped)
    shares = [hands * (i + 1) // n - hands * i // n for i in range(n)]
    gaps = [found.shaped[i] - found.shaped[i - 1] - shares[i] for i in range(1, n)]
    return [Remedy(RemedyKind.STAGGER, key, float(max(gaps)))] if gaps and max(gaps) > 0 else []


def _chilled(problem: Problem, key: str) -> list[Remedy]:
    for minutes in CHILL_STEPS_MIN:
        if problem.with_bake(key, chill_min=minutes).is_possible():
            return [Remedy(RemedyKind.CHILL, key, minutes)]
    return []


def _longer_hours(problem: Problem) -> list[Remedy]:
    """Hands an hour or more earlier, and the same later: the least of each that would do."""
    kitchen = problem.kitchen
    opens, closes = kitchen.hands_from, kitchen.hands_until
    if opens is None or closes is None:
        return []
    earlier = [replace(kitchen, hands_from=time(hour)) for hour in reversed(range(opens.hour + (opens.minute > 0)))]
    later = [replace(kitchen, hands_until=time(hour)) for hour in range(closes.hour + 1, 24)]
    found = []
    for kind, ways in ((RemedyKind.OPEN_EARLIER, earlier), (RemedyKind.CLOSE_LATER, [*later, _till_midnight(kitchen)])):
        does = next((each for each in ways if problem.with_kitchen(each).is_possible()), None)
        clock = None if does is None else does.hands_from if kind is RemedyKind.OPEN_EARLIER else does.hands_until
        if clock is not None:
            day = problem.base_at.astimezone(problem.zone).date()
            found.append(Remedy(kind, at=datetime.combine(day, clock, problem.zone)))
    return found


def _till_midnight(kitchen: Kitchen) -> Kitchen:
    return replace(kitchen, hands_until=time.max.replace(second=0, microsecond=0))


def _more(problem: Problem, kind: RemedyKind, found: list[Obstacle], kitchen: Kitchen, number: int) -> list[Remedy]:
    """One pair of hands or mixer more, when that would do."""
    if not problem.with_kitchen(kitchen).is_possible():
        return []
    return [Remedy(kind, at=found[0].from_at, minutes=found[0].minutes, number=number)]


def _more_places(problem: Problem, found: list[Obstacle]) -> list[Remedy]:
    name = found[0].place
    holds = problem.kitchen.place(name).holds or 0
    for number in range(holds + 1, holds + MOST_MORE):
        places = tuple(
            replace(each, holds=number) if each.name == name else each for each in problem.kitchen.all_places
        )
        if problem.with_kitchen(replace(problem.kitchen, places=places)).is_possible():
            return [Remedy(RemedyKind.MORE_PLACES, at=found[0].from_at, number=number, place=name)]
    return []


def _more_oven(problem: Problem, found: list[Obstacle]) -> list[Remedy]:
    """Room for all that bakes in the crowded minutes."""
    keys = tuple(dict.fromkeys(key for each in found for key in each.doughs))
    crowded = [dough for dough in problem.doughs if dough.key in keys]
    held = min(max(pieces for _, pieces in dough.loads) for dough in crowded)
    for number in range(held + 1, max(dough.recipe.pieces for dough in crowded) + 1):
        roomier = problem
        for key in keys:
            roomier = roomier.with_bake(key, at_once=number)
        if roomier.is_possible():
            return [Remedy(RemedyKind.MORE_OVEN, keys[0] if len(keys) == 1 else "", number=number)]
    return []


# -- the same bread otherwise -----------------------------------------------------------------------------------------


def alternatives(order: Order, kitchen: Kitchen, now: datetime, zone: tzinfo) -> tuple[Alternative, ...]:
    """The bread as written and otherwise, alone in the kitchen: for its hour, and after it where that is a poor one."""
    found = [
        Alternative(variation, amount, make_plan((other,), there, now, zone))
        for variation, amount, other, there in _variations(order, kitchen)
    ]
    written = found[0].plan
    if order.wanted_at is not None and (isinstance(written, NoPlan) or early_breads(written)):
        after = make_plan((replace(order, is_after=True),), kitchen, now, zone)
        found.append(Alternative(Variation.HOUR, 0.0, after))
    return tuple(found)


def _variations(order: Order, kitchen: Kitchen) -> Iterator[tuple[Variation, float, Order, Kitchen]]:
    recipe = order.recipe
    yield Variation.AS_WRITTEN, 0.0, order, kitchen
    if any(each.kind in YEASTS for part in recipe.parts for each in part.ingredients):
        for factor in YEAST_FACTORS:
            yield Variation.YEAST, factor, replace(order, recipe=with_more_yeast(recipe, factor)), kitchen
    if any(stage.place == ROOM for stage in recipe.method):
        for step_c in ROOM_STEPS_C:
            yield Variation.ROOM, step_c, order, _with_room(kitchen, kitchen.place(ROOM).temp_c + step_c)
    overnight = _overnight(recipe)
    if overnight is not None:
        yield Variation.NIGHT, NIGHT_H, replace(order, recipe=overnight), kitchen


def _with_room(kitchen: Kitchen, temp_c: float) -> Kitchen:
    others = tuple(each for each in kitchen.places if each.name != ROOM)
    return replace(kitchen, places=(*others, Place(ROOM, temp_c, kitchen.place(ROOM).holds)))


def _overnight(recipe: Recipe) -> Recipe | None:
    """The recipe with its shaped pieces overnight in the refrigerator; None when they are there already."""
    last = recipe.method[-1]
    if last.stage is not Stage.FINAL_PROOF or last.cold_h > 0.0 or last.hours is not None:
        return None
    return replace(recipe, method=(*recipe.method[:-1], replace(last, cold_h=NIGHT_H)))
