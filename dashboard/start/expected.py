"""When a dough that is begun now will be ready, as far as its warmth tells before anybody has seen it rise."""

from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from dashboard.page import View
from dashboard.start.zero import newest
from monitor.dough.forecast import outlook
from monitor.dough.learning import Lesson, learned_from
from monitor.dough.outlook import Moments
from monitor.dough.track import EMPTY, Series, Track
from monitor.plan.stage_forecast import ANY_MOMENT
from monitor.recipe.batch import Batch
from monitor.wire.readings import Channel
from monitor.wording.times import about_text

AIR_SINCE = timedelta(minutes=10)  # judgement: air that was measured so lately is the air it will stand in


def sentence(batch: Batch, dough_c: float, view: View) -> str:
    """When a batch is ready if it is begun now, as one sentence; empty when that cannot be said."""
    asked = replace(batch, name="", started_at=ANY_MOMENT, events=())
    lessons = view.store.lessons.before(batch)
    found = _ready(asked, batch.recipe_key, dough_c, _air_c(batch, view), lessons)
    later = view.now - ANY_MOMENT
    moments = Moments(*(None if at is None else at + later for at in found))
    about = about_text(moments, view.reader, view.now)
    if about is None:
        return ""
    if batch.target.is_peak:
        return view.reader.say("Begun now, it is at its peak {about}.", about=about)
    return view.reader.say("Begun now, it is ready {about}.", about=about)


@lru_cache(maxsize=64)
def _ready(
    batch: Batch, recipe: str, dough_c: float, air_c: float | None, lessons: tuple[Lesson, ...]
) -> tuple[datetime | None, ...]:
    """Quantiles of the moment, for a beginning at any moment."""
    learned = learned_from(lessons, replace(batch, recipe=recipe))
    track = Track(dough_temp_c=_one(dough_c), air_temp_c=EMPTY if air_c is None else _one(air_c))
    ready = outlook(batch, track, ANY_MOMENT, learned=learned).ready
    return ready.p05, ready.p25, ready.p50, ready.p75, ready.p95


def _one(value: float) -> Series:
    return Series(np.zeros(1), np.array([value]), np.full(1, np.nan))


def _air_c(batch: Batch, view: View) -> float | None:
    """The air it will stand in, to half a degree; None when nobody has measured it of late. [C]"""
    node = batch.node_of(Channel.AIR_TEMP)
    rows = (row for row in view.store.nodes.all() if row.node == node)
    found = next((newest(row, Channel.AIR_TEMP) for row in rows), None)
    if found is None or view.now - found.measured_at > AIR_SINCE:
        return None
    return round(2.0 * found.value) / 2.0
