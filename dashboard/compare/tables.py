"""Tables of batches beside each other: those that charts draw, and those that are saved. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import tzinfo

import pandas as pd

from dashboard.compare.course import Course, ForecastResult
from dashboard.drawing.tables import calendar_ms, clocks, rows_table
from monitor.recipe.batch import BatchId
from monitor.wording.reader import Reader

Names = Mapping[BatchId, str]


def overlay_frame(courses: Iterable[Course], names: Names, temp_c: float | None) -> pd.DataFrame:
    """The curves over each other: ``hours value what``; those whose times are not known are left out. [h, %]"""
    frames = [
        pd.DataFrame({"hours": hours, "value": course.rise_pct, "what": names[course.batch.id]})
        for course in courses
        if (hours := course.drawn_hours(temp_c)) is not None and hours.size
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=["hours", "value", "what"])


def ready_frame(courses: Iterable[Course], names: Names, temp_c: float | None) -> pd.DataFrame:
    """Where each curve was ready: ``hours value what``. [h, %]"""
    rows = [
        (course.drawn_ready_h(temp_c), course.rise_at(course.ready_h), names[course.batch.id])
        for course in courses
        if course.ready_h is not None
    ]
    return pd.DataFrame(rows, columns=["hours", "value", "what"]).dropna()


def trend_frame(courses: Iterable[Course], temp_c: float | None, zone: tzinfo) -> pd.DataFrame:
    """Each batch on its date: ``at hours even dough_c``, the first first. [ms of the calendar, h, h, C]"""
    rows = [
        (
            calendar_ms(course.batch.started_at, zone),
            course.ready_h,
            None if temp_c is None else course.drawn_ready_h(temp_c),
            course.dough_c,
        )
        for course in courses
    ]
    frame = pd.DataFrame(rows, columns=["at", "hours", "even", "dough_c"]).astype(float)
    return frame.sort_values("at", ignore_index=True)


def forecast_results_frame(courses: Iterable[Course], names: Names) -> pd.DataFrame:
    """What was said at half the rise, against when each was ready: ``what early mid late is_inside``. [min]

    The first first. An interval without a latest moment is drawn up to the moment it was ready, if not further.
    """
    rows = []
    for course in sorted(courses, key=lambda each: each.batch.started_at):
        halfway, ready_h = course.halfway, course.ready_h
        if halfway is None or ready_h is None:
            continue
        mid_h = halfway.early_h if halfway.mid_h is None else halfway.mid_h
        late_h = max(ready_h, mid_h) if halfway.late_h is None else halfway.late_h
        mid = None if halfway.mid_h is None else 60.0 * (halfway.mid_h - ready_h)
        off = [60.0 * (halfway.early_h - ready_h), mid, 60.0 * (late_h - ready_h)]
        rows.append((names[course.batch.id], *off, course.result is ForecastResult.INSIDE))
    frame = pd.DataFrame(rows, columns=["what", "early", "mid", "late", "is_inside"])
    return frame.astype({"early": float, "mid": float, "late": float, "is_inside": bool})


# -- tables that are saved ---------------------------------------------------------------------------------------------


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
    rows = [
        (
            course.batch.name,
            None if course.dough_c is None else reader.degrees(course.dough_c),
            course.ready_h,
            None if even_c is None else course.drawn_ready_h(even_c),
            course.peak_h,
            course.end_h,
        )
        for course in courses
    ]
    named = rows_table(
        ("name", f"dough_{reader.temp_unit.lower()}", "ready_h", "ready_even_h", "peak_h", "end_h"), rows
    )
    began = clocks([course.batch.started_at for course in courses], "began", reader.zone)
    return pd.concat([pd.DataFrame(began), named], axis=1)


def forecast_results_table(courses: Sequence[Course], reader: Reader) -> pd.DataFrame:
    """A line a batch: when it was said to be ready at half its rise, when it was, and whether that held."""
    rows = []
    for course in courses:
        halfway = course.halfway
        moments = (None, None, None) if halfway is None else (halfway.early_h, halfway.mid_h, halfway.late_h)
        rows.append((course.batch.name, *moments, course.ready_h, course.end_h, course.result.value))
    columns = ("name", "said_p05_h", "said_p50_h", "said_p95_h", "ready_h", "end_h", "forecast")
    began = clocks([course.batch.started_at for course in courses], "began", reader.zone)
    return pd.concat([pd.DataFrame(began), rows_table(columns, rows)], axis=1)
