"""A plan in a baker's words: steps, alternatives, what stands in the way and what would mend it."""

from collections.abc import Iterable, Iterator
from datetime import datetime, tzinfo

from monitor.bakery.phrases import clock_text, duration_text, printable, stage_word, temp_text
from monitor.plan.alternatives import Alternative, Variation
from monitor.plan.day import DoughPlan, Plan, Step, StepKind, steps
from monitor.plan.making import NoPlan
from monitor.plan.mends import Mend, Mending
from monitor.plan.reasons import Obstacle
from monitor.plan.tasks import Limit
from monitor.recipe.parts import Recipe

NO_SINGLE_LIMIT = "several limits stand in the way at once: with any one of them lifted there would still be no plan"


def minutes_text(minutes: float) -> str:
    """A span as a plan tells it: nothing shorter than a minute."""
    return duration_text(max(minutes, 1.0))


def step_text(dough: DoughPlan, step: Step) -> str:
    """What hands do in a step, without its time.

    For example ``shape it: final proof``, ``load 2 of 2 in``.
    """
    recipe = dough.recipe
    if step.stage is not None:
        method = recipe.method[step.stage]
        stage = f"{stage_word(method.stage)} begins"
        hands = f", {minutes_text(step.hands_min)} of hands" if step.hands_min > 0.0 else ""
        if step.kind is StepKind.MIX:
            return f"mix {printable(method.part)}{hands}; {stage}"
        if step.kind is StepKind.SHAPE:
            what = "divide and shape" if recipe.pieces > 1 else "shape it"
            return f"{what}{hands}; {stage}"
        if step.kind is StepKind.CHILL:
            return f"into the refrigerator; {stage}"
        return f"out of the refrigerator, into the {method.place}" if method.cold_h > 0.0 else f"to the {method.place}"
    if step.kind is StepKind.OVEN_ON:
        heat = "" if recipe.bake is None else f" to {temp_text(recipe.bake.oven_c)}"
        return f"oven on{heat}, the stone in it"
    n = len(dough.loads)
    which = f"load {step.load} of {n}" if n > 1 else "the bread" if recipe.pieces == 1 else "all of it"
    return {StepKind.LOAD: f"{which} in", StepKind.STEAM: f"steam for {which}", StepKind.OUT: f"{which} out"}[step.kind]


def step_lines(plan: Plan, zone: tzinfo, now: datetime) -> Iterator[str]:
    """Every step with its time, a line each; the day is said where it changes."""
    has_many = len(plan.doughs) > 1
    for step in steps(plan):
        dough = plan.dough(step.dough)
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        limit = "" if step.not_after is None else f" (by {clock_text(step.not_after, zone, step.at)} at the latest)"
        yield f"{clock_text(step.at, zone, now)}  {who}{step_text(dough, step)}{limit}"


def out_sentence(dough: DoughPlan, zone: tzinfo, now: datetime) -> str:
    """When it is out of the oven, and how far the dough may move that."""
    early, late = (doubt.total_seconds() / 60.0 for doubt in dough.doubt)
    done = "out of the oven" if dough.loads else "ready"
    return (
        f"{printable(dough.recipe.name)}: {done} {clock_text(dough.out_at, zone, now)}; by itself the dough may be "
        f"{minutes_text(early)} earlier or {minutes_text(late)} later, and the plan moves with it"
    )


def window_sentence(dough: DoughPlan, zone: tzinfo) -> str:
    """How long the loaves stay good, load by load; empty without a bake."""
    told = [
        f"load {load.number} is proofed {clock_text(load.opens_at, zone)} and good until "
        f"{clock_text(load.closes_at, zone, load.opens_at)}"
        for load in dough.loads
    ]
    return "; ".join(told).replace("load 1", "it") if len(told) == 1 else "; ".join(told)


# -- why there is none ------------------------------------------------------------------------------------------------


def _who(keys: Iterable[str], names: dict[str, str]) -> str:
    return " and ".join(printable(names.get(key, key)) for key in keys)


def _span(obstacle: Obstacle, zone: tzinfo, now: datetime) -> str:
    return f"from {clock_text(obstacle.from_at, zone, now)} to {clock_text(obstacle.to_at, zone, obstacle.from_at)}"


def obstacle_sentence(obstacle: Obstacle, recipes: dict[str, Recipe], zone: tzinfo, now: datetime) -> str:
    """What stands in the way, which minutes, and by how much."""
    names = {key: recipe.name for key, recipe in recipes.items()}
    who, span, long = _who(obstacle.doughs, names), _span(obstacle, zone, now), minutes_text(obstacle.minutes)
    first = obstacle.doughs[0]
    if obstacle.limit is Limit.TIME:
        return (
            f"too little time: {who} cannot be out by {clock_text(obstacle.from_at, zone, now)}; "
            f"{clock_text(obstacle.to_at, zone, now)} is the earliest, {long} later"
        )
    if obstacle.limit is Limit.WINDOW and obstacle.load is not None:
        return (
            f"load {obstacle.load} of {who} must wait for the oven until {clock_text(obstacle.to_at, zone, now)}; "
            f"it is good until {clock_text(obstacle.from_at, zone, now)}, so it would be {long} too late"
        )
    if obstacle.limit is Limit.WINDOW:
        stage = stage_word(recipes[first].method[obstacle.stage or 0].stage)
        return (
            f"the {stage} of {who} is good until {clock_text(obstacle.from_at, zone, now)} and would wait until "
            f"{clock_text(obstacle.to_at, zone, now)}, {long} too long"
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


def mend_sentence(mend: Mend, recipes: dict[str, Recipe], zone: tzinfo, now: datetime) -> str:
    """What would make the plan possible."""
    who = _who([mend.dough], {key: recipe.name for key, recipe in recipes.items()}) if mend.dough else ""
    long = minutes_text(mend.minutes)
    when = "" if mend.at is None else clock_text(mend.at, zone, now)
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


def no_plan_lines(found: NoPlan, recipes: dict[str, Recipe], zone: tzinfo, now: datetime) -> Iterator[str]:
    """Why there is no plan, and what would mend it, a line each."""
    if not found.obstacles:
        yield NO_SINGLE_LIMIT
    for obstacle in found.obstacles:
        yield obstacle_sentence(obstacle, recipes, zone, now)
    for mend in found.mends:
        yield f"would do: {mend_sentence(mend, recipes, zone, now)}"


# -- side by side -----------------------------------------------------------------------------------------------------


def variation_text(alternative: Alternative, unit: str = "C") -> str:
    """What is made otherwise."""
    amount = alternative.amount
    if alternative.variation is Variation.YEAST:
        return "half the yeast" if amount == 0.5 else "twice the yeast" if amount == 2.0 else f"{amount:g} x the yeast"
    if alternative.variation is Variation.ROOM:
        degrees = abs(amount) * (1.8 if unit == "F" else 1.0)
        return f"room {degrees:g} °{unit} {'warmer' if amount > 0.0 else 'colder'}"
    if alternative.variation is Variation.NIGHT:
        return f"shaped, {duration_text(60.0 * amount)} in the refrigerator"
    return "as written"


def alternative_row(
    alternative: Alternative, recipes: dict[str, Recipe], zone: tzinfo, now: datetime
) -> tuple[str, str, str, str]:
    """When it begins, when it is out, its doubt, and how long the loaves stay good; or why it makes no day."""
    dough = alternative.dough
    if dough is None:
        assert isinstance(alternative.plan, NoPlan)
        # That it would be possible later says less than what stands in the way at that hour.
        obstacles = sorted(alternative.plan.obstacles, key=lambda each: each.limit is Limit.TIME)
        reasons = [obstacle_sentence(each, recipes, zone, now) for each in obstacles]
        return "-", "-", "-", reasons[0] if reasons else NO_SINGLE_LIMIT
    early, late = (round(doubt.total_seconds() / 60.0) for doubt in dough.doubt)
    begins = clock_text(min(stage.hands_at for stage in dough.stages), zone, now)
    opens_at, closes_at = (
        (dough.loads[0].opens_at, dough.loads[0].closes_at)
        if dough.loads
        else (dough.stages[-1].ends_at, dough.stages[-1].closes_at)
    )
    good_min = (closes_at - opens_at).total_seconds() / 60.0
    doubt = f"-{duration_text(early)} +{duration_text(late)}"
    return begins, clock_text(dough.out_at, zone, now), doubt, f"good for {minutes_text(good_min)}"
