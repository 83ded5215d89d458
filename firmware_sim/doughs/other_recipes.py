"""Invented recipes for the two other simulated doughs, and how much one baking of them differs from the next.

Percentages are of the weighed flour. Spreads are judgement: repeated bakings of one recipe differ by a tenth to a
fifth in pace with bought yeast, far more with sourdough.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, log, sqrt

from firmware_sim.doughs.bubble import BubbleTraits
from firmware_sim.doughs.wild import WildTraits


@dataclass(frozen=True, slots=True)
class BubbleRecipe:
    """A dough with bought yeast."""

    stage: str
    water_pct: float
    instant_yeast_pct: float
    salt_pct: float = 2.0
    sugar_pct: float = 0.0
    fat_pct: float = 0.0
    sourdough_pct: float = 0.0
    dormant_frac: float = 0.55  # judgement, as all that follows unless BubbleTraits names a source
    learned_frac: float = 0.15
    ready_g: float = 0.8
    osmotic_scale_atm: float = 60.0
    co2_frac: float = 0.0
    air_frac: float = 0.08
    saturation_frac: float = 0.03
    radius_um: float = 60.0
    fail_strain: float = 1.12
    weakening_per_h: float = 0.04
    temp_c: float = 25.0
    fold_share: float = 0.35
    default_target_pct: float = 100.0


@dataclass(frozen=True, slots=True)
class WildRecipe:
    """A dough raised by ripe sourdough, half of it flour; each baking takes between the two percentages of it."""

    stage: str
    water_pct: float
    between_pct: tuple[float, float]
    sourdough_pct: float
    salt_pct: float = 1.9
    sugar_pct: float = 0.0
    fat_pct: float = 0.0
    instant_yeast_pct: float = 0.0
    buffering: float = 1.0
    bearing: float = 2.7
    softening_per_h: float = 0.12
    co2_frac: float = 0.0
    awake_frac: float = 0.6
    temp_c: float = 25.0
    fold_share: float = 0.25
    default_target_pct: float = 70.0


BUBBLE_RECIPES = {
    "bubble-lean": BubbleRecipe("bulk rise", 66.0, 1.0),
    "bubble-slow": BubbleRecipe("bulk rise", 72.0, 0.3, temp_c=24.0, default_target_pct=75.0),
    "bubble-quick": BubbleRecipe("bulk rise", 61.0, 1.7, dormant_frac=0.4, radius_um=45.0, temp_c=27.0),
    "bubble-aged": BubbleRecipe(
        "bulk rise", 65.0, 0.7, dormant_frac=0.1, learned_frac=0.8, ready_g=0.5, saturation_frac=0.35,
        default_target_pct=90.0,
    ),
    "bubble-whole": BubbleRecipe(
        "bulk rise", 78.0, 0.9, ready_g=1.3, fail_strain=0.82, weakening_per_h=0.06, default_target_pct=65.0,
    ),
    "bubble-sweet": BubbleRecipe(
        "bulk rise", 56.0, 1.9, salt_pct=1.6, sugar_pct=13.0, fat_pct=12.0, dormant_frac=0.7,
        osmotic_scale_atm=30.0, fail_strain=0.98, temp_c=26.0, default_target_pct=80.0,
    ),
    "bubble-proof": BubbleRecipe(
        "final proof", 64.0, 1.0, dormant_frac=0.05, learned_frac=0.6, ready_g=0.45, co2_frac=0.10, air_frac=0.05,
        saturation_frac=0.8, radius_um=110.0, fail_strain=0.98, temp_c=26.0, default_target_pct=85.0,
    ),
}  # fmt: skip

WILD_RECIPES = {
    "wild-loaf": WildRecipe("bulk rise", 70.0, (8.0, 30.0), 20.0),
    "wild-whole": WildRecipe(
        "bulk rise", 80.0, (8.0, 30.0), 20.0, buffering=1.5, bearing=2.2, softening_per_h=0.16, default_target_pct=50.0,
    ),
    "wild-proof": WildRecipe(
        "final proof", 70.0, (15.0, 30.0), 20.0, co2_frac=0.13, awake_frac=0.95, bearing=2.3, default_target_pct=60.0,
    ),
    "wild-starter": WildRecipe(
        "preferment", 100.0, (20.0, 85.0), 50.0, salt_pct=0.0, bearing=2.5, softening_per_h=0.20, temp_c=26.0,
    ),
    "wild-stiff": WildRecipe(
        "preferment", 52.0, (20.0, 85.0), 50.0, salt_pct=0.0, bearing=2.9, softening_per_h=0.10, temp_c=26.0,
    ),
}  # fmt: skip


class _Draw:
    """Random draws whose spread can be turned down to none."""

    def __init__(self, rng: random.Random, spread: float) -> None:
        self._rng = rng
        self._spread = spread

    def about(self, middle: float, sd: float) -> float:
        """Normal round a mean, cut at two and a half sd."""
        return middle + self._spread * sd * max(-2.5, min(2.5, self._rng.gauss(0.0, 1.0)))

    def times(self, middle: float, cv: float) -> float:
        """Lognormal round a median."""
        return middle * exp(self._spread * sqrt(log(1.0 + cv * cv)) * max(-2.5, min(2.5, self._rng.gauss(0.0, 1.0))))

    def share(self, middle: float, sd: float) -> float:
        """A share that stays well inside 0..1."""
        return min(0.97, max(0.01, self.about(middle, sd)))


def bubble_traits(
    recipe: BubbleRecipe, rng: random.Random, *, start_c: float | None = None, spread: float = 1.0
) -> BubbleTraits:
    """One baking of a recipe, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread)
    return BubbleTraits(
        yeast_g=0.95 * recipe.instant_yeast_pct * draw.times(1.0, 0.03),  # 95 % solids: AACC 89-01.01 (seen); scale
        water_g=recipe.water_pct * draw.times(1.0, 0.01),
        salt_g=recipe.salt_pct,
        sugar_g=recipe.sugar_pct,
        other_g=recipe.fat_pct,
        vigour=draw.times(1.0, 0.18),
        dormant_frac=draw.share(recipe.dormant_frac, 0.10),
        wake_h=draw.times(0.30, 0.25),
        activation_j_per_mol=draw.about(62e3, 4e3),  # 72 kJ/mol is 10 % a degree near 27 C (computed); less in dough
        growth_per_h=draw.times(0.12, 0.25),
        ready_g=draw.times(recipe.ready_g, 0.25),
        maltose_g=draw.times(0.5, 0.3),
        amylase_g_per_h=draw.times(0.6, 0.25),  # from memory, 0.3 to 1 at 30 C
        learned_frac=draw.share(recipe.learned_frac, 0.10),
        learn_h=draw.times(0.7, 0.3),
        osmotic_scale_atm=recipe.osmotic_scale_atm,
        osmotic_relief_frac=draw.share(0.4, 0.1),
        air_frac=max(0.03, draw.about(recipe.air_frac, 0.015)),  # from memory, 0.03 to 0.12
        co2_frac=max(0.03, draw.about(recipe.co2_frac, 0.03)) if recipe.co2_frac else 0.0,
        saturation_frac=draw.share(recipe.saturation_frac, 0.02),
        radius_um=draw.times(recipe.radius_um, 0.2),
        radius_spread=max(0.2, draw.about(0.45, 0.08)),
        diffusion_m2_s=draw.times(6e-11, 0.35),  # fills the bubbles within minutes (judgement; 1e-9 in water)
        stiffness_pa=draw.times(2500.0, 0.3),
        fail_strain=max(0.6, draw.about(recipe.fail_strain, 0.08)),
        fail_width=draw.times(0.12, 0.15),
        weakening_per_h=draw.times(recipe.weakening_per_h, 0.3),
        merge_frac=draw.times(0.15, 0.3),
        opening=draw.times(0.08, 0.3),
        drain_per_h=draw.times(1.0, 0.3),
        lump_h=draw.times(1.3, 0.25),  # computed for 1 kg: 55 to 200 min by shape and draught
        biot=draw.times(0.35, 0.25),
        depth_mm=draw.times(60.0, 0.15),
        dome_mm=max(0.0, draw.about(1.5, 0.8)),
        start_c=start_c if start_c is not None else draw.about(recipe.temp_c, 1.0),
    )


def wild_traits(
    recipe: WildRecipe, rng: random.Random, *, start_c: float | None = None, spread: float = 1.0
) -> WildTraits:
    """One baking of a sourdough, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread)
    extra = recipe.sourdough_pct / 2.0
    flour = 100.0 + extra
    return WildTraits(
        water_g=(recipe.water_pct + extra) * 100.0 / flour * draw.times(1.0, 0.01),
        salt_g=recipe.salt_pct * 100.0 / flour,
        other_g=(recipe.sugar_pct + recipe.fat_pct) * 100.0 / flour,
        inoculum_frac=extra / flour,
        yeast_vigour=draw.times(1.0, 0.30),
        bacteria_vigour=draw.times(1.0, 0.35),
        yeast_growth_per_h=draw.times(0.42, 0.10),
        yeast_awake_frac=draw.share(recipe.awake_frac, 0.15),
        bacteria_awake_frac=draw.share(recipe.awake_frac + 0.1, 0.15),
        wake_h=draw.times(0.8, 0.3),
        warmth_c=draw.about(0.0, 0.8),
        ready_g=draw.times(1.0, 0.2),
        maltose_g=draw.times(0.8, 0.25),
        amylase_g_per_h=draw.times(0.6, 0.25),  # from memory, 0.3 to 1 at 30 C
        buffering=draw.times(recipe.buffering, 0.1),
        air_frac=max(0.02, draw.about(0.06, 0.012)),
        co2_frac=max(0.03, draw.about(recipe.co2_frac, 0.03)) if recipe.co2_frac else 0.0,
        bearing=max(1.7, draw.about(recipe.bearing, 0.18)),
        softening_per_h=draw.times(recipe.softening_per_h, 0.3),
        fold_gain=draw.times(0.05, 0.3),
        burst_per_h=draw.times(0.4, 0.25),
        damage=draw.times(0.05, 0.4),
        drain_h=draw.times(0.35, 0.3),
        inner_h=draw.times(0.55, 0.25),  # with the wall a slow time constant near 100 min (computed)
        outer_h=draw.times(0.15, 0.25),
        wall_share=draw.times(0.16, 0.25),
        dome_mm=max(0.0, draw.about(1.3, 0.7)),
        start_c=start_c if start_c is not None else draw.about(recipe.temp_c, 1.0),
    )


def drawn_bubble(recipe: BubbleRecipe) -> Callable[[random.Random, float | None], tuple[BubbleRecipe, BubbleTraits]]:
    """What draws one baking: the recipe as weighed, and the dough it gave."""
    return lambda rng, start_c: (recipe, bubble_traits(recipe, rng, start_c=start_c))


def drawn_wild(recipe: WildRecipe) -> Callable[[random.Random, float | None], tuple[WildRecipe, WildTraits]]:
    """What draws one baking: the share of sourdough first, then the dough it gave."""

    def drawn(rng: random.Random, start_c: float | None) -> tuple[WildRecipe, WildTraits]:
        weighed = replace(recipe, sourdough_pct=round(rng.uniform(*recipe.between_pct), 1))
        return weighed, wild_traits(weighed, rng, start_c=start_c)

    return drawn
