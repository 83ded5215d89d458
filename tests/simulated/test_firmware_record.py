"""Recordings and planned days: the same seed gives the same bytes, and the truth beside them is true."""

import csv
import json
import tomllib
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from firmware_sim.__main__ import main
from firmware_sim.bench.air import air_named
from firmware_sim.bench.bench import Outcomes
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.demo.day import Day, bench_of, plan_day, read_day, write_day

START = datetime(2026, 3, 2, 5, tzinfo=UTC)
FILES = ("READINGS.csv", "BATCH.toml", "truth.json", "truth.csv")


@pytest.fixture(scope="module")
def day() -> Day:
    return plan_day(1, START)


def record(out: Path, *options: str) -> None:
    assert main(["record", "--out", str(out), *options]) == 0


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_same_seed_same_bytes_another_seed_others(tmp_path: Path) -> None:
    for name, seed in (("a", "3"), ("b", "3"), ("c", "4")):
        record(tmp_path / name, "--seed", seed, "--hours", "1")
    for name in FILES:
        first, same, other = ((tmp_path / folder / name).read_bytes() for folder in "abc")
        assert first == same
        assert first != other


def test_ready_is_when_the_true_rise_first_reaches_the_target_after_the_last_fold(tmp_path: Path) -> None:
    record(tmp_path, "--folds", "40,80", "--target", "60", "--hours", "5")
    truth = json.loads((tmp_path / "truth.json").read_text())
    course = [
        (datetime.fromisoformat(row["time"]), float(row["rise_pct"]))
        for row in rows(tmp_path / "truth.csv")
        if row["rise_pct"]
    ]
    first = next(at for at, rise in course if rise >= 60 and at >= START + timedelta(minutes=80))
    assert timedelta() <= first - datetime.fromisoformat(truth["ready_at"]) <= timedelta(seconds=30)
    assert truth["peak_rise_pct"] == pytest.approx(max(rise for _, rise in course), abs=0.5)


def test_untold_folds_happen_and_are_not_written(tmp_path: Path) -> None:
    for name, options in (("told", ()), ("untold", ("--untold-folds",)), ("none", ())):
        folds = () if name == "none" else ("--folds", "60")
        record(tmp_path / name, "--clean", "--hours", "2", *folds, *options)
    events = {
        name: tomllib.loads((tmp_path / name / "BATCH.toml").read_text()).get("events", [])
        for name in ("told", "untold", "none")
    }
    assert [event["kind"] for event in events["told"]] == ["fold"]
    assert events["untold"] == events["none"] == []
    truths = {name: (tmp_path / name / "truth.csv").read_text() for name in events}
    assert truths["told"] == truths["untold"] != truths["none"]


def test_clean_sensors_tell_the_truth(tmp_path: Path) -> None:
    record(tmp_path, "--clean", "--vessel", "rect-straight", "--hours", "2", "--every", "5m")
    vessel = tomllib.loads((tmp_path / "BATCH.toml").read_text())["vessel"]
    area_cm2 = vessel["base_mm"][0] * vessel["base_mm"][1] / 100
    start_ml = json.loads((tmp_path / "truth.json").read_text())["start_volume_ml"]
    last, truth = rows(tmp_path / "READINGS.csv")[-1], rows(tmp_path / "truth.csv")[-1]
    middle_mm, edge_mm = float(truth["centre_mm"]), float(truth["edge_mm"])
    assert vessel["sensor_to_base_mm"] - float(last["distance_mm"]) == pytest.approx(middle_mm, abs=0.06)
    assert 0 < middle_mm - edge_mm < 0.2 * min(vessel["base_mm"])  # it rises, so it domes
    volume_ml = (middle_mm + edge_mm) / 20 * area_cm2
    assert volume_ml == pytest.approx(start_ml * (1 + float(truth["rise_pct"]) / 100), rel=1e-3)


def test_usual_sensors_are_noisy_stepped_and_sometimes_silent(tmp_path: Path) -> None:
    record(tmp_path, "--noise", "rough", "--hours", "10", "--seed", "2")
    read = rows(tmp_path / "READINGS.csv")
    missing = sum(not row["distance_mm"] or not row["air_temp_c"] for row in read)
    assert 0 < missing < len(read) / 3
    heights = [float(row["distance_mm"]) for row in read if row["distance_mm"]]
    jumps = sum(abs(later - earlier) > 30 for earlier, later in pairwise(heights))
    assert jumps > 5
    temps = [float(row["dough_temp_c"]) for row in read if row["dough_temp_c"]]
    assert all(temp * 16 == pytest.approx(round(temp * 16), abs=0.09) for temp in temps)


def test_cold_dough_starts_cold(tmp_path: Path) -> None:
    record(tmp_path, "--room", "fridge-out:4:24", "--hours", "1", "--clean")
    first = rows(tmp_path / "READINGS.csv")[0]
    assert float(first["dough_temp_c"]) < 7
    assert float(first["air_temp_c"]) == pytest.approx(24, abs=1)


def test_moves_in_and_out_of_the_refrigerator_are_told(tmp_path: Path) -> None:
    record(tmp_path, "--room", "retard:24:4:30:90", "--hours", "2", "--clean")
    events = tomllib.loads((tmp_path / "BATCH.toml").read_text())["events"]
    assert [(event["kind"], event["time"] - START) for event in events] == [
        ("move", timedelta(minutes=30)),
        ("move", timedelta(minutes=90)),
    ]


@pytest.mark.parametrize("room", ["", "steady", "steady:warm", "steady:1:2", "moon:3"])
def test_unknown_room_is_refused_with_what_would_be_right(
    room: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["record", "--out", str(tmp_path), "--room", room]) == 2
    assert f"room {room!r}" in capsys.readouterr().err


def test_cabinet_door_drops_the_air_and_it_comes_back() -> None:
    air = air_named("cabinet:30", 1)
    temps = [air.temp_c(30.0 * step) for step in range(600)]
    assert min(temps) < 28.0
    assert 29.0 < sum(temps) / len(temps) < 30.5


def test_a_peak_is_known_only_once_the_dough_has_fallen() -> None:
    outcomes = Outcomes(50.0, last_fold_s=100.0)
    for at_s, rise_pct in ((50.0, 60.0), (110.0, 40.0), (200.0, 55.0), (300.0, 80.0), (400.0, 79.5)):
        outcomes.note(at_s, rise_pct)
    assert (outcomes.outcome.ready_s, outcomes.outcome.peak_s) == (200.0, None)
    outcomes.note(500.0, 78.0)
    assert (outcomes.outcome.peak_s, outcomes.outcome.peak_rise_pct) == (300.0, 80.0)


def test_hand_over_the_sensor_lasts_a_minute_or_two() -> None:
    sensors = Sensors(NOISE["rough"], 7)
    near = [at_s for at_s in range(0, 36_000, 5) if (sensors.distance(float(at_s), 250.0) or 2500) < 950]
    runs = [at_s for at_s in near if all(at_s + ahead in near for ahead in range(5, 40, 5))]
    assert runs


def test_a_day_is_read_back_as_it_was_written(day: Day, tmp_path: Path) -> None:
    write_day(day, tmp_path)
    assert read_day(tmp_path) == day
    assert sorted(path.stem for path in (tmp_path / "batches").glob("*.toml")) == sorted(day.batches)


@pytest.mark.parametrize("seed", [2, 7])
def test_every_dough_of_a_day_plays_its_part_in_time(seed: int) -> None:
    day = plan_day(seed, START)
    for key, batch in day.batches.items():
        bench = bench_of(day, key)
        bench.advance_to(170 * 60.0)
        outcome = bench.outcomes.outcome
        if batch.target_rise_pct is not None:
            assert outcome.ready_s is not None
            assert outcome.ready_s < 140 * 60
        if key == day.left_to_over_proof or batch.target_rise_pct is None:
            assert outcome.peak_s is not None
            assert outcome.peak_s < 140 * 60
        elif outcome.peak_s is not None and outcome.ready_s is not None:
            assert outcome.peak_s > outcome.ready_s + 20 * 60  # nobody else is past its peak when taken


def test_a_day_has_serial_mqtt_and_shared_nodes(day: Day) -> None:
    links = [node.link for node in day.nodes]
    assert links.count("serial") >= 1
    assert links.count("mqtt") >= 2
    shared = [node for node in day.nodes if node.batch is None]
    assert len(shared) == 1
    assert sum(batch.air == shared[0].air for batch in day.batches.values()) >= 2


def test_spoilt_day_is_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "day.json").write_text("{}")
    with pytest.raises(ValueError, match=r"day\.json"):
        read_day(tmp_path)
