"""What a batch is begun from: one like it before, a stage of a recipe, or nothing."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from dashboard.start.vessels import FIRST_VESSELS
from monitor.errors import ConfigError
from monitor.plan.day import batch_of_stage
from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, Batch, BatchId, Stage, Target
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C
from monitor.recipe.method import MethodStage
from monitor.recipe.parts import Recipe
from monitor.settings.recipes import read_recipe, recipes_in
from monitor.translatable import N_
from monitor.wording.alerts import stage_word
from monitor.wording.reader import Reader

NEW = N_("something new")
USUAL_BAND_PCT = 75.0  # judgement: short of doubled, as first rises are often cut


@dataclass(frozen=True, slots=True)
class Template:
    """What a new batch is to be like.

    Attributes
    ----------
    key
        Tells its fields on the page from those of another.
    dough_c
        How warm the dough is meant to be. [C]
    has_vessel
        True when the batch's vessel is one that somebody has measured.
    """

    key: str
    batch: Batch
    dough_c: float = USUAL_DOUGH_TEMP_C
    has_vessel: bool = True


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
    batches: Sequence[Batch], recipes: Sequence[Recipe], reader: Reader, now: datetime
) -> dict[str, Template]:
    """What a new batch may be like: the newest of each recipe and stage, newest first; a recipe's stage; something new.

    A batch from before comes before its recipe: it knows the vessel it stood in and the node that looked at it.
    """
    found: dict[tuple[str, Stage], Batch] = {}
    for batch in batches:
        found[batch.recipe_key, batch.stage] = batch
    newest_first = sorted(found.values(), key=lambda batch: batch.started_at, reverse=True)
    before = {
        f"{batch.name}, {stage_word(batch.stage, reader)}": Template(str(batch.id), batch) for batch in newest_first
    }
    written = {
        f"{recipe.name}: {method.part}, {stage_word(method.stage, reader)}": Template(
            f"{recipe.name}/{number}",
            _first_of(recipe, number, now),
            USUAL_DOUGH_TEMP_C if method.dough_c is None else method.dough_c,
            has_vessel=method.vessel is not None,
        )
        for recipe in map(_with_a_stage, recipes)
        for number, method in enumerate(recipe.method)
    }
    blank = Batch(BatchId(0), "", Stage.FIRST_RISE, now, next(iter(FIRST_VESSELS.values())), Target(USUAL_BAND_PCT))
    return before | written | {reader.say(NEW): Template(NEW, blank)}


def _with_a_stage(recipe: Recipe) -> Recipe:
    """The recipe; one that is a formula only, with the first rise of its dough."""
    return recipe if recipe.method else replace(recipe, method=(MethodStage(recipe.dough.name, Stage.FIRST_RISE),))


def _first_of(recipe: Recipe, number: int, now: datetime) -> Batch:
    """The batch of a recipe's stage; nobody else calls for its oven, so it does."""
    batch = batch_of_stage(recipe, number, now)
    if batch.stage is not Stage.FINAL_PROOF:
        return batch
    return replace(batch, preheat_min=DEFAULT_PREHEAT_MIN if recipe.bake is None else recipe.bake.preheat_min)
