"""Made-up recipes and kitchens for tests of the baker's day."""

import tomllib
from dataclasses import replace
from datetime import UTC, datetime

from monitor.plan.kitchen import Kitchen, Place
from monitor.recipe.parts import Recipe
from monitor.recipe.recipe_file import recipe_from_toml

MORNING = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
NOON = datetime(2026, 3, 3, 12, 30, tzinfo=UTC)
KITCHEN = Kitchen(places=(Place("room", 24.0), Place("refrigerator", 4.0)))

# The common practice, no source: a preferment a day in the cold, the dough kneaded warm, two loaves on one stone.
COLD_PREFERMENT_DAY = """
name = "Tamarack loaf"
pieces = 2
[[part]]
name = "cold preferment"
kind = "preferment"
[part.ingredients]
"white flour" = "250 g"
water = "250 g"
"instant yeast" = "0.5 g"
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "750 g"
water = "410 g"
salt = "20 g"
"instant yeast" = "7 g"
"cold preferment" = "all"
[[stage]]
part = "cold preferment"
stage = "preferment"
hours = 24
place = "refrigerator"
hands_min = 5
dough_c = 21
[[stage]]
part = "dough"
stage = "first rise"
rise_pct = 75
hands_min = 20
mixer_min = 8
dough_c = 27
[[stage]]
part = "dough"
stage = "final proof"
rise_pct = 75
hands_min = 10
takes = 2
[bake]
minutes = 25
oven_c = 218.3
preheat_min = 30
steam_min = [0, 5, 10]
at_once = 1
"""


def recipe(text: str = COLD_PREFERMENT_DAY) -> Recipe:
    """A recipe from its text."""
    return recipe_from_toml(tomllib.loads(text), "made up")


def with_narrow_window(found: Recipe, points: float = 4.0) -> Recipe:
    """The recipe whose loaves are over-proofed so few points of rise after they are ready."""
    last = found.method[-1]
    assert last.target.rise_pct is not None
    narrow = replace(last, good_to_rise_pct=last.target.rise_pct + points)
    return replace(found, method=(*found.method[:-1], narrow))
