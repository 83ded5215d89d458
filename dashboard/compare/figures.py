"""Key figures of batches beside each other: the cells of their table."""

from collections.abc import Mapping, Sequence

from dashboard.compare.comparison import differing, parts_pct
from dashboard.compare.course import Course, Warmth
from dashboard.compare.words import degrees, even_words, hours_text, percent_text
from monitor.recipe.batch import BatchId
from monitor.recipe.intent import Judgement
from monitor.translatable import N_
from monitor.wording.alerts import target_text
from monitor.wording.reader import Reader
from monitor.wording.review import verdict_word


def figures(
    courses: Sequence[Course], said: Mapping[BatchId, Judgement], temp_c: float | None, reader: Reader
) -> list[dict[str, str]]:
    """Key figures of each batch, by the heading of their column; a column that would be empty is left out."""
    parts = [parts_pct(course.batch) for course in courses]
    shown = [part for part in parts[0] if part == "yeast" or part in differing(parts)] if all(parts) else [N_("yeast")]
    rows = [
        {
            reader.say("made with"): ", ".join(
                f"{reader.say(part)} {percent_text(mine[part], reader)}" for part in shown if mine.get(part)
            ),
            reader.say("waited for"): _target_cell(course, courses, reader),
            reader.say("dough"): _warmth_cell(course, reader),
            reader.say("ready after"): _after(course.ready_h, reader),
            "" if temp_c is None else even_words(temp_c, reader): _even_cell(course, temp_c),
            reader.say("peak after"): _after(course.peak_h, reader),
            reader.say("rise when ready, at its peak"): _rises_cell(course, reader),
            reader.say("taken after"): hours_text(course.end_h),
            reader.say("past ready"): "" if course.past_h is None else hours_text(course.past_h),
            reader.say("verdict"): _verdict_cell(said.get(course.batch.id), reader),
        }
        for course, mine in zip(courses, parts, strict=True)
    ]
    headings = [heading for heading in rows[0] if heading and any(row[heading] for row in rows)]
    return [{heading: row[heading] for heading in headings} for row in rows]


def _target_cell(course: Course, courses: Sequence[Course], reader: Reader) -> str:
    return target_text(course.batch, reader) if len({each.batch.target for each in courses}) > 1 else ""


def _warmth_cell(course: Course, reader: Reader) -> str:
    if course.dough_c is None:
        return ""
    temp = degrees(course.dough_c, reader)
    return temp if course.warmth is Warmth.PROBE else reader.say("{temp}, by the air", temp=temp)


def _after(hours: float | None, reader: Reader) -> str:
    return reader.say("not by its end") if hours is None else hours_text(hours)


def _even_cell(course: Course, temp_c: float | None) -> str:
    even_h = None if temp_c is None else course.drawn_ready_h(temp_c)
    return "" if even_h is None else hours_text(even_h)


def _rises_cell(course: Course, reader: Reader) -> str:
    rises = [course.rise_at(at_h) for at_h in (course.ready_h, course.peak_h)]
    if rises == [None, None]:
        return ""
    return ", ".join("–" if rise is None else f"{reader.number(rise)} %" for rise in rises)


def _verdict_cell(said: Judgement | None, reader: Reader) -> str:
    if said is None:
        return ""
    word = verdict_word(said.verdict, reader)
    return f"{word}: {said.notes}" if said.notes else word
