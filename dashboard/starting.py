"""What a batch is begun from: one like it before, a vessel off the shelf, a node and what it reads at this moment."""

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median

from dashboard.page import Scene
from dashboard.svg import picture
from dashboard.tub import vessel_svg
from monitor.bakery.manner import Manner
from monitor.bakery.wording import stage_word, temp_text
from monitor.errors import ConfigError
from monitor.formulary import read_recipe, recipes_in
from monitor.plan.day import batch_of_stage
from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, Batch, BatchId, Stage, Target
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C
from monitor.recipe.method import MethodStage
from monitor.recipe.parts import Recipe
from monitor.recipe.vessel import Shape, Vessel, volume_ml
from monitor.sinks.rows import NodeRow
from monitor.sinks.shelf import Shelf
from monitor.wire.readings import Channel, Flag, NodeId, Reading

FRESH = timedelta(minutes=2)  # judgement: a tare wants to know how it stands now
TARE_OVER = timedelta(minutes=3)
EMPTY_MM = 3.0  # judgement: what a sensor wanders, and a film of oil
TALLEST_PX = 120.0
FIRST_VESSELS = {  # to begin with: round numbers of no maker's
    "round tub, 6 litres": Vessel(Shape.ROUND, (190.0, 190.0), (220.0, 220.0), 180.0),
    "long tray": Vessel(Shape.RECTANGULAR, (300.0, 200.0), (300.0, 200.0), 120.0),
    "jar, 1 litre": Vessel(Shape.ROUND, (95.0, 95.0), (95.0, 95.0), 145.0),
}
_FIRST_NAMES = {
    "round tub, 6 litres": "round tub, 6 litres",
    "long tray": "long tray",
    "jar, 1 litre": "jar, 1 litre",
}
NEW = "something new"
USUAL_BAND_PCT = 75.0  # judgement: short of doubled, as bulk rises are often cut
AS_BEFORE = "as "
USUAL_BAND_PCT = 75.0  # judgement: short of doubled, as bulk rises are often cut
AS_BEFORE = "as "


def vessel_word(name: str, manner: Manner) -> str:
    """What a vessel is called: those to begin with in the reader's language, the others as the baker named them."""
    if name in _FIRST_NAMES:
        return manner.say(_FIRST_NAMES[name])
    if name.startswith(AS_BEFORE):
        return manner.say("as {batch}", batch=name.removeprefix(AS_BEFORE))
    return name


@dataclass(frozen=True, slots=True)
class Like:
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
    recipes, faults = [], []
    for path in recipes_in(folder):
        try:
            recipes.append(read_recipe(path))
        except ConfigError as error:
            faults.append(str(error))
    return recipes, faults


def likes(batches: Sequence[Batch], recipes: Sequence[Recipe], manner: Manner, now: datetime) -> dict[str, Like]:
    """What a new batch may be like: the newest of each recipe and stage, newest first; a recipe's stage; something new.

    A batch from before comes before its recipe: it knows the vessel it stood in and the node that looked at it.
    """
    found: dict[tuple[str, Stage], Batch] = {}
    for batch in batches:
        found[batch.recipe_key, batch.stage] = batch
    newest_first = sorted(found.values(), key=lambda batch: batch.started_at, reverse=True)
    before = {f"{batch.name}, {stage_word(batch.stage, manner)}": Like(str(batch.id), batch) for batch in newest_first}
    written = {
        f"{recipe.name}: {method.part}, {stage_word(method.stage, manner)}": Like(
            f"{recipe.name}/{number}",
            _first_of(recipe, number, now),
            USUAL_DOUGH_TEMP_C if method.dough_c is None else method.dough_c,
            has_vessel=method.vessel is not None,
        )
        for recipe in map(_with_a_stage, recipes)
        for number, method in enumerate(recipe.method)
    }
    blank = Batch(BatchId(0), "", Stage.BULK_RISE, now, next(iter(FIRST_VESSELS.values())), Target(USUAL_BAND_PCT))
    return before | written | {manner.say(NEW): Like(NEW, blank)}


def _with_a_stage(recipe: Recipe) -> Recipe:
    """The recipe; one that is a formula only, with the first rise of its dough."""
    return recipe if recipe.method else replace(recipe, method=(MethodStage(recipe.dough.name, Stage.BULK_RISE),))


def _first_of(recipe: Recipe, number: int, now: datetime) -> Batch:
    """The batch of a recipe's stage; nobody else calls for its oven, so it does."""
    batch = batch_of_stage(recipe, number, now)
    if batch.stage is not Stage.FINAL_PROOF:
        return batch
    return replace(batch, preheat_min=DEFAULT_PREHEAT_MIN if recipe.bake is None else recipe.bake.preheat_min)


def vessels_of(store: Shelf, like: Like) -> dict[str, Vessel]:
    """The shelf; with the vessel of the batch it is to be like in front, unless that stands there already."""
    shelf = FIRST_VESSELS | store.vessels()
    if not like.has_vessel or like.batch.vessel in shelf.values():
        return shelf
    return {f"{AS_BEFORE}{like.batch.name}": like.batch.vessel, **shelf}


def shelf_html(vessels: Mapping[str, Vessel], chosen: str, scene: Scene) -> str:
    """All vessels beside one another, drawn to one scale, with their volume; the chosen one marked."""
    tallest_mm = max(vessel.depth_mm for vessel in vessels.values())
    widest_mm = max(max(*vessel.base_mm, *vessel.top_mm) for vessel in vessels.values())
    px_per_mm = min(TALLEST_PX / tallest_mm, 1.4 * TALLEST_PX / widest_mm)
    cells = []
    for name, vessel in vessels.items():
        svg, width_px, height_px = vessel_svg(vessel, scene.palette, px_per_mm)
        litres = f"{scene.manner.number(vessel.volume_ml / 1000, 1)} l"
        called = vessel_word(name, scene.manner)
        words = f"{called}, {measures(vessel, scene.manner)}"
        drawn = picture(svg, words, "vessel").replace("<img ", f'<img width="{width_px:.0f}" height="{height_px:.0f}" ')
        here = " chosen" if name == chosen else ""
        cells.append(f'<li class="on-shelf{here}">{drawn}<span>{html.escape(called)}<br>{litres}</span></li>')
    return f'<ul class="shelf">{"".join(cells)}</ul>'


def measures(vessel: Vessel, manner: Manner) -> str:
    """Inner measures in words."""
    (first, second), (top, _), depth = vessel.base_mm, vessel.top_mm, round(vessel.depth_mm)
    if vessel.shape is Shape.ROUND:
        across = "{base} to {top} mm across, {depth} mm deep inside"
        return manner.say(across, base=round(first), top=round(top), depth=depth)
    return manner.say(
        "{base} by {other} mm, {depth} mm deep inside", base=round(first), other=round(second), depth=depth
    )


def newest_of(row: NodeRow, channel: Channel) -> Reading | None:
    """What a node said last of a channel, when it can be used."""
    return next((each for each in row.newest if each.channel is channel and each.flag is Flag.OK), None)


def tare_mm(store: Shelf, node: NodeId, scene: Scene) -> float | None:
    """Distance to the base of an empty vessel: the last minutes' middle; None without fresh readings. [mm]"""
    found = [
        reading
        for reading in store.readings_between(node, Channel.DISTANCE, scene.now - TARE_OVER, scene.now)
        if reading.flag is Flag.OK
    ]
    if not found or scene.now - found[-1].measured_at > FRESH:
        return None
    return float(median(reading.value for reading in found))


def reading_words(row: NodeRow, vessel: Vessel, scene: Scene) -> str:
    """What a node reads now, and what that means in this vessel."""
    manner, parts = scene.manner, []
    for channel, what in ((Channel.AIR_TEMP, "air {temp}"), (Channel.DOUGH_TEMP, "dough {temp}")):
        found = newest_of(row, channel)
        if found is not None:
            parts.append(manner.say(what, temp=temp_text(found.value, manner)))
    humid, distance = newest_of(row, Channel.HUMIDITY), newest_of(row, Channel.DISTANCE)
    if humid is not None:
        parts.append(manner.say("humidity {humidity} %", humidity=manner.number(humid.value)))
    if distance is not None:
        down = manner.say("{distance} mm down to what is below it", distance=manner.number(distance.value))
        parts.append(f"{down}, {_level_words(vessel, distance.value, manner)}")
    age_s = (scene.now - row.last_seen_at).total_seconds()
    if age_s < 120:
        ago = manner.say("heard {n} s ago", n=round(age_s))
    else:
        ago = manner.say("last heard {n} min ago: look after it first", n=round(age_s / 60))
    return f"{ago}: {'; '.join(parts) or manner.say('nothing measured yet')}"


def _level_words(vessel: Vessel, distance_mm: float, manner: Manner) -> str:
    if vessel.sensor_to_base_mm is None:
        return manner.say("not tared")
    level = vessel.sensor_to_base_mm - distance_mm
    if level < EMPTY_MM:
        return manner.say("empty")
    if level > vessel.depth_mm * 1.2:
        return manner.say("higher than this vessel: is it the right one, and tared?")
    litres = manner.number(float(volume_ml(vessel, level)) / 1000, 2)
    return manner.say("{level} mm of dough, {litres} l", level=manner.number(level), litres=litres)
