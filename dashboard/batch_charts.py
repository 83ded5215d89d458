"""The charts of one batch, running or ended: its rise under a forecast, and its air on the same clock."""

import html
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta

import pandas as pd
import streamlit as st

from dashboard import figures
from dashboard.drawing import charts, tables
from dashboard.drawing.charts import Mark
from dashboard.drawing.exports import Figure
from dashboard.drawing.grammar import Drawing
from dashboard.drawing.palette import Palette
from dashboard.drawing.time_axis import ms
from dashboard.page import View
from monitor.dough.outlook import Outlook
from monitor.dough.track import Track
from monitor.recipe.batch import Batch, Event, EventKind
from monitor.translatable import N_
from monitor.wording.air import skin_sentence
from monitor.wording.alerts import clock_text, edge_text, temp_text
from monitor.wording.phrases import flag_text
from monitor.wording.reader import Reader

Span = tuple[float, float]
"""First and last moment of a chart. [ms since 1970]"""

LEAST_DEGREES = 4.0  # the least that a temperature axis spans, of either scale
LEAST_PCT = 20.0
SERIES_WORDS = {"air": N_("air"), "dough": N_("dough"), "dew point": N_("dew point")}
MARGIN = timedelta(minutes=20)
LONGEST_AHEAD = timedelta(hours=14)  # judgement: a night in the cold
STEP = timedelta(minutes=5)
_MIDNIGHT = datetime(2000, 1, 1, tzinfo=UTC)


def span(batch: Batch, end: datetime) -> Span:
    """From the start of a batch to a moment."""
    return ms(batch.started_at), ms(end)


def chart_end(outlook: Outlook | None, now: datetime) -> datetime:
    """How far ahead a chart looks: past the peak, or past the latest ready; never beyond what was forecast."""
    ends = [now + MARGIN]
    if outlook is not None:
        late = (outlook.ready.p95 or outlook.ready.p50, outlook.peak.p75 or outlook.peak.p50)
        ends += [at + MARGIN for at in late if at is not None]
    last_known = outlook.fan[-1].at if outlook is not None and outlook.fan else now + MARGIN
    end = max(now + MARGIN, min(max(ends), last_known, now + LONGEST_AHEAD))
    return end + (_MIDNIGHT - end) % STEP  # up to the next round moment, so that the axis does not creep


def rise_figure(
    reader: Reader,
    batch: Batch,
    outlooks: Sequence[Outlook],
    forecast: Outlook | None,
    clock: Span,
    marks: tuple[Mark, ...],
    sentence: str,
    *,
    what_if: Outlook | None = None,
) -> Figure:
    """The curve of a batch with one forecast, and perhaps another beside it."""
    events = done(batch.events, reader)

    def draw(palette: Palette) -> Drawing:
        fan = tables.fan_frame(forecast, reader)
        return charts.rise_chart(
            tables.rise_frame(outlooks, reader),
            fan[fan["at"] <= clock[1]],
            tables.event_frame(events, reader),
            palette,
            reader,
            span=clock,
            target_pct=batch.target.rise_pct,
            edge="" if forecast is None else edge_text(batch, forecast, reader),
            ready=(None,) * 3 if forecast is None or batch.target.is_peak else tables.moments_ms(forecast.ready),
            marks=marks,
            other=None if what_if is None else tables.fan_frame(what_if, reader).query(f"at <= {clock[1]}"),
        )

    def table() -> pd.DataFrame:
        return tables.rise_table(outlooks, {"forecast": forecast, "what if": what_if}, events, reader.zone)

    return Figure(batch.name, reader.say("rise"), sentence, table, draw)


def done(events: Iterable[Event], reader: Reader) -> list[tuple[Event, str]]:
    """What a baker did, with a word for each, or its number; the end of a stage is the end of its curve, unflagged."""
    return [(event, flag_text(event, reader)) for event in events if event.kind is not EventKind.END]


def show_air(view: View, batch: Batch, track: Track, clock: Span) -> None:
    """Air, dough and dew point, then humidity, on the clock of the curve."""
    skin, is_live = _skin_words(track, view.reader), batch.ended_at is None
    sentence = "; ".join([*_newest_words(batch, track, view.reader), *([skin] if skin else [])]) + "."
    if track.air_temp_c.t_s.size or track.dough_temp_c.t_s.size:
        figures.show(view, _temps(view.reader, batch, track, clock, sentence), "temperatures", is_live=is_live)
        if skin:
            st.html(f'<p class="quiet skin">{html.escape(skin[0].upper() + skin[1:])}.</p>')
    if track.humidity_pct.t_s.size:
        figures.show(view, _humidity(view.reader, batch, track, clock, sentence), "humidity", is_live=is_live)


def _temps(reader: Reader, batch: Batch, track: Track, clock: Span, sentence: str) -> Figure:
    unit = reader.degree
    dew = tables.dew_point_series(track.air_temp_c, track.humidity_pct)
    temps = {"air": track.air_temp_c, "dough": track.dough_temp_c, "dew point": dew}
    words = {what: reader.say(SERIES_WORDS[what]) for what in temps}
    named = {words[what]: series for what, series in temps.items()}
    drawn = tables.worded(tables.series_frame(batch.started_at, named), unit, reader)

    def draw(palette: Palette) -> Drawing:
        colours = {
            words["air"]: (palette.water, []),
            words["dough"]: (palette.crust, []),
            words["dew point"]: (palette.muted, [2, 3]),
        }
        return charts.air_chart(drawn, colours, palette, reader, span=clock, unit=unit, least_span=LEAST_DEGREES)

    def table() -> pd.DataFrame:
        ending = reader.temp_unit.lower()
        named = {f"{what.replace(' ', '_')}_{ending}": tables.in_unit(one, unit) for what, one in temps.items()}
        return tables.series_table(batch.started_at, named, reader.zone)

    return Figure(batch.name, reader.say("temperatures"), sentence, table, draw)


def _humidity(reader: Reader, batch: Batch, track: Track, clock: Span, sentence: str) -> Figure:
    word = reader.say("humidity")
    drawn = tables.worded(tables.series_frame(batch.started_at, {word: track.humidity_pct}), "%", reader)

    def draw(palette: Palette) -> Drawing:
        colours: dict[str, tuple[str, list[int]]] = {word: (palette.water, [])}
        return charts.air_chart(drawn, colours, palette, reader, span=clock, unit="%", least_span=LEAST_PCT)

    def table() -> pd.DataFrame:
        return tables.series_table(batch.started_at, {"humidity_pct": track.humidity_pct}, reader.zone)

    return Figure(batch.name, word, sentence, table, draw)


def _newest_words(batch: Batch, track: Track, reader: Reader) -> list[str]:
    """What was measured last of each channel, for who cannot see the charts."""
    words = []
    for what, series in (
        (N_("air {much} at {at}"), track.air_temp_c),
        (N_("dough {much} at {at}"), track.dough_temp_c),
        (N_("humidity {much} at {at}"), track.humidity_pct),
    ):
        if series.t_s.size:
            value = float(series.value[-1])
            much = f"{reader.number(value)} %" if series is track.humidity_pct else temp_text(value, reader)
            at = batch.started_at + timedelta(seconds=float(series.t_s[-1]))
            words.append(reader.say(what, much=much, at=clock_text(at, reader)))
    return words


def _skin_words(track: Track, reader: Reader) -> str:
    """Dew point against the dough, by what was measured last; empty when not all of it was."""
    parts = (track.air_temp_c, track.humidity_pct, track.dough_temp_c)
    if not all(part.t_s.size for part in parts):
        return ""
    air_c, humidity_pct, dough_c = (float(part.value[-1]) for part in parts)
    return skin_sentence(air_c, humidity_pct, dough_c, reader)
