"""The oven as one line of temperature: what it is heated to between loads, and when it goes on, up, down and off."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from monitor.plan.day import LOAD_HANDS_MIN, DoughPlan, LoadPlan, Plan, Step, StepKind, oven_key, oven_off_key
from monitor.recipe.method import Bake

SAME_HEAT_C = 10.0  # judgement: breads this close bake at one temperature
COLD_OVEN_C = 20.0
FALLS_C_PER_MIN = 2.0  # judgement: of an oven of stone with its door ajar
IDLE_MIN = 90.0  # judgement: for longer nobody heats an empty oven; a stone needs an hour to be hot again


def heat_change_min(from_c: float, to_c: float, preheat_min: float) -> float:
    """How long an oven needs from one temperature to another; 0 where they are as good as one. [min]

    Upwards it goes as the recipe says of the cold oven: ``preheat_min`` from the room to ``to_c``.

    >>> heat_change_min(200.0, 240.0, 55.0), heat_change_min(240.0, 200.0, 30.0), heat_change_min(240.0, 235.0, 30.0)
    (10.0, 20.0, 0.0)
    """
    if abs(to_c - from_c) <= SAME_HEAT_C:
        return 0.0
    if to_c < from_c:
        return (from_c - to_c) / FALLS_C_PER_MIN
    return preheat_min * (to_c - from_c) / max(to_c - COLD_OVEN_C, SAME_HEAT_C)


def ends_at_c(bake: Bake) -> float:
    """What an oven is set to when a bread comes out of it. [C]"""
    return next((step.oven_c for step in reversed(bake.steps) if step.oven_c is not None), bake.oven_c)


def can_share(first: tuple[float, float], second: tuple[float, float]) -> bool:
    """True when two breads can be in one oven at once, each loaded at one heat and ended at another. [C]

    One heat for both, from beginning to end: what is turned down for one bread falls for the other at a wrong time.
    """
    return max(*first, *second) - min(*first, *second) <= SAME_HEAT_C


def turn_min(from_c: float, to_c: float, preheat_min: float, recover_min: float) -> float:
    """From one load out to another in: hands empty the oven, its stone recovers or it goes to another heat. [min]"""
    return max(recover_min, LOAD_HANDS_MIN, heat_change_min(from_c, to_c, preheat_min))


def longest_idle_min(preheat_min: float) -> float:
    """How long the oven stays on with nothing in it, before a load that wants so long to heat a cold one. [min]"""
    return max(IDLE_MIN, preheat_min)


@dataclass(frozen=True, slots=True)
class Baking:
    """A load of a dough in an oven: what it is loaded at, and what the oven has come to when it is out. [C]"""

    dough: DoughPlan
    load: LoadPlan
    oven_c: float
    preheat_min: float
    ends_c: float


def bakings(doughs: tuple[DoughPlan, ...]) -> Iterator[tuple[str, list[Baking]]]:
    """Each oven by its name, and what is baked in it, in the order it goes in."""
    every = [
        Baking(dough, load, bake.oven_c, bake.preheat_min, ends_at_c(bake))
        for dough in doughs
        if (bake := dough.recipe.bake) is not None
        for load in dough.loads
    ]
    every.sort(key=lambda each: (each.load.oven, each.load.in_at, each.dough.key, each.load.number))
    for name, mine in groupby(every, key=lambda each: each.load.oven):
        yield name, list(mine)


def oven_steps(plan: Plan) -> Iterator[Step]:
    """When each oven goes on, up, down and off."""
    for _, baked in bakings(plan.doughs):
        last: Baking | None = None  # what came out latest
        for each in baked:
            yield from _between(last, each)
            yield from _turned(each)
            if last is None or each.load.out_at >= last.load.out_at:
                last = each
        if last is not None:
            yield _off(last)


def _off(last: Baking) -> Step:
    key, load = last.dough.key, last.load
    return Step(oven_off_key(key, load.number), StepKind.OVEN_OFF, key, load.out_at, load=load.number)


def _turned(baking: Baking) -> Iterator[Step]:
    """Where a recipe turns the oven up or down with the bread in it."""
    bake, load, key = baking.dough.recipe.bake, baking.load, baking.dough.key
    before_c = baking.oven_c
    for number, step in enumerate(() if bake is None else bake.steps, start=1):
        if step.oven_c is None or step.oven_c == before_c:
            continue
        kind = StepKind.OVEN_UP if step.oven_c > before_c else StepKind.OVEN_DOWN
        at = load.in_at + timedelta(minutes=step.after_min)
        yield Step(f"{key}/load {load.number}/turn {number}", kind, key, at, load=load.number, oven_c=step.oven_c)
        before_c = step.oven_c


def _between(last: Baking | None, to: Baking) -> Iterator[Step]:
    """What is done to the oven between one load and the next."""
    in_at, number = to.load.in_at, to.load.number
    key = to.dough.key
    step_key, load = (oven_key(key), None) if number == 1 else (f"{key}/load {number}/oven", number)
    if last is None or in_at - last.load.out_at > timedelta(minutes=longest_idle_min(to.preheat_min)):
        if last is not None:
            yield _off(last)
        on_at = to.dough.oven_on_at if number == 1 else None
        yield Step(
            step_key, StepKind.OVEN_ON, key, on_at or in_at - timedelta(minutes=to.preheat_min), load=load
        )  # fmt: skip
        return
    change_min = heat_change_min(last.ends_c, to.oven_c, to.preheat_min)
    if change_min:
        is_up = to.oven_c > last.ends_c
        earliest_at: datetime = last.load.out_at
        at = max(earliest_at, in_at - timedelta(minutes=change_min)) if is_up else earliest_at
        yield Step(step_key, StepKind.OVEN_UP if is_up else StepKind.OVEN_DOWN, key, at, load=load)
