"""One running batch: its curve and forecast, its air, its tub, and what a baker notes about it."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, batch_charts, cards, figures, page, queries
from dashboard.access import address, sites
from dashboard.batch import logbook, scenarios
from dashboard.batch.scenarios import WhatIf
from dashboard.drawing import markup
from dashboard.drawing.charts import Mark
from dashboard.drawing.time_axis import ms
from dashboard.page import View
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch, BatchId
from monitor.wording.alerts import clock_text, curve_sentence, stage_word
from monitor.wording.reader import Reader


def show(review_page: StreamlitPage, start_page: StreamlitPage) -> None:
    """The batch named in the address, or the one that began first."""
    page.render(lambda view: _draw(view, review_page, start_page))


def _draw(view: View, review_page: StreamlitPage, start_page: StreamlitPage) -> None:
    say = view.reader.say
    batches = {batch.id: batch for batch in view.store.batches.running()}
    asked = address.batch_id()
    if asked is not None and asked not in batches and asked in {batch.id for batch in view.store.batches.all()}:
        st.html(markup.heading(view.store.batches.get(asked).name, say("This stage is over.")))
        st.page_link(review_page, label=say("See how it went"), query_params={"batch": str(asked)})
        return
    if not batches:
        st.html(markup.heading(say("No dough is proofing"), say("Begin a batch, and its curve stands here.")))
        if not view.store.is_copy:
            st.page_link(start_page, label=say("Start a batch"), icon=":material/arrow_forward:")
        return
    title, choice = st.columns([2.3, 1], gap="large", vertical_alignment="bottom")
    key, batch = _chosen(batches, asked, view.reader)
    began = clock_text(batch.started_at, view.reader, view.now)
    title.html(
        markup.heading(batch.name, say("{stage}, begun {at}", stage=stage_word(batch.stage, view.reader), at=began))
    )
    with st.container(key="bench"):
        side, notes, curve = (st.container(key=key) for key in ("side", "notes", "curve"))
    question = curve.container()
    with side:
        _live_side(batch)
    with curve:
        _live_curve(batch)
    page.wait_for_first_chart("batch")
    with choice:
        _show_choice(key, batches, view.reader)
    with notes:
        if view.store.is_copy:
            st.html(markup.quiet(sites.copy_words(view.reader)))
        else:
            logbook.show_logbook(queries.running_batch(view.store, batch, view.now), review_page, view)
    with question:
        scenarios.show_question(batch, view.reader)
    with curve:
        _live_air(batch)
        figures.show_live_downloads(view)
        figures.show_batch_download(view, batch)


def _chosen(batches: dict[BatchId, Batch], asked: BatchId | None, reader: Reader) -> tuple[str, Batch]:
    """The batch to show, by the address or by what was chosen last; and the key of the choice that is shown later."""
    key = f"which, in {reader.language.code}"  # a browser keeps the words of a choice as long as its key
    first = next(iter(batches))
    address.synced_key(key, asked if asked in batches else first)
    if st.session_state[key] not in batches:  # its stage has ended meanwhile
        st.session_state[key] = first
    return key, batches[st.session_state[key]]


def _show_choice(key: str, batches: dict[BatchId, Batch], reader: Reader) -> None:
    """The other batches; the address follows the choice."""
    chosen = st.selectbox(
        reader.say("Another batch"),
        list(batches),
        format_func=lambda batch_id: f"{batches[batch_id].name} · {stage_word(batches[batch_id].stage, reader)}",
        key=key,
        label_visibility="collapsed",
    )
    address.remember(key, chosen)
    address.write({"batch": str(chosen)}, ["batch"])


@page.live()
def _live_side(batch: Batch) -> None:
    def draw(view: View) -> None:
        running = queries.running_batch(view.store, view.store.batches.get(batch.id), view.now)
        st.html(alerts.unwatched_html(view) + cards.side(running, view))
        alerts.show_of_batch(queries.open_alerts(view.store, running.batch), batch.id, view)

    page.render(draw)


@page.live()
def _live_curve(batch: Batch) -> None:
    def draw(view: View) -> None:
        now, newest, what_if = _newest(view, batch)
        sentence = view.reader.say("{batch}: not yet estimated.", batch=now.name)
        words = view.reader.say("now")
        if newest is not None:
            sentence = curve_sentence(now, newest, view.reader)
        if newest is not None and newest.rise_pct is not None:
            words = view.reader.say("now, {rise} %", rise=round(newest.rise_pct.p50))
        if what_if is not None:
            st.html(f'<p class="scenario">{html.escape(what_if.sentence)}</p>')
            sentence = f"{sentence} {what_if.sentence}"
        figure = batch_charts.rise_figure(
            view.reader,
            now,
            view.store.outlooks.of(now.id, has_fan=False),
            newest,
            _span(view, now, newest, what_if),
            (Mark(ms(view.now), words),),
            sentence,
            what_if=None if what_if is None else what_if.outlook,
        )
        figures.show(view, figure, "rise", is_live=True)

    page.render(draw)


@page.live()
def _live_air(batch: Batch) -> None:
    def draw(view: View) -> None:
        now, newest, what_if = _newest(view, batch)
        batch_charts.show_air(view, now, view.store.readings.track(now), _span(view, now, newest, what_if))
        st.html(cards.beside(now, view))

    page.render(draw)


def _newest(view: View, batch: Batch) -> tuple[Batch, Outlook | None, WhatIf | None]:
    """A batch as it is now, its newest outlook, and the scenario chosen for it."""
    now, newest = view.store.batches.get(batch.id), view.store.outlooks.latest(batch.id)
    return now, newest, scenarios.what_if(view, now, newest)


def _span(view: View, batch: Batch, newest: Outlook | None, what_if: WhatIf | None) -> batch_charts.Span:
    """The clock that the charts of a running batch share."""
    outlooks = [newest] if what_if is None else [newest, what_if.outlook]
    return batch_charts.span(batch, max(batch_charts.chart_end(each, view.now) for each in outlooks))
