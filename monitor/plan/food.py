"""How long doughs with egg, milk or the like are above 5 C, expected and measured: never a verdict."""

from collections.abc import Iterable

import numpy as np

from monitor.dough.track import Track
from monitor.plan.day import DoughPlan, StagePlan
from monitor.plan.stage_forecast import WARM_C
from monitor.recipe.ingredients import PERISHABLE, IngredientKind
from monitor.recipe.parts import Part, Recipe

LONGEST_GAP_MIN = 30.0  # judgement: a probe that was silent for longer may have been anywhere


def perishables(recipe: Recipe, part: Part) -> tuple[str, ...]:
    """Names of egg, milk and the like in a part or in what goes into it."""
    found: list[str] = []
    for each in part.ingredients:
        if each.kind is IngredientKind.PART:
            found += perishables(recipe, recipe.part(each.name))
        elif each.kind in PERISHABLE:
            found.append(each.name)
    return tuple(dict.fromkeys(found))


def perishable_stages(dough: DoughPlan) -> Iterable[StagePlan]:
    """The stages of a dough that hold egg, milk or the like."""
    return (each for each in dough.stages if perishables(dough.recipe, dough.recipe.part(dough.method(each).part)))


def expected_warm_min(dough: DoughPlan) -> float:
    """Minutes that a dough with egg, milk or the like is expected above 5 C, from its first mixing to the oven.

    Hands count as warm. A waiting for the oven counts as the stage it waits in.
    """
    found = 0.0
    for stage in perishable_stages(dough):
        ready_min = stage.forecast.ready.p50 or 0.0
        stood_min = (stage.ends_at - stage.begins_at).total_seconds() / 60.0
        waited_min = max(stood_min - ready_min, 0.0) if stage.forecast.end_c > WARM_C else 0.0
        found += dough.method(stage).hands_min + stage.forecast.warm_min + waited_min
    return found


def measured_warm_min(tracks: Iterable[Track]) -> float:
    """Minutes above 5 C that were measured: by the probe, or by the air where there was none.

    A gap of more than ``LONGEST_GAP_MIN`` between two readings counts as nothing measured.
    """
    found_s = 0.0
    for track in tracks:
        series = track.dough_temp_c if track.dough_temp_c.t_s.size else track.air_temp_c
        gaps_s = np.diff(series.t_s)
        is_measured = (gaps_s <= LONGEST_GAP_MIN * 60.0) & (series.value[:-1] > WARM_C)
        found_s += float(np.sum(gaps_s[is_measured]))
    return found_s / 60.0
