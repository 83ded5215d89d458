"""The viscoelastic and the stochastic dough behave as doughs do; chains and batches of a recipe hang together."""

import json
import random
import statistics
import subprocess
import sys
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from firmware_sim.bench.air import air_named
from firmware_sim.doughs.bakings import stochastic_traits, viscoelastic_traits
from firmware_sim.doughs.catalogue import KINDS, names_of
from firmware_sim.doughs.dough import Dough
from firmware_sim.doughs.recipes import FORMULA_RECIPES
from firmware_sim.doughs.stochastic import CULTURE_PACE, YEAST_PACE, StochasticDough, pace_of
from firmware_sim.doughs.viscoelastic import ViscoelasticDough, gassing_pace, growth_pace
from firmware_sim.recordings.histories import CLEAN, Wanted, drawn_batches, drawn_chain, write_history
from firmware_sim.recordings.record import Order, bench_of

NAMES = [name for simulator in ("viscoelastic", "stochastic") for name in names_of(simulator)]
START = datetime(2026, 3, 2, 5, tzinfo=UTC)


def drawn(name: str, seed: int, *, step_s: float = 20.0, folds: tuple[tuple[float, float], ...] = ()) -> Dough:
    kind = KINDS[name]
    _, traits = kind.draw(random.Random(seed), None)
    return kind.dough(traits, lambda _: 25.0, folds, step_s=step_s)


def course(dough: Dough, hours: float) -> list[float]:
    rises = []
    for minute in range(10, int(60 * hours), 10):
        dough.advance_to(60.0 * minute)
        rises.append(dough.rise_pct or 0.0)
    return rises


@pytest.mark.parametrize("name", NAMES)
def test_it_rises_peaks_and_falls_but_not_to_nothing(name: str) -> None:
    rises = course(drawn(name, 1), 40.0)
    top = max(range(len(rises)), key=rises.__getitem__)
    assert 25.0 < rises[top] < 320.0
    assert 2 < top < len(rises) - 12
    assert -3.0 < rises[-1] < 0.9 * rises[top]


@pytest.mark.parametrize("name", NAMES)
def test_the_course_hardly_depends_on_the_step(name: str) -> None:
    rough, fine = (course(drawn(name, 2, step_s=step_s), 9.0) for step_s in (10.0, 2.5))
    assert max(abs(a - b) for a, b in zip(rough, fine, strict=True)) < 0.8  # % rise, of 50 to 250


@pytest.mark.parametrize("name", ["viscoelastic-lean", "viscoelastic-starter", "viscoelastic-proof"])
def test_no_gas_appears_or_vanishes(name: str) -> None:
    dough = drawn(name, 3, folds=((3600.0, 0.4), (7200.0, 0.3)))
    assert isinstance(dough, ViscoelasticDough)
    for hour in range(1, 14):
        dough.advance_to(3600.0 * hour)
        came = dough.first_mmol + dough.made_mmol
        assert dough.gas_mmol + dough.dissolved_mmol + dough.leaked_mmol == pytest.approx(came, rel=1e-9)
        assert min(dough.gas_mmol, dough.air_mmol, dough.dissolved_mmol, dough.sugar_g, dough.food_g) >= 0.0


def test_gas_waits_until_it_overcomes_the_yield_stress() -> None:
    """The stiffer the dough, the higher the pressure in it, and the less it has risen by then."""
    recipe = FORMULA_RECIPES["lean"]
    soft, stiff = (
        ViscoelasticDough(
            replace(traits, yield_pa=factor * traits.yield_pa, viscosity_pa_h=factor * traits.viscosity_pa_h),
            lambda _: 25.0,
        )
        for traits in [viscoelastic_traits(recipe, random.Random(0), start_c=25.0, spread=0.0)]
        for factor in (1.0, 20.0)
    )
    for dough in (soft, stiff):
        dough.advance_to(1.2 * 3600.0)
    assert soft.rise_pct is not None
    assert stiff.rise_pct is not None
    assert stiff.rise_pct < soft.rise_pct


def test_heat_quickens_yeast_and_then_kills_it() -> None:
    def made(temp_c: float, hours: float) -> float:
        traits = viscoelastic_traits(FORMULA_RECIPES["lean"], random.Random(0), start_c=temp_c, spread=0.0)
        dough = ViscoelasticDough(traits, lambda _: temp_c)
        dough.advance_to(3600.0 * hours)
        return dough.made_mmol

    assert made(43.0, 0.5) > 1.5 * made(28.0, 0.5)
    assert made(57.0, 3.0) < made(30.0, 3.0)


@pytest.mark.parametrize("is_culture", [False, True])
def test_paces_climb_to_an_optimum_and_fall(is_culture: bool) -> None:
    best_c = 27.5 if is_culture else 37.0
    for pace in (gassing_pace, lambda temp_c, culture: pace_of(temp_c, culture)):
        climbing = [pace(temp_c, is_culture) for temp_c in (2.0, 8.0, 14.0, 20.0, 24.0, best_c)]
        assert climbing == sorted(climbing)
        assert climbing[0] > 0.0
        assert climbing[-2] == pytest.approx(1.0)
        assert pace(best_c + 12.0, is_culture) < climbing[-1]
    assert growth_pace(24.0, is_culture) > growth_pace(14.0, is_culture)


@pytest.mark.parametrize("table", [YEAST_PACE, CULTURE_PACE])
def test_tables_go_upwards_in_temperature(table: Any) -> None:
    temps = [temp_c for temp_c, _ in table]
    assert temps == sorted(temps)
    assert all(pace > 0.0 for _, pace in table)


def test_numbers_of_cells_climb_by_delayed_renewal() -> None:
    """Cells that begin their generation together divide late, and then many at a time."""
    traits = stochastic_traits(FORMULA_RECIPES["overnight"], random.Random(0), start_c=24.0, spread=0.0)
    dough = StochasticDough(replace(traits, awake_frac=0.97), lambda _: 24.0)
    counts = []
    for hour in range(1, 7):
        dough.advance_to(3600.0 * hour)
        counts.append(sum(dough.cells))
    growth = [later / earlier for earlier, later in pairwise([1.0, *counts])]
    assert max(growth) > 1.2 > 1.06 > growth[0]


def test_activity_wanders_and_remembers() -> None:
    traits = stochastic_traits(FORMULA_RECIPES["lean"], random.Random(5), start_c=25.0)
    walk = StochasticDough(traits, lambda _: 25.0)._walk
    steps = [later - earlier for earlier, later in pairwise(walk)]
    assert statistics.pstdev(walk) > 1.5 * statistics.pstdev(steps)


@pytest.mark.parametrize("name", ["viscoelastic-lean", "stochastic-sourdough", "lean", "bubble-lean", "wild-loaf"])
def test_a_shaped_dough_begins_anew_awake_and_full_of_gas(name: str) -> None:
    dough = drawn(name, 4)
    while (dough.rise_pct or 0.0) < 60.0:
        dough.advance_to(dough.now_s + 300.0)
    bulk_s, before_ml = dough.now_s, dough.volume_ml
    dough.begin_stage(lambda _: 25.0, 0.65)
    assert dough.now_s == 0.0
    assert dough.rise_pct is None
    assert dough.volume_ml < 0.9 * before_ml
    while (dough.rise_pct or 0.0) < 40.0:
        dough.advance_to(dough.now_s + 60.0)
        assert dough.now_s < bulk_s


def test_batches_of_a_recipe_differ_less_than_recipes() -> None:
    def hours(recipe_seed: int, seed: int) -> float:
        order = Order(
            "viscoelastic-sourdough", seed, "steady:24", "jar", "clean", 60.0, 20.0, START, 50.0,
            recipe_seed=recipe_seed,
        )  # fmt: skip
        bench, _ = bench_of(order, air_named("steady:24", 1), step_s=30.0)
        while bench.outcomes.outcome.ready_s is None and bench.dough.now_s < 30 * 3600.0:
            bench.advance_to(bench.dough.now_s + 300.0)
        return (bench.outcomes.outcome.ready_s or bench.dough.now_s) / 3600.0

    of_one = [hours(1, seed) for seed in range(8)]
    of_many = [hours(recipe_seed, 3) for recipe_seed in range(8)]
    assert len(set(of_one)) > 1
    assert statistics.pstdev(of_one) / statistics.mean(of_one) < 0.25
    assert statistics.pstdev(of_one) < 0.6 * statistics.pstdev(of_many)


@pytest.mark.parametrize("simulator", ["bubble", "stochastic"])
def test_batches_share_recipe_kitchen_and_target(simulator: str) -> None:
    found = drawn_batches(simulator, 3, 3, has_formula=True)
    assert [each.order.batch for each in found] == [1, 2, 3]
    assert len({each.order.seed for each in found}) == 3
    for what in ("dough", "tub", "target_rise_pct", "recipe_seed", "every_s"):
        assert len({getattr(each.order, what) for each in found}) == 1
    assert len({each.order.name.partition(",")[0] for each in found}) == 1
    starts = [each.order.start_at for each in found]
    assert starts == sorted(starts)
    recipes = [bench_of(each.order, air_named(each.order.room, 1))[1] for each in found]
    assert recipes[0] == recipes[1] == recipes[2]


@pytest.mark.parametrize("simulator", ["digital", "viscoelastic"])
def test_a_chain_ends_its_bulk_and_goes_on_with_the_same_dough(simulator: str, tmp_path: Path) -> None:
    bulk, proof = drawn_chain(simulator, 2, has_formula=True, catalogue=CLEAN)
    assert bulk.order.dough == proof.order.dough
    assert proof.order.start_at >= bulk.order.start_at + timedelta(hours=bulk.order.hours)
    write_history(simulator, 2, tmp_path, Wanted(has_formula=True, catalogue=CLEAN, is_chained=True))
    first, second = (tmp_path / f"{simulator}-00002-{part}" for part in ("bulk", "proof"))
    batches = [tomllib.loads((folder / "BATCH.toml").read_text()) for folder in (first, second)]
    assert batches[0]["events"][-1]["kind"] == "end"
    assert (batches[0]["stage"], batches[1]["stage"]) == ("first rise", "final proof")
    abouts = [json.loads((folder / "about.json").read_text()) for folder in (first, second)]
    assert (abouts[0]["followed_by"], abouts[1]["follows"]) == (second.name, first.name)
    assert abouts[0]["formula_pct"] == abouts[1]["formula_pct"]
    took = [
        datetime.fromisoformat(about["ready_at"]) - batch["started"]
        for about, batch in zip(abouts, batches, strict=True)
    ]
    assert took[1] < took[0]


def test_batches_are_recorded_side_by_side(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "firmware_sim", "histories", "--simulator", "stochastic", "--processes", "1"]
    subprocess.run(
        [*command, "--seeds", "1:2", "--batches", "2", "--catalogue", "clean", "--out", str(tmp_path)], check=True
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["stochastic-00001-01", "stochastic-00001-02"]
    abouts = [json.loads((path / "about.json").read_text()) for path in sorted(tmp_path.iterdir())]
    assert abouts[0]["recipe_seed"] == abouts[1]["recipe_seed"] == 1
    assert abouts[0]["troubles"] == []
    answer = subprocess.run(
        [*command, "--seeds", "1:2", "--batches", "2", "--chained", "--out", str(tmp_path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert answer.returncode == 2
    assert "give one of them" in answer.stderr
