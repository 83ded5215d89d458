"""The planned day drawn on one clock: a strip for each dough, each oven's line of temperature, and the hands.

What is over is dough-coloured, what is ahead is outlined; a hatched block is where a dough may be ready, a dashed tail
how long it stays good, a notch a fold. A load has one number in its dough's strip, in its oven and in what is written
below; behind it a dashed tail is what the oven needs before the next.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from dashboard.drawing.markup import elastic_drawing, element, text
from dashboard.drawing.palette import FONT, Palette
from dashboard.drawing.strips import Hours, bar, grid, hatch, pct
from dashboard.plan.oven_line import turns
from monitor.plan.day import DoughPlan, LoadPlan, Plan, StagePlan, Step
from monitor.plan.recovery import recovery_min
from monitor.plan.steps import FoldDue, folds_of
from monitor.wording.phrases import oven_text, printable, stage_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text

LANE_PX, BAR_PX, BLOCK_PX, TAIL_PX = 66.0, 20.0, 34.0, 10.0
OVEN_PX, HANDS_PX = 116.0, 44.0
WIDTHS_PX = (900, 600, 320)  # labels are laid out for each: a narrower picture keeps fewer
LETTER_PX, DIGIT_PX, LOAD_PX = 7.4, 8.0, 22.0
# A picture's own style sheet knows the size it is shown at.
_STYLE = "".join(
    f"<style>@media (max-width: {width - 1}px) {{ .from-{width} {{ display: none }} }}</style>" for width in WIDTHS_PX
)
PAST, FIRST = timedelta(hours=6), timedelta(hours=3)  # judgement: so far back one looks, and ahead to a beginning

LoadNumbers = Mapping[tuple[str, int], int]
"""Dough and load of it -> which load of the day it is."""


def load_numbers(plan: Plan) -> LoadNumbers:
    """The loads of a day, numbered as they go in."""
    every = [(load.in_at, dough.key, load.number) for dough in plan.doughs for load in dough.loads]
    return {(key, number): place for place, (_, key, number) in enumerate(sorted(every), start=1)}


def hours_of(plan: Plan, now: datetime) -> Hours:
    """From the first hands, or some hours ago, until the last dough is out and the oven off."""
    begins = min(stage.hands_at for dough in plan.doughs for stage in dough.stages)
    ends = max(max(dough.out_at, dough.stages[-1].closes_at) for dough in plan.doughs)
    start = now if now < begins <= now + FIRST else max(begins, min(now, ends) - PAST)
    edge = (ends - start) * 0.02 + timedelta(minutes=5)
    return Hours(start - edge, ends + edge)


@dataclass(slots=True)
class _Labels:
    """Words at their moments, left to right; what would touch another goes, on a phone sooner."""

    hours: Hours
    _taken: list[tuple[float, float, float]] = field(default_factory=list)  # shares, and the width laid out for

    def take(self, at: datetime, wide_px: float) -> None:
        """Keep words away from something of a width about a moment."""
        for width in WIDTHS_PX:
            share, half = self.hours.share(at), 50.0 * wide_px / width
            self._taken.append((share - half, share + half, width))

    def put(self, words: str, at: datetime, y: float, colour: str, *, is_bold: bool = False) -> str:
        """The words, begun at a moment, or ended there near the right edge; empty where there is no room."""
        share = self.hours.share(at)
        is_late = share + 100.0 * LETTER_PX * (len(words) + 1) / WIDTHS_PX[1] > 100.0
        fits = []
        for width in WIDTHS_PX:
            room = 100.0 * LETTER_PX * (len(words) + 1) / width
            left, right = (share - room, share) if is_late else (share, share + room)
            is_free = all(right <= begin or left >= end for begin, end, of in self._taken if of == width)
            if left < 0.0 or right > 100.5 or not is_free:
                break  # what has no room in a wide picture is not drawn in a narrow one either
            fits.append(width)
            self._taken.append((left, right, width))
        if not fits:
            return ""
        return text(
            words, x=pct(share), y=y, fill=colour, font_size=14, font_family=FONT,
            font_weight=700 if is_bold else None, text_anchor="end" if is_late else "start",
            class_=f"from-{min(fits)}",
        )  # fmt: skip


def _framed(content: str, height_px: float, hours: Hours, now: datetime, reader: Reader, palette: Palette) -> str:
    lines = grid(hours, reader, palette, has_hours=False)
    rule = ""
    if hours.holds(now):
        x = pct(hours.share(now))
        rule = element("line", x1=x, x2=x, y1=0, y2="100%", stroke=palette.ink, stroke_width=2.5)
    return elastic_drawing(_STYLE + hatch(palette) + lines + content + rule, height_px)


def _at(y: float, content: str) -> str:
    return element("svg", content, y=y, overflow="visible")


def _together(loads: Iterable[LoadPlan], hours: Hours) -> list[list[LoadPlan]]:
    """Loads whose boxes would touch share one."""
    found: list[list[LoadPlan]] = []
    for load in loads:
        if found and hours.share(load.in_at) - hours.share(found[-1][0].in_at) < 150.0 * LOAD_PX / WIDTHS_PX[1]:
            found[-1].append(load)
        else:
            found.append([load])
    return found


def _number(numbers: str, width_px: float, at: datetime, y: float, hours: Hours, palette: Palette) -> str:
    """The number of a load in its box, about a moment; of several that go in close together, all."""
    box = element(
        "rect", x=-width_px / 2, y=0, width=width_px, height=18, fill=palette.card, stroke=palette.ink, stroke_width=1.5
    )
    words = text(
        numbers, x=0, y=14, fill=palette.ink, font_size=14, font_weight=700, font_family=FONT, text_anchor="middle"
    )
    return element("svg", box + words, x=pct(hours.share(at)), y=y, overflow="visible")


def lanes(dough: DoughPlan) -> list[tuple[StagePlan, int]]:
    """Each stage with its lane: what stands beside another has one of its own."""
    ends: list[datetime] = []
    found = []
    for stage in sorted(dough.stages, key=lambda each: each.begins_at):
        lane = next((place for place, end in enumerate(ends) if end <= stage.begins_at), len(ends))
        ends[lane : lane + 1] = [stage.ends_at]
        found.append((stage, lane))
    return found


def dough_svg(
    dough: DoughPlan, hours: Hours, now: datetime, numbers: LoadNumbers, reader: Reader, palette: Palette
) -> str:
    """One dough's stages on the clock, and its loads."""
    placed = lanes(dough)
    labels = {lane: _Labels(hours) for _, lane in placed}
    last_lane = next(lane for stage, lane in placed if stage is dough.stages[-1])
    chips = []
    for loads in _together(dough.loads, hours):
        words = ", ".join(str(numbers[dough.key, load.number]) for load in loads)
        width_px = LOAD_PX + LETTER_PX * (len(words) - 1)
        labels[last_lane].take(loads[0].in_at, width_px)
        chips.append(_number(words, width_px, loads[0].in_at, last_lane * LANE_PX + 2, hours, palette))
    parts = []
    for stage, lane in placed:
        middle = lane * LANE_PX + 44.0
        folds_at = [fold.at for fold in folds_of(dough, stage)]
        drawn = _stage(stage, folds_at, hours, now, palette, is_last=stage is dough.stages[-1])
        parts.append(_at(middle, drawn))
        if stage.ends_at > hours.start:
            words = stage_word(dough.method(stage).stage, reader)
            parts.append(labels[lane].put(words, max(stage.begins_at, hours.start), lane * LANE_PX + 16, palette.muted))
    height = LANE_PX * (1 + max(labels))
    return _framed("".join((*parts, *chips)), height, hours, now, reader, palette)


def _stage(
    stage: StagePlan, folds_at: Iterable[datetime], hours: Hours, now: datetime, palette: Palette, *, is_last: bool
) -> str:
    """A stage about its middle: risen so far, ahead, its folds, where it may be ready, and how long it stays good."""
    over_at = min(stage.ends_at, max(now, stage.begins_at))
    parts = []
    if over_at > stage.begins_at:
        parts.append(bar(stage.begins_at, over_at, hours, BAR_PX, fill=palette.dough, stroke=palette.crust))
    if stage.ends_at > over_at:
        parts.append(bar(over_at, stage.ends_at, hours, BAR_PX, fill=palette.card, stroke=palette.crust))
    for x in (pct(hours.share(at)) for at in folds_at if hours.holds(at)):
        parts.append(element("line", x1=x, x2=x, y1=-BAR_PX / 2, y2=BAR_PX / 2, stroke=palette.crust, stroke_width=3))
    ready = stage.forecast.ready
    if stage.closes_at > stage.ends_at > now:
        parts.append(bar(stage.ends_at, stage.closes_at, hours, TAIL_PX, stroke=palette.muted, stroke_dasharray="4 3"))
    if is_last and stage.ends_at > now and ready.p05 is not None and ready.p95 is not None and stage.ready_at:
        first_at, last_at = stage.at(ready.p05), stage.at(ready.p95)
        parts.append(bar(first_at, last_at, hours, BLOCK_PX, fill="url(#hatch)", stroke=palette.crust))
        x, half = pct(hours.share(stage.ready_at)), BLOCK_PX / 2 + 2
        parts.append(element("line", x1=x, x2=x, y1=-half, y2=half, stroke=palette.crust, stroke_width=5))
    return "".join(parts)


def oven_svg(
    plan: Plan, oven: str, hours: Hours, now: datetime, numbers: LoadNumbers, reader: Reader, palette: Palette
) -> str:
    """One oven: its temperature as a line, its loads in boxes under it, steam at their tops."""
    floor = OVEN_PX - 26.0
    loads = [(dough, load) for dough in plan.doughs for load in dough.loads if load.oven == oven]
    line = turns(plan, oven)
    hottest = max(turn.to_c for turn in line)

    def y(oven_c: float) -> float:
        return floor - (floor - 24.0) * max(oven_c - 20.0, 0.0) / (hottest - 20.0)

    parts = [element("line", x1=0, x2="100%", y1=floor, y2=floor, stroke=palette.line)]
    for dough, load in loads:
        parts.append(_load(dough, load, numbers[dough.key, load.number], floor, hours, palette))
        recover_min = recovery_min(plan.kitchen, plan.kitchen.oven(oven), dough.recipe, load.pieces)
        again_at = load.out_at + timedelta(minutes=recover_min)
        if any(other.in_at >= load.out_at for _, other in loads):  # after the last nothing waits for it
            tail = bar(load.out_at, again_at, hours, TAIL_PX, stroke=palette.muted, stroke_dasharray="4 3")
            parts.append(_at(floor - TAIL_PX, tail))
    heats, switches = _Labels(hours), _Labels(hours)
    for place, turn in enumerate(line):
        until = line[place + 1].at if place + 1 < len(line) else hours.end
        there = min(turn.there_at, until)
        for begin, end in ((turn.at, there), (there, until)):
            parts.append(
                element(
                    "line", x1=pct(hours.share(begin)), x2=pct(hours.share(end)), y1=y(turn.c_at(begin)),
                    y2=y(turn.c_at(end)), stroke=palette.ember, stroke_width=3,
                )
            )  # fmt: skip
        is_off, is_on = turn.to_c <= 20.0, turn.from_c <= 20.0
        if is_off or is_on:
            x = pct(hours.share(turn.at))
            parts.append(element("circle", cx=x, cy=y(turn.from_c), r=5, fill=palette.ember))
            at = clock_text(turn.at, reader)
            words = reader.say("off {at}", at=at) if is_off else reader.say("on {at}", at=at)
            parts.append(switches.put(words, turn.at, OVEN_PX - 8, palette.ember, is_bold=True))
        if not is_off:
            words = oven_text(turn.to_c, reader).partition(" (")[0]  # the reader's scale alone
            parts.append(heats.put(words, there, 15, palette.ember, is_bold=True))
    return _framed("".join(parts), OVEN_PX, hours, now, reader, palette)


def _load(dough: DoughPlan, load: LoadPlan, number: int, floor: float, hours: Hours, palette: Palette) -> str:
    """A load in the oven, standing on its floor, its number in the middle where it has room."""
    height = 48.0
    box = _at(
        floor - height / 2, bar(load.in_at, load.out_at, hours, height, fill=palette.card, stroke=palette.ink)
    )  # fmt: skip
    bake = dough.recipe.bake
    steam = "".join(
        element("line", x1=x, x2=x, y1=floor - height + 2, y2=floor - height + 10, stroke=palette.water, stroke_width=3)
        for after_min in (() if bake is None else bake.steam_min)
        for x in [pct(hours.share(load.in_at + timedelta(minutes=after_min)))]
    )
    middle = pct(hours.share(load.in_at + (load.out_at - load.in_at) / 2))
    room = hours.share(load.out_at) - hours.share(load.in_at)
    fits = [width for width in WIDTHS_PX if room * width / 100.0 >= DIGIT_PX * len(str(number))]
    words = text(
        str(number), x=middle, y=floor - 14, fill=palette.ink, font_size=18, font_weight=700, font_family=FONT,
        text_anchor="middle", class_=f"from-{min(fits)}",
    ) if fits else ""  # fmt: skip
    return box + steam + words


def hands_svg(
    wanted: Iterable[tuple[Step | FoldDue, bool]], hours: Hours, now: datetime, reader: Reader, palette: Palette
) -> str:
    """When hands are wanted: filled, and outlined once it is done."""
    parts = []
    for step, is_done in wanted:
        end = step.at + timedelta(minutes=max(step.hands_min, 1.0))
        colours = {
            "fill": palette.card if is_done else palette.ink,
            "stroke": palette.muted if is_done else palette.ink,
        }
        parts.append(bar(step.at, end, hours, 20, **colours))
    return _framed(_at(HANDS_PX / 2, "".join(parts)), HANDS_PX, hours, now, reader, palette)


def stacked(rows: Iterable[tuple[str, str, float]], palette: Palette) -> str:
    """Drawings under each other, each with its words above it: the whole day as one picture to save."""
    parts, y = [], 0.0
    for words, svg, height in rows:
        if words:
            parts.append(text(printable(words), x=0, y=y + 18, fill=palette.ink, font_size=15, font_family=FONT))
            y += 26.0
        parts.append(_at(y, svg.replace(' width="100%"', "", 1)))
        y += height
    return elastic_drawing("".join(parts), y)
