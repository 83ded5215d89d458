"""A planned day as a picture and a table: stages on one clock, and steps with their times."""

import html
from datetime import datetime, timedelta

from dashboard.drawing.exports import Figure
from dashboard.drawing.markup import elastic_drawing, element, picture, text
from dashboard.drawing.palette import FONT, Palette
from dashboard.drawing.time_axis import round_moments
from dashboard.page import View
from dashboard.plans import steps_table
from monitor.collector.plan_runner import LivePlan
from monitor.plan.cues import is_done
from monitor.plan.day import DoughPlan
from monitor.plan.steps import steps
from monitor.wording.phrases import printable, stage_word
from monitor.wording.plan import out_sentence, step_text, window_sentence
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, day_word, dial_text, hour_text, to_minute

ROW_PX = 34.0
TOP_PX = 22.0
LEAST_MOVED_MIN = 2  # a plan is made in whole minutes


def _share(at: datetime, start: datetime, end: datetime) -> str:
    return f"{100.0 * (at - start) / (end - start):.2f}%"


def _width(from_at: datetime, to_at: datetime, start: datetime, end: datetime) -> str:
    return f"{max(100.0 * (to_at - from_at) / (end - start), 0.15):.2f}%"


def day_svg(dough: DoughPlan, now: datetime, reader: Reader, palette: Palette) -> str:
    """One dough's day: a block for each stage, outlined while it stays good, the oven below, a rule at now."""
    first_at, last_at = min(stage.hands_at for stage in dough.stages), dough.out_at
    edge = (last_at - first_at) * 0.02 + timedelta(minutes=5)
    start, end = first_at - edge, last_at + edge
    height = TOP_PX + ROW_PX * (len(dough.stages) + (1 if dough.loads else 0)) + 4.0
    parts = [_hours(start, end, height, reader, palette)]
    for row, stage in enumerate(dough.stages):
        y = TOP_PX + row * ROW_PX
        ready_at = stage.ready_at or stage.ends_at
        shown_until = min(stage.closes_at, end)
        if shown_until > ready_at:
            parts.append(
                element(
                    "rect", x=_share(ready_at, start, end), y=y + 4, height=ROW_PX - 8, rx=3, fill="none",
                    width=_width(ready_at, shown_until, start, end), stroke=palette.sage, stroke_dasharray="4 3",
                )
            )  # fmt: skip
        parts.append(
            element(
                "rect", x=_share(stage.begins_at, start, end), y=y + 4, height=ROW_PX - 8, rx=3, fill=palette.dough,
                width=_width(stage.begins_at, stage.ends_at, start, end), stroke=palette.crust,
            )
        )  # fmt: skip
        words = stage_word(dough.method(stage).stage, reader)
        is_late_row = (stage.begins_at - start) / (end - start) > 0.6
        parts.append(
            text(
                words, x=_share(stage.begins_at, start, end), y=y + ROW_PX / 2 + 5, font_size=14, font_family=FONT,
                fill=palette.ink, dx=-8 if is_late_row else 8, text_anchor="end" if is_late_row else "start",
            )
        )  # fmt: skip
    for load in dough.loads:
        y = TOP_PX + len(dough.stages) * ROW_PX
        parts.append(
            element(
                "rect", x=_share(load.in_at, start, end), y=y + 4, height=ROW_PX - 8, rx=3, fill=palette.card,
                width=_width(load.in_at, load.out_at, start, end), stroke=palette.ember, stroke_width=2,
            )
        )  # fmt: skip
    if start <= now <= end:
        x = _share(now, start, end)
        parts.append(element("line", x1=x, x2=x, y1=0, y2=height, stroke=palette.ink, stroke_width=2))
    return elastic_drawing("".join(parts), height)


def _hours(start: datetime, end: datetime, height: float, reader: Reader, palette: Palette) -> str:
    hours = (end - start).total_seconds() / 3600.0
    every = next(step for step in (1, 2, 3, 6, 12, 24) if hours / step <= 9 or step == 24)
    parts = []
    for at in round_moments(start, end, 60 * every, reader.zone):
        x = _share(at, start, end)
        words = dial_text(at.astimezone(reader.zone), reader)
        parts.append(element("line", x1=x, x2=x, y1=TOP_PX - 4, y2=height, stroke=palette.line))
        parts.append(text(words, x=x, y=12, font_size=12, font_family=FONT, fill=palette.muted, text_anchor="middle"))
    return "".join(parts)


def day_figure(dough: DoughPlan, live: LivePlan, view: View) -> Figure:
    """One dough's day, and its steps, to save."""
    reader, now = view.reader, view.now
    sentences = (out_sentence(dough, reader, now), window_sentence(dough, reader, now))
    return Figure(
        printable(dough.recipe.name),
        reader.say("plan"),
        " ".join(sentence for sentence in sentences if sentence),
        lambda: steps_table(live, reader, lambda step: step.dough == dough.key),
        lambda palette: day_svg(dough, now, reader, palette),
    )


def day_picture(dough: DoughPlan, view: View) -> str:
    """The day of a dough with its sentence as text alternative."""
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
    words = f"{printable(dough.recipe.name)}: {stages}{'; ' if loads else ''}{loads}"
    return picture(day_svg(dough, view.now, view.reader, view.palette), words, "day")


def step_table(live: LivePlan, view: View) -> str:
    """Every step with its time as it is now, by days, and how far that is from the plan."""
    planned = {step.key: step.at for step in steps(live.made)}
    has_many = len(live.now.doughs) > 1
    rows = []
    day = view.now.astimezone(view.reader.zone).date()
    for step in steps(live.now):
        dough = live.now.dough(step.dough)
        local = to_minute(step.at).astimezone(view.reader.zone)
        if local.date() != day:
            day = local.date()
            rows.append(f'<tr><th colspan="2">{html.escape(day_word(local, view.reader))}</th></tr>')
        is_ticked = is_done(dough, step, live.progress)
        moved_min = round((step.at - planned[step.key]).total_seconds() / 60.0)
        note = ""
        if is_ticked:
            note = view.reader.say("done")
        elif abs(moved_min) >= LEAST_MOVED_MIN:
            note = view.reader.say("moved {min} min", min=f"{moved_min:+d}")
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        small = f' <span class="quiet">{html.escape(note)}</span>' if note else ""
        rows.append(
            f'<tr class="{"old" if is_ticked else ""}"><td class="n">{html.escape(hour_text(local, view.reader))}</td>'
            f"<td>{html.escape(who + step_text(dough, step, view.reader))}{small}</td></tr>"
        )
    return f'<div class="panel"><table class="rows">{"".join(rows)}</table></div>'
