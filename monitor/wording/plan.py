"""In a baker's words: alternatives, what stands in a plan's way and what would mend it."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from monitor.plan.alternatives import Alternative, Variation
from monitor.plan.obstacles import Obstacle
from monitor.plan.planner import NoPlan
from monitor.plan.remedies import Mend, Mending
from monitor.plan.tasks import Limit
from monitor.recipe.parts import Recipe
from monitor.translatable import N_
from monitor.wording.phrases import in_place_text, printable, stage_word
from monitor.wording.plan_steps import minutes_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

NO_SINGLE_LIMIT = N_(
    "several limits stand in the way at once: with any one of them lifted there would still be no plan"
)


# -- why there is none ------------------------------------------------------------------------------------------------


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
        "end": clock_text(obstacle.to_at, reader, obstacle.from_at),
        "long": minutes_text(obstacle.minutes),
    }
    if obstacle.limit is Limit.WINDOW and obstacle.load is not None:
        return reader.say(_LOAD_TOO_LATE, load=obstacle.load, **holes)
    if obstacle.limit is Limit.WINDOW:
        stage = recipes[obstacle.doughs[0]].method[obstacle.stage or 0].stage
        return reader.say(_STAGE_TOO_LONG, stage=stage_word(stage, reader), **holes)
    if obstacle.limit is Limit.PLACE:
        return reader.say(_NO_ROOM, where=in_place_text(obstacle.place, reader), **holes)
    return reader.say(_LACKS[obstacle.limit], **holes)


_LOAD_TOO_LATE = N_(
    "load {load} of {who} must wait for the oven until {to_at}; it is good until {from_at}, "
    "so it would be {long} too late"
)
_STAGE_TOO_LONG = N_("the {stage} of {who} is good until {from_at} and would wait until {to_at}, {long} too long")
_NO_ROOM = N_("no room {where} from {from_at} to {end} ({long}): {who}")
_LACKS = {
    Limit.TIME: N_("too little time: {who} cannot be out by {from_at}; {to_at} is the earliest, {long} later"),
    Limit.HOURS: N_("no hands at that hour: {who} would need them from {from_at} to {end}"),
    Limit.PEOPLE: N_("too few hands from {from_at} to {end} ({long}): {who}"),
    Limit.MIXER: N_("too few mixers from {from_at} to {end} ({long}): {who}"),
    Limit.OVEN: N_("the oven is taken from {from_at} to {end} ({long}): {who}"),
}


def mend_sentence(mend: Mend, recipes: dict[str, Recipe], reader: Reader, now: datetime) -> str:
    """What would make the plan possible."""
    names = {key: recipe.name for key, recipe in recipes.items()}
    sentence = _MENDS[mend.kind]
    if mend.kind is Mending.MORE_OVEN and not mend.dough:
        sentence = _BAKE_EACH
    return reader.say(
        sentence,
        who=_who([mend.dough], names, reader) if mend.dough else "",
        when="" if mend.at is None else clock_text(mend.at, reader, now),
        long=minutes_text(mend.minutes),
        minutes=f"{mend.minutes:g}",
        n=mend.number,
        where=in_place_text(mend.place, reader) if mend.place else "",
    )


_BAKE_EACH = N_("bake {n} of each at once")
_MENDS = {
    Mending.LATER: N_("have {who} out {when}"),
    Mending.STAGGER: N_("shape each load of {who} {long} after the one before: stagger_min = {minutes}"),
    Mending.CHILL: (
        N_(
            "put the loads of {who} that wait in the refrigerator for their first {long}, for each load before them: "
            "chill_min = {minutes}"
        )
    ),
    Mending.MORE_PEOPLE: N_("have {n} people at work from {when}, for {long}"),
    Mending.MORE_MIXERS: N_("have {n} mixers from {when}, for {long}"),
    Mending.MORE_PLACES: N_("make room for {n} {where}"),
    Mending.MORE_OVEN: N_("bake {n} of {who} at once"),
    Mending.OTHER_HOURS: N_("have hands for {who} from {when}, for {long}"),
}


def no_plan_lines(found: NoPlan, recipes: dict[str, Recipe], reader: Reader, now: datetime) -> Iterator[str]:
    """Why there is no plan, and what would mend it, a line each."""
    if not found.obstacles:
        yield reader.say(NO_SINGLE_LIMIT)
    for obstacle in found.obstacles:
        yield obstacle_sentence(obstacle, recipes, reader, now)
    for mend in found.mends:
        yield reader.say("would do: {mend}", mend=mend_sentence(mend, recipes, reader, now))


# -- side by side -----------------------------------------------------------------------------------------------------


def variation_text(alternative: Alternative, reader: Reader) -> str:
    """What is made otherwise."""
    amount = alternative.amount
    if alternative.variation is Variation.YEAST:
        if amount in (0.5, 2.0):
            return reader.say(N_("half the yeast") if amount == 0.5 else N_("twice the yeast"))
        return reader.say("{times} x the yeast", times=f"{amount:g}".replace(".", reader.language.decimal))
    if alternative.variation is Variation.ROOM:
        degrees = f"{abs(amount) * (1.8 if reader.temp_unit == 'F' else 1.0):g} °{reader.temp_unit}"
        return reader.say(N_("room {degrees} warmer") if amount > 0.0 else N_("room {degrees} colder"), degrees=degrees)
    if alternative.variation is Variation.NIGHT:
        return reader.say("shaped, {time} in the refrigerator", time=duration_text(60.0 * amount))
    return reader.say("as written")


def alternative_row(
    alternative: Alternative, recipes: dict[str, Recipe], reader: Reader, now: datetime
) -> tuple[str, str, str, str]:
    """When it begins, when it is out, its doubt, and how long the loaves stay good; or why it makes no day."""
    dough = alternative.dough
    if dough is None:
        assert isinstance(alternative.plan, NoPlan)
        # That it would be possible later says less than what stands in the way at that hour.
        obstacles = sorted(alternative.plan.obstacles, key=lambda each: each.limit is Limit.TIME)
        reasons = [obstacle_sentence(each, recipes, reader, now) for each in obstacles]
        return "-", "-", "-", reasons[0] if reasons else reader.say(NO_SINGLE_LIMIT)
    early, late = (round(doubt.total_seconds() / 60.0) for doubt in dough.doubt)
    begins = clock_text(min(stage.hands_at for stage in dough.stages), reader, now)
    opens_at, closes_at = (
        (dough.loads[0].opens_at, dough.loads[0].closes_at)
        if dough.loads
        else (dough.stages[-1].ends_at, dough.stages[-1].closes_at)
    )
    good_min = (closes_at - opens_at).total_seconds() / 60.0
    doubt = f"-{duration_text(early)} +{duration_text(late)}"
    return (
        begins,
        clock_text(dough.out_at, reader, now),
        doubt,
        reader.say("good for {time}", time=minutes_text(good_min)),
    )
