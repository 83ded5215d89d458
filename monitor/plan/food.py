"""How long doughs with egg, milk or the like are above 5 C, expected and measured: never a verdict."""

from collections.abc import Iterable

from monitor.dough.track import Track
from monitor.dough.warmth import WARM_C, warm_time
from monitor.plan.day import DoughPlan, StagePlan


def perishable_stages(dough: DoughPlan) -> Iterable[StagePlan]:
    """The stages of a dough that hold egg, milk or the like."""
    return (each for each in dough.stages if dough.recipe.perishables(dough.recipe.part(dough.method(each).part)))


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
    """Minutes above 5 C that were measured of one dough in its stages."""
    return sum(warm_time(track).warm_min for track in tracks)
