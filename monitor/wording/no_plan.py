"""Why there is no plan, in a baker's words: what stands in its way, what would help."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import groupby
from typing import assert_never

from monitor.plan.obstacles import NoPlan, Obstacle, Remedy, RemedyKind
from monitor.plan.orders import Limit
from monitor.recipe.parts import Recipe
from monitor.wording.phrases import in_place_text, printable, stage_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_in_line, clock_text, minutes_text

MOST_TOLD = 3  # judgement: of one limit; a day of six breads breaks the night's rest twenty times


def _who(keys: Iterable[str], names: dict[str, str], reader: Reader) -> str:
    *first, last = (printable(names.get(key, key)) for key in keys)
    return reader.say("{several} and {last}", several=", ".join(first), last=last) if first else last


def obstacle_sentence(obstacle: Obstacle, recipes: dict[str, Recipe], reader: Reader, now: datetime) -> str:
    """What stands in the way, which minutes, and by how much."""
    names = {key: recipe.name for key, recipe in recipes.items()}
    holes = {
        "who": _who(obstacle.doughs, names, reader),
        "from_at": clock_text(obstacle.from_at, reader, now),
        "to_at": clock_text(obstacle.to_at, reader, now),
        "end": clock_in_line(obstacle.to_at, obstacle.from_at, reader, now),
        "long": minutes_text(obstacle.minutes),
    }
    match obstacle.limit:
        case Limit.TIME:
            return reader.say(
                "too little time: {who} cannot be out by {from_at}; {to_at} is the earliest, {long} later", **holes
            )
        case Limit.WINDOW if obstacle.load is not None:
            return reader.say(
                "load {load} of {who} must wait for the oven until {to_at}; it is good until {from_at}, "
                "so it would be {long} too late",
                load=obstacle.load,
                **holes,
            )
        case Limit.WINDOW:
            stage = recipes[obstacle.doughs[0]].method[obstacle.stage or 0].stage
            return reader.say(
                "the {stage} of {who} is good until {from_at} and would wait until {to_at}, {long} too long",
                stage=stage_word(stage, reader),
                **holes,
            )
        case Limit.PEOPLE:
            return reader.say("too few hands from {from_at} to {end} ({long}): {who}", **holes)
        case Limit.HOURS:
            return reader.say("no hands at that hour: {who} would need them from {from_at} to {end}", **holes)
        case Limit.MIXER:
            return reader.say("too few mixers from {from_at} to {end} ({long}): {who}", **holes)
        case Limit.PLACE:
            where = in_place_text(obstacle.place, reader)
            return reader.say("no room {where} from {from_at} to {end} ({long}): {who}", where=where, **holes)
        case Limit.OVEN:
            return reader.say("the oven is taken from {from_at} to {end} ({long}): {who}", **holes)
        case _:
            assert_never(obstacle.limit)


def remedy_sentence(remedy: Remedy, recipes: dict[str, Recipe], reader: Reader, now: datetime) -> str:
    """What would make the plan possible."""
    names = {key: recipe.name for key, recipe in recipes.items()}
    who = _who([remedy.dough], names, reader) if remedy.dough else ""
    when = "" if remedy.at is None else clock_text(remedy.at, reader, now)
    hour = "" if remedy.at is None else clock_text(remedy.at, reader)
    long, minutes = minutes_text(remedy.minutes), f"{remedy.minutes:g}"
    match remedy.kind:
        case RemedyKind.LATER:
            return reader.say("have {who} out {when}", who=who, when=when)
        case RemedyKind.OTHER_ORDER:
            return reader.say(
                "another order: {who} last, out {when} and so {long} late, all else by its hour",
                who=who,
                when=when,
                long=long,
            )
        case RemedyKind.STAGGER:
            return reader.say(
                "shape each load of {who} {long} after the one before: stagger_min = {minutes}",
                who=who,
                long=long,
                minutes=minutes,
            )
        case RemedyKind.CHILL:
            return reader.say(
                "put the loads of {who} that wait in the refrigerator for their first {long}, for each load before "
                "them: chill_min = {minutes}",
                who=who,
                long=long,
                minutes=minutes,
            )
        case RemedyKind.MORE_PEOPLE:
            return reader.say("have {n} people at work from {when}, for {long}", n=remedy.number, when=when, long=long)
        case RemedyKind.MORE_MIXERS:
            return reader.say("have {n} mixers from {when}, for {long}", n=remedy.number, when=when, long=long)
        case RemedyKind.MORE_PLACES:
            return reader.say("make room for {n} {where}", n=remedy.number, where=in_place_text(remedy.place, reader))
        case RemedyKind.MORE_OVEN if not remedy.dough:
            return reader.say("bake {n} of each at once", n=remedy.number)
        case RemedyKind.MORE_OVEN:
            return reader.say("bake {n} of {who} at once", n=remedy.number, who=who)
        case RemedyKind.OPEN_EARLIER:
            return reader.say("have hands from {hour} on, each day", hour=hour)
        case RemedyKind.CLOSE_LATER:
            return reader.say("have hands until {hour}, each day", hour=hour)
        case RemedyKind.OTHER_HOURS if not remedy.dough:
            return reader.say("have hands from {when}, for {long}", when=when, long=long)
        case RemedyKind.OTHER_HOURS:
            return reader.say("have hands for {who} from {when}, for {long}", who=who, when=when, long=long)
        case _:
            assert_never(remedy.kind)


def no_single_limit(reader: Reader) -> str:
    """Why, where no limit alone stands in the way."""
    return reader.say(
        "several limits stand in the way at once: with any one of them lifted there would still be no plan"
    )


def _obstacle_lines(
    obstacles: tuple[Obstacle, ...], recipes: dict[str, Recipe], reader: Reader, now: datetime
) -> Iterator[str]:
    """What stands in the way: of each limit the worst, and how many more there are."""
    for limit, mine in groupby(obstacles, key=lambda each: each.limit):
        worst = sorted(mine, key=lambda each: -each.minutes)
        told, rest = worst[:MOST_TOLD], worst[MOST_TOLD:]
        for obstacle in told:
            yield obstacle_sentence(obstacle, recipes, reader, now)
        if not rest:
            continue
        from_at, to_at = min(each.from_at for each in worst), max(each.to_at for each in worst)
        span = {"from_at": clock_text(from_at, reader, now), "to_at": clock_in_line(to_at, from_at, reader, now)}
        if limit is Limit.HOURS:
            yield reader.count(
                len(worst),
                "{n} time in all there would be work with no hands, from {from_at} to {to_at}",
                "{n} times in all there would be work with no hands, from {from_at} to {to_at}",
                **span,
            )
        else:
            yield reader.count(
                len(rest),
                "{n} more like these, from {from_at} to {to_at} in all",
                "{n} more like these, from {from_at} to {to_at} in all",
                **span,
            )


def no_plan_lines(found: NoPlan, recipes: dict[str, Recipe], reader: Reader, now: datetime) -> Iterator[str]:
    """Why there is no plan, and what would help, a line each."""
    if not found.obstacles:
        yield no_single_limit(reader)
    for what in _obstacle_lines(found.nearest, recipes, reader, now):
        yield reader.say("the nearest plan: {what}", what=what)
    yield from _obstacle_lines(found.obstacles, recipes, reader, now)
    for remedy in _remedy_lines(found.remedies, recipes, reader, now):
        yield reader.say("would do: {remedy}", remedy=remedy)


def _remedy_lines(
    remedies: tuple[Remedy, ...], recipes: dict[str, Recipe], reader: Reader, now: datetime
) -> Iterator[str]:
    """What would help; hours of several breads help together only."""
    later = [remedy_sentence(each, recipes, reader, now) for each in remedies if each.kind is RemedyKind.LATER]
    if len(later) > 1:
        yield reader.say("all of these together: {several}", several="; ".join(later))
    for remedy in remedies:
        if remedy.kind is not RemedyKind.LATER or len(later) == 1:
            yield remedy_sentence(remedy, recipes, reader, now)
