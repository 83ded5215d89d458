"""The demo's bread without its processes: simulated doughs, the estimator, the plan, a baker who goes by the cues."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from firmware_sim.bench.air import air_named
from firmware_sim.demo.bread import STANDS as SIMULATED
from firmware_sim.demo.bread import Vessel
from monitor.alerts.kinds import CueKind
from monitor.collector.plan_runner import StageForecasts, run_plans
from monitor.demo.bake import PLANNED_ROOM_C, RECIPE_NAME, STANDS, Baker, planned_day, recipe_text
from monitor.dough.forecast import outlook
from monitor.plan.day import Plan
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.reader import Reader

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
STEP = timedelta(minutes=3)
NIGHT_STEP = timedelta(minutes=60)
SEED = 1


@dataclass(slots=True)
class Told:
    """What was planned, and every message of the day."""

    plan: Plan
    kinds: list[CueKind]
    at: dict[str, datetime]
    moved: list[str]


def readings(batch: Batch, vessel: Vessel, at: datetime, seq: int) -> list[Reading]:
    """What the node over a vessel says at a moment."""
    at_s = (at - START).total_seconds()
    values = {
        Channel.AIR_TEMP: vessel.air.temp_c(at_s),
        Channel.DOUGH_TEMP: (vessel.read_dough(at_s) or 0) / 100.0,
        Channel.DISTANCE: (vessel.read_distance(at_s) or 0) / 10.0,
    }
    nodes = dict(batch.nodes)
    return [
        Reading(node=NodeId(nodes[channel]), boot="0000000a", seq=seq, channel=channel, value=value, measured_at=at,
                arrived_at=at)
        for channel, value in values.items()
    ]  # fmt: skip


def lived(folder: Path, room_c: float) -> Told:
    """The day in a kitchen that is truly so warm."""
    (folder / RECIPE_NAME).write_text(recipe_text())
    airs = {True: air_named("steady:4", SEED), False: air_named(f"steady:{room_c:g}", SEED)}
    vessels = {name: Vessel(stand, airs[stand.is_cold], SEED, name) for name, stand in SIMULATED.items()}
    filled: set[str] = set()
    kinds: list[CueKind] = []
    moved: list[str] = []
    with Store(folder / "proofing.sqlite") as store:
        plan = planned_day(store, folder, START, UTC)
        baker = Baker(store, plan, folder)
        ask, now, seq = StageForecasts(store), START, 0
        while not baker.is_done:
            assert now < START + timedelta(hours=40), "the bread is not out"
            running = store.batches.running()
            for key, batch in store.plans.batches_of(plan.id).items():
                name = STANDS[int(key.split("/")[1])]
                if name not in filled and batch.started_at <= now:
                    vessels[name].begin((batch.started_at - START).total_seconds())
                    filled.add(name)
                if batch.ended_at is None and batch.started_at <= now:
                    seq += 1
                    store.readings.add(readings(batch, vessels[name], now, seq))
                    found = outlook(batch, store.readings.track(batch), now)
                    store.save_step(batch.id, replace(found, fan=()), (), ())
            run_plans(store, now, Reader(UTC), ask)
            for message in baker.act(now):
                if isinstance(message.kind, CueKind):
                    (moved if message.kind is CueKind.MOVED else kinds).append(
                        message.text if message.kind is CueKind.MOVED else message.kind
                    )
            only_cold = [batch for batch in running if batch.nodes and batch.target.is_peak]
            is_night = bool(only_cold) and len(running) == 1 and now < plan.doughs[0].stages[1].hands_at - NIGHT_STEP
            now += NIGHT_STEP if is_night else STEP
        return Told(plan, kinds, baker.heard, moved)


IN_ORDER = [
    CueKind.MIX, CueKind.MIX, CueKind.SHAPE, CueKind.OVEN_ON,
    CueKind.LOAD, CueKind.STEAM, CueKind.STEAM, CueKind.STEAM, CueKind.OUT,
    CueKind.LOAD, CueKind.STEAM, CueKind.STEAM, CueKind.STEAM, CueKind.OUT, CueKind.OVEN_OFF,
]  # fmt: skip


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Told:
    return lived(tmp_path_factory.mktemp("warm"), 25.0)


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Told:
    return lived(tmp_path_factory.mktemp("usual"), PLANNED_ROOM_C)


def test_the_cues_come_once_each_in_the_order_of_the_day(warm: Told, usual: Told):
    assert warm.kinds == usual.kinds == IN_ORDER


def test_a_kitchen_three_degrees_warmer_moves_every_later_time_and_says_so(warm: Told, usual: Told):
    assert any("warmer than planned" in text and "earlier" in text for text in warm.moved)
    assert not any("warmer" in text or "colder" in text for text in usual.moved)
    later = [step for step in steps(warm.plan) if step.load is not None or step.key.endswith("/oven")]
    assert steps(warm.plan) == steps(usual.plan)
    assert all(warm.at[step.key] < usual.at[step.key] for step in later)


def test_no_loaf_waits_beyond_its_window_and_the_second_follows_the_first(warm: Told):
    key = warm.plan.doughs[0].key
    assert warm.at[f"{key}/load 2/in"] - warm.at[f"{key}/load 1/out"] <= STEP
    assert warm.at[f"{key}/load 1/out"] - warm.at[f"{key}/load 1/in"] == pytest.approx(
        timedelta(minutes=25), abs=2 * STEP
    )


def test_the_plan_is_not_said_to_move_at_every_sway(warm: Told):
    assert len(warm.moved) <= 5
