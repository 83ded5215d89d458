"""Invented recipes, and how much one baking of them differs from the next.

Percentages are of the flour. The spread is judgement unless a source is named: gassing power and lag of one recipe
repeated vary far more than the scale does.
"""

import random
from dataclasses import dataclass
from math import exp, log, sqrt

from firmware_sim.doughs.digital import Traits


@dataclass(frozen=True, slots=True)
class Recipe:
    """A dough a baker would name; the weights are baker's percentages."""

    stage: str
    water_pct: float
    salt_pct: float = 2.0
    sugar_pct: float = 0.0
    fat_pct: float = 0.0
    instant_yeast_pct: float = 0.0
    sourdough_pct: float = 0.0
    lag_work: float = 0.5  # judgement: 0.1 to 1.5 for bought yeast, 1 to 4 for sourdough
    leak_onset: float = 2.2  # judgement, as all limits of expansion here
    break_onset: float = 3.4
    break_min: float = 25.0
    fall_per_h: float = 0.4
    weakening_per_h: float = 0.12
    gas_frac: float = 0.0
    saturation_frac: float = 0.0
    own_sugar_g: float = 1.5  # from memory, 1 to 2.5
    osmotic_scale_atm: float = 60.0
    temp_c: float = 25.0
    fold_share: float = 0.35
    default_target_pct: float = 100.0


RECIPES = {
    "lean": Recipe("bulk rise", 66.0, instant_yeast_pct=1.0),
    "lean-slow": Recipe("bulk rise", 70.0, instant_yeast_pct=0.3, temp_c=24.0, default_target_pct=75.0),
    "enriched": Recipe(
        "bulk rise", 58.0, 1.8, sugar_pct=10.0, fat_pct=14.0, instant_yeast_pct=1.8, lag_work=0.7,
        leak_onset=2.3, break_onset=3.3, osmotic_scale_atm=150.0,
    ),
    "whole-grain": Recipe(
        "bulk rise", 78.0, instant_yeast_pct=0.8, leak_onset=1.8, break_onset=2.5, break_min=35.0,
        default_target_pct=70.0,
    ),
    "preferment": Recipe(
        "preferment", 100.0, 0.0, instant_yeast_pct=1.0, lag_work=0.35, leak_onset=1.9, break_onset=2.5,
        break_min=18.0, fall_per_h=0.55, temp_c=27.0,
    ),
    "sourdough": Recipe(
        "bulk rise", 72.0, sourdough_pct=20.0, lag_work=1.6, leak_onset=1.8, break_onset=2.6, break_min=60.0,
        weakening_per_h=0.06, saturation_frac=0.2, default_target_pct=60.0, fold_share=0.25,
    ),
    "starter": Recipe(
        "preferment", 100.0, 0.0, sourdough_pct=100.0, lag_work=0.8, leak_onset=1.9, break_onset=2.5, break_min=30.0,
        fall_per_h=0.45, saturation_frac=0.3, temp_c=26.0,
    ),
    "proof": Recipe(
        "final proof", 64.0, instant_yeast_pct=1.0, lag_work=0.08, gas_frac=0.10, saturation_frac=0.85,
        own_sugar_g=1.2, leak_onset=2.1, break_onset=2.9, temp_c=26.0, default_target_pct=90.0,
    ),
}  # fmt: skip


def _spread(rng: random.Random, middle: float, cv: float) -> float:
    """Lognormal round a median."""
    return middle * exp(rng.gauss(0.0, sqrt(log(1.0 + cv * cv))))


def traits_of(recipe: Recipe, rng: random.Random, *, start_c: float | None = None, spread: float = 1.0) -> Traits:
    """One baking of a recipe, drawn at random.

    Parameters
    ----------
    start_c
        Dough temperature at the start; None draws one near the recipe's.
    spread
        Scales all spreads; 0 gives the typical dough.
    """

    def about(middle: float, sd: float) -> float:
        return middle + spread * max(-2.5, min(2.5, rng.gauss(0.0, 1.0))) * sd

    def times(middle: float, cv: float) -> float:
        return _spread(rng, middle, cv * spread) if spread else middle

    # Half the ripe sourdough is flour, half water; its yeasts gas like this much dried yeast (judgement).
    extra = recipe.sourdough_pct / 2.0
    flour = 100.0 + extra
    solids_g = 0.95 * recipe.instant_yeast_pct + 0.006 * recipe.sourdough_pct  # 95 % solids: AACC 89-01.01 (seen)
    is_sour = recipe.sourdough_pct > 0
    return Traits(
        yeast_g=solids_g * 100.0 / flour,
        water_g=(recipe.water_pct + extra) * 100.0 / flour,
        salt_g=recipe.salt_pct * 100.0 / flour,
        sugar_g=recipe.sugar_pct,
        other_g=recipe.fat_pct,
        vigour=times(1.0, 0.30 if is_sour else 0.18),
        lag_work=times(recipe.lag_work, 0.35),
        growth_per_h=about(0.38, 0.04) if is_sour else 0.06,
        most_yeast=times(12.0, 0.2) if is_sour else 1.6,
        own_sugar_g=about(recipe.own_sugar_g, 0.2),
        amylase_g_per_h=about(0.6, 0.12),  # from memory, 0.3 to 1 at 30 C
        osmotic_scale_atm=recipe.osmotic_scale_atm,
        air_frac=about(0.08, 0.015),  # from memory, 0.03 to 0.12
        gas_frac=max(0.0, about(recipe.gas_frac, 0.02)) if recipe.gas_frac else 0.0,
        saturation_frac=recipe.saturation_frac,
        leak_onset=about(recipe.leak_onset, 0.15),
        break_onset=about(recipe.break_onset, 0.25),
        leak_mmol_per_h=times(3.0, 0.3) * (0.35 if is_sour else 1.0),
        break_h=times(recipe.break_min / 60.0, 0.25),
        fall_per_h=times(recipe.fall_per_h, 0.25),
        weakening_per_h=times(recipe.weakening_per_h, 0.25),
        warm_up_h=times(1.75, 0.25),  # computed for 1 kg: 55 to 200 min by shape and draught
        dome_mm=max(0.0, about(1.0, 0.6)),  # judgement: dough in a tub lies nearly flat once it has relaxed
        start_c=start_c if start_c is not None else about(recipe.temp_c, 0.8),
    )
