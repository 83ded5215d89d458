"""Charts as files and what is behind them as tables: pictures on paper, CSV and Parquet. Pure: nothing is written.

Times in a table are UTC and, beside it, the reader's own clock with its offset, both as ISO 8601, so that an hour that
a clock goes through twice stays two hours; units stand in the names of columns. A text that a spreadsheet would take
for a formula has an apostrophe before it, in CSV; Parquet keeps it as it is.
"""

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from textwrap import wrap
from typing import Any
from unicodedata import normalize

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import vl_convert

from dashboard.drawing.grammar import Drawing, Values
from dashboard.drawing.palette import DAY, FONT, Palette
from dashboard.drawing.svg import element, text
from monitor.archive.batch_files import MARK, QUOTED
from monitor.dough.outlook import Moments, Outlook
from monitor.dough.track import Series
from monitor.recipe.batch import Event
from monitor.translatable import N_

WIDTH_PX = 960  # of a picture: two thirds of a page across, at the letters' own size
EDGE_PX = 20
SCALE = 2.0  # pixels of a PNG for each of the drawing
LINE_LETTERS = 140  # of the sentence over a picture, which the width has room for
LINE_PX, TITLE_PX, SENTENCE_PX = 19, 20, 14
PRINT_FONT = "Liberation Sans, Arial, Helvetica, sans-serif"  # the first comes with the renderer
DECIMALS = 4  # of a number in a table: more than any sensor here can tell
LONGEST_NAME = 80
STAMP = "%Y-%m-%d-%H%M"


@dataclass(frozen=True, slots=True)
class Exhibit:
    """Something of a screen as it is shown and as it is saved.

    Attributes
    ----------
    whose, what
        Of whom it tells, which may be anything (empty: of everybody), and what; also in the names of files.
    sentence
        The same in words: text alternative, and what stands over a saved picture.
    table
        What is behind it, in full.
    draw
        The picture in a palette: a chart, or an SVG document whose percentages follow its width; None: it has none.
    """

    whose: str
    what: str
    sentence: str
    table: Callable[[], pd.DataFrame]
    draw: Callable[[Palette], Drawing | str] | None = None

    @property
    def title(self) -> str:
        """What stands over it."""
        return ", ".join(part for part in (self.whose, self.what) if part)


def file_name(title: str, at: datetime, ending: str, zone: tzinfo | None) -> str:
    """A name that every file system takes, from words that may be anything and a moment on the reader's clock.

    >>> from datetime import UTC
    >>> file_name("Rye & spelt: ../tin 3, rise", datetime(2026, 3, 2, 9, 36, tzinfo=UTC), "csv", UTC)
    'rye-spelt-tin-3-rise-2026-03-02-0936.csv'
    """
    letters = [each if each.isalnum() else " " for each in normalize("NFKC", title).casefold()]
    words = "-".join("".join(letters).split())[:LONGEST_NAME].rstrip("-")
    return f"{words or 'dough'}-{at.astimezone(zone):{STAMP}}.{ending}"


# -- pictures ---------------------------------------------------------------------------------------------------------


def svg_of(exhibit: Exhibit) -> str:
    """The picture by day, on paper, under its title and sentence, as an SVG document that needs nothing else."""
    assert exhibit.draw is not None
    drawn = exhibit.draw(DAY)
    lines = wrap(exhibit.sentence, LINE_LETTERS)
    if isinstance(drawn, str):
        return _framed(drawn, exhibit.title, lines)
    spec: Values = {
        **drawn.carrying(),
        "width": WIDTH_PX - 2 * EDGE_PX,
        "background": DAY.paper,
        "padding": EDGE_PX,
        "title": {"text": exhibit.title, "subtitle": lines, "anchor": "start", "frame": "bounds", "offset": 16},
    }
    config = spec["config"] = {**spec["config"]}
    config["font"] = PRINT_FONT
    config["title"] = {
        "color": DAY.ink, "subtitleColor": DAY.muted, "fontSize": TITLE_PX, "subtitleFontSize": SENTENCE_PX,
        "subtitlePadding": 6, "subtitleLineHeight": LINE_PX,
    }  # fmt: skip
    return str(vl_convert.vegalite_to_svg(_printed(spec)))


def png_of(exhibit: Exhibit) -> bytes:
    """The same as PNG, twice as fine as a screen."""
    return bytes(vl_convert.svg_to_png(svg_of(exhibit), scale=SCALE))


def _printed(value: Any) -> Any:
    """A specification with letters that the renderer has, in place of those of whatever device looks at a screen."""
    if isinstance(value, dict):
        return {name: _printed(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_printed(each) for each in value]
    return PRINT_FONT if value == FONT else value


def _framed(drawing: str, title: str, lines: list[str]) -> str:
    """A drawing whose percentages follow its width, on paper under its words."""
    at = drawing.index('height="') + len('height="')
    height_px = float(drawing[at : drawing.index('"', at)])
    top_px = EDGE_PX + TITLE_PX + LINE_PX * len(lines) + 16
    whole_px = top_px + height_px + EDGE_PX
    body = drawing.replace('width="100%"', f'x="{EDGE_PX}" y="{top_px}" width="{WIDTH_PX - 2 * EDGE_PX}"', 1)
    over = [
        element("rect", width=WIDTH_PX, height=whole_px, fill=DAY.paper),
        text(title, x=EDGE_PX, y=EDGE_PX + TITLE_PX - 4, font_size=TITLE_PX, font_weight="bold", fill=DAY.ink,
             font_family=PRINT_FONT),
    ]  # fmt: skip
    over += [
        text(line, x=EDGE_PX, y=EDGE_PX + TITLE_PX + LINE_PX * (k + 1) - 4, font_size=SENTENCE_PX, fill=DAY.muted,
             font_family=PRINT_FONT)
        for k, line in enumerate(lines)
    ]  # fmt: skip
    printed = body.replace(_quoted(FONT), PRINT_FONT)
    size = {"viewBox": f"0 0 {WIDTH_PX} {whole_px:g}", "width": WIDTH_PX, "height": whole_px}
    return element("svg", "".join(over) + printed, xmlns="http://www.w3.org/2000/svg", **size)


def _quoted(value: str) -> str:
    return value.replace("'", "&#x27;")


# -- tables -----------------------------------------------------------------------------------------------------------


def csv_of(frame: pd.DataFrame) -> bytes:
    """A table as CSV (RFC 4180, UTF-8): an empty cell is nothing, times are ISO 8601."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_cell(name) for name in frame.columns])
    writer.writerows([_cell(value) for value in row] for row in frame.itertuples(index=False))
    return out.getvalue().encode()


def _cell(value: object) -> str:
    """A value as a cell that no spreadsheet takes for a formula.

    >>> from datetime import UTC
    >>> _cell("=1+1"), _cell(-0.5), _cell(None), _cell(datetime(2026, 3, 2, 9, 36, tzinfo=UTC))
    ("'=1+1", '-0.5', '', '2026-03-02T09:36:00Z')
    """
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, datetime):
        return _iso(value)
    words = str(value)
    return MARK + words if isinstance(value, str) and words.startswith(QUOTED) else words


def parquet_of(frame: pd.DataFrame) -> bytes:
    """The same table as Parquet: UTC as moments, the reader's clock as text, numbers as numbers."""
    out = io.BytesIO()
    pq.write_table(pa.Table.from_pandas(frame, preserve_index=False), out, compression="zstd")
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file that something can be saved as."""

    words: str
    mime: str
    made: Callable[[Exhibit], bytes]
    is_picture: bool = False


KINDS = {
    "png": Kind(N_("Picture, PNG"), "image/png", png_of, is_picture=True),
    "svg": Kind(N_("Picture, SVG"), "image/svg+xml", lambda exhibit: svg_of(exhibit).encode(), is_picture=True),
    "csv": Kind(N_("Data, CSV"), "text/csv", lambda exhibit: csv_of(exhibit.table())),
    "parquet": Kind(N_("Data, Parquet"), "application/vnd.apache.parquet", lambda exhibit: parquet_of(exhibit.table())),
}


def _iso(at: datetime) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")


def clocks(moments: Iterable[datetime | None], name: str, zone: tzinfo | None) -> dict[str, Any]:
    """Two columns of some moments: UTC, and the reader's clock with its offset."""
    ats = list(moments)
    return {
        f"{name}_utc": pd.Series(ats, dtype="datetime64[us, UTC]"),
        f"{name}_local": [None if at is None else at.astimezone(zone).isoformat(timespec="seconds") for at in ats],
    }


_RISE = ("rise_p05_pct", "rise_p25_pct", "rise_p50_pct", "rise_p75_pct", "rise_p95_pct")


def rise_table(
    outlooks: Iterable[Outlook],
    forecasts: Mapping[str, Outlook | None],
    events: Iterable[tuple[Event, str]],
    zone: tzinfo | None,
) -> pd.DataFrame:
    """Rise as it was estimated at each moment, some forecasts by name, and what was done; ``what`` tells which."""
    rows: list[tuple[datetime, str, tuple[float | None, ...], str]] = []
    for outlook in outlooks:
        band = outlook.rise_pct
        if band is not None:
            rows.append((outlook.at, "estimated", (band.p05, None, band.p50, None, band.p95), ""))
    rows += [(event.at, "done", (None,) * 5, f"{word}: {event.note}" if event.note else word) for event, word in events]
    for what, forecast in forecasts.items():
        fan = () if forecast is None else forecast.fan
        rows += [(p.at, what, (p.p05, p.p25, p.p50, p.p75, p.p95), "") for p in fan]
    return pd.DataFrame(
        {
            **clocks([at for at, *_ in rows], "at", zone),
            "what": [what for _, what, *_ in rows],
            **{name: _numbers([values[k] for *_, values, _ in rows]) for k, name in enumerate(_RISE)},
            "note": [note or None for *_, note in rows],
        }
    )


def series_table(started_at: datetime, series: Mapping[str, Series], zone: tzinfo | None) -> pd.DataFrame:
    """Some series side by side over time; their names carry the unit, an empty cell was not measured then."""
    whole: dict[str, pd.Series[float]] = {}
    for name, one in series.items():
        known = np.isfinite(one.value)
        ms = np.round(one.t_s[known] * 1000.0).astype(np.int64)
        found = pd.Series(np.round(one.value[known], DECIMALS), index=ms)
        whole[name] = found[~found.index.duplicated(keep="last")]
    joined = pd.DataFrame(whole).sort_index()
    ats = [started_at + timedelta(milliseconds=int(ms)) for ms in joined.index]
    return pd.DataFrame({**clocks(ats, "at", zone), **{name: joined[name].to_numpy() for name in series}})


def forecast_table(outlooks: Iterable[Outlook], zone: tzinfo | None) -> pd.DataFrame:
    """Every forecast of *ready* and of the peak, with when it was made."""
    said = list(outlooks)
    columns = clocks([outlook.at for outlook in said], "said", zone)
    for name, moments in (("ready", [each.ready for each in said]), ("peak", [each.peak for each in said])):
        for share in ("p05", "p25", "p50", "p75", "p95"):
            columns |= clocks([_moment(each, share) for each in moments], f"{name}_{share}", zone)
    return pd.DataFrame(columns)


def _moment(moments: Moments, share: str) -> datetime | None:
    found: datetime | None = getattr(moments, share)
    return found


def rows_table(columns: Iterable[str], rows: Iterable[tuple[Any, ...]]) -> pd.DataFrame:
    """Any rows under the names of their columns; numbers to the decimals of a table."""
    frame = pd.DataFrame(list(rows), columns=list(columns))
    return frame.round(DECIMALS)


def _numbers(values: list[float | None]) -> "pd.Series[float]":
    return pd.Series(values, dtype="float64").round(DECIMALS)
