"""How long doughs with egg, milk or the like are above 5 C, beside the public guidance: never a verdict."""

from collections.abc import Iterable

import numpy as np

from monitor.dough.track import Track
from monitor.plan.day import DoughPlan, StagePlan
from monitor.plan.stage_forecast import WARM_C
from monitor.recipe.findings import perishables
from monitor.translatable import N_
from monitor.wording.phrases import printable, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

LONGEST_GAP_MIN = 30.0  # judgement: a probe that was silent for longer may have been anywhere
GUIDANCE = N_(
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
        waited_min = max(stood_min - ready_min, 0.0) if stage.foretold.end_c > WARM_C else 0.0
        found += dough.method(stage).hands_min + stage.foretold.warm_min + waited_min
    return found


def seen_warm_min(tracks: Iterable[Track]) -> float:
    """Minutes above 5 C that were measured: by the probe, or by the air where there was none.

    A gap of more than ``LONGEST_GAP_MIN`` between two readings counts as nothing seen.
    """
    found_s = 0.0
    for track in tracks:
        series = track.dough_temp_c if track.dough_temp_c.t_s.size else track.air_temp_c
        gaps_s = np.diff(series.t_s)
        is_seen = (gaps_s <= LONGEST_GAP_MIN * 60.0) & (series.value[:-1] > WARM_C)
        found_s += float(np.sum(gaps_s[is_seen]))
    return found_s / 60.0


def food_sentence(dough: DoughPlan, reader: Reader, seen_min: float | None = None) -> str:
    """Time above 5 C and the guidance; empty for a dough without egg, milk or the like.

    Parameters
    ----------
    seen_min
        What was measured so far; None when nothing was. [min]
    """
    names = perishables(dough.recipe, dough.recipe.dough)
    if not names:
        return ""
    holes = {
        "dough": printable(dough.recipe.name),
        "what": ", ".join(printable(name) for name in names),
        "warm": duration_text(warm_min(dough)),
        "limit": temp_text(WARM_C, reader),
    }
    if seen_min is None:
        told = reader.say("{dough} holds {what}: about {warm} above {limit} before the oven.", **holes)
    else:
        told = reader.say(_SEEN, seen=duration_text(seen_min), **holes)
    return f"{told} {reader.say(GUIDANCE)}"


_SEEN = N_("{dough} holds {what}: about {warm} above {limit} before the oven, {seen} of it measured so far.")
