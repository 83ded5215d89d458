"""What a plan calls for now: each step once, when its time has come, and that the plan has moved."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.kinds import CueKind
from monitor.plan.causes import Cause, causes_of
from monitor.plan.day import HEATING, DoughPlan, LoadPlan, Plan, Step, StepKind, steps_of
from monitor.plan.live import Progress
from monitor.plan.steps import steps

TOO_LATE = timedelta(minutes=30)  # judgement: after that a cue is history, and the plan has moved
STEAM_TOO_LATE = timedelta(minutes=5)
MOVED_BY = timedelta(minutes=10)  # judgement: what a baker arranges another way for
MOVED_SHARE = 0.15  # judgement: of the time still to go; far ahead a forecast sways more than it says

_KINDS = {
    StepKind.MIX: CueKind.MIX,
    StepKind.SHAPE: CueKind.SHAPE,
    StepKind.CHILL: CueKind.MOVE,
    StepKind.MOVE: CueKind.MOVE,
    StepKind.OVEN_ON: CueKind.OVEN_ON,
    StepKind.OVEN_UP: CueKind.OVEN_HEAT,
    StepKind.OVEN_DOWN: CueKind.OVEN_HEAT,
    StepKind.OVEN_OFF: CueKind.OVEN_OFF,
    StepKind.LOAD: CueKind.LOAD,
    StepKind.STEAM: CueKind.STEAM,
    StepKind.OUT: CueKind.OUT,
}


@dataclass(frozen=True, slots=True)
class StepCue:
    """That the time of a step has come.

    Attributes
    ----------
    early_until_at
        When the dough it takes on is ready, where the call is early for the sake of the work; None: it is not.
    """

    dough: DoughPlan
    step: Step
    at: datetime
    early_until_at: datetime | None = None

    @property
    def key(self) -> str:
        """The step's: no step is called for twice."""
        return self.step.key

    @property
    def kind(self) -> CueKind:
        """What it calls for."""
        return _KINDS[self.step.kind]


@dataclass(frozen=True, slots=True)
class MovedCue:
    """That everything still to come of a dough has moved.

    Attributes
    ----------
    shift
        By how much later; negative: earlier.
    causes
        What has moved it, the greatest first; empty where nothing that is known has.
    ahead
        The steps still to come.
    late_loads
        Loads that would go in after their window.
    """

    dough: DoughPlan
    at: datetime
    shift: timedelta
    causes: tuple[Cause, ...]
    ahead: tuple[Step, ...]
    late_loads: tuple[LoadPlan, ...]

    @property
    def key(self) -> str:
        """The dough's with the hour it has moved to: the same move is never called twice."""
        return f"{self.dough.key}/moved/{self.dough.out_at:%Y%m%dT%H%M}"

    @property
    def kind(self) -> CueKind:
        """Always the same."""
        return CueKind.MOVED


Cue = StepCue | MovedCue


def is_done(dough: DoughPlan, step: Step, progress: Progress) -> bool:
    """True when a step was marked as done, or what follows it has begun."""
    if step.key in progress.done:
        return True
    last = len(dough.stages) - 1
    if step.stage is not None:
        watched = progress.watched.get((dough.key, step.stage))
        is_first = step.key.split("/")[-1] != StepKind.MOVE or dough.recipe.method[step.stage].cold_h == 0.0
        return watched is not None and (is_first or watched.ended_at is not None)
    proof = progress.watched.get((dough.key, last))
    is_loaded = proof is not None and proof.ended_at is not None
    if step.kind is StepKind.OVEN_OFF:
        return _is_lit_again(dough, step, progress)
    if step.kind in (*HEATING, StepKind.LOAD):
        return (is_loaded and step.load in (None, 1)) or _has_gone_on(dough, step, progress)
    return _has_gone_on(dough, step, progress)


def _is_lit_again(dough: DoughPlan, step: Step, progress: Progress) -> bool:
    """True when something was baked after an oven was to go off; of several ovens nobody knows which."""
    is_one = not dough.loads[(step.load or 1) - 1].oven
    return is_one and any(key.endswith("/in") and at > step.at for key, at in progress.done.items())


def _has_gone_on(dough: DoughPlan, step: Step, progress: Progress) -> bool:
    """True when a later step of the same load, or a later load, was marked as done.

    That a later load was taken out of the cold says nothing of one before it.
    """
    at_oven = [each for each in steps_of(dough) if each.load is not None and each.kind is not StepKind.MOVE]
    mine = [each.key for each in at_oven if (each.load, each.at) >= (step.load or 1, step.at)]
    return any(key in progress.done for key in mine if key != step.key)


def step_cues(plan: Plan, now: datetime, progress: Progress, given: Collection[str]) -> tuple[StepCue, ...]:
    """The steps to be called for at a moment, in the order of the day.

    Parameters
    ----------
    plan
        As the doughs have it: what :func:`~monitor.plan.live.retimed` made.
    given
        Keys of cues that were given already.
    """
    return tuple(_due(plan, now, progress, given))


def _due(plan: Plan, now: datetime, progress: Progress, given: Collection[str]) -> Iterator[StepCue]:
    for step in steps(plan):
        dough = plan.dough(step.dough)
        too_late = STEAM_TOO_LATE if step.kind is StepKind.STEAM else TOO_LATE
        if step.key not in given and step.at <= now < step.at + too_late and not is_done(dough, step, progress):
            yield StepCue(dough, step, now, _early_until_at(dough, step))


def _early_until_at(dough: DoughPlan, step: Step) -> datetime | None:
    if step.kind not in (StepKind.SHAPE, StepKind.CHILL) or not step.stage:
        return None
    ready_at = dough.stages[step.stage - 1].ready_at
    return ready_at if ready_at is not None and ready_at > step.at else None


def moved_cues(
    made: Plan, live: Plan, now: datetime, progress: Progress, announced: Mapping[str, datetime]
) -> tuple[MovedCue, ...]:
    """Doughs whose later times have moved clearly since they were last announced: ten minutes, or more when far ahead.

    Evidence moves a plan, not doubt: while the hour that was said lies in the middle half of what is likely now, it
    stands.

    Parameters
    ----------
    made, live
        The plan as it was made, and as the doughs have it.
    announced
        For each dough, when it was last said to be out.
    """
    found = []
    for dough in live.doughs:
        planned = made.dough(dough.key)
        shift = dough.out_at - announced.get(dough.key, planned.out_at)
        if abs(shift) < max(MOVED_BY, MOVED_SHARE * (dough.out_at - now)) or dough.out_at <= now:
            continue
        sooner, later = _likely(dough, progress)
        if -later <= shift <= sooner:
            continue
        mine = (step for step in steps(live) if step.dough == dough.key)
        ahead = tuple(step for step in mine if step.at > now and not is_done(dough, step, progress))
        late = tuple(load for load in dough.loads if load.in_at > load.closes_at and load.in_at > now)
        planned_air_c = {each.name: each.temp_c for each in made.kitchen.all_places}
        found.append(MovedCue(dough, now, shift, causes_of(planned, dough, planned_air_c, shift), ahead, late))
    return tuple(found)


def _likely(dough: DoughPlan, progress: Progress) -> tuple[timedelta, timedelta]:
    """How much earlier and later it may come, one time in two, by the doubts of the stages that are not over."""
    sooner = later = 0.0
    for stage in dough.stages:
        watched = progress.watched.get((dough.key, stage.number))
        ready = stage.forecast.ready
        if ready.p50 is None or (watched is not None and watched.ended_at is not None):
            continue
        sooner += 0.0 if ready.p25 is None else (ready.p50 - ready.p25) ** 2
        later += 0.0 if ready.p75 is None else (ready.p75 - ready.p50) ** 2
    return timedelta(minutes=sooner**0.5), timedelta(minutes=later**0.5)
