"""Finished batches of one recipe and stage beside each other: which, by what names, and their tables. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from statistics import median

import pandas as pd

from dashboard.compare.course import Course, Kept
from dashboard.compare.trend import Slope, slope_of
from dashboard.drawing.tables import dial_ms
from monitor.dough.gassing import leavening_pct
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.units import celsius, fahrenheit

MOST_TOLD_APART = 6  # judgement: more lines, each of its own colour and dash, are a tangle
MOST_OFFERED = 12  # judgement: to lay over each other; two rows of buttons
MOST_LOOKED_AT = 40  # of a recipe, the newest: older ones are of another season, another flour, as in dough.learning
DAY_MS = 86_400_000.0
SAME_FORMULA = 0.02  # judgement: a share within which scales and hands leave a percentage the same


@dataclass(frozen=True, slots=True)
class Repeated:
    """A stage of a recipe that was finished more than once: its batches, newest first, and its name as last written."""

    recipe: str
    stage: Stage
    name: str
    batches: tuple[Batch, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """What to lay over each other; ``is_even``: in time as if all doughs had been equally warm."""

    repeated: Repeated
    batch_ids: tuple[BatchId, ...]
    is_even: bool


def repeated(finished: Iterable[Batch]) -> tuple[list[Repeated], list[Repeated]]:
    """What was finished twice or more, and what only once; what was begun last first."""
    found: dict[tuple[str, Stage], list[Batch]] = {}
    for batch in sorted(finished, key=lambda each: (each.started_at, each.id), reverse=True):
        found.setdefault((batch.recipe_key, batch.stage), []).append(batch)
    all_of_them = [
        Repeated(key, stage, (same[0].recipe or same[0].name.partition(",")[0] or same[0].name).strip(), tuple(same))
        for (key, stage), same in found.items()
    ]
    return [each for each in all_of_them if len(each.batches) > 1], [e for e in all_of_them if len(e.batches) == 1]


def has_others(batch: Batch, finished: Iterable[Batch]) -> bool:
    """Whether there is anything to lay a finished batch over."""
    kin = (batch.recipe_key, batch.stage)
    return any((each.recipe_key, each.stage) == kin and each.id != batch.id for each in finished)


def asked(address: Mapping[str, str], offered: Sequence[Repeated]) -> Choice | None:
    """What an address asks for, whatever is written in it: the newest where it says nothing that is there.

    A ``batch`` alone asks for its recipe and stage, with that batch among the newest. None when what it names was
    finished once only, or nothing is offered.
    """
    one = _ids(address.get("batch", ""))
    wanted = (address.get("recipe", ""), address.get("stage", ""))
    if one or any(wanted):
        chosen = next(
            (
                each
                for each in offered
                if (each.recipe, each.stage.value) == wanted or (one and one[0] in {b.id for b in each.batches})
            ),
            None,
        )
    else:
        chosen = offered[0] if offered else None
    if chosen is None:
        return None
    there = [batch.id for batch in chosen.batches]
    ids = [batch_id for batch_id in _ids(address.get("batches", "")) if batch_id in there]
    if not ids:
        first = [batch.id for batch in chosen.batches if one and batch.id == one[0]]
        ids = first + [batch_id for batch_id in there if batch_id not in first]
    return Choice(chosen, tuple(ids[:MOST_TOLD_APART]), address.get("time") == "even")


def _ids(text: str) -> list[BatchId]:
    return [BatchId(int(each)) for each in text.split(",") if each.isascii() and each.isdecimal() and len(each) < 19]


def looked_at(choice: Choice) -> list[Batch]:
    """The batches that trend and forecasts are told of: the newest, and whichever were chosen."""
    return [
        batch
        for place, batch in enumerate(choice.repeated.batches)
        if place < MOST_LOOKED_AT or batch.id in choice.batch_ids
    ]


IN_ADDRESS = ("recipe", "stage", "batches", "time", "batch")  # the last one says where to begin, once


def address_of(choice: Choice) -> dict[str, str]:
    """The address that shows a choice again."""
    return {
        "recipe": choice.repeated.recipe,
        "stage": choice.repeated.stage.value,
        "batches": ",".join(str(batch_id) for batch_id in choice.batch_ids),
        "time": "even" if choice.is_even else "clock",
    }


def even_temp_c(courses: Iterable[Course], unit: str) -> float | None:
    """The temperature that all doughs are thought at: the usual one of the recipe, a whole degree of the baker's. [C]

    None when no dough's temperature is known.
    """
    known = [course.dough_c for course in courses if course.dough_c is not None]
    if not known:
        return None
    usual_c = median(known)
    return celsius(round(fahrenheit(usual_c))) if unit == "F" else float(round(usual_c))


def overlay_frame(courses: Iterable[Course], names: Mapping[BatchId, str], temp_c: float | None) -> pd.DataFrame:
    """The curves over each other: ``hours value what``; those whose times are not known are left out. [h, %]"""
    frames = [
        pd.DataFrame({"hours": hours, "value": course.rise_pct, "what": names[course.batch.id]})
        for course in courses
        if (hours := course.drawn_hours(temp_c)) is not None and hours.size
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=["hours", "value", "what"])


def ready_frame(courses: Iterable[Course], names: Mapping[BatchId, str], temp_c: float | None) -> pd.DataFrame:
    """Where each curve was ready: ``hours value what``. [h, %]"""
    rows = [
        (course.drawn_ready_h(temp_c), course.rise_at(course.ready_h), names[course.batch.id])
        for course in courses
        if course.ready_h is not None
    ]
    return pd.DataFrame(rows, columns=["hours", "value", "what"]).dropna()


def trend_frame(courses: Iterable[Course], temp_c: float | None, zone: tzinfo) -> pd.DataFrame:
    """Each batch on its date: ``at hours even dough_c``, the first first. [ms of the dial, h, h, C]"""
    rows = [
        (
            dial_ms(course.batch.started_at, zone),
            course.ready_h,
            None if temp_c is None else course.drawn_ready_h(temp_c),
            course.dough_c,
        )
        for course in courses
    ]
    frame = pd.DataFrame(rows, columns=["at", "hours", "even", "dough_c"]).astype(float)
    return frame.sort_values("at", ignore_index=True)


def slope_by_day(frame: pd.DataFrame, column: str) -> Slope | None:
    """The slope of one column of a trend, in its unit a day.

    Tubs of one day share flour, air and hands, and count as one: their median.
    """
    known = frame.dropna(subset=[column])
    days = known.groupby(known["at"] // DAY_MS)[column].median()
    return slope_of(days.index.to_numpy(), days.to_numpy())


def trend_line(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """The ends of a claimed trend, through the middle of what was seen: ``at value what``; empty when none is."""
    slope = slope_by_day(frame, column)
    if slope is None or not slope.is_told:
        return pd.DataFrame(columns=["at", "value", "what"])
    known = frame.dropna(subset=[column])
    per_ms = slope.per_day / DAY_MS
    start = float((known[column] - per_ms * known["at"]).median())
    ends = [float(known["at"].min()), float(known["at"].max())]
    return pd.DataFrame({"at": ends, "value": [start + per_ms * at for at in ends], "what": column})


def parts_pct(batch: Batch) -> dict[str, float]:
    """What is known of a dough's formula, each part on its flour, what leavens as instant yeast. [%]"""
    formula = batch.formula
    if formula is None:
        return {}
    water = 100.0 * formula.all_water_g / formula.all_flour_g
    others = {each: formula.pct(f"{each}_g") for each in ("salt", "sugar", "fat", "sourdough")}
    return {"yeast": leavening_pct(batch.formula) or 0.0, "water": water, **others}


def differing(parts: Sequence[Mapping[str, float]]) -> list[str]:
    """The parts in which formulas differ, by more than a scale's doubt; formulas of which nothing is known do not."""
    known = [each for each in parts if each]
    if not known:
        return []
    least, most = ({part: of(each[part] for each in known) for part in known[0]} for of in (min, max))
    return [part for part in least if most[part] - least[part] > SAME_FORMULA * most[part]]


@dataclass(frozen=True, slots=True)
class Change:
    """A batch made unlike the one before it: the parts of its formula that differ, and whether its band does."""

    before: Batch
    batch: Batch
    parts: tuple[str, ...]
    is_other_target: bool


def changes(courses: Iterable[Course]) -> list[Change]:
    """Each time that formula or band changed from one batch to the next, the first first."""
    found: list[Change] = []
    before: Batch | None = None
    for batch in sorted((course.batch for course in courses), key=lambda each: each.started_at):
        if before is not None:
            parts = differing([parts_pct(before), parts_pct(batch)])
            if parts or batch.target != before.target:
                found.append(Change(before, batch, tuple(parts), batch.target != before.target))
        before = batch
    return found


def same_target_pct(courses: Iterable[Course]) -> float | None:
    """The band that all waited for; None when they waited for different ones, or for the peak. [%]"""
    targets = {course.batch.target.rise_pct for course in courses}
    return targets.pop() if len(targets) == 1 else None


def kept_frame(courses: Iterable[Course], names: Mapping[BatchId, str]) -> pd.DataFrame:
    """What was said at half the rise, against when each was ready: ``what early mid late is_inside``. [min]

    The first first. An interval without a latest moment is drawn up to the moment it was ready, if not further.
    """
    rows = []
    for course in sorted(courses, key=lambda each: each.batch.started_at):
        said, ready_h = course.said, course.ready_h
        if said is None or ready_h is None:
            continue
        mid_h = said.early_h if said.mid_h is None else said.mid_h
        late_h = max(ready_h, mid_h) if said.late_h is None else said.late_h
        mid = None if said.mid_h is None else 60.0 * (said.mid_h - ready_h)
        off = [60.0 * (said.early_h - ready_h), mid, 60.0 * (late_h - ready_h)]
        rows.append((names[course.batch.id], *off, course.kept is Kept.INSIDE))
    frame = pd.DataFrame(rows, columns=["what", "early", "mid", "late", "is_inside"])
    return frame.astype({"early": float, "mid": float, "late": float, "is_inside": bool})


def against_the_others(courses: Sequence[Course], temp_c: float | None) -> float | None:
    """By how many hours the first of some courses was ready later than the others in their middle; None: not known."""
    first, *others = (course.drawn_ready_h(temp_c) for course in courses)
    known = [each for each in others if each is not None]
    return None if first is None or not known else first - median(known)
