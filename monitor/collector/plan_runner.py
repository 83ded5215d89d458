"""Lives a plan beside the collector: re-times it with each forecast, calls for its steps, begins what follows.

It has a thread and a connection of its own, so that a fault in planning never keeps a frame waiting.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from monitor.alerts.dough import Message
from monitor.clock import Clock
from monitor.dough.learning import RecipeExperience, learned_from
from monitor.errors import ConfigError, StoreError
from monitor.plan.cues import Cue, moved_cues, step_cues
from monitor.plan.day import (
    DoughPlan,
    Plan,
    StagePlan,
    Step,
    StepKind,
    batch_of_stage,
    first_step_key,
    is_shaped_in,
    load_key,
    oven_off_key,
    retard_before,
    taken_from_cold,
)
from monitor.plan.food import measured_warm_min, perishable_stages
from monitor.plan.live import ForecastStage, Progress, WatchedStage, retimed
from monitor.plan.orders import Order, predecessors_of
from monitor.plan.stage_forecast import StageForecast, batch_of, forecast_stage, mass_of
from monitor.published.moments import Entry, batch_entries, plan_entries, say
from monitor.recipe.batch import Batch, BatchId, Event, EventKind
from monitor.recipe.method import MethodStage
from monitor.recipe.parts import Recipe
from monitor.store.background import StoreThread
from monitor.store.heartbeat import absence_here
from monitor.store.plans import message_id
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording.cues import cue_text, cue_title, food_sentence
from monitor.wording.phrases import printable, stage_word
from monitor.wording.reader import Reader

log = logging.getLogger(__name__)

EVERY = timedelta(minutes=1)  # of dough time, as the estimates
POLL_S = 0.2
PLAN_FAULT = "plan step failed"
"""Reason under which a fault of this program is counted."""
MOST_REMEMBERED = 500
OFF_WITHIN = timedelta(minutes=15)  # judgement: so long a plan whose bread is out still says that the oven goes off
SURE_AFTER = timedelta(minutes=1)  # judgement: longer than the screens offer to take a tap back
OVER_AFTER = timedelta(hours=3)  # judgement: a plan whose bread should have been out so long ago calls no more


def learned_for(store: Store, recipe: Recipe, stage: MethodStage, mass_g: float) -> RecipeExperience | None:
    """What finished batches taught about a stage of a recipe."""
    batch = batch_of(recipe, stage, mass_g)
    return learned_from(store.lessons.all(batch.recipe_key), batch)


def order_of(store: Store, recipe: Recipe, wanted_at: datetime | None) -> Order:
    """A recipe for an hour, with what its finished batches have taught."""
    learned = tuple(
        learned_for(store, recipe, stage, mass_of(recipe, stage, is_shaped=is_shaped_in(recipe, number)))
        for number, stage in enumerate(recipe.method)
    )
    return Order(recipe, wanted_at, learned)


class StageForecasts:
    """Forecasts stages with what was learned of them, and remembers: the same ones are wanted each minute."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._known: dict[tuple[object, ...], StageForecast] = {}

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
        key = (recipe, stage, air_c, start_c, cold_c, is_shaped)
        if key not in self._known:
            if len(self._known) >= MOST_REMEMBERED:
                self._known.clear()
            learned = learned_for(self._store, recipe, stage, mass_of(recipe, stage, is_shaped=is_shaped))
            self._known[key] = forecast_stage(
                recipe, stage, air_c=air_c, start_c=start_c, cold_c=cold_c, is_shaped=is_shaped, learned=learned
            )
        return self._known[key]


@dataclass(frozen=True, slots=True)
class LivePlan:
    """A plan as it was made, as the doughs have it, and what has become of it."""

    made: Plan
    now: Plan
    progress: Progress


def progress_of(store: Store, plan: Plan) -> Progress:
    """What has become of a plan, from the store."""
    batches = store.plans.batches_of(plan.id)
    watched: dict[tuple[str, int], WatchedStage] = {}
    for dough in plan.doughs:
        for stage in dough.stages:
            batch = batches.get(first_step_key(dough, stage))
            if batch is not None:
                outlook = store.outlooks.latest(batch.id)
                watched[dough.key, stage.number] = WatchedStage(batch.started_at, batch.ended_at, outlook)
    return Progress(store.plans.done(plan.id), watched)


def live_plan(store: Store, plan: Plan, now: datetime, forecast: ForecastStage) -> LivePlan:
    """A plan as its doughs have it at a moment."""
    progress = progress_of(store, plan)
    return LivePlan(plan, retimed(plan, now, progress, forecast), progress)


def open_plans(store: Store, now: datetime, forecast: ForecastStage) -> Iterator[LivePlan]:
    """Every plan that is not closed, as its doughs have it at a moment."""
    for plan in store.plans.open():
        yield live_plan(store, plan, now, forecast)


def is_over(live: LivePlan, now: datetime) -> bool:
    """True when everything of a plan is out or should have been long ago, or when nobody ever began it."""
    is_begun = bool(live.progress.watched or live.progress.done)
    if not is_begun and max(dough.out_at for dough in live.made.doughs) + OVER_AFTER <= now:
        return True
    return all(dough.out_at + OVER_AFTER <= now or _is_out(dough, live.progress, now) for dough in live.now.doughs)


def _is_out(dough: DoughPlan, progress: Progress, now: datetime) -> bool:
    """True when all of a dough is out, and its oven off or called for to be."""
    out_at = progress.done.get(load_key(dough.key, len(dough.loads), StepKind.OUT))
    is_off = oven_off_key(dough.key, len(dough.loads)) in progress.done
    return out_at is not None and (is_off or out_at + OFF_WITHIN <= now)


# -- batches of a plan ------------------------------------------------------------------------------------------------


def begin_stage(store: Store, plan: Plan, dough: DoughPlan, stage: StagePlan, at: datetime) -> Batch:
    """Begin to watch a stage, and mark the step that begins it as done.

    Raises
    ------
    ConfigError
        When it has begun before.
    """
    key = first_step_key(dough, stage)
    batches = store.plans.batches_of(plan.id)
    if key in batches:
        raise ConfigError("plan {id}: {key} has begun before", id=plan.id, key=key)
    made = batch_of_stage(dough.recipe, stage.number, at)
    before = retard_before(dough.recipe, stage.number)
    cold = None if before is None else batches.get(first_step_key(dough, dough.stages[before]))
    if cold is not None:
        made = taken_from_cold(made, dough.method(stage), cold, store.outlooks.latest(cold.id))
    batch = store.batches.add(made)
    store.plans.link_batch(plan.id, key, batch.id)
    store.plans.mark_done(plan.id, key, at)
    return batch


def tick_off(store: Store, live: LivePlan, step: Step, at: datetime) -> tuple[BatchId, Event] | None:
    """Mark a step as done; a dough that comes out of the refrigerator is noted as moved. What was noted, or None."""
    store.plans.mark_done(live.made.id, step.key, at)
    if step.kind is not StepKind.MOVE or step.stage is None:
        return None
    dough = live.made.dough(step.dough)
    batch = store.plans.batches_of(live.made.id).get(first_step_key(dough, dough.stages[step.stage]))
    if batch is None or batch.ended_at is not None:
        return None
    moved = Event(at, EventKind.MOVE, dough.recipe.method[step.stage].place)
    store.batches.add_event(batch.id, moved)
    return batch.id, moved


def next_stages(live: LivePlan) -> list[tuple[DoughPlan, StagePlan]]:
    """The stages that can begin next: what they take on is under way or done, and they have not begun."""
    found = []
    for dough in live.now.doughs:
        predecessors = predecessors_of(dough.recipe)
        begun = {number for key, number in live.progress.watched if key == dough.key}
        for stage in dough.stages:
            if stage.number not in begun and all(before in begun for before in predecessors[stage.number]):
                found.append((dough, stage))
    return found


def _next(live: LivePlan, key: str | None) -> tuple[DoughPlan, StagePlan]:
    waiting = [each for each in next_stages(live) if key in (None, each[0].key)]
    if not waiting:
        known = ", ".join(dough.key for dough in live.now.doughs)
        raise ConfigError("plan {id}: no stage is left to begin; its doughs: {known}", id=live.made.id, known=known)
    return min(waiting, key=lambda each: each[1].hands_at)


def start_next(store: Store, live: LivePlan, now: datetime, reader: Reader, key: str | None = None) -> str:
    """End what the next stage of a plan takes on, and begin to watch it; a sentence comes back.

    Raises
    ------
    ConfigError
        When no stage is left.
    """
    dough, stage = _next(live, key)
    batches = store.plans.batches_of(live.made.id)
    for before in predecessors_of(dough.recipe)[stage.number]:
        for step, batch in batches.items():
            if step.startswith(f"{dough.key}/{before}/") and batch.ended_at is None:
                store.batches.add_event(batch.id, Event(now, EventKind.END))
    batch = begin_stage(store, live.made, dough, stage, now)
    if absence_here(store, now) is not None:
        begun = N_("batch {id}: {batch} ({stage}) has begun")
    elif batch.nodes:
        begun = N_("batch {id}: {batch} ({stage}) is being watched")
    else:
        begun = N_("batch {id}: {batch} ({stage}) has begun; it is watched by eye: note its level now and then")
    return reader.say(
        begun,
        id=batch.id,
        batch=printable(batch.name),
        stage=stage_word(batch.stage, reader),
    )


def follow_on(store: Store, live: LivePlan) -> list[Batch]:
    """Begin the stages whose forerunners have ended: the end of one is the beginning of the next.

    What is mixed out of several parts begins by hand; so does what follows the end of the last stage.
    """
    begun = []
    for dough, stage in next_stages(live):
        befores = predecessors_of(dough.recipe)[stage.number]
        same = [each for each in befores if dough.recipe.method[each].part == dough.method(stage).part]
        watched = live.progress.watched.get((dough.key, same[0])) if same else None
        if watched is not None and watched.ended_at is not None:
            starts_at = watched.ended_at + (stage.begins_at - stage.hands_at)
            begun.append(begin_stage(store, live.made, dough, stage, starts_at))
    return begun


def end_loaded(store: Store, live: LivePlan, now: datetime) -> None:
    """End the last stage of each dough that is in the oven to its last load, once no tap can take that back."""
    batches = store.plans.batches_of(live.made.id)
    for dough in live.made.doughs:
        batch = batches.get(first_step_key(dough, dough.stages[-1]))
        loaded_at = live.progress.done.get(load_key(dough.key, len(dough.loads), StepKind.LOAD))
        is_in = loaded_at is not None and loaded_at + SURE_AFTER <= now
        if batch is not None and batch.ended_at is None and loaded_at is not None and is_in:
            store.batches.add_event(batch.id, Event(loaded_at, EventKind.END))


def food_words(store: Store, live: LivePlan, dough: DoughPlan, reader: Reader) -> str:
    """Time above 5 C, expected and measured so far, beside the guidance; empty without egg, milk or the like."""
    batches = store.plans.batches_of(live.made.id)
    mine = [batches.get(first_step_key(dough, stage)) for stage in perishable_stages(dough)]
    tracks = [store.readings.track(batch) for batch in mine if batch is not None]
    return food_sentence(dough, reader, measured_warm_min(tracks) if tracks else None)


# -- cues -------------------------------------------------------------------------------------------------------------


def _batch_id(store: Store, plan: Plan, dough: str) -> BatchId | None:
    mine = [batch for key, batch in store.plans.batches_of(plan.id).items() if key.startswith(f"{dough}/")]
    return max((batch.id for batch in mine), default=None)


def send_cues(store: Store, live: LivePlan, now: datetime, reader: Reader) -> list[Message]:
    """Put what a plan calls for now into the outbox; returns the new messages."""
    plan = live.made
    given = store.plans.cues(plan.id)
    moved = moved_cues(plan, live.now, now, live.progress, store.plans.announced(plan.id))
    cues: tuple[Cue, ...] = (*step_cues(live.now, now, live.progress, given), *moved)
    messages = [
        Message(
            id=message_id(plan.id, cue.key),
            batch_id=_batch_id(store, plan, cue.dough.key),
            kind=cue.kind,
            episode=1,
            title=cue_title(cue, reader),
            text=cue_text(cue, reader),
            created_at=now,
        )
        for cue in cues
    ]
    if messages:
        store.plans.announce(plan.id, messages, {cue.dough.key: cue.dough.out_at for cue in moved})
        for message in messages:
            log.info("cue plan=%s kind=%r", plan.id, message.kind.value)
    return messages


def run_plans(store: Store, now: datetime, reader: Reader, forecast: ForecastStage) -> None:
    """Bring every plan that is not over up to a moment."""
    for plan in store.plans.open():
        live = live_plan(store, plan, now, forecast)
        if is_over(live, now):
            store.plans.close(plan.id)
            continue
        end_loaded(store, live, now)
        if follow_on(store, live):
            live = live_plan(store, plan, now, forecast)
        send_cues(store, live, now, reader)


def entries_to_come(
    store: Store, now: datetime, reader: Reader, forecast: ForecastStage, ready_soon_min: float
) -> list[Entry]:
    """What is still to come of a store's plans, and of doughs outside of plans, by the clock."""
    found: list[Entry] = []
    planned: set[BatchId] = set()
    for live in open_plans(store, now, forecast):
        found += plan_entries(live.now, live.progress, reader)
        planned |= {batch.id for batch in store.plans.batches_of(live.made.id).values()}
    for batch in store.batches.running():
        outlook = store.outlooks.latest(batch.id)
        if outlook is not None and batch.id not in planned:  # of those that a plan watches, its steps tell
            found += batch_entries(batch, outlook, reader, ready_soon_min)
    return sorted(found, key=lambda entry: entry.at)


class PlanRunner(StoreThread):
    """Brings plans up to date every minute of dough time until stopped."""

    def __init__(self, store_path: Path, clock: Clock, reader: Reader) -> None:
        super().__init__("day runner", store_path)
        self._clock = clock
        self._reader = reader

    def turns(self, store: Store) -> Iterator[float]:
        """Look at the plans each minute of dough time."""
        forecast = StageForecasts(store)
        while True:
            now = self._clock.now()
            try:
                run_plans(store, now, self._reader, forecast)
                say(store, entries_to_come(store, now, self._reader, forecast, 0.0), now)
            except StoreError:
                raise
            except Exception:
                log.exception("plan step failed")
                store.nodes.count_fault("day runner", "plans", PLAN_FAULT, now)
            yield POLL_S
            while self._clock.now() < now + EVERY:
                yield POLL_S
