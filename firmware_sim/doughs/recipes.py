"""Invented recipes for the simulated doughs. Percentages are of the weighed flour.

Each baking takes yeast or ripe sourdough between the two percentages of ``between_pct``, and a little more or less
water and salt than the recipe's middle.
"""

from dataclasses import dataclass
from typing import Protocol


class WeighedRecipe(Protocol):
    """The part of a recipe that a baker weighs and aims at; percentages of the flour."""

    @property
    def kind(self) -> str: ...
    @property
    def stage(self) -> str: ...
    @property
    def water_pct(self) -> float: ...
    @property
    def salt_pct(self) -> float: ...
    @property
    def sugar_pct(self) -> float: ...
    @property
    def fat_pct(self) -> float: ...
    @property
    def instant_yeast_pct(self) -> float: ...
    @property
    def sourdough_pct(self) -> float: ...
    @property
    def between_pct(self) -> tuple[float, float]: ...
    @property
    def fold_share(self) -> float: ...
    @property
    def default_target_pct(self) -> float: ...


def water_of_all_flour_pct(recipe: WeighedRecipe) -> float:
    """Water, that of the ripe sourdough included, on all flour: half the sourdough is flour, half water. [%]"""
    extra = recipe.sourdough_pct / 2.0
    return 100.0 * (recipe.water_pct + extra) / (100.0 + extra)


def formula_pct(recipe: WeighedRecipe) -> dict[str, float]:
    """What is weighed in, on the flour that is weighed, without what is not in it. [%]"""
    names = ("water_pct", "salt_pct", "sugar_pct", "fat_pct", "instant_yeast_pct", "sourdough_pct")
    return {name.removesuffix("_pct"): getattr(recipe, name) for name in names if getattr(recipe, name) > 0.0}


def leaven_of(recipe: WeighedRecipe) -> str:
    """What raises it: yeast or sourdough."""
    return "sourdough" if recipe.sourdough_pct > 0.0 else "yeast"


@dataclass(frozen=True, slots=True)
class DigitalRecipe:
    """A dough a baker would name; the weights are baker's percentages."""

    kind: str
    stage: str
    water_pct: float
    between_pct: tuple[float, float]
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
    weakening_per_h: float = 0.05
    gas_frac: float = 0.0
    saturation_frac: float = 0.0
    own_sugar_g: float = 1.5  # from memory, 1 to 2.5
    osmotic_scale_atm: float = 18.0  # of ordinary yeast: 5 % glucose costs a fifth, 10 % sucrose seven tenths (seen)
    temp_c: float = 25.0
    fold_share: float = 0.35
    default_target_pct: float = 100.0


@dataclass(frozen=True, slots=True)
class BubbleRecipe:
    """A dough with bought yeast."""

    kind: str
    stage: str
    water_pct: float
    instant_yeast_pct: float
    between_pct: tuple[float, float]
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
    """A dough raised by ripe sourdough, half of it flour."""

    kind: str
    stage: str
    water_pct: float
    between_pct: tuple[float, float]
    sourdough_pct: float
    salt_pct: float = 1.9
    sugar_pct: float = 0.0
    fat_pct: float = 0.0
    instant_yeast_pct: float = 0.0
    grown: float = 1.0  # cells against those weighed in, after an earlier stage
    buffering: float = 1.0
    bearing: float = 2.7
    softening_per_h: float = 0.12
    co2_frac: float = 0.0
    awake_frac: float = 0.6
    temp_c: float = 25.0
    fold_share: float = 0.25
    default_target_pct: float = 70.0


@dataclass(frozen=True, slots=True)
class FormulaRecipe:
    """A dough of which only formula, flour and handling are told: two simulators work out the rest.

    Attributes
    ----------
    strength
        What its walls bear against those of a lean dough of strong white flour.
    is_tolerant
        Raised by yeast that bears sugar.
    bulk_rise_pct
        Of a shaped dough: how far it rose before, about.
    """

    kind: str
    stage: str
    water_pct: float
    between_pct: tuple[float, float]
    instant_yeast_pct: float = 0.0
    sourdough_pct: float = 0.0
    salt_pct: float = 2.0
    sugar_pct: float = 0.0
    fat_pct: float = 0.0
    strength: float = 1.0
    is_tolerant: bool = False
    bulk_rise_pct: float = 0.0
    temp_c: float = 25.0
    fold_share: float = 0.35
    default_target_pct: float = 100.0


DIGITAL_RECIPES = {
    "lean": DigitalRecipe("lean", "first rise", 66.0, (0.5, 1.8), instant_yeast_pct=1.0),
    "lean-slow": DigitalRecipe(
        "lean", "first rise", 70.0, (0.06, 0.5), instant_yeast_pct=0.3, temp_c=24.0, default_target_pct=75.0,
    ),
    "enriched": DigitalRecipe(
        "enriched", "first rise", 58.0, (1.0, 2.4), 1.8,
        sugar_pct=10.0, fat_pct=14.0, instant_yeast_pct=1.8, lag_work=0.7,
        leak_onset=2.3, break_onset=3.3, osmotic_scale_atm=150.0,
    ),
    "whole-grain": DigitalRecipe(
        "whole grain", "first rise", 78.0, (0.4, 1.3),
        instant_yeast_pct=0.8, leak_onset=1.8, break_onset=2.5, break_min=35.0,
        default_target_pct=70.0,
    ),
    "preferment": DigitalRecipe(
        "liquid preferment", "preferment", 100.0, (0.05, 1.2), 0.0, instant_yeast_pct=1.0,
        lag_work=0.35, leak_onset=1.9, break_onset=2.5,
        break_min=18.0, fall_per_h=0.55, temp_c=27.0,
    ),
    "sourdough": DigitalRecipe(
        "sourdough", "first rise", 72.0, (5.0, 30.0), sourdough_pct=20.0, lag_work=1.6,
        leak_onset=1.8, break_onset=2.6, break_min=60.0,
        weakening_per_h=0.06, saturation_frac=0.2, default_target_pct=60.0, fold_share=0.25,
    ),
    "starter": DigitalRecipe(
        "starter", "preferment", 100.0, (10.0, 100.0), 0.0, sourdough_pct=100.0,
        lag_work=0.8, leak_onset=1.9, break_onset=2.5, break_min=30.0,
        fall_per_h=0.45, saturation_frac=0.3, temp_c=26.0,
    ),
    "proof": DigitalRecipe(
        "final proof", "final proof", 64.0, (0.5, 1.6),
        instant_yeast_pct=1.0, lag_work=0.08, gas_frac=0.10, saturation_frac=0.85,
        own_sugar_g=1.2, leak_onset=2.1, break_onset=2.9, temp_c=26.0, default_target_pct=90.0,
    ),
}  # fmt: skip

BUBBLE_RECIPES = {
    "bubble-lean": BubbleRecipe("lean", "first rise", 66.0, 1.0, (0.5, 1.8)),
    "bubble-slow": BubbleRecipe("lean", "first rise", 72.0, 0.3, (0.06, 0.5), temp_c=24.0, default_target_pct=75.0),
    "bubble-quick": BubbleRecipe(
        "lean", "first rise", 61.0, 1.7, (1.2, 2.5), dormant_frac=0.4, radius_um=45.0, temp_c=27.0,
    ),
    "bubble-aged": BubbleRecipe(
        "lean", "first rise", 65.0, 0.7, (0.3, 1.2),
        dormant_frac=0.1, learned_frac=0.8, ready_g=0.5, saturation_frac=0.35,
        default_target_pct=90.0,
    ),
    "bubble-whole": BubbleRecipe(
        "whole grain", "first rise", 78.0, 0.9, (0.4, 1.4), ready_g=1.3,
        fail_strain=0.82, weakening_per_h=0.06, default_target_pct=65.0,
    ),
    "bubble-sweet": BubbleRecipe(
        "enriched", "first rise", 56.0, 1.9, (1.2, 2.6), salt_pct=1.6, sugar_pct=13.0, fat_pct=12.0, dormant_frac=0.7,
        osmotic_scale_atm=30.0, fail_strain=0.98, temp_c=26.0, default_target_pct=80.0,
    ),
    "bubble-proof": BubbleRecipe(
        "final proof", "final proof", 64.0, 1.0, (0.5, 1.6), dormant_frac=0.05,
        learned_frac=0.6, ready_g=0.45, co2_frac=0.10, air_frac=0.05,
        saturation_frac=0.8, radius_um=110.0, fail_strain=0.98, temp_c=26.0, default_target_pct=85.0,
    ),
}  # fmt: skip

WILD_RECIPES = {
    "wild-loaf": WildRecipe("sourdough", "first rise", 70.0, (5.0, 35.0), 20.0),
    "wild-whole": WildRecipe(
        "whole grain", "first rise", 80.0, (8.0, 30.0), 20.0,
        buffering=1.5, bearing=2.2, softening_per_h=0.16, default_target_pct=50.0,
    ),
    "wild-proof": WildRecipe(
        "final proof", "final proof", 70.0, (15.0, 30.0), 20.0,
        co2_frac=0.13, grown=2.0, awake_frac=0.95, bearing=2.3, default_target_pct=60.0,
    ),
    "wild-starter": WildRecipe(
        "starter", "preferment", 100.0, (10.0, 100.0), 50.0,
        salt_pct=0.0, bearing=2.5, softening_per_h=0.20, temp_c=26.0,
    ),
    "wild-stiff": WildRecipe(
        "stiff preferment", "preferment", 52.0, (20.0, 100.0), 50.0,
        salt_pct=0.0, bearing=2.9, softening_per_h=0.10, temp_c=26.0,
    ),
}  # fmt: skip

# Strengths are judgement: greatest volumes of 3 to 4 for white dough, 2 to 3 with whole grain, 1.4 to 2 of rye.
FORMULA_RECIPES = {
    "lean": FormulaRecipe("lean", "first rise", 66.0, (0.4, 2.0), 1.0),
    "overnight": FormulaRecipe("lean", "first rise", 70.0, (0.03, 0.25), 0.08, temp_c=23.0, default_target_pct=75.0),
    "enriched": FormulaRecipe(
        "enriched", "first rise", 56.0, (1.0, 2.4), 1.6, salt_pct=1.7, sugar_pct=9.0, fat_pct=11.0,
        strength=0.95, is_tolerant=True, temp_c=26.0, default_target_pct=80.0,
    ),
    "whole": FormulaRecipe(
        "whole grain", "first rise", 79.0, (0.3, 1.3), 0.7, strength=0.7, default_target_pct=65.0,
    ),
    "poolish": FormulaRecipe(
        "liquid preferment", "preferment", 100.0, (0.03, 0.7), 0.08, salt_pct=0.0, strength=0.70, temp_c=23.0,
    ),
    "biga": FormulaRecipe(
        "stiff preferment", "preferment", 48.0, (0.15, 0.7), 0.33, salt_pct=0.0, strength=0.75, temp_c=21.0,
    ),
    "sourdough": FormulaRecipe(
        "sourdough", "first rise", 70.0, (5.0, 35.0), sourdough_pct=20.0, strength=0.8, fold_share=0.25,
        default_target_pct=60.0,
    ),
    "rye": FormulaRecipe(
        "rye", "first rise", 80.0, (10.0, 45.0), sourdough_pct=30.0, salt_pct=1.8, strength=0.42, temp_c=28.0,
        default_target_pct=40.0,
    ),
    "starter": FormulaRecipe(
        "starter", "preferment", 100.0, (8.0, 100.0), sourdough_pct=40.0, salt_pct=0.0, strength=0.75,
    ),
    "stiff-starter": FormulaRecipe(
        "stiff preferment", "preferment", 50.0, (20.0, 100.0), sourdough_pct=60.0, salt_pct=0.0, strength=0.9,
        temp_c=26.0,
    ),
    "proof": FormulaRecipe(
        "final proof", "final proof", 65.0, (0.4, 1.8), 0.9, strength=0.9, bulk_rise_pct=80.0, default_target_pct=80.0,
    ),
    "pan-proof": FormulaRecipe(
        "final proof", "final proof", 60.0, (0.8, 2.0), 1.2, sugar_pct=4.0, fat_pct=4.0, strength=1.0,
        bulk_rise_pct=80.0, temp_c=27.0, default_target_pct=100.0,
    ),
    "sourdough-proof": FormulaRecipe(
        "final proof", "final proof", 70.0, (8.0, 30.0), sourdough_pct=18.0, strength=0.8, bulk_rise_pct=50.0,
        default_target_pct=50.0,
    ),
}  # fmt: skip
