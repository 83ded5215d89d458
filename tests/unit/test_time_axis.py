"""The clock under a chart on days when it is changed: time runs on evenly, and every hour of the day has its words."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from grammar import checked

from dashboard.drawing.charts import Mark, forecast_chart, rise_chart
from dashboard.drawing.palette import DAY
from dashboard.drawing.strips import Hours
from dashboard.drawing.strips import ticks as strip_ticks
from dashboard.drawing.tables import event_frame, fan_frame, forecast_frame, rise_frame
from dashboard.drawing.time_axis import STEPS_MIN, ms, round_moments, ticks
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.wording.reader import Reader

# A night in which clocks are changed, from two hours before to three hours after, and the hours it shows.
PUT_BACK = [
    ("Europe/Vienna", datetime(2026, 10, 24, 23, 0, tzinfo=UTC), ["01:00", "02:00", "02:00", "03:00", "04:00"]),
    ("America/New_York", datetime(2026, 11, 1, 4, 0, tzinfo=UTC), ["00:00", "01:00", "01:00", "02:00", "03:00"]),
]
PUT_ON = [
    ("Europe/Vienna", datetime(2026, 3, 28, 23, 0, tzinfo=UTC), ["00:00", "01:00", "03:00", "04:00", "05:00"]),
    ("America/New_York", datetime(2026, 3, 8, 5, 0, tzinfo=UTC), ["00:00", "01:00", "03:00", "04:00", "05:00"]),
]
HOURS = 4


def span(start: datetime) -> tuple[float, float]:
    return ms(start), ms(start + timedelta(hours=HOURS))


@pytest.mark.parametrize(("zone", "start", "shown"), PUT_BACK + PUT_ON)
def test_every_hour_stands_in_its_place_under_a_chart(zone, start, shown):
    found = ticks(span(start), Reader(ZoneInfo(zone)), most=HOURS + 1)
    assert [lines[0] for _, lines in found] == shown
    assert [at for at, _ in found] == [ms(start + timedelta(hours=k)) for k in range(HOURS + 1)]


@pytest.mark.parametrize(("zone", "start", "shown"), PUT_BACK)
def test_the_hour_that_comes_twice_says_which_it_is(zone, start, shown):
    found = ticks(span(start), Reader(ZoneInfo(zone)), most=HOURS + 1)
    assert [lines[1:] for _, lines in found] == [(), ("summer time",), ("winter time",), (), ()]


@pytest.mark.parametrize(("zone", "start", "shown"), PUT_BACK + PUT_ON)
def test_every_hour_stands_in_its_place_on_a_strip(zone, start, shown):
    found = strip_ticks(Hours(start, start + timedelta(hours=HOURS)), Reader(ZoneInfo(zone)))
    assert [words for at, words in found if at.minute == 0] == shown
    assert all(later - earlier == found[1][0] - found[0][0] for (earlier, _), (later, _) in pairwise(found))


@pytest.mark.parametrize("step_min", STEPS_MIN)
@pytest.mark.parametrize("zone", ["Europe/Vienna", "Asia/Kolkata", "Australia/Lord_Howe", "Asia/Kathmandu"])
def test_round_moments_are_round_on_the_readers_clock_and_in_order(zone, step_min):
    start = datetime(2026, 10, 3, 11, 7, tzinfo=UTC)  # Lord Howe Island puts its clocks on by half an hour that night
    found = round_moments(start, start + timedelta(days=3), step_min, ZoneInfo(zone))
    shown = [at.astimezone(ZoneInfo(zone)) for at in found]
    assert all((60 * local.hour + local.minute) % step_min == 0 and local.second == 0 for local in shown)
    assert all(earlier < later for earlier, later in pairwise(found))
    assert len(found) >= 72 * 60 // step_min - 2


def test_a_dial_of_twelve_hours_is_written_under_the_chart():
    start = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
    found = ticks(span(start), Reader(UTC, clock="12"), most=HOURS + 1)
    words = ["10:00\u00a0AM", "11:00\u00a0AM", "12:00\u00a0PM", "1:00\u00a0PM", "2:00\u00a0PM"]
    assert [lines for _, lines in found] == [(each,) for each in words]
    short = strip_ticks(Hours(start, start + timedelta(hours=HOURS)), Reader(UTC, clock="12"))
    assert [word for at, word in short if at.minute == 0] == [each.replace(":00", "") for each in words]


@pytest.mark.parametrize(("zone", "start", "shown"), PUT_BACK + PUT_ON)
def test_a_curve_runs_on_evenly_through_the_night(zone, start, shown):
    reader = Reader(ZoneInfo(zone))
    outlooks = [Outlook(start + timedelta(minutes=k), State.RISING, rise_pct=Band(1, 2, 3)) for k in range(0, 240, 10)]
    curve = rise_frame(outlooks, reader)
    assert curve["at"].diff().dropna().tolist() == [600_000.0] * 23
    assert not curve["mid"].isna().any()
    chart = rise_chart(
        curve, fan_frame(None, reader), event_frame([], reader), DAY, reader, span=span(start), target_pct=None
    )
    spec = checked(chart)
    axis = spec["layer"][0]["encoding"]["x"]["axis"]
    assert axis["labelExpr"].count(shown[1]) >= 1
    assert len(axis["values"]) == axis["labelExpr"].count('["')


def test_moments_up_a_chart_of_forecasts_are_written_for_the_reader():
    start = datetime(2026, 10, 24, 23, 0, tzinfo=UTC)
    reader = Reader(ZoneInfo("Europe/Vienna"))
    ready = Moments(p05=start + timedelta(hours=1), p50=start + timedelta(hours=2), p95=start + timedelta(hours=3))
    said = forecast_frame([Outlook(start + timedelta(minutes=k), State.RISING, ready=ready) for k in (0, 30)], reader)
    assert said["words"].iloc[0] == "01:00: about 02:00 (winter time), between 02:00 (summer time) and 03:00"
    chart = forecast_chart(said, DAY, reader, came=Mark(ms(start), "01:00"), span=span(start))
    up = checked(chart)["layer"][0]["encoding"]["y"]["axis"]
    assert '["02:00", "summer time"]' in up["labelExpr"]
