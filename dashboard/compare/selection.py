"""Which finished batches lie beside each other: those of one recipe and stage, as the address asks for. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from monitor.recipe.batch import Batch, BatchId, Stage

MOST_TOLD_APART = 6  # judgement: more lines, each of its own colour and dash, are a tangle
MOST_OFFERED = 12  # judgement: to lay over each other; two rows of buttons
MOST_LOOKED_AT = 40  # of a recipe, the newest: older ones are of another season, another flour, as in dough.learning
IN_ADDRESS = ("recipe", "stage", "batches", "time", "batch")  # the last one says where to begin, once


@dataclass(frozen=True, slots=True)
class RecipeStage:
    """A stage of a recipe that was finished more than once: its batches, newest first, and its name as last written."""

    recipe: str
    stage: Stage
    name: str
    batches: tuple[Batch, ...]


@dataclass(frozen=True, slots=True)
class Selection:
    """What to lay over each other; ``is_even``: in time as if all doughs had been equally warm."""

    repeated: RecipeStage
    batch_ids: tuple[BatchId, ...]
    is_even: bool


def recipe_stages(finished: Iterable[Batch]) -> tuple[list[RecipeStage], list[RecipeStage]]:
    """What was finished twice or more, and what only once; what was begun last first."""
    found: dict[tuple[str, Stage], list[Batch]] = {}
    for batch in sorted(finished, key=lambda each: (each.started_at, each.id), reverse=True):
        found.setdefault((batch.recipe_key, batch.stage), []).append(batch)
    all_of_them = [
        RecipeStage(key, stage, (same[0].recipe or same[0].name.partition(",")[0] or same[0].name).strip(), tuple(same))
        for (key, stage), same in found.items()
    ]
    return [each for each in all_of_them if len(each.batches) > 1], [e for e in all_of_them if len(e.batches) == 1]


def selection_in(address: Mapping[str, str], offered: Sequence[RecipeStage]) -> Selection | None:
    """What an address asks for, whatever is written in it: the newest where it says nothing that is there.

    A ``batch`` alone asks for its recipe and stage, with that batch among the newest. None when what it names was
    finished once only, or nothing is offered.
    """
    one = _ids(address.get("batch", ""))
    wanted = (address.get("recipe", ""), address.get("stage", ""))
    if one or any(wanted):
        chosen = next(
            (
                each
                for each in offered
                if (each.recipe, each.stage.value) == wanted or (one and one[0] in {b.id for b in each.batches})
            ),
            None,
        )
    else:
        chosen = offered[0] if offered else None
    if chosen is None:
        return None
    there = [batch.id for batch in chosen.batches]
    ids = [batch_id for batch_id in _ids(address.get("batches", "")) if batch_id in there]
    if not ids:
        first = [batch.id for batch in chosen.batches if one and batch.id == one[0]]
        ids = first + [batch_id for batch_id in there if batch_id not in first]
    return Selection(chosen, tuple(ids[:MOST_TOLD_APART]), address.get("time") == "even")


def address_of(selection: Selection) -> dict[str, str]:
    """The address that shows a selection again."""
    return {
        "recipe": selection.repeated.recipe,
        "stage": selection.repeated.stage.value,
        "batches": ",".join(str(batch_id) for batch_id in selection.batch_ids),
        "time": "even" if selection.is_even else "clock",
    }


def compared_batches(selection: Selection) -> list[Batch]:
    """The batches that trend and forecasts are told of: the newest, and whichever were chosen."""
    return [
        batch
        for place, batch in enumerate(selection.repeated.batches)
        if place < MOST_LOOKED_AT or batch.id in selection.batch_ids
    ]


def _ids(text: str) -> list[BatchId]:
    return [BatchId(int(each)) for each in text.split(",") if each.isascii() and each.isdecimal() and len(each) < 19]
