"""The charts of one batch put on a page: running with its forecast, or ended with what had been said."""

import html
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pandas as pd
import streamlit as st

from dashboard import page
from dashboard.batch import scenarios
from dashboard.batch.scenarios import Supposed
from dashboard.drawing import charts, exports, tables
from dashboard.drawing.charts import Mark
from dashboard.drawing.exports import Exhibit
from dashboard.drawing.grammar import Drawing
from dashboard.drawing.palette import Palette
from dashboard.drawing.time_axis import ms
from dashboard.queries import Past
from monitor.dough.outlook import Outlook
from monitor.dough.track import Track
from monitor.recipe.batch import Batch, Event, EventKind
from monitor.translatable import N_
from monitor.wording.air import skin_sentence
from monitor.wording.alerts import clock_text, curve_sentence, event_word, rise_text, temp_text
from monitor.wording.reader import Reader

LEAST_DEGREES = 4.0  # the least that a temperature axis spans, of either scale
LEAST_PCT = 20.0
SERIES_WORDS = {"air": N_("air"), "dough": N_("dough"), "dew point": N_("dew point")}
MARGIN = timedelta(minutes=20)
LONGEST_AHEAD = timedelta(hours=14)  # judgement: a night in the cold
STEP = timedelta(minutes=5)
_MIDNIGHT = datetime(2000, 1, 1, tzinfo=UTC)


def put_running(scene: page.Scene, batch: Batch, supposed: Supposed | None) -> None:
    """Rise and forecast of a running batch, and beside it what would come of what is supposed."""
    newest = scene.store.latest_outlook(batch.id)
    reader = scene.reader
    now_words = reader.say("now")
    if newest is not None and newest.rise_pct is not None:
        now_words = reader.say("now, {rise} %", rise=f"{newest.rise_pct.p50:.0f}")
    marks = (Mark(ms(scene.now), now_words),)
    said = reader.say("{batch}: not yet estimated.", batch=batch.name)
    if newest is not None:
        said = curve_sentence(batch, newest, reader)
    other = None
    if supposed is not None:
        other = scenarios.answer(scene, batch, supposed)
        what_if = scenarios.sentence(scene, batch, supposed, other)
        st.html(f'<p class="supposed">{html.escape(what_if)}</p>')
        said += " " + reader.say("What if: {answer}.", answer=what_if)
    outlooks = scene.store.outlooks(batch.id, has_fan=False)
    span = running_span(scene, batch, supposed)
    exhibit = rise_exhibit(scene, batch, outlooks, newest, span, marks, other, sentence=said)
    page.put_exhibit(scene, exhibit, "rise", is_live=True)


def running_span(scene: page.Scene, batch: Batch, supposed: Supposed | None) -> tuple[float, float]:
    """First and last moment of the charts of a running batch. [ms since 1970]"""
    end = chart_end(scene.store.latest_outlook(batch.id), scene.now)
    if supposed is not None:
        end = max(end, chart_end(scenarios.answer(scene, batch, supposed), scene.now))
    return ms(batch.started_at), ms(end)


def put_past_rise(scene: page.Scene, past: Past, said: Outlook) -> None:
    """The whole curve of an ended batch under the forecast that was made at one moment."""
    batch = past.batch
    ended_at = batch.ended_at or scene.now
    marks = (
        Mark(ms(said.at), scene.reader.say("said at {at}", at=clock_text(said.at, scene.reader))),
        Mark(ms(ended_at), scene.reader.say("ended")),
    )
    span = _past_span(scene, batch, said)
    sentence = curve_sentence(batch, past.outlooks[-1], scene.reader)
    shown = marks[1:] if said.at >= ended_at else marks
    exhibit = rise_exhibit(scene, batch, past.outlooks, said, span, shown, sentence=sentence)
    page.put_exhibit(scene, exhibit, "rise")


def put_past_air(scene: page.Scene, past: Past, said: Outlook) -> None:
    """The air of an ended batch, on the same clock."""
    put_air(scene, past.batch, past.track, _past_span(scene, past.batch, said), "past")


def _past_span(scene: page.Scene, batch: Batch, said: Outlook) -> tuple[float, float]:
    ended_at = batch.ended_at or scene.now
    end = max(ended_at, min(chart_end(said, said.at), ended_at + timedelta(hours=2)))
    return ms(batch.started_at), ms(end)


def rise_exhibit(
    scene: page.Scene,
    batch: Batch,
    outlooks: Sequence[Outlook],
    forecast: Outlook | None,
    span: tuple[float, float],
    marks: tuple[Mark, ...],
    other: Outlook | None = None,
    *,
    sentence: str,
) -> Exhibit:
    """The curve of a batch with one forecast, and perhaps another beside it."""
    reader = scene.reader
    forecasts = {"forecast": forecast, "what if": other}
    return Exhibit(
        batch.name,
        reader.say("rise"),
        sentence,
        lambda: exports.rise_table(outlooks, forecasts, noted(batch.events, reader), reader.zone),
        lambda palette: rise(replace(scene, palette=palette), batch, outlooks, forecast, span, marks, other),
    )


def rise(
    scene: page.Scene,
    batch: Batch,
    outlooks: Iterable[Outlook],
    forecast: Outlook | None,
    span: tuple[float, float],
    marks: tuple[Mark, ...],
    other: Outlook | None = None,
) -> Drawing:
    """The chart of rise with one forecast, and perhaps another beside it."""
    fan = tables.fan_frame(forecast, scene.reader)
    ready = (None, None, None) if forecast is None or batch.target.is_peak else tables.dials(forecast.ready)
    return charts.rise_chart(
        tables.rise_frame(outlooks, scene.reader),
        fan[fan["at"] <= span[1]],
        tables.event_frame(noted(batch.events, scene.reader), scene.reader),
        scene.palette,
        scene.reader,
        span=span,
        target_pct=batch.target.rise_pct,
        ready=ready,
        marks=marks,
        other=None if other is None else tables.fan_frame(other, scene.reader).query(f"at <= {span[1]}"),
    )


def chart_end(outlook: Outlook | None, now: datetime) -> datetime:
    """How far ahead a chart looks: past the peak, or past the latest ready; never beyond what was forecast."""
    ends = [now + MARGIN]
    if outlook is not None:
        late = (outlook.ready.p95 or outlook.ready.p50, outlook.peak.p75 or outlook.peak.p50)
        ends += [at + MARGIN for at in late if at is not None]
    last_known = outlook.fan[-1].at if outlook is not None and outlook.fan else now + MARGIN
    end = max(now + MARGIN, min(max(ends), last_known, now + LONGEST_AHEAD))
    return end + (_MIDNIGHT - end) % STEP  # up to the next round moment, so that the axis does not creep


def noted(events: Iterable[Event], reader: Reader) -> list[tuple[Event, str]]:
    """What a baker did, with a word for each; the end of a stage is the end of its curve and needs no flag."""
    return [(event, event_word(event.kind, reader)) for event in events if event.kind is not EventKind.END]


def put_air(scene: page.Scene, batch: Batch, track: Track, span: tuple[float, float], key: str) -> None:
    """Air, dough and dew point, then humidity, on the same clock."""
    sentence, is_live = air_words(batch, track, scene), batch.ended_at is None
    if track.air_temp_c.t_s.size or track.dough_temp_c.t_s.size:
        page.put_exhibit(scene, _temps(scene, batch, track, span, sentence), f"temps-{key}", is_live=is_live)
        skin = _skin_words(track, scene)
        if skin:
            st.html(f'<p class="quiet skin">{html.escape(skin[0].upper() + skin[1:])}.</p>')
    if track.humidity_pct.t_s.size:
        page.put_exhibit(scene, _humidity(scene, batch, track, span, sentence), f"humidity-{key}", is_live=is_live)


def _temps(scene: page.Scene, batch: Batch, track: Track, span: tuple[float, float], sentence: str) -> Exhibit:
    reader, unit = scene.reader, f"°{scene.reader.temp_unit}"
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
        return charts.air_chart(drawn, colours, palette, reader, span=span, unit=unit, least_span=LEAST_DEGREES)

    def table() -> pd.DataFrame:
        ending = reader.temp_unit.lower()
        named = {f"{what.replace(' ', '_')}_{ending}": tables.in_unit(one, unit) for what, one in temps.items()}
        return exports.series_table(batch.started_at, named, reader.zone)

    return Exhibit(batch.name, reader.say("temperatures"), sentence, table, draw)


def _humidity(scene: page.Scene, batch: Batch, track: Track, span: tuple[float, float], sentence: str) -> Exhibit:
    reader, zone = scene.reader, scene.reader.zone
    word = reader.say("humidity")
    series = tables.worded(tables.series_frame(batch.started_at, {word: track.humidity_pct}), "%", reader)

    def draw(palette: Palette) -> Drawing:
        colours: dict[str, tuple[str, list[int]]] = {word: (palette.water, [])}
        return charts.air_chart(series, colours, palette, reader, span=span, unit="%", least_span=LEAST_PCT)

    named = {"humidity_pct": track.humidity_pct}
    return Exhibit(batch.name, word, sentence, lambda: exports.series_table(batch.started_at, named, zone), draw)


def air_words(batch: Batch, track: Track, scene: page.Scene) -> str:
    """What was measured last of each channel, for who cannot see the charts."""
    reader, said = scene.reader, []
    for what, series in (
        (N_("air {much} at {at}"), track.air_temp_c),
        (N_("dough {much} at {at}"), track.dough_temp_c),
        (N_("humidity {much} at {at}"), track.humidity_pct),
    ):
        if series.t_s.size:
            value = float(series.value[-1])
            much = f"{reader.number(value)} %" if series is track.humidity_pct else temp_text(value, reader)
            at = batch.started_at + timedelta(seconds=float(series.t_s[-1]))
            said.append(reader.say(what, much=much, at=clock_text(at, reader)))
    skin = _skin_words(track, scene)
    return "; ".join([*said, skin] if skin else said) + "."


def _skin_words(track: Track, scene: page.Scene) -> str:
    """Dew point against the dough, by what was measured last; empty when not all of it was."""
    parts = (track.air_temp_c, track.humidity_pct, track.dough_temp_c)
    if not all(part.t_s.size for part in parts):
        return ""
    air_c, humidity_pct, dough_c = (float(part.value[-1]) for part in parts)
    return skin_sentence(air_c, humidity_pct, dough_c, scene.reader)


def put_forecasts(scene: page.Scene, past: Past, came_at: datetime | None) -> None:
    """Every forecast made at the time against what came."""
    said = tables.forecast_frame(past.outlooks, scene.reader, last=came_at)
    ended_at = past.batch.ended_at or scene.now
    last_at = came_at or ended_at
    room = (last_at - past.batch.started_at) * 0.2  # right of the last forecast, for the moment that came
    span = (ms(past.batch.started_at), ms(last_at + room))
    came = None
    sentence = scene.reader.say("Every forecast made; it was not ready when the stage ended.")
    if came_at is not None:
        words = clock_text(came_at, scene.reader)
        came = Mark(ms(came_at), words)
        against = N_("Every forecast made, early to late, against the moment it was ready, {at}.")
        sentence = scene.reader.say(against, at=words)
    exhibit = Exhibit(
        past.batch.name,
        scene.reader.say("forecasts"),
        sentence,
        lambda: exports.forecast_table(past.outlooks, scene.reader.zone),
        lambda palette: charts.forecast_chart(said, palette, scene.reader, came=came, span=span),
    )
    page.put_exhibit(scene, exhibit, "forecasts")


def put_moment_choice(outlooks: Sequence[Outlook], at_first: int, reader: Reader) -> int:
    """A slider over the moments at which a forecast was made; returns the place of the chosen one."""
    step = max(1, len(outlooks) // 200)
    places: list[int] = sorted({*range(0, len(outlooks), step), at_first, len(outlooks) - 1})
    if len(places) < 2:
        return places[0]
    chosen = st.select_slider(
        reader.say("Look back to what was said at"),
        places,
        value=at_first,
        format_func=lambda place: f"{clock_text(outlooks[place].at, reader)}, {rise_text(outlooks[place], reader)}",
        key="moment",
    )
    return places[places.index(chosen)]
