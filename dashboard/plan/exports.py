"""A planned day as it is saved: each dough's picture with its steps, and all steps at the oven."""

from collections.abc import Callable

import pandas as pd

from dashboard.drawing import exports
from dashboard.drawing.exports import Exhibit
from dashboard.page import Scene
from dashboard.plan import pictures
from monitor.collector.plan_runner import LivePlan
from monitor.plan.cues import is_done
from monitor.plan.day import DoughPlan, Step, steps
from monitor.wording.phrases import printable
from monitor.wording.plan import out_sentence, step_text, window_sentence


def day_exhibit(dough: DoughPlan, live: LivePlan, scene: Scene) -> Exhibit:
    """One dough's day, and its steps with their times as planned and as they are now."""
    reader, now = scene.reader, scene.now
    said = (out_sentence(dough, reader, now), window_sentence(dough, reader))
    return Exhibit(
        printable(dough.recipe.name),
        reader.say("plan"),
        " ".join(sentence for sentence in said if sentence),
        lambda: _table(live, scene, lambda step: step.dough == dough.key),
        lambda palette: pictures.day_svg(dough, now, reader, palette),
    )


def bake_exhibit(live: LivePlan, scene: Scene) -> Exhibit:
    """The steps at the oven, of all doughs."""
    names = ", ".join(printable(dough.recipe.name) for dough in live.now.doughs)
    return Exhibit(
        names, scene.reader.say("bake"), "", lambda: _table(live, scene, lambda step: step.kind in pictures.BAKE_KINDS)
    )


def _table(live: LivePlan, scene: Scene, is_wanted: Callable[[Step], bool]) -> pd.DataFrame:
    zone = scene.reader.zone
    planned = {step.key: step.at for step in steps(live.made)}
    wanted = [(step, live.now.dough(step.dough)) for step in steps(live.now) if is_wanted(step)]
    return pd.DataFrame(
        {
            **exports.clocks([step.at for step, _ in wanted], "at", zone),
            **exports.clocks([planned[step.key] for step, _ in wanted], "planned", zone),
            **exports.clocks([step.not_after for step, _ in wanted], "not_after", zone),
            "dough": [dough.recipe.name for _, dough in wanted],
            "step": [step_text(dough, step, scene.reader) for step, dough in wanted],
            "is_done": [is_done(dough, step, live.progress) for step, dough in wanted],
        }
    )
