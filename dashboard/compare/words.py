"""What is said of batches beside each other: names, sentences of charts, the cells of the table. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta

import pandas as pd
from babel.dates import format_skeleton

from dashboard.compare.course import (
    Change,
    Course,
    ForecastResult,
    Warmth,
    against_the_others,
    changes,
    differing,
    parts_pct,
)
from dashboard.compare.trend import DAY_MS, LEAST_DAYS, Slope, slope_by_day
from monitor.recipe.batch import Batch, BatchId
from monitor.recipe.intent import Judgement
from monitor.translatable import N_
from monitor.wording.alerts import clock_text, duration_text, target_text
from monitor.wording.phrases import degrees_text, own_temp_text
from monitor.wording.reader import Reader
from monitor.wording.review import verdict_word

SAME_H = 5.0 / 60.0  # judgement: nobody is nearer to the minute with floury hands
DAYS_A_WEEK = 7.0
DAY_FIRST = {"en": "en_GB"}  # which English: the one that counts from small to large
ALMOST_A_YEAR = timedelta(days=330)  # from then on a day without its year may be read as another


def day_text(at: datetime, reader: Reader, *, has_year: bool = False) -> str:
    """The day of a moment by the baker's calendar, as short as it may be."""
    code = reader.language.code
    local = at.astimezone(reader.zone)
    skeleton = "yMMMd" if has_year else "MMMd"
    return str(format_skeleton(skeleton, local.replace(tzinfo=None), locale=DAY_FIRST.get(code, code)))


def axis_day_text(calendar_ms: float, reader: Reader) -> str:
    """The same of a moment on a chart's axis of dates, in milliseconds of the calendar."""
    return day_text(datetime.fromtimestamp(calendar_ms / 1000.0, UTC).replace(tzinfo=reader.zone), reader)


def names_of(batches: Sequence[Batch], reader: Reader) -> dict[BatchId, str]:
    """What each batch is called beside the others: its day; with the hour, then its number, where need be."""
    starts = [batch.started_at for batch in batches]
    has_year = bool(starts) and max(starts) - min(starts) > ALMOST_A_YEAR
    days = {batch.id: day_text(batch.started_at, reader, has_year=has_year) for batch in batches}
    times = {batch.id: f"{days[batch.id]}, {clock_text(batch.started_at, reader)}" for batch in batches}
    once = [list(names.values()).count for names in (days, times)]
    return {
        key: day if once[0](day) == 1 else times[key] if once[1](times[key]) == 1 else f"{times[key]}, no. {key}"
        for key, day in days.items()
    }


def hours_text(hours: float) -> str:
    """A span of hours, in hours and minutes."""
    return duration_text(60.0 * hours)


def even_words(temp_c: float, reader: Reader) -> str:
    """What time is called when all doughs are thought equally warm."""
    return reader.say("as if all at {temp}", temp=own_temp_text(temp_c, reader, 0))


def time_words(courses: Iterable[Course], names: Mapping[BatchId, str], temp_c: float | None, reader: Reader) -> str:
    """What the axis of time counts, and which curves rest on less than a probe, or are left out."""
    if temp_c is None:
        return reader.say("Hours and minutes from the start of the stage, by the clock. The dots: ready.")
    sentences = [
        reader.say(
            "Every dough as if it had been at {temp} throughout: an hour in a warmer dough counts for more, one in a "
            "colder dough for less. What differs now is not the warmth. The dots: ready.",
            temp=own_temp_text(temp_c, reader, 0),
        )
    ]
    lists = {
        warmth: ", ".join(names[course.batch.id] for course in courses if course.warmth is warmth) for warmth in Warmth
    }
    if lists[Warmth.AIR]:
        sentences.append(reader.say("Worked out from the air, without a probe: {names}.", names=lists[Warmth.AIR]))
    if lists[Warmth.UNKNOWN]:
        sentences.append(
            reader.say("Not drawn, for nobody knows how warm it was: {names}.", names=lists[Warmth.UNKNOWN])
        )
    return " ".join(sentences)


def newest_sentence(courses: Sequence[Course], even_c: float | None, reader: Reader) -> str:
    """The first of some courses against the others, by the clock and at equal warmth; empty when nobody knows."""
    by_clock_h = against_the_others(courses, None)
    if by_clock_h is None:
        return ""
    sentence = reader.say(
        "To be ready, the newest took {took} the others in their middle", took=_took(by_clock_h, reader)
    )
    even_h = None if even_c is None else against_the_others(courses, even_c)
    if even_h is None or even_c is None:
        return f"{sentence}."
    sentence = f"{sentence}; {even_words(even_c, reader)}, {_took_alone(even_h, reader)}"
    if abs(even_h) < SAME_H <= abs(by_clock_h):
        sentence = reader.say("{said}: its warmth explains it", said=sentence)
    return f"{sentence}."


def _took(hours: float, reader: Reader) -> str:
    if abs(hours) < SAME_H:
        return reader.say("as long as")
    return reader.say(N_("{time} longer than") if hours > 0.0 else N_("{time} less than"), time=hours_text(abs(hours)))


def _took_alone(hours: float, reader: Reader) -> str:
    if abs(hours) < SAME_H:
        return reader.say("just as long")
    return reader.say(N_("{time} longer") if hours > 0.0 else N_("{time} less"), time=hours_text(abs(hours)))


def overlay_sentence(
    title: str, courses: Sequence[Course], names: Mapping[BatchId, str], temp_c: float | None, reader: Reader
) -> str:
    """What the curves over each other show, for who cannot see them."""
    parts = []
    for course in courses:
        at_h = course.drawn_ready_h(temp_c)
        what = reader.say("not ready by its end") if course.ready_h is None else reader.say("not known")
        when = what if at_h is None else reader.say("ready after {time}", time=hours_text(at_h))
        parts.append(f"{names[course.batch.id]} {when}")
    clock = reader.say("by the clock") if temp_c is None else even_words(temp_c, reader)
    return reader.say(
        "{title}: the rise of {n} batches from their start, {clock}. {parts}.",
        title=title, n=len(courses), clock=clock, parts="; ".join(parts),
    )  # fmt: skip


def trend_sentence(rows: pd.DataFrame, temp_c: float | None, reader: Reader) -> str:
    """Whether the time to ready, and the warmth of the dough, have changed over the weeks, as far as can be told."""
    ready = rows.dropna(subset=["hours"])
    days = (ready["at"] // DAY_MS).nunique()
    if days < LEAST_DAYS:
        return reader.count(
            int(days), "Made on {n} day so far: {least} are the least that can tell a trend.",
            "Made on {n} days so far: {least} are the least that can tell a trend.", least=LEAST_DAYS,
        )  # fmt: skip
    weeks = (float(ready["at"].max()) - float(ready["at"].min())) / DAY_MS / DAYS_A_WEEK
    span = reader.say("Over {weeks} weeks, made on {days} days", weeks=reader.number(weeks), days=int(days))
    parts = [reader.say("by the clock") + f" {_slope_words(slope_by_day(rows, 'hours'), reader)}"]
    if temp_c is not None and rows["even"].notna().any():
        parts.append(f"{even_words(temp_c, reader)} {_slope_words(slope_by_day(rows, 'even'), reader)}")
    warmer = slope_by_day(rows, "dough_c")
    text = reader.say("{span}, the time to ready: {parts}.", span=span, parts="; ".join(parts))
    if warmer is not None and warmer.is_clear:
        is_warmer = warmer.per_day > 0.0
        much = degrees_text(DAYS_A_WEEK * warmer.per_day, reader)
        sentence = (
            N_("The dough became {much} warmer a week.") if is_warmer else N_("The dough became {much} colder a week.")
        )
        text += " " + reader.say(sentence, much=much)
    return text


def _slope_words(slope: Slope | None, reader: Reader) -> str:
    if slope is None or slope.low is None or slope.high is None:
        return reader.say("on too few days to tell")
    minutes_a_week = [DAYS_A_WEEK * 60.0 * each for each in (slope.per_day, slope.low, slope.high)]
    middle, low, high = minutes_a_week
    if not slope.is_clear:
        return reader.say(
            "no change that could be told from chance ({low} to {high} min a week)",
            low=_signed(low, reader), high=_signed(high, reader),
        )  # fmt: skip
    least, most = sorted((abs(low), abs(high)))
    sentence = N_("{middle} min longer each week") if middle > 0 else N_("{middle} min shorter each week")
    doubt = reader.say("({least} to {most})", least=_digits(least, reader), most=_digits(most, reader))
    return reader.say(sentence, middle=_digits(abs(middle), reader)) + f" {doubt}"


def _digits(minutes: float, reader: Reader) -> str:
    return reader.number(minutes, 0 if minutes >= 10.0 else 1)


def _signed(minutes: float, reader: Reader) -> str:
    return f"{'−' if minutes < 0 else '+'}{_digits(abs(minutes), reader)}"


def warmth_sentence(courses: Iterable[Course], reader: Reader) -> str:
    """The coldest and the warmest dough and their days, for who cannot see the chart; empty when none is known."""
    known = sorted((course.dough_c, course.batch.started_at) for course in courses if course.dough_c is not None)
    if not known:
        return ""
    (cold_c, cold_at), (warm_c, warm_at) = known[0], known[-1]
    return reader.say(
        "Mean temperature of each dough, from {cold} on {cold_day} to {warm} on {warm_day}.",
        cold=own_temp_text(cold_c, reader), cold_day=day_text(cold_at, reader),
        warm=own_temp_text(warm_c, reader), warm_day=day_text(warm_at, reader),
    )  # fmt: skip


PART_WORDS = {
    "yeast": N_("yeast"),
    "water": N_("water"),
    "salt": N_("salt"),
    "sugar": N_("sugar"),
    "fat": N_("fat"),
    "sourdough": N_("sourdough"),
}


def percent_text(value: float, reader: Reader) -> str:
    """A baker's percentage, with the decimals that a scale has."""
    digits = 0 if value >= 10.0 else 1 if round(value, 2) == round(value, 1) else 2
    return f"{reader.number(value, digits)} %"


def change_words(change: Change, reader: Reader) -> str:
    """What was made otherwise from one batch to the next."""
    before, now = parts_pct(change.before), parts_pct(change.batch)
    parts = [
        reader.say(PART_WORDS[part]) + f" {percent_text(before[part], reader)} → {percent_text(now[part], reader)}"
        for part in change.parts
    ]
    if change.is_other_target:
        parts.append(reader.say("band {target}", target=target_text(change.batch, reader)))
    return ", ".join(parts)


def changes_sentence(courses: Iterable[Course], reader: Reader) -> str:
    """Every change of formula and band, with its day; empty when there was none."""
    found = [f"{day_text(each.batch.started_at, reader)} {change_words(each, reader)}" for each in changes(courses)]
    return reader.say("Made otherwise from: {found}.", found="; ".join(found)) if found else ""


def forecast_results_sentence(courses: Sequence[Course], reader: Reader) -> str:
    """How often batches were ready within what had been said at half their rise, and which do not count."""
    n = {kept: sum(course.result is kept for course in courses) for kept in ForecastResult}
    counted = n[ForecastResult.INSIDE] + n[ForecastResult.EARLIER] + n[ForecastResult.LATER]
    sentences = []
    if counted:
        sentences.append(
            reader.count(
                counted, "Said at half the rise: of {n} batch, {inside} was ready within what was said.",
                "Said at half the rise: of {n} batches, {inside} were ready within what was said.",
                inside=n[ForecastResult.INSIDE],
            )
        )  # fmt: skip
        missed = {ForecastResult.EARLIER: N_("{n} earlier"), ForecastResult.LATER: N_("{n} later")}
        off = ", ".join(reader.say(words, n=n[kept]) for kept, words in missed.items() if n[kept])
        if off:
            sentences.append(reader.say("Outside: {off}.", off=off))
        sentences.append(reader.say("Nine in ten is what it promises."))
    if n[ForecastResult.TAKEN]:
        sentences.append(
            reader.count(
                n[ForecastResult.TAKEN], "{n} was taken before it was ready, and does not count.",
                "{n} were taken before they were ready, and do not count.",
            )
        )  # fmt: skip
    if n[ForecastResult.NONE]:
        sentences.append(
            reader.count(
                n[ForecastResult.NONE], "{n} had no forecast by then, and does not count.",
                "{n} had no forecast by then, and do not count.",
            )
        )  # fmt: skip
    return " ".join(sentences)


# -- the cells of the table -------------------------------------------------------------------------------------------


def key_figures(
    courses: Sequence[Course], judgements: Mapping[BatchId, Judgement | None], temp_c: float | None, reader: Reader
) -> list[dict[str, str]]:
    """Key figures of each batch, by the heading of their column; a column that would be empty is left out."""
    parts = [parts_pct(course.batch) for course in courses]
    shown = [part for part in parts[0] if part == "yeast" or part in differing(parts)] if all(parts) else [N_("yeast")]
    rows = [
        {
            reader.say("made with"): ", ".join(
                reader.say(part) + f" {percent_text(mine[part], reader)}" for part in shown if mine.get(part)
            ),
            reader.say("waited for"): _target_cell(course, courses, reader),
            reader.say("dough"): _warmth_cell(course, reader),
            reader.say("ready after"): _after(course.ready_h, reader),
            "" if temp_c is None else even_words(temp_c, reader): _even_cell(course, temp_c),
            reader.say("peak after"): _after(course.peak_h, reader),
            reader.say("rise when ready, at its peak"): _rises_cell(course, reader),
            reader.say("taken after"): hours_text(course.end_h),
            reader.say("past ready"): "" if course.past_h is None else hours_text(course.past_h),
            reader.say("verdict"): _verdict_cell(judgements.get(course.batch.id), reader),
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
    temp = own_temp_text(course.dough_c, reader)
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


def _verdict_cell(judgement: Judgement | None, reader: Reader) -> str:
    if judgement is None:
        return ""
    word = verdict_word(judgement.verdict, reader)
    return f"{word}: {judgement.notes}" if judgement.notes else word
