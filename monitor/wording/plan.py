"""A plan in a baker's words: its steps, when it is out, what must be known of it, and alternatives."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time
from typing import Literal, assert_never

from monitor.plan.day import DoughPlan, Plan, Step, StepKind, comes_out_of_cold, is_cold
from monitor.plan.obstacles import Alternative, NoPlan, Variation
from monitor.plan.orders import Limit
from monitor.plan.recovery import recovery_min
from monitor.plan.remarks import BakedLast, EarlyBread, NightWork, NobodyThere, Remark, night_of
from monitor.plan.steps import FoldDue, with_folds
from monitor.recipe.parts import Recipe
from monitor.translatable import N_
from monitor.wording.no_plan import no_single_limit, obstacle_sentence
from monitor.wording.phrases import into_place_text, oven_text, printable, stage_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_in_line, clock_text, dial_text, duration_text, minutes_text

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


def fold_text(fold: FoldDue, reader: Reader) -> str:
    """A fold while a stage stands, without its time."""
    return reader.say("fold, {time} of hands", time=minutes_text(fold.hands_min))


def step_lines(plan: Plan, reader: Reader, now: datetime) -> Iterator[str]:
    """Every step and fold with its time, a line each; the day is said where it changes."""
    has_many = len(plan.doughs) > 1
    for step in with_folds(plan):
        dough = plan.dough(step.dough)
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        if isinstance(step, FoldDue):
            yield f"{clock_text(step.at, reader, now)}  {who}{fold_text(step, reader)}"
            continue
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


def recovery_sentences(plan: Plan, reader: Reader) -> Iterator[str]:
    """What each oven whose power is known needs after the loads of each dough."""
    for dough in plan.doughs:
        for load in {load.oven: load for load in reversed(dough.loads)}.values():
            oven = plan.kitchen.oven(load.oven)
            if oven.kw is None or oven.recover_min is not None or plan.kitchen.recover_min is not None:
                continue
            yield reader.say(
                "{oven} needs {time} after a load of {dough} ({kg} kg), by its power and stone",
                oven=printable(oven.name),
                time=minutes_text(recovery_min(plan.kitchen, oven, dough.recipe, load.pieces)),
                dough=printable(dough.recipe.name),
                kg=reader.number(load.pieces * dough.recipe.each_g / 1000.0, 1),
            )


# -- before it is kept ------------------------------------------------------------------------------------------------


def _night(plan: Plan, reader: Reader) -> dict[str, str]:
    begins, ends = night_of(plan.kitchen)
    return {"from_hour": _hour(begins, reader), "until": _hour(ends, reader)}


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
            night = {"hands": hands, **_night(plan, reader)}
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
        case NobodyThere():
            hands = ", ".join(clock_text(at, reader, now) for at in remark.hands_at)
            return reader.say(
                "nobody is there between {from_hour} and {until}, and the doughs want hands {hands}",
                hands=hands,
                **_night(plan, reader),
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
            degrees = f"{abs(amount) * reader.degrees_per_kelvin:g} {reader.degree}"
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
        return "-", "-", "-", reasons[0] if reasons else no_single_limit(reader)
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
