"""What the screens ask of plans: the one that is lived, its food sentence, and the same bread otherwise."""

from datetime import datetime, time, timedelta
from pathlib import Path

from dashboard import queries
from dashboard.access import preferences
from monitor.collector.plan_runner import LivePlan, StageForecasts, food_words, is_over, live_plan, order_of
from monitor.errors import ConfigError, saying_of
from monitor.plan.day import DoughPlan
from monitor.settings.recipes import read_kitchen, read_recipe
from monitor.store.pace import clock_of
from monitor.store.plans import DayBook

Row = tuple[str, ...]


def current_plan(now: datetime) -> LivePlan | None:
    """The newest plan that is not over, as its doughs have it; None when there is none."""
    with queries.opened_as(DayBook) as book:
        forecasts = StageForecasts(book)
        for plan in book.plans(is_open=True):
            live = live_plan(book, plan, now, forecasts)
            if not is_over(live, now):
                return live
    return None


def food(live: LivePlan, dough: DoughPlan) -> str:
    """Time above 5 C beside the guidance; empty without egg, milk or the like."""
    with queries.opened_as(DayBook) as book:
        return food_words(book, live, dough, preferences.reader(book.path.parent))


def wanted_moment(now: datetime, days_ahead: int, at: time) -> datetime:
    """An hour of one of the next days, by the baker's clock."""
    zone = preferences.reader(queries.database().parent).zone
    day = now.astimezone(zone).date() + timedelta(days=days_ahead)
    return datetime.combine(day, at, zone).astimezone(now.tzinfo)


def side_by_side(path: Path, days_ahead: int, at: time) -> list[Row]:
    """The bread as written and otherwise, for an hour: what is otherwise, begin, out, doubt, and how long it is good.

    Raises
    ------
    ConfigError
        When the recipe or the kitchen cannot be used.
    """
    # Only here: the solver takes a second to load, and most looks at a screen never plan anything.
    from monitor.plan.planner import alternatives, keys_of
    from monitor.wording.plan import alternative_row, variation_text

    folder = queries.database().parent
    reader = preferences.reader(folder)
    with queries.opened_as(DayBook) as book:
        now = clock_of(book).now()
        order = order_of(book, read_recipe(path), wanted_moment(now, days_ahead, at))
        try:
            found = alternatives(order, read_kitchen(None, folder), now, reader.zone)
        except ValueError as error:
            raise ConfigError(saying_of(error)) from error
    recipes = {keys_of((order,))[0]: order.recipe}
    return [(variation_text(each, reader), *alternative_row(each, recipes, reader, now)) for each in found]
