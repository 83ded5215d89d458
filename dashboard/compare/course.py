"""How finished batches went, by the clock and in the hours that an even warmth would have taken. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from statistics import median

import numpy as np
from numpy.typing import NDArray

from dashboard.drawing.tables import keeping_peaks
from dashboard.outcome import half_way, outcome_of
from monitor.dough.gassing import gassing_cardinals, leavening_pct
from monitor.dough.kinetics import equivalent_hours, relative_rate
from monitor.dough.outlook import Outlook
from monitor.dough.temperature import dough_temperature, thermal_tau_s
from monitor.dough.track import Series, Track
from monitor.recipe.batch import Batch
from monitor.wording.reader import Reader

Array = NDArray[np.float64]

CURVE_POINTS = 300  # of one of several curves: judgement
SAME_FORMULA = 0.02  # judgement: a share within which scales and hands leave a percentage the same


class Warmth(StrEnum):
    """Where a dough's temperature is known from."""

    PROBE = "probe"
    AIR = "air"  # worked out from it
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class HalfwayForecast:
    """When a dough was said to be ready, at half its rise: hours since its start; None beyond what could be said."""

    early_h: float
    mid_h: float | None
    late_h: float | None


class ForecastResult(StrEnum):
    """How what was said at half the rise held."""

    INSIDE = "inside"
    EARLIER = "earlier"  # ready before it was said to be
    LATER = "later"
    TAKEN = "taken"  # taken before it was ready, and before the interval was over: nobody knows
    NONE = "none"  # nothing was foretold before it was ready


@dataclass(frozen=True, slots=True)
class Course:
    """How one finished batch went, on the clock and in hours that would have done the same.

    Attributes
    ----------
    hours, rise_pct
        The curve: hours since the start, ascending, and rise at each. [h, %]
    equal_hours
        The same moments in hours at 27 C that would have brought the dough as far; None where its temperature is not
        known. [h]
    dough_c
        Mean temperature of the dough; None as above. [C]
    ready_h, peak_h
        When it was ready and at its peak; None when that had not come by the end. [h]
    ready_equal_h
        ``ready_h`` in hours at 27 C. [h]
    """

    batch: Batch
    hours: Array
    rise_pct: Array
    end_h: float
    ready_h: float | None = None
    peak_h: float | None = None
    warmth: Warmth = Warmth.UNKNOWN
    dough_c: float | None = None
    equal_hours: Array | None = None
    ready_equal_h: float | None = None
    halfway: HalfwayForecast | None = None

    def even_factor(self, temp_c: float) -> float | None:
        """Hours at a temperature that do what one at 27 C does; None where nothing grows."""
        pace = float(relative_rate(temp_c, gassing_cardinals(self.batch.formula)))
        return 1.0 / pace if pace > 0.0 else None

    def drawn_hours(self, temp_c: float | None) -> Array | None:
        """The times of the curve, as if at a temperature [C] or (None) by the clock; None when not known. [h]"""
        if temp_c is None:
            return self.hours
        factor = self.even_factor(temp_c)
        return None if self.equal_hours is None or factor is None else self.equal_hours * factor

    def drawn_ready_h(self, temp_c: float | None) -> float | None:
        """When it was ready, as if at a temperature [C] or (None) by the clock; None when not known. [h]"""
        if temp_c is None:
            return self.ready_h
        factor = self.even_factor(temp_c)
        return None if self.ready_equal_h is None or factor is None else self.ready_equal_h * factor

    def rise_at(self, at_h: float | None) -> float | None:
        """Rise at an hour since the start, straight between what was seen; None outside. [%]"""
        if at_h is None or not self.hours.size or not self.hours[0] <= at_h <= self.hours[-1]:
            return None
        return float(np.interp(at_h, self.hours, self.rise_pct))

    @property
    def past_h(self) -> float | None:
        """Hours between ready and the end; None when it was never ready. [h]"""
        return None if self.ready_h is None else self.end_h - self.ready_h

    @property
    def result(self) -> ForecastResult:
        """Whether it was ready within what was said. One taken after the latest moment said has missed it, too."""
        if self.halfway is None:
            return ForecastResult.NONE
        until_h = self.end_h if self.ready_h is None else self.ready_h
        if self.halfway.late_h is not None and until_h > self.halfway.late_h:
            return ForecastResult.LATER
        if self.ready_h is None:
            return ForecastResult.TAKEN
        return ForecastResult.EARLIER if self.ready_h < self.halfway.early_h else ForecastResult.INSIDE


def course_of(batch: Batch, outlooks: Sequence[Outlook], track: Track) -> Course:
    """How an ended batch went, by what was estimated at the time and, for its moments, by the last estimate.

    Raises
    ------
    ValueError
        When it has not ended.
    """
    outcome = outcome_of(batch, outlooks[-1] if outlooks else None)
    rises = [
        ((each.at - batch.started_at).total_seconds(), each.rise_pct.p50)
        for each in outlooks
        if each.rise_pct is not None and each.at <= outcome.ended_at
    ]
    seen = np.array(rises, dtype=np.float64).reshape(-1, 2)
    curve = keeping_peaks(Series(seen[:, 0], seen[:, 1], np.zeros(len(seen))), CURVE_POINTS)
    course = Course(
        batch,
        curve.t_s / 3600.0,
        curve.value,
        end_h=_hours(batch, outcome.ended_at),
        ready_h=None if outcome.ready_at is None else _hours(batch, outcome.ready_at),
        peak_h=None if outcome.peak_at is None else _hours(batch, outcome.peak_at),
        halfway=_halfway(batch, outlooks, outcome.ready_at),
    )
    return _warmed(course, track, outlooks[-1].start_volume_ml if outlooks else None)


def _hours(batch: Batch, at: datetime) -> float:
    return (at - batch.started_at).total_seconds() / 3600.0


def _halfway(batch: Batch, outlooks: Sequence[Outlook], ready_at: datetime | None) -> HalfwayForecast | None:
    if not outlooks:
        return None
    half = outlooks[half_way(outlooks, batch.target.rise_pct)]
    early_at, mid_at, late_at = half.ready.p05, half.ready.p50, half.ready.p95
    if early_at is None or (ready_at is not None and half.at >= ready_at):
        return None
    return HalfwayForecast(
        _hours(batch, early_at),
        None if mid_at is None else _hours(batch, mid_at),
        None if late_at is None else _hours(batch, late_at),
    )


def _warmed(course: Course, track: Track, start_volume_ml: float | None) -> Course:
    """The course with its dough's temperature: measured, or worked out from the air; unchanged where neither was."""
    known = _finite(track)
    if not known.dough_temp_c.t_s.size and not known.air_temp_c.t_s.size:
        return course
    end_s = 3600.0 * course.end_h
    warmth = dough_temperature(known, thermal_tau_s(course.batch, start_volume_ml), end_s, end_s)
    equal_h = equivalent_hours(warmth.t_s, warmth.dough_temp_c, gassing_cardinals(course.batch.formula))
    grid_h = warmth.t_s / 3600.0
    return replace(
        course,
        warmth=Warmth.PROBE if known.dough_temp_c.t_s.size else Warmth.AIR,
        dough_c=float(np.mean(warmth.dough_temp_c)),
        equal_hours=np.interp(course.hours, grid_h, equal_h),
        ready_equal_h=None if course.ready_h is None else float(np.interp(course.ready_h, grid_h, equal_h)),
    )


def _finite(track: Track) -> Track:
    """The temperatures of a track, without what is no number: one would make a number of nothing after it."""
    air, dough = (
        Series(one.t_s[is_known], one.value[is_known], one.sd[is_known])
        for one in (track.air_temp_c, track.dough_temp_c)
        for is_known in (np.isfinite(one.value),)
    )
    return Track(air_temp_c=air, dough_temp_c=dough)


# -- side by side ------------------------------------------------------------------------------------------------------


def even_temp_c(courses: Iterable[Course], reader: Reader) -> float | None:
    """The temperature that all doughs are thought at: the usual one of the recipe, a whole degree of the baker's. [C]

    None when no dough's temperature is known.
    """
    known = [course.dough_c for course in courses if course.dough_c is not None]
    if not known:
        return None
    return float(reader.temp_c(round(reader.degrees(median(known)))))


def against_the_others(courses: Sequence[Course], temp_c: float | None) -> float | None:
    """By how many hours the first of some courses was ready later than the others in their middle; None: not known."""
    first, *others = (course.drawn_ready_h(temp_c) for course in courses)
    known = [each for each in others if each is not None]
    return None if first is None or not known else first - median(known)


def same_target_pct(courses: Iterable[Course]) -> float | None:
    """The band that all waited for; None when they waited for different ones, or for the peak. [%]"""
    targets = {course.batch.target.rise_pct for course in courses}
    return targets.pop() if len(targets) == 1 else None


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
