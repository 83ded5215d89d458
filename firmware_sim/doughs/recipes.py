"""Invented recipes for the simulated doughs. Percentages are of the weighed flour."""

from dataclasses import dataclass
from typing import Protocol


class WeighedRecipe(Protocol):
    """The part of a recipe that a baker weighs and aims at; percentages of the flour."""

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
    def fold_share(self) -> float: ...
    @property
    def default_target_pct(self) -> float: ...


@dataclass(frozen=True, slots=True)
class DigitalRecipe:
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


DIGITAL_RECIPES = {
    "lean": DigitalRecipe("first rise", 66.0, instant_yeast_pct=1.0),
    "lean-slow": DigitalRecipe("first rise", 70.0, instant_yeast_pct=0.3, temp_c=24.0, default_target_pct=75.0),
    "enriched": DigitalRecipe(
        "first rise", 58.0, 1.8, sugar_pct=10.0, fat_pct=14.0, instant_yeast_pct=1.8, lag_work=0.7,
        leak_onset=2.3, break_onset=3.3, osmotic_scale_atm=150.0,
    ),
    "whole-grain": DigitalRecipe(
        "first rise", 78.0, instant_yeast_pct=0.8, leak_onset=1.8, break_onset=2.5, break_min=35.0,
        default_target_pct=70.0,
    ),
    "preferment": DigitalRecipe(
        "preferment", 100.0, 0.0, instant_yeast_pct=1.0, lag_work=0.35, leak_onset=1.9, break_onset=2.5,
        break_min=18.0, fall_per_h=0.55, temp_c=27.0,
    ),
    "sourdough": DigitalRecipe(
        "first rise", 72.0, sourdough_pct=20.0, lag_work=1.6, leak_onset=1.8, break_onset=2.6, break_min=60.0,
        weakening_per_h=0.06, saturation_frac=0.2, default_target_pct=60.0, fold_share=0.25,
    ),
    "starter": DigitalRecipe(
        "preferment", 100.0, 0.0, sourdough_pct=100.0, lag_work=0.8, leak_onset=1.9, break_onset=2.5, break_min=30.0,
        fall_per_h=0.45, saturation_frac=0.3, temp_c=26.0,
    ),
    "proof": DigitalRecipe(
        "final proof", 64.0, instant_yeast_pct=1.0, lag_work=0.08, gas_frac=0.10, saturation_frac=0.85,
        own_sugar_g=1.2, leak_onset=2.1, break_onset=2.9, temp_c=26.0, default_target_pct=90.0,
    ),
}  # fmt: skip

BUBBLE_RECIPES = {
    "bubble-lean": BubbleRecipe("first rise", 66.0, 1.0),
    "bubble-slow": BubbleRecipe("first rise", 72.0, 0.3, temp_c=24.0, default_target_pct=75.0),
    "bubble-quick": BubbleRecipe("first rise", 61.0, 1.7, dormant_frac=0.4, radius_um=45.0, temp_c=27.0),
    "bubble-aged": BubbleRecipe(
        "first rise", 65.0, 0.7, dormant_frac=0.1, learned_frac=0.8, ready_g=0.5, saturation_frac=0.35,
        default_target_pct=90.0,
    ),
    "bubble-whole": BubbleRecipe(
        "first rise", 78.0, 0.9, ready_g=1.3, fail_strain=0.82, weakening_per_h=0.06, default_target_pct=65.0,
    ),
    "bubble-sweet": BubbleRecipe(
        "first rise", 56.0, 1.9, salt_pct=1.6, sugar_pct=13.0, fat_pct=12.0, dormant_frac=0.7,
        osmotic_scale_atm=30.0, fail_strain=0.98, temp_c=26.0, default_target_pct=80.0,
    ),
    "bubble-proof": BubbleRecipe(
        "final proof", 64.0, 1.0, dormant_frac=0.05, learned_frac=0.6, ready_g=0.45, co2_frac=0.10, air_frac=0.05,
        saturation_frac=0.8, radius_um=110.0, fail_strain=0.98, temp_c=26.0, default_target_pct=85.0,
    ),
}  # fmt: skip

WILD_RECIPES = {
    "wild-loaf": WildRecipe("first rise", 70.0, (8.0, 30.0), 20.0),
    "wild-whole": WildRecipe(
        "first rise", 80.0, (8.0, 30.0), 20.0,
        buffering=1.5, bearing=2.2, softening_per_h=0.16, default_target_pct=50.0,
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
