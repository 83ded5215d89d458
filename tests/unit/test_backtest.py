"""The parts of a back-test: judged moments, baselines, calibration, calls, tables."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from monitor.backtest.baselines import (
    BASELINES,
    CLOCK,
    GROWTH,
    HORIZON_S,
    LINE,
    TREND,
    BaselineInput,
    Baselines,
    RecipeClock,
    TrainingOutcome,
    clock_from,
)
from monitor.backtest.conformal import PointForecast, calibrate
from monitor.backtest.evaluation import ESTIMATOR, LEVELS, METHODS, Forecast, ReadyCall, called_s, cross_validated
from monitor.backtest.local_trend import Course, TrendNumbers, follow, tuned
from monitor.backtest.recordings import Labels, Moment, Recording, load_recording, moments_of
from monitor.backtest.simulated import default_cache, version_of_simulators
from monitor.backtest.table import call_rows_of, rows_of, text_of
from monitor.dough.growth_fit import gompertz_curve
from monitor.dough.learning import PEAK, READY
from monitor.dough.outlook import Moments, Outlook, State
from monitor.dough.track import Track
from monitor.errors import ConfigError
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel

START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
LABELS = Labels("lean", "digital", "steady room", "none", "rise")
BATCH = Batch(
    BatchId(0), "invented", Stage.FIRST_RISE, START, Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 200.0, 260.0)
)
HOUR = 3600.0


def recording(*, rise_pct, ready_h, peak_h, last_fold_h=0.0, target_pct: float | None = 100.0, every_s=60.0):
    return Recording(
        name="invented",
        batch=replace(BATCH, target=Target(target_pct)),
        track=Track(),
        labels=LABELS,
        ready_s=ready_h * HOUR,
        peak_s=peak_h * HOUR,
        last_fold_s=last_fold_h * HOUR,
        rise_t_s=np.arange(len(rise_pct)) * every_s,
        rise_pct=np.asarray(rise_pct, dtype=float),
    )


# -- judged moments ---------------------------------------------------------------------------------------------------


def test_ready_is_judged_at_shares_of_the_target_and_peak_at_shares_of_the_time():
    found = moments_of(recording(rise_pct=np.linspace(0.0, 120.0, 181), ready_h=2.5, peak_h=3.0))
    assert [(m.what, m.share, round(m.at_s / HOUR, 2)) for m in found] == [
        (READY, 0.25, 0.63), (READY, 0.50, 1.25), (READY, 0.75, 1.88),
        (PEAK, 0.25, 0.75), (PEAK, 0.50, 1.50), (PEAK, 0.75, 2.25),
    ]  # fmt: skip


def test_nothing_is_judged_before_the_last_fold():
    rise = np.concatenate([np.linspace(0.0, 60.0, 61), np.linspace(30.0, 110.0, 90)])
    found = moments_of(recording(rise_pct=rise, ready_h=2.4, peak_h=2.5, last_fold_h=1.0))
    assert [m.share for m in found if m.what == READY] == [0.25, 0.50, 0.75]
    assert found[0].at_s == pytest.approx(61 * 60.0)  # at a quarter already when the fold was over
    assert [m.share for m in found if m.what == PEAK] == [0.50, 0.75]


def test_a_dough_judged_by_its_peak_is_never_ready_before():
    found = moments_of(recording(rise_pct=np.linspace(0.0, 90.0, 121), ready_h=2.0, peak_h=2.0, target_pct=None))
    assert {m.what for m in found} == {PEAK}


def test_a_target_never_reached_is_judged_all_the_same():
    found = moments_of(recording(rise_pct=np.linspace(0.0, 60.0, 121), ready_h=np.inf, peak_h=np.inf))
    assert [(m.what, m.share, m.truth_s) for m in found] == [(READY, 0.25, np.inf), (READY, 0.50, np.inf)]


# -- recordings -------------------------------------------------------------------------------------------------------


def write_recording(folder: Path, **truth: object) -> Path:
    folder.mkdir()
    rows = ["time,distance_mm"]
    for minute in range(0, 181, 2):
        rows.append(f"{(START + timedelta(minutes=minute)).isoformat()},{200.0 - 0.5 * minute:.1f}")
    (folder / "READINGS.csv").write_text("\n".join(rows) + "\n")
    (folder / "BATCH.toml").write_text(
        f'name = "invented"\nstage = "first rise"\nstarted = {START.isoformat()}\ntarget_rise_pct = 100\n'
        '[vessel]\nshape = "round"\nbase_mm = 200\ndepth_mm = 200\nsensor_to_base_mm = 260\n'
    )
    if truth:
        (folder / "truth.json").write_text(json.dumps(truth))
        (folder / "truth.csv").write_text(f"time,rise_pct\n{START.isoformat()},\n{START.isoformat()},12.5\n")
    return folder


def judged(batch, track, at):
    """An estimator that knows this dough: doubled after two hours, peak after 2 h 50 min."""
    ready, peak = (START + timedelta(minutes=minutes) for minutes in (120, 170))
    return Outlook(at, State.PAST_PEAK, ready=Moments(p50=ready), peak=Moments(p50=peak))


def test_truth_is_read_where_it_is_told(tmp_path):
    ready_at = (START + timedelta(minutes=95)).isoformat()
    found = load_recording(write_recording(tmp_path / "a", ready_at=ready_at, peak_at=None), judged)
    assert (found.ready_s, found.peak_s) == (95 * 60.0, np.inf)
    assert found.rise_pct.tolist() == [12.5]


def test_without_a_truth_the_whole_recording_shows_it(tmp_path):
    found = load_recording(write_recording(tmp_path / "a"), judged)
    assert (found.ready_s, found.peak_s) == (120 * 60.0, 170 * 60.0)
    assert np.all(np.diff(found.rise_pct) > -1e-9)
    assert found.rise_pct[-1] == pytest.approx(141.9, abs=5.0)  # 88 mm over 62 at the lowest


def test_what_lies_beyond_a_recording_is_not_known(tmp_path):
    def later(batch, track, at):
        return Outlook(at, State.RISING, ready=Moments(p50=at + timedelta(minutes=5)))

    found = load_recording(write_recording(tmp_path / "a"), later)
    assert (found.ready_s, found.peak_s) == (np.inf, np.inf)


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("truth.json", "{", "is no JSON"),
        ("truth.json", "[]", "one JSON object"),
        ("truth.json", '{"ready_at": "at nine"}', "is no moment"),
        ("truth.csv", "time\n", "rise_pct"),
        ("truth.csv", "time,rise_pct\n2026-03-02T05:00:00Z,much\n", "must be a number"),
    ],
)
def test_a_truth_that_cannot_be_read_is_told_with_its_file(tmp_path, name, text, message):
    folder = write_recording(tmp_path / "a", ready_at=None, peak_at=None)
    (folder / name).write_text(text)
    with pytest.raises(ConfigError, match=message) as told:
        load_recording(folder, judged)
    assert name in str(told.value)


# -- baselines -----------------------------------------------------------------------------------------------------


def view(rise, *, t_h, now_h=None, folds_h=(), sd=0.01):
    t_h = np.asarray(t_h, dtype=float)
    course = Course(t_h, np.asarray(rise, dtype=float), np.full(t_h.size, sd), folds_h)
    return BaselineInput((t_h[-1] if now_h is None else now_h) * HOUR, 1.0, course)


CLOCK_OF_3_H = RecipeClock({(READY, ("all",)): 3.0 * HOUR, (PEAK, ("all",)): 4.0 * HOUR}, {("all",): 1.5})
TRAINED = Baselines(CLOCK_OF_3_H, TrendNumbers())


def test_the_clock_knows_the_narrowest_group_it_has_seen_often_enough():
    outcomes = [TrainingOutcome(LABELS, 2.0 * HOUR, 3.0 * HOUR, 1.2)] * 6 + [
        TrainingOutcome(replace(LABELS, history="cold proof"), 8.0 * HOUR, 9.0 * HOUR, 1.1)
    ] * 5
    clock = clock_from(outcomes)
    assert clock.time_s(READY, LABELS) == 2.0 * HOUR
    assert clock.time_s(READY, replace(LABELS, history="cold proof")) == 2.0 * HOUR  # five are too few: all doughs
    assert clock.time_s(PEAK, replace(LABELS, dough="other", history="other", simulator="other")) == 3.0 * HOUR
    assert clock.peak_frac(LABELS) == 1.2
    assert clock_from([]).time_s(READY, LABELS) is None


@pytest.mark.parametrize("method", [LINE, TREND])
def test_a_steady_rise_is_forecast_exactly(method):
    t_h = np.arange(0.0, 1.01, 0.05)
    point = TRAINED.point_forecast(method, READY, LABELS, view(0.4 * t_h, t_h=t_h))
    assert point is not None
    assert point.ahead_s == pytest.approx(1.5 * HOUR, rel=0.01)
    assert point.sd_s is not None
    assert point.sd_s > 0.0


def test_a_growth_curve_is_forecast_nearly():
    t_h = np.arange(0.0, 2.01, 0.05)
    true = np.array([[2.2, 0.9, 0.8]])
    rise = gompertz_curve(t_h, true)[0]
    reached_h = np.interp(1.0, gompertz_curve(np.arange(0.0, 6.0, 0.01), true)[0], np.arange(0.0, 6.0, 0.01))
    point = TRAINED.point_forecast(
        GROWTH, READY, LABELS, view(0.85 * rise / rise[-1] * rise[-1] / 0.85, t_h=t_h, sd=0.001)
    )
    assert point is not None
    assert point.ahead_s == pytest.approx((reached_h - 2.0) * HOUR, rel=0.05)


@pytest.mark.parametrize("method", [LINE, GROWTH, TREND])
def test_a_dough_that_does_not_rise_gives_an_alternative_nothing_to_say(method):
    assert TRAINED.point_forecast(method, READY, LABELS, view([0.0] * 30, t_h=np.arange(30) / 20.0)) is None


@pytest.mark.parametrize("method", [LINE, GROWTH, TREND])
def test_no_alternative_speaks_without_heights(method):
    nothing = BaselineInput(HOUR, 1.0, Course(np.empty(0), np.empty(0), np.empty(0)))
    assert TRAINED.point_forecast(method, READY, LABELS, nothing) is None


def test_a_line_begins_anew_after_a_fold():
    t_h = np.arange(0.0, 1.01, 0.05)
    rise = np.where(t_h > 0.7, 0.4 * t_h - 0.2, 0.4 * t_h)
    point = TRAINED.point_forecast(LINE, READY, LABELS, view(rise, t_h=t_h, folds_h=(0.7,)))
    assert point is not None
    assert point.ahead_s == pytest.approx(2.0 * HOUR, rel=0.02)


def test_a_fitted_curve_is_told_what_a_fold_took():
    t_h = np.arange(0.0, 2.51, 0.05)
    true = np.array([[2.2, 0.9, 0.8]])
    rise = gompertz_curve(t_h, true)[0] - np.where(t_h > 1.5, 0.3, 0.0)
    late_h = np.arange(0.0, 6.0, 0.01)
    reached_h = np.interp(1.3, gompertz_curve(late_h, true)[0], late_h)
    point = TRAINED.point_forecast(GROWTH, READY, LABELS, view(rise, t_h=t_h, folds_h=(1.5,), sd=0.001))
    assert point is not None
    assert point.ahead_s == pytest.approx((reached_h - 2.5) * HOUR, rel=0.25)


def test_a_filter_tuned_on_its_own_model_finds_its_numbers():
    rng, true = np.random.default_rng(5), TrendNumbers(level_q=1e-4, slope_q=0.05, scatter=2.0)
    courses = []
    for _ in range(20):
        level, slope, levels = 0.0, 0.3, []
        for _ in range(60):
            level += slope * 0.05 + rng.normal(0.0, np.sqrt(true.level_q * 0.05))
            slope += rng.normal(0.0, np.sqrt(true.slope_q * 0.05))
            levels.append(level)
        seen = np.array(levels) + rng.normal(0.0, 0.01 * true.scatter, 60)
        courses.append(Course(0.05 * np.arange(1, 61), seen, np.full(60, 0.01)))
    found = tuned(courses)
    assert found.scatter == pytest.approx(true.scatter, rel=0.15)
    assert found.slope_q == pytest.approx(true.slope_q, rel=0.6)


def test_a_filter_that_saw_nothing_knows_nothing():
    assert follow(Course(np.empty(0), np.empty(0), np.empty(0)), TrendNumbers()) is None


# -- calibration ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", ["time remaining", "own deviations", "seconds"])
def test_calibrated_intervals_hold_whatever_the_misses_scale_with(scale):
    rng = np.random.default_rng(7)

    def drawn(n):
        point_forecasts, truths = [], []
        for _ in range(n):
            point = PointForecast(rng.uniform(3000.0, 9000.0), rng.uniform(100.0, 3000.0), 3600.0)
            miss = rng.standard_t(4) * {"time remaining": 0.15, "own deviations": 0.3, "seconds": 600.0}[scale]
            point_forecasts.append(point)
            truths.append(max(point.ahead_s + (0.2 + miss) * point.scales_s()[scale], 1.0))
        return point_forecasts, np.array(truths)

    calibration = calibrate(*drawn(400), LEVELS)
    assert calibration.scale == scale
    point_forecasts, truths = drawn(1000)
    quantiles = np.array([calibration.quantiles_s(point, LEVELS) for point in point_forecasts])
    assert np.all(np.diff(quantiles, axis=1) >= 0.0)
    # 400 + 1000 draws: a standard error of about 2 points
    assert np.mean((quantiles[:, 0] <= truths) & (truths <= quantiles[:, -1])) == pytest.approx(0.9, abs=0.05)


def test_what_has_not_come_is_not_forecast_into_the_past():
    calibration = calibrate([PointForecast(1000.0, None, 0.0)] * 50, np.linspace(100.0, 4000.0, 50).tolist(), LEVELS)
    assert np.all(calibration.quantiles_s(PointForecast(-2000.0, None, 3000.0), LEVELS) >= 0.0)
    with pytest.raises(ValueError, match="training"):
        calibrate([], [], LEVELS)


# -- the comparison ------------------------------------------------------------------------------------------------


def test_a_call_is_found_within_two_minutes():
    for ready_s in (500.0, 5000.0, 20_000.0):
        called = called_s(lambda now_s, ready_s=ready_s: ready_s - now_s, 0.0, 30_000.0)
        assert ready_s <= called <= ready_s + 120.0
    assert called_s(lambda _: np.inf, 0.0, 30_000.0) == np.inf


def test_every_recording_of_a_folder_is_judged_once_by_those_it_did_not_teach():
    paths = [Path(str(number)) for number in range(13)]
    splits = cross_validated(paths)
    assert sorted(path for split in splits for path in split.test) == sorted(paths)
    for split in splits:
        assert not set(split.test) & set(split.training)
        assert len(split.test) + len(split.training) == 13
    assert len(cross_validated(paths[:3])) == 3


def forecast(method, true_min, quantiles_min, labels=LABELS):
    return Forecast(
        recording="a",
        labels=labels,
        method=method,
        what=READY,
        share=0.5,
        at_s=0.0,
        true_ahead_s=60.0 * true_min,
        quantiles_s=tuple(60.0 * minute for minute in quantiles_min),
        cost_s=0.01,
    )


def test_a_table_holds_what_can_be_worked_out_by_hand():
    near, far = (40, 45, 50, 60, 70, 75, 80), (100, 110, 115, 120, 125, 130, 140)
    forecasts = [forecast(ESTIMATOR, 66.0, near), forecast(ESTIMATOR, 96.0, near), forecast(CLOCK, 66.0, far)]
    rows = rows_of(forecasts)
    pooled = rows[0]
    assert (pooled.grouping, pooled.method, pooled.n) == ("all", ESTIMATOR, 2)
    assert pooled.median_error_min == pytest.approx(21.0)
    assert pooled.median_error_share == pytest.approx(0.5 * (6 / 66 + 36 / 96))
    assert (pooled.coverage_50, pooled.coverage_80, pooled.coverage_90) == (0.5, 0.5, 0.5)
    assert pooled.winkler_90_min == pytest.approx(40.0 + 0.5 * 20.0 * 16.0)
    assert {row.group for row in rows if row.grouping == "history"} == {"steady room"}
    calls = [ReadyCall("a", LABELS, ESTIMATOR, off_s) for off_s in (-700.0, 0.0, 599.0, np.inf)]
    called = call_rows_of(calls)[0]
    assert (called.n, called.early, called.late) == (4, 0.25, 0.25)
    text = text_of(rows, call_rows_of(calls))
    assert "READY, when 50 % of the target rise is reached" in text
    assert "PEAK" not in text
    assert f"{200.0 / (40.0 + 20.0 * 34.0):.2f}" in text or "ratio" in text


def test_every_method_has_its_row():
    assert (ESTIMATOR, *BASELINES) == METHODS
    assert HORIZON_S == 24 * HOUR
    assert Moment(READY, 0.5, 0.0, np.inf).truth_s == np.inf


def test_recordings_are_kept_under_the_version_of_their_makers(tmp_path):
    assert version_of_simulators() == version_of_simulators()
    assert len(version_of_simulators()) == 12
    assert default_cache({"XDG_CACHE_HOME": str(tmp_path)}).is_relative_to(tmp_path)
