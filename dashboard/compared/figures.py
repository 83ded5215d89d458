"""Key figures of batches beside each other: the cells of their table."""

from collections.abc import Mapping, Sequence

from dashboard.compared.course import Course, Warmth
from dashboard.compared.differences import differing, parts_pct
from dashboard.compared.words import degrees, even_words, hours_text, percent_text
from monitor.bakery.manner import Manner
from monitor.bakery.review_words import verdict_word
from monitor.bakery.wording import target_text
from monitor.recipe.batch import BatchId
from monitor.recipe.intent import Judgement


def figures(
    courses: Sequence[Course], said: Mapping[BatchId, Judgement], temp_c: float | None, manner: Manner
) -> list[dict[str, str]]:
    """Key figures of each batch, by the heading of their column; a column that would be empty is left out."""
    parts = [parts_pct(course.batch) for course in courses]
    shown = [part for part in parts[0] if part == "yeast" or part in differing(parts)] if all(parts) else ["yeast"]
    rows = [
        {
            manner.say("made with"): ", ".join(
                f"{manner.say(part)} {percent_text(mine[part], manner)}" for part in shown if mine.get(part)
            ),
            manner.say("waited for"): _target_cell(course, courses, manner),
            manner.say("dough"): _warmth_cell(course, manner),
            manner.say("ready after"): _after(course.ready_h, manner),
            "" if temp_c is None else even_words(temp_c, manner): _even_cell(course, temp_c),
            manner.say("peak after"): _after(course.peak_h, manner),
            manner.say("rise when ready, at its peak"): _rises_cell(course, manner),
            manner.say("taken after"): hours_text(course.end_h),
            manner.say("past ready"): "" if course.past_h is None else hours_text(course.past_h),
            manner.say("verdict"): _verdict_cell(said.get(course.batch.id), manner),
        }
        for course, mine in zip(courses, parts, strict=True)
    ]
    headings = [heading for heading in rows[0] if heading and any(row[heading] for row in rows)]
    return [{heading: row[heading] for heading in headings} for row in rows]


def _target_cell(course: Course, courses: Sequence[Course], manner: Manner) -> str:
    return target_text(course.batch, manner) if len({each.batch.target for each in courses}) > 1 else ""


def _warmth_cell(course: Course, manner: Manner) -> str:
    if course.dough_c is None:
        return ""
    temp = degrees(course.dough_c, manner)
    return temp if course.warmth is Warmth.PROBE else manner.say("{temp}, by the air", temp=temp)


def _after(hours: float | None, manner: Manner) -> str:
    return manner.say("not by its end") if hours is None else hours_text(hours)


def _even_cell(course: Course, temp_c: float | None) -> str:
    even_h = None if temp_c is None else course.drawn_ready_h(temp_c)
    return "" if even_h is None else hours_text(even_h)


def _rises_cell(course: Course, manner: Manner) -> str:
    rises = [course.rise_at(at_h) for at_h in (course.ready_h, course.peak_h)]
    if rises == [None, None]:
        return ""
    return ", ".join("–" if rise is None else f"{manner.number(rise)} %" for rise in rises)


def _verdict_cell(said: Judgement | None, manner: Manner) -> str:
    if said is None:
        return ""
    word = verdict_word(said.verdict, manner)
    return f"{word}: {said.notes}" if said.notes else word
