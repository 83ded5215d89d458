"""What an oven and its stone need between two loads: the heat that bread takes, and what gives it back."""

from math import log

from monitor.plan.kitchen import Kitchen, Oven
from monitor.recipe.heat_balance import made_of_part, specific_heat_kj_kg_k
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C
from monitor.recipe.parts import Recipe

STEAM_KJ_KG = 2257.0  # what a kilogram of water takes to become steam at 100 C: steam tables, from memory
STONE_KJ_KG_K = 0.9  # fireclay: handbook of materials, from memory; cordierite and steel lie within 0.5 to 1.0
USUAL_CORE_C = 97.0  # trade glossary (seen): 95 to 98 C, rolls and sweet doughs a little less
COLDEST_STONE_C = 100.0  # judgement: under wet dough a stone gets no colder than what boils on it
NET_FRAC = 0.7  # judgement: what of an oven's power reaches bread and stone; the rest goes by walls, flue and door
FROM_STONE_FRAC = 0.4  # judgement: what of its heat a loaf takes from below
SOAK_MIN = 8.0  # judgement: 15 to 20 mm of stone hold 27 to 41 kJ/(m2 K), and get 60 W/(m2 K) from above and below
AS_GOOD_AS_HOT_C = 10.0  # judgement: a stone so close to its heat bakes as well


def heat_kj(recipe: Recipe, pieces: int) -> float:
    """What so many pieces take up until they are baked: they are warmed, and some of their water boils away. [kJ]

    Steam given into the oven, the crust's own heat above 100 C and what starch takes to swell are left out: some 5 %.
    """
    kj_kg_k = specific_heat_kj_kg_k(made_of_part(recipe, recipe.dough))
    core_c = USUAL_CORE_C if recipe.bake is None or recipe.bake.core_c is None else recipe.bake.core_c
    a_kg_kj = kj_kg_k * (core_c - USUAL_DOUGH_TEMP_C) + recipe.bake_loss_pct / 100.0 * STEAM_KJ_KG
    return pieces * recipe.each_g / 1000.0 * a_kg_kj


def balanced_min(taken_kj: float, *, oven_c: float, bake_min: float, kw: float, stone_kg: float | None) -> float:
    """How long an oven heats until it is as it was before a load that took so much heat. [min]

    The stone under the bread is covered until that is out: what it gave comes back afterwards, and with it what the
    power did not bring during the bake. A stone takes its time whatever the power: it falls towards its heat like any
    body, from as far below as its mass lets it fall.

    Parameters
    ----------
    kw, stone_kg
        Connected power, and the mass of stone that warms and cools; None: the power alone decides.

    Examples
    --------
    Two loaves on the stone of a home oven, and a deck full of them; 15 to 25 and 5 to 15 min are common practice, no
    source.

    >>> round(balanced_min(740.0, oven_c=240.0, bake_min=40.0, kw=2.5, stone_kg=4.8))
    15
    >>> round(balanced_min(5500.0, oven_c=240.0, bake_min=50.0, kw=6.0, stone_kg=46.0))
    13
    """
    net_kw = NET_FRAC * kw
    from_stone_kj = FROM_STONE_FRAC * taken_kj
    fallen_c = 0.0
    if stone_kg is not None:
        stone_kj_k = STONE_KJ_KG_K * stone_kg
        from_stone_kj = min(from_stone_kj, stone_kj_k * max(oven_c - COLDEST_STONE_C, 0.0))
        fallen_c = from_stone_kj / stone_kj_k
    owed_kj = from_stone_kj + max(taken_kj - from_stone_kj - net_kw * 60.0 * bake_min, 0.0)
    soak_min = SOAK_MIN * log(fallen_c / AS_GOOD_AS_HOT_C) if fallen_c > AS_GOOD_AS_HOT_C else 0.0
    return max(owed_kj / net_kw / 60.0, soak_min)


def recovery_min(kitchen: Kitchen, oven: Oven, recipe: Recipe, pieces: int) -> float:
    """What an oven needs after a load, before the next: as the baker says, or by the heat that the load took. [min]"""
    said_min = kitchen.recover_min if oven.recover_min is None else oven.recover_min
    if said_min is not None:
        return said_min
    bake = recipe.bake
    if bake is None or oven.kw is None:
        return 0.0
    return balanced_min(
        heat_kj(recipe, pieces),
        oven_c=bake.oven_c,
        bake_min=bake.minutes,
        kw=oven.kw / oven.decks,
        stone_kg=None if oven.stone_kg is None else oven.stone_kg / oven.decks,
    )
