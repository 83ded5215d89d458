"""Planning a recipe for an hour: one plan that is kept, or the same bread otherwise, side by side."""

from datetime import datetime, time, timedelta
from pathlib import Path

from dashboard import actions, queries
from dashboard.access import preferences
from monitor.collector.plan_runner import order_of
from monitor.errors import ConfigError, message_of_error
from monitor.settings.recipes import read_kitchen, read_recipe
from monitor.store.pace import clock_of
from monitor.translatable import N_
from monitor.wording.plan import out_sentence
from monitor.wording.reader import Reader

# The solver takes a second to load, and most looks at a screen never plan anything: it is imported where it is used.

Row = tuple[str, ...]


def make(path: Path, days_ahead: int, at: time) -> list[str]:
    """Plan a recipe for an hour and keep the plan; what came of it, or why there is none, in sentences.

    Raises
    ------
    ConfigError
        When the recipe or the kitchen cannot be used.
    """
    from monitor.plan.obstacles import NoPlan
    from monitor.plan.planner import keys_of, make_plan
    from monitor.wording.plan import no_plan_lines

    recipe, kitchen = read_recipe(path), read_kitchen(None, queries.database().parent)
    with actions.writing(N_("Not planned: {why}")) as (store, now, reader):
        wanted = _moment(now, days_ahead, at, reader)
        if wanted <= now:
            return [reader.say("That hour is over.")]
        order = order_of(store, recipe, wanted)
        try:
            found = make_plan((order,), kitchen, now, reader.zone)
        except ValueError as error:
            raise ConfigError(message_of_error(error)) from error
        if isinstance(found, NoPlan):
            recipes = dict(zip(keys_of((order,)), [order.recipe], strict=True))
            return [reader.say("No plan:"), *no_plan_lines(found, recipes, reader, now)]
        plan = store.plans.add(found)
        return [out_sentence(plan.doughs[0], reader, now)]
    return []


def side_by_side(path: Path, days_ahead: int, at: time) -> list[Row]:
    """The bread as written and otherwise, for an hour: what is otherwise, begin, out, doubt, and how long it is good.

    Raises
    ------
    ConfigError
        When the recipe or the kitchen cannot be used.
    """
    from monitor.plan.planner import alternatives, keys_of
    from monitor.wording.plan import alternative_row, variation_text

    folder = queries.database().parent
    reader = preferences.reader(folder)
    with queries.opened() as store:
        now = clock_of(store).now()
        order = order_of(store, read_recipe(path), _moment(now, days_ahead, at, reader))
        try:
            found = alternatives(order, read_kitchen(None, folder), now, reader.zone)
        except ValueError as error:
            raise ConfigError(message_of_error(error)) from error
    recipes = {keys_of((order,))[0]: order.recipe}
    return [(variation_text(each, reader), *alternative_row(each, recipes, reader, now)) for each in found]


def _moment(now: datetime, days_ahead: int, at: time, reader: Reader) -> datetime:
    """An hour of one of the next days, by the baker's clock."""
    day = now.astimezone(reader.zone).date() + timedelta(days=days_ahead)
    return datetime.combine(day, at, reader.zone).astimezone(now.tzinfo)
