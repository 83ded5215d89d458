"""What a batch is begun from: one like it before, a vessel off the shelf, a node and what it reads at this moment."""

import html
from collections.abc import Mapping
from datetime import timedelta
from statistics import median

from dashboard.page import Scene
from dashboard.svg import picture
from dashboard.tub import vessel_svg
from monitor.bakery.manner import Manner
from monitor.bakery.wording import stage_word, temp_text
from monitor.recipe.batch import Batch, Stage
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
NEW = "something new"


def likes(batches: list[Batch], manner: Manner) -> dict[str, Batch | None]:
    """What a new batch may be like: the newest of each recipe and stage, newest first; or none of them."""
    found: dict[tuple[str, Stage], Batch] = {}
    for batch in batches:
        found[batch.recipe_key, batch.stage] = batch
    newest_first = sorted(found.values(), key=lambda batch: batch.started_at, reverse=True)
    return {f"{batch.name}, {stage_word(batch.stage, manner)}": batch for batch in newest_first} | {NEW: None}


def vessels_of(store: Shelf, like: Batch | None) -> dict[str, Vessel]:
    """The shelf; with the vessel of the batch it is to be like in front, unless that stands there already."""
    shelf = FIRST_VESSELS | store.vessels()
    if like is None or like.vessel in shelf.values():
        return shelf
    return {f"as {like.name}": like.vessel, **shelf}


def shelf_html(vessels: Mapping[str, Vessel], chosen: str, scene: Scene) -> str:
    """All vessels beside one another, drawn to one scale, with their volume; the chosen one marked."""
    tallest_mm = max(vessel.depth_mm for vessel in vessels.values())
    widest_mm = max(max(*vessel.base_mm, *vessel.top_mm) for vessel in vessels.values())
    px_per_mm = min(TALLEST_PX / tallest_mm, 1.4 * TALLEST_PX / widest_mm)
    cells = []
    for name, vessel in vessels.items():
        svg, width_px, height_px = vessel_svg(vessel, scene.palette, px_per_mm)
        litres = f"{vessel.volume_ml / 1000:.1f} l"
        words = f"{name}, {measures(vessel)}"
        drawn = picture(svg, words, "vessel").replace("<img ", f'<img width="{width_px:.0f}" height="{height_px:.0f}" ')
        here = " chosen" if name == chosen else ""
        cells.append(f'<li class="on-shelf{here}">{drawn}<span>{html.escape(name)}<br>{litres}</span></li>')
    return f'<ul class="shelf">{"".join(cells)}</ul>'


def measures(vessel: Vessel) -> str:
    """Inner measures in words."""
    if vessel.shape is Shape.ROUND:
        wide = f"{vessel.base_mm[0]:.0f} to {vessel.top_mm[0]:.0f} mm across"
    else:
        wide = f"{vessel.base_mm[0]:.0f} by {vessel.base_mm[1]:.0f} mm"
    return f"{wide}, {vessel.depth_mm:.0f} mm deep inside"


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
    parts = []
    for channel, what in ((Channel.AIR_TEMP, "air"), (Channel.DOUGH_TEMP, "dough")):
        found = newest_of(row, channel)
        if found is not None:
            parts.append(f"{what} {temp_text(found.value, scene.manner)}")
    humid, distance = newest_of(row, Channel.HUMIDITY), newest_of(row, Channel.DISTANCE)
    if humid is not None:
        parts.append(f"humidity {humid.value:.0f} %")
    if distance is not None:
        parts.append(f"{distance.value:.0f} mm down to what is below it{_level_words(vessel, distance.value)}")
    age_s = (scene.now - row.last_seen_at).total_seconds()
    ago = f"heard {age_s:.0f} s ago" if age_s < 120 else f"last heard {age_s / 60:.0f} min ago: look after it first"
    return f"{ago}: {'; '.join(parts) or 'nothing measured yet'}"


def _level_words(vessel: Vessel, distance_mm: float) -> str:
    if vessel.sensor_to_base_mm is None:
        return ", not tared"
    level = vessel.sensor_to_base_mm - distance_mm
    if level < EMPTY_MM:
        return ", empty"
    if level > vessel.depth_mm * 1.2:
        return ", higher than this vessel: is it the right one, and tared?"
    return f", {level:.0f} mm of dough, {float(volume_ml(vessel, level)) / 1000:.2f} l"
