"""The plan as the dough has it: each forecast re-times what follows, and a warmer kitchen all that is to come.

The plan that was made is kept as it is; what comes from here is the same day with other times. Nothing is solved anew:
a stage begins when what it takes on is ready, a planned wait is kept where the dough allows it, and loads queue for
the oven in the order in which they are proofed.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Protocol

from monitor.dough.outlook import Outlook, State
from monitor.plan.day import (
    DoughPlan,
    LoadPlan,
    Plan,
    StagePlan,
    StepKind,
    first_step_key,
    is_shaped_in,
    load_key,
    oven_key,
    retard_before,
)
from monitor.plan.kitchen import Kitchen, Oven
from monitor.plan.orders import predecessors_of
from monitor.plan.oven import Baking, bakings, can_share, turn_min
from monitor.plan.recovery import recovery_min
from monitor.plan.stage_forecast import Span, StageForecast, forecast_stage, stand_in_lag_min
from monitor.recipe.method import REFRIGERATOR, MethodStage
from monitor.recipe.parts import Recipe

ROUNDING = timedelta(minutes=2)  # a plan is made in whole minutes: so little is no wait
SETTLED = timedelta(minutes=20)  # judgement: before, a level says little and a forecast sways
OTHER_RISE_PCT = 5.0  # judgement: less is within what an eye can tell
OTHER_AIR_C = 0.5  # judgement: air that differs by less is the air that was planned with


class ForecastStage(Protocol):
    """What forecasts a stage: :func:`~monitor.plan.stage_forecast.forecast_stage`, or a caller that remembers."""

    def __call__(
        self,
        recipe: Recipe,
        stage: MethodStage,
        *,
        air_c: float,
        start_c: float,
        cold_c: float,
        is_shaped: bool = False,
    ) -> StageForecast:
        """The forecast of a stage."""
        ...


@dataclass(frozen=True, slots=True)
class WatchedStage:
    """A stage that is being watched, or was.

    Attributes
    ----------
    outlook
        The newest; None before the first.
    """

    started_at: datetime
    ended_at: datetime | None = None
    outlook: Outlook | None = None

    @property
    def air_c(self) -> float | None:
        """The air it stands in; None when nobody measures it. [C]"""
        return None if self.outlook is None else self.outlook.air_temp_c


@dataclass(frozen=True, slots=True)
class Progress:
    """What has become of a plan so far.

    Attributes
    ----------
    done
        When each step was done, by its key.
    watched
        The watched stages, by dough and number.
    """

    done: Mapping[str, datetime]
    watched: Mapping[tuple[str, int], WatchedStage]


def measured_airs(plan: Plan, progress: Progress) -> dict[str, float]:
    """The air in each place as it is measured now: of running stages that have come to stand there. [C]"""
    found: dict[str, float] = {}
    for (key, number), watched in sorted(progress.watched.items()):
        method = plan.dough(key).recipe.method[number]
        outlook = watched.outlook
        if watched.ended_at is not None or outlook is None or watched.air_c is None:
            continue
        in_cold_until = watched.started_at + timedelta(hours=method.cold_h)
        found[method.place if outlook.at >= in_cold_until else REFRIGERATOR] = watched.air_c
    return found


def retimed(plan: Plan, now: datetime, progress: Progress, forecast: ForecastStage = forecast_stage) -> Plan:
    """The plan with every time that is still to come moved to what is known now."""
    airs = measured_airs(plan, progress)
    doughs = tuple(_Retiming(plan, dough, now, progress, airs, forecast).moved() for dough in plan.doughs)
    return replace(plan, doughs=_queued(doughs, plan.kitchen, progress))


class _Retiming:
    """One dough being re-timed."""

    def __init__(
        self,
        plan: Plan,
        dough: DoughPlan,
        now: datetime,
        progress: Progress,
        airs: Mapping[str, float],
        forecast: ForecastStage,
    ) -> None:
        self.plan, self.dough, self.now, self.progress, self.airs, self.forecast_stage = (
            plan,
            dough,
            now,
            progress,
            airs,
            forecast,
        )
        self.predecessors = predecessors_of(dough.recipe)
        self.stages: list[StagePlan] = []

    def moved(self) -> DoughPlan:
        for planned in self.dough.stages:
            self.stages.append(self._stage(planned))
        loads = self._loads()
        return replace(self.dough, stages=tuple(self.stages), loads=loads, oven_on_at=self._oven_on_at(loads))

    def _watched(self, number: int) -> WatchedStage | None:
        return self.progress.watched.get((self.dough.key, number))

    def _stage(self, planned: StagePlan) -> StagePlan:
        number, method = planned.number, self.dough.method(planned)
        watched = self._watched(number)
        before_it = planned.begins_at - planned.hands_at  # of shaped loads the first stands when it is shaped
        begun_at = watched.started_at if watched is not None else self._begun_by_hand(planned)
        if begun_at is None:
            hands = timedelta(minutes=method.hands_min)
            befores = [self.stages[before] for before in self.predecessors[number]]
            hands_at = max((before.ends_at for before in befores), default=planned.hands_at + hands / 2) - hands / 2
            begun_at = max(hands_at, self.now) + before_it
        forecast = self._forecast(planned, method, watched)
        stage = replace(
            planned,
            hands_at=begun_at - before_it,
            begins_at=begun_at,
            forecast=forecast,
            air_c=self.airs.get(method.place, planned.air_c),
        )
        return replace(stage, ends_at=self._ends_at(planned, stage, watched))

    def _begun_by_hand(self, planned: StagePlan) -> datetime | None:
        """When an unwatched stage began: its first step was marked as done."""
        return self.progress.done.get(first_step_key(self.dough, planned))

    def _ends_at(self, planned: StagePlan, stage: StagePlan, watched: WatchedStage | None) -> datetime:
        if watched is not None and watched.ended_at is not None:
            return watched.ended_at
        ready_at = stage.ready_at or stage.closes_at
        was_ready_at = planned.ready_at or planned.ends_at
        is_by_the_clock = self.dough.method(planned).hours is not None
        return max(_kept_wait(was_ready_at, planned.ends_at, ready_at, stage.closes_at, is_by_the_clock), self.now)

    def _forecast(self, planned: StagePlan, method: MethodStage, watched: WatchedStage | None) -> StageForecast:
        if watched is not None and self.now - watched.started_at >= SETTLED:
            return self._as_seen(planned, method, watched)
        air_c = self.airs.get(method.place, planned.air_c)
        cold_c = self.airs.get(REFRIGERATOR, self.plan.kitchen.place(REFRIGERATOR).temp_c)
        start_c = self._start_c(planned, method)
        risen_pct = self._risen_pct(planned, method)
        is_other = abs(air_c - planned.air_c) >= OTHER_AIR_C or abs(start_c - planned.forecast.start_c) >= OTHER_AIR_C
        if not is_other and abs(risen_pct - method.risen_pct) < OTHER_RISE_PCT:
            return planned.forecast
        recipe = self.dough.recipe
        found = self.forecast_stage(
            recipe,
            replace(method, risen_pct=risen_pct),
            air_c=round(air_c, 1),
            start_c=round(start_c, 1),
            cold_c=cold_c,
            is_shaped=is_shaped_in(recipe, planned.number),
        )
        return replace(found, ready=found.ready.earlier(self._cooling_min(planned)))

    def _risen_pct(self, planned: StagePlan, method: MethodStage) -> float:
        """How far its pieces have risen in the cold before it: as seen there, else as planned. [%]"""
        before = retard_before(self.dough.recipe, planned.number)
        watched = None if before is None else self._watched(before)
        if watched is None or watched.outlook is None or watched.outlook.rise_pct is None:
            return method.risen_pct
        seen_pct = float(round(watched.outlook.rise_pct.p50))
        return seen_pct if watched.ended_at is not None else max(method.risen_pct, seen_pct)

    def _start_c(self, planned: StagePlan, method: MethodStage) -> float:
        """How warm it will begin: as mixed, or as the stage before leaves it."""
        if method.dough_c is not None:
            return method.dough_c
        same = [
            each for each in self.predecessors[planned.number] if self.dough.recipe.method[each].part == method.part
        ]
        if not same:
            return planned.forecast.start_c
        watched = self._watched(same[0])
        outlook = None if watched is None else watched.outlook
        if outlook is not None and outlook.dough_temp_c is not None and outlook.ready.p50 is not None:
            return outlook.dough_temp_c
        return self.stages[same[0]].forecast.end_c

    def _cooling_min(self, planned: StagePlan) -> float:
        """What a stage goes on rising while it cools, as planned. [min]"""
        after = [number for number, befores in enumerate(self.predecessors) if planned.number in befores]
        hands_min = self.dough.recipe.method[after[0]].hands_min if after else 0.0
        return max(planned.lead_min - hands_min / 2.0, 0.0)

    def _as_seen(self, planned: StagePlan, method: MethodStage, watched: WatchedStage) -> StageForecast:
        """What the newest outlook says, in minutes from the stage's true beginning."""
        outlook = watched.outlook
        if method.hours is not None or outlook is None or outlook.state is State.NO_READINGS:
            return planned.forecast

        def minutes(at: datetime | None) -> float | None:
            return None if at is None else (at - watched.started_at).total_seconds() / 60.0

        moments = outlook.ready
        ready = Span(*(minutes(at) for at in (moments.p05, moments.p25, moments.p50, moments.p75, moments.p95)))
        if ready.p50 is None:
            return planned.forecast
        lag_min = self._sample_lag_min(planned, method, ready.p50)
        ready = ready.earlier(self._cooling_min(planned) - lag_min)
        was = planned.forecast
        # The window is as wide as it was, over a dough that is quicker or slower by so much.
        pace = 1.0 if not was.ready.p50 or ready.p50 is None else ready.p50 / was.ready.p50
        closes_min = (ready.p50 or 0.0) + pace * (was.closes_min - (was.ready.p50 or 0.0))
        peak_min = minutes(outlook.peak.p25)
        if peak_min is not None and not method.target.is_peak:
            closes_min = max(min(closes_min, peak_min + lag_min), ready.p50 or 0.0)
        end_c = was.end_c if outlook.dough_temp_c is None else outlook.dough_temp_c
        return replace(was, ready=ready, closes_min=closes_min, end_c=end_c)

    def _sample_lag_min(self, planned: StagePlan, method: MethodStage, at_min: float) -> float:
        """How much later the pieces get there than the jar that stands in for them. [min]"""
        if method.sample_g is None or method.vessel is None:
            return 0.0
        recipe = self.dough.recipe
        return stand_in_lag_min(
            recipe.formula_of(recipe.part(method.part)),
            sample=(method.vessel, method.sample_g),
            piece_g=recipe.each_g,
            air_c=self.airs.get(method.place, planned.air_c),
            start_c=planned.forecast.start_c,
            at_min=max(at_min, 1.0),
        )

    # -- loads --------------------------------------------------------------------------------------------------------

    def _loads(self) -> tuple[LoadPlan, ...]:
        """Each load with its own window, in the oven when it is proofed; they queue later."""
        if not self.dough.loads:
            return ()
        planned, stage = self.dough.stages[-1], self.stages[-1]
        opens = (stage.ready_at or stage.closes_at) - (planned.ready_at or planned.closes_at)
        closes = stage.closes_at - planned.closes_at
        watched = self._watched(stage.number)
        loads = []
        for load in self.dough.loads:
            shaped_at = load.shaped_at + (stage.begins_at - planned.begins_at)
            opens_at, closes_at = load.opens_at + opens, load.closes_at + closes
            loaded_at = self.progress.done.get(load_key(self.dough.key, load.number, StepKind.LOAD))
            if loaded_at is None and load.number == 1 and watched is not None:
                loaded_at = watched.ended_at
            in_at = opens_at
            if load.number == 1:
                in_at = _kept_wait(load.opens_at, load.in_at, opens_at, closes_at)
                in_at = max(in_at, self.now)  # the others follow it, and are taken to go in when they are called
            in_at = in_at if loaded_at is None else loaded_at
            out_at = self.progress.done.get(
                load_key(self.dough.key, load.number, StepKind.OUT), in_at + (load.out_at - load.in_at)
            )
            loads.append(
                replace(load, shaped_at=shaped_at, opens_at=opens_at, closes_at=closes_at, in_at=in_at, out_at=out_at)
            )
        return tuple(loads)

    def _oven_on_at(self, loads: tuple[LoadPlan, ...]) -> datetime | None:
        """When the oven goes on: early rather than late, once the last stage is watched; for a cold oven costs more."""
        bake = self.dough.recipe.bake
        if bake is None or not loads:
            return None
        done_at = self.progress.done.get(oven_key(self.dough.key))
        if done_at is not None:
            return done_at
        stage = self.stages[-1]
        ready = stage.forecast.ready
        early = timedelta()
        watched = self._watched(stage.number)
        is_seen = watched is not None and watched.outlook is not None
        is_by_the_clock = self.dough.method(stage).hours is not None
        if is_seen and not is_by_the_clock and ready.p25 is not None and ready.p50 is not None:
            early = timedelta(minutes=ready.p50 - ready.p25)
        return loads[0].in_at - early - timedelta(minutes=bake.preheat_min)


def _kept_wait(
    was_ready_at: datetime, was_at: datetime, ready_at: datetime, closes_at: datetime, is_by_the_clock: bool = False
) -> datetime:
    """When something is taken on that was to be at ``was_at``, ready at ``was_ready_at``, and is ready at ``ready_at``.

    What was to be taken on when ready, is. What was to wait for hands, oven or hour does so while it can, and so does
    what stands by the clock.
    """
    wait = max(was_at - was_ready_at, timedelta())
    if wait <= ROUNDING and not is_by_the_clock:
        return ready_at + wait
    return max(ready_at, min(was_at, closes_at))


def _queued(doughs: tuple[DoughPlan, ...], kitchen: Kitchen, progress: Progress) -> tuple[DoughPlan, ...]:
    """The doughs with their loads one after the other, those already in first, then as they are proofed."""

    def is_in(each: Baking) -> bool:
        return load_key(each.dough.key, each.load.number, StepKind.LOAD) in progress.done

    placed: dict[tuple[str, int], LoadPlan] = {}
    for name, baked in bakings(doughs):
        oven = kitchen.oven(name)
        before: list[Baking] = []
        for each in sorted(baked, key=lambda each: (not is_in(each), each.load.in_at)):
            load = each.load
            if not is_in(each):
                in_at = max([load.in_at, *_room_at(each, before, kitchen, oven)])
                load = replace(load, in_at=in_at, out_at=load.out_at + (in_at - load.in_at))
            placed[each.dough.key, load.number] = load
            before.append(replace(each, load=load))
    return tuple(
        replace(dough, loads=tuple(placed[dough.key, load.number] for load in dough.loads)) for dough in doughs
    )


def _room_at(load: Baking, before: list[Baking], kitchen: Kitchen, oven: Oven) -> Iterator[datetime]:
    """When a deck is free for a load, and when the oven has come from each other heat to the load's."""
    free_at = []
    for each in before:
        recover_min = recovery_min(kitchen, oven, each.dough.recipe, each.load.pieces)
        turn_at = each.load.out_at + timedelta(
            minutes=turn_min(each.ends_c, load.oven_c, load.preheat_min, recover_min)
        )  # fmt: skip
        free_at.append(turn_at)
        if not can_share((each.oven_c, each.ends_c), (load.oven_c, load.ends_c)):
            yield turn_at
    if len(free_at) >= oven.decks:
        yield sorted(free_at)[-oven.decks]


@dataclass(frozen=True, slots=True)
class AirDifference:
    """A place whose air is not what was planned with."""

    place: str
    planned_c: float
    measured_c: float

    @property
    def difference_c(self) -> float:
        """Above 0 where it is warmer than planned."""
        return self.measured_c - self.planned_c


def largest_air_difference(plan: Plan, progress: Progress) -> AirDifference | None:
    """The place whose air is farthest from what was planned with; None where the plan holds everywhere."""
    found = [
        AirDifference(name, plan.kitchen.place(name).temp_c, air_c)
        for name, air_c in sorted(measured_airs(plan, progress).items())
    ]
    other = [each for each in found if abs(each.difference_c) >= OTHER_AIR_C]
    return max(other, key=lambda each: abs(each.difference_c), default=None)
