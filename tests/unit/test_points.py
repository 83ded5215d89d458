"""Rows as points and back: the same row is always the same point, and no two rows are one."""

import json
from dataclasses import replace
from typing import Any

import pytest

from monitor.shops.points import FAN_POINTS, LONGEST_TEXT, Point, point_of, reading_values, row_values, thinned
from monitor.store.spool import SpoolRow

READING = {
    "node": "urn:dev:mac:020000fffe5e0001",
    "boot": "0a1b2c3d",
    "seq": 7,
    "channel": "air_temp_c",
    "value": 25.0,
    "sd": None,
    "measured_us": 1_772_430_000_123_456,
    "arrived_us": 1_772_430_000_223_456,
    "flag": "ok",
}


def reading(**other: Any) -> SpoolRow:
    return SpoolRow("reading", 1, {**READING, **other})


def read_back(point: Point) -> dict[str, Any]:
    """A point as a query gives it."""
    return {"time": point.time_ns, **point.tags, **{k: v for k, v in point.fields.items() if v is not None}}


@pytest.mark.parametrize(
    "other",
    [
        {},
        {"value": None, "flag": "value"},
        {"value": 312.0, "flag": "range"},
        {"arrived_us": 1_772_430_000_000_000},
        {"measured_us": -5_000_001, "arrived_us": 3},
        {"node": "urn:dev:org:32473-eye-12", "boot": "eye", "channel": "level_mm", "sd": 3.0},
    ],
)
def test_a_reading_comes_back_as_it_was(other: dict[str, Any]) -> None:
    row = reading(**other)
    assert reading_values(read_back(point_of("rye", row))) == row.values


def test_a_doubtful_value_stands_apart_from_sound_ones() -> None:
    fields = point_of("rye", reading(flag="range")).fields
    assert "value" not in fields
    assert fields["doubtful"] == 25.0


def test_packs_of_one_microsecond_are_points_of_their_own() -> None:
    points = [point_of("rye", reading(seq=seq)) for seq in range(1, 1001)]
    assert len({point.time_ns for point in points}) == 1000
    assert {point.time_ns // 1000 for point in points} == {READING["measured_us"]}


def test_rows_of_one_microsecond_are_points_of_their_own() -> None:
    rows = [SpoolRow("event", number, {"at_us": 5, "kind": "fold", "note": ""}) for number in range(1, 20_001)]
    assert len({(point.time_ns, point.tags["slot"]) for point in (point_of("rye", row) for row in rows)}) == 20_000


def test_a_row_that_changes_keeps_its_place() -> None:
    before = SpoolRow("alert", 3, {"subject": "batch 1", "kind": "ready", "episode": 1, "fired_us": None,
                                   "returned_us": None, "since_us": 5, "batch_id": 1}, 4)  # fmt: skip
    after = replace(before, values={**before.values, "since_us": 9, "fired_us": 10})
    first, second = point_of("rye", before), point_of("rye", after)
    assert (first.time_ns, first.tags) == (second.time_ns, second.tags)
    assert row_values(read_back(second)) == after.values


@pytest.mark.parametrize("letter", ["x", "ä", "€", "🜂", '"\\\n'])
def test_a_long_text_is_cut_between_letters_and_put_together_again(letter: str) -> None:
    values = {"name": "tub", "body": letter * 70_000}
    point = point_of("rye", SpoolRow("vessel", 1, values))
    texts = [value for name, value in point.fields.items() if name.startswith("row") and isinstance(value, str)]
    assert len(texts) > 1
    assert max(len(text.encode()) for text in texts) <= LONGEST_TEXT
    assert row_values(read_back(point)) == values


def test_what_is_left_of_a_longer_text_is_not_read() -> None:
    long = point_of("rye", SpoolRow("vessel", 1, {"name": "tub", "body": "x" * 150_000}))
    short = point_of("rye", SpoolRow("vessel", 1, {"name": "tub", "body": "y"}))
    merged = {**read_back(long), **read_back(short)}  # fields of the same point that are not written anew stay
    assert row_values(merged) == {"name": "tub", "body": "y"}


@pytest.mark.parametrize("n", [0, 1, FAN_POINTS, FAN_POINTS + 1, 97])
def test_a_fan_is_thinned_and_keeps_its_ends(n: int) -> None:
    fan = [[k, 1.0 * k] for k in range(n)]
    kept = json.loads(thinned(json.dumps(fan)))
    assert len(kept) == min(n, FAN_POINTS)
    assert kept[:1] == fan[:1]
    assert kept[-1:] == fan[-1:]
    assert kept == sorted(kept)


def test_a_row_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="no row of a table"):
        row_values({"row": "[1]", "row_parts": 1})
