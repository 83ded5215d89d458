"""Tables and charts: thinned, on the baker's clock, honest about gaps and about what nobody knows."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
from grammar import checked

from dashboard.drawing.charts import Mark, air_chart, forecast_chart, rise_chart
from dashboard.drawing.grammar import Drawing
from dashboard.drawing.palette import DAY, NIGHT
from dashboard.drawing.tables import (
    CURVE_POINTS,
    MAX_POINTS,
    dew_point_series,
    event_frame,
    fan_frame,
    forecast_frame,
    keeping_peaks,
    rise_frame,
    series_frame,
    silences,
    thinned,
    worded,
)
from dashboard.drawing.time_axis import ms
from monitor.dough.outlook import Band, FanPoint, Moments, Outlook, State
from monitor.dough.track import EMPTY, Series, track_from_readings
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wording.reader import Reader

TOLD = Reader(UTC)
START = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (230.0, 230.0), 250.0, 320.0)
BATCH = Batch(BatchId(1), "Loaf", Stage.FIRST_RISE, START, TUB)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


READY = Moments(at(80), at(85), at(90), at(95), at(100))


def outlook(minute: float, rise: float | None = 40.0, ready: Moments = READY) -> Outlook:
    band = None if rise is None else Band(rise - 2, rise, rise + 2)
    fan = tuple(FanPoint(at(minute + k), 40.0, 45.0, 50.0, 55.0, 60.0) for k in range(0, 60, 5))
    return Outlook(at(minute), State.RISING, rise_pct=band, ready=ready, fan=fan)


def reading(minute: float, value: float, channel: Channel = Channel.AIR_TEMP, flag: Flag = Flag.OK) -> Reading:
    return Reading(NODE, "0a0a0a0a", int(minute * 60), channel, value, at(minute), at(minute), flag=flag)


def reading_frame(readings: list[Reading], channels: list[tuple[Channel, str]]) -> pd.DataFrame:
    """Some channels as the screens see them: by way of a track."""
    track = track_from_readings(BATCH, readings)
    series = {Channel.AIR_TEMP: track.air_temp_c, Channel.DOUGH_TEMP: track.dough_temp_c}
    return series_frame(BATCH.started_at, {what: series[channel] for channel, what in channels})


def layers(chart: Drawing) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = checked(chart)["layer"]
    return found


def charts_of(count: int) -> dict[str, Drawing]:
    """Each chart, drawn from ``count`` outlooks or readings a minute apart."""
    outlooks = [outlook(float(k), rise=k / 10) for k in range(count)]
    readings = [reading(float(k), 24.0 + k % 3) for k in range(count)]
    span = (ms(at(0)), ms(at(count + 60)))
    events = event_frame([(Event(at(k), EventKind.FOLD), "folded") for k in (10, 20, 25, 300)], TOLD)
    air = reading_frame(readings, [(Channel.AIR_TEMP, "air")])
    newest = outlooks[-1] if outlooks else None
    return {
        "rise": rise_chart(
            rise_frame(outlooks, TOLD), fan_frame(newest, TOLD), events, DAY, TOLD, span=span, target_pct=75.0,
            ready=(span[0], span[0] + 6e5, None), marks=(Mark(span[1], "now"),),
        ),
        "air": air_chart(
            worded(air, "°C", TOLD), {"air": (DAY.water, [])}, DAY, TOLD, span=span, unit="°C", least_span=4.0
        ),
        "forecast": forecast_chart(forecast_frame(outlooks, TOLD), DAY, TOLD, came=Mark(span[0], "09:51"), span=span),
    }  # fmt: skip


@pytest.mark.parametrize("name", ["rise", "air", "forecast"])
@pytest.mark.parametrize("count", [0, 1, 2, 6000])
def test_no_series_has_more_points_than_a_screen_can_show(name: str, count: int) -> None:
    chart = checked(charts_of(count)[name])
    for rows in chart.get("datasets", {}).values():
        assert len(rows) <= MAX_POINTS


def test_a_table_keeps_its_name_from_refresh_to_refresh_and_layers_share_it() -> None:
    chart, later = charts_of(50)["rise"], charts_of(51)["rise"]
    named = [each["data"]["name"] for each in chart.spec()["layer"]]
    assert named == [each["data"]["name"] for each in later.spec()["layer"]]
    assert set(named) == set(chart.tables())
    assert len(set(named)) < len(named)
    assert all(chart.tables()[name] is each.table for name, each in zip(named, chart.layers, strict=True))


@pytest.mark.parametrize("name", ["rise", "air", "forecast"])
def test_charts_show_dial_time_and_fetch_nothing(name: str) -> None:
    text = json.dumps(charts_of(50)[name].carrying())
    assert '"type": "utc"' in text
    assert '"url"' not in text


def test_thinning_keeps_both_ends_and_leaves_short_tables_alone() -> None:
    frame = pd.DataFrame({"at": range(10_000)})
    short = thinned(frame, 100)
    assert len(short) == 100
    assert (short["at"].iloc[0], short["at"].iloc[-1]) == (0, 9999)
    assert thinned(short, 100) is short


def test_a_line_is_not_drawn_across_a_long_silence() -> None:
    frame = reading_frame([reading(k, 25.0) for k in (0, 1, 2, 60, 61)], [(Channel.AIR_TEMP, "air")])
    assert frame["value"].isna().tolist() == [False, False, False, True, False, False]
    assert silences(frame["at"].head(3).to_numpy()).size == 0


@pytest.mark.parametrize("days", [1, 4])
def test_a_long_retard_is_no_silence_however_far_apart_its_drawn_points_are(days: int) -> None:
    t_s = np.arange(0.0, days * 86_400.0, 60.0)
    t_s = t_s[(t_s < 30_000.0) | (t_s > 33_000.0)]  # silent for 50 minutes, once
    value = np.full(t_s.size, 4.0)
    frame = series_frame(START, {"air": Series(t_s, value, np.full(t_s.size, np.nan))})
    assert frame["value"].isna().sum() == 1
    curve = rise_frame([replace(outlook(0.0, 4.0), at=at(float(s) / 60.0)) for s in t_s], TOLD)
    assert curve["mid"].isna().sum() == 1
    assert len(curve) <= CURVE_POINTS + 1


def test_a_curve_of_a_day_keeps_its_peak() -> None:
    most = at(701)
    outlooks = [outlook(float(k), 99.0 if k == 701 else 40.0 + 5.0 * math.sin(k / 200.0)) for k in range(1440)]
    curve = rise_frame(outlooks, TOLD)
    assert curve.loc[curve["mid"].idxmax(), "at"] == ms(most)
    assert curve["words"].iloc[0] == "40 % (38 to 42)"


def test_flagged_readings_are_left_out_of_the_chart() -> None:
    readings = [reading(0, 25.0), reading(1, 99.0, flag=Flag.OUT_OF_RANGE), reading(2, float("nan"))]
    frame = reading_frame(readings, [(Channel.AIR_TEMP, "air")])
    assert frame["value"].tolist() == [25.0]


def test_bakers_of_fahrenheit_read_fahrenheit() -> None:
    frame = worded(reading_frame([reading(0, 25.0)], [(Channel.AIR_TEMP, "air")]), "°F", TOLD)
    assert frame["value"].tolist() == [pytest.approx(77.0)]
    assert frame["words"].tolist() == ["air 77.0 °F"]


def test_dew_point_is_drawn_where_air_was_measured_whole() -> None:
    readings = [
        reading(0, 26.0),
        reading(9, 26.0),
        reading(0.2, 75.0, Channel.HUMIDITY),
        reading(20, 75.0, Channel.HUMIDITY),
    ]
    track = track_from_readings(BATCH, readings)
    dew = dew_point_series(track.air_temp_c, track.humidity_pct)
    assert dew.t_s.tolist() == [0.0]
    assert dew.value[0] == pytest.approx(21.23, abs=0.05)  # 26 C, 75 %: psychrometric tables, 21.2
    assert dew_point_series(track.air_temp_c, EMPTY).t_s.size == 0


def test_a_day_of_readings_keeps_its_peaks() -> None:
    t_s = np.arange(0.0, 86_400.0, 10.0)
    value = 25.0 + np.sin(t_s / 7000.0)
    value[4321], value[6000] = 41.0, 3.0
    drawn = keeping_peaks(Series(t_s, value, np.full(t_s.size, np.nan)), 1000)
    assert drawn.t_s.size <= 1000
    assert (drawn.value.max(), drawn.value.min()) == (41.0, 3.0)
    assert (drawn.t_s[0], drawn.t_s[-1]) == (t_s[0], t_s[-1])
    assert np.all(np.diff(drawn.t_s) > 0.0)


def test_unknown_rise_and_unknown_moments_leave_holes_not_numbers() -> None:
    assert len(rise_frame([outlook(1, None), outlook(2, 10.0)], TOLD)) == 1
    frame = forecast_frame([outlook(1, ready=Moments()), outlook(2, ready=Moments(p50=at(50)))], TOLD)
    assert frame["mid"].isna().tolist() == [True, False]
    assert frame["late"].isna().all()
    assert frame["words"].tolist() == ["05:41: no forecast", "05:42: about 06:30"]


def test_hindsight_is_no_forecast() -> None:
    frame = forecast_frame([outlook(k) for k in (10, 50, 90, 95)], TOLD, last=at(90))
    assert len(frame) == 3


def test_the_forecast_is_two_nested_bands() -> None:
    areas = [layer["encoding"] for layer in layers(charts_of(50)["rise"]) if layer["mark"]["type"] == "area"]
    assert [(area["y"]["field"], area["y2"]["field"]) for area in areas] == [
        ("p05", "p95"),
        ("p25", "p75"),
        ("low", "high"),
    ]


def test_a_peak_target_has_no_band_on_the_chart() -> None:
    empty = event_frame([], TOLD)
    chart = rise_chart(
        rise_frame([outlook(1), outlook(2)], TOLD),
        fan_frame(None, TOLD),
        empty,
        NIGHT,
        TOLD,
        span=(0.0, 1e7),
        target_pct=None,
    )
    assert [layer["mark"]["type"] for layer in layers(chart)] == ["area", "line"]


@pytest.mark.parametrize(
    ("edge", "label"),
    [("", "the band, 75 %"), ("131 to 149 mm up the wall", "the band, 75 %, 131 to 149 mm up the wall")],
)
def test_the_band_is_labelled_with_where_the_edge_stands(edge: str, label: str) -> None:
    history, fan, events = rise_frame([outlook(1), outlook(2)], TOLD), fan_frame(None, TOLD), event_frame([], TOLD)
    chart = rise_chart(history, fan, events, DAY, TOLD, span=(0.0, 1e7), target_pct=75.0, edge=edge)
    said = [row["words"] for table in chart.tables().values() for row in table.to_dict("records") if "words" in row]
    assert label in said


def test_a_far_off_chance_does_not_press_the_curve_flat() -> None:
    history, events = rise_frame([outlook(1), outlook(2)], TOLD), event_frame([], TOLD)
    fan = pd.DataFrame(
        {"at": [1e6, 9e6], "p05": [5.0, 20.0], "p25": [8.0, 50.0], "p50": [10.0, 90.0], "p75": [12.0, 180.0]}
        | {"p95": [15.0, 500.0], "words": ["", ""]}
    )
    chart = rise_chart(history, fan, events, DAY, TOLD, span=(0.0, 1e7), target_pct=75.0)
    drawn = {layer["mark"]["type"]: layer for layer in layers(chart)}
    assert drawn["area"]["encoding"]["y"]["scale"]["domain"] == [0.0, 110.0]
    assert drawn["area"]["mark"]["clip"], "what leaves the picture is cut at its edge"


def test_words_of_crowded_flags_stand_clear() -> None:
    chart = charts_of(50)["rise"]
    texts = [
        layer
        for layer in layers(chart)
        if layer["mark"]["type"] == "text" and layer["encoding"].get("text", {}).get("field") == "what"
    ]
    datasets = chart.carrying()["datasets"]
    words = [[row["what"] for row in datasets[layer["data"]["name"]]] for layer in texts]
    # 110 minutes of axis leave room for a word each 22: at 10, on the high pole at 20, none at 25, and far off again
    assert words == [["folded", "", "folded"], ["folded"]]


def test_axis_never_blows_noise_up_into_weather() -> None:
    frame = reading_frame([reading(k, 25.0 + 0.01 * (k % 2)) for k in range(20)], [(Channel.AIR_TEMP, "air")])
    chart = air_chart(
        worded(frame, "°C", TOLD), {"air": (DAY.water, [])}, DAY, TOLD, span=(0.0, 1e7), unit="°C", least_span=4.0
    )
    low, high = layers(chart)[0]["encoding"]["y"]["scale"]["domain"]
    assert high - low >= 4.0


def test_names_of_lines_that_end_together_stand_clear() -> None:
    channels = [(Channel.AIR_TEMP, "air"), (Channel.DOUGH_TEMP, "dough")]
    readings = [reading(k, 25.0) for k in range(20)] + [reading(k, 25.1, Channel.DOUGH_TEMP) for k in range(20)]
    frame = reading_frame(readings, channels)
    colours = {"air": (DAY.water, []), "dough": (DAY.crust, [])}
    drawn = worded(frame, "°C", TOLD)
    chart = air_chart(drawn, colours, DAY, TOLD, span=(ms(at(0)), ms(at(25))), unit="°C", least_span=4.0)
    datasets = chart.carrying()["datasets"]
    names = [layer for layer in layers(chart) if layer["mark"]["type"] == "text"]
    assert {(layer["encoding"]["x"]["value"], layer["mark"]["align"]) for layer in names} == {("width", "right")}
    (air,), (dough,) = (datasets[layer["data"]["name"]] for layer in names[1::2])  # each over its own edge of paper
    low, high = names[0]["encoding"]["y"]["scale"]["domain"]
    assert dough["value"] - air["value"] >= 0.15 * (high - low)


def test_a_name_stands_at_the_end_of_its_line_where_the_clock_leaves_room() -> None:
    frame = worded(reading_frame([reading(k, 25.0) for k in range(20)], [(Channel.AIR_TEMP, "air")]), "°C", TOLD)
    colours = {"air": (DAY.water, [])}
    chart = air_chart(frame, colours, DAY, TOLD, span=(ms(at(0)), ms(at(60))), unit="°C", least_span=4.0)
    name = layers(chart)[-1]
    assert (name["mark"]["type"], name["encoding"]["x"]["field"]) == ("text", "at")
