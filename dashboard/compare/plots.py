"""Batches of a recipe beside each other, put on a page: the curves, the table, the weeks, the forecasts."""

import html
from collections.abc import Mapping, Sequence
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import page
from dashboard.compare import charts, comparison, exports, figures, queries, words
from dashboard.compare.charts import STYLES, LineStyle
from dashboard.compare.course import Course
from dashboard.drawing.exports import Exhibit
from dashboard.drawing.palette import Palette
from dashboard.drawing.svg import drawing, element, picture
from dashboard.drawing.tables import dial_ms
from monitor.recipe.batch import BatchId
from monitor.units import fahrenheit

LONGEST_UNBROKEN = 14  # letters that a cell keeps on one line: two hours and some minutes
Names = Mapping[BatchId, str]


def put_overlay(
    scene: page.Scene, title: str, courses: Sequence[Course], names: Names, even_c: float | None, *, is_even: bool
) -> None:
    """The curves over each other, the newest first, by the clock or as if all were at ``even_c``."""
    reader, temp_c = scene.reader, even_c if is_even else None
    said = words.newest_sentence(courses, even_c, reader)
    if said:
        st.html(f'<p class="saying">{html.escape(said)}</p>')
    curves = comparison.overlay_frame(courses, names, temp_c)
    target_pct = comparison.same_target_pct(courses)
    if len(curves):
        draw = partial(
            charts.overlay_chart,
            curves,
            comparison.ready_frame(courses, names, temp_c),
            [names[course.batch.id] for course in courses],
            target_pct=target_pct,
            target=reader.say("the band, {rise} %", rise=reader.number(target_pct or 0.0)),
        )
        sentence = words.overlay_sentence(title, courses, names, temp_c, reader)
        table = partial(exports.curves_table, courses, names, even_c)
        page.put_exhibit(scene, Exhibit(title, reader.say("curves"), sentence, table, draw), "overlay")
    st.html(page.quiet(words.time_words(courses, names, temp_c, reader)))


def put_figures(scene: page.Scene, courses: Sequence[Course], names: Names, even_c: float | None) -> None:
    """The table of key figures, a line for each batch, with the line of its curve before its name."""
    said = queries.judgements([course.batch for course in courses])
    rows = figures.figures(courses, said, even_c, scene.reader)
    head = "".join(f'<th role="columnheader">{html.escape(heading)}</th>' for heading in rows[0])
    body = ""
    for course, style, row in zip(courses, STYLES, rows, strict=False):
        cells = "".join(_cell(what, words) for what, words in row.items())
        body += f'<tr role="row">{_batch_cell(course, style, names, scene)}{cells}</tr>'
    title = html.escape(scene.reader.say("batch"))
    st.html(
        '<div class="panel"><table class="rows figures" role="table"><tr role="row">'
        f'<th role="columnheader">{title}</th>{head}</tr>{body}</table></div>'
    )


def _cell(what: str, words: str) -> str:
    kind = "none" if not words else "wraps" if len(words) > LONGEST_UNBROKEN else "short"
    return f'<td class="{kind}" role="cell" data-what="{html.escape(what)}">{html.escape(words or "–")}</td>'


def _batch_cell(course: Course, style: LineStyle, names: Names, scene: page.Scene) -> str:
    batch = course.batch
    sample = picture(_line_svg(style, scene.palette), "", "mark line")
    link = f'<a href="./finished?batch={batch.id}" target="_self">{html.escape(names[batch.id])}</a>'
    return f'<td class="which" role="cell">{sample}{link}<span class="quiet">{html.escape(batch.name)}</span></td>'


def _line_svg(style: LineStyle, palette: Palette) -> str:
    line = element(
        "line", x1=0, y1=5, x2=44, y2=5, stroke=getattr(palette, style.colour), stroke_width=style.width_px,
        stroke_dasharray=" ".join(str(each) for each in style.dash) or None,
    )  # fmt: skip
    return drawing(line, 44, 10)


def put_trend(scene: page.Scene, title: str, courses: Sequence[Course], even_c: float | None) -> None:
    """Time to ready against the date, with the warmth of the dough under it, and what was made otherwise."""
    reader = scene.reader
    rows = comparison.trend_frame(courses, even_c, reader.zone)
    said = words.trend_sentence(rows, even_c, reader)
    otherwise = words.changes_sentence(courses, reader)
    st.html(page.section(reader.say("Over the weeks")) + page.note(f"{said} {otherwise}".strip()))
    if rows["hours"].notna().sum() < 2:
        return
    names = {"hours": reader.say("ready after, by the clock")}
    if even_c is not None and rows["even"].notna().any():
        names["even"] = words.even_words(even_c, reader)
    marks = [
        (dial_ms(each.batch.started_at, reader.zone), words.change_words(each, reader))
        for each in comparison.changes(courses)
    ]
    changed = pd.DataFrame(marks, columns=["at", "words"])
    lines = pd.concat([comparison.trend_line(rows, column) for column in names], ignore_index=True)
    day = partial(words.dial_day_text, reader=reader)
    table = partial(exports.batches_table, courses, even_c, reader)
    draw = partial(charts.trend_chart, rows, names, lines, changed, day=day)
    page.put_exhibit(scene, Exhibit(title, reader.say("weeks"), said, table, draw), "trend")
    warm = rows[["at", "dough_c"]].rename(columns={"dough_c": "value"})
    if warm["value"].notna().any():
        if reader.temp_unit == "F":
            warm = warm.assign(value=[fahrenheit(float(value)) for value in warm["value"]])
        name = reader.say("dough in the mean, °{unit}", unit=reader.temp_unit)
        draw = partial(charts.warmth_chart, warm, name, f"°{reader.temp_unit}", day=day)
        sentence = words.warmth_sentence(courses, reader)
        page.put_exhibit(scene, Exhibit(title, reader.say("dough temperatures"), sentence, table, draw), "warmth")


def put_kept(scene: page.Scene, title: str, courses: Sequence[Course], names: Names) -> None:
    """How often batches were ready within what had been said at half their rise."""
    reader = scene.reader
    said = words.kept_sentence(courses, reader)
    st.html(page.section(reader.say("How well forecasts held")) + page.note(said))
    rows = comparison.kept_frame(courses, names)
    if len(rows):
        draw = partial(charts.kept_chart, rows, reader.say("minutes before and after ready"))
        table = partial(exports.kept_table, courses, reader)
        page.put_exhibit(scene, Exhibit(title, reader.say("forecasts held"), said, table, draw), "kept")
