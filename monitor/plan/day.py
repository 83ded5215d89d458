"""A planned day: doughs with their stages and loads on the clock, and the steps hands do."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Literal, NewType

from monitor.dough.outlook import Outlook
from monitor.errors import UnfitError
from monitor.plan.kitchen import Kitchen
from monitor.plan.stage_forecast import Span, StageForecast, body_of, mass_of
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.method import REFRIGERATOR, MethodStage
from monitor.recipe.parts import Recipe

PlanId = NewType("PlanId", int)

MOVING_MIN = 2.0  # judgement: to carry tubs or trays from one place to another
LOAD_HANDS_MIN = 3.0  # judgement: to load a stone or to empty it


class StepKind(StrEnum):
    """What hands do. The value is part of a step's key; the words for people are in ``wording``."""

    MIX = "mix"
    SHAPE = "shape"
    CHILL = "chill"  # into the refrigerator
    MOVE = "move"  # out of the refrigerator, or elsewhere
    OVEN_ON = "oven on"
    OVEN_UP = "oven up"
    OVEN_DOWN = "oven down"
    OVEN_OFF = "oven off"
    LOAD = "load"
    STEAM = "steam"
    OUT = "out"


HEATING = (StepKind.OVEN_ON, StepKind.OVEN_UP, StepKind.OVEN_DOWN)
"""What makes the oven as hot as a load wants it."""


@dataclass(frozen=True, slots=True)
class StagePlan:
    """One stage on the clock.

    Attributes
    ----------
    number
        Of the stage in the recipe's method, from 0.
    hands_at
        When hands begin on it.
    begins_at
        When it stands: after those hands, or when the first load is shaped.
    ends_at
        When it is taken on, in the middle of the hands that do so; the last before a bake, when its first load goes in.
    forecast
        How long it takes, in minutes from ``begins_at``.
    lead_min
        How long before it is ready it is to be called: hands that come next, and what it rises on while cooling. [min]
    """

    number: int
    hands_at: datetime
    begins_at: datetime
    ends_at: datetime
    forecast: StageForecast
    air_c: float
    lead_min: float = 0.0

    def at(self, minutes: float) -> datetime:
        """So many minutes into the stage."""
        return self.begins_at + timedelta(minutes=minutes)

    @property
    def closes_at(self) -> datetime:
        """When it should have gone on at the latest."""
        return self.at(self.forecast.closes_min)

    @property
    def ready_at(self) -> datetime | None:
        """When it is expected to be ready."""
        middle = self.forecast.ready.p50
        return None if middle is None else self.at(middle)


@dataclass(frozen=True, slots=True)
class LoadPlan:
    """What goes into the oven at once.

    Attributes
    ----------
    number
        From 1.
    shaped_at
        When the last piece of it is shaped.
    opens_at, closes_at
        Its own window: proofed, and not over-proofed.
    oven
        Name of the oven it goes into; empty: there is one.
    """

    number: int
    pieces: int
    shaped_at: datetime
    opens_at: datetime
    closes_at: datetime
    in_at: datetime
    out_at: datetime
    oven: str = ""


@dataclass(frozen=True, slots=True)
class DoughPlan:
    """One recipe on the clock.

    Attributes
    ----------
    key
        Short name, unique in the plan.
    wanted_at
        When the last of it must be out of the oven (or ready, when it is not baked); None: as soon as it can be.
    oven_on_at
        When a cold oven goes on for its first load; None when it is not baked.
    """

    key: str
    recipe: Recipe
    wanted_at: datetime | None
    stages: tuple[StagePlan, ...]
    loads: tuple[LoadPlan, ...] = ()
    oven_on_at: datetime | None = None

    def method(self, stage: StagePlan) -> MethodStage:
        """What the recipe says of a stage."""
        return self.recipe.method[stage.number]

    def hands_for_load_min(self, number: int) -> float:
        """The share of a load in the hands before the last stage. [min]"""
        return float(shares_of(round(self.recipe.method[-1].hands_min), len(self.loads))[number - 1])

    @property
    def out_at(self) -> datetime:
        """When all of it is out of the oven; without a bake, when its last stage ends."""
        return self.loads[-1].out_at if self.loads else self.stages[-1].ends_at

    @property
    def doubt(self) -> tuple[timedelta, timedelta]:
        """How much earlier and later it may all come, nine times in ten, were each stage taken when it is ready.

        The stages' doubts on each side, by their squares: they are taken as independent of each other.
        """
        early = late = 0.0
        for stage in self.stages:
            ready: Span = stage.forecast.ready
            if ready.p50 is not None:
                early += 0.0 if ready.p05 is None else (ready.p50 - ready.p05) ** 2
                late += 0.0 if ready.p95 is None else (ready.p95 - ready.p50) ** 2
        return timedelta(minutes=early**0.5), timedelta(minutes=late**0.5)


@dataclass(frozen=True, slots=True)
class Plan:
    """A day, as it was made at a moment.

    Attributes
    ----------
    id
        Given by the store; 0 before.
    """

    id: PlanId
    made_at: datetime
    kitchen: Kitchen
    doughs: tuple[DoughPlan, ...]

    def dough(self, key: str) -> DoughPlan:
        """A dough by its key.

        Raises
        ------
        ValueError
            When there is none.
        """
        for each in self.doughs:
            if each.key == key:
                return each
        raise UnfitError(
            "the plan has no dough {key!r}; there are {doughs}",
            key=key,
            doughs=", ".join(each.key for each in self.doughs),
        )


@dataclass(frozen=True, slots=True)
class Step:
    """Something hands do.

    Attributes
    ----------
    key
        Unique in its plan, the same however the times move.
    dough
        Key of the dough.
    hands_min
        How long it takes. [min]
    stage, load
        Number of the stage it begins, or of the load it is about; None when it is about neither.
    not_after
        When it must have happened at the latest; None: nothing closes.
    oven_c
        What the oven is turned to while bread is in it; None: to what the load wants. [C]
    """

    key: str
    kind: StepKind
    dough: str
    at: datetime
    hands_min: float = 0.0
    stage: int | None = None
    load: int | None = None
    not_after: datetime | None = None
    oven_c: float | None = None


def first_step_key(dough: DoughPlan, stage: StagePlan) -> str:
    """Key of the step that a stage begins with."""
    return f"{dough.key}/{stage.number}/{first_step_kind(dough, stage)}"


def oven_key(dough: str) -> str:
    """Key of the step that heats the oven for a dough."""
    return f"{dough}/oven"


def oven_off_key(dough: str, load: int) -> str:
    """Key of the step that turns the oven off after a load."""
    return f"{dough}/load {load}/oven off"


def load_key(dough: str, load: int, kind: Literal[StepKind.LOAD, StepKind.OUT]) -> str:
    """Key of the step that puts a load into the oven, or takes it out."""
    return f"{dough}/load {load}/{'in' if kind is StepKind.LOAD else 'out'}"


def first_step_kind(dough: DoughPlan, stage: StagePlan) -> StepKind:
    """What hands do at the beginning of a stage."""
    method = dough.recipe.method
    mine = method[stage.number]
    before = [each for each in method[: stage.number] if each.part == mine.part]
    if not before:
        return StepKind.MIX
    if is_shaped_in(dough.recipe, stage.number) and not is_shaped_in(dough.recipe, stage.number, before=True):
        return StepKind.SHAPE
    return StepKind.CHILL if mine.stage is Stage.RETARD or mine.cold_h > 0.0 else StepKind.MOVE


def is_shaped_in(recipe: Recipe, number: int, *, before: bool = False) -> bool:
    """True when the dough is in pieces by a stage: from its first final proof on, or its first retard.

    A retard is of shaped pieces, unless the recipe says that it is in bulk or nothing stands before it.

    Parameters
    ----------
    before
        Ask of the dough that comes into the stage instead.
    """
    part = recipe.method[number].part
    stages = [each for each in recipe.method[: number if before else number + 1] if each.part == part]
    return any(
        each.stage is Stage.FINAL_PROOF or (each.stage is Stage.RETARD and not each.in_bulk and place > 0)
        for place, each in enumerate(stages)
    )


def retard_before(recipe: Recipe, number: int) -> int | None:
    """The retard of shaped pieces that a stage takes on, when it waits for a rise over them; None otherwise."""
    mine = recipe.method[number]
    before = [at for at, each in enumerate(recipe.method[:number]) if each.part == mine.part]
    waits_for_rise = mine.stage is Stage.FINAL_PROOF and mine.hours is None and not mine.target.is_peak
    if not before or not waits_for_rise or recipe.method[before[-1]].stage is not Stage.RETARD:
        return None
    return before[-1] if is_shaped_in(recipe, before[-1]) else None


def shares_of(hands_min: int, loads: int) -> tuple[int, ...]:
    """What of the hands at all pieces falls to each load, in whole minutes that add up. [min]

    >>> shares_of(10, 3)
    (3, 3, 4)
    """
    return tuple(hands_min * (i + 1) // loads - hands_min * i // loads for i in range(loads))


def is_cold(method: MethodStage) -> bool:
    """True when a stage begins in the refrigerator."""
    return method.stage is Stage.RETARD or method.place == REFRIGERATOR or method.cold_h > 0.0


def comes_out_of_cold(recipe: Recipe, number: int) -> bool:
    """True when what a stage takes on stood in the refrigerator, and it does not stand there itself."""
    mine = recipe.method[number]
    before = [each for each in recipe.method[:number] if each.part == mine.part]
    return bool(before) and before[-1].place == REFRIGERATOR and mine.place != REFRIGERATOR


def with_moves(recipe: Recipe) -> Recipe:
    """The recipe with hands for what it leaves out: to carry dough into the cold, out of it, or elsewhere."""
    method = []
    for number, stage in enumerate(recipe.method):
        before = [each for each in recipe.method[:number] if each.part == stage.part]
        is_carried = bool(before) and before[-1].place != stage.place
        method.append(replace(stage, hands_min=MOVING_MIN) if is_carried and stage.hands_min == 0.0 else stage)
    return replace(recipe, method=tuple(method))


def batch_of_stage(recipe: Recipe, number: int, started_at: datetime) -> Batch:
    """The batch that watches a stage of a recipe: in its vessel, by its nodes, with its share of the dough.

    What stands in the refrigerator is a retard to those who watch it: its air is to be cold. A stage by the clock waits
    for its peak, beyond which it should not be left. Who calls for the oven is not said here: a plan does so itself.
    """
    method = recipe.method[number]
    mass_g = method.sample_g or recipe.part(method.part).mass_g
    formula = recipe.formula_of(recipe.part(method.part))
    return Batch(
        id=BatchId(0),
        name=recipe.name,
        stage=Stage.RETARD if method.place == REFRIGERATOR else method.stage,
        started_at=started_at,
        vessel=method.vessel or body_of(mass_of(recipe, method, is_shaped=is_shaped_in(recipe, number))),
        target=method.target_left if method.hours is None else Target(None),
        formula=None if formula is None else formula.scaled_to_dough(mass_g),
        nodes=method.nodes,
        events=(Event(started_at, EventKind.MOVE, REFRIGERATOR),) if method.cold_h > 0.0 else (),
        recipe=recipe.name,
        folds_min=method.folds_min,
        perishable=recipe.perishables(recipe.part(method.part)),
    )


def taken_from_cold(batch: Batch, method: MethodStage, retard: Batch, seen: Outlook | None) -> Batch:
    """The batch of a proof after a retard, whose rise goes on over the piece as it was shaped.

    In the same vessel it is counted from the volume that the retard began with. Elsewhere nobody has seen that volume:
    the batch waits for what is left, by the rise that the retard was last seen at.
    """
    if seen is None or method.target.rise_pct is None:
        return batch
    if seen.start_volume_ml is not None and batch.vessel == retard.vessel:
        return replace(batch, target=method.target, start_volume_ml=seen.start_volume_ml)
    if seen.rise_pct is None:
        return batch
    return replace(batch, target=replace(method, risen_pct=seen.rise_pct.p50).target_left)


def _is_taken_out_by_loads(dough: DoughPlan) -> bool:
    """True when each load stays in the cold until its own time to come out."""
    is_out_of_cold = comes_out_of_cold(dough.recipe, len(dough.stages) - 1)
    return is_out_of_cold and len({load.shaped_at for load in dough.loads}) > 1


def _taken_out(dough: DoughPlan) -> Iterator[Step]:
    """The loads but the first as they come out of the cold."""
    if not _is_taken_out_by_loads(dough):
        return
    for load in dough.loads[1:]:
        hands_min = dough.hands_for_load_min(load.number)
        yield Step(
            f"{dough.key}/load {load.number}/{StepKind.MOVE}",
            StepKind.MOVE,
            dough.key,
            load.shaped_at - timedelta(minutes=hands_min),
            hands_min=hands_min,
            load=load.number,
        )


def steps_of(dough: DoughPlan) -> Iterator[Step]:
    """The steps of one dough, in the order of its method: all but those at the oven itself, which is of several."""
    for stage in dough.stages:
        method = dough.method(stage)
        kind = first_step_kind(dough, stage)
        before = [each for each in dough.stages[: stage.number] if dough.method(each).part == method.part]
        is_first_of_loads = stage is dough.stages[-1] and _is_taken_out_by_loads(dough)
        yield Step(
            key=first_step_key(dough, stage),
            kind=kind,
            dough=dough.key,
            at=stage.hands_at,
            hands_min=dough.hands_for_load_min(1) if is_first_of_loads else method.hands_min,
            stage=stage.number,
            not_after=before[-1].closes_at if before else None,
        )
        if method.cold_h > 0.0:
            yield Step(
                key=f"{dough.key}/{stage.number}/{StepKind.MOVE}",
                kind=StepKind.MOVE,
                dough=dough.key,
                at=stage.at(60.0 * method.cold_h),
                hands_min=MOVING_MIN,
                stage=stage.number,
            )
    bake = dough.recipe.bake
    yield from _taken_out(dough)
    for load in dough.loads:
        key, number = dough.key, load.number
        load_at = load_key(key, number, StepKind.LOAD)
        yield Step(
            load_at, StepKind.LOAD, key, load.in_at, hands_min=LOAD_HANDS_MIN, load=number, not_after=load.closes_at
        )
        for steam, after_min in enumerate(() if bake is None else bake.steam_min, start=1):
            at = load.in_at + timedelta(minutes=after_min)
            yield Step(f"{key}/load {number}/steam {steam}", StepKind.STEAM, key, at, load=number)
        out = load_key(key, number, StepKind.OUT)
        yield Step(out, StepKind.OUT, key, load.out_at, hands_min=LOAD_HANDS_MIN, load=number)
