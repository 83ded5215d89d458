"""The parts of the page: the curves over each other, the table, the weeks, and how forecasts held."""

import html
from collections.abc import Sequence
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import figures
from dashboard.compare import charts, tables, words
from dashboard.compare.charts import STYLES, LineStyle
from dashboard.compare.course import Course, changes, same_target_pct
from dashboard.compare.tables import Names
from dashboard.compare.trend import trend_line
from dashboard.drawing import markup
from dashboard.drawing.exports import Figure
from dashboard.drawing.markup import drawing, element, picture
from dashboard.drawing.palette import Palette
from dashboard.drawing.tables import calendar_ms
from dashboard.page import View

LONGEST_UNBROKEN = 14  # letters that a cell keeps on one line: two hours and some minutes


def show_overlay(
    view: View, title: str, courses: Sequence[Course], names: Names, even_c: float | None, *, is_even: bool
) -> None:
    """The curves over each other, the newest first, by the clock or as if all were at ``even_c``."""
    reader, temp_c = view.reader, even_c if is_even else None
    newest = words.newest_sentence(courses, even_c, reader)
    if newest:
        st.html(f'<p class="saying">{html.escape(newest)}</p>')
    curves = tables.overlay_frame(courses, names, temp_c)
    target_pct = same_target_pct(courses)
    if len(curves):
        draw = partial(
            charts.overlay_chart,
            curves,
            tables.ready_frame(courses, names, temp_c),
            [names[course.batch.id] for course in courses],
            target_pct=target_pct,
            target=reader.say("the band, {rise} %", rise=reader.number(target_pct or 0.0)),
        )
        sentence = words.overlay_sentence(title, courses, names, temp_c, reader)
        table = partial(tables.curves_table, courses, names, even_c)
        figures.show(view, Figure(title, reader.say("curves"), sentence, table, draw), "overlay")
    st.html(markup.quiet(words.time_words(courses, names, temp_c, reader)))


def show_table(view: View, courses: Sequence[Course], names: Names, even_c: float | None) -> None:
    """The table of key figures, a line for each batch, with the line of its curve before its name."""
    judgements = {course.batch.id: view.store.reviews.judgement(course.batch.id) for course in courses}
    rows = words.key_figures(courses, judgements, even_c, view.reader)
    head = "".join(f'<th role="columnheader">{html.escape(heading)}</th>' for heading in rows[0])
    body = ""
    for course, style, row in zip(courses, STYLES, rows, strict=False):
        cells = "".join(_cell(what, text) for what, text in row.items())
        body += f'<tr role="row">{_batch_cell(course, style, names, view)}{cells}</tr>'
    st.html(
        '<div class="panel"><table class="rows figures" role="table"><tr role="row">'
        '<th role="columnheader">' + html.escape(view.reader.say("batch")) + f"</th>{head}</tr>{body}</table></div>"
    )


def _cell(what: str, words: str) -> str:
    kind = "none" if not words else "wraps" if len(words) > LONGEST_UNBROKEN else "short"
    return f'<td class="{kind}" role="cell" data-what="{html.escape(what)}">{html.escape(words or "–")}</td>'


def _batch_cell(course: Course, style: LineStyle, names: Names, view: View) -> str:
    batch = course.batch
    sample = picture(_line_svg(style, view.palette), "", "mark line")
    link = f'<a href="./review?batch={batch.id}" target="_self">{html.escape(names[batch.id])}</a>'
    return f'<td class="which" role="cell">{sample}{link}<span class="quiet">{html.escape(batch.name)}</span></td>'


def _line_svg(style: LineStyle, palette: Palette) -> str:
    line = element(
        "line", x1=0, y1=5, x2=44, y2=5, stroke=getattr(palette, style.colour), stroke_width=style.width_px,
        stroke_dasharray=" ".join(str(each) for each in style.dash) or None,
    )  # fmt: skip
    return drawing(line, 44, 10)


def show_trend(view: View, title: str, courses: Sequence[Course], even_c: float | None) -> None:
    """Time to ready against the date, with the warmth of the dough under it, and what was made otherwise."""
    reader = view.reader
    rows = tables.trend_frame(courses, even_c, reader.zone)
    trend = words.trend_sentence(rows, even_c, reader)
    otherwise = words.changes_sentence(courses, reader)
    st.html(markup.section(reader.say("Over the weeks")) + markup.note(f"{trend} {otherwise}".strip()))
    if rows["hours"].notna().sum() < 2:
        return
    names = {"hours": reader.say("ready after, by the clock")}
    if even_c is not None and rows["even"].notna().any():
        names["even"] = words.even_words(even_c, reader)
    marks = [
        (calendar_ms(each.batch.started_at, reader.zone), words.change_words(each, reader)) for each in changes(courses)
    ]
    changed = pd.DataFrame(marks, columns=["at", "words"])
    lines = pd.concat([trend_line(rows, column) for column in names], ignore_index=True)
    day = partial(words.axis_day_text, reader=reader)
    table = partial(tables.batches_table, courses, even_c, reader)
    draw = partial(charts.trend_chart, rows, names, lines, changed, day=day)
    figures.show(view, Figure(title, reader.say("weeks"), trend, table, draw), "trend")
    warm = rows[["at", "dough_c"]].rename(columns={"dough_c": "value"})
    if warm["value"].notna().any():
        warm = warm.assign(value=[reader.degrees(float(value)) for value in warm["value"]])
        name = reader.say("dough in the mean, °{unit}", unit=reader.temp_unit)
        draw = partial(charts.warmth_chart, warm, name, reader.degree, day=day)
        sentence = words.warmth_sentence(courses, reader)
        figures.show(view, Figure(title, reader.say("dough temperatures"), sentence, table, draw), "warmth")


def show_forecast_results(view: View, title: str, courses: Sequence[Course], names: Names) -> None:
    """How often batches were ready within what had been said at half their rise."""
    reader = view.reader
    results = words.forecast_results_sentence(courses, reader)
    st.html(markup.section(reader.say("How well forecasts held")) + markup.note(results))
    rows = tables.forecast_results_frame(courses, names)
    if len(rows):
        draw = partial(charts.forecast_results_chart, rows, reader.say("minutes before and after ready"))
        table = partial(tables.forecast_results_table, courses, reader)
        figures.show(view, Figure(title, reader.say("forecasts held"), results, table, draw), "forecast-results")
