"""What is wanted of a day, and the same as the solver takes it: tasks, windows, places and nights in whole minutes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from enum import StrEnum
from math import ceil, floor

from monitor.dough.learning import RecipeExperience
from monitor.errors import UnfitError
from monitor.plan.day import (
    MOVING_MIN,
    DoughPlan,
    LoadPlan,
    StagePlan,
    comes_out_of_cold,
    is_cold,
    is_shaped_in,
    retard_before,
    with_moves,
)
from monitor.plan.kitchen import Kitchen
from monitor.plan.oven import ends_at_c
from monitor.plan.recovery import recovery_min
from monitor.plan.stage_forecast import KEEPS_MIN, StageForecast, forecast_stage, risen_in_cold_pct, still_to_come_min
from monitor.recipe.formula import Formula
from monitor.recipe.ingredients import IngredientKind
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C
from monitor.recipe.method import REFRIGERATOR, Bake, MethodStage, Work
from monitor.recipe.parts import Recipe

BEFORE_END_MIN = 15  # judgement: so close to the end of its range of hours nothing is planned without need
LONGEST_DAY_MIN = 7 * 24 * 60  # judgement: nobody plans a loaf further ahead


class Limit(StrEnum):
    """What can stand in a plan's way."""

    TIME = "time"  # the hour it is wanted, and now
    WINDOW = "window"  # doughs and loaves that do not wait
    PEOPLE = "people"
    HOURS = "hours"  # of the clock, in which there are hands
    MIXER = "mixer"
    PLACE = "place"
    OVEN = "oven"


@dataclass(frozen=True, slots=True)
class PlaceUse:
    """Dough in a place during a stage: from so many minutes after it begins, to so many; None: to its end."""

    place: str
    from_min: int
    to_min: int | None
    takes: int


@dataclass(frozen=True, slots=True)
class StageTask:
    """One stage of one dough.

    Attributes
    ----------
    hands_min, mixer_min
        Work before it stands. [min]
    ready_min, closes_min
        After it has begun to stand: taken on no sooner, and no later. [min]
    best_min
        Until then it is as good as at the beginning; later each minute tells. [min]
    predecessors
        Numbers of the stages of this dough that it takes on.
    meanwhile
        Work while it stands: how long after it begins, and for how long. [min]
    """

    hands_min: int
    mixer_min: int
    ready_min: int
    best_min: int
    closes_min: int
    predecessors: tuple[int, ...]
    uses: tuple[PlaceUse, ...]
    meanwhile: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class BakeTask:
    """The loads of a dough.

    Attributes
    ----------
    windows
        For each load, minutes from the end of its own shaping: proofed, no longer at its best, and no longer good.
    recover_min
        For each oven, what it needs after a load of this. [min]
    stagger_min
        How much later than the one before each load is shaped, beyond its share of the hands. [min]
    can_stagger
        Whether the solver may delay loads more.
    """

    windows: tuple[tuple[int, int, int], ...]
    minutes: int
    preheat_min: int
    oven_c: float
    ends_c: float
    recover_min: tuple[int, ...] = (0,)
    stagger_min: int = 0
    can_stagger: bool = False


@dataclass(frozen=True, slots=True)
class DoughTask:
    """One dough: stages in the order of its method, and its bake.

    Attributes
    ----------
    wanted_min, is_after, can_be_late
        The minute by which it is wanted, or no earlier than which; whether it may be missed.
    goes_last
        Whether nothing goes into an oven after its first load but the rest of it.
    held
        Which stages hands begin on at a given minute.
    earliest_min
        Before it hands begin on nothing that is not held. [min]
    """

    name: str
    stages: tuple[StageTask, ...]
    bake: BakeTask | None
    wanted_min: int | None
    is_after: bool = False
    held: tuple[tuple[int, int], ...] = ()
    can_be_late: bool = False
    goes_last: bool = False
    earliest_min: int = 0


@dataclass(frozen=True, slots=True)
class Limits:
    """What the kitchen has.

    Attributes
    ----------
    places
        How many tubs each holds.
    nights
        Spans of minutes without hands.
    ovens
        Of each the decks.
    """

    people: int
    mixers: int
    places: tuple[tuple[str, int], ...]
    nights: tuple[tuple[int, int], ...]
    ovens: tuple[int, ...] = (1,)


@dataclass(frozen=True, slots=True)
class DoughTimes:
    """What the solver found for a dough, in minutes.

    Attributes
    ----------
    hands, begins, taken
        For each stage.
    shaped, loaded, ovens
        For each load: when it was shaped, when it goes in, and into which oven.
    late
        For each load, and then each stage but the last: by how much it misses the end of its window.
    """

    hands: tuple[int, ...]
    begins: tuple[int, ...]
    taken: tuple[int, ...]
    shaped: tuple[int, ...]
    loaded: tuple[int, ...]
    ovens: tuple[int, ...]
    late_loads: tuple[int, ...]
    late_stages: tuple[int, ...]


# -- what is wanted ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Order:
    """One recipe, and when the last of it must be out of the oven; None: as soon as it can be.

    ``learned`` holds what finished batches taught, for each stage of the method; empty when nothing is known.
    ``is_after`` turns the hour round: out no earlier, and as soon after it as can be. ``held`` are stages, by their
    numbers, on which hands begin at that very minute.
    """

    recipe: Recipe
    wanted_at: datetime | None
    learned: tuple[RecipeExperience | None, ...] = ()
    is_after: bool = False
    held: tuple[tuple[int, datetime], ...] = ()


@dataclass(frozen=True, slots=True)
class PreparedOrder:
    """An order with the forecasts of its stages.

    Attributes
    ----------
    forecasts, airs
        For each stage; the air where it stands in the end. [C]
    leads_min
        For each stage, how far it goes on rising while it cools, when it goes into the cold next. [min]
    loads
        For each load the last stage as it goes for that load, and its pieces; empty without a bake.
    """

    key: str
    order: Order
    forecasts: tuple[StageForecast, ...]
    airs: tuple[float, ...]
    leads_min: tuple[float, ...]
    predecessors: tuple[tuple[int, ...], ...]
    loads: tuple[tuple[StageForecast, int], ...]

    @property
    def recipe(self) -> Recipe:
        return self.order.recipe


def predecessors_of(recipe: Recipe) -> tuple[tuple[int, ...], ...]:
    """For each stage the stages it takes on: the one before it of its own part, or the last of the parts mixed in."""
    found: list[tuple[int, ...]] = []
    last: dict[str, int] = {}
    for number, stage in enumerate(recipe.method):
        if stage.part in last:
            found.append((last[stage.part],))
        else:
            inside = [each.name for each in recipe.part(stage.part).ingredients if each.kind is IngredientKind.PART]
            found.append(tuple(last[name] for name in inside if name in last))
        last[stage.part] = number
    return tuple(found)


def _start_c(stage: MethodStage, before: tuple[int, ...], forecasts: list[StageForecast], recipe: Recipe) -> float:
    """How warm a dough begins a stage: as the recipe says, or as it came out of the stage before."""
    if stage.dough_c is not None:
        return stage.dough_c
    same = [number for number in before if recipe.method[number].part == stage.part]
    return forecasts[same[0]].end_c if same else USUAL_DOUGH_TEMP_C


def _lead_min(recipe: Recipe, number: int, after: int | None, forecast: StageForecast, cold_c: float) -> float:
    """What a stage goes on rising after it was put into the cold, when that is what follows and nothing is shaped."""
    stage = recipe.method[number]
    if after is None or stage.hours is not None or stage.target.rise_pct is None:
        return 0.0
    next_stage = recipe.method[after]
    is_shaped_next = is_shaped_in(recipe, after) and not is_shaped_in(recipe, number)
    if next_stage.part != stage.part or is_shaped_next or not is_cold(next_stage):
        return 0.0
    formula: Formula | None = recipe.formula_of(recipe.part(stage.part))
    return still_to_come_min(formula, tau_min=forecast.tau_min, dough_c=forecast.end_c, cold_c=cold_c)


def pieces_at_once(bake: Bake, kitchen: Kitchen) -> int:
    """How many pieces of a recipe go into the oven at once."""
    return kitchen.oven_holds if bake.at_once is None else bake.at_once


def prepared_order(key: str, order: Order, kitchen: Kitchen) -> PreparedOrder:
    """An order with the forecasts of its stages.

    Raises
    ------
    ValueError
        When the recipe has no stages, or names a place that the kitchen does not have.
    """
    if not order.recipe.method:
        raise UnfitError("{name} says nothing of its stages: add [[stage]] tables to its file", name=order.recipe.name)
    recipe = with_moves(order.recipe)
    cold_c = kitchen.place(REFRIGERATOR).temp_c
    predecessors = predecessors_of(recipe)
    after = {before: number for number, befores in enumerate(predecessors) for before in befores}
    forecasts: list[StageForecast] = []
    airs: list[float] = []
    leads: list[float] = []
    for number in range(len(recipe.method)):
        recipe = _as_risen(recipe, number, forecasts, order.learned, cold_c)
        stage = recipe.method[number]
        air_c = kitchen.place(stage.place).temp_c
        found = forecast_stage(
            recipe,
            stage,
            air_c=air_c,
            start_c=_start_c(stage, predecessors[number], forecasts, recipe),
            cold_c=cold_c,
            is_shaped=is_shaped_in(recipe, number),
            learned=order.learned[number] if order.learned else None,
        )
        lead_min = _lead_min(recipe, number, after.get(number), found, cold_c)
        forecasts.append(replace(found, ready=found.ready.earlier(lead_min)))
        airs.append(air_c)
        leads.append(lead_min)
    order = replace(order, recipe=recipe)
    return PreparedOrder(
        key, order, tuple(forecasts), tuple(airs), tuple(leads), predecessors, _loads(order, kitchen, forecasts)
    )


def _as_risen(
    recipe: Recipe,
    number: int,
    forecasts: Sequence[StageForecast],
    learned: tuple[RecipeExperience | None, ...],
    cold_c: float,
) -> Recipe:
    """The recipe with what its pieces will have risen in the cold, at the stage that counts on from there."""
    before = retard_before(recipe, number)
    if before is None:
        return recipe
    risen_pct = risen_in_cold_pct(
        recipe,
        recipe.method[before],
        start_c=forecasts[before].start_c,
        cold_c=cold_c,
        learned=learned[before] if learned else None,
    )
    stage = replace(recipe.method[number], risen_pct=risen_pct)
    return replace(recipe, method=(*recipe.method[:number], stage, *recipe.method[number + 1 :]))


def rebaked(dough: PreparedOrder, bake: Bake, kitchen: Kitchen) -> PreparedOrder:
    """The same dough with another bake: its stages are as they were, its loads are not."""
    order = replace(dough.order, recipe=replace(dough.recipe, bake=bake))
    return replace(dough, order=order, loads=_loads(order, kitchen, dough.forecasts))


def _loads(order: Order, kitchen: Kitchen, forecasts: Sequence[StageForecast]) -> tuple[tuple[StageForecast, int], ...]:
    recipe, bake = order.recipe, order.recipe.bake
    if bake is None:
        return ()
    held = pieces_at_once(bake, kitchen)
    last, found = recipe.method[-1], forecasts[-1]
    loads = []
    for number in range(ceil(recipe.pieces / held)):
        own = found
        if number and bake.chill_min > 0.0:
            own = forecast_stage(
                recipe,
                replace(last, cold_h=last.cold_h + number * bake.chill_min / 60.0),
                air_c=kitchen.place(last.place).temp_c,
                start_c=found.start_c,
                cold_c=kitchen.place(REFRIGERATOR).temp_c,
                is_shaped=True,
                learned=order.learned[-1] if order.learned else None,
            )
        loads.append((own, min(held, recipe.pieces - number * held)))
    return tuple(loads)


def _window(forecast: StageForecast, stage: MethodStage) -> tuple[int, int, int]:
    """When it is ready, until when it is at its best, and when it closes, in minutes from its beginning.

    It is best in the first half of its window; where the recipe itself gives the range, until shortly before its end.
    """
    opens = forecast.ready.p50
    if opens is None:  # not to be foreseen: the horizon, and the words say that it will hardly get there
        return LONGEST_DAY_MIN, LONGEST_DAY_MIN, LONGEST_DAY_MIN + round(KEEPS_MIN)
    first, last = ceil(opens), max(floor(forecast.closes_min), ceil(opens))
    half = (last - first) // 2
    return first, first + half if stage.longest_h is None else last - min(half, BEFORE_END_MIN), last


def task_of(dough: PreparedOrder, kitchen: Kitchen, base_at: datetime, *, can_stagger: bool = False) -> DoughTask:
    """A prepared order as the solver takes it, in minutes from ``base_at``."""
    recipe = dough.recipe
    stages = []
    for number, stage in enumerate(recipe.method):
        opens, best, closes = _window(dough.forecasts[number], stage)
        uses = []
        cold_min = round(60.0 * stage.cold_h)
        if cold_min:
            uses.append(PlaceUse(REFRIGERATOR, 0, cold_min, stage.takes))
        uses.append(PlaceUse(stage.place, cold_min, None, stage.takes))
        hands = round(stage.hands_min)
        meanwhile, before = work_meanwhile(stage, opens), dough.predecessors[number]
        mixer = round(stage.mixer_min)
        stages.append(StageTask(hands, mixer, opens, best, closes, before, tuple(uses), meanwhile))
    wanted_at = dough.order.wanted_at
    wanted = None if wanted_at is None else floor((wanted_at - base_at).total_seconds() / 60.0)
    held = tuple((stage, round((at - base_at).total_seconds() / 60.0)) for stage, at in dough.order.held)
    bake = _bake_task(dough, kitchen, can_stagger)
    return DoughTask(dough.key, tuple(stages), bake, wanted, dough.order.is_after, held)


def work_meanwhile(stage: MethodStage, ready_min: int) -> tuple[tuple[int, int], ...]:
    """What is done while a stage stands: after how long, and how long hands are at it. [min]

    The folds that come before it is ready, and what stood in the cold at first is carried out of it.
    """
    carried = ((round(60.0 * stage.cold_h), ceil(MOVING_MIN)),) if stage.cold_h > 0.0 else ()
    return carried + tuple(
        (round(at), ceil(step.hands_min))
        for step in stage.steps
        if step.work is Work.FOLD
        for at in step.after_min
        if at < ready_min
    )


def _bake_task(dough: PreparedOrder, kitchen: Kitchen, can_stagger: bool) -> BakeTask | None:
    bake = dough.recipe.bake
    if bake is None:
        return None
    windows = tuple(_window(forecast, dough.recipe.method[-1]) for forecast, _ in dough.loads)
    return BakeTask(
        windows=windows,
        minutes=round(bake.minutes),
        preheat_min=round(bake.preheat_min),
        oven_c=bake.oven_c,
        ends_c=ends_at_c(bake),
        recover_min=tuple(
            ceil(recovery_min(kitchen, oven, dough.recipe, dough.loads[0][1])) for oven in kitchen.all_ovens
        ),
        stagger_min=round(bake.stagger_min),
        # what stands in the cold until it is taken out waits there for the oven, load by load
        can_stagger=can_stagger or comes_out_of_cold(dough.recipe, len(dough.recipe.method) - 1),
    )


def limits_of(kitchen: Kitchen, base_at: datetime, horizon: int, zone: tzinfo) -> Limits:
    """What the kitchen allows, in minutes from ``base_at``."""
    places = tuple((each.name, each.holds) for each in kitchen.all_places if each.holds is not None)
    ovens = tuple(each.decks for each in kitchen.all_ovens)
    return Limits(kitchen.people, kitchen.mixers, places, _nights(kitchen, base_at, horizon, zone), ovens)


def _nights(kitchen: Kitchen, base_at: datetime, horizon: int, zone: tzinfo) -> tuple[tuple[int, int], ...]:
    if kitchen.hands_from is None or kitchen.hands_until is None:
        return ()
    spans: list[tuple[int, int]] = []
    day = base_at.astimezone(zone).date() - timedelta(days=1)
    while True:
        ends = datetime.combine(day, kitchen.hands_until, zone)
        begins = datetime.combine(day + timedelta(days=1), kitchen.hands_from, zone)
        span = [round((at - base_at).total_seconds() / 60.0) for at in (ends, begins)]
        if span[0] >= horizon:
            return tuple(spans)
        if span[1] > 0:
            spans.append((max(span[0], 0), min(span[1], horizon)))
        day += timedelta(days=1)


def dough_plan(dough: PreparedOrder, times: DoughTimes, base_at: datetime, kitchen: Kitchen) -> DoughPlan:
    """What the solver found, back on the clock."""

    def at(minute: int) -> datetime:
        return base_at + timedelta(minutes=minute)

    recipe = dough.recipe
    after = {before: number for number, befores in enumerate(dough.predecessors) for before in befores}
    stages = []
    for number in range(len(recipe.method)):
        next_number = after.get(number)
        next_hands = 0.0 if next_number is None else recipe.method[next_number].hands_min
        stages.append(
            StagePlan(
                number=number,
                hands_at=at(times.hands[number]),
                begins_at=at(times.begins[number]),
                ends_at=at(times.taken[number]),
                forecast=dough.forecasts[number],
                air_c=dough.airs[number],
                lead_min=next_hands / 2.0 + dough.leads_min[number],
            )
        )
    bake = recipe.bake
    loads = []
    for number, (forecast, pieces) in enumerate(dough.loads):
        shaped_at, in_at = at(times.shaped[number]), at(times.loaded[number])
        opens, _, closes = _window(forecast, recipe.method[-1])
        loads.append(
            LoadPlan(
                number=number + 1,
                pieces=pieces,
                shaped_at=shaped_at,
                opens_at=shaped_at + timedelta(minutes=opens),
                closes_at=shaped_at + timedelta(minutes=closes),
                in_at=in_at,
                out_at=in_at + timedelta(minutes=0.0 if bake is None else bake.minutes),
                oven=kitchen.all_ovens[times.ovens[number]].name,
            )
        )
    if loads:
        stages[-1] = replace(stages[-1], ends_at=loads[0].in_at)
    oven_on_at = None if bake is None or not loads else loads[0].in_at - timedelta(minutes=bake.preheat_min)
    return DoughPlan(dough.key, recipe, dough.order.wanted_at, tuple(stages), tuple(loads), oven_on_at)
