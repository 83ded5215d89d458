"""What no plan may do, told from its steps alone: what the tests of made and of random days hold it to."""

from collections.abc import Iterator
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise

from monitor.plan.day import HEATING, DoughPlan, Plan, StepKind, steps_of
from monitor.plan.orders import predecessors_of
from monitor.plan.steps import steps
from monitor.recipe.method import Bake

MINUTE = timedelta(minutes=1)
LONGEST_EMPTY = timedelta(minutes=180)  # the longest preheating there is; an oven that is empty for longer must be off


def most_at_once(spans: list[tuple[datetime, datetime]]) -> int:
    """The greatest number of spans that cover one moment."""
    return max((sum(a <= start < b for a, b in spans) for start, _ in spans), default=0)


def work(plan: Plan) -> list[tuple[datetime, datetime]]:
    """All work of hands, as spans: the steps, and the folds while a stage stands."""
    spans = [(step.at, step.at + timedelta(minutes=step.hands_min)) for step in steps(plan) if step.hands_min]
    for dough in plan.doughs:
        for stage in dough.stages:
            for step in dough.method(stage).steps:
                begun = [stage.at(after_min) for after_min in step.after_min if stage.at(after_min) < stage.ready_at]
                spans += [(at, at + timedelta(minutes=step.hands_min)) for at in begun]
    return spans


def broken_rules(plan: Plan, zone: tzinfo) -> list[str]:
    """Every rule that a plan breaks, in words; empty when it keeps them all."""
    return [*_hands(plan, zone), *_oven(plan), *(each for dough in plan.doughs for each in _order(dough))]


def _hands(plan: Plan, zone: tzinfo) -> Iterator[str]:
    kitchen, spans = plan.kitchen, work(plan)
    if most_at_once(spans) > kitchen.people:
        yield "hands are doubled"
    touched = [*spans, *((step.at, step.at) for step in steps(plan) if step.kind is StepKind.OVEN_ON)]
    for start, end in touched:
        if start < plan.made_at.replace(second=0, microsecond=0):
            yield f"work at {start} before the plan was made"
        if kitchen.hands_from is None or kitchen.hands_until is None:
            continue
        first, last = start.astimezone(zone), end.astimezone(zone)
        is_open = kitchen.hands_from <= first.time() <= last.time() <= kitchen.hands_until
        if first.date() != last.date() or not is_open:
            yield f"work at {start} when nobody is there"


def heats_of(bake: Bake) -> tuple[float, ...]:
    """Each heat that a bread is baked at, in order. [C]"""
    return (bake.oven_c, *(step.oven_c for step in bake.steps if step.oven_c is not None))


def _oven(plan: Plan) -> Iterator[str]:
    for oven in plan.kitchen.all_ovens:
        baked = [
            (load.in_at, load.out_at, heats_of(dough.recipe.bake))
            for dough in plan.doughs
            for load in dough.loads
            if load.oven == oven.name and dough.recipe.bake is not None
        ]
        baked.sort()
        if most_at_once([(start, end) for start, end, _ in baked]) > oven.decks:
            yield f"too many loads in {oven.name!r}"
        for number, (start, end, temps_c) in enumerate(baked):
            for start_2, end_2, temps_2_c in baked[number + 1 :]:
                both = (*temps_c, *temps_2_c)
                if start_2 < end and end_2 > start and max(both) - min(both) > 10.0:
                    yield f"{oven.name!r} at {temps_c} and {temps_2_c} C at {start_2}"
                falls_c = temps_c[-1] - temps_2_c[0]
                if start_2 >= end and falls_c > 10.0 and start_2 - end < falls_c / 2 * MINUTE:
                    yield f"{oven.name!r} cannot have fallen from {temps_c} to {temps_2_c} C by {start_2}"
        heats = [
            step
            for step in steps(plan)
            if step.kind in (*HEATING, StepKind.OVEN_OFF)
            and plan.dough(step.dough).loads[(step.load or 1) - 1].oven == oven.name
        ]
        if heats and (heats[0].kind is not StepKind.OVEN_ON or heats[-1].kind is not StepKind.OVEN_OFF):
            yield f"{oven.name!r} is not turned on first and off last"
        for before, after in pairwise(heats):
            if (before.kind is StepKind.OVEN_OFF) != (after.kind is StepKind.OVEN_ON):
                yield f"{oven.name!r}: {before.kind} then {after.kind} at {after.at}"
        changes = [step for step in heats if step.kind in (StepKind.OVEN_UP, StepKind.OVEN_DOWN)]
        for step in changes:
            if step.oven_c is not None:  # the recipe's own, with its bread in it
                continue
            bake = plan.dough(step.dough).recipe.bake
            for start, end, temps_c in baked:
                if start < step.at < end and bake is not None and abs(temps_c[-1] - bake.oven_c) > 10.0:
                    yield f"{oven.name!r} goes to another heat at {step.at} with bread in it"
        end_at = None
        for start, end, _ in baked:
            has_gone_off = any(
                s.kind is StepKind.OVEN_OFF and end_at is not None and end_at <= s.at <= start for s in heats
            )
            if end_at is not None and start - end_at > LONGEST_EMPTY and not has_gone_off:
                yield f"{oven.name!r} is on and empty from {end_at} to {start}"
            end_at = end if end_at is None else max(end_at, end)


def _order(dough: DoughPlan) -> Iterator[str]:
    for number, befores in enumerate(predecessors_of(dough.recipe)):
        stage, hands = dough.stages[number], timedelta(minutes=dough.recipe.method[number].hands_min)
        for before in befores:
            earlier = dough.stages[before]
            ready_at = earlier.ready_at
            if ready_at is None or earlier.ends_at < ready_at:
                yield f"{dough.key}: stage {number} takes on what is not ready"
            if earlier.ends_at > max(earlier.closes_at, ready_at or earlier.closes_at) + hands + MINUTE:
                yield f"{dough.key}: stage {number} takes on what is over"
            if stage.hands_at + hands / 2 + MINUTE < earlier.ends_at:
                yield f"{dough.key}: stage {number} begins before what it needs"
    for load in dough.loads:
        if not load.opens_at <= load.in_at <= load.closes_at:
            yield f"{dough.key}: load {load.number} goes in outside its window"
        if not load.shaped_at <= load.opens_at:
            yield f"{dough.key}: load {load.number} is proofed before it is shaped"
    if dough.wanted_at is not None and dough.out_at > dough.wanted_at:
        yield f"{dough.key}: out at {dough.out_at}, wanted at {dough.wanted_at}"
    keys = [step.key for step in steps_of(dough)]
    if len(set(keys)) != len(keys):
        yield f"{dough.key}: two steps of one key"
