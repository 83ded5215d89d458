"""The clock strip: where things stand on the shared hours, and how doubt and silence look."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from dashboard.drawing.palette import DAY
from dashboard.drawing.strips import MAX_LABELS, Hours, heard_svg, shared_hours, stretches, strip_svg, ticks
from monitor.dough.outlook import Moments, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.wording.reader import Reader

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
TUB = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 250.0)
HOURS = Hours(NOW - timedelta(hours=2), NOW + timedelta(hours=2))


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def loaf(began_min: float = 120.0, target_pct: float | None = 100.0) -> Batch:
    return Batch(BatchId(1), "Loaf", Stage.FIRST_RISE, NOW - minutes(began_min), TUB, Target(target_pct))


def outlook(early: float | None, middle: float | None, late: float | None, peak: float | None = 90.0) -> Outlook:
    def at(count: float | None) -> datetime | None:
        return None if count is None else NOW + minutes(count)

    return Outlook(
        NOW, State.RISING, ready=Moments(p05=at(early), p50=at(middle), p95=at(late)), peak=Moments(p50=at(peak))
    )


def parts(svg: str, tag: str) -> list[ET.Element]:
    return ET.fromstring(svg).findall(f".//{{http://www.w3.org/2000/svg}}{tag}")


def block(svg: str) -> ET.Element | None:
    found = [rect for rect in parts(svg, "rect") if rect.attrib.get("fill") == "url(#hatch)"]
    return found[0] if found else None


def drawn(batch: Batch, outlook: Outlook | None, **more: datetime | None) -> str:
    return strip_svg(batch, outlook, HOURS, NOW, Reader(UTC), DAY, **more)


def percent(value: str) -> float:
    return float(value.removesuffix("%"))


def test_block_spans_the_doubt_and_the_mark_stands_at_the_middle() -> None:
    svg = drawn(loaf(), outlook(24.0, 36.0, 60.0))
    hatched = block(svg)
    assert hatched is not None
    assert percent(hatched.attrib["x"]) == pytest.approx(60.0)  # 144 of 240 min
    assert percent(hatched.attrib["width"]) == pytest.approx(15.0)  # 36 of 240 min
    marks = [line for line in parts(svg, "line") if line.attrib.get("stroke-width") == "5"]
    assert [percent(mark.attrib["x1"]) for mark in marks] == [pytest.approx(65.0)]


def test_wider_doubt_is_a_wider_block() -> None:
    sure, unsure = (block(drawn(loaf(), outlook(30.0 - d, 30.0, 30.0 + d))) for d in (5.0, 20.0))
    assert sure is not None
    assert unsure is not None
    assert percent(unsure.attrib["width"]) > 3 * percent(sure.attrib["width"])


def test_tail_lasts_from_ready_to_the_peak_and_a_peak_target_has_none() -> None:
    def tails(svg: str) -> list[ET.Element]:
        return [rect for rect in parts(svg, "rect") if rect.attrib.get("stroke-dasharray") == "4 3"]

    (tail,) = tails(drawn(loaf(), outlook(24.0, 36.0, 60.0, peak=96.0)))
    assert percent(tail.attrib["x"]) == pytest.approx(75.0)
    assert percent(tail.attrib["width"]) == pytest.approx(15.0)
    assert tails(drawn(loaf(target_pct=None), outlook(24.0, 36.0, 60.0, peak=36.0))) == []


def test_missing_late_quantile_leaves_the_block_open_to_the_edge() -> None:
    hatched = block(drawn(loaf(), outlook(24.0, 36.0, None)))
    assert hatched is not None
    assert percent(hatched.attrib["x"]) + percent(hatched.attrib["width"]) == pytest.approx(100.0)


def test_ready_beyond_the_hours_is_an_arrow_at_the_edge() -> None:
    svg = drawn(loaf(), outlook(500.0, 600.0, 700.0, peak=None))
    assert block(svg) is None
    assert [nested.attrib["x"] for nested in parts(svg, "svg") if "x" in nested.attrib] == ["100%"]


def test_no_forecast_draws_no_block() -> None:
    assert block(drawn(loaf(), None)) is None
    assert block(drawn(loaf(), outlook(None, None, None, None))) is None


def test_stale_strip_is_grey_up_to_the_last_reading_and_dotted_since() -> None:
    svg = drawn(loaf(), outlook(24.0, 36.0, 60.0), stale_since=NOW - minutes(48.0))
    solid, dotted = (rect for rect in parts(svg, "rect") if rect.attrib.get("height") == "16")
    assert solid.attrib["fill"] == DAY.line
    assert percent(solid.attrib["width"]) == pytest.approx(30.0)
    assert dotted.attrib["stroke-dasharray"] == "1 4"
    assert percent(dotted.attrib["width"]) == pytest.approx(20.0)


def test_shared_hours_hold_every_batch_within_a_shift() -> None:
    hours = shared_hours([(loaf(90.0), outlook(10.0, 20.0, 30.0, 80.0)), (loaf(200.0), None)], NOW)
    assert hours.start == NOW - minutes(200.0)
    assert hours.end == NOW + minutes(85.0)
    night = shared_hours([(loaf(2000.0), outlook(900.0, 1000.0, 1100.0, 2000.0))], NOW)
    assert night.start == NOW - timedelta(hours=6)
    assert night.end == NOW + timedelta(hours=10)


@pytest.mark.parametrize("hours_long", [0.75, 1.0, 2.5, 6.0, 9.0, 16.0])
@pytest.mark.parametrize("zone", [UTC, timezone(timedelta(hours=5, minutes=30))], ids=["utc", "half-hour zone"])
def test_ticks_are_round_on_the_bakers_clock_and_few(hours_long: float, zone: timezone) -> None:
    found = ticks(Hours(NOW - timedelta(hours=hours_long), NOW), Reader(zone))
    assert 2 <= len(found) <= MAX_LABELS
    assert all(word[-2:] in {"00", "10", "15", "20", "30", "40", "45", "50"} for _, word in found)
    assert all(word == f"{at.astimezone(zone):%H:%M}" for at, word in found)


def test_started_after_the_other_is_right_of_it() -> None:
    def left(batch: Batch) -> float:
        return min(
            percent(rect.attrib["x"]) for rect in parts(drawn(batch, None), "rect") if "%" in rect.attrib.get("x", "")
        )

    assert left(loaf(30.0)) > left(loaf(60.0))
    assert left(replace(loaf(), started_at=NOW - timedelta(hours=9))) == 0.0


def test_heard_stretches_break_at_a_silence_and_losses_are_crossed() -> None:
    heard = [NOW - minutes(60.0 - k) for k in range(20)] + [NOW - minutes(20.0 - k) for k in range(10)]
    assert stretches(heard) == [(NOW - minutes(60), NOW - minutes(41)), (NOW - minutes(20), NOW - minutes(11))]
    svg = heard_svg(heard, [NOW - minutes(30)], HOURS, Reader(UTC), DAY)
    assert len(parts(svg, "rect")) == 2
    assert len([nested for nested in parts(svg, "svg") if "x" in nested.attrib]) == 1
    assert stretches([]) == []
