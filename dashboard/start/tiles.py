"""Tiles to choose from, each a drawing to one scale with its words, and all of it one button."""

import html
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from dashboard.drawing import markup
from dashboard.drawing.tub import UNMEASURED_FILL_FRAC, fill, vessel_svg
from dashboard.page import View
from dashboard.start.draft import Draft
from dashboard.start.templates import Template
from dashboard.start.vessels import vessel_word
from monitor.recipe.batch import Target
from monitor.recipe.vessel import Vessel, volume_ml
from monitor.translatable import N_
from monitor.wording.phrases import stage_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

TALLEST_PX, WIDEST_PX = 96.0, 130.0


@dataclass(frozen=True, slots=True)
class Tile:
    """One thing to choose.

    Attributes
    ----------
    vessel
        Drawn to the scale that all have in common; None: a vessel that nobody has chosen yet.
    lines
        What is said below its title.
    """

    key: str
    title: str
    vessel: Vessel | None
    target: Target | None
    lines: tuple[str, ...]


def of_templates(
    offered: Sequence[Template], drafts: Mapping[str, Draft], vessels: Mapping[str, Vessel], words: str, view: View
) -> list[Tile]:
    """What a batch may be like, each as it would be begun; ``words`` are said of something new."""
    return [
        Tile(each.key, each.title, None, None, (words,))
        if each.is_new
        else Tile(
            each.key,
            each.title,
            vessels.get(drafts[each.key].vessel, each.batch.vessel),
            each.batch.target,
            (stage_word(each.batch.stage, view.reader), _how(drafts[each.key], view.reader), _last(each, view)),
        )
        for each in offered
    ]


def of_vessels(vessels: Mapping[str, Vessel], reader: Reader) -> list[Tile]:
    """The vessels that a dough may stand in."""
    litres = {name: f"{reader.number(vessel.volume_ml / 1000, 1)} l" for name, vessel in vessels.items()}
    return [Tile(name, vessel_word(name, reader), each, None, (litres[name],)) for name, each in vessels.items()]


def _how(draft: Draft, reader: Reader) -> str:
    by_eye = draft.node is None
    if draft.target.is_peak:
        return reader.say(N_("to its peak, by eye") if by_eye else N_("to its peak"))
    band = f"{draft.target.rise_pct:.0f}"
    return reader.say(N_("band {band} %, by eye") if by_eye else N_("band {band} %"), band=band)


def _last(template: Template, view: View) -> str:
    batch = template.batch
    if not batch.id:
        return view.reader.say("from your recipes")
    began = clock_text(batch.started_at, view.reader, view.now)
    if batch.ended_at is None:
        return view.reader.say("begun {at}", at=began)
    took_min = (batch.ended_at - batch.started_at).total_seconds() / 60.0
    return view.reader.say("{at}, took {time}", at=began, time=duration_text(took_min))


def show(tiles: Sequence[Tile], chosen: str | None, choose: Callable[[str], None], group: str, view: View) -> None:
    """All tiles beside one another; a touch of one chooses it."""
    scale = _px_per_mm([tile.vessel for tile in tiles if tile.vessel is not None])
    with st.container(key=group):
        for number, tile in enumerate(tiles):
            here = "chosen" if tile.key == chosen else "tile"
            with st.container(key=f"{group}-{here}-{number}"):
                lines = "".join(f"<small>{html.escape(line)}</small>" for line in tile.lines)
                title = html.escape(tile.title)
                st.html(f'<div class="tile">{_drawing(tile, scale, view)}<b>{title}</b>{lines}</div>')
                label = markup.plain(f"{tile.title}, {tile.lines[0]}")
                st.button(label, key=f"choose-{group}-{tile.key}", on_click=choose, args=(tile.key,))


def _px_per_mm(vessels: Sequence[Vessel]) -> float:
    tallest_mm = max((vessel.depth_mm for vessel in vessels), default=200.0)
    widest_mm = max((max(*vessel.base_mm, *vessel.top_mm) for vessel in vessels), default=200.0)
    return min(TALLEST_PX / tallest_mm, WIDEST_PX / widest_mm)


def _drawing(tile: Tile, px_per_mm: float, view: View) -> str:
    if tile.vessel is None:
        return '<span class="new" aria-hidden="true">+</span>'
    rise_pct = None if tile.target is None else tile.target.rise_pct
    start_ml = float(volume_ml(tile.vessel, UNMEASURED_FILL_FRAC * tile.vessel.depth_mm))
    levels = fill(tile.vessel, start_ml, None if tile.target is None else 0.0, rise_pct)
    svg, width_px, height_px = vessel_svg(tile.vessel, levels, view.palette, px_per_mm)
    drawn = markup.picture(svg, "", "mark vessel")
    return drawn.replace("<img ", f'<img width="{width_px:.0f}" height="{height_px:.0f}" ')
