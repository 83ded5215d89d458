"""The simulated dough behaves as doughs do, keeps its books, and its arithmetic does not depend on the step."""

import random
from dataclasses import replace
from itertools import pairwise

import pytest

from firmware_sim.bench.bench import TUBS, Tub
from firmware_sim.doughs.bakings import digital_traits
from firmware_sim.doughs.digital import (
    GASSING_C,
    GLUCOSE_MMOL_PER_G,
    GROWTH_C,
    DigitalDough,
    DigitalTraits,
    cardinal_factor,
)
from firmware_sim.doughs.recipes import DIGITAL_RECIPES


def typical(recipe: str, start_c: float) -> DigitalTraits:
    return digital_traits(DIGITAL_RECIPES[recipe], random.Random(0), start_c=start_c, spread=0.0)


def minutes_to(rise_pct: float, traits: DigitalTraits, air_c: float, hours: float = 12.0) -> float:
    dough = DigitalDough(traits, lambda _: air_c)
    for minute in range(5, int(60 * hours)):
        dough.advance_to(60.0 * minute)
        assert dough.rise_pct is not None
        if dough.rise_pct >= rise_pct:
            return float(minute)
    pytest.fail(f"never rose by {rise_pct} %")


def course(dough: DigitalDough, hours: float) -> list[float]:
    rises = []
    for minute in range(5, int(60 * hours)):
        dough.advance_to(60.0 * minute)
        rises.append(dough.rise_pct or 0.0)
    return rises


@pytest.mark.parametrize(
    ("temp_c", "cardinal_c", "wanted"),
    [  # computed by hand from the published form with these cardinals
        (27.0, GASSING_C, 0.749),
        (20.0, GASSING_C, 0.439),
        (10.0, GASSING_C, 0.096),
        (36.0, GASSING_C, 1.0),
        (27.0, GROWTH_C, 0.904),
        (5.0, GROWTH_C, 0.012),
        (2.0, GASSING_C, 0.0),
        (46.0, GASSING_C, 0.0),
    ],
)
def test_cardinal_factor(temp_c: float, cardinal_c: tuple[float, float, float], wanted: float) -> None:
    assert cardinal_factor(temp_c, cardinal_c) == pytest.approx(wanted, abs=5e-4)


def test_lean_dough_with_one_percent_instant_yeast_doubles_in_one_to_two_hours_at_27_c() -> None:
    assert 60 <= minutes_to(100.0, typical("lean", 27.0), 27.0) <= 110  # judgement, from the rates in the module


def test_seven_degrees_cooler_takes_about_twice_as_long() -> None:
    warm, cool = (minutes_to(100.0, typical("lean", temp_c), temp_c) for temp_c in (27.0, 20.0))
    assert 1.6 <= cool / warm <= 2.4


def test_dough_out_of_the_refrigerator_starts_slowly_and_comes_to_the_air() -> None:
    cold = DigitalDough(typical("lean", 4.0), lambda _: 24.0)
    cold.advance_to(3600.0)
    assert cold.rise_pct is not None
    assert 0.0 < cold.rise_pct < 5.0
    assert minutes_to(100.0, typical("lean", 4.0), 24.0) > minutes_to(100.0, typical("lean", 24.0), 24.0) + 60
    cold.advance_to(8 * 3600.0)
    assert cold.state.core_c == pytest.approx(24.0, abs=1.0)


def test_warming_without_yeast_swells_a_dough_full_of_gas() -> None:
    """Gas expands, and carbon dioxide leaves the water: height changes with no fermentation."""
    traits = replace(typical("proof", 4.0), yeast_g=0.0, saturation_frac=1.0)
    dough = DigitalDough(traits, lambda _: 25.0)
    dough.advance_to(6 * 3600.0)
    assert dough.rise_pct is not None
    assert 10.0 < dough.rise_pct < 60.0


def test_over_proofed_dough_rounds_its_peak_and_falls() -> None:
    rises = course(DigitalDough(typical("proof", 27.0), lambda _: 33.0), 6.0)
    top = max(range(len(rises)), key=rises.__getitem__)
    assert 60 < top < 200
    near_top = [rise for rise in rises if rise > rises[top] - 2.0]
    assert len(near_top) > 8  # minutes: a rounded peak and no corner
    assert rises[-1] < 0.6 * rises[top]
    assert all(later <= earlier for earlier, later in pairwise(rises[top:]))


def test_fold_knocks_its_share_of_the_gas_out_and_the_dough_rises_again() -> None:
    traits = typical("lean", 26.0)
    folded = DigitalDough(traits, lambda _: 26.0, ((3600.0, 0.4),))
    folded.advance_to(3599.0)
    before_ml = folded.volume_ml
    folded.advance_to(3600.0)
    gas_ml = before_ml - traits.solid_ml
    assert before_ml - folded.volume_ml == pytest.approx(0.4 * gas_ml, rel=0.02)
    low_pct = folded.rise_pct
    folded.advance_to(3 * 3600.0)
    assert low_pct is not None
    assert folded.rise_pct is not None
    assert folded.rise_pct > low_pct + 60.0


def test_rise_counts_from_the_relaxed_volume_and_not_from_the_squeezed_one() -> None:
    dough = DigitalDough(typical("lean", 26.0), lambda _: 26.0)
    start_ml = dough.volume_ml
    dough.advance_to(200.0)
    assert dough.rise_pct is None
    dough.advance_to(240.0)
    assert 0.0 < dough.rise_pct < 1.0
    assert dough.volume_ml > start_ml * 1.01


def test_carbon_dioxide_is_accounted_for() -> None:
    """Without leak and breakage all gas made is in the water or in the bubbles, and sugar pays for it."""
    traits = replace(
        typical("lean", 27.0), leak_mmol_per_h=0.0, break_onset=99.0, weakening_per_h=0.0, amylase_g_per_h=0.0
    )
    dough = DigitalDough(traits, lambda _: 27.0)
    first = dough.state
    dough.advance_to(2 * 3600.0)
    made_mmol = (first.sugar_g - dough.state.sugar_g) * GLUCOSE_MMOL_PER_G
    kept_mmol = dough.state.gas_mmol + dough.state.dissolved_mmol - first.gas_mmol - first.dissolved_mmol
    assert made_mmol > 8.0
    assert kept_mmol == pytest.approx(made_mmol, rel=1e-6)


def test_step_is_fine_enough() -> None:
    rises = []
    for step_s in (2.0, 10.0):
        dough = DigitalDough(
            typical("lean", 25.0), lambda at_s: 27.0 if at_s < 5400 else 22.0, ((1800.0, 0.35),), step_s=step_s
        )
        dough.advance_to(5 * 3600.0)
        rises.append(dough.rise_pct)
    assert rises[1] == pytest.approx(rises[0], abs=0.01)


def test_sugar_above_the_free_pressure_slows_ordinary_yeast_more_than_osmotolerant() -> None:
    plain = typical("enriched", 26.0)
    ordinary = replace(plain, osmotic_scale_atm=60.0)
    assert ordinary.hindrance < plain.hindrance < 1.1


def test_same_seed_same_dough_and_another_seed_another() -> None:
    drawn = [digital_traits(DIGITAL_RECIPES["sourdough"], random.Random(seed)) for seed in (4, 4, 5)]
    assert drawn[0] == drawn[1]
    assert drawn[0] != drawn[2]


def test_tapered_tub_doubles_below_twice_the_height() -> None:
    """A frustum of radius 40 to 50 mm over 150 mm (computed): 60 mm is 332.76 mL, twice that stands at 110.71 mm."""
    tub = Tub("round", (80.0, 80.0), (100.0, 100.0), 150.0, 200.0)
    assert tub.volume_ml(60.0) == pytest.approx(332.76, abs=0.01)
    assert tub.volume_ml(150.0) == pytest.approx(958.19, abs=0.01)
    assert tub.level_mm(2 * 332.76) == pytest.approx(110.71, abs=0.01)


@pytest.mark.parametrize("name", sorted(TUBS))
def test_level_is_the_inverse_of_volume(name: str) -> None:
    tub = TUBS[name]
    for level_mm in (1.0, 40.0, tub.depth_mm, 1.5 * tub.depth_mm):
        assert tub.level_mm(tub.volume_ml(level_mm)) == pytest.approx(level_mm, abs=1e-6)
