"""The replay contract, which other programs read."""

import io
import json
import random
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from monitor.archive.replay import read_batch, read_readings, replay
from monitor.dough.forecast import outlook
from monitor.dough.outlook import KeptText
from monitor.errors import ConfigError

BATCH_TOML = """
name = "Barley round, tub 2"
stage = "first rise"
started = 2026-03-02T05:40:00Z
target_rise_pct = 75

[vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 300

[formula]
flour_g = 1000
water_g = 700
salt_g = 20
instant_yeast_g = 4

[[events]]
time = 2026-03-02T06:10:00Z
kind = "fold"
"""
HEADER = "time,air_temp_c,humidity_pct,dough_temp_c,distance_mm"
KEYS = [
    "time", "rise_pct", "rise_pct_p05", "rise_pct_p95", "ready_p05", "ready_p50", "ready_p95",
    "peak_p05", "peak_p50", "peak_p95", "state", "why",
]  # fmt: skip


def rows(until_min=90, gap=(40, 60)):
    rng = random.Random(3)
    for minute in range(-5, until_min + 1):
        if gap[0] < minute < gap[1]:
            continue
        hour, rest = divmod(5 * 60 + 40 + minute, 60)
        rise = max(0.0, minute - 20) * 0.35
        yield f"2026-03-02T{hour:02d}:{rest:02d}:00Z,25.1,70.2,25.4,{230 - rise + rng.gauss(0, 0.5):.1f}"


@pytest.fixture
def files(tmp_path):
    def write(lines, batch=BATCH_TOML):
        readings, toml = tmp_path / "READINGS.csv", tmp_path / "BATCH.toml"
        readings.write_text("\r\n".join([HEADER, *lines]) + "\r\n")
        toml.write_text(batch)
        return readings, toml

    return write


def run(readings: Path, toml: Path, every_min: float = 15):
    out, err = io.StringIO(), io.StringIO()
    replay(readings, toml, timedelta(minutes=every_min), outlook, out, err)
    return out.getvalue(), err.getvalue()


def test_one_line_at_each_step_also_across_gaps(files):
    out, err = run(*files(rows()))
    lines = [json.loads(line) for line in out.splitlines()]
    assert [line["time"][11:16] for line in lines] == ["05:40", "05:55", "06:10", "06:25", "06:40", "06:55", "07:10"]
    assert all(list(line)[: len(KEYS)] == KEYS for line in lines)
    assert lines[0]["rise_pct"] is None
    assert all(line["rise_pct"] is not None for line in lines[1:])
    assert err == ""


def test_shuffled_and_repeated_rows_give_the_same_bytes(files):
    ordered = list(rows())
    shuffled = ordered + ordered[::3]
    random.Random(1).shuffle(shuffled)
    first = run(*files(ordered))[0]
    assert run(*files(shuffled))[0] == first
    assert run(*files(ordered))[0] == first


@pytest.mark.parametrize("closed_after", [None, 30])
def test_an_open_quote_is_named_with_its_row_and_swallows_nothing(files, closed_after):
    lines = list(rows())
    lines[4] = lines[4].replace(",25.1", ',"25.1')
    if closed_after is not None:
        lines[4 + closed_after] = lines[4 + closed_after].replace("25.1", '25.1"')
    with pytest.raises(ConfigError, match=r"row 6: .* a quotation mark that opens there"):
        run(*files(lines))


def test_a_line_knows_nothing_of_what_comes_after_it(files):
    whole = run(*files(rows()))[0].splitlines()
    part = run(*files(rows(until_min=35)))[0].splitlines()
    assert whole[: len(part)] == part
    without_fold = BATCH_TOML[: BATCH_TOML.index("[[events]]")]
    assert run(*files(rows(), without_fold))[0].splitlines()[:2] == whole[:2]


def test_columns_may_be_reordered_absent_or_more_and_times_carry_offsets(files, tmp_path):
    readings, toml = files(rows())
    expected = run(readings, toml)[0]
    lines = []
    for line in readings.read_text().splitlines()[1:]:
        time, air, humidity, dough, distance = line.split(",")
        hour = int(time[11:13]) + 2
        lines.append(f"{distance},note,{time[:11]}{hour:02d}{time[13:19]}.000+02:00,{dough},{air},{humidity}")
    other = tmp_path / "OTHER.csv"
    other.write_text("distance_mm,remark,time,dough_temp_c,air_temp_c,humidity_pct\n" + "\n".join(lines) + "\n")
    assert run(other, toml)[0] == expected


def test_bad_cells_are_named_counted_and_left_out(files):
    bad = ["2026-03-02T06:00:00Z,25,70,warm,231", "yesterday,25,70,25,230", "2026-03-02T06:01:00Z,nan,70,25,1e400"]
    readings, toml = files([*rows(), *bad])
    out, err = run(readings, toml)
    assert "dough_temp_c 'warm' is no number" in err
    assert "row " in err
    assert "yesterday" in err
    assert "3 rows with something left out" in err
    assert len(out.splitlines()) == 7


def test_a_blank_cell_is_a_missing_value(files):
    readings, _ = files(["2026-03-02T06:00:00Z,,70,,"])
    assert [reading.channel for reading in read_readings(readings, io.StringIO())] == ["humidity_pct"]


def test_no_usable_reading_gives_no_line_and_says_so(files):
    out, err = run(*files([row for row in rows() if row < "2026-03-02T05:40"]))
    assert out == ""
    assert "no reading at or after the start" in err


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"\xff\xfe\x00", "UTF-8"), (b"when,distance_mm\n1,2\n", "no column 'time'"), (None, "cannot be read")],
)
def test_an_unreadable_file_is_one_clear_error(tmp_path, content, word):
    path = tmp_path / "READINGS.csv"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ConfigError, match=word):
        read_readings(path, io.StringIO())


def test_a_broken_batch_file_names_file_and_fault(tmp_path):
    path = tmp_path / "BATCH.toml"
    path.write_text("name = ")
    with pytest.raises(ConfigError, match=r"BATCH\.toml: is no TOML file"):
        read_batch(path)


def test_the_forecast_is_for_the_batch_as_known_at_each_line(files):
    seen = []

    def spy(batch, track, at):
        seen.append((at, batch.events))
        return replace(outlook(batch, track, at), why=KeptText("seen", "en"))

    readings, toml = files(rows())
    replay(readings, toml, timedelta(minutes=15), spy, io.StringIO(), io.StringIO())
    assert [len(events) for _, events in seen] == [0, 0, 1, 1, 1, 1, 1]
