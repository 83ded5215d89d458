"""Figures as files: pictures on paper, and what is behind them as CSV and Parquet. Pure: nothing is written.

A text that a spreadsheet would take for a formula has an apostrophe before it, in CSV; Parquet keeps it as it is.
"""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from textwrap import wrap
from typing import Any
from unicodedata import normalize

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from dashboard.drawing.grammar import Drawing, Values
from dashboard.drawing.markup import element, text
from dashboard.drawing.palette import DAY, FONT, Palette
from monitor.archive.batch_files import MARK, QUOTED
from monitor.translatable import N_

WIDTH_PX = 960  # of a picture: two thirds of a page across, at the letters' own size
EDGE_PX = 20
SCALE = 2.0  # pixels of a PNG for each of the drawing
LINE_LETTERS = 140  # of the sentence over a picture, which the width has room for
LINE_PX, TITLE_PX, SENTENCE_PX = 19, 20, 14
PRINT_FONT = "Liberation Sans, Arial, Helvetica, sans-serif"  # the first comes with the renderer
LONGEST_NAME = 80
STAMP = "%Y-%m-%d-%H%M"


@dataclass(frozen=True, slots=True)
class Figure:
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


def svg_of(figure: Figure) -> str:
    """The picture by day, on paper, under its title and sentence, as an SVG document that needs nothing else."""
    assert figure.draw is not None
    drawn = figure.draw(DAY)
    lines = wrap(figure.sentence, LINE_LETTERS)
    if isinstance(drawn, str):
        return _framed(drawn, figure.title, lines)
    spec: Values = {
        **drawn.carrying(),
        "width": WIDTH_PX - 2 * EDGE_PX,
        "background": DAY.paper,
        "padding": EDGE_PX,
        "title": {"text": figure.title, "subtitle": lines, "anchor": "start", "frame": "bounds", "offset": 16},
    }
    config = spec["config"] = {**spec["config"]}
    config["font"] = PRINT_FONT
    config["title"] = {
        "color": DAY.ink, "subtitleColor": DAY.muted, "fontSize": TITLE_PX, "subtitleFontSize": SENTENCE_PX,
        "subtitlePadding": 6, "subtitleLineHeight": LINE_PX,
    }  # fmt: skip
    import vl_convert  # a whole engine, which only whoever saves a picture wants

    return str(vl_convert.vegalite_to_svg(_printed(spec)))


def png_of(figure: Figure) -> bytes:
    """The same as PNG, twice as fine as a screen."""
    import vl_convert

    return bytes(vl_convert.svg_to_png(svg_of(figure), scale=SCALE))


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
class FileKind:
    """One kind of file that something can be saved as."""

    words: str
    mime: str
    made: Callable[[Figure], bytes]
    is_picture: bool = False


KINDS = {
    "png": FileKind(N_("Picture, PNG"), "image/png", png_of, is_picture=True),
    "svg": FileKind(N_("Picture, SVG"), "image/svg+xml", lambda figure: svg_of(figure).encode(), is_picture=True),
    "csv": FileKind(N_("Data, CSV"), "text/csv", lambda figure: csv_of(figure.table())),
    "parquet": FileKind(
        N_("Data, Parquet"), "application/vnd.apache.parquet", lambda figure: parquet_of(figure.table())
    ),
}


def _iso(at: datetime) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")
