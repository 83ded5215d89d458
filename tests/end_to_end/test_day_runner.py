"""Plans in the store: kept, started, followed on, called for; and the command ``plan``."""

import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import made_up_day as made_up
import pytest
from harness import SetClock, wait_until

from monitor.alerts.dough import Message
from monitor.alerts.kinds import AlertKind, CueKind
from monitor.alerts.limits import AIR_LIMITS, air_limits
from monitor.cli import main
from monitor.clock import Pace
from monitor.collector.plan_runner import (
    PLAN_FAULT,
    PlanRunner,
    StageForecasts,
    begin_stage,
    end_loaded,
    follow_on,
    live_plan,
    run_plans,
    send_cues,
    start_next,
    tick_off,
)
from monitor.commands.plan import wanted_moment
from monitor.dough.outlook import Moments, Outlook, State
from monitor.errors import ConfigError, StoreError
from monitor.plan.day import Plan, PlanId, StepKind, load_key
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.batch import Event, EventKind, Stage
from monitor.recipe.recipe_file import recipe_toml
from monitor.store.collector_lock import hold_collector_lock
from monitor.store.heartbeat import beat
from monitor.store.pace import settle_pace
from monitor.store.store import Store
from monitor.wording.reader import Reader

KEY = "tamarack loaf"


@pytest.fixture(scope="module")
def made() -> Plan:
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    return found


@pytest.fixture
def store(tmp_path: Path):
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def live(store: Store, plan: Plan, now: datetime):
    return live_plan(store, plan, now, StageForecasts(store))


def texts(store: Store) -> list[str]:
    return [message.title for message in reversed(store.outbox.messages())]


# -- the store --------------------------------------------------------------------------------------------------------


def test_a_plan_comes_back_as_it_was_kept(store, made):
    kept = store.plans.add(made)
    assert kept.id == 1
    assert store.plans.all() == [kept]
    assert store.plans.get(kept.id) == kept


def test_a_dropped_plan_is_gone(store, made):
    kept = store.plans.add(made)
    store.plans.drop(kept.id)
    assert store.plans.all() == []
    with pytest.raises(StoreError, match="has no plan 1"):
        store.plans.get(kept.id)


def test_a_step_is_done_once(store, made):
    kept = store.plans.add(made)
    store.plans.mark_done(kept.id, "a", made_up.MORNING)
    store.plans.mark_done(kept.id, "a", made_up.NOON)
    assert store.plans.done(kept.id) == {"a": made_up.MORNING}
    assert store.plans.done(PlanId(7)) == {}


def test_a_call_needs_no_batch_and_is_kept_once(store, made):
    kept = store.plans.add(made)
    message = Message("plan-1/x", None, CueKind.MIX, 1, "mix now", "mix it", made_up.MORNING)
    for _ in range(2):
        store.plans.announce(kept.id, [message], {KEY: made_up.NOON})
    assert store.outbox.messages() == [message]
    assert [each for each, _, _ in store.outbox.open_messages()] == [message]
    assert store.plans.cues(kept.id) == {"x": message.created_at}
    assert store.plans.cues(PlanId(11)) == {}
    assert store.plans.announced(kept.id) == {KEY: made_up.NOON}


# -- living it --------------------------------------------------------------------------------------------------------


def test_starting_from_the_plan_begins_the_batch_that_watches_the_stage(store, made):
    plan = store.plans.add(made)
    now = made.doughs[0].stages[0].hands_at
    settle_pace(store, Pace(now, 0.0))
    beat(store)
    with hold_collector_lock(store.path.parent):
        said = start_next(store, live(store, plan, now), now, Reader(UTC))
    (batch,) = store.batches.running()
    assert batch.stage is Stage.RETARD  # it stands in the refrigerator
    assert batch.target.is_peak
    assert batch.recipe_key == KEY
    assert batch.formula is not None
    assert batch.formula.dough_g == pytest.approx(500.5)
    assert batch.preheat_min is None  # the plan calls for the oven
    assert "it is watched by eye" in said  # the plan names no sensor


def test_the_next_start_ends_what_it_takes_on(store, made):
    plan = store.plans.add(made)
    for stage in made.doughs[0].stages:
        start_next(store, live(store, plan, stage.hands_at), stage.hands_at, Reader(UTC))
    (running,) = store.batches.running()
    assert running.stage is Stage.FINAL_PROOF
    assert running.formula.dough_g == pytest.approx(made.doughs[0].recipe.dough.mass_g)
    with pytest.raises(ConfigError, match="no stage is left"):
        start_next(store, live(store, plan, made_up.NOON), made_up.NOON, Reader(UTC))


def test_the_end_of_one_stage_is_the_beginning_of_the_next(store, made):
    plan = store.plans.add(made)
    bulk, proof = made.doughs[0].stages[1:]
    for stage in made.doughs[0].stages[:2]:
        start_next(store, live(store, plan, stage.begins_at), stage.begins_at, Reader(UTC))
    assert follow_on(store, live(store, plan, bulk.ends_at)) == []
    (running,) = store.batches.running()
    store.batches.add_event(running.id, Event(bulk.ends_at, EventKind.END))
    (batch,) = follow_on(store, live(store, plan, bulk.ends_at))
    assert batch.stage is Stage.FINAL_PROOF
    assert batch.started_at == bulk.ends_at + (proof.begins_at - proof.hands_at)
    assert follow_on(store, live(store, plan, bulk.ends_at)) == []


def test_loaves_in_the_refrigerator_are_judged_by_its_air_until_they_come_out(store):
    recipe = made_up.recipe()
    cold = replace(recipe.method[-1], cold_h=8.0)
    found = make_plan((Order(replace(recipe, method=(cold,)), None),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    plan = store.plans.add(found)
    start_next(store, live(store, plan, made_up.MORNING), made_up.MORNING, Reader(UTC))
    (batch,) = store.batches.running()
    assert batch.stage is Stage.FINAL_PROOF
    assert air_limits(batch, batch.started_at) == AIR_LIMITS[Stage.RETARD]
    out_at = made_up.MORNING + timedelta(hours=8)
    step = next(each for each in steps(plan) if each.kind is StepKind.MOVE)
    tick_off(store, live(store, plan, out_at), step, out_at)
    (batch,) = store.batches.running()
    assert air_limits(batch, out_at) == AIR_LIMITS[Stage.FINAL_PROOF]
    assert step.key in store.plans.done(plan.id)


def test_what_is_in_the_oven_to_its_last_load_stands_no_longer(store, made):
    plan = store.plans.add(made)
    (dough,) = made.doughs
    proof, last = dough.stages[-1], dough.loads[-1]
    batch = begin_stage(store, plan, dough, proof, proof.begins_at)
    store.plans.mark_done(plan.id, load_key(dough.key, last.number, StepKind.LOAD), last.in_at)
    end_loaded(store, live(store, plan, last.in_at), last.in_at)
    assert store.batches.get(batch.id).ended_at is None, "the tap can be taken back yet"
    later = last.in_at + timedelta(minutes=1)
    end_loaded(store, live(store, plan, later), later)
    assert store.batches.get(batch.id).ended_at == last.in_at


def test_what_is_mixed_waits_for_hands(store, made):
    plan = store.plans.add(made)
    first = made.doughs[0].stages[0]
    start_next(store, live(store, plan, first.begins_at), first.begins_at, Reader(UTC))
    (running,) = store.batches.running()
    store.batches.add_event(running.id, Event(first.ends_at, EventKind.END))
    assert follow_on(store, live(store, plan, first.ends_at)) == []


def test_calls_go_into_the_outbox_once(store, made):
    store.plans.add(made)
    now = made.doughs[0].stages[0].hands_at
    for _ in range(3):
        run_plans(store, now, Reader(UTC), StageForecasts(store))
    (message,) = store.outbox.messages()
    assert (message.kind, message.batch_id) == (CueKind.MIX, None)
    assert message.title == "mix now: Tamarack loaf"


def test_a_warmer_kitchen_is_said_once_with_every_later_time(store, made):
    plan = store.plans.add(made)
    stages = made.doughs[0].stages
    for stage in stages[:2]:
        start_next(store, live(store, plan, stage.begins_at), stage.begins_at, Reader(UTC))
    (running,) = store.batches.running()
    for n in (40.0, 41.0):
        now = stages[1].begins_at + minutes(n)
        ready = Moments(p25=stages[1].ready_at - minutes(34), p50=stages[1].ready_at - minutes(32))
        outlook = Outlook(at=now, state=State.RISING, ready=ready, air_temp_c=27.0, dough_temp_c=27.0)
        store.save_step(running.id, outlook, (), ())
        send_cues(store, live(store, plan, now), now, Reader(UTC))
    (moved,) = [message for message in store.outbox.messages() if message.kind is CueKind.MOVED]
    assert moved.batch_id == running.id
    assert "3.0 °C warmer than planned" in moved.text
    assert re.search(r"Everything still to come is \d+ min earlier", moved.text)
    for what in ("divide and shape", "oven on", "load 1 of 2 in", "load 2 of 2 out"):
        assert what in moved.text


def test_a_plan_that_is_over_calls_no_more(store, made):
    plan = store.plans.add(made)
    run_plans(store, made_up.NOON + timedelta(days=3), Reader(UTC), StageForecasts(store))
    assert store.plans.open() == []
    assert store.plans.all() == [plan]
    run_plans(store, made.doughs[0].stages[0].hands_at, Reader(UTC), StageForecasts(store))
    assert store.outbox.messages() == []


def test_the_runner_lives_plans_beside_everything_else(tmp_path, made):
    path = tmp_path / "proofing.sqlite"
    with Store(path) as store:
        store.plans.add(made)
        runner = PlanRunner(path, SetClock(made.doughs[0].stages[0].hands_at), Reader(UTC))
        runner.start()
        try:
            wait_until(lambda: texts(store) == ["mix now: Tamarack loaf"], "the cue")
        finally:
            runner.stop()


def test_a_fault_in_planning_is_counted_and_does_no_more_harm(tmp_path, made, monkeypatch):
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("monitor.collector.plan_runner.run_plans", broken)
    path = tmp_path / "proofing.sqlite"
    with Store(path) as store:
        runner = PlanRunner(path, SetClock(made_up.MORNING), Reader(UTC))
        runner.start()
        try:
            wait_until(lambda: [fault.reason for fault in store.nodes.faults()] == [PLAN_FAULT], "the count")
        finally:
            runner.stop()


# -- the command ------------------------------------------------------------------------------------------------------


@pytest.fixture
def bakery(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Runs ``plan`` in a directory of its own; what it says comes back."""
    (tmp_path / "tamarack.toml").write_text(made_up.COLD_PREFERMENT_DAY)
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "config.toml").write_text('timezone = "UTC"\n')

    def run(*args: str, status: int = 0) -> str:
        words = [word.replace("RECIPE", str(tmp_path / "tamarack.toml")) for word in args]
        assert main(["plan", *words, "--data-dir", str(tmp_path / "data")]) == status
        told = capsys.readouterr()
        return told.out + told.err

    return run


def test_a_bake_is_planned_started_and_followed(bakery):
    told = bakery("make", "RECIPE")
    assert "plan 1 is kept" in told
    assert "load 2 of 2 in" in told
    shown = bakery("show")
    assert "[ ]" in shown
    assert "[x]" not in shown
    assert "batch 1: Tamarack loaf (retard)" in bakery("start")
    assert "[x]" in bakery("show").splitlines()[0]
    assert "to come" in bakery("list")
    assert "batch 2: Tamarack loaf (first rise)" in bakery("start", "1")
    bakery("start")
    lines = bakery("show").splitlines()
    oven = next(line for line in lines if "oven on" in line)
    number = oven.split()[0]
    assert "done: oven on" in bakery("done", number)
    assert "[x]" in next(line for line in bakery("show").splitlines() if "oven on" in line)
    assert "dropped" in bakery("drop", "1")
    assert "no plan yet" in bakery("list")


def test_an_hour_too_soon_is_explained(bakery):
    told = bakery("make", "RECIPE", "--out", "tomorrow 00:01", status=2)
    assert "too little time" in told
    assert "would do: have Tamarack loaf out" in told


def test_a_dry_run_keeps_nothing(bakery):
    bakery("make", "RECIPE", "--dry-run")
    assert "no plan yet" in bakery("list")


def test_alternatives_are_told_side_by_side(bakery):
    told = bakery("alternatives", "RECIPE")
    for what in ("as written", "half the yeast", "twice the yeast", "room 3 °C warmer", "in the refrigerator"):
        assert what in told


def test_a_kitchen_of_its_own_is_used(bakery, tmp_path):
    kitchen = tmp_path / "kitchen.toml"
    kitchen.write_text("room_c = 12\n")
    cold = bakery("make", "RECIPE", "--dry-run", "--kitchen", str(kitchen))
    assert "Tamarack loaf" in cold
    assert "cannot be read" in bakery("make", "RECIPE", "--kitchen", str(tmp_path / "none.toml"), status=2)


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("show",), "holds no plan"),
        (("show", "7"), "has no plan 7"),
        (("make", "RECIPE", "--out", "soon"), "say 12:30, tomorrow 12:30"),
        (("make", "RECIPE", "--out", "2020-01-01 12:30"), "that is over"),
        (("make", "RECIPE", "--out", "9999-12-31 23:59"), "a plan reaches 366 days at the most; check the date"),
        (("make", "RECIPE", "--out", "12:30", "--out", "13:30"), "once for each"),
    ],
)
def test_a_slip_on_the_command_line_is_explained(bakery, args, told):
    assert told in bakery(*args, status=2)


def test_steps_out_of_turn_are_refused(bakery):
    bakery("make", "RECIPE")
    lines = bakery("show").splitlines()
    shape = next(line.split()[0] for line in lines if "divide and shape" in line)
    assert "what comes before it has not" in bakery("done", shape, status=2)
    assert "numbers them" in bakery("done", "99", status=2)


def test_a_recipe_without_stages_cannot_be_planned(bakery, tmp_path):
    bare = made_up.recipe()
    path = tmp_path / "tamarack.toml"
    path.write_text(recipe_toml(bare).split("[[stage]]")[0])
    assert "says nothing of its stages" in bakery("make", "RECIPE", status=2)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("12:30", datetime(2026, 3, 2, 12, 30, tzinfo=UTC)),
        ("05:30", datetime(2026, 3, 3, 5, 30, tzinfo=UTC)),
        ("tomorrow 12:30", datetime(2026, 3, 3, 12, 30, tzinfo=UTC)),
        ("2026-03-05 07:00", datetime(2026, 3, 5, 7, 0, tzinfo=UTC)),
    ],
)
def test_an_hour_is_read_as_a_baker_says_it(text, at):
    assert wanted_moment(text, made_up.MORNING, UTC) == at


def test_every_step_kind_has_a_call(made):
    kinds = {step.kind for step in steps(made)}
    assert kinds >= {StepKind.MIX, StepKind.SHAPE, StepKind.OVEN_ON, StepKind.LOAD, StepKind.STEAM, StepKind.OUT}
    assert not {str(kind) for kind in CueKind} & {str(kind) for kind in AlertKind}


def test_only_making_a_plan_loads_the_solver():
    code = "import sys, monitor.collector.service, dashboard.plan.screen; print('ortools' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
