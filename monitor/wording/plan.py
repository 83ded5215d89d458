"""A plan in a baker's words: its steps, when it is out, what stands in its way, what would help, and alternatives."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time
from itertools import groupby
from typing import Literal, assert_never

from monitor.plan.day import DoughPlan, Plan, Step, StepKind, comes_out_of_cold, is_cold
from monitor.plan.obstacles import Alternative, NoPlan, Obstacle, Remedy, RemedyKind, Variation
from monitor.plan.orders import Limit
from monitor.plan.remarks import NIGHT_FROM, NIGHT_UNTIL, BakedLast, EarlyBread, NightWork, Remark
from monitor.plan.steps import steps
from monitor.recipe.parts import Recipe
from monitor.translatable import N_
from monitor.wording.phrases import in_place_text, into_place_text, oven_text, printable, stage_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_in_line, clock_text, dial_text, duration_text

MOST_TOLD = 3  # judgement: of one limit; a day of six breads breaks the night's rest twenty times


def minutes_text(minutes: float) -> str:
    """A span as a plan tells it: nothing shorter than a minute."""
    return duration_text(max(minutes, 1.0))


# -- steps ------------------------------------------------------------------------------------------------------------


def step_text(dough: DoughPlan, step: Step, reader: Reader) -> str:
    """What hands do in a step, without its time.

    For example ``shape it: final proof``, ``load 2 of 2 in``.
    """
    match step.kind:
        case StepKind.MIX | StepKind.SHAPE | StepKind.CHILL | StepKind.MOVE:
            return _stage_step_text(dough, step, step.kind, reader)
        case StepKind.OVEN_ON | StepKind.OVEN_UP | StepKind.OVEN_DOWN | StepKind.OVEN_OFF:
            return _oven_step_text(dough, step, step.kind, reader)
        case StepKind.LOAD | StepKind.STEAM | StepKind.OUT:
            return _load_step_text(dough, step, step.kind, reader)
        case _:
            assert_never(step.kind)


OvenStep = Literal[StepKind.OVEN_ON, StepKind.OVEN_UP, StepKind.OVEN_DOWN, StepKind.OVEN_OFF]


def _oven_step_text(dough: DoughPlan, step: Step, kind: OvenStep, reader: Reader) -> str:
    bake, load = dough.recipe.bake, dough.loads[(step.load or 1) - 1]
    oven = printable(load.oven) or reader.say("oven")
    temp = "" if bake is None else oven_text(bake.oven_c if step.oven_c is None else step.oven_c, reader)
    match kind:
        case StepKind.OVEN_DOWN if step.oven_c is not None:
            return reader.say("{oven} down to {temp}, the bread in it", oven=oven, temp=temp)
        case StepKind.OVEN_ON:
            return reader.say("{oven} on to {temp}, the stone in it", oven=oven, temp=temp)
        case StepKind.OVEN_UP:
            return reader.say("{oven} up to {temp}", oven=oven, temp=temp)
        case StepKind.OVEN_DOWN:
            return reader.say("{oven} down to {temp}, its door ajar", oven=oven, temp=temp)
        case StepKind.OVEN_OFF:
            return reader.say("{oven} off", oven=oven)
        case _:
            assert_never(kind)


def done_word(kind: StepKind, reader: Reader) -> str:
    """What was done in a step, as a button says it."""
    match kind:
        case StepKind.MIX:
            return reader.say("Mixed")
        case StepKind.SHAPE:
            return reader.say("Shaped")
        case StepKind.CHILL:
            return reader.say("In the cold")
        case StepKind.MOVE:
            return reader.say("Moved")
        case StepKind.OVEN_ON:
            return reader.say("Oven is on")
        case StepKind.OVEN_UP | StepKind.OVEN_DOWN:
            return reader.say("Oven is set")
        case StepKind.OVEN_OFF:
            return reader.say("Oven is off")
        case StepKind.LOAD:
            return reader.say("Loaded")
        case StepKind.STEAM:
            return reader.say("Steam is given")
        case StepKind.OUT:
            return reader.say("It is out")
        case _:
            assert_never(kind)


LoadStep = Literal[StepKind.LOAD, StepKind.STEAM, StepKind.OUT]


def _load_step_text(dough: DoughPlan, step: Step, kind: LoadStep, reader: Reader) -> str:
    load, n = step.load, len(dough.loads)
    if n > 1:
        match kind:
            case StepKind.LOAD:
                return reader.say("load {load} of {n} in", load=load, n=n)
            case StepKind.STEAM:
                return reader.say("steam for load {load} of {n}", load=load, n=n)
            case StepKind.OUT:
                return reader.say("load {load} of {n} out", load=load, n=n)
    is_one = dough.recipe.pieces == 1
    match kind:
        case StepKind.LOAD:
            return reader.say(N_("the bread in") if is_one else N_("all of it in"))
        case StepKind.STEAM:
            return reader.say(N_("steam for the bread") if is_one else N_("steam for all of it"))
        case StepKind.OUT:
            return reader.say(N_("the bread out") if is_one else N_("all of it out"))


StageStep = Literal[StepKind.MIX, StepKind.SHAPE, StepKind.CHILL, StepKind.MOVE]


def _stage_step_text(dough: DoughPlan, step: Step, kind: StageStep, reader: Reader) -> str:
    if step.load is not None:
        where = into_place_text(dough.recipe.method[-1].place, reader)
        return reader.say(
            "load {load} of {n} out of the refrigerator, {where}", load=step.load, n=len(dough.loads), where=where
        )
    recipe, method = dough.recipe, dough.recipe.method[step.stage or 0]
    match kind:
        case StepKind.MIX:
            what = reader.say("mix {part}", part=printable(method.part))
        case StepKind.SHAPE:
            if is_cold(method):
                what = reader.say(
                    N_("divide and shape, then into the refrigerator")
                    if recipe.pieces > 1
                    else N_("shape it, then into the refrigerator")
                )
            else:
                what = reader.say(N_("divide and shape") if recipe.pieces > 1 else N_("shape it"))
        case StepKind.CHILL:
            what = reader.say(
                N_("into the refrigerator in bulk, undivided") if method.in_bulk else N_("into the refrigerator")
            )
        case StepKind.MOVE:
            where = into_place_text(method.place, reader)
            is_out = method.cold_h > 0.0 or comes_out_of_cold(recipe, step.stage or 0)
            return reader.say("out of the refrigerator, {where}", where=where) if is_out else where
    begins = reader.say("{stage} begins", stage=stage_word(method.stage, reader))
    if step.hands_min > 0.0 and kind is not StepKind.CHILL:
        rest_min = sum(each.rest_min for each in method.steps)
        time = minutes_text(step.hands_min)
        hands = reader.say("{time} of hands", time=time)
        if rest_min > 0.0:
            hands_min = minutes_text(step.hands_min - rest_min)
            hands = reader.say("{hands} of hands within {time}", hands=hands_min, time=time)
        return f"{what}, {hands}; {begins}"
    return f"{what}; {begins}"


def step_lines(plan: Plan, reader: Reader, now: datetime) -> Iterator[str]:
    """Every step with its time, a line each; the day is said where it changes."""
    has_many = len(plan.doughs) > 1
    for step in steps(plan):
        dough = plan.dough(step.dough)
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        limit = ""
        if step.not_after is not None:
            latest = clock_in_line(step.not_after, step.at, reader, now)
            limit = " (" + reader.say("by {at} at the latest", at=latest) + ")"
        yield f"{clock_text(step.at, reader, now)}  {who}{step_text(dough, step, reader)}{limit}"


def out_sentence(dough: DoughPlan, reader: Reader, now: datetime) -> str:
    """When it is out of the oven, and how far the dough may move that."""
    holes = {"dough": printable(dough.recipe.name), "at": clock_text(dough.out_at, reader, now)}
    if not any(dough.doubt):
        return reader.say(
            N_("{dough}: out of the oven {at}; all of it goes by the clock")
            if dough.loads
            else N_("{dough}: ready {at}; all of it goes by the clock"),
            **holes,
        )
    early, late = (minutes_text(doubt.total_seconds() / 60.0) for doubt in dough.doubt)
    return reader.say(
        N_(
            "{dough}: out of the oven {at}; by itself the dough may be {early} earlier or {late} later, "
            "and the plan moves with it"
        )
        if dough.loads
        else N_(
            "{dough}: ready {at}; by itself the dough may be {early} earlier or {late} later, "
            "and the plan moves with it"
        ),
        early=early,
        late=late,
        **holes,
    )


def clock_sentences(dough: DoughPlan, reader: Reader) -> Iterator[str]:
    """What each stage by the clock may do in its hours, in doubt as the dough is."""
    for stage in dough.stages:
        does, method = stage.forecast.does, dough.method(stage)
        if does.p05 is None or does.p95 is None or method.hours is None:
            continue
        yield reader.say(
            "{dough}: the {stage} of {part} goes by the clock; in {time} it may do what usually takes {less} to {more}",
            dough=printable(dough.recipe.name),
            stage=stage_word(method.stage, reader),
            part=printable(method.part),
            time=duration_text(60.0 * method.hours),
            less=duration_text(does.p05),
            more=duration_text(does.p95),
        )


# -- before it is kept ------------------------------------------------------------------------------------------------


def _hour(clock: time, reader: Reader) -> str:
    return dial_text(datetime.combine(date.min, clock), reader)


def _outs(outs: Iterable[tuple[str, datetime]], plan: Plan, reader: Reader, now: datetime) -> str:
    """Doughs, each with the hour at which it is out."""
    return "; ".join(
        reader.say("{dough} out {at}", dough=printable(plan.dough(key).recipe.name), at=clock_text(at, reader, now))
        for key, at in outs
    )


def remark_sentence(remark: Remark, plan: Plan, reader: Reader, now: datetime) -> str:
    """What a baker must know of a plan before it is kept."""
    match remark:
        case EarlyBread():
            holes = {
                "dough": printable(plan.dough(remark.dough).recipe.name),
                "early": duration_text((remark.wanted_at - remark.out_at).total_seconds() / 60.0),
                "out": clock_text(remark.out_at, reader, now),
                "wanted": clock_text(remark.wanted_at, reader, now),
            }
            if remark.fresh_at is None:
                return reader.say("{dough} is {early} early: out {out}, wanted {wanted}", **holes)
            return reader.say(
                "{dough} is {early} early: out {out}, wanted {wanted}; no earlier than that, it is out {fresh}",
                fresh=clock_in_line(remark.fresh_at, remark.wanted_at, reader, now),
                **holes,
            )
        case NightWork():
            hands = ", ".join(clock_text(at, reader, now) for at in remark.hands_at)
            night = {"hands": hands, "until": _hour(NIGHT_UNTIL, reader), "from_hour": _hour(NIGHT_FROM, reader)}
            if not remark.out_at:
                return reader.say(
                    "night work: hands {hands}; for nobody between {from_hour} and {until} there is no plan", **night
                )
            outs = _outs(remark.out_at, plan, reader, now)
            if remark.instead:
                return reader.say(
                    "night work: hands {hands}; for nobody between {from_hour} and {until} it would be: {outs}; "
                    "in another order one of these in its place: {instead}",
                    outs=outs,
                    instead=_outs(remark.instead, plan, reader, now),
                    **night,
                )
            return reader.say(
                "night work: hands {hands}; for nobody between {from_hour} and {until} it would be: {outs}",
                outs=outs,
                **night,
            )
        case BakedLast():
            holes = {
                "dough": printable(plan.dough(remark.dough).recipe.name),
                "out": clock_text(remark.out_at, reader, now),
            }
            if not remark.early:
                return reader.say("another order: baked last, {dough} is out {out}, and nothing far too early", **holes)
            early = _outs(remark.early, plan, reader, now)
            return reader.say("another order: baked last, {dough} is out {out}; then {early}", early=early, **holes)
        case _:
            assert_never(remark)


def window_sentence(dough: DoughPlan, reader: Reader, now: datetime) -> str:
    """How long the loaves stay good, load by load; empty without a bake."""
    is_one = len(dough.loads) == 1
    return "; ".join(
        reader.say(
            N_("it is proofed {opens} and good until {closes}")
            if is_one
            else N_("load {load} is proofed {opens} and good until {closes}"),
            load=load.number,
            opens=clock_text(load.opens_at, reader, now),
            closes=clock_in_line(load.closes_at, load.opens_at, reader, now),
        )
        for load in dough.loads
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


def _no_single_limit(reader: Reader) -> str:
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
        yield _no_single_limit(reader)
    for what in _obstacle_lines(found.nearest, recipes, reader, now):
        yield reader.say("the nearest plan: {what}", what=what)
    yield from _obstacle_lines(found.obstacles, recipes, reader, now)
    for remedy in found.remedies:
        yield reader.say("would do: {remedy}", remedy=remedy_sentence(remedy, recipes, reader, now))


# -- side by side -----------------------------------------------------------------------------------------------------


def variation_text(alternative: Alternative, reader: Reader) -> str:
    """What is made otherwise."""
    amount = alternative.amount
    match alternative.variation:
        case Variation.AS_WRITTEN:
            return reader.say("as written")
        case Variation.YEAST if amount in (0.5, 2.0):
            return reader.say(N_("half the yeast") if amount == 0.5 else N_("twice the yeast"))
        case Variation.YEAST:
            return reader.say("{times} x the yeast", times=f"{amount:g}".replace(".", reader.language.decimal))
        case Variation.ROOM:
            degrees = f"{abs(amount) * (1.8 if reader.temp_unit == 'F' else 1.0):g} °{reader.temp_unit}"
            return reader.say(
                N_("room {degrees} warmer") if amount > 0.0 else N_("room {degrees} colder"), degrees=degrees
            )
        case Variation.HOUR:
            return reader.say("out no earlier than its hour")
        case Variation.NIGHT:
            return reader.say("shaped, {time} in the refrigerator", time=duration_text(60.0 * amount))
        case _:
            assert_never(alternative.variation)


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
        return "-", "-", "-", reasons[0] if reasons else _no_single_limit(reader)
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
