"""Batches beside each other in numbers: courses, equal warmth, trends, how forecasts held; of many and of none."""

import doctest
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.typing import ArrayLike
from sample_bakery import NOW, ROUND_TUB, around, minutes

from dashboard import queries
from dashboard.compare import course, selection, tables, trend, words
from dashboard.compare.course import Course, ForecastResult, HalfwayForecast, Warmth, course_of
from monitor.dough.kinetics import relative_rate
from monitor.dough.outlook import Band, Outlook, State
from monitor.dough.track import Series, Track
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Judgement, Verdict
from monitor.wording.reader import Reader

TOLD = Reader(UTC)


def ended(
    number: int, days_ago: float = 1.0, takes_min: float = 180.0, name: str = "Sorrel loaf", **more: object
) -> Batch:
    started_at = NOW - timedelta(days=days_ago)
    made = Batch(BatchId(number), name, Stage.FIRST_RISE, started_at, ROUND_TUB, Target(80.0))
    return replace(made, ended_at=started_at + minutes(takes_min), **more)  # type: ignore[arg-type]


def outlooks(batch: Batch, ready_min: float, peak_min: float = 170.0, every_min: float = 10.0) -> list[Outlook]:
    """A straight rise to the target, forecasts that are right, and no fall."""
    assert batch.ended_at is not None
    assert batch.target.rise_pct is not None
    per_min = batch.target.rise_pct / ready_min
    count = int((batch.ended_at - batch.started_at) / minutes(every_min))
    ats = [batch.started_at + minutes(every_min * k) for k in range(1, count + 1)]
    rises = [per_min * (at - batch.started_at) / minutes(1) for at in ats]
    return [
        Outlook(
            at,
            State.RISING,
            Band(rise - 2.0, rise, rise + 2.0),
            ready=around(batch.started_at + minutes(ready_min), 12.0),
            peak=around(batch.started_at + minutes(peak_min), 20.0),
            start_volume_ml=3000.0,
        )
        for at, rise in zip(ats, rises, strict=True)
    ]


def series(t_s: ArrayLike, value: ArrayLike) -> Series:
    times, values = np.asarray(t_s, dtype=np.float64), np.asarray(value, dtype=np.float64)
    return Series(times, values, np.full(times.shape, np.nan))


def probe(temp_c: float, hours: float = 3.0) -> Track:
    times = np.arange(0.0, hours * 3600.0 + 1.0, 60.0)
    return Track(dough_temp_c=series(times, np.full(times.shape, temp_c)))


def went(number: int, days_ago: float, ready_h: float | None, dough_c: float | None = None, **more: object) -> Course:
    """A course with nothing but its moments."""
    made = Course(
        ended(number, days_ago),
        np.array([0.0, 3.0]),
        np.array([0.0, 90.0]),
        3.0,
        ready_h,
        warmth=Warmth.UNKNOWN if dough_c is None else Warmth.PROBE,
        dough_c=dough_c,
        ready_equal_h=None if dough_c is None or ready_h is None else ready_h * float(relative_rate(dough_c)),
    )
    return replace(made, **more)  # type: ignore[arg-type]


# -- one batch


def test_a_course_has_the_moments_of_the_last_estimate_and_the_rise_at_them() -> None:
    batch = ended(1)
    made = course_of(batch, outlooks(batch, 120.0), Track())
    assert (made.ready_h, made.peak_h, made.end_h) == pytest.approx((2.0, 170.0 / 60.0, 3.0))
    assert made.rise_at(made.ready_h) == pytest.approx(80.0)
    assert made.past_h == pytest.approx(1.0)
    assert made.warmth is Warmth.UNKNOWN


def test_at_the_temperature_it_had_a_dough_takes_as_long_as_by_the_clock() -> None:
    batch = ended(1)
    made = course_of(batch, outlooks(batch, 120.0), probe(22.0))
    assert made.dough_c == pytest.approx(22.0)
    assert made.drawn_ready_h(22.0) == pytest.approx(2.0)
    np.testing.assert_allclose(made.drawn_hours(22.0), made.hours)


def test_a_colder_dough_would_have_been_quicker_at_24_degrees_by_what_its_pace_was_less() -> None:
    batch = ended(1)
    made = course_of(batch, outlooks(batch, 120.0), probe(20.0))
    assert made.drawn_ready_h(24.0) == pytest.approx(2.0 * float(relative_rate(20.0) / relative_rate(24.0)))


def test_without_a_probe_the_warmth_is_worked_out_from_the_air() -> None:
    batch = ended(1)
    air = Track(air_temp_c=probe(21.0).dough_temp_c)
    made = course_of(batch, outlooks(batch, 120.0), air)
    assert made.warmth is Warmth.AIR
    assert made.dough_c is not None
    assert 21.0 < made.dough_c < 25.0  # it leaves the mixer at 25 C and follows the air


def test_readings_that_are_no_numbers_make_neither_warmth_nor_curve_of_nothing() -> None:
    batch = ended(1)
    track = probe(22.0)
    holes = np.where(np.arange(track.dough_temp_c.value.size) % 3 == 0, np.nan, track.dough_temp_c.value)
    told = [
        replace(each, rise_pct=Band(0.0, float("nan"), 0.0)) if k == 4 else each
        for k, each in enumerate(outlooks(batch, 120.0))
    ]
    made = course_of(batch, told, Track(dough_temp_c=series(track.dough_temp_c.t_s, holes)))
    assert made.drawn_ready_h(22.0) == pytest.approx(2.0)
    assert np.isfinite(made.rise_pct).all()
    assert len(made.rise_pct) == len(told) - 1
    nothing = series([60.0, 120.0], [np.nan, np.nan])
    assert course_of(batch, told, Track(dough_temp_c=nothing)).warmth is Warmth.UNKNOWN


def test_a_batch_without_a_peak_or_ready_moment_says_so_instead_of_a_number() -> None:
    batch = ended(1, takes_min=60.0)
    made = course_of(batch, outlooks(batch, 120.0), probe(22.0, 1.0))
    assert (made.ready_h, made.peak_h, made.past_h, made.drawn_ready_h(24.0)) == (None, None, None, None)
    row = words.key_figures([made], {}, 24.0, TOLD)[0]
    assert row["ready after"] == row["peak after"] == "not by its end"
    assert "past ready" not in row


def test_a_batch_that_was_never_estimated_has_a_course_without_a_curve() -> None:
    made = course_of(ended(1), [], Track())
    assert made.hours.size == 0
    assert made.result is ForecastResult.NONE
    assert len(tables.overlay_frame([made], {BatchId(1): "a"}, None)) == 0


def test_a_running_batch_has_no_course_yet() -> None:
    with pytest.raises(ValueError, match="has not ended"):
        course_of(replace(ended(1), ended_at=None), [], Track())


def test_thinning_keeps_the_highest_rise() -> None:
    batch = ended(1, takes_min=1440.0)
    told = outlooks(batch, 120.0, every_min=1.0)
    spike = replace(told[777], rise_pct=Band(0.0, 5000.0, 0.0))
    made = course_of(batch, [*told[:777], spike, *told[778:]], Track())
    assert len(made.hours) <= course.CURVE_POINTS
    assert made.rise_pct.max() == 5000.0


# -- how what was said held


@pytest.mark.parametrize(
    ("ready_h", "said", "expected"),
    [
        (2.0, HalfwayForecast(1.8, 2.0, 2.2), ForecastResult.INSIDE),
        (1.8, HalfwayForecast(1.8, 2.0, 2.2), ForecastResult.INSIDE),
        (1.7, HalfwayForecast(1.8, 2.0, 2.2), ForecastResult.EARLIER),
        (2.3, HalfwayForecast(1.8, 2.0, 2.2), ForecastResult.LATER),
        (9.0, HalfwayForecast(1.8, None, None), ForecastResult.INSIDE),  # it had said: perhaps not at all
        (2.0, None, ForecastResult.NONE),
        (
            None,
            HalfwayForecast(2.5, 3.0, 3.5),
            ForecastResult.TAKEN,
        ),  # taken at three hours, with the interval still open
        (
            None,
            HalfwayForecast(1.8, 2.0, 2.2),
            ForecastResult.LATER,
        ),  # taken unready at three hours: that is known to have missed
    ],
)
def test_what_was_said_held_missed_or_cannot_be_told(
    ready_h: float | None, said: HalfwayForecast | None, expected: ForecastResult
) -> None:
    assert went(1, 1.0, ready_h, halfway=said).result is expected


def test_what_is_held_against_the_truth_was_said_at_half_the_rise() -> None:
    batch = ended(1)
    told = outlooks(batch, 120.0)
    wrong = around(batch.started_at + minutes(500.0), 1.0)
    assert (
        course_of(batch, [replace(each, ready=wrong) if k < 5 else each for k, each in enumerate(told)], Track()).result
        is ForecastResult.INSIDE
    )
    half = [replace(each, ready=wrong) if k == 5 else each for k, each in enumerate(told)]
    assert course_of(batch, half, Track()).result is ForecastResult.EARLIER


def test_what_was_said_after_it_was_ready_is_no_forecast() -> None:
    batch = ended(1)
    assert course_of(batch, outlooks(batch, 120.0, every_min=150.0), Track()).result is ForecastResult.NONE


def test_how_forecasts_held_is_counted_in_words() -> None:
    inside, late, early = HalfwayForecast(1.8, 2.0, 2.2), HalfwayForecast(1.0, 1.1, 1.2), HalfwayForecast(2.5, 2.6, 2.7)
    courses = [went(k, k, 2.0, halfway=said) for k, said in enumerate([inside, inside, late, early, None])]
    courses.append(went(9, 9.0, None, halfway=HalfwayForecast(2.5, 3.0, 3.5)))
    said = words.forecast_results_sentence(courses, TOLD)
    assert "of 4 batches, 2 were ready within what was said" in said
    assert "Outside: 1 earlier, 1 later." in said
    assert "1 was taken before it was ready, and does not count." in said
    assert "1 had no forecast by then, and does not count." in said
    frame = tables.forecast_results_frame(courses, dict.fromkeys((course.batch.id for course in courses), "x"))
    assert list(frame["is_inside"]) == [False, False, True, True]
    assert list(frame.iloc[-1][["early", "mid", "late"]]) == pytest.approx([-12.0, 0.0, 12.0])


# -- which batches


def test_only_what_was_finished_twice_can_be_compared() -> None:
    batches = [ended(1, 3.0, name="Rye, tub 1"), ended(2, 2.0, name="rye, tub 2"), ended(3, 1.0, name="Oat")]
    offered, once = selection.recipe_stages(batches)
    assert [(each.recipe, each.name, [b.id for b in each.batches]) for each in offered] == [("rye", "rye", [2, 1])]
    assert [each.recipe for each in once] == ["oat"]


def test_a_batch_has_others_when_another_of_its_recipe_and_stage_is_finished() -> None:
    batches = [ended(1), ended(2, stage=Stage.FINAL_PROOF), ended(3, name="Oat")]
    assert not queries.has_siblings(batches[0], batches)
    assert queries.has_siblings(batches[0], [*batches, ended(4)])


def test_another_stage_of_the_same_recipe_is_another_matter() -> None:
    batches = [ended(1), ended(2, stage=Stage.FINAL_PROOF)]
    assert selection.recipe_stages(batches)[0] == []


MANY = [ended(k, 20.0 - k, name="Rye") for k in range(1, 11)] + [ended(20 + k, 10.5, name="Oat") for k in range(2)]
NEWEST = (10, 9, 8, 7, 6, 5)


@pytest.mark.parametrize(
    ("address", "recipe", "ids"),
    [
        ({}, "rye", NEWEST),
        ({"recipe": "rye", "stage": "first rise", "batches": "3,1"}, "rye", (3, 1)),
        ({"recipe": "rye", "stage": "first rise", "batches": "3,77,-1,x,²," + "9" * 30}, "rye", (3,)),
        ({"recipe": "rye", "stage": "first rise", "batches": "77"}, "rye", NEWEST),
        ({"recipe": "oat", "stage": "first rise"}, "oat", (21, 20)),
        ({"batch": "2"}, "rye", (2, *NEWEST[:5])),
        ({"batch": "20"}, "oat", (20, 21)),
        ({"recipe": "rye", "stage": "first rise", "batches": "1,2,3,4,5,6,7,8"}, "rye", (1, 2, 3, 4, 5, 6)),
    ],
)
def test_an_address_chooses_whatever_is_written_in_it(
    address: dict[str, str], recipe: str, ids: tuple[int, ...]
) -> None:
    offered, _ = selection.recipe_stages(MANY)
    chosen = selection.selection_in(address, offered)
    assert chosen is not None
    assert (chosen.repeated.recipe, chosen.batch_ids) == (recipe, ids)
    assert selection.selection_in(selection.address_of(chosen), offered) == chosen


@pytest.mark.parametrize(
    "address", [{"recipe": "spelt", "stage": "first rise"}, {"recipe": "rye", "stage": "x"}, {"batch": "99"}]
)
def test_an_address_that_names_what_is_not_there_chooses_nothing(address: dict[str, str]) -> None:
    assert selection.selection_in(address, selection.recipe_stages(MANY)[0]) is None


def test_the_newest_forty_are_looked_at_and_an_older_one_that_was_chosen() -> None:
    many = [ended(k, 90.0 - k) for k in range(1, 61)]
    chosen = selection.selection_in({"batch": "3"}, selection.recipe_stages(many)[0])
    assert chosen is not None
    assert [batch.id for batch in selection.compared_batches(chosen)] == [*range(60, 20, -1), 3]


def test_batches_of_one_day_are_told_apart_by_the_hour_and_then_by_their_number() -> None:
    batches = [ended(1, 9.0), ended(2, 5.0), ended(3, 5.0 - 1 / 24), ended(4, 5.0)]
    assert list(words.names_of(batches, TOLD).values()) == [
        "21 Feb",
        "25 Feb, 09:36, no. 2",
        "25 Feb, 10:36",
        "25 Feb, 09:36, no. 4",
    ]


def test_a_day_gets_its_year_when_it_might_be_read_as_another() -> None:
    assert list(words.names_of([ended(1, 1.0), ended(2, 366.0)], TOLD).values()) == ["1 Mar 2026", "1 Mar 2025"]


def test_a_name_has_the_day_of_the_bakers_own_zone() -> None:
    auckland = Reader(ZoneInfo("Pacific/Auckland"))
    late = replace(ended(1), started_at=datetime(2026, 3, 2, 18, 0, tzinfo=UTC))
    assert words.day_text(late.started_at, auckland) == "3 Mar"


# -- equal warmth


def test_all_are_thought_at_the_usual_warmth_in_whole_degrees_of_the_bakers_scale() -> None:
    courses = [went(k, k, 2.0, temp) for k, temp in enumerate([22.0, 24.4, 30.0])]
    assert course.even_temp_c(courses, Reader(UTC)) == 24.0
    assert course.even_temp_c(courses, Reader(UTC, "F")) == pytest.approx((76.0 - 32.0) / 1.8)
    assert course.even_temp_c([went(1, 1.0, 2.0)], Reader(UTC)) is None


def test_near_freezing_two_hours_become_more_than_a_hundred() -> None:
    cold = went(1, 1.0, 2.0, 1.0)
    factor = cold.even_factor(1.0)
    assert factor is not None
    assert factor > 50.0  # to an hour at 27 C; no source has gas end at a degree


def test_batches_whose_warmth_is_not_known_are_left_out_and_named() -> None:
    known, unknown = went(1, 1.0, 2.0, 24.0, equal_hours=np.array([0.0, 2.5])), went(2, 2.0, 2.0)
    names = {BatchId(1): "1 Mar", BatchId(2): "28 Feb"}
    assert set(tables.overlay_frame([known, unknown], names, 24.0)["what"]) == {"1 Mar"}
    assert set(tables.overlay_frame([known, unknown], names, None)["what"]) == {"1 Mar", "28 Feb"}
    said = words.time_words([known, unknown], names, 24.0, TOLD)
    assert "as if it had been at 24 °C throughout" in said
    assert "nobody knows how warm it was: 28 Feb" in said


def test_what_warmth_explains_is_told_apart_from_what_it_does_not() -> None:
    pace = float(relative_rate(24.0) / relative_rate(21.0))
    cold = [went(1, 1.0, 2.0 * pace, 21.0), went(2, 2.0, 2.0, 24.0), went(3, 3.0, 2.0, 24.0)]
    assert words.newest_sentence(cold, 24.0, TOLD).endswith("just as long: its warmth explains it.")
    weak = [went(1, 1.0, 3.0, 24.0), *cold[1:]]
    assert "took 1 h longer than the others" in words.newest_sentence(weak, 24.0, TOLD)
    assert "as if all at 24 °C, 1 h longer." in words.newest_sentence(weak, 24.0, TOLD)
    assert words.newest_sentence(weak[:1], 24.0, TOLD) == ""


# -- the table


def test_the_table_shows_what_differs_in_the_formula_and_nothing_empty() -> None:
    lean = Formula(flour_g=1000.0, water_g=620.0, salt_g=20.0, instant_yeast_g=8.0)
    courses = [
        replace(went(1, 1.0, 2.0), batch=ended(1, formula=replace(lean, water_g=670.0))),
        replace(went(2, 2.0, 2.0), batch=ended(2, formula=lean)),
    ]
    said = {BatchId(2): Judgement(NOW, Verdict.OVER, "new flour")}
    newer, older = words.key_figures(courses, said, None, TOLD)
    assert newer["made with"] == "yeast 0.8 %, water 67 %"
    assert older["made with"] == "yeast 0.8 %, water 62 %"
    assert (newer["verdict"], older["verdict"]) == ("", "over: new flour")
    assert "dough" not in newer
    assert "waited for" not in newer


def test_more_of_everything_is_the_same_formula() -> None:
    lean = Formula(flour_g=1000.0, water_g=620.0, salt_g=20.0, instant_yeast_g=8.0)
    parts = [course.parts_pct(ended(1, formula=each)) for each in (lean, lean.scaled_to_flour(2400.0))]
    assert course.differing(parts) == []
    assert course.differing([parts[0], {}]) == []


def test_a_change_of_formula_or_band_is_marked_where_it_came() -> None:
    lean = Formula(flour_g=1000.0, water_g=620.0, instant_yeast_g=8.0)
    batches = [
        ended(1, 9.0, formula=lean),
        ended(2, 8.0, formula=lean),
        ended(3, 7.0, formula=replace(lean, instant_yeast_g=4.0)),
        ended(4, 6.0, formula=replace(lean, instant_yeast_g=4.0), target=Target(60.0)),
    ]
    courses = [replace(went(1, 1.0, 2.0), batch=batch) for batch in reversed(batches)]
    said = words.changes_sentence(courses, TOLD)
    assert said == "Made otherwise from: 23 Feb yeast 0.8 % → 0.4 %; 24 Feb band 60 % up."
    assert course.same_target_pct(courses) is None
    assert course.same_target_pct(courses[1:]) == 80.0


def test_what_is_saved_has_every_batch_and_no_number_that_nobody_knows() -> None:
    known = went(1, 1.0, 2.0, 24.0, equal_hours=np.array([0.0, 2.5]), halfway=HalfwayForecast(1.8, 2.0, None))
    unknown = went(2, 2.0, None)
    names = {BatchId(1): "1 Mar", BatchId(2): "28 Feb"}
    curves = tables.curves_table([known, unknown], names, 24.0)
    assert list(curves["since_start_h"]) == [0.0, 3.0, 0.0, 3.0]
    assert list(curves["even_h"].isna()) == [False, False, True, True]
    batches = tables.batches_table([known, unknown], 24.0, Reader(UTC, "F"))
    assert batches["dough_f"][0] == pytest.approx(75.2)
    assert list(batches["ready_even_h"]) == pytest.approx([2.0, float("nan")], nan_ok=True)
    assert str(batches["began_local"][0]).startswith("2026-03-01T09:36:00")
    assert list(tables.forecast_results_table([known, unknown], TOLD)["forecast"]) == ["inside", "none"]


# -- over the weeks


def test_a_trend_of_five_minutes_a_day_is_found_through_an_odd_day() -> None:
    hours = [2.0 + k / 12.0 for k in range(8)]
    hours[3] = 9.0
    rows = tables.trend_frame([went(k, 20.0 - k, at_h) for k, at_h in enumerate(hours)], None, UTC)
    slope = trend.slope_by_day(rows, "hours")
    assert slope is not None
    assert slope.per_day == pytest.approx(1.0 / 12.0)
    assert slope.is_clear
    line = trend.trend_line(rows, "hours")
    assert list(line["value"]) == pytest.approx([2.0, 2.0 + 7.0 / 12.0])
    assert "by the clock 35 min longer each week" in words.trend_sentence(rows, None, TOLD)


def test_chance_is_not_called_a_trend() -> None:
    rows = tables.trend_frame([went(k, 20.0 - k, at) for k, at in enumerate([2.0, 2.3, 1.9, 2.2, 2.1, 2.0])], None, UTC)
    assert trend.trend_line(rows, "hours").empty
    assert "no change that could be told from chance" in words.trend_sentence(rows, None, TOLD)


def test_a_trend_that_warmth_makes_is_none_at_equal_warmth() -> None:
    temps = [26.0, 25.4, 25.0, 24.3, 24.0, 23.1, 22.8]
    jitter = [0.01, -0.02, 0.0, 0.02, -0.01, 0.01, -0.01]
    courses = [
        went(k, 50.0 - 7 * k, (2.0 + jitter[k]) / float(relative_rate(temp)), temp) for k, temp in enumerate(temps)
    ]
    said = words.trend_sentence(tables.trend_frame(courses, 24.0, UTC), 24.0, TOLD)
    assert "longer each week" in said
    assert "as if all at 24 °C no change that could be told from chance" in said
    assert "The dough became 0.5 °C colder a week." in said


@pytest.mark.parametrize("days", [0, 1, 2, 4])
def test_too_few_days_are_said_instead_of_a_trend(days: int) -> None:
    rows = tables.trend_frame([went(k, 20.0 - k, 2.0 + k) for k in range(days)], None, UTC)
    assert "5 are the least that can tell a trend" in words.trend_sentence(rows, None, TOLD)
    assert trend.trend_line(rows, "hours").empty


def test_tubs_of_one_day_are_one_witness() -> None:
    courses = [went(10 * day + tub, 9.0 - day + tub / 1000.0, 2.0 + day) for day in range(3) for tub in range(5)]
    slope = trend.slope_by_day(tables.trend_frame(courses, None, UTC), "hours")
    assert slope is not None
    assert (slope.per_day, slope.low) == (1.0, None)


def test_a_day_that_was_never_ready_is_left_out_of_the_trend() -> None:
    courses = [went(k, 9.0 - k, None if k == 2 else 2.0 + k) for k in range(6)]
    slope = trend.slope_by_day(tables.trend_frame(courses, None, UTC), "hours")
    assert slope is not None
    assert slope.per_day == pytest.approx(1.0)


@pytest.mark.parametrize("n", [5, 9])
def test_the_interval_of_no_trend_leaves_out_nothing_no_more_often_than_it_says(n: int) -> None:
    rng = np.random.default_rng(20260302)
    claimed = sum(slope.is_clear for _ in range(600) if (slope := trend.slope_of(np.arange(n), rng.normal(size=n))))
    assert claimed <= 600 * trend.ALPHA * 1.3


def test_the_interval_for_seven_days_is_the_one_worked_out_by_hand() -> None:
    # Orders of 7 days with 0, 1, 2, 3, 4 inversions: 1, 6, 20, 49, 98 of 5040. At most 3 has a chance of 1.5 %, at most
    # 4 of 3.5 %: so the fourth slope from either end keeps 2.5 % on its side.
    slope = trend.slope_of(range(7), [0.0, 1.0, 4.0, 9.0, 16.0, 25.0, 36.0])
    pairs = sorted(i + j for i in range(7) for j in range(i + 1, 7))  # (j^2 - i^2) / (j - i)
    assert slope == trend.Slope(float(np.median(pairs)), float(pairs[3]), float(pairs[-4]))


@pytest.mark.parametrize("module", [trend], ids=["trend"])
def test_examples_in_the_descriptions_hold(module: object) -> None:
    result = doctest.testmod(module)  # type: ignore[arg-type]
    assert (result.failed, result.attempted > 0) == (0, True)
