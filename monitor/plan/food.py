"""How long doughs with egg, milk or the like are above 5 C, beside the public guidance: never a verdict."""

from collections.abc import Iterable

from monitor.bakery.phrases import duration_text, printable
from monitor.plan.day import DoughPlan, StagePlan
from monitor.recipe.adding_up import perishables

GUIDANCE = (
    "Public guidance (FDA Food Code, US): food that needs time or temperature control is held at 5 °C (41 °F) or below "
    "(3-501.16); time alone is used as a control under written conditions, commonly up to 4 h (3-501.19). Your own "
    "food authority's rules come first. This program measures time and temperature; it never says that food is safe."
)
"""Sections seen as quoted; their numbers partly from memory."""


def perishable_stages(dough: DoughPlan) -> Iterable[StagePlan]:
    """The stages of a dough that hold egg, milk or the like."""
    return (each for each in dough.stages if perishables(dough.recipe, dough.recipe.part(dough.method(each).part)))


def warm_min(dough: DoughPlan) -> float:
    """Minutes that a dough with egg, milk or the like is expected above 5 C, from its first mixing to the oven.

    Hands count as warm. A waiting for the oven counts as the stage it waits in.
    """
    found = 0.0
    for stage in perishable_stages(dough):
        ready_min = stage.foretold.ready.p50 or 0.0
        stood_min = (stage.ends_at - stage.begins_at).total_seconds() / 60.0
        waited_min = max(stood_min - ready_min, 0.0) if stage.foretold.end_c > 5.0 else 0.0
        found += dough.method(stage).hands_min + stage.foretold.warm_min + waited_min
    return found


def food_sentence(dough: DoughPlan) -> str:
    """Time above 5 C and the guidance; empty for a dough without egg, milk or the like."""
    names = perishables(dough.recipe, dough.recipe.dough)
    if not names:
        return ""
    what = ", ".join(printable(name) for name in names)
    warm = duration_text(warm_min(dough))
    return f"{printable(dough.recipe.name)} holds {what}: about {warm} above 5 °C (41 °F) before the oven. {GUIDANCE}"
