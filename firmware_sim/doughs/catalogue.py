"""Every simulated dough by name: its simulator, its recipe, and how a baking of it is drawn and begun."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from firmware_sim.doughs.bakings import (
    bubble_traits,
    digital_traits,
    stochastic_traits,
    viscoelastic_traits,
    weighed,
    wild_traits,
)
from firmware_sim.doughs.bubble import BubbleDough
from firmware_sim.doughs.digital import DigitalDough
from firmware_sim.doughs.dough import STEP_S, Course, Dough, Folds
from firmware_sim.doughs.recipes import (
    BUBBLE_RECIPES,
    DIGITAL_RECIPES,
    FORMULA_RECIPES,
    WILD_RECIPES,
    WeighedRecipe,
)
from firmware_sim.doughs.stochastic import StochasticDough
from firmware_sim.doughs.viscoelastic import ViscoelasticDough
from firmware_sim.doughs.wild import WildDough


class Draw(Protocol):
    """One baking at random: the recipe as weighed, and the traits."""

    def __call__(
        self, rng: random.Random, start_c: float | None, again: random.Random | None = None
    ) -> tuple[WeighedRecipe, Any]: ...


BULK_STEP_S, LONGEST_BULK_H = 30.0, 30.0


def _after_bulk(make: type[ViscoelasticDough] | type[StochasticDough]) -> Callable[..., Dough[Any]]:
    """A dough at the start of its stage, its bulk rise behind it where it is a shaped one."""

    def begun(traits: Any, air_c: Course, folds: Folds = (), *, step_s: float = STEP_S) -> Dough[Any]:
        if not traits.bulk_rise_pct:
            return make(traits, air_c, folds, step_s=step_s)
        dough = make(traits, lambda _: traits.start_c, step_s=BULK_STEP_S)
        while (dough.rise_pct or 0.0) < traits.bulk_rise_pct and dough.now_s < LONGEST_BULK_H * 3600.0:
            dough.advance_to(dough.now_s + 300.0)
        dough.begin_stage(air_c, traits.knocked_share, folds, step_s=step_s)
        if traits.proof_c is not None:
            dough.set_temperature(traits.proof_c)
        return dough

    return begun


@dataclass(frozen=True, slots=True)
class DoughKind:
    """One named dough.

    Attributes
    ----------
    draw
        One baking at random, given a generator and the start temperature (None: near the recipe's): the recipe as
        weighed, and the traits, which ``dough`` takes together with the air and the folds.
    leaven_traits
        The traits that are 0 in a dough whose leaven is dead.
    """

    simulator: str
    recipe: WeighedRecipe
    draw: Draw
    dough: Callable[..., Dough[Any]]
    leaven_traits: tuple[str, ...]


LEAVEN_TRAITS: dict[str, tuple[str, ...]] = {
    "digital": ("yeast_g",),
    "bubble": ("yeast_g",),
    "wild": ("yeast_vigour", "bacteria_vigour"),
    "viscoelastic": ("cells_g",),
    "stochastic": ("gas_per_h",),
}


def _kind(simulator: str, recipe: Any, traits_of: Callable[..., Any], dough: Callable[..., Dough[Any]]) -> DoughKind:
    def draw(
        rng: random.Random, start_c: float | None, again: random.Random | None = None
    ) -> tuple[WeighedRecipe, Any]:
        made = weighed(recipe, rng)
        return made, traits_of(made, rng, start_c=start_c, again=again)

    return DoughKind(simulator, recipe, draw, dough, LEAVEN_TRAITS[simulator])


KINDS: dict[str, DoughKind] = {
    **{name: _kind("digital", recipe, digital_traits, DigitalDough) for name, recipe in DIGITAL_RECIPES.items()},
    **{name: _kind("bubble", recipe, bubble_traits, BubbleDough) for name, recipe in BUBBLE_RECIPES.items()},
    **{name: _kind("wild", recipe, wild_traits, WildDough) for name, recipe in WILD_RECIPES.items()},
    **{
        f"viscoelastic-{name}": _kind("viscoelastic", recipe, viscoelastic_traits, _after_bulk(ViscoelasticDough))
        for name, recipe in FORMULA_RECIPES.items()
    },
    **{
        f"stochastic-{name}": _kind("stochastic", recipe, stochastic_traits, _after_bulk(StochasticDough))
        for name, recipe in FORMULA_RECIPES.items()
    },
}
SIMULATORS = tuple(dict.fromkeys(kind.simulator for kind in KINDS.values()))


def names_of(simulator: str) -> tuple[str, ...]:
    """The doughs of one simulator."""
    return tuple(name for name, kind in KINDS.items() if kind.simulator == simulator)
