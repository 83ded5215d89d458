"""The day as a problem of constraints, solved by CP-SAT: the only module that knows the solver.

Whole minutes. Wanted hours are met as late as they may be; within that, every dough waits as little as it can beyond
being ready. A limit can be lifted, to learn whether it is what stands in the way; lifting the windows makes lateness
possible and as small as it can be.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo
from math import ceil, floor
from typing import Any, Protocol

from ortools.sat.python import cp_model

from monitor.errors import MonitorError
from monitor.plan.day import LOAD_HANDS_MIN, shares_of
from monitor.plan.kitchen import Kitchen
from monitor.plan.orders import (
    LONGEST_DAY_MIN,
    BakeTask,
    DoughTask,
    DoughTimes,
    Limit,
    Limits,
    PreparedOrder,
    StageTask,
    limits_of,
    rebaked,
    task_of,
)
from monitor.plan.oven import can_share, longest_idle_min, turn_min

# Deterministic seconds of the solver: the same answer on every machine, be it quick or slow.
EFFORT = 10.0
EFFORT_TO_EXPLAIN = 1.0
EFFORT_AWAKE = 0.2  # of a day without a night: any that is not foolish tells what must be done in it
SEED = 20260302
SPARE_MIN = 2 * 24 * 60  # how far past the wanted hour a plan is looked for when that hour cannot be met
LOADING_MIN = ceil(LOAD_HANDS_MIN)
# What a minute costs. Judgement, in this order: lateness, waiting when no longer at its best, missing the hour,
# waiting, delaying a shaping.
LATE_COST, PAST_BEST_COST, EARLY_COST, WAIT_COST, STAGGER_COST = 10_000, 30, 20, 3, 2


class SolverError(MonitorError):
    """The solver gave up before it knew."""


@dataclass(slots=True)
class _LoadVars:
    """``ovens``: for each oven, whether the load goes into it."""

    shaped: cp_model.IntVar
    loaded: cp_model.IntVar
    late: cp_model.IntVar
    ovens: list[cp_model.IntVar]


@dataclass(slots=True)
class _DoughVars:
    task: DoughTask
    hands: list[cp_model.IntVar]
    begins: list[cp_model.IntVar]
    taken: list[cp_model.IntVar]
    late: list[cp_model.IntVar]
    loads: list[_LoadVars]


class _Day:
    """The model being built."""

    def __init__(self, doughs: Iterable[DoughTask], limits: Limits, horizon: int, lifted: frozenset[Limit]) -> None:
        self.model = cp_model.CpModel()
        self.horizon = horizon
        self.lifted = lifted
        self.limits = limits
        self.hands: list[cp_model.IntervalVar] = []
        self.mixers: list[cp_model.IntervalVar] = []
        self.uses: dict[str, list[tuple[cp_model.IntervalVar, int]]] = {}
        self.ovens: list[tuple[BakeTask, _LoadVars]] = []
        self.costs: list[cp_model.LinearExprT] = []
        self.doughs = [self._dough(task) for task in doughs]
        self._order()
        self._limit()

    def _minute(self) -> cp_model.IntVar:
        return self.model.new_int_var(0, self.horizon, "")

    def _lateness(self) -> cp_model.IntVar:
        late = self.model.new_int_var(0, self.horizon if Limit.WINDOW in self.lifted else 0, "")
        self.costs.append(LATE_COST * late)
        return late

    def _dough(self, task: DoughTask) -> _DoughVars:
        n = len(task.stages)
        found = _DoughVars(
            task,
            [self._minute() for _ in range(n)],
            [self._minute() for _ in range(n)],
            [self._minute() for _ in range(n)],
            [],
            [],
        )
        last = n - 1
        followed = {before for stage in task.stages for before in stage.predecessors}
        for number, stage in enumerate(task.stages):
            self.model.add(found.taken[number] >= found.begins[number] + stage.ready_min)
            self._stand(found, number, stage)
            for at, hands in stage.meanwhile:
                self._work(found.begins[number] + at, hands)
            is_shaping = number == last and task.bake is not None
            if not is_shaping:
                self.model.add(found.begins[number] == found.hands[number] + stage.hands_min)
                self._work(found.hands[number], stage.hands_min, stage.mixer_min)
            if number not in followed and not is_shaping:  # nothing takes it on: it is done when it is ready
                self.model.add(found.taken[number] == found.begins[number] + stage.ready_min)
        end_of_hands: list[cp_model.LinearExpr | cp_model.IntVar] = [
            start + stage.hands_min for start, stage in zip(found.hands, task.stages, strict=True)
        ]
        if task.bake is not None:
            end_of_hands[last] = self._bake(found, task.bake)
        for number, stage in enumerate(task.stages):
            for before in stage.predecessors:
                late = self._lateness()
                found.late.append(late)
                earlier = task.stages[before]
                # Hands take on what is ready in their middle: the first piece a little before, the last a little after.
                self.model.add(found.taken[before] == found.hands[number] + stage.hands_min // 2)
                closes = max(earlier.closes_min, earlier.ready_min + ceil(stage.hands_min / 2))
                self.model.add(end_of_hands[number] <= found.begins[before] + closes + late)
                self._wait(found.taken[before] - found.begins[before], earlier.ready_min, earlier.best_min)
        held = dict(task.held)
        for number, start in enumerate(found.hands):
            self.model.add(start == held[number] if number in held else start >= task.earliest_min)
        self._wanted(found)
        return found

    def _wait(self, stood: cp_model.LinearExprT, ready: int, best: int) -> None:
        """What it costs that something stands for longer than it needs."""
        self.costs.append(WAIT_COST * (stood - ready))
        past_best = self._minute()
        self.model.add(past_best >= stood - best)
        self.costs.append(PAST_BEST_COST * past_best)

    def _work(self, start: cp_model.LinearExprT, hands: int, mixer: int = 0) -> None:
        if hands > 0:
            self.hands.append(self.model.new_fixed_size_interval_var(start, hands, ""))
        if mixer > 0:
            self.mixers.append(self.model.new_fixed_size_interval_var(start, mixer, ""))

    def _stand(self, dough: _DoughVars, number: int, stage: StageTask) -> None:
        begins, taken = dough.begins[number], dough.taken[number]
        for stand in stage.uses:
            start = begins + stand.from_min
            if stand.to_min is None:
                size = self._minute()
                interval = self.model.new_interval_var(start, size, taken, "")
            else:
                interval = self.model.new_fixed_size_interval_var(start, stand.to_min - stand.from_min, "")
            self.uses.setdefault(stand.place, []).append((interval, stand.takes))

    def _bake(self, dough: _DoughVars, bake: BakeTask) -> cp_model.IntVar:
        """Shape load after load, then bake each inside its own window. The end of the last hands comes back."""
        number = len(dough.task.stages) - 1
        stage = dough.task.stages[number]
        shares = shares_of(stage.hands_min, len(bake.windows))
        start = dough.hands[number]
        for i, (opens, best, closes) in enumerate(bake.windows):
            if i:
                delay = self.model.new_int_var(
                    bake.stagger_min, self.horizon if bake.can_stagger else bake.stagger_min, ""
                )
                self.costs.append(STAGGER_COST * delay)
                start, before = self._minute(), dough.loads[-1].shaped
                self.model.add(start == before + delay)
            self._work(start, shares[i], stage.mixer_min if i == 0 else 0)
            load = _LoadVars(self._minute(), self._minute(), self._lateness(), self._choice())
            self.model.add(load.shaped == start + shares[i])
            self.model.add(load.loaded >= load.shaped + opens)
            self.model.add(load.loaded <= load.shaped + closes + load.late)
            if opens < closes:  # else it went in just then
                self.model.add(load.loaded >= dough.task.earliest_min)
            self._wait(load.loaded - load.shaped, opens, best)
            if dough.loads:
                self.model.add(load.loaded >= dough.loads[-1].loaded)
            self._work(load.loaded, LOADING_MIN)
            self._work(load.loaded + bake.minutes, LOADING_MIN)
            self.ovens.append((bake, load))
            dough.loads.append(load)
        self.model.add(dough.begins[number] == dough.loads[0].shaped)
        self.model.add(dough.taken[number] == dough.loads[-1].loaded)
        return dough.loads[-1].shaped

    def _wanted(self, dough: _DoughVars) -> None:
        bake, wanted = dough.task.bake, dough.task.wanted_min
        end = dough.taken[-1] if bake is None else dough.loads[-1].loaded + bake.minutes
        if wanted is not None and dough.task.is_after:
            self.model.add(end >= wanted)
            self.costs.append(LATE_COST * (end - wanted))
        elif wanted is not None and Limit.TIME not in self.lifted and not dough.task.can_be_late:
            self.model.add(end <= wanted)
            self.costs.append(EARLY_COST * (wanted - end))
        elif wanted is not None:
            over = self._minute()
            self.model.add(over >= end - wanted)
            self.costs.append(LATE_COST * over)
        else:
            self.costs.append(EARLY_COST * end)
        for hands in dough.hands:  # no dough is begun sooner than it must be
            self.costs.append(-1 * hands if wanted is not None else 0 * hands)

    def _order(self) -> None:
        """What is to be baked last goes in after all else."""
        for last in (dough for dough in self.doughs if dough.task.goes_last and dough.loads):
            for other in self.doughs:
                for load in other.loads if other is not last else ():
                    self.model.add(load.loaded <= last.loads[0].loaded)

    def _limit(self) -> None:
        limits = self.limits
        if Limit.PEOPLE not in self.lifted:
            self.model.add_cumulative(self.hands, [1] * len(self.hands), limits.people)
        if Limit.HOURS not in self.lifted:
            for begin, end in limits.nights:
                night = self.model.new_fixed_size_interval_var(begin, end - begin, "")
                for hands in self.hands:
                    self.model.add_no_overlap([night, hands])
        if Limit.MIXER not in self.lifted:
            self.model.add_cumulative(self.mixers, [1] * len(self.mixers), limits.mixers)
        if Limit.PLACE not in self.lifted:
            for place, holds in limits.places:
                standing = self.uses.get(place, [])
                self.model.add_cumulative([each for each, _ in standing], [takes for _, takes in standing], holds)
        if Limit.OVEN not in self.lifted:
            self._oven()
        self._lit()

    def _choice(self) -> list[cp_model.IntVar]:
        """One oven of those there are."""
        found = [self.model.new_bool_var("") for _ in self.limits.ovens]
        self.model.add_exactly_one(found)
        return found

    def _oven(self) -> None:
        """As many loads at a time as an oven has decks, all at one temperature."""
        for oven, decks in enumerate(self.limits.ovens):
            held = [
                self.model.new_optional_fixed_size_interval_var(
                    load.loaded, bake.minutes + max(bake.recover_min[oven], LOADING_MIN), load.ovens[oven], ""
                )
                for bake, load in self.ovens
            ]
            self.model.add_cumulative(held, [1] * len(held), decks)
            for i, (first, load) in enumerate(self.ovens):
                for second, other in self.ovens[i + 1 :]:
                    if can_share((first.oven_c, first.ends_c), (second.oven_c, second.ends_c)):
                        continue
                    is_first, both = self.model.new_bool_var(""), (load.ovens[oven], other.ovens[oven])
                    gap = self._gap(first, second, oven)
                    self.model.add(other.loaded >= load.loaded + gap).only_enforce_if(is_first, *both)
                    gap = self._gap(second, first, oven)
                    self.model.add(load.loaded >= other.loaded + gap).only_enforce_if(~is_first, *both)

    @staticmethod
    def _gap(first: BakeTask, then: BakeTask, oven: int) -> int:
        """From the loading of one bread to that of another which bakes at another temperature."""
        return first.minutes + ceil(turn_min(first.ends_c, then.oven_c, then.preheat_min, first.recover_min[oven]))

    def _lit(self) -> None:
        """Somebody turns the oven on for each load, unless it is on still from the one before."""
        nights = [] if Limit.HOURS in self.lifted else self.limits.nights
        dark = cp_model.Domain.from_intervals([[begin, end - 1] for begin, end in nights])
        now = min((dough.task.earliest_min for dough in self.doughs), default=0)
        hours = cp_model.Domain(now, self.horizon).intersection_with(dark.complement())
        for i, (bake, load) in enumerate(self.ovens):
            if not bake.preheat_min:  # it is on already
                continue
            is_lit = self.model.new_bool_var("")
            heated = load.loaded - bake.preheat_min
            self.model.add_linear_expression_in_domain(heated, hours).only_enforce_if(is_lit)
            still_on = [is_lit]
            for j, (earlier, other) in enumerate(self.ovens):
                if i == j:
                    continue
                follows = self.model.new_bool_var("")
                out = other.loaded + earlier.minutes
                idle = floor(longest_idle_min(bake.preheat_min))
                self.model.add(load.loaded >= out).only_enforce_if(follows)
                self.model.add(load.loaded <= out + idle).only_enforce_if(follows)
                for mine, its in zip(load.ovens, other.ovens, strict=True):
                    self.model.add(mine == its).only_enforce_if(follows)
                still_on.append(follows)
            self.model.add_bool_or(still_on)


def solve(
    doughs: tuple[DoughTask, ...],
    limits: Limits,
    horizon: int,
    lifted: frozenset[Limit] = frozenset(),
    *,
    effort: float = EFFORT,
    is_any: bool = False,
) -> tuple[DoughTimes, ...] | None:
    """The best times for a day, or None when there are none. [min]

    Parameters
    ----------
    horizon
        Minutes the day may last, from its beginning at 0.
    lifted
        Limits that are not held.
    effort
        Deterministic seconds after which the best day found so far is taken.
    is_any
        The first day found will do, however poor.

    Raises
    ------
    SolverError
        When neither was found in the effort allowed.
    """
    day = _Day(doughs, limits, horizon, lifted)
    day.model.minimize(sum(day.costs))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = SEED
    # It would leave the process without any handler of Ctrl-C: a demo that planned left all its programs running.
    solver.parameters.catch_sigint_signal = False
    solver.parameters.max_deterministic_time = effort
    solver.parameters.stop_after_first_solution = is_any
    status = solver.solve(day.model)
    if status == cp_model.INFEASIBLE:
        return None
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise SolverError(
            "no plan was found and none ruled out for {n} doughs ({status}): plan fewer doughs at "
            "once, or give them more room",
            n=len(doughs),
            status=solver.status_name(status),
        )

    def values(variables: Iterable[cp_model.IntVar]) -> tuple[int, ...]:
        return tuple(solver.value(variable) for variable in variables)

    return tuple(
        DoughTimes(
            hands=values(dough.hands),
            begins=values(dough.begins),
            taken=values(dough.taken),
            shaped=values(load.shaped for load in dough.loads),
            loaded=values(load.loaded for load in dough.loads),
            ovens=tuple(values(load.ovens).index(1) for load in dough.loads),
            late_loads=values(load.late for load in dough.loads),
            late_stages=values(dough.late),
        )
        for dough in day.doughs
    )


class Progressed(Protocol):
    """A dough that has begun: what is left of its task."""

    def task(self, task: DoughTask, base_at: datetime) -> DoughTask:
        """What is left of it."""
        ...


@dataclass(frozen=True, slots=True)
class Problem:
    """A day to be solved, and solved again with something else about it; ``begun``: what has begun, by its key."""

    kitchen: Kitchen
    base_at: datetime
    zone: tzinfo
    doughs: tuple[PreparedOrder, ...]
    begun: Mapping[str, Progressed] = field(default_factory=dict)

    @property
    def horizon(self) -> int:
        wanted = [each.order.wanted_at for each in self.doughs]
        if any(at is None for at in wanted):
            return LONGEST_DAY_MIN
        latest = max(at for at in wanted if at is not None)
        return max(int((latest - self.base_at).total_seconds() // 60), 0) + SPARE_MIN

    def tasks(self, *, can_stagger: bool = False, late: str = "", last: str = "") -> tuple[DoughTask, ...]:
        return tuple(
            replace(self._task(each, can_stagger), can_be_late=each.key == late, goes_last=each.key == last)
            for each in self.doughs
        )

    def _task(self, dough: PreparedOrder, can_stagger: bool) -> DoughTask:
        task = task_of(dough, self.kitchen, self.base_at, can_stagger=can_stagger)
        return self.begun[dough.key].task(task, self.base_at) if dough.key in self.begun else task

    @property
    def limits(self) -> Limits:
        return limits_of(self.kitchen, self.base_at, self.horizon, self.zone)

    def times(self) -> tuple[DoughTimes, ...] | None:
        """The best times; None when there are none."""
        return solve(self.tasks(), self.limits, self.horizon)

    def tried(
        self, *lifted: Limit, can_stagger: bool = False, late: str = "", last: str = ""
    ) -> tuple[DoughTimes, ...] | None:
        """Times with something else about the day; None when there are none, or none was found in little effort.

        Parameters
        ----------
        late, last
            Keys of the dough that may miss its hour, and of the one that is baked after all others.
        """
        tasks = self.tasks(can_stagger=can_stagger, late=late, last=last)
        effort = EFFORT_AWAKE if Limit.HOURS in lifted else EFFORT_TO_EXPLAIN
        try:
            return solve(tasks, self.limits, self.horizon, frozenset(lifted), effort=effort)
        except SolverError:
            return None

    def is_possible(self) -> bool:
        """Whether there is any day at all; False too where little effort has found none."""
        try:
            return solve(self.tasks(), self.limits, self.horizon, effort=EFFORT_TO_EXPLAIN, is_any=True) is not None
        except SolverError:
            return False

    def with_kitchen(self, kitchen: Kitchen) -> "Problem":
        return replace(self, kitchen=kitchen)

    def with_bake(self, key: str, **changes: Any) -> "Problem":
        """The same day with something else done about one dough's bake."""
        doughs = (
            rebaked(each, replace(bake, **changes), self.kitchen)
            if each.key == key and (bake := each.recipe.bake) is not None
            else each
            for each in self.doughs
        )
        return replace(self, doughs=tuple(doughs))

    def at(self, minute: float) -> datetime:
        return self.base_at + timedelta(minutes=minute)
