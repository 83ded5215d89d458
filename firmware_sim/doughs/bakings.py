"""One baking of each recipe, drawn at random: how much one differs from the next.

Spreads are judgement unless a source is named: repeated bakings of one recipe differ by a tenth to a fifth in pace with
bought yeast, far more with sourdough; gassing power and lag vary far more than the scale does.
"""

import random
from dataclasses import replace
from math import exp, log, sqrt
from typing import Any

from firmware_sim.doughs.bubble import BubbleTraits
from firmware_sim.doughs.digital import DigitalTraits
from firmware_sim.doughs.recipes import BubbleRecipe, DigitalRecipe, FormulaRecipe, WildRecipe
from firmware_sim.doughs.stochastic import SUGAR_ON_PLAIN, SUGAR_ON_TOLERANT, StochasticTraits, read_off
from firmware_sim.doughs.viscoelastic import ViscoelasticTraits
from firmware_sim.doughs.wild import WildTraits

AGAIN = 0.35  # spread from batch to batch of one recipe against that between recipes (judgement)


class _Draw:
    """Random draws whose spread can be turned down to none.

    Parameters
    ----------
    rng
        Of the recipe: what one kitchen, flour and yeast have in common.
    spread
        Scales all spreads; 0 gives the typical dough.
    again
        Of the batch, where several batches of one recipe are drawn: it adds a small part of its own to every draw.
    """

    def __init__(self, rng: random.Random, spread: float, again: random.Random | None = None) -> None:
        self._rng = rng
        self._spread = spread
        self._again = again

    def _normal(self) -> float:
        z = self._rng.gauss(0.0, 1.0)
        if self._again is not None:
            z = sqrt(1.0 - AGAIN**2) * z + AGAIN * self._again.gauss(0.0, 1.0)
        return self._spread * max(-2.5, min(2.5, z))

    def about(self, middle: float, sd: float) -> float:
        """Normal round a mean, cut at two and a half sd."""
        return middle + sd * self._normal()

    def times(self, middle: float, cv: float) -> float:
        """Lognormal round a median."""
        return middle * exp(sqrt(log(1.0 + cv * cv)) * self._normal())

    def share(self, middle: float, sd: float) -> float:
        """A share that stays well inside 0..1."""
        return min(0.97, max(0.01, self.about(middle, sd)))


def weighed(recipe: Any, rng: random.Random) -> Any:
    """The recipe as one bakery makes it: its leaven between the recipe's bounds, water and salt near its middle."""
    least, most = recipe.between_pct
    leaven_pct = least * (most / least) ** rng.random()
    changed: dict[str, float] = {
        "water_pct": round(2.0 * (recipe.water_pct + rng.uniform(-3.0, 3.0))) / 2.0,
        "salt_pct": round(recipe.salt_pct * rng.uniform(0.9, 1.1), 1),
    }
    if recipe.sourdough_pct > 0.0:
        changed["sourdough_pct"] = round(leaven_pct, 1)
    else:
        changed["instant_yeast_pct"] = round(leaven_pct, 3)
    return replace(recipe, **changed)


def digital_traits(
    recipe: DigitalRecipe,
    rng: random.Random,
    *,
    start_c: float | None = None,
    spread: float = 1.0,
    again: random.Random | None = None,
) -> DigitalTraits:
    """One baking of a recipe, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread, again)
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
        vigour=draw.times(1.0, 0.30 if is_sour else 0.18),
        lag_work=draw.times(recipe.lag_work, 0.35),
        growth_per_h=draw.times(0.33, 0.10),
        # Bought yeast: 100 g flour feed 0.2 g more of it (cell counts at 27 C, seen on a secondary page); a culture
        # grows until it is as dense again as the ripe sourdough that brought it.
        most_yeast=draw.times(1.0 + 0.95 * (flour / extra - 1.0) if is_sour else 1.0 + 0.20 / solids_g, 0.1),
        own_sugar_g=draw.about(recipe.own_sugar_g, 0.2),
        amylase_g_per_h=draw.about(0.6, 0.12),  # from memory, 0.3 to 1 at 30 C
        osmotic_scale_atm=recipe.osmotic_scale_atm,
        air_frac=draw.about(0.08, 0.015),  # from memory, 0.03 to 0.12
        gas_frac=max(0.0, draw.about(recipe.gas_frac, 0.02)) if recipe.gas_frac else 0.0,
        saturation_frac=recipe.saturation_frac,
        leak_onset=draw.about(recipe.leak_onset, 0.15),
        break_onset=draw.about(recipe.break_onset, 0.25),
        leak_mmol_per_h=draw.times(0.9 if is_sour else 1.2, 0.3),
        break_h=draw.times(recipe.break_min / 60.0, 0.25),
        fall_per_h=draw.times(recipe.fall_per_h, 0.25),
        weakening_per_h=draw.times(recipe.weakening_per_h, 0.25),
        warm_up_h=draw.times(1.75, 0.25),  # computed for 1 kg: 55 to 200 min by shape and draught
        start_c=start_c if start_c is not None else draw.about(recipe.temp_c, 0.8),
    )


def bubble_traits(
    recipe: BubbleRecipe,
    rng: random.Random,
    *,
    start_c: float | None = None,
    spread: float = 1.0,
    again: random.Random | None = None,
) -> BubbleTraits:
    """One baking of a recipe, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread, again)
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
        growth_per_h=draw.times(0.30, 0.2),
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
        start_c=start_c if start_c is not None else draw.about(recipe.temp_c, 1.0),
    )


def wild_traits(
    recipe: WildRecipe,
    rng: random.Random,
    *,
    start_c: float | None = None,
    spread: float = 1.0,
    again: random.Random | None = None,
) -> WildTraits:
    """One baking of a sourdough, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread, again)
    extra = recipe.sourdough_pct / 2.0
    flour = 100.0 + extra
    return WildTraits(
        water_g=(recipe.water_pct + extra) * 100.0 / flour * draw.times(1.0, 0.01),
        salt_g=recipe.salt_pct * 100.0 / flour,
        other_g=(recipe.sugar_pct + recipe.fat_pct) * 100.0 / flour,
        inoculum_frac=extra / flour,
        yeast_vigour=draw.times(recipe.grown, 0.30),
        bacteria_vigour=draw.times(recipe.grown, 0.35),
        yeast_growth_per_h=draw.times(0.33, 0.10),
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
        start_c=start_c if start_c is not None else draw.about(recipe.temp_c, 1.0),
    )


def viscoelastic_traits(
    recipe: FormulaRecipe,
    rng: random.Random,
    *,
    start_c: float | None = None,
    spread: float = 1.0,
    again: random.Random | None = None,
) -> ViscoelasticTraits:
    """One baking of a recipe, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread, again)
    is_culture = recipe.sourdough_pct > 0.0
    extra = recipe.sourdough_pct / 2.0
    flour = 100.0 + extra
    water_g = (recipe.water_pct + extra) * 100.0 / flour
    salt_g = recipe.salt_pct * 100.0 / flour
    # Ripe sourdough holds 0.32 g of cells, dry, with 100 g of its flour (judgement, from plate counts).
    cells_g = (
        0.32 * extra / flour if is_culture else 0.95 * recipe.instant_yeast_pct
    )  # 95 % solids: AACC 89-01.01 (seen)
    stiff = exp((65.0 - water_g) / 14.0)  # a tenth less water makes a dough about twice as stiff (judgement)
    temp_c = draw.about(recipe.temp_c, 1.0)
    is_shaped = recipe.bulk_rise_pct > 0.0
    return ViscoelasticTraits(
        is_culture=is_culture,
        cells_g=cells_g * draw.times(1.0, 0.25 if is_culture else 0.04),
        water_g=water_g * draw.times(1.0, 0.01),
        salt_g=salt_g,
        sugar_g=recipe.sugar_pct,
        other_g=recipe.fat_pct,
        # At 24 C: 170 mL an hour of 100 g flour with 1 % instant yeast; the culture's fitted to what bakers see.
        gas_mmol_per_g_h=draw.times(2.0 if is_culture else 7.3, 0.18),
        gas_mmol_per_g=draw.times(56.0 if is_culture else 15.0, 0.12),
        # Bought yeast: cell counts in dough at 27 C (seen on a secondary page); less salt, more growth (judgement).
        growth_per_h=draw.times(0.285 if is_culture else 0.26 if salt_g > 0.5 else 0.33, 0.15),
        food_g=draw.times(0.30 if is_culture else 0.20, 0.2),
        awake_frac=draw.share(0.8 if is_culture else 0.4, 0.12),
        wake_h=draw.times(0.5 if is_culture else 0.3, 0.4),
        own_sugar_g=draw.times(1.5, 0.2),  # from memory, 1 to 2.5
        amylase_g_per_h=draw.times(0.6, 0.25),  # from memory, 0.3 to 1 at 30 C
        osmotic_scale_atm=70.0 if recipe.is_tolerant else 19.4,
        air_frac=max(0.03, draw.about(0.08, 0.015)),  # from memory, 0.03 to 0.12
        saturation_frac=draw.share(0.3 if is_culture else 0.03, 0.02),
        yield_pa=draw.times(60.0 * stiff, 0.3),
        stiffness_pa=draw.times(1500.0 * stiff, 0.3),
        relax_h=draw.times(0.25, 0.3),
        viscosity_pa_h=draw.times(60.0 * stiff, 0.3),
        opening_strain=log(1.0 + 2.32 * recipe.strength) * draw.times(1.0, 0.09),
        opening_width=draw.times(0.10, 0.2),
        softening_per_h=draw.times(0.020 if is_culture or salt_g < 0.5 else 0.015, 0.3),
        permeability=draw.times(0.008, 0.3),
        weight_pa=draw.times(350.0, 0.2),
        skin_h=draw.times(0.55, 0.25),  # with the core a slow time constant near 100 min for 1 kg (computed)
        core_h=draw.times(0.60, 0.25),
        start_c=start_c if start_c is not None and not is_shaped else temp_c,
        bulk_rise_pct=recipe.bulk_rise_pct * draw.times(1.0, 0.2) if is_shaped else 0.0,
        knocked_share=draw.share(0.65, 0.10) if is_shaped else 0.0,
        proof_c=start_c if is_shaped else None,
    )


def stochastic_traits(
    recipe: FormulaRecipe,
    rng: random.Random,
    *,
    start_c: float | None = None,
    spread: float = 1.0,
    again: random.Random | None = None,
) -> StochasticTraits:
    """One baking of a recipe, drawn at random; ``spread`` scales all spreads, 0 gives the typical dough."""
    draw = _Draw(rng, spread, again)
    is_culture = recipe.sourdough_pct > 0.0
    extra = recipe.sourdough_pct / 2.0
    flour = 100.0 + extra
    water_g = (recipe.water_pct + extra) * 100.0 / flour
    salt_g = recipe.salt_pct * 100.0 / flour
    mass_g = 100.0 + water_g + salt_g + recipe.sugar_pct + recipe.fat_pct
    inoculum = extra / flour
    # Firm doughs ripen at half the pace or less, firm sourdoughs at 0.6 to 0.8 of it (common practice, no source).
    dry = max(0.3, 1.0 - (0.035 if is_culture else 0.048) * max(0.0, 60.0 - water_g))
    sweet = read_off(SUGAR_ON_TOLERANT if recipe.is_tolerant else SUGAR_ON_PLAIN, recipe.sugar_pct)
    leaven: dict[str, Any]
    slowed = dry * sweet * (1.0 - 0.06 * (salt_g - 2.0))
    if is_culture:
        leaven = {
            # 20 % ripe sourdough at 24 C raises a dough by half in 5 to 6.5 h, and grows e-fold in 4.3 h (practice).
            "gas_per_h": draw.times(0.80 * inoculum * slowed, 0.28),
            "generation_h": draw.times(3.3, 0.12),
            "most_cells": 1.0 + 0.95 * (1.0 / inoculum - 1.0),
            "coupled": 0.8,
            "wake_h": draw.times(0.6, 0.5),
            "awake_frac": draw.share(0.7, 0.15),
            "walk_sd": spread * 0.16,
            "debt_paid": 0.35,
        }
    else:
        leaven = {
            # 170 mL an hour of 100 g flour's dough with 1 % at 24 C, of 146 mL (practice and computed).
            "gas_per_h": draw.times(1.16 * recipe.instant_yeast_pct * slowed * 168.0 / mass_g, 0.18),
            "generation_h": draw.times(3.2 if salt_g > 0.5 else 2.7, 0.15),
            # 0.21 g of cells more is all that 100 g flour feeds (cell counts at 27 C, seen on a secondary page).
            "most_cells": 1.0 + 0.21 / (0.95 * recipe.instant_yeast_pct),
            "coupled": 0.0,
            "wake_h": draw.times(0.35, 0.35),
            "awake_frac": draw.share(0.35, 0.12),
            "walk_sd": spread * 0.10,
            "debt_paid": 0.03,
        }
    temp_c = draw.about(recipe.temp_c, 1.0)
    is_shaped = recipe.bulk_rise_pct > 0.0
    return StochasticTraits(
        is_culture=is_culture,
        seed=(again or rng).getrandbits(32),
        mass_g=mass_g,
        walk_h=1.5,
        fuel=draw.times(9.0, 0.2),
        debt=draw.times(0.37 * water_g / 65.0, 0.15),  # 45 to 53 mL dissolve in 65 g water (computed)
        air_frac=max(0.03, draw.about(0.08, 0.015)),  # from memory, 0.03 to 0.12
        ceiling=draw.times(1.9 * recipe.strength, 0.12),
        ceiling_sharpness=max(3.0, draw.about(6.0, 1.2)),
        softening_per_h=draw.times(0.015 if is_culture or salt_g < 0.5 else 0.008, 0.3),
        endurance_h=draw.times(2.0, 0.3),
        burst_loss=draw.times(0.003, 0.4) * min(1.0, spread),
        skin_h=draw.times(0.80, 0.25),  # the two together near 100 min for 1 kg (computed)
        core_h=draw.times(0.60, 0.25),
        start_c=start_c if start_c is not None and not is_shaped else temp_c,
        bulk_rise_pct=recipe.bulk_rise_pct * draw.times(1.0, 0.2) if is_shaped else 0.0,
        knocked_share=draw.share(0.65, 0.10) if is_shaped else 0.0,
        proof_c=start_c if is_shaped else None,
        **leaven,
    )
