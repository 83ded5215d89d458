"""What a baker does to a plan on a screen, written at once through the store, at the dough's own now."""

from datetime import time
from pathlib import Path

import streamlit as st

from dashboard import queries
from dashboard.access import preferences
from dashboard.plan.lookups import wanted_moment
from monitor.collector.plan_runner import StageForecasts, live_plan, next_stages, order_of, start_next
from monitor.errors import AccessError, ConfigError, StoreError, saying_of
from monitor.plan.day import PlanId
from monitor.settings.recipes import read_kitchen, read_recipe
from monitor.store.pace import clock_of
from monitor.store.plans import DayBook
from monitor.wording.plan import out_sentence
from monitor.wording.reader import Reader


def begin(plan_id: PlanId, dough: str, stage: int) -> None:
    """Begin the next stage of a dough, with its batch, and say so; a second tap begins nothing more."""
    try:
        with queries.opened_to_write_as(DayBook) as book:
            now = clock_of(book).now()
            live = live_plan(book, book.plan(plan_id), now, StageForecasts(book))
            if not any(each.key == dough and waiting.number == stage for each, waiting in next_stages(live)):
                st.toast(_reader().say("That has begun already."))
                return
            said = start_next(book, live, now, _reader(), dough)
    except (AccessError, ConfigError, StoreError) as error:
        st.toast(_reader().say("Not begun: {why}", why=error), duration="infinite")
        return
    st.toast(said)


def done(plan_id: PlanId, step: str, words: str) -> None:
    """Tick a step off, and say so."""
    try:
        with queries.opened_to_write_as(DayBook) as book:
            book.mark_done(plan_id, step, clock_of(book).now())
    except (AccessError, StoreError) as error:
        st.toast(_reader().say("Not noted: {why}", why=error), duration="infinite")
        return
    st.toast(_reader().say("Done: {what}", what=words))


def make(path: Path, days_ahead: int, at: time) -> list[str]:
    """Plan a recipe for an hour and keep the plan; what came of it, or why there is none, in sentences.

    Raises
    ------
    ConfigError
        When the recipe or the kitchen cannot be used.
    """
    # Only here: the solver takes a second to load, and most looks at a screen never plan anything.
    from monitor.plan.obstacles import NoPlan
    from monitor.plan.planner import keys_of, make_plan
    from monitor.wording.plan import no_plan_lines

    folder = queries.database().parent
    reader = _reader()
    try:
        with queries.opened_to_write_as(DayBook) as book:
            now = clock_of(book).now()
            wanted = wanted_moment(now, days_ahead, at)
            if wanted <= now:
                return [reader.say("That hour is over.")]
            order = order_of(book, read_recipe(path), wanted)
            found = make_plan((order,), read_kitchen(None, folder), now, reader.zone)
            if isinstance(found, NoPlan):
                recipes = dict(zip(keys_of((order,)), [order.recipe], strict=True))
                return [reader.say("No plan:"), *no_plan_lines(found, recipes, reader, now)]
            plan = book.add_plan(found)
    except (AccessError, StoreError) as error:
        return [reader.say("Not planned: {why}", why=error)]
    except ValueError as error:
        raise ConfigError(saying_of(error)) from error
    return [out_sentence(plan.doughs[0], reader, now)]


def _reader() -> Reader:
    return preferences.reader(queries.database().parent)
