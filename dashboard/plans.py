"""The plan that is being lived, for the screens that show it, and its steps as a table to save."""

import re
from datetime import datetime, timedelta

import pandas as pd

from dashboard.drawing import tables
from monitor.collector.plan_runner import LivePlan, StageForecasts, is_over, open_plans
from monitor.plan.cues import is_done
from monitor.plan.steps import steps
from monitor.store.store import Store
from monitor.wording.plan import step_text
from monitor.wording.reader import Reader

NOT_EARLY = timedelta(minutes=20)  # judgement: earlier, a tap is more likely a slip than a step begun early


def current_plan(store: Store, now: datetime) -> LivePlan | None:
    """The newest plan that is not over, as its doughs have it; None when there is none."""
    plans = open_plans(store, now, StageForecasts(store))
    return next((live for live in plans if not is_over(live, now)), None)


def parted(words: str) -> tuple[str, str]:
    """What a step is, to be read from afar, and what more is to be known of it.

    >>> parted("mix dough, 20 min of hands; first rise begins")
    ('mix dough', '20 min of hands; first rise begins')
    """
    first, *rest = re.split(r"[,;] ", words, maxsplit=1)
    return first, "".join(rest)


def steps_table(live: LivePlan, reader: Reader) -> pd.DataFrame:
    """The steps of a plan with their times as they are now and as planned."""
    planned = {step.key: step.at for step in steps(live.made)}
    wanted = [(step, live.now.dough(step.dough)) for step in steps(live.now)]
    return pd.DataFrame(
        {
            **tables.clocks([step.at for step, _ in wanted], "at", reader.zone),
            **tables.clocks([planned.get(step.key) for step, _ in wanted], "planned", reader.zone),
            **tables.clocks([step.not_after for step, _ in wanted], "not_after", reader.zone),
            "dough": [dough.recipe.name for _, dough in wanted],
            "step": [step_text(dough, step, reader) for step, dough in wanted],
            "is_done": [is_done(dough, step, live.progress) for step, dough in wanted],
        }
    )
