"""What would make a plan possible: each thing is tried before it is said."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from monitor.plan.obstacles import Obstacle
from monitor.plan.problem import Question
from monitor.plan.tasks import Limit

CHILL_STEPS_MIN = (15.0, 30.0, 45.0, 60.0, 90.0)  # judgement: what one would do with a loaf that must wait
MOST_MORE = 20  # places more than there are: beyond, nobody builds a cabinet for one plan


class Mending(StrEnum):
    """What would make a plan possible."""

    LATER = "later"
    STAGGER = "stagger"
    CHILL = "chill"
    MORE_PEOPLE = "more people"
    MORE_MIXERS = "more mixers"
    MORE_PLACES = "more places"
    MORE_OVEN = "more oven"
    OTHER_HOURS = "other hours"


@dataclass(frozen=True, slots=True)
class Mend:
    """One thing that would make the plan possible: the solver has tried it.

    Attributes
    ----------
    minutes
        Of staggering or chilling, or by how much later. [min]
    at
        The moment it is about, if it is about one.
    number
        Of people, mixers, places or pieces at once that would do.
    """

    kind: Mending
    dough: str = ""
    minutes: float = 0.0
    at: datetime | None = None
    number: int = 0
    place: str = ""


def _later(question: Question, found: list[Obstacle]) -> list[Mend]:
    return [Mend(Mending.LATER, each.doughs[0], each.minutes, each.to_at) for each in found]


def _wait_better(question: Question, found: list[Obstacle]) -> list[Mend]:
    """Loaves that wait: shaped later, or chilled at first; each tried."""
    mends = []
    for key in dict.fromkeys(each.doughs[0] for each in found if each.load is not None):
        mends += [*_staggered(question, key), *_chilled(question, key)]
    return mends


def _staggered(question: Question, key: str) -> list[Mend]:
    times = question.tried(can_stagger=True)
    if times is None:
        return []
    number = [each.key for each in question.doughs].index(key)
    task, found = question.tasks()[number], times[number]
    hands, n = task.stages[-1].hands, len(found.shaped)
    shares = [hands * (i + 1) // n - hands * i // n for i in range(n)]
    gaps = [found.shaped[i] - found.shaped[i - 1] - shares[i] for i in range(1, n)]
    return [Mend(Mending.STAGGER, key, float(max(gaps)))] if gaps and max(gaps) > 0 else []


def _chilled(question: Question, key: str) -> list[Mend]:
    for minutes in CHILL_STEPS_MIN:
        if question.with_bake(key, chill_min=minutes).tried() is not None:
            return [Mend(Mending.CHILL, key, minutes)]
    return []


def _more_people(question: Question, found: list[Obstacle]) -> list[Mend]:
    number = question.kitchen.people + 1
    if question.with_kitchen(replace(question.kitchen, people=number)).tried() is None:
        return []
    return [Mend(Mending.MORE_PEOPLE, at=found[0].from_at, minutes=found[0].minutes, number=number)]


def _more_mixers(question: Question, found: list[Obstacle]) -> list[Mend]:
    number = question.kitchen.mixers + 1
    if question.with_kitchen(replace(question.kitchen, mixers=number)).tried() is None:
        return []
    return [Mend(Mending.MORE_MIXERS, at=found[0].from_at, minutes=found[0].minutes, number=number)]


def _more_places(question: Question, found: list[Obstacle]) -> list[Mend]:
    name = found[0].place
    holds = question.kitchen.place(name).holds or 0
    for number in range(holds + 1, holds + MOST_MORE):
        places = tuple(
            replace(each, holds=number) if each.name == name else each for each in question.kitchen.all_places
        )
        if question.with_kitchen(replace(question.kitchen, places=places)).tried() is not None:
            return [Mend(Mending.MORE_PLACES, at=found[0].from_at, number=number, place=name)]
    return []


def _more_oven(question: Question, found: list[Obstacle]) -> list[Mend]:
    """Room for all that bakes in the crowded minutes."""
    keys = tuple(dict.fromkeys(key for each in found for key in each.doughs))
    crowded = [dough for dough in question.doughs if dough.key in keys]
    held = min(max(pieces for _, pieces in dough.loads) for dough in crowded)
    for number in range(held + 1, max(dough.recipe.pieces for dough in crowded) + 1):
        roomier = question
        for key in keys:
            roomier = roomier.with_bake(key, at_once=number)
        if roomier.tried() is not None:
            return [Mend(Mending.MORE_OVEN, keys[0] if len(keys) == 1 else "", number=number)]
    return []


def _other_hours(question: Question, found: list[Obstacle]) -> list[Mend]:
    return [Mend(Mending.OTHER_HOURS, each.doughs[0], each.minutes, each.from_at) for each in found[:1]]


MENDS: dict[Limit, Callable[[Question, list[Obstacle]], list[Mend]]] = {
    Limit.TIME: _later,
    Limit.WINDOW: _wait_better,
    Limit.PEOPLE: _more_people,
    Limit.HOURS: _other_hours,
    Limit.MIXER: _more_mixers,
    Limit.PLACE: _more_places,
    Limit.OVEN: _more_oven,
}
