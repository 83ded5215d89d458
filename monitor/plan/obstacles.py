"""What stands in a plan's way, and in which minutes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from monitor.plan.orders import Prepared
from monitor.plan.problem import Question
from monitor.plan.solver import LOAD_HANDS_MIN
from monitor.plan.tasks import DoughTimes, Limit

Spans = list[tuple[str, int, int, int]]
"""(dough, from, to, how many), in minutes."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What stands in a plan's way.

    Attributes
    ----------
    limit
        Without this one alone there would be a plan.
    doughs
        Keys of whom it is about.
    load, stage
        Number of the load (from 1) or stage (from 0) it is about; None when it is about neither.
    from_at, to_at
        The minutes it is about.
    minutes
        By how much. [min]
    """

    limit: Limit
    doughs: tuple[str, ...]
    from_at: datetime
    to_at: datetime
    minutes: float
    load: int | None = None
    stage: int | None = None
    place: str = ""


def _end(dough: Prepared, times: DoughTimes) -> int:
    bake = dough.recipe.bake
    return times.taken[-1] if bake is None else times.loaded[-1] + round(bake.minutes)


def _too_late(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    found = []
    for dough, each in zip(question.doughs, times, strict=True):
        wanted_at = dough.order.wanted_at
        end_at = question.at(_end(dough, each))
        if wanted_at is not None and end_at > wanted_at:
            over_min = (end_at - wanted_at).total_seconds() / 60.0
            found.append(Obstacle(Limit.TIME, (dough.key,), wanted_at, end_at, over_min))
    return found


def _closed(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    found = []
    for dough, each in zip(question.doughs, times, strict=True):
        for number, (late, loaded) in enumerate(zip(each.late_loads, each.loaded, strict=True), start=1):
            if late:
                closed_at = question.at(loaded - late)
                found.append(
                    Obstacle(Limit.WINDOW, (dough.key,), closed_at, question.at(loaded), float(late), load=number)
                )
        taken_on = [before for befores in dough.follows for before in befores]
        for before, late in zip(taken_on, each.late_stages, strict=True):
            if late:
                closes = each.begins[before] + round(dough.foretold[before].closes_min)
                found.append(
                    Obstacle(
                        Limit.WINDOW, (dough.key,), question.at(closes), question.at(closes + late), float(late),
                        stage=before,
                    )
                )  # fmt: skip
    return found


def _hands(question: Question, times: tuple[DoughTimes, ...]) -> Spans:
    """(dough, from, to, how many) of all work, in minutes."""
    found = []
    for dough, each in zip(question.doughs, times, strict=True):
        last = len(dough.recipe.method) - 1
        for number, stage in enumerate(dough.recipe.method):
            end = each.shaped[-1] if number == last and each.shaped else each.hands[number] + round(stage.hands_min)
            found.append((dough.key, each.hands[number], end, 1))
        found += [(dough.key, at, at + LOAD_HANDS_MIN, 1) for at in each.loaded]
    return found


def _mixing(question: Question, times: tuple[DoughTimes, ...]) -> Spans:
    return [
        (dough.key, at, at + round(stage.mixer_min), 1)
        for dough, each in zip(question.doughs, times, strict=True)
        for stage, at in zip(dough.recipe.method, each.hands, strict=True)
    ]


def _standing(question: Question, times: tuple[DoughTimes, ...], place: str) -> Spans:
    found = []
    for dough, each, task in zip(question.doughs, times, question.tasks(), strict=True):
        for stage, begins, taken in zip(task.stages, each.begins, each.taken, strict=True):
            for stand in stage.stands:
                if stand.place == place:
                    to = taken if stand.to_min is None else begins + stand.to_min
                    found.append((dough.key, begins + stand.from_min, to, stand.takes))
    return found


def _crowded(question: Question, limit: Limit, spans: Spans, holds: int, place: str = "") -> list[Obstacle]:
    """The first stretch of minutes in which more is needed than there is, as an obstacle; the number needed in it."""
    edges = sorted({edge for _, begin, end, _ in spans for edge in (begin, end)})
    worst: list[Obstacle] = []
    for begin, end in pairwise(edges):
        at_work = [(key, n) for key, start, stop, n in spans if start <= begin and stop >= end and stop > start]
        if sum(n for _, n in at_work) > holds:
            keys = tuple(dict.fromkeys(key for key, _ in at_work))
            if worst and worst[-1].to_at == question.at(begin):
                merged = tuple(dict.fromkeys((*worst[-1].doughs, *keys)))
                worst[-1] = replace(
                    worst[-1], doughs=merged, to_at=question.at(end), minutes=worst[-1].minutes + end - begin
                )
            else:
                worst.append(
                    Obstacle(limit, keys, question.at(begin), question.at(end), float(end - begin), place=place)
                )
    return worst


def _people(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    return _crowded(question, Limit.PEOPLE, _hands(question, times), question.kitchen.people)


def _mixers(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    return _crowded(question, Limit.MIXER, _mixing(question, times), question.kitchen.mixers)


def _places(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    return [
        obstacle
        for place in question.kitchen.all_places
        if place.holds is not None
        for obstacle in _crowded(question, Limit.PLACE, _standing(question, times, place.name), place.holds, place.name)
    ]


def _baking(question: Question, times: tuple[DoughTimes, ...]) -> Spans:
    return [
        (dough.key, at, at + round(bake.minutes), 1)
        for dough, each in zip(question.doughs, times, strict=True)
        if (bake := dough.recipe.bake) is not None
        for at in each.loaded
    ]


def _ovens(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    return _crowded(question, Limit.OVEN, _baking(question, times), 1)


def _at_night(question: Question, times: tuple[DoughTimes, ...]) -> list[Obstacle]:
    found = []
    for begin, end in question.limits.nights:
        for key, start, stop, _ in _hands(question, times):
            if start < end and stop > begin:
                found.append(Obstacle(Limit.HOURS, (key,), question.at(start), question.at(stop), float(stop - start)))
    return found


OBSTACLES: dict[Limit, Callable[[Question, tuple[DoughTimes, ...]], list[Obstacle]]] = {
    Limit.TIME: _too_late,
    Limit.WINDOW: _closed,
    Limit.PEOPLE: _people,
    Limit.HOURS: _at_night,
    Limit.MIXER: _mixers,
    Limit.PLACE: _places,
    Limit.OVEN: _ovens,
}
