"""In a baker's words: alternatives, what stands in a plan's way and what would mend it."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from monitor.bakery.manner import Manner
from monitor.bakery.phrases import clock_text, duration_text, printable, stage_word
from monitor.plan.alternatives import Alternative, Variation
from monitor.plan.making import NoPlan
from monitor.plan.mends import Mend, Mending
from monitor.plan.reasons import Obstacle
from monitor.plan.step_words import minutes_text
from monitor.plan.tasks import Limit
from monitor.recipe.parts import Recipe

NO_SINGLE_LIMIT = "several limits stand in the way at once: with any one of them lifted there would still be no plan"


# -- why there is none ------------------------------------------------------------------------------------------------


def _who(keys: Iterable[str], names: dict[str, str]) -> str:
    return " and ".join(printable(names.get(key, key)) for key in keys)


def _span(obstacle: Obstacle, manner: Manner, now: datetime) -> str:
    return f"from {clock_text(obstacle.from_at, manner, now)} to {clock_text(obstacle.to_at, manner, obstacle.from_at)}"


def obstacle_sentence(obstacle: Obstacle, recipes: dict[str, Recipe], manner: Manner, now: datetime) -> str:
    """What stands in the way, which minutes, and by how much."""
    names = {key: recipe.name for key, recipe in recipes.items()}
    who, span, long = _who(obstacle.doughs, names), _span(obstacle, manner, now), minutes_text(obstacle.minutes)
    first = obstacle.doughs[0]
    if obstacle.limit is Limit.TIME:
        return (
            f"too little time: {who} cannot be out by {clock_text(obstacle.from_at, manner, now)}; "
            f"{clock_text(obstacle.to_at, manner, now)} is the earliest, {long} later"
        )
    if obstacle.limit is Limit.WINDOW and obstacle.load is not None:
        return (
            f"load {obstacle.load} of {who} must wait for the oven until {clock_text(obstacle.to_at, manner, now)}; "
            f"it is good until {clock_text(obstacle.from_at, manner, now)}, so it would be {long} too late"
        )
    if obstacle.limit is Limit.WINDOW:
        stage = stage_word(recipes[first].method[obstacle.stage or 0].stage, manner)
        return (
            f"the {stage} of {who} is good until {clock_text(obstacle.from_at, manner, now)} and would wait until "
            f"{clock_text(obstacle.to_at, manner, now)}, {long} too long"
        )
    if obstacle.limit is Limit.HOURS:
        return f"no hands at that hour: {who} would need them {span}"
    lack = {
        Limit.PEOPLE: "too few hands",
        Limit.MIXER: "too few mixers",
        Limit.PLACE: f"no room in the {printable(obstacle.place)}",
        Limit.OVEN: "the oven is taken",
    }[obstacle.limit]
    return f"{lack} {span} ({long}): {who}"


def mend_sentence(mend: Mend, recipes: dict[str, Recipe], manner: Manner, now: datetime) -> str:
    """What would make the plan possible."""
    who = _who([mend.dough], {key: recipe.name for key, recipe in recipes.items()}) if mend.dough else ""
    long = minutes_text(mend.minutes)
    when = "" if mend.at is None else clock_text(mend.at, manner, now)
    return {
        Mending.LATER: f"have {who} out {when}",
        Mending.STAGGER: f"shape each load of {who} {long} after the one before: stagger_min = {mend.minutes:g}",
        Mending.CHILL: (
            f"put the loads of {who} that wait in the refrigerator for their first {long}, for each load before "
            f"them: chill_min = {mend.minutes:g}"
        ),
        Mending.MORE_PEOPLE: f"have {mend.number} people at work from {when}, for {long}",
        Mending.MORE_MIXERS: f"have {mend.number} mixers from {when}, for {long}",
        Mending.MORE_PLACES: f"make room for {mend.number} in the {printable(mend.place)}",
        Mending.MORE_OVEN: f"bake {mend.number} of {who or 'each'} at once",
        Mending.OTHER_HOURS: f"have hands for {who} from {when}, for {long}",
    }[mend.kind]


def no_plan_lines(found: NoPlan, recipes: dict[str, Recipe], manner: Manner, now: datetime) -> Iterator[str]:
    """Why there is no plan, and what would mend it, a line each."""
    if not found.obstacles:
        yield NO_SINGLE_LIMIT
    for obstacle in found.obstacles:
        yield obstacle_sentence(obstacle, recipes, manner, now)
    for mend in found.mends:
        yield f"would do: {mend_sentence(mend, recipes, manner, now)}"


# -- side by side -----------------------------------------------------------------------------------------------------


def variation_text(alternative: Alternative, manner: Manner) -> str:
    """What is made otherwise."""
    amount = alternative.amount
    if alternative.variation is Variation.YEAST:
        return "half the yeast" if amount == 0.5 else "twice the yeast" if amount == 2.0 else f"{amount:g} x the yeast"
    if alternative.variation is Variation.ROOM:
        degrees = abs(amount) * (1.8 if manner.temp_unit == "F" else 1.0)
        return f"room {degrees:g} °{manner.temp_unit} {'warmer' if amount > 0.0 else 'colder'}"
    if alternative.variation is Variation.NIGHT:
        return f"shaped, {duration_text(60.0 * amount)} in the refrigerator"
    return "as written"


def alternative_row(
    alternative: Alternative, recipes: dict[str, Recipe], manner: Manner, now: datetime
) -> tuple[str, str, str, str]:
    """When it begins, when it is out, its doubt, and how long the loaves stay good; or why it makes no day."""
    dough = alternative.dough
    if dough is None:
        assert isinstance(alternative.plan, NoPlan)
        # That it would be possible later says less than what stands in the way at that hour.
        obstacles = sorted(alternative.plan.obstacles, key=lambda each: each.limit is Limit.TIME)
        reasons = [obstacle_sentence(each, recipes, manner, now) for each in obstacles]
        return "-", "-", "-", reasons[0] if reasons else NO_SINGLE_LIMIT
    early, late = (round(doubt.total_seconds() / 60.0) for doubt in dough.doubt)
    begins = clock_text(min(stage.hands_at for stage in dough.stages), manner, now)
    opens_at, closes_at = (
        (dough.loads[0].opens_at, dough.loads[0].closes_at)
        if dough.loads
        else (dough.stages[-1].ends_at, dough.stages[-1].closes_at)
    )
    good_min = (closes_at - opens_at).total_seconds() / 60.0
    doubt = f"-{duration_text(early)} +{duration_text(late)}"
    return begins, clock_text(dough.out_at, manner, now), doubt, f"good for {minutes_text(good_min)}"
