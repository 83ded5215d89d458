"""Rows as points: the same row is always the same point, and no two rows are one."""

from datetime import timedelta
from typing import Any

from harness import START

from monitor.alerts.reasons import ReadyExpected
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.shops.points import SLOTS, Point, point_of
from monitor.store.rows import to_json, to_us
from monitor.store.spool import SpoolRow

READING = {
    "node": "urn:dev:mac:020000fffe5e0001",
    "seq": 7,
    "channel": "air_temp_c",
    "value": 25.0,
    "sd": None,
    "measured_us": 1_772_430_000_123_456,
    "flag": "ok",
}
CHANGE = {
    "subject": "batch 47",
    "batch_id": 47,
    "dough": "Linden loaf",
    "kind": "ready soon",
    "episode": 1,
    "at_us": 5,
    "phase": "acknowledged",
    "reason": to_json(ReadyExpected(10.0)),
    "person": "anna",
}


def reading(**other: Any) -> Point:
    return point_of("rye", SpoolRow("reading", 1, {**READING, **other}))


def outlook_point(batch_id: int, outlook: Outlook) -> Point:
    values = {"batch_id": batch_id, "dough": "Linden loaf", "stage": "first rise", "at_us": to_us(outlook.at)}
    return point_of("rye", SpoolRow("outlook", 1, {**values, "body": to_json(outlook)}))


def test_a_reading_is_its_value_at_its_moment() -> None:
    point = reading()
    assert point.tags == {"site": "rye", "node": READING["node"], "channel": "air_temp_c"}
    assert point.fields == {"value": 25.0, "sd": None}
    assert point.time_ns is not None
    assert point.time_ns // 1000 == READING["measured_us"]


def test_a_doubtful_value_stands_apart_from_sound_ones() -> None:
    assert reading(flag="out of range").fields == {"doubtful": 25.0, "sd": None, "flag": "out of range"}


def test_a_level_read_by_eye_makes_no_tag_of_its_batch() -> None:
    point = reading(node="urn:dev:org:32473-eye-12", channel="level_mm", sd=3.0)
    assert point.tags["node"] == "eye"
    assert point.fields == {"value": 25.0, "sd": 3.0, "batch": 12}


def test_packs_of_one_microsecond_are_points_of_their_own() -> None:
    assert len({reading(seq=seq).time_ns for seq in range(1, 1001)}) == 1000


def test_changes_of_one_microsecond_are_points_of_their_own() -> None:
    assert len({point_of("rye", SpoolRow("alert", number, CHANGE)).time_ns for number in range(1, 1001)}) == 1000


def test_an_outlook_is_rise_and_moments_with_their_intervals() -> None:
    ready = Moments(p05=START, p50=START + timedelta(minutes=5))
    point = outlook_point(47, Outlook(START, State.RISING, Band(10.0, 20.0, 30.0), ready))
    fields = {name: value for name, value in point.fields.items() if value is not None}
    assert point.tags == {"site": "rye", "slot": "7"}
    assert fields == {
        "batch": 47, "dough": "Linden loaf", "stage": "first rise", "state": "rising",
        "rise_p05_pct": 10.0, "rise_p50_pct": 20.0, "rise_p95_pct": 30.0,
        "ready_p05_us": to_us(START), "ready_p50_us": to_us(START) + 300_000_000,
    }  # fmt: skip


def test_doughs_of_one_slot_and_one_moment_are_points_of_their_own() -> None:
    outlook = Outlook(START, State.RISING)
    points = [outlook_point(batch_id, outlook) for batch_id in range(1, 1000 * SLOTS + 1)]
    assert len({(point.time_ns, point.tags["slot"]) for point in points}) == 1000 * SLOTS
    assert len({point.tags["slot"] for point in points}) == SLOTS


def test_a_change_of_an_alert_says_what_why_and_who() -> None:
    point = point_of("rye", SpoolRow("alert", 3, CHANGE))
    assert point.tags == {"site": "rye", "kind": "ready soon"}
    assert point.fields == {
        "subject": "batch 47", "batch": 47, "dough": "Linden loaf", "episode": 1, "phase": "acknowledged",
        "reason": "ready_expected", "person": "anna",
    }  # fmt: skip
    by_rule = point_of("rye", SpoolRow("alert", 3, {**CHANGE, "person": "", "reason": ""}))
    assert (by_rule.fields["person"], by_rule.fields["reason"]) == (None, None)
