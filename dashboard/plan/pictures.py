"""A planned day as rows on one clock: doughs, ovens, hands, each with its words beside it; and the same to save."""

import html
from datetime import datetime

from dashboard.drawing.exports import Figure
from dashboard.drawing.markup import picture
from dashboard.drawing.palette import Palette
from dashboard.drawing.strips import hours_svg
from dashboard.page import View
from dashboard.plan.drawings import (
    HANDS_PX,
    LANE_PX,
    OVEN_PX,
    LoadNumbers,
    dough_svg,
    hands_svg,
    hours_of,
    lanes,
    load_numbers,
    oven_svg,
    stacked,
)
from dashboard.plan.oven_line import oven_of, ovens_of
from dashboard.plans import steps_table
from monitor.collector.plan_runner import LivePlan
from monitor.dough.outlook import Moments
from monitor.plan.cues import is_done
from monitor.plan.day import HEATING, DoughPlan, Step, StepKind
from monitor.plan.steps import FoldDue, steps, with_folds
from monitor.wording.phrases import printable, stage_word
from monitor.wording.plan import out_sentence, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import about_text, clock_text

HOURS_PX = 26.0


def day_html(live: LivePlan, numbers: LoadNumbers, view: View) -> str:
    """The day as one panel: the hours once, then a row for each dough, each oven, and the hands."""
    hours, reader, now, palette = hours_of(live.now, view.now), view.reader, view.now, view.palette
    rows = [_row("", "", picture(hours_svg(hours, now, reader, palette), "", "mark"), "clockline")]
    for dough in live.now.doughs:
        svg = dough_svg(dough, hours, now, numbers, reader, palette)
        loads = [numbers[dough.key, load.number] for load in dough.loads]
        rows.append(
            _row(
                _dough_name(dough, loads, reader),
                out_words(dough, reader, now),
                picture(svg, _said(dough, view), "lane"),
            )
        )
    for oven in ovens_of(live.now):
        svg = oven_svg(live.now, oven, hours, now, numbers, reader, palette)
        words = oven_words(live, oven, reader, now)
        rows.append(_row(printable(oven) or reader.say("Oven"), words, picture(svg, words, "lane")))
    wanted = _hands(live, now)
    left = sum(not is_over for _, is_over in wanted)
    words = reader.count(left, "wanted once more", "wanted {n} times more")
    svg = hands_svg(wanted, hours, now, reader, palette)
    rows.append(_row(reader.say("Hands"), words, picture(svg, words, "lane")))
    return f'<div class="panel day">{"".join(rows)}</div>'


def _row(name: str, words: str, drawn: str, kind: str = "") -> str:
    said = f"<p><b>{html.escape(name)}</b><span>{html.escape(words)}</span></p>" if name else "<p></p>"
    return f'<div class="lane-row {kind}">{said}{drawn}</div>'


def _dough_name(dough: DoughPlan, loads: list[int], reader: Reader) -> str:
    name = printable(dough.recipe.name)
    if not loads:
        return name
    which = ", ".join(map(str, loads))
    return reader.count(len(loads), "{dough}, load {which}", "{dough}, loads {which}", dough=name, which=which)


def out_words(dough: DoughPlan, reader: Reader, now: datetime) -> str:
    """When it is out, or ready, with its doubt."""
    early, late = dough.doubt
    when = about_text(Moments(p05=dough.out_at - early, p50=dough.out_at, p95=dough.out_at + late), reader, now)
    return reader.say("out {when}", when=when) if dough.loads else reader.say("ready {when}", when=when)


def oven_words(live: LivePlan, oven: str, reader: Reader, now: datetime) -> str:
    """What is done to an oven, and when."""
    at_oven = (*HEATING, StepKind.OVEN_OFF)
    mine = [step for step in steps(live.now) if step.kind in at_oven and oven_of(live.now, step) == oven]
    return ", ".join(
        f"{step_text(live.now.dough(step.dough), step, reader)} {clock_text(step.at, reader, now)}" for step in mine
    )


def _hands(live: LivePlan, now: datetime) -> list[tuple[Step | FoldDue, bool]]:
    """Whatever takes hands, and whether it is over: a fold by its hour, since its batch knows whether it was done."""
    return [
        (each, each.at < now if isinstance(each, FoldDue) else is_done(live.now.dough(each.dough), each, live.progress))
        for each in with_folds(live.now)
        if each.hands_min > 0.0
    ]


def _said(dough: DoughPlan, view: View) -> str:
    """The day of a dough in words, for who does not see its strip."""
    reader, now = view.reader, view.now
    stages = ", ".join(
        reader.say(
            "{stage} {begin} to {end}",
            stage=stage_word(dough.method(stage).stage, reader),
            begin=clock_text(stage.begins_at, reader, now),
            end=clock_text(stage.ends_at, reader, now),
        )
        for stage in dough.stages
    )
    loads = ", ".join(
        reader.say("load {load} in {at}", load=load.number, at=clock_text(load.in_at, reader, now))
        for load in dough.loads
    )
    return f"{printable(dough.recipe.name)}: {stages}{'; ' if loads else ''}{loads}"


def day_svg(live: LivePlan, now: datetime, reader: Reader, palette: Palette) -> str:
    """The same day as one drawing."""
    hours, numbers = hours_of(live.now, now), load_numbers(live.now)
    rows = [("", hours_svg(hours, now, reader, palette), HOURS_PX)]
    for dough in live.now.doughs:
        height = LANE_PX * (1 + max(lane for _, lane in lanes(dough)))
        rows.append((dough.recipe.name, dough_svg(dough, hours, now, numbers, reader, palette), height))
    for oven in ovens_of(live.now):
        svg = oven_svg(live.now, oven, hours, now, numbers, reader, palette)
        rows.append((oven or reader.say("Oven"), svg, OVEN_PX))
    rows.append((reader.say("Hands"), hands_svg(_hands(live, now), hours, now, reader, palette), HANDS_PX))
    return stacked(rows, palette)


def day_figure(live: LivePlan, view: View) -> Figure:
    """The day, and its steps, to save."""
    reader, now = view.reader, view.now
    return Figure(
        ", ".join(printable(dough.recipe.name) for dough in live.now.doughs),
        reader.say("plan"),
        " ".join(out_sentence(dough, reader, now) for dough in live.now.doughs),
        lambda: steps_table(live, reader),
        lambda palette: day_svg(live, now, reader, palette),
    )
