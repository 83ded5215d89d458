"""The charts of an ended batch: its curve under a forecast that was made at the time, and all forecasts made."""

import html
from collections.abc import Sequence
from datetime import datetime, timedelta

import streamlit as st

from dashboard import batch_charts, figures
from dashboard.drawing import charts, tables
from dashboard.drawing.charts import Mark
from dashboard.drawing.exports import Figure
from dashboard.drawing.time_axis import ms
from dashboard.page import View
from dashboard.queries import EndedBatch
from monitor.dough.outlook import Outlook
from monitor.wording.alerts import about_text, clock_text, curve_sentence, rise_text
from monitor.wording.outlook import no_forecast_words
from monitor.wording.reader import Reader

MOST_ROWS = 60  # of the table of forecasts
LONGEST_AFTER = timedelta(hours=2)  # that a forecast is drawn beyond the end


def show_moment_choice(outlooks: Sequence[Outlook], at_first: int, reader: Reader) -> Outlook:
    """A slider over the moments at which a forecast was made; returns the forecast of the chosen one."""
    step = max(1, len(outlooks) // 200)
    places: list[int] = sorted({*range(0, len(outlooks), step), at_first, len(outlooks) - 1})
    if len(places) < 2:
        return outlooks[places[0]]
    chosen = st.select_slider(
        reader.say("Look back to what was said at"),
        places,
        value=at_first,
        format_func=lambda place: f"{clock_text(outlooks[place].at, reader)}, {rise_text(outlooks[place], reader)}",
        key="moment",
    )
    return outlooks[chosen]


def span(ended: EndedBatch, forecast: Outlook) -> batch_charts.Span:
    """The clock that the charts of an ended batch share."""
    ended_at = ended.outcome.ended_at
    last_at = min(batch_charts.chart_end(forecast, forecast.at), ended_at + LONGEST_AFTER)
    return batch_charts.span(ended.batch, max(ended_at, last_at))


def show_rise(view: View, ended: EndedBatch, forecast: Outlook) -> None:
    """The whole curve under the forecast that was made at one moment."""
    reader, ended_at = view.reader, ended.outcome.ended_at
    made = Mark(ms(forecast.at), reader.say("said at {at}", at=clock_text(forecast.at, reader)))
    end = Mark(ms(ended_at), reader.say("ended"))
    marks = (made, end) if forecast.at < ended_at else (end,)
    sentence = curve_sentence(ended.batch, ended.outlooks[-1], reader)
    clock = span(ended, forecast)
    figure = batch_charts.rise_figure(reader, ended.batch, ended.outlooks, forecast, clock, marks, sentence)
    figures.show(view, figure, "rise")


def show_forecasts(view: View, ended: EndedBatch) -> None:
    """Every forecast made at the time against what came, as a chart and in numbers."""
    reader, batch, outcome = view.reader, ended.batch, ended.outcome
    drawn = tables.forecast_frame(ended.outlooks, reader, last=outcome.ready_at)
    last_at = outcome.ready_at or outcome.ended_at
    room = (last_at - batch.started_at) * 0.2  # right of the last forecast, for the moment that came
    clock = batch_charts.span(batch, last_at + room)
    came = None
    sentence = reader.say("Every forecast made; it was not ready when the stage ended.")
    if outcome.ready_at is not None:
        at = clock_text(outcome.ready_at, reader)
        came = Mark(ms(outcome.ready_at), at)
        sentence = reader.say("Every forecast made, early to late, against the moment it was ready, {at}.", at=at)
    figure = Figure(
        batch.name,
        reader.say("forecasts"),
        sentence,
        lambda: tables.forecast_table(ended.outlooks, reader.zone),
        lambda palette: charts.forecast_chart(drawn, palette, reader, came=came, span=clock),
    )
    figures.show(view, figure, "forecasts")
    st.html(_in_numbers(ended.outlooks, outcome.ready_at, reader))


def _in_numbers(outlooks: Sequence[Outlook], ready_at: datetime | None, reader: Reader) -> str:
    """The same forecasts as a table, thinned."""
    before = [outlook for outlook in outlooks if ready_at is None or outlook.at <= ready_at]
    step = max(1, -(-len(before) // MOST_ROWS))
    rows = "".join(
        f'<tr><td class="t">{clock_text(outlook.at, reader)}</td>'
        f"<td>{html.escape(_ready_words(outlook, reader))}</td></tr>"
        for outlook in before[::step]
    )
    heads = "".join(f"<th>{html.escape(head)}</th>" for head in (reader.say("said at"), reader.say("ready")))
    table = f'<table class="rows"><tr>{heads}</tr>{rows}</table>'
    return "<details><summary>" + html.escape(reader.say("In numbers")) + f"</summary>{table}</details>"


def _ready_words(outlook: Outlook, reader: Reader) -> str:
    about = about_text(outlook.ready, reader, outlook.at)
    if about is not None:
        return about
    return reader.say("no forecast") if outlook.why is None else no_forecast_words(outlook.why, reader)
