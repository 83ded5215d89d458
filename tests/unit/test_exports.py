"""What is saved from a screen: pictures on paper, tables with their times and units, names of files that do no harm."""

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from dashboard.drawing import exports, tables
from dashboard.drawing.charts import air_chart
from dashboard.drawing.exports import KINDS, Figure, file_name
from dashboard.drawing.markup import elastic_drawing, element, text
from dashboard.drawing.palette import DAY, FONT, NIGHT, Palette
from dashboard.drawing.tables import series_frame, worded
from monitor.dough.outlook import Band, FanPoint, Moments, Outlook, State
from monitor.dough.track import Series
from monitor.recipe.batch import Event, EventKind
from monitor.wording.reader import Reader

BEGAN = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
BERLIN = ZoneInfo("Europe/Berlin")
AIR = Series(np.array([0.0, 60.0, 120.0]), np.array([24.0, 24.51239, 25.0]), np.full(3, np.nan))
PNG = b"\x89PNG\r\n\x1a\n"


def curve(palette: Palette):
    frame = worded(series_frame(BEGAN, {"air": AIR}), "°C", Reader(UTC))
    span = (float(frame["at"].min()), float(frame["at"].max()))
    return air_chart(frame, {"air": (palette.water, [])}, palette, Reader(UTC), span=span, unit="°C", least_span=4.0)


def strip(palette: Palette) -> str:
    ground = element("rect", width="50%", height=20, fill=palette.line)
    return elastic_drawing(ground + text("06:00", x="5%", y=30, font_family=FONT, fill=palette.muted), 40)


def table() -> pd.DataFrame:
    return tables.series_table(BEGAN, {"air_c": AIR}, BERLIN)


CHART = Figure("Rye <b>& spelt", "temperatures", "Air 25 C & rising.", table, curve)
STRIP = Figure("tub-3", "heard", "Heard 5 s ago.", table, strip)


@pytest.mark.parametrize("figure", [CHART, STRIP])
def test_a_picture_stands_by_day_on_paper_under_its_words_and_needs_nothing_else(figure: Figure) -> None:
    document = KINDS["svg"].made(figure).decode()
    root = ElementTree.fromstring(document)
    words = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert figure.title in words
    assert figure.sentence in words
    assert DAY.paper in document
    assert DAY.line in document or DAY.line.lower() in document
    assert NIGHT.paper not in document
    assert "system-ui" not in document
    assert "href=" not in document


@pytest.mark.parametrize("figure", [CHART, STRIP])
def test_a_png_is_as_wide_as_paper_wants_it(figure: Figure) -> None:
    data = KINDS["png"].made(figure)
    assert data.startswith(PNG)
    assert int.from_bytes(data[16:20], "big") >= exports.SCALE * (exports.WIDTH_PX - 2 * exports.EDGE_PX)


def test_times_are_utc_and_the_readers_clock_and_units_stand_in_the_names() -> None:
    rows = list(csv.reader(io.StringIO(KINDS["csv"].made(CHART).decode(), newline="")))
    assert rows[0] == ["at_utc", "at_local", "air_c"]
    assert rows[1] == ["2026-03-02T06:00:00Z", "2026-03-02T07:00:00+01:00", "24.0"]
    assert rows[2][2] == "24.5124"


def test_the_hour_a_clock_goes_through_twice_stays_two_hours() -> None:
    before = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    twice = tables.clocks([before, before + timedelta(hours=1)], "at", BERLIN)["at_local"]
    assert twice == ["2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"]


def test_parquet_has_the_same_columns_and_moments_for_times() -> None:
    found = pq.read_table(io.BytesIO(KINDS["parquet"].made(CHART)))
    assert found.column_names == ["at_utc", "at_local", "air_c"]
    assert found["at_utc"][1].as_py() == BEGAN + timedelta(minutes=1)
    assert found["air_c"].to_pylist() == [24.0, 24.5124, 25.0]


@pytest.mark.parametrize("words", ["=1+1", "+49 89", "-x", "@SUM(A1)", "\t=1", "'quoted"])
def test_no_text_of_a_baker_becomes_a_formula(words: str) -> None:
    frame = tables.rows_table(["name", "value"], [(words, -0.5)])
    _, row = csv.reader(io.StringIO(exports.csv_of(frame).decode(), newline=""))
    assert row == ["'" + words, "-0.5"]
    assert pq.read_table(io.BytesIO(exports.parquet_of(frame)))["name"].to_pylist() == [words]


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("../../etc/passwd, rise", "etc-passwd-rise-2026-03-02-0700.csv"),
        ("<img src=x onerror=alert(1)>", "img-src-x-onerror-alert-1-2026-03-02-0700.csv"),
        ("Körnerlaib, Rise", "körnerlaib-rise-2026-03-02-0700.csv"),
        ("??", "dough-2026-03-02-0700.csv"),
        ("x" * 500, "x" * exports.LONGEST_NAME + "-2026-03-02-0700.csv"),
    ],
)
def test_names_of_files_are_harmless_whatever_a_dough_is_called(title: str, name: str) -> None:
    assert file_name(title, BEGAN, "csv", BERLIN) == name


def test_a_rise_has_its_interval_each_forecast_and_what_was_done() -> None:
    fan = (FanPoint(BEGAN + timedelta(hours=1), 1.0, 2.0, 3.0, 4.0, 5.0),)
    outlook = Outlook(BEGAN, State.RISING, Band(9.0, 10.0, 11.0), fan=fan)
    folded = Event(BEGAN + timedelta(minutes=5), EventKind.FOLD, "=gently")
    frame = tables.rise_table(
        [outlook, replace(outlook, rise_pct=None)], {"forecast": outlook, "what if": None}, [(folded, "folded")], UTC
    )
    assert frame["what"].tolist() == ["estimated", "done", "forecast"]
    assert frame["rise_p50_pct"].tolist()[::2] == [10.0, 3.0]
    assert frame["note"].tolist()[1] == "folded: =gently"


def test_series_measured_at_other_moments_stand_side_by_side_with_nothing_between() -> None:
    dough = Series(np.array([60.0, 90.0]), np.array([22.0, np.nan]), np.full(2, np.nan))
    frame = tables.series_table(BEGAN, {"air_c": AIR, "dough_c": dough}, UTC)
    rows = list(csv.reader(io.StringIO(exports.csv_of(frame).decode(), newline="")))
    assert [row[2:] for row in rows[1:]] == [["24.0", ""], ["24.5124", "22.0"], ["25.0", ""]]


def test_a_forecast_that_never_came_is_an_empty_cell() -> None:
    outlook = Outlook(BEGAN, State.RISING, ready=Moments(p50=BEGAN + timedelta(hours=2)))
    frame = tables.forecast_table([outlook], UTC)
    (row,) = csv.DictReader(io.StringIO(exports.csv_of(frame).decode(), newline=""))
    assert row["said_utc"] == "2026-03-02T06:00:00Z"
    assert (row["ready_p50_utc"], row["ready_p05_utc"]) == ("2026-03-02T08:00:00Z", "")


def test_nothing_to_tell_is_a_table_with_a_head_alone() -> None:
    assert exports.csv_of(tables.rise_table([], {}, [], UTC)).count(b"\r\n") == 1
    assert pq.read_table(io.BytesIO(exports.parquet_of(tables.series_table(BEGAN, {}, UTC)))).num_rows == 0
