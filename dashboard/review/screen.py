"""Ended batches: how each went, its curve, every forecast made at the time, and the calls that went out."""

import html
from datetime import datetime

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, cards, page, queries
from dashboard.access import preferences
from dashboard.batch import plots, zip_file
from dashboard.compare import comparison
from dashboard.outcome import Outcome, half_way, outcome_of, outcome_words
from dashboard.review import account
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch
from monitor.translatable import N_
from monitor.wording.alerts import about_text, clock_text, date_words, stage_word
from monitor.wording.lessons import learned_sentence
from monitor.wording.outlook import no_forecast_words

MOST_ROWS = 60  # of the table of forecasts


def show(finished_page: StreamlitPage, compare_page: StreamlitPage) -> None:
    """One ended batch when the address names it, else the list of all, newest first."""
    page.shown(lambda scene: _draw(scene, finished_page, compare_page))


def _draw(scene: page.Scene, finished_page: StreamlitPage, compare_page: StreamlitPage) -> None:
    ended = {batch.id: batch for batch in scene.store.batches(running=False)}
    asked = queries.asked_batch_id()
    kept = preferences.in_address(scene.store.path.parent)
    if asked in ended:
        with st.container(horizontal=True):
            label = scene.reader.say("All finished batches")
            st.page_link(finished_page, label=label, icon=":material/arrow_back:", query_params=kept)
            if comparison.has_others(ended[asked], ended.values()):
                label = scene.reader.say("Compare with others of this recipe")
                st.page_link(compare_page, label=label, query_params={"batch": str(asked), **kept})
        _one(scene, queries.past(scene.store, ended[asked]))
        return
    if not ended:
        told = scene.reader.say("When a stage ends, its curve and its forecasts are kept here.")
        st.html(page.heading(scene.reader.say("Nothing is finished yet"), told))
        return
    st.html(page.heading(scene.reader.say("Finished")))
    newest_first = sorted(ended.values(), key=lambda batch: batch.ended_at or batch.started_at, reverse=True)
    for batch in newest_first:
        outlook = scene.store.latest_outlook(batch.id)
        with st.container(key=f"card-{batch.id}"):
            st.html(cards.finished_card(batch, outlook, outcome_words(outcome_of(batch, outlook), scene.reader), scene))
            label = page.plain(scene.reader.say("Open {batch}", batch=batch.name))
            st.page_link(finished_page, label=label, query_params={"batch": str(batch.id), **kept})


def _one(scene: page.Scene, past: queries.Past) -> None:
    batch = past.batch
    newest = past.outlooks[-1] if past.outlooks else None
    outcome = outcome_of(batch, newest)
    seen = account.reviewed(scene, batch)
    day = date_words(batch.started_at, scene.reader)
    st.html(page.heading(account.title(batch, seen, scene.reader), f"{stage_word(batch.stage, scene.reader)}, {day}"))
    st.html(_moments(outcome, scene))
    if not past.outlooks:
        st.html(page.quiet(scene.reader.say("It was never estimated.")))
        return
    account.put_account(scene, batch, seen, scene.store.alerts(batch.id))
    account.put_judgement(scene, batch, seen)
    account.put_intent(scene, batch, seen)
    taught = _taught(batch, scene)
    if taught:
        st.html(taught)
    half = half_way(past.outlooks, batch.target.rise_pct)
    said = about_text(past.outlooks[half].ready, scene.reader, past.outlooks[half].at)
    if said is not None and outcome.ready_at is not None:
        came = clock_text(outcome.ready_at, scene.reader)
        half_said = N_("At half its rise the monitor said {said}; it was {came}.")
        st.html(page.quiet(scene.reader.say(half_said, said=said, came=came)))
    place = plots.put_moment_choice(past.outlooks, half, scene.reader)
    plots.put_past_rise(scene, past, past.outlooks[place])
    with st.container(key="more"):  # not on the printed page
        plots.put_past_air(scene, past, past.outlooks[place])
        st.html(page.section(scene.reader.say("Every forecast made at the time")))
        plots.put_forecasts(scene, past, outcome.ready_at)
        st.html(_in_numbers(past, outcome.ready_at, scene))
        title = page.section(scene.reader.say("Calls that went out"))
        st.html(title + alerts.calls_table(past.messages, scene))
        zip_file.put_whole(scene, batch)


def _moments(outcome: Outcome, scene: page.Scene) -> str:
    """Ready, peaked, ended, in large numbers, with the sentence under them."""
    reader = scene.reader
    ready = {} if outcome.is_peak else {reader.say("ready"): outcome.ready_at}
    moments: dict[str, datetime | None] = {
        **ready,
        reader.say("peaked"): outcome.peak_at,
        reader.say("ended"): outcome.ended_at,
    }
    pairs = "".join(f"<div><dt>{html.escape(what)}</dt>{_moment(at, scene)}</div>" for what, at in moments.items())
    return f'<dl class="moments">{pairs}</dl><p class="saying">{html.escape(outcome_words(outcome, scene.reader))}</p>'


def _taught(batch: Batch, scene: page.Scene) -> str:
    """What the recipe has taught the monitor so far, this batch included; nothing before it has."""
    learned = learned_from(scene.store.lessons(batch.recipe_key), batch)
    if learned is None:
        return ""
    said = f"{batch.recipe_key}: {learned_sentence(learned, scene.reader, has_formula=batch.formula is not None)}."
    return f'<p class="quiet">{html.escape(said[0].upper() + said[1:])}</p>'


def _moment(at: datetime | None, scene: page.Scene) -> str:
    if at is None:
        never = html.escape(scene.reader.say("not by its end"))
        return f'<dd class="none">{never}</dd>'
    return f"<dd>{html.escape(clock_text(at, scene.reader))}</dd>"


def _in_numbers(past: queries.Past, came_at: datetime | None, scene: page.Scene) -> str:
    """The same forecasts as a table, thinned."""
    said = [outlook for outlook in past.outlooks if came_at is None or outlook.at <= came_at]
    step = max(1, -(-len(said) // MOST_ROWS))
    rows = "".join(
        f'<tr><td class="t">{clock_text(outlook.at, scene.reader)}</td>'
        f"<td>{html.escape(_said(outlook, scene))}</td></tr>"
        for outlook in said[::step]
    )
    said_at, ready = (html.escape(scene.reader.say(words)) for words in (N_("said at"), N_("ready")))
    table = f'<table class="rows"><tr><th>{said_at}</th><th>{ready}</th></tr>{rows}</table>'
    title = html.escape(scene.reader.say("In numbers"))
    return f"<details><summary>{title}</summary>{table}</details>"


def _said(outlook: Outlook, scene: page.Scene) -> str:
    about = about_text(outlook.ready, scene.reader, outlook.at)
    if about is not None:
        return about
    return scene.reader.say("no forecast") if outlook.why is None else no_forecast_words(outlook.why, scene.reader)
