"""Every simulated dough by name, and how much one baking of a recipe differs from the next.

Spreads are judgement unless a source is named: repeated bakings of one recipe differ by a tenth to a fifth in pace with
bought yeast, far more with sourdough; gassing power and lag vary far more than the scale does.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, log, sqrt
from typing import Any

from firmware_sim.doughs.bubble import BubbleDough, BubbleTraits
from firmware_sim.doughs.digital import DigitalDough, DigitalTraits
from firmware_sim.doughs.dough import Dough
from firmware_sim.doughs.recipes import (
    BUBBLE_RECIPES,
    DIGITAL_RECIPES,
    WILD_RECIPES,
    BubbleRecipe,
    DigitalRecipe,
    WeighedRecipe,
    WildRecipe,
)
from firmware_sim.doughs.wild import WildDough, WildTraits

Draw = Callable[[random.Random, float | None], tuple[WeighedRecipe, Any]]


def digital_traits(
    recipe: DigitalRecipe, rng: random.Random, *, start_c: float | None = None, spread: float = 1.0
) -> DigitalTraits:
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
        """Lognormal round a median, not cut."""
        return middle * exp(rng.gauss(0.0, sqrt(log(1.0 + (cv * spread) ** 2)))) if spread else middle

    # Half the ripe sourdough is flour, half water; its yeasts gas like this much dried yeast (judgement).
    extra = recipe.sourdough_pct / 2.0
    flour = 100.0 + extra
    solids_g = 0.95 * recipe.instant_yeast_pct + 0.006 * recipe.sourdough_pct  # 95 % solids: AACC 89-01.01 (seen)
    is_sour = recipe.sourdough_pct > 0
    return DigitalTraits(
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


@dataclass(frozen=True, slots=True)
class DoughKind:
    """One named dough.

    Attributes
    ----------
    draw
        One baking at random, given a generator and the start temperature (None: near the recipe's): the recipe as
        weighed, and the traits, which ``dough`` takes together with the air and the folds.
    """

    simulator: str
    recipe: WeighedRecipe
    draw: Draw
    dough: Callable[..., Dough]


def _digital(recipe: DigitalRecipe) -> DoughKind:
    return DoughKind(
        "digital", recipe, lambda rng, start_c: (recipe, digital_traits(recipe, rng, start_c=start_c)), DigitalDough
    )


def _bubble(recipe: BubbleRecipe) -> DoughKind:
    return DoughKind(
        "bubble", recipe, lambda rng, start_c: (recipe, bubble_traits(recipe, rng, start_c=start_c)), BubbleDough
    )


def _wild(recipe: WildRecipe) -> DoughKind:
    def draw(rng: random.Random, start_c: float | None) -> tuple[WildRecipe, WildTraits]:
        weighed = replace(recipe, sourdough_pct=round(rng.uniform(*recipe.between_pct), 1))
        return weighed, wild_traits(weighed, rng, start_c=start_c)

    return DoughKind("wild", recipe, draw, WildDough)


KINDS: dict[str, DoughKind] = {
    **{name: _digital(recipe) for name, recipe in DIGITAL_RECIPES.items()},
    **{name: _bubble(recipe) for name, recipe in BUBBLE_RECIPES.items()},
    **{name: _wild(recipe) for name, recipe in WILD_RECIPES.items()},
}
SIMULATORS = tuple(dict.fromkeys(kind.simulator for kind in KINDS.values()))


def names_of(simulator: str) -> tuple[str, ...]:
    """The doughs of one simulator."""
    return tuple(name for name, kind in KINDS.items() if kind.simulator == simulator)
