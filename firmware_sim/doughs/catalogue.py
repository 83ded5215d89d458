"""Every dough that can be recorded, by name and by the simulator that lives it."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from firmware_sim.doughs.bubble import BubbleDough
from firmware_sim.doughs.digital import Dough, Traits
from firmware_sim.doughs.dough import LivingDough
from firmware_sim.doughs.other_recipes import BUBBLE_RECIPES, WILD_RECIPES, drawn_bubble, drawn_wild
from firmware_sim.doughs.recipes import RECIPES, Recipe, traits_of
from firmware_sim.doughs.wild import WildDough


class Weighed(Protocol):
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
class Kind:
    """One named dough.

    Attributes
    ----------
    draw
        One baking at random, given a generator and the start temperature (None: near the recipe's): the recipe as
        weighed, and the traits, which ``dough`` takes together with the air and the folds.
    """

    simulator: str
    recipe: Weighed
    draw: Callable[[random.Random, float | None], tuple[Weighed, Any]]
    dough: Callable[..., LivingDough]


def _drawn(recipe: Recipe) -> Callable[[random.Random, float | None], tuple[Recipe, Traits]]:
    return lambda rng, start_c: (recipe, traits_of(recipe, rng, start_c=start_c))


KINDS: dict[str, Kind] = {
    **{name: Kind("digital", recipe, _drawn(recipe), Dough) for name, recipe in RECIPES.items()},
    **{name: Kind("bubble", recipe, drawn_bubble(recipe), BubbleDough) for name, recipe in BUBBLE_RECIPES.items()},
    **{name: Kind("wild", recipe, drawn_wild(recipe), WildDough) for name, recipe in WILD_RECIPES.items()},
}
SIMULATORS = tuple(dict.fromkeys(kind.simulator for kind in KINDS.values()))


def names_of(simulator: str) -> tuple[str, ...]:
    """The doughs that one simulator lives."""
    return tuple(name for name, kind in KINDS.items() if kind.simulator == simulator)
