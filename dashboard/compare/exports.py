"""Batches beside each other as they are saved: the curves, a line a batch, and what was said of each. Pure."""

from collections.abc import Mapping, Sequence

import pandas as pd

from dashboard.compare.course import Course
from dashboard.drawing.exports import clocks, rows_table
from monitor.recipe.batch import BatchId
from monitor.units import fahrenheit
from monitor.wording.reader import Reader

Names = Mapping[BatchId, str]


def curves_table(courses: Sequence[Course], names: Names, even_c: float | None) -> pd.DataFrame:
    """The curves: hours since the start by the clock and as if all at ``even_c``, and the rise at each."""
    rows = []
    for course in courses:
        even = None if even_c is None else course.drawn_hours(even_c)
        for place, (at_h, rise_pct) in enumerate(zip(course.hours, course.rise_pct, strict=True)):
            rows.append(
                (names[course.batch.id], course.batch.name, at_h, None if even is None else even[place], rise_pct)
            )
    return rows_table(("batch", "name", "since_start_h", "even_h", "rise_pct"), rows)


def batches_table(courses: Sequence[Course], even_c: float | None, reader: Reader) -> pd.DataFrame:
    """A line a batch: when it began, its name, the warmth of its dough, hours to ready, peak and end."""
    is_f = reader.temp_unit == "F"
    rows = [
        (
            course.batch.name,
            None if course.dough_c is None else fahrenheit(course.dough_c) if is_f else course.dough_c,
            course.ready_h,
            None if even_c is None else course.drawn_ready_h(even_c),
            course.peak_h,
            course.end_h,
        )
        for course in courses
    ]
    named = rows_table(("name", f"dough_{'f' if is_f else 'c'}", "ready_h", "ready_even_h", "peak_h", "end_h"), rows)
    began = clocks([course.batch.started_at for course in courses], "began", reader.zone)
    return pd.concat([pd.DataFrame(began), named], axis=1)


def kept_table(courses: Sequence[Course], reader: Reader) -> pd.DataFrame:
    """A line a batch: when it was said to be ready at half its rise, when it was, and whether that held."""
    rows = []
    for course in courses:
        said = course.said
        moments = (None, None, None) if said is None else (said.early_h, said.mid_h, said.late_h)
        rows.append((course.batch.name, *moments, course.ready_h, course.end_h, course.kept.value))
    columns = ("name", "said_p05_h", "said_p50_h", "said_p95_h", "ready_h", "end_h", "kept")
    began = clocks([course.batch.started_at for course in courses], "began", reader.zone)
    return pd.concat([pd.DataFrame(began), rows_table(columns, rows)], axis=1)
