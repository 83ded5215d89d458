"""The bench that judges forecasts: its figures on forecasts of known worth, and its knowing forecaster's model."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from accuracy.__main__ import main
from accuracy.figures import course_figures, figures_of, horizon_share, revisions, taken_back
from accuracy.judging import LEVELS, Course, Judged, Look, Run, load_run
from accuracy.knowing import KnownDough, order_of
from accuracy.leave_one_out import left_out, peak_places, quantile_mapping, stage_mapping
from accuracy.tables import against_text, comparison_text, text_of

from firmware_sim.recordings.histories import CLEAN, Wanted, write_history
from monitor.backtest.recordings import load_recording
from monitor.dough.forecast import outlook
from monitor.dough.outlook import State

LABELS = {
    "simulator": "one", "kind": "lean", "trouble": "none", "life": "live", "stage": "first rise", "leaven": "yeast",
    "dough": "x", "history": "x", "folds": "none", "noise": "mild", "probe": "probe", "vessel": "jar",
    "judged_by": "rise",
}  # fmt: skip
N = 4000


def judged(*, late: float = 1.0, wide: float = 1.0, simulator: str = "one", n: int = N, seed: int = 0) -> list[Judged]:
    """Forecasts that are honest, of times that are lognormal, unless they are made late or wide by a factor."""
    rng = np.random.default_rng(seed)
    middle_s = np.exp(rng.normal(np.log(7200.0), 0.4, n))
    truth_s = middle_s * np.exp(rng.normal(0.0, 0.2, n))
    normal = np.array([-1.6449, -1.2816, -0.6745, 0.0, 0.6745, 1.2816, 1.6449])
    quantiles_s = late * middle_s[:, None] * np.exp(0.2 * wide * normal)
    return [
        Judged(
            recording=f"{simulator}-{number}",
            labels=LABELS | {"simulator": simulator},
            checkpoint="ready 50%",
            at_s=1000.0,
            truth_s=1000.0 + truth_s[number],
            quantiles_s=tuple(1000.0 + quantiles_s[number]),
            state="rising",
            rise_pct=(48.0, 51.0, 54.0),
            true_rise_pct=50.0,
        )
        for number in range(n)
    ]


def course(*medians_s: float | None, states: tuple[str, ...] = (), ready_s: float | None = 6000.0) -> Course:
    words = states or ("rising",) * len(medians_s)
    looks = [Look(600.0 * (k + 1), word, at) for k, (at, word) in enumerate(zip(medians_s, words, strict=True))]
    return Course("one-1", LABELS, ready_s, 9000.0, 12000.0, tuple(looks))


def test_levels_are_those_of_the_honest_forecasts_here() -> None:
    assert LEVELS == (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)


def test_honest_forecasts_look_honest() -> None:
    found = figures_of(judged())
    for name, right in (("covers_50", 0.5), ("covers_80", 0.8), ("covers_90", 0.9), ("early_truths", 0.5)):
        assert found[name].value == pytest.approx(right, abs=4.0 * found[name].sd)
    assert found["late_share"].value == pytest.approx(0.0, abs=4.0 * found["late_share"].sd)
    assert found["rise_off_pct"].value == 1.0
    # the median of |exp(x) - 1| over exp(x), x normal with sd 0.2 (computed): about 0.6745 x 0.2
    assert found["error_share"].value == pytest.approx(0.6745 * 0.2, rel=0.05)


def test_late_and_narrow_forecasts_are_seen_through() -> None:
    late, narrow = figures_of(judged(late=1.2)), figures_of(judged(wide=0.3))
    assert late["early_truths"].value > 0.75
    assert late["late_share"].value == pytest.approx(0.2, abs=0.03)
    assert narrow["covers_90"].value == pytest.approx(0.378, abs=0.03)  # within 0.3 x 1.645 sd: from a normal table


def test_the_doubt_of_a_figure_is_that_of_repeated_runs() -> None:
    runs = [figures_of(judged(n=100, seed=seed)) for seed in range(60)]
    for name in ("error_share", "covers_90", "crps_min"):
        spread = float(np.std([found[name].value for found in runs]))
        assert float(np.mean([found[name].sd for found in runs])) == pytest.approx(spread, rel=0.35)


def test_pairs_tell_two_runs_apart_that_single_figures_do_not() -> None:
    before, after = figures_of(judged(n=100)), figures_of(judged(n=100, late=1.02))
    change = before["late_share"].change_to(after["late_share"])
    assert change.value == pytest.approx(0.02, abs=0.005)
    assert change.sd < 0.3 * before["late_share"].sd
    assert before["error_min"].ratio_to(before["error_min"]).value == 1.0


def test_doughs_that_never_come_are_counted_apart() -> None:
    never = [replace(row, truth_s=None) for row in judged(n=10)]
    found = figures_of([*judged(n=10), *never, replace(never[0], quantiles_s=(None,) * 7)])
    assert found["timed_though_never"].value == pytest.approx(10 / 11)
    assert found["covers_90"].value == figures_of(judged(n=10))["covers_90"].value


def test_false_calls_count_only_when_twenty_minutes_early() -> None:
    near = course(6000.0, 6000.0, states=("rising", "ready"), ready_s=2400.0)
    far = course(6000.0, 6000.0, states=("rising", "ready"), ready_s=2401.0)
    found = course_figures([near, far])
    assert found["false_ready"].value == 0.5
    assert found["false_at_peak"].value == 0.0


def test_revisions_that_go_on_correlate_and_those_that_go_back_are_taken_back() -> None:
    onward, back = course(9000.0, 8000.0, 7000.0, 6000.0), course(6000.0, 9000.0, 6000.0, 9000.0)
    assert course_figures([onward])["revisions_correlate"].value > 0.9
    assert course_figures([back])["revisions_correlate"].value < -0.8
    assert taken_back(onward) == (0, 3)
    assert taken_back(back) == (2, 3)
    assert revisions(course(6000.0, None, 6000.0)).tolist() == [0.0]


def test_the_horizon_is_where_medians_come_near_for_good() -> None:
    assert horizon_share(course(6100.0, 9000.0, 6500.0, 6100.0)) == pytest.approx((6000.0 - 1800.0) / 6000.0)
    assert horizon_share(course(6100.0, ready_s=None)) is None


def test_lifeless_doughs_are_told_by_word_and_time() -> None:
    lifeless = replace(
        course(9000.0, None, states=("no rise yet", str(State.NOT_RISING)), ready_s=None),
        labels=LABELS | {"life": "lifeless"},
    )
    found = course_figures([lifeless])
    assert found["lifeless_timed"].value == 0.0
    assert found["lifeless_said_h"].value == pytest.approx(1200.0 / 3600.0)


def test_a_recalibration_is_judged_where_it_was_not_fitted() -> None:
    rows = [
        *judged(late=1.3, simulator="one", n=400),
        *judged(late=1.3, simulator="two", n=400, seed=1),
        *judged(simulator="three", n=400, seed=2),
    ]
    mended = left_out(Run({}, tuple(rows), (), ()), quantile_mapping).judged
    early = {
        simulator: figures_of([row for row in mended if row.labels["simulator"] == simulator])["early_truths"].value
        for simulator in ("one", "two", "three")
    }
    assert early["three"] < 0.2  # the other two taught it a lateness that it has not
    assert 0.35 < early["one"] < 0.85


def test_a_recalibration_by_stage_is_fitted_along_courses_and_judged_at_checkpoints() -> None:
    rows = [
        replace(row, checkpoint="peak 50%", at_s=0.5 * row.truth_s)
        for seed, simulator in enumerate(("one", "two"))
        for row in judged(late=1.3, simulator=simulator, n=200, seed=seed)
        if row.truth_s is not None
    ]
    courses = [
        Course(
            row.recording, row.labels, row.truth_s, row.truth_s, 9e4, (Look(row.at_s, "rising", None, row.quantiles_s),)
        )
        for row in rows
    ]
    run = Run({}, tuple(rows), tuple(courses), ())
    places = peak_places(run)["first rise"]
    assert places[3] < -0.2  # truths lie before the middle
    before, after = (figures_of(each.judged)["early_truths"].value for each in (run, left_out(run, stage_mapping)))
    assert before > 0.7
    assert after == pytest.approx(0.5, abs=0.1)


def test_a_run_is_kept_and_shown(tmp_path: Path) -> None:
    run = Run({"seeds": "0:1"}, tuple(judged(n=20)), (course(9000.0, 7000.0),), (0.02,))
    run.save(tmp_path / "run.json")
    again = load_run(tmp_path / "run.json")
    assert again == run
    assert "READY 50%" in text_of(again)
    assert "20 of 20 and 20 forecasts" in comparison_text(run, again)
    assert "1.00±0.00" in against_text(run, again)


def test_each_aim_is_told_to_be_met_or_not() -> None:
    rows = [*judged(n=200), *judged(n=200, simulator="two", late=1.5, seed=1)]
    told = {line.split()[2]: line.split()[3:] for line in text_of(Run({}, tuple(rows), (), ())).splitlines()
            if line.startswith("ready 50% ")}  # fmt: skip
    assert told["early_truths"][2:] == ["no", "1", "of", "2,", "1", "surely", "not"]
    honest = text_of(Run({}, tuple(rows[:200]), (), ()))
    assert [line.split()[5] for line in honest.splitlines() if line.startswith("ready 50% ")] == ["yes", "yes"]


def test_the_command_records_judges_keeps_and_compares(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    where = ["--simulator", "digital", "--seeds", "2100:2101", "--cache", str(tmp_path / "cache"), "--cores", "1"]
    assert main([*where, "--catalogue", "clean", "--out", str(tmp_path / "run.json")]) == 0
    assert main(["--read", str(tmp_path / "run.json"), "--compare", str(tmp_path / "run.json")]) == 0
    shown = capsys.readouterr().out
    assert "recordings 1," in shown
    assert "before > after" in shown


@pytest.mark.parametrize("simulator", ["digital", "bubble", "wild", "viscoelastic"])
def test_the_knowing_forecaster_has_the_dough_that_was_recorded(simulator: str, tmp_path: Path) -> None:
    write_history(simulator, 2100, tmp_path, Wanted(has_formula=True, catalogue=CLEAN))
    folder = tmp_path / f"{simulator}-02100"
    recording = load_recording(folder, outlook)
    dough = KnownDough(order_of(folder))
    lived = dough.lived(dough.true_numbers)
    rise_pct = np.interp(lived.t_s, recording.rise_t_s, recording.rise_pct)
    inside = lived.t_s < 0.9 * recording.rise_t_s[-1]
    assert np.max(np.abs(lived.rise_pct - rise_pct)[inside]) < 4.0
    assert 2 <= np.sum(dough.is_told) < 6  # of what was weighed, and whether it is a ball
