"""What a batch is begun from: one like it before, a stage of a recipe, or nothing."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from dashboard.start.vessels import FIRST_VESSELS
from monitor.errors import ConfigError
from monitor.plan.day import batch_of_stage
from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, Batch, BatchId, Stage, Target
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C, Intent
from monitor.recipe.method import MethodStage
from monitor.recipe.parts import Recipe
from monitor.settings.recipes import read_recipe, recipes_in
from monitor.translatable import N_
from monitor.wording.reader import Reader

NEW = N_("Something new")
USUAL_BAND_PCT = 75.0  # judgement: short of doubled, as first rises are often cut


@dataclass(frozen=True, slots=True)
class Template:
    """What a new batch is to be like.

    Attributes
    ----------
    key
        Tells it from the others: the number of the batch it is like, or the recipe and its stage's.
    title
        What it is called where one is chosen.
    dough_c
        How warm the dough is meant to be. [C]
    has_vessel
        True when the batch's vessel is one that somebody has measured.
    """

    key: str
    title: str
    batch: Batch
    dough_c: float = USUAL_DOUGH_TEMP_C
    has_vessel: bool = True

    @property
    def is_new(self) -> bool:
        """True for something that is like nothing before."""
        return self.key == NEW


def recipes_at_hand(folder: Path) -> tuple[list[Recipe], list[str]]:
    """The recipes in the data directory's folder of them, and what is wrong with those that cannot be read."""
    recipes: list[Recipe] = []
    faults: list[str] = []
    for path in recipes_in(folder):
        try:
            recipes.append(read_recipe(path))
        except ConfigError as error:
            faults.append(error.message)
    return recipes, faults


def templates(
    batches: Sequence[Batch],
    intent_of: Callable[[BatchId], Intent | None],
    recipes: Sequence[Recipe],
    reader: Reader,
    now: datetime,
) -> list[Template]:
    """What a new batch may be like: the newest of each recipe and stage, newest first; the recipes; something new.

    A batch from before comes before its recipe: it knows the vessel it stood in and the sensor that looked at it. So
    the stages of recipes that were begun before come after those that were not.

    Parameters
    ----------
    intent_of
        What a batch was meant to be, asked of those alone that are offered.
    """
    found: dict[tuple[str, Stage], Batch] = {}
    for batch in batches:
        found[batch.recipe_key, batch.stage] = batch
    newest_first = sorted(found.values(), key=lambda batch: batch.started_at, reverse=True)
    before = []
    for batch in newest_first:
        intent = intent_of(batch.id)
        dough_c = USUAL_DOUGH_TEMP_C if intent is None else intent.dough_temp_c
        before.append(Template(str(batch.id), batch.name, batch, dough_c))
    written = [
        Template(
            f"{recipe.name}/{number}",
            recipe.name if method.part == recipe.dough.name else f"{recipe.name}: {method.part}",
            _first_of(recipe, number, now),
            USUAL_DOUGH_TEMP_C if method.dough_c is None else method.dough_c,
            has_vessel=method.vessel is not None,
        )
        for recipe in map(_with_a_stage, recipes)
        for number, method in enumerate(recipe.method)
    ]
    written.sort(key=lambda each: (each.batch.recipe_key, each.batch.stage) in found)
    blank = Batch(BatchId(0), "", Stage.FIRST_RISE, now, next(iter(FIRST_VESSELS.values())), Target(USUAL_BAND_PCT))
    return [*before, *written, Template(NEW, reader.say(NEW), blank)]


def _with_a_stage(recipe: Recipe) -> Recipe:
    """The recipe; one that is a formula only, with the first rise of its dough."""
    return recipe if recipe.method else replace(recipe, method=(MethodStage(recipe.dough.name, Stage.FIRST_RISE),))


def _first_of(recipe: Recipe, number: int, now: datetime) -> Batch:
    """The batch of a recipe's stage; nobody else calls for its oven, so it does."""
    batch = batch_of_stage(recipe, number, now)
    if batch.stage is not Stage.FINAL_PROOF:
        return batch
    return replace(batch, preheat_min=DEFAULT_PREHEAT_MIN if recipe.bake is None else recipe.bake.preheat_min)
