"""Ended batches: how each went, its curve, every forecast made at the time, and the calls that went out."""

import html
from datetime import datetime

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import cards, comparing, page, plots, queries, review
from dashboard.outcome import Outcome, half_way, outcome_of, outcome_words
from monitor.bakery.alerts import Message
from monitor.bakery.lessons import learned_sentence
from monitor.bakery.wording import about_text, clock_text, stage_word
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch

MOST_ROWS = 60  # of the table of forecasts


def show(finished_page: StreamlitPage, compare_page: StreamlitPage) -> None:
    """One ended batch when the address names it, else the list of all, newest first."""
    page.shown(lambda scene: _draw(scene, finished_page, compare_page))


def _draw(scene: page.Scene, finished_page: StreamlitPage, compare_page: StreamlitPage) -> None:
    ended = {batch.id: batch for batch in scene.store.batches(running=False)}
    asked = queries.asked_batch_id()
    if asked in ended:
        with st.container(horizontal=True):
            st.page_link(finished_page, label="All finished batches", icon=":material/arrow_back:")
            if comparing.has_others(ended[asked], ended.values()):
                label = "Compare with others of this recipe"
                st.page_link(compare_page, label=label, query_params={"batch": str(asked)})
        _one(scene, queries.past(scene.store, ended[asked]))
        return
    if not ended:
        st.html(
            page.heading("Nothing is finished yet", "When a stage ends, its curve and its forecasts are kept here.")
        )
        return
    st.html(page.heading("Finished"))
    newest_first = sorted(ended.values(), key=lambda batch: batch.ended_at or batch.started_at, reverse=True)
    for batch in newest_first:
        outlook = scene.store.latest_outlook(batch.id)
        with st.container(key=f"card-{batch.id}"):
            st.html(cards.finished_card(batch, outlook, outcome_words(outcome_of(batch, outlook), scene.manner), scene))
            label = page.plain(f"Open {batch.name}")
            st.page_link(finished_page, label=label, query_params={"batch": str(batch.id)})


def _one(scene: page.Scene, past: queries.Past) -> None:
    batch = past.batch
    newest = past.outlooks[-1] if past.outlooks else None
    outcome = outcome_of(batch, newest)
    seen = review.reviewed(scene, batch)
    day = f"{batch.started_at.astimezone(scene.manner.zone):%A %Y-%m-%d}"
    st.html(page.heading(review.title(batch, seen), f"{stage_word(batch.stage, scene.manner)}, {day}"))
    st.html(_moments(outcome, scene))
    if not past.outlooks:
        st.html('<p class="quiet">It was never estimated.</p>')
        return
    review.put_account(scene, batch, seen, scene.store.alerts(batch.id))
    review.put_judgement(scene, batch, seen)
    review.put_intent(scene, batch, seen)
    taught = _taught(batch, scene)
    if taught:
        st.html(taught)
    half = half_way(past.outlooks, batch.target.rise_pct)
    said = about_text(past.outlooks[half].ready, scene.manner, past.outlooks[half].at)
    if said is not None and outcome.ready_at is not None:
        came = clock_text(outcome.ready_at, scene.manner)
        st.html(f'<p class="quiet">At half its rise the monitor said {html.escape(said)}; it was {came}.</p>')
    place = plots.put_moment_choice(past.outlooks, half, scene.manner)
    plots.put_past_rise(scene, past, past.outlooks[place])
    with st.container(key="more"):  # not on the printed page
        plots.put_past_air(scene, past, past.outlooks[place])
        st.html('<h2 class="section">Every forecast made at the time</h2>')
        plots.put_forecasts(scene, past, outcome.ready_at)
        st.html(_in_numbers(past, outcome.ready_at, scene))
        st.html(f'<h2 class="section">Calls that went out</h2>{_calls(past.messages, scene)}')


def _moments(outcome: Outcome, scene: page.Scene) -> str:
    """Ready, peaked, ended, in large numbers, with the sentence under them."""
    ready = {} if outcome.is_peak else {"ready": outcome.ready_at}
    moments: dict[str, datetime | None] = {**ready, "peaked": outcome.peak_at, "ended": outcome.ended_at}
    pairs = "".join(f"<div><dt>{what}</dt>{_moment(at, scene)}</div>" for what, at in moments.items())
    return f'<dl class="moments">{pairs}</dl><p class="saying">{html.escape(outcome_words(outcome, scene.manner))}</p>'


def _taught(batch: Batch, scene: page.Scene) -> str:
    """What the recipe has taught the monitor so far, this batch included; nothing before it has."""
    learned = learned_from(scene.store.lessons(batch.recipe_key), batch)
    if learned is None:
        return ""
    said = f"{batch.recipe_key}: {learned_sentence(learned, scene.manner, has_formula=batch.formula is not None)}."
    return f'<p class="quiet">{html.escape(said[0].upper() + said[1:])}</p>'


def _moment(at: datetime | None, scene: page.Scene) -> str:
    return '<dd class="none">not yet</dd>' if at is None else f"<dd>{clock_text(at, scene.manner)}</dd>"


def _in_numbers(past: queries.Past, came_at: datetime | None, scene: page.Scene) -> str:
    """The same forecasts as a table, thinned."""
    said = [outlook for outlook in past.outlooks if came_at is None or outlook.at <= came_at]
    step = max(1, -(-len(said) // MOST_ROWS))
    rows = "".join(
        f'<tr><td class="t">{clock_text(outlook.at, scene.manner)}</td>'
        f"<td>{html.escape(_said(outlook, scene))}</td></tr>"
        for outlook in said[::step]
    )
    table = f'<table class="rows"><tr><th>said at</th><th>ready</th></tr>{rows}</table>'
    return f"<details><summary>In numbers</summary>{table}</details>"


def _said(outlook: Outlook, scene: page.Scene) -> str:
    return about_text(outlook.ready, scene.manner, outlook.at) or outlook.why or "no forecast"


def _calls(messages: tuple[Message, ...], scene: page.Scene) -> str:
    if not messages:
        return '<p class="quiet">None.</p>'
    rows = "".join(
        f'<tr><td class="t">{clock_text(message.created_at, scene.manner)}</td>'
        f'<td class="who">{html.escape(message.text)}</td>'
        f'<td class="quiet">{_delivery(message, scene)}</td></tr>'
        for message in messages
    )
    return f'<div class="panel"><table class="rows">{rows}</table></div>'


def _delivery(message: Message, scene: page.Scene) -> str:
    if message.delivered_at is not None:
        return f"delivered {clock_text(message.delivered_at, scene.manner)}"
    return f"not delivered, {message.attempts} tries" if message.attempts else "not delivered"
