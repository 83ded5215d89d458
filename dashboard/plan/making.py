"""Planning a recipe for an hour: one plan that is kept, or the same bread otherwise, side by side."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from pathlib import Path

from dashboard import actions, queries
from dashboard.access import preferences
from monitor.collector.plan_runner import order_of
from monitor.errors import ConfigError, message_of_error
from monitor.plan.kitchen import Kitchen
from monitor.recipe.parts import Recipe
from monitor.settings.recipes import read_kitchen, read_recipe
from monitor.store.pace import clock_of
from monitor.translatable import N_
from monitor.wording.plan import out_sentence
from monitor.wording.reader import Reader
from monitor.wording.times import moments_shown

# The solver takes a second to load, and most looks at a screen never plan anything: it is imported where it is used.

Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Made:
    """What came of planning, in sentences; and whether the plan waits for a yes before it is kept."""

    lines: list[str]
    is_asked: bool = False


def make(path: Path, days_ahead: int, at: time, *, is_sure: bool = False) -> Made:
    """Plan a recipe for an hour and keep the plan, or say why there is none.

    A plan that a baker would rather have known more of is kept only when ``is_sure``.

    Raises
    ------
    ConfigError
        When the recipe or the kitchen cannot be used.
    """
    kitchen = read_kitchen(None, queries.database().parent)
    return _make(read_recipe(path), kitchen, days_ahead, at, is_sure) or Made([])


def keep(path: Path, days_ahead: int, at: time) -> None:
    """Plan a recipe for an hour and keep the plan, whatever there is to be said of it."""
    make(path, days_ahead, at, is_sure=True)


@actions.writes(N_("Not planned: {why}"))
def _make(write: actions.Write, recipe: Recipe, kitchen: Kitchen, days_ahead: int, at: time, is_sure: bool) -> Made:
    from monitor.plan.obstacles import NoPlan
    from monitor.plan.planner import keys_of, make_plan
    from monitor.plan.second_look import remarks
    from monitor.wording.no_plan import no_plan_lines
    from monitor.wording.plan import remark_sentence

    now, reader = write.now, write.reader
    wanted = _moment(now, days_ahead, at, reader)
    if wanted <= now:
        return Made([reader.say("That hour is over.")])
    order = order_of(write.store, recipe, wanted)
    try:
        found = make_plan((order,), kitchen, now, reader.zone)
    except ValueError as error:
        raise ConfigError(message_of_error(error)) from error
    if isinstance(found, NoPlan):
        recipes = dict(zip(keys_of((order,)), [order.recipe], strict=True))
        return Made([reader.say("No plan:"), *no_plan_lines(found, recipes, reader, now)])
    said = [remark_sentence(each, found, reader, now) for each in remarks(found, (order,), reader.zone)]
    is_asked = bool(said) and not is_sure
    if not is_asked:
        write.store.plans.add(found)
    return Made([*said, out_sentence(found.doughs[0], reader, now)], is_asked)


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
    """An hour of one of the next days, by the baker's clock; of two that it shows alike the first that is to come."""
    day = now.astimezone(reader.zone).date() + timedelta(days=days_ahead)
    shown = moments_shown(at, day, reader.zone)
    return next((each for each in shown if each > now), shown[-1]).astimezone(now.tzinfo)
