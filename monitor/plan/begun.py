"""What of a day has begun, as the solver takes it: what was done stays as it was, and only what is to come may move."""

from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil

from monitor.plan.day import DoughPlan, LoadPlan, StepKind, first_step_key, load_key, oven_key
from monitor.plan.live import Progress
from monitor.plan.orders import LONGEST_DAY_MIN, DoughTask, StageTask

OVERDUE_MIN = 60  # judgement: what should have gone on already may do so within the hour


@dataclass(frozen=True, slots=True)
class Begun:
    """A dough of a day that goes on, as it stands now.

    Attributes
    ----------
    stages, loads
        Numbers of the stages that have begun, and of the loads that are or were in the oven.
    is_hot
        Whether the oven is on for it.
    """

    dough: DoughPlan
    now: datetime
    stages: frozenset[int]
    loads: frozenset[int]
    is_hot: bool

    def task(self, task: DoughTask, base_at: datetime) -> DoughTask:
        """What is left of it to be solved: no hands for what was done, its hours held, and nothing before now."""

        begun = sorted(self.stages)
        stages = tuple(
            self._stage(task, number) if number in self.stages else stage for number, stage in enumerate(task.stages)
        )
        held = (*task.held, *((number, _minutes(base_at, self.dough.stages[number].begins_at)) for number in begun))
        bake = task.bake
        if bake is not None and len(task.stages) - 1 in self.stages:
            windows = tuple(self._window(load) for load in self.dough.loads)
            bake = replace(bake, windows=windows, stagger_min=0, can_stagger=False)
        if bake is not None and self.is_hot:
            bake = replace(bake, preheat_min=0)
        return replace(task, stages=stages, bake=bake, held=held, earliest_min=_minutes(base_at, self.now))

    def _stage(self, task: DoughTask, number: int) -> StageTask:
        stage = task.stages[number]
        after = [place for place, each in enumerate(task.stages) if number in each.predecessors]
        done = replace(stage, hands_min=0, mixer_min=0)
        if self.stages.intersection(after):  # it was taken on, whenever that was
            long = LONGEST_DAY_MIN
            return replace(done, ready_min=0, best_min=long, closes_min=long, uses=(), meanwhile=())
        begins_at = self.dough.stages[number].begins_at
        stood_min = ceil((self.now - begins_at).total_seconds() / 60.0)
        return replace(
            done,
            closes_min=max(stage.closes_min, stood_min + OVERDUE_MIN),
            meanwhile=tuple(each for each in stage.meanwhile if each[0] > stood_min),
        )

    def _window(self, load: LoadPlan) -> tuple[int, int, int]:
        """Of a load that is shaped, from when the first was: as it stands now, or just when it went in."""
        first_at = self.dough.stages[-1].begins_at
        if load.number in self.loads:
            return (_minutes(first_at, load.in_at),) * 3
        opens = _minutes(first_at, load.opens_at)
        closes = max(_minutes(first_at, load.closes_at), _minutes(first_at, self.now) + OVERDUE_MIN)
        return opens, opens + (closes - opens) // 2, closes

    def lived(self, found: DoughPlan) -> DoughPlan:
        """What was solved, with what has begun as it was."""
        stages = tuple(
            replace(self.dough.stages[each.number], ends_at=each.ends_at) if each.number in self.stages else each
            for each in found.stages
        )
        loads = tuple(
            self.dough.loads[load.number - 1] if load.number in self.loads else self._shaped(load)
            for load in found.loads
        )
        return replace(
            found, stages=stages, loads=loads, oven_on_at=self.dough.oven_on_at if self.is_hot else found.oven_on_at
        )

    def _shaped(self, load: LoadPlan) -> LoadPlan:
        if len(self.dough.stages) - 1 not in self.stages:
            return load
        return replace(self.dough.loads[load.number - 1], in_at=load.in_at, out_at=load.out_at, oven=load.oven)


def _minutes(since: datetime, at: datetime) -> int:
    return round((at - since).total_seconds() / 60.0)


def begun_of(dough: DoughPlan, progress: Progress, now: datetime) -> Begun:
    """How much of a dough has begun; the dough as it is now."""
    stages = frozenset(
        stage.number
        for stage in dough.stages
        if (dough.key, stage.number) in progress.watched or first_step_key(dough, stage) in progress.done
    )
    loads = frozenset(
        load.number for load in dough.loads if load_key(dough.key, load.number, StepKind.LOAD) in progress.done
    )
    return Begun(dough, now, stages, loads, bool(loads) or oven_key(dough.key) in progress.done)
